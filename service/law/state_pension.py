"""State Pension age, which State Pension a person has, and its full yearly rate.

Pensions Act 1995 Sch.4 (as amended by the Pensions Acts 2007, 2011 and 2014) and Pensions Act 2014 s.1. The table itself
is data; here is how it is read.
"""

from __future__ import annotations

from bisect import bisect_right
from calendar import monthrange
from datetime import date
from operator import attrgetter
from typing import Literal

from service.figures.loader import TaxYearFigures
from service.figures.tables import AgeRow, StatePensionAges
from service.law.ages import birthday
from service.law.units import Pence, Years

Which = Literal["new", "basic"]

WEEKS = 52
"""Weeks of State Pension in a year: a planner's year. A tax year may hold a 53rd payment day."""

_BORN_FROM = attrgetter("born_from")
_FULL_WEEKLY = {"new": "state_pension.new_full_weekly", "basic": "state_pension.basic_full_weekly"}


def row_for(date_of_birth: date, ages: StatePensionAges) -> AgeRow:
    """The row of the table for a date of birth, with its authority."""
    # The first row holds all who were born before the second.
    return ages.rows[bisect_right(ages.rows, date_of_birth, lo=1, key=_BORN_FROM) - 1]


def reached_on(date_of_birth: date, ages: StatePensionAges) -> date | None:
    """The day State Pension age is reached; None if born before 6 December 1953, and so reached before 6 April 2019.

    For a birth before that the exact day depends on sex, which is not asked. A day given may itself be before
    6 April 2019 (6 March 2019, the first of the specified days).
    """
    row = row_for(date_of_birth, ages)
    if row.age is None:
        return row.day
    return _age_reached(date_of_birth, *row.age)


def which(date_of_birth: date, ages: StatePensionAges) -> Which | None:
    """The new or the basic State Pension; None for a birth for which it depends on sex, which is not asked."""
    if date_of_birth < ages.basic_for_all_born_before:
        return "basic"
    if date_of_birth >= ages.new_for_all_born_from:
        return "new"
    return None


def full_yearly(figures: TaxYearFigures, which: Which) -> Pence:
    """The full rate of a year, in pence: 52 times the weekly rate of the tax year."""
    return WEEKS * figures.money(_FULL_WEEKLY[which])


def _age_reached(date_of_birth: date, years: Years, months: int) -> date:
    """The day an age is reached: the day of the same number in the later month, or that month's last day.

    The rule for the shorter month is the published one for State Pension age. An age of whole years is reached on the
    birthday, which for a birth on 29 February is 1 March in other years; no published table for those births was seen.
    """
    if months == 0:
        return birthday(date_of_birth, years)
    year, month = divmod(date_of_birth.year * 12 + date_of_birth.month - 1 + years * 12 + months, 12)
    try:
        return date(year, month + 1, date_of_birth.day)
    except ValueError:
        return date(year, month + 1, monthrange(year, month + 1)[1])
