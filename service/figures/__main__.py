"""`python -m service.figures` prints figures in the form of their files.

    python -m service.figures 2026-27                             a tax year, whole
    python -m service.figures history pension.annual_allowance    one figure in all tax years
    python -m service.figures next                                a file for the year after the last, with nothing changed

Exit status: 0 when it is printed; 1 when the figures cannot be used; 2 when there is no such tax year or figure.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence

from service.figures.keys import KEYS
from service.figures.loader import FiguresError, TaxYearFigures, load_tax_years
from service.figures.printing import history, whole_year, year_to_come


def text_of(asked: Sequence[str], years: Mapping[str, TaxYearFigures]) -> str | None:
    """What the words of the command line ask for; None where they ask for nothing that there is."""
    match asked:
        case ["history", name] if name in KEYS:
            return history(years, name)
        case ["next"]:
            return year_to_come(list(years.values())[-1])
        case [name] if name in years:
            return whole_year(years[name])
        case _:
            return None


def main(asked: Sequence[str]) -> int:
    """Print what is asked for; returns the exit status."""
    try:
        text = text_of(asked, load_tax_years())
    except FiguresError as error:
        print(f"The figures cannot be used:\n{error}", file=sys.stderr)
        return 1
    if text is None:
        print(f"There is no such tax year or figure.\n\n{__doc__}", file=sys.stderr)
        return 2
    print(text, end="")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
