"""Recalculate a whole book of clients with a running service.

    python examples/bulk/recalculate.py BOOK --out FOLDER [--service http://127.0.0.1:8000]
    python examples/bulk/recalculate.py BOOK --out FOLDER --compare-tax-years 2025-26 2026-27
    python examples/bulk/recalculate.py BOOK --out FOLDER --compare-laws known a-proposal

BOOK is a CSV, Parquet or NDJSON file, one client a row; examples/bulk/README.md names the columns. FOLDER gets the results,
the failures and a summary. After an interruption the same command resumes the run.

Exit status: 0 when every record has its result; 3 when all were answered and some failed (the failures file says why);
1 when the run stopped and can be resumed; 2 when it cannot begin; 130 when it was interrupted.
"""

from __future__ import annotations

import argparse
import signal
import sys
import threading
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from importlib.util import find_spec
from pathlib import Path
from types import FrameType
from typing import Any

import msgspec
from tqdm import tqdm

from book.options import (
    WITHDRAWAL_TAX,
    about_book,
    add_book,
    add_comparison,
    add_operation,
    at_least_one,
    check_kind,
    comparison_of,
    notation_of,
    refuse_what_an_operation_has_not,
    refuse_what_cannot_be_compared,
)
from book.parts import Run
from book.reading import BookError, Chunk, check_columns, chunks, count, fingerprint, kind_of, records, settled
from book.recalculation import Recalculation, plan_of, printed, summary_of, versions
from book.sending import PATIENCE_SECONDS, Sender, StopError, StoppedError

DONE, INCOMPLETE, UNUSABLE, SOME_FAILED, TOLD_TO_STOP = 0, 1, 2, 3, 130


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


def arguments_of(given: Sequence[str]) -> argparse.Namespace:
    """The command line, read; a fault in it ends the process with status 2."""
    parser = argparse.ArgumentParser(description="Recalculate a book of clients with a running service.")
    add_book(parser)
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER", help="where the files go")
    parser.add_argument("--service", default="http://127.0.0.1:8000", metavar="URL")
    parser.add_argument("--key-file", type=Path, metavar="FILE", help="holds your key, where the service asks for one")
    add_operation(parser)
    add_comparison(parser)
    parser.add_argument(
        "--chunk", type=at_least_one, metavar="N", help="records in a request (1000; 50 of other operations)"
    )
    parser.add_argument("--at-once", type=at_least_one, default=8, metavar="N", help="most requests at once (8)")
    parser.add_argument(
        "--patience",
        type=float,
        default=PATIENCE_SECONDS,
        metavar="SECONDS",
        help="how long to wait for a service that does not answer (300)",
    )
    parser.add_argument("--verbose", action="store_true", help="say also when the service is busy")
    parser.add_argument("--start-over", action="store_true", help="forget an earlier run in FOLDER")
    options = parser.parse_args(given)
    if options.chunk is None:
        options.chunk = 1_000 if options.operation == WITHDRAWAL_TAX else 50
    refuse_what_an_operation_has_not(parser, options)
    refuse_what_cannot_be_compared(parser, options)
    return options


def key_in(path: Path | None) -> str | None:
    """The key that a file holds; None where there is no file. BookError where it cannot be read, or holds more than a line."""
    if path is None:
        return None
    try:
        words = path.read_text("utf-8").split()
    except (OSError, UnicodeDecodeError) as error:
        raise BookError(f"--key-file {path} cannot be read: {error}") from None
    if len(words) != 1 or not words[0].isascii():
        raise BookError(f"--key-file {path} must hold the key and nothing else")
    return words[0]


def run_it(options: argparse.Namespace, stop: threading.Event) -> int:
    """Begin a run, or resume one, and bring it to its end. BookError, StopError, StoppedError."""
    if not options.service.startswith(("http://", "https://")):
        raise BookError(f"--service {options.service}: begin it with http:// or https://")
    key = key_in(options.key_file)
    kind = kind_of(options.book)
    check_kind(options.operation, kind)
    plan = plan_of(options.results_as or kind, comparison_of(options, options.operation), options.in_tax_year)
    fingerprinted = fingerprint(options.book)
    notation = settled(options.book, notation_of(options))
    about = {
        "book": fingerprinted,
        **about_book(notation),
        "operation": options.operation,
        "tax years": options.compare_tax_years,
        "laws": options.compare_laws,
        "tax year of all": options.in_tax_year,
        "kind of results": plan.kind,
        "records in a chunk": options.chunk,
        "number of largest changes": options.largest,
    }
    check_columns(options.book, notation, ignore_others=options.ignore_other_columns)
    total = count(options.book, notation)
    run = Run(options.out, about)
    with run.begun(start_over=options.start_over):
        if not run.finished:
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
                    plan.fields,
                    at_once=options.at_once,
                    stop=stop,
                    note=lambda text: tqdm.write(text, sys.stderr),
                    patience=options.patience,
                    verbose=options.verbose,
                    key=key,
                )
                recalculation = Recalculation(plan, run, sender, next(iter(versions(saved.values())), None))
                every = chunks(records(options.book, notation), options.chunk)
                left = (chunk for chunk in every if chunk.index not in saved)
                for counts in recalculate(recalculation, left, options.at_once, stop):
                    progress.update(counts["records"])
            summary = summary_of(plan, total, run.saved().values())
            run.join(plan.sheets)
            run.end(summary)
        run.clear()
        summary = run.summary()
    print(printed(plan, summary, str(options.out)))
    if options.compare_laws:
        print(f"  {drawn(options.out, summary['changes'])}")
    return SOME_FAILED if any(answer["failed"] for answer in summary["answers"]) else DONE


def drawn(folder: Path, changes: Mapping[str, Any]) -> str:
    """Write the charts of a comparison of laws; says where they are, or why there are none."""
    if find_spec("service") is None:
        return "no charts: their frame is the service's own, which is not installed here"
    # Imported here, so that only those who want charts need it beside the script.
    from book import pictures

    return f"charts in {', '.join(f'{folder}/{name}' for name in pictures.write(folder, changes))}"


def main(given: Sequence[str]) -> int:
    """Run with command-line arguments; the exit status."""
    options = arguments_of(given)
    stop = threading.Event()

    def told_to_stop(number: int, _: FrameType | None) -> None:
        """Finish what is under way and save it. Told again, end at once: what is saved is saved."""
        stop.set()
        signal.signal(number, signal.SIG_DFL)

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, told_to_stop)
    began = time.monotonic()
    try:
        status = run_it(options, stop)
    except BookError as error:
        print(f"The run cannot begin: {error}.", file=sys.stderr)
        return UNUSABLE
    except (StopError, OSError, msgspec.DecodeError) as error:
        print(f"The run stopped: {error}.\nThe same command resumes it.", file=sys.stderr)
        return INCOMPLETE
    except StoppedError:
        print("Interrupted. The same command resumes the run.", file=sys.stderr)
        return TOLD_TO_STOP
    print(f"{time.monotonic() - began:,.1f} s")
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
