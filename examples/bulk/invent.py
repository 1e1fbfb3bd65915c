"""Invent a book of clients, to try the other scripts with.

    python examples/bulk/invent.py 1000 book.csv [--faulty 0.01] [--tax-year 2026-27] [--seed 1]

The name's ending chooses the kind: .csv, .ndjson or .parquet. The same arguments give the same book. Nobody in it exists.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from random import Random

from book import layout
from book.reading import BookError, kind_of

NATIONS = ("england", "england", "england", "england", "scotland", "wales", "northern_ireland")
INCOMES = {
    "employment": (12_000, 95_000),
    "self_employment": (4_000, 60_000),
    "state_pension": (6_000, 12_500),
    "defined_benefit_pension": (3_000, 40_000),
    "property_income": (1_000, 20_000),
    "savings_interest": (50, 4_000),
    "dividends": (100, 15_000),
}
SURE_OF_A_STATE_PENSION = 68
"""The age by which everybody invented has had a State Pension for all of the tax year before, too."""
ROWS_IN_A_GROUP = 10_000
"""Of a Parquet file, where each row group can be calculated apart."""

Row = dict[str, str]


def rows(count: int, faulty: float, tax_year: str, seed: int) -> Iterator[Row]:
    """Rows of the columns of a book. About a share of ``faulty`` asks for what cannot be answered."""
    random = Random(seed)
    for number in range(1, count + 1):
        row = _row(random, f"C{number:08}", tax_year)
        if random.random() < faulty:
            row.update(
                random.choice(
                    (
                        {"amount": "99999999", "net_wanted": ""},
                        {"amount": "1000.005", "net_wanted": ""},
                        {"date_of_birth": "1966-02-30"},
                        {"tax_residence": "atlantis"},
                        {"uncrystallised": "a lot"},
                        {"method": ""},
                    )
                )
            )
        yield row


def _row(random: Random, name: str, tax_year: str) -> Row:
    row = dict.fromkeys(layout.COLUMNS, "")
    start = int(tax_year[:4])
    born = random.randint(1948, 1968)
    possible = [kind for kind in INCOMES if kind != "state_pension" or start - born >= SURE_OF_A_STATE_PENSION]
    kinds = random.sample(possible, random.choice((1, 1, 2, 2, 3)))
    row.update({kind: _pounds(random, *INCOMES[kind]) for kind in kinds})
    row.update(
        id=name,
        tax_year=tax_year,
        date_of_birth=f"{born}-{random.randint(1, 12):02}-{random.randint(1, 28):02}",
        tax_residence=random.choice(NATIONS),
        method=random.choice(("ufpls", "ufpls", "drawdown", "pcls_and_drawdown", "pcls")),
        uncrystallised=_pounds(random, 80_000, 900_000),
        drawdown=_pounds(random, 60_000, 300_000),
        flexibly_accessed=random.choice(("true", "true", "false", "")),
        date=random.choice(("", f"{start}-{random.randint(5, 12):02}-{random.randint(1, 28):02}")),
    )
    wanted = random.random() < 0.2
    row["net_wanted" if wanted else "amount"] = _pounds(
        random, 500, 15_000 if wanted or row["method"] == "pcls" else 50_000
    )
    if random.random() < 0.1:
        row["relief_at_source_contributions_gross"] = _pounds(random, 500, 3_600)
    if random.random() < 0.1:
        row["gift_aid_donations_gross"] = _pounds(random, 20, 2_000)
    if random.random() < 0.05:
        row["child_benefit"] = "1354.60"
    if random.random() < 0.1:
        row["marriage_allowance"] = random.choice(("gives", "receives"))
    return row


def _pounds(random: Random, low: int, high: int) -> str:
    """An amount between two amounts, half of them in whole pounds."""
    pounds = random.randint(low, high)
    return random.choice((str(pounds), f"{pounds}.{random.randrange(100):02}"))


def write(path: Path, invented: Iterator[Row]) -> None:
    """Write rows to a file of the kind that its name says. BookError for another kind."""
    kind = kind_of(path)
    if kind == "csv":
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, layout.COLUMNS)
            writer.writeheader()
            writer.writerows(invented)
    elif kind == "ndjson":
        with path.open("w", encoding="utf-8", newline="\n") as file:
            for row in invented:
                file.write(json.dumps({"id": row["id"], "request": layout.request_of(row)}) + "\n")
    else:
        from book import parquet

        groups = iter(lambda: list(itertools.islice(invented, ROWS_IN_A_GROUP)), [])
        columns = [(name, "text") for name in layout.COLUMNS]
        parquet.write_groups(path, columns, ([list(row.values()) for row in group] for group in groups))


def main(given: Sequence[str]) -> int:
    """Run with command-line arguments; the exit status."""
    parser = argparse.ArgumentParser(description="Invent a book of clients.")
    parser.add_argument("count", type=int)
    parser.add_argument("file", type=Path)
    parser.add_argument("--faulty", type=float, default=0.01, metavar="SHARE", help="of records (0.01)")
    parser.add_argument("--tax-year", default="2026-27")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(given)
    try:
        write(options.file, rows(options.count, options.faulty, options.tax_year, options.seed))
    except BookError as error:
        print(f"{error}.", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
