"""What the command lines of the scripts have in common."""

from __future__ import annotations

import argparse
from pathlib import Path

from book.comparing import Comparison, TaxYears
from book.laws import MEASURES, Laws
from book.reading import ENCODINGS, SEPARATORS, BookError, FileKind, Notation

WITHDRAWAL_TAX = "withdrawal-tax"


def tax_year(text: str) -> str:
    """A tax year as it is written, such as 2026-27. ArgumentTypeError for anything else."""
    start, _, end = text.partition("-")
    if not (text.isascii() and start.isdigit() and len(start) == 4 and end == f"{(int(start) + 1) % 100:02}"):
        raise argparse.ArgumentTypeError(f"{text!r} is not a tax year such as 2026-27")
    return text


def at_least_one(text: str) -> int:
    """A whole number from 1 on. ArgumentTypeError for anything else."""
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1 on")
    return int(text)


def add_operation(parser: argparse.ArgumentParser) -> None:
    """Which operation's requests the book has, and how results are written."""
    parser.add_argument("--operation", default=WITHDRAWAL_TAX, help="others than withdrawal-tax: NDJSON only")
    parser.add_argument("--results-as", choices=("csv", "parquet", "ndjson"), help="else as the book is")


def refuse_what_an_operation_has_not(parser: argparse.ArgumentParser, options: argparse.Namespace) -> None:
    """End the process with status 2 where something is asked for that the operation does not have."""
    if options.operation != WITHDRAWAL_TAX and (
        options.compare_tax_years or options.in_tax_year or options.results_as not in (None, "ndjson")
    ):
        parser.error("tax years can be compared or changed, and columns written, for withdrawal-tax only")
    if options.compare_laws and options.operation not in MEASURES:
        parser.error(f"laws are compared for one of {', '.join(MEASURES)}")


def check_kind(operation: str, kind: FileKind) -> None:
    """BookError where books of an operation cannot be files of this kind."""
    if operation != WITHDRAWAL_TAX and kind != "ndjson":
        raise BookError(f"for {operation} the book must be NDJSON")


def add_comparison(parser: argparse.ArgumentParser) -> None:
    """What of the book is compared, if anything."""
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--compare-tax-years", nargs=2, default=[], metavar=("FROM", "TO"), type=tax_year)
    which.add_argument(
        "--compare-laws",
        nargs=2,
        default=[],
        metavar=("LAW", "OTHER"),
        help="by the service's names; known is the law as known",
    )
    parser.add_argument("--in-tax-year", metavar="YEAR", type=tax_year, help="with laws: instead of the book's own")
    parser.add_argument("--largest", type=at_least_one, default=20, metavar="N", help="changes to list (20)")


def refuse_what_cannot_be_compared(parser: argparse.ArgumentParser, options: argparse.Namespace) -> None:
    """End the process with status 2 where the options for a comparison do not go together."""
    if options.in_tax_year and not options.compare_laws:
        parser.error("--in-tax-year is for --compare-laws")
    if options.compare_laws and len(set(options.compare_laws)) == 1:
        parser.error("--compare-laws needs two laws")


def comparison_of(options: argparse.Namespace, operation: str) -> Comparison | None:
    """The comparison that is asked for."""
    if options.compare_laws:
        before, after = options.compare_laws
        return Laws(before, after, options.largest, operation)
    if options.compare_tax_years:
        before, after = options.compare_tax_years
        return TaxYears(before, after, options.largest)
    return None


def add_book(parser: argparse.ArgumentParser) -> None:
    """The book, and how it is written."""
    parser.add_argument("book", type=Path, help="CSV (.csv), Parquet (.parquet, .pq) or NDJSON (.ndjson, .jsonl)")
    parser.add_argument("--separator", choices=tuple(SEPARATORS), help="of CSV; otherwise found from its first line")
    parser.add_argument("--encoding", choices=ENCODINGS, default=ENCODINGS[0], help="of CSV (utf-8)")
    parser.add_argument("--uk-dates", action="store_true", help="read dates written DD/MM/YYYY as well")
    parser.add_argument("--ignore-other-columns", action="store_true", help="leave out unknown columns")


def notation_of(options: argparse.Namespace) -> Notation:
    """How the book is written, by the command line."""
    separator = SEPARATORS[options.separator] if options.separator else None
    return Notation(separator, options.encoding, options.uk_dates)


def about_book(notation: Notation) -> dict[str, str | bool | None]:
    """What of it makes a run the same run, by names for people."""
    return {"separator": notation.separator, "encoding": notation.encoding, "UK dates": notation.uk_dates}
