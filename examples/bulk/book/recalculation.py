"""What is done with a book: each chunk answered and saved, and all of it counted at the end."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import msgspec

from book import layout
from book.comparing import Comparison
from book.laws import Laws
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
    """One way of asking about every client: as the book has it, in one tax year for all, or by one law. ``name`` tells it from
    the others; None where there is no other."""

    name: str | None
    tax_year: str | None
    law: str | None
    results: Sheet
    failures: Sheet


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be done: the views, the kind of file that comes out, and what is compared between two views."""

    views: tuple[View, ...]
    kind: FileKind
    changes: Sheet | None = None
    comparison: Comparison | None = None

    @property
    def fields(self) -> tuple[str, ...]:
        """The fields of an answer that come into the files; none is named where whole answers do."""
        return () if self.kind == "ndjson" else layout.ASKED_FOR

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        """Every file that comes out."""
        found = tuple(sheet for view in self.views for sheet in (view.results, view.failures))
        return found if self.changes is None else (*found, self.changes)


def plan_of(kind: FileKind, comparison: Comparison | None = None, tax_year: str | None = None) -> Plan:
    """The plan for a book as it is, or for a comparison. ``tax_year``: that of all clients, where the book's own do not count."""

    def view(name: str | None, year: str | None, law: str | None) -> View:
        ending = f"-{name}" if name else ""
        return View(
            name,
            year,
            law,
            Sheet(f"results{ending}", kind, RESULT_COLUMNS),
            Sheet(f"failures{ending}", kind, FAILURE_COLUMNS),
        )

    if comparison is None:
        return Plan((view(None, tax_year, None),), kind)
    names = (comparison.before, comparison.after)
    if isinstance(comparison, Laws):
        views = tuple(view(name, tax_year, name) for name in names)
    else:
        views = tuple(view(name, name, None) for name in names)
    changes = Sheet("changes", "csv" if kind == "ndjson" else kind, comparison.columns())
    return Plan(views, kind, changes, comparison)


class Recalculation:
    """Has chunks answered and saves what came of them. ``finish`` may be called by several threads at once."""

    def __init__(self, plan: Plan, run: Run, service: Service, rules_version: str | None = None) -> None:
        self._plan, self._run, self._service = plan, run, service
        self._rules_version = rules_version
        self._one_at_a_time = threading.Lock()

    def finish(self, chunk: Chunk) -> dict[str, Any]:
        """Have a chunk answered in every view and save it; its counts."""
        answered = [self._answers(chunk.records, view) for view in self._plan.views]
        comparison = self._plan.comparison
        changes = self._changes(comparison, chunk.records, answered) if comparison else []
        counts = {
            "records": len(chunk.records),
            "views": [
                {"succeeded": succeeded, "failed": len(answers) - succeeded}
                for answers in answered
                for succeeded in [sum(answer.status == 200 for answer in answers)]
            ],
            "rules_version": self._rules_version,
            "changes": comparison.counted(changes) if comparison else {},
        }

        def write(folder: Path) -> None:
            for view, answers in zip(self._plan.views, answered, strict=True):
                both = list(zip(chunk.records, answers, strict=True))
                rows = [self._result(record, answer) for record, answer in both if answer.status == 200]
                view.results.write(folder / view.results.name, rows)
                rows = [self._failure(record, answer) for record, answer in both if answer.status != 200]
                view.failures.write(folder / view.failures.name, rows)
            if self._plan.changes and comparison:
                rows = [comparison.row(found) for found in changes]
                self._plan.changes.write(folder / self._plan.changes.name, rows)

        self._run.save(chunk.index, counts, write)
        return counts

    def _answers(self, found: Sequence[Record], view: View) -> list[Answer]:
        """One answer for each record: the service's, or ours for a record that cannot be sent."""
        received = self._service.send([Line(record.id, _sent(record, view)) for record in found if not record.fault])
        self._same_rules(received.rules_version)
        _refuse_unknown_law(received.answers)
        answers = iter(received.answers)
        return [_not_sent(record) if record.fault else next(answers) for record in found]

    def _same_rules(self, version: str | None) -> None:
        with self._one_at_a_time:
            if version is not None and self._rules_version is not None and version != self._rules_version:
                raise StopError(versions_differ(self._rules_version, version))
            self._rules_version = self._rules_version or version

    def _changes(
        self, comparison: Comparison, found: Sequence[Record], answered: Sequence[Sequence[Answer]]
    ) -> list[Any]:
        before, after = answered
        return [
            comparison.change(record.number, str(record.id), first.content, second.content)
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


def _sent(record: Record, view: View) -> bytes:
    """A record's line: its own where it has one that stays as it is."""
    as_it_is = view.tax_year is None and view.law is None
    if record.request is None or (as_it_is and record.line is not None):
        assert record.line is not None
        return record.line
    request = record.request if view.tax_year is None else layout.in_tax_year(record.request, view.tax_year)
    if view.law is not None:
        request = {**request, "law": view.law}
    document = {"request": request} if record.id is None else {"id": record.id, "request": request}
    return _ENCODER.encode(document).encode()


def _refuse_unknown_law(answers: Iterable[Answer]) -> None:
    """StopError where the service holds no law of the name: every other record would say the same."""
    failed = next((answer for answer in answers if answer.status != 200), None)
    if failed is not None:
        for fault in msgspec.json.decode(failed.content).get("errors", []):
            if fault["code"] == "unknown-law":
                raise StopError(f"the service does not know the law. {fault['detail'].rstrip('.?')}")


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
                **({"law": view.law} if view.law else {}),
                "succeeded": succeeded,
                "failed": failed,
                "results": view.results.name,
                "failures": view.failures.name,
            }
        )
    if plan.changes and plan.comparison:
        summary["changes"] = {
            "file": plan.changes.name,
            **plan.comparison.summed([part["changes"] for part in parts]),
        }
    return summary


def versions(parts: Iterable[Mapping[str, Any]]) -> set[str]:
    """The versions of the rules that parts were answered by."""
    return {part["rules_version"] for part in parts if part["rules_version"] is not None}


def printed(plan: Plan, summary: Mapping[str, Any], out: str) -> str:
    """The summary as text; ``out`` is where the files are."""
    version = summary["rules_version"]
    by = f"rules version {version}" if version else "none could be sent"
    lines = [f"{summary['records']:,} records, all accounted for; {by}"]
    for view, answer in zip(plan.views, summary["answers"], strict=True):
        name = f"{view.name}: " if view.name else ""
        lines.append(f"  {name}{answer['succeeded']:,} results in {out}/{answer['results']}")
        if answer["failed"]:
            lines.append(f"  {name}{answer['failed']:,} failures in {out}/{answer['failures']}")
    if plan.comparison and "changes" in summary:
        lines += plan.comparison.told(summary["changes"], f"{out}/{summary['changes']['file']}")
    return "\n".join(lines)
