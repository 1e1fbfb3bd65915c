"""From which day, and until which, a figure has been what it is: the days on which the law changes, read off the years.

``years`` are those of ``load_tax_years``, oldest first. None stands for a day before the first of them or after the last.
A figure says ``word`` if that is its value, or the name of one of its bands or tax codes. ValueError where no tax year
has the figure, or none in which it says the word, or such years are not one after the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from itertools import pairwise

from service.figures import tax_years
from service.figures.loader import TaxYearFigures
from service.figures.values import Value


def first_day_with(years: Mapping[str, TaxYearFigures], name: str, word: str | None = None) -> date | None:
    """The first day on which there is a figure, or on which it says a word. A figure that is a day is itself the answer."""
    first = _having(years, name, word)[0]
    value = first.figures[name].value
    if isinstance(value, date):
        return value
    return None if first.name == next(iter(years)) else first.start


def last_day_with(years: Mapping[str, TaxYearFigures], name: str, word: str | None = None) -> date | None:
    """The last day on which there is a figure, or on which it says a word."""
    last = _having(years, name, word)[-1]
    return None if last.name == list(years)[-1] else last.end


def last_day_before_change(years: Mapping[str, TaxYearFigures], name: str) -> date | None:
    """The day before a figure last changed its value; None if it never has."""
    pairs = pairwise(_having(years, name, None))
    changed = [later for earlier, later in pairs if earlier.figures[name].value != later.figures[name].value]
    return changed[-1].start - timedelta(days=1) if changed else None


def _having(years: Mapping[str, TaxYearFigures], name: str, word: str | None) -> list[TaxYearFigures]:
    """The tax years, one after the other, that have a figure, and in which it says the word if one is given."""
    having = [
        year for year in years.values() if year.has(name) and (word is None or _says(year.figures[name].value, word))
    ]
    if not having:
        raise ValueError(f"no tax year has {name}" + (f" with {word}" if word else ""))
    if any(tax_years.between(earlier.name, later.name) != 1 for earlier, later in pairwise(having)):
        raise ValueError(f"the tax years that have {name} are not one after the other")
    return having


def _says(value: Value, word: str) -> bool:
    if isinstance(value, tuple):
        return any(band.name == word for band in value)
    if isinstance(value, Mapping):
        return word in value
    return value == word
