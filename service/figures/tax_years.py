"""The name of a tax year, such as "2026-27", and the days it runs over: 6 April to the 5 April after."""

from __future__ import annotations

import re
from datetime import date

_NAME = re.compile(r"([0-9]{4})-([0-9]{2})", re.ASCII)
_FIRST_DAY, _LAST_DAY = (4, 6), (4, 5)  # month and day


def starts_in(name: str) -> int:
    """The calendar year in which a tax year starts: 2026 for "2026-27". ValueError if the name is not a tax year's."""
    match = _NAME.fullmatch(name)
    if match is None or int(match[2]) != (int(match[1]) + 1) % 100:
        raise ValueError(f"{name!r} is not a tax year such as 2034-35")
    return int(match[1])


def starting_in(calendar_year: int) -> str:
    """The name of the tax year that starts in a calendar year: "2026-27" for 2026."""
    return f"{calendar_year:04d}-{(calendar_year + 1) % 100:02d}"


def of(day: date) -> str:
    """The name of the tax year in which a day falls."""
    return starting_in(day.year if (day.month, day.day) >= _FIRST_DAY else day.year - 1)


def first_day(name: str) -> date:
    """The 6 April on which a tax year begins. ValueError if the name is not a tax year's."""
    return date(starts_in(name), *_FIRST_DAY)


def last_day(name: str) -> date:
    """The 5 April on which a tax year ends. ValueError if the name is not a tax year's."""
    return date(starts_in(name) + 1, *_LAST_DAY)


def following(name: str) -> str:
    """The name of the tax year after. ValueError if the name is not a tax year's."""
    return starting_in(starts_in(name) + 1)


def between(earlier: str, later: str) -> int:
    """How many years after one tax year another is: 1 from "2026-27" to "2027-28", and below nought the other way.
    ValueError if a name is not a tax year's."""
    return starts_in(later) - starts_in(earlier)
