"""Recalculate a whole book of clients on a Dask cluster, by the service's own functions and without a server.

    python examples/bulk/on_dask.py BOOK --out FOLDER [--workers 2 | --scheduler tcp://10.0.0.5:8786]

Every worker must see BOOK and FOLDER under the same path, have the service installed, and this folder on its PYTHONPATH;
the workers that --workers starts on this machine do. The files in FOLDER are those of recalculate.py. After an interruption the
same command resumes the run. A worker that dies costs the pieces it had in hand, which another one does again.

Exit status: as of recalculate.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

from distributed import Client, KilledWorker, LocalCluster, as_completed
from tqdm import tqdm

from book import pictures
from book.in_process import Job, calculate
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
from book.reading import BookError, check_columns, fingerprint, kind_of, pieces, settled
from book.recalculation import plan_of, printed, summary_of
from book.sending import StopError

DONE, INCOMPLETE, UNUSABLE, SOME_FAILED, TOLD_TO_STOP = 0, 1, 2, 3, 130


def arguments_of(given: Sequence[str]) -> argparse.Namespace:
    """The command line, read; a fault in it ends the process with status 2."""
    parser = argparse.ArgumentParser(description="Recalculate a book of clients on a Dask cluster.")
    add_book(parser)
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="of a cluster that is running")
    parser.add_argument(
        "--workers", type=at_least_one, default=2, metavar="N", help="to start on this machine, else (2)"
    )
    parser.add_argument(
        "--piece",
        type=at_least_one,
        metavar="N",
        help="records of CSV or NDJSON a task (10000; 50 of other operations)",
    )
    add_operation(parser)
    add_comparison(parser)
    parser.add_argument("--figures", type=Path, metavar="FOLDER", help="the folder of proposed law")
    parser.add_argument("--start-over", action="store_true", help="forget an earlier run in FOLDER")
    options = parser.parse_args(given)
    if options.piece is None:
        options.piece = 10_000 if options.operation == WITHDRAWAL_TAX else 50
    refuse_what_an_operation_has_not(parser, options)
    refuse_what_cannot_be_compared(parser, options)
    if options.compare_laws and not options.figures:
        parser.error("--compare-laws needs --figures")
    return options


def run_it(options: argparse.Namespace) -> int:
    """Begin a run, or resume one, and bring it to its end. BookError, StopError."""
    book, out = options.book.resolve(), options.out.resolve()
    check_kind(options.operation, kind_of(book))
    fingerprinted = fingerprint(book)
    job = Job(
        book,
        settled(book, notation_of(options)),
        out,
        options.operation,
        options.results_as or kind_of(book),
        comparison_of(options, options.operation),
        options.in_tax_year,
        options.figures and options.figures.resolve(),
    )
    about = {
        "book": fingerprinted,
        **about_book(job.notation),
        "operation": job.operation,
        "tax years": options.compare_tax_years,
        "laws": options.compare_laws,
        "folder of proposed law": options.figures and str(options.figures.resolve()),
        "tax year of all": job.tax_year,
        "kind of results": job.kind,
        "records in a task": options.piece,
        "number of largest changes": options.largest,
    }
    check_columns(book, job.notation, ignore_others=options.ignore_other_columns)
    plan = plan_of(job.kind, job.comparison, job.tax_year)
    run = Run(out, about)
    with run.begun(start_over=options.start_over):
        if not run.finished:
            every = pieces(book, options.piece, job.notation)
            total, saved = sum(piece.count for piece in every), run.saved()
            left = [piece for piece in every if piece.index not in saved]
            if left:
                done = sum(part["records"] for part in saved.values())
                with client_of(options) as client, tqdm(total=total, initial=done, unit=" records") as progress:
                    futures = [client.submit(calculate, job, piece, pure=False) for piece in left]
                    for future in as_completed(futures):
                        progress.update(future.result()["records"])
            summary = summary_of(plan, total, run.saved().values())
            run.join(plan.sheets)
            run.end(summary)
        run.clear()
        summary = run.summary()
    print(printed(plan, summary, str(options.out)))
    if options.compare_laws:
        pictures.write(out, summary["changes"])
    return SOME_FAILED if any(answer["failed"] for answer in summary["answers"]) else DONE


def client_of(options: argparse.Namespace) -> Client:
    """A client of the cluster that was named, or of one on this machine that goes with it."""
    if options.scheduler:
        return Client(options.scheduler)
    return Client(LocalCluster(n_workers=options.workers, threads_per_worker=1, dashboard_address=None))


def main(given: Sequence[str]) -> int:
    """Run with command-line arguments; the exit status."""
    options = arguments_of(given)
    try:
        return run_it(options)
    except BookError as error:
        print(f"The run cannot begin: {error}.", file=sys.stderr)
        return UNUSABLE
    except (StopError, KilledWorker, OSError) as error:
        print(f"The run stopped: {error}.\nThe same command resumes it.", file=sys.stderr)
        return INCOMPLETE
    except KeyboardInterrupt:
        print("Interrupted. The same command resumes the run.", file=sys.stderr)
        return TOLD_TO_STOP


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
