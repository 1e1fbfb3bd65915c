"""What is done with a book: each chunk answered and saved, and all of it counted at the end."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import msgspec

from book import comparing, layout
from book.comparing import Change
from book.parts import Run
from book.reading import Chunk, FileKind, Record
from book.sending import Answer, Answers, Line, StopError, versions_differ
from book.sheets import FAILURE_COLUMNS, RESULT_COLUMNS, Sheet

_ENCODER = json.JSONEncoder(separators=(",", ":"))


class Service(Protocol):
    """Whatever answers lines: a running service, or its functions in this process."""

    def send(self, lines: Sequence[Line]) -> Answers:
        """The answers to lines, in their order."""


@dataclass(frozen=True, slots=True)
class View:
    """One way of asking about every client: as the book has it, or in one tax year for all."""

    tax_year: str | None
    results: Sheet
    failures: Sheet


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be done: the views, the kind of file that comes out, and the changes to look for between two views."""

    views: tuple[View, ...]
    kind: FileKind
    changes: Sheet | None
    largest: int

    @property
    def fields(self) -> tuple[str, ...]:
        """The fields of an answer that come into the files; none is named where whole answers do."""
        return () if self.kind == "ndjson" else layout.ASKED_FOR

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        """Every file that comes out."""
        found = tuple(sheet for view in self.views for sheet in (view.results, view.failures))
        return found if self.changes is None else (*found, self.changes)


def plan_of(tax_years: Sequence[str], kind: FileKind, largest: int) -> Plan:
    """The plan for a book as it is (no tax years), or for a comparison of two."""

    def view(tax_year: str | None) -> View:
        ending = f"-{tax_year}" if tax_year else ""
        return View(
            tax_year,
            Sheet(f"results{ending}", kind, RESULT_COLUMNS),
            Sheet(f"failures{ending}", kind, FAILURE_COLUMNS),
        )

    if not tax_years:
        return Plan((view(None),), kind, None, largest)
    before, after = tax_years
    changes = Sheet("changes", "csv" if kind == "ndjson" else kind, comparing.columns(before, after))
    return Plan((view(before), view(after)), kind, changes, largest)


class Recalculation:
    """Has chunks answered and saves what came of them. ``finish`` may be called by several threads at once."""

    def __init__(self, plan: Plan, run: Run, service: Service, rules_version: str | None = None) -> None:
        self._plan, self._run, self._service = plan, run, service
        self._rules_version = rules_version
        self._one_at_a_time = threading.Lock()

    def finish(self, chunk: Chunk) -> dict[str, Any]:
        """Have a chunk answered in every view and save it; its counts."""
        answered = [self._answers(chunk.records, view) for view in self._plan.views]
        changes = self._changes(chunk.records, answered) if self._plan.changes else []
        counts = {
            "records": len(chunk.records),
            "views": [
                {"succeeded": succeeded, "failed": len(answers) - succeeded}
                for answers in answered
                for succeeded in [sum(answer.status == 200 for answer in answers)]
            ],
            "rules_version": self._rules_version,
            "compared": len(changes),
            "changed": sum(bool(change.by) for change in changes),
            "change_in_tax": sum(change.by for change in changes),
            "largest": comparing.largest(changes, self._plan.largest),
        }

        def write(folder: Path) -> None:
            for view, answers in zip(self._plan.views, answered, strict=True):
                both = list(zip(chunk.records, answers, strict=True))
                rows = [self._result(record, answer) for record, answer in both if answer.status == 200]
                view.results.write(folder / view.results.name, rows)
                rows = [self._failure(record, answer) for record, answer in both if answer.status != 200]
                view.failures.write(folder / view.failures.name, rows)
            if self._plan.changes:
                self._plan.changes.write(folder / self._plan.changes.name, [comparing.row(found) for found in changes])

        self._run.save(chunk.index, counts, write)
        return counts

    def _answers(self, found: Sequence[Record], view: View) -> list[Answer]:
        """One answer for each record: the service's, or ours for a record that cannot be sent."""
        received = self._service.send(
            [Line(record.id, _sent(record, view.tax_year)) for record in found if not record.fault]
        )
        self._same_rules(received.rules_version)
        answers = iter(received.answers)
        return [_not_sent(record) if record.fault else next(answers) for record in found]

    def _same_rules(self, version: str | None) -> None:
        with self._one_at_a_time:
            if version is not None and self._rules_version is not None and version != self._rules_version:
                raise StopError(versions_differ(self._rules_version, version))
            self._rules_version = self._rules_version or version

    def _changes(self, found: Sequence[Record], answered: Sequence[Sequence[Answer]]) -> list[Change]:
        before, after = answered
        return [
            comparing.change(record.number, str(record.id), first.content, second.content)
            for record, first, second in zip(found, before, after, strict=True)
            if first.status == 200 and second.status == 200
        ]

    def _result(self, record: Record, answer: Answer) -> Any:
        if self._plan.kind == "ndjson":
            return answer.line
        return [record.number, str(record.id), *layout.result_row(answer.content)]

    def _failure(self, record: Record, answer: Answer) -> Any:
        """A failed record: with the service's whole problem in NDJSON, else with its faults by the columns of a table."""
        problem = msgspec.json.decode(answer.content)
        if self._plan.kind == "ndjson":
            return json.dumps(
                {"record": record.number, "id": record.id, "status": answer.status, "problem": problem}
            ).encode()
        columns, faults = list[str](), list[str]()
        for fault in problem.get("errors", []):
            named, text = _fault(record, fault)
            columns += [name for name in named if name not in columns]
            faults.append(text)
        detail = "; ".join(faults) or problem["detail"]
        key = None if record.id is None else str(record.id)
        return [record.number, key, answer.status, problem.get("code", ""), " ".join(columns) or None, detail]


def _fault(record: Record, fault: Mapping[str, Any]) -> tuple[list[str], str]:
    """The columns that a fault lies in, and what is wrong there. A record that came from no table has places instead."""
    pointer, detail = fault["pointer"], fault["detail"]
    if record.line is not None or record.request is None:
        return [], f"{pointer} {detail}"
    if pointer == f"#/{layout.ID}":
        return [layout.ID], f"{layout.ID}: {detail}"
    columns = layout.columns_at(record.request, pointer)
    if not columns:
        return [], f"{pointer} {detail}"
    names = [column.name for column in columns]
    if len(columns) == 1:
        detail = layout.unreadable(record.request, pointer, columns[0]) or detail
    return names, f"{', '.join(names)}: {detail}"


def _sent(record: Record, tax_year: str | None) -> bytes:
    """A record's line: its own where it has one that stays as it is."""
    if record.request is None or (tax_year is None and record.line is not None):
        assert record.line is not None
        return record.line
    request = record.request if tax_year is None else layout.in_tax_year(record.request, tax_year)
    document = {"request": request} if record.id is None else {"id": record.id, "request": request}
    return _ENCODER.encode(document).encode()


def _not_sent(record: Record) -> Answer:
    """Our own answer for a row that holds no record. Its code is the script's, as README.md says, not the service's."""
    problem = {
        "title": "The row cannot be read",
        "status": 400,
        "detail": record.fault,
        "code": "unreadable-row",
        "errors": [],
    }
    return Answer(400, msgspec.Raw(msgspec.json.encode(problem)), b"")


def summary_of(plan: Plan, total: int, saved: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """What came of a run. StopError where the records are not all accounted for."""
    parts = list(saved)
    accounted = sum(part["records"] for part in parts)
    if accounted != total:
        raise StopError(f"the book has {total:,} records and {accounted:,} are accounted for")
    found = sorted(versions(parts))
    if len(found) > 1:
        raise StopError(versions_differ(*found[:2]))
    summary: dict[str, Any] = {"records": total, "rules_version": next(iter(found), None), "answers": []}
    for index, view in enumerate(plan.views):
        succeeded = sum(part["views"][index]["succeeded"] for part in parts)
        failed = sum(part["views"][index]["failed"] for part in parts)
        if succeeded + failed != total:
            raise StopError(f"of {total:,} records {succeeded:,} succeeded and {failed:,} failed")
        summary["answers"].append(
            {
                "tax_year": view.tax_year,
                "succeeded": succeeded,
                "failed": failed,
                "results": view.results.name,
                "failures": view.failures.name,
            }
        )
    if plan.changes:
        largest = (Change(*change) for part in parts for change in part["largest"])
        summary["changes"] = {
            "file": plan.changes.name,
            "compared": sum(part["compared"] for part in parts),
            "changed": sum(part["changed"] for part in parts),
            "change_in_tax": sum(part["change_in_tax"] for part in parts) / 100,
            "largest": [
                {
                    "record": change.record,
                    "id": change.id,
                    "tax": [change.cost_before / 100, change.cost_after / 100],
                    "change_in_tax": change.by / 100,
                }
                for change in comparing.largest(largest, plan.largest)
            ],
        }
    return summary


def versions(parts: Iterable[Mapping[str, Any]]) -> set[str]:
    """The versions of the rules that parts were answered by."""
    return {part["rules_version"] for part in parts if part["rules_version"] is not None}


def printed(summary: Mapping[str, Any], out: str) -> str:
    """The summary as text; ``out`` is where the files are."""
    version = summary["rules_version"]
    by = f"rules version {version}" if version else "none could be sent"
    lines = [f"{summary['records']:,} records, all accounted for; {by}"]
    for answer in summary["answers"]:
        year = f"{answer['tax_year']}: " if answer["tax_year"] else ""
        lines.append(f"  {year}{answer['succeeded']:,} results in {out}/{answer['results']}")
        if answer["failed"]:
            lines.append(f"  {year}{answer['failed']:,} failures in {out}/{answer['failures']}")
    if "changes" in summary:
        changes = summary["changes"]
        before, after = (answer["tax_year"] for answer in summary["answers"])
        lines += [
            f"  {changes['changed']:,} of {changes['compared']:,} answers change in tax, by £{changes['change_in_tax']:,.2f} "
            f"in all; each in {out}/{changes['file']}",
            "",
            f"  {'record':>9}  {'id':<24}{'tax ' + before:>16}{'tax ' + after:>16}{'change':>16}",
        ]
        for change in changes["largest"]:
            first, second = change["tax"]
            lines.append(
                f"  {change['record']:>9}  {change['id']:<24}{first:>16,.2f}{second:>16,.2f}"
                f"{change['change_in_tax']:>+16,.2f}"
            )
    return "\n".join(lines)
