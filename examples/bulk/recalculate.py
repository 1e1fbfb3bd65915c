"""Recalculate a whole book of clients with a running service.

    python examples/bulk/recalculate.py BOOK --out FOLDER [--service http://127.0.0.1:8000]
    python examples/bulk/recalculate.py BOOK --out FOLDER --compare-tax-years 2025-26 2026-27

BOOK is a CSV, Parquet or NDJSON file, one client a row; examples/bulk/README.md names the columns. FOLDER gets the results,
the failures and a summary. Interrupted in whatever way, the same command goes on where it was.

Exit status: 0 when every record has its result; 3 when all were answered and some failed (the failures file says why);
1 when the run could not be completed and can be gone on with; 2 when it cannot begin; 130 when it was told to stop.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tqdm import tqdm

from book import comparing, layout
from book.comparing import Change
from book.parts import Run
from book.reading import BookError, Chunk, FileKind, Record, check_columns, chunks, count, fingerprint, kind_of, records
from book.sending import PATIENCE_SECONDS, Answer, Line, Sender, StopError, StoppedError, versions_differ
from book.sheets import FAILURE_COLUMNS, RESULT_COLUMNS, Sheet

WITHDRAWAL_TAX = "withdrawal-tax"
DONE, INCOMPLETE, UNUSABLE, SOME_FAILED, TOLD_TO_STOP = 0, 1, 2, 3, 130


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
    """Sends chunks and saves their answers. ``finish`` may be called by several threads at once."""

    def __init__(self, plan: Plan, run: Run, sender: Sender, rules_version: str | None) -> None:
        self._plan, self._run, self._sender = plan, run, sender
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
        received = self._sender.send(
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
        problem = answer.content
        if self._plan.kind == "ndjson":
            return json.dumps(
                {"record": record.number, "id": record.id, "status": answer.status, "problem": problem}
            ).encode()
        faults = [f"{fault['pointer']} {fault['detail']}" for fault in problem.get("errors", [])]
        detail = "; ".join(faults) or problem["detail"]
        key = None if record.id is None else str(record.id)
        return [record.number, key, answer.status, problem.get("code", ""), detail]


def _sent(record: Record, tax_year: str | None) -> bytes:
    """A record's line: its own where it has one that stays as it is."""
    if record.request is None or (tax_year is None and record.line is not None):
        assert record.line is not None
        return record.line
    request = record.request if tax_year is None else layout.in_tax_year(record.request, tax_year)
    document = {"request": request} if record.id is None else {"id": record.id, "request": request}
    return json.dumps(document, separators=(",", ":")).encode()


def _not_sent(record: Record) -> Answer:
    """Our own answer for a row that holds no record."""
    problem = {
        "title": "The row cannot be sent",
        "status": 400,
        "detail": record.fault,
        "code": "unreadable-row",
        "errors": [],
    }
    return Answer(400, problem, b"")


def recalculate(
    recalculation: Recalculation, waiting: Iterable[Chunk], at_once: int, stop: threading.Event
) -> Iterator[dict[str, Any]]:
    """The counts of each chunk as it is finished. What stops one stops the run.

    A few more chunks are in hand than requests may be under way: some are sent while others are checked and saved.
    """
    waiting = iter(waiting)
    pool_size = at_once + 2
    with ThreadPoolExecutor(pool_size) as pool:
        under_way: set[Future[dict[str, Any]]] = set()
        try:
            while not stop.is_set():
                while len(under_way) < pool_size and (chunk := next(waiting, None)) is not None:
                    under_way.add(pool.submit(recalculation.finish, chunk))
                if not under_way:
                    return
                finished, under_way = wait(under_way, timeout=0.5, return_when=FIRST_COMPLETED)
                for future in finished:
                    yield future.result()
            raise StoppedError
        finally:
            # Requests that wait to be tried again give up; those under way are saved if they come back whole.
            stop.set()


def summary_of(plan: Plan, total: int, saved: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """What came of a run. StopError where the records are not all accounted for."""
    parts = list(saved)
    accounted = sum(part["records"] for part in parts)
    if accounted != total:
        raise StopError(f"the book has {total:,} records and {accounted:,} are accounted for")
    summary: dict[str, Any] = {"records": total, "rules_version": next(iter(versions(parts)), None), "answers": []}
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
        found = (Change(*change) for part in parts for change in part["largest"])
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
                for change in comparing.largest(found, plan.largest)
            ],
        }
    return summary


def versions(parts: Iterable[Mapping[str, Any]]) -> set[str]:
    """The versions of the rules that parts were answered by."""
    return {part["rules_version"] for part in parts if part["rules_version"] is not None}


def printed(summary: Mapping[str, Any], out: Path) -> str:
    """The summary as text."""
    lines = [f"{summary['records']:,} records, all accounted for; rules version {summary['rules_version']}"]
    for answer in summary["answers"]:
        year = f"{answer['tax_year']}: " if answer["tax_year"] else ""
        lines.append(f"  {year}{answer['succeeded']:,} results in {out / answer['results']}")
        if answer["failed"]:
            lines.append(f"  {year}{answer['failed']:,} failures in {out / answer['failures']}")
    if "changes" in summary:
        changes = summary["changes"]
        before, after = (answer["tax_year"] for answer in summary["answers"])
        lines += [
            f"  {changes['changed']:,} of {changes['compared']:,} answers change in tax, by £{changes['change_in_tax']:,.2f} "
            f"in all; each in {out / changes['file']}",
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


def arguments_of(given: Sequence[str]) -> argparse.Namespace:
    """The command line, read; a fault in it ends the process with status 2."""
    parser = argparse.ArgumentParser(description="Recalculate a book of clients with a running service.")
    parser.add_argument("book", type=Path, help="CSV (.csv), Parquet (.parquet) or NDJSON (.ndjson)")
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER", help="where the files go")
    parser.add_argument("--service", default="http://127.0.0.1:8000", metavar="URL")
    parser.add_argument("--operation", default=WITHDRAWAL_TAX, help="others than withdrawal-tax: NDJSON only")
    parser.add_argument("--compare-tax-years", nargs=2, default=[], metavar=("FROM", "TO"), type=_tax_year)
    parser.add_argument("--largest", type=_at_least_one, default=20, metavar="N", help="changes to list (20)")
    parser.add_argument("--results-as", choices=("csv", "parquet", "ndjson"), help="else as the book is")
    parser.add_argument("--chunk", type=_at_least_one, default=1_000, metavar="N", help="records in a request (1000)")
    parser.add_argument("--at-once", type=_at_least_one, default=8, metavar="N", help="most requests at once (8)")
    parser.add_argument(
        "--patience", type=float, default=PATIENCE_SECONDS, metavar="SECONDS", help="without any answer (300)"
    )
    parser.add_argument("--ignore-other-columns", action="store_true", help="leave out columns that stand for nothing")
    parser.add_argument("--start-over", action="store_true", help="forget what an earlier run in FOLDER has saved")
    options = parser.parse_args(given)
    if options.operation != WITHDRAWAL_TAX and (
        options.compare_tax_years or options.results_as not in (None, "ndjson")
    ):
        parser.error("tax years can be compared, and columns written, for withdrawal-tax only")
    return options


def _tax_year(text: str) -> str:
    start, _, end = text.partition("-")
    if not (len(start) == 4 and text.replace("-", "").isdigit() and end == f"{(int(start) + 1) % 100:02}"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a tax year such as 2026-27")
    return text


def _at_least_one(text: str) -> int:
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 on")
    return int(text)


def run_it(options: argparse.Namespace, stop: threading.Event) -> int:
    """Begin a run, or go on with one, and bring it to its end. BookError, StopError, StoppedError."""
    kind = kind_of(options.book)
    if options.operation != WITHDRAWAL_TAX and kind != "ndjson":
        raise BookError(f"for {options.operation} the book must be NDJSON")
    plan = plan_of(options.compare_tax_years, options.results_as or kind, options.largest)
    about = {
        "book": fingerprint(options.book),
        "operation": options.operation,
        "tax years": options.compare_tax_years,
        "kind of results": plan.kind,
        "records in a chunk": options.chunk,
        "number of largest changes": plan.largest,
    }
    check_columns(options.book, ignore_others=options.ignore_other_columns)
    total = count(options.book)
    run = Run(options.out, about)
    with run.begun(start_over=options.start_over):
        if run.finished:
            run.clear()
        else:
            saved = run.saved()
            progress = tqdm(
                total=total,
                initial=sum(part["records"] for part in saved.values()),
                unit=" records",
                mininterval=0.2 if sys.stderr.isatty() else 10.0,
            )
            with progress:
                sender = Sender(
                    options.service,
                    options.operation,
                    at_once=options.at_once,
                    stop=stop,
                    note=lambda text: tqdm.write(text, sys.stderr),
                    patience=options.patience,
                )
                recalculation = Recalculation(plan, run, sender, next(iter(versions(saved.values())), None))
                left = (chunk for chunk in chunks(records(options.book), options.chunk) if chunk.index not in saved)
                for counts in recalculate(recalculation, left, options.at_once, stop):
                    progress.update(counts["records"])
            summary = summary_of(plan, total, run.saved().values())
            run.join(plan.sheets, summary)
        summary = run.summary()
    print(printed(summary, options.out))
    return SOME_FAILED if any(answer["failed"] for answer in summary["answers"]) else DONE


def main(given: Sequence[str]) -> int:
    """Run with command-line arguments; the exit status."""
    options = arguments_of(given)
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stop.set())
    began = time.monotonic()
    try:
        status = run_it(options, stop)
    except BookError as error:
        print(f"The run cannot begin: {error}.", file=sys.stderr)
        return UNUSABLE
    except StopError as error:
        print(f"The run stopped: {error}.\nThe same command goes on where it was.", file=sys.stderr)
        return INCOMPLETE
    except StoppedError:
        print("Stopped as told. The same command goes on where it was.", file=sys.stderr)
        return TOLD_TO_STOP
    print(f"{time.monotonic() - began:,.1f} s")
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
