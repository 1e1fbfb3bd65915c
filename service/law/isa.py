"""What may be subscribed to individual savings accounts (SI 1998/1870 regs 4ZA, 5DDA)."""

from __future__ import annotations

from datetime import date

from service.figures.loader import TaxYearFigures
from service.law.ages import age_on
from service.law.units import Pence

_CASH_LIMIT_ENDS = "isa.cash_limit_ends_at_age"


def subscription_limit(figures: TaxYearFigures, date_of_birth: date, day: date, *, cash: bool) -> Pence:
    """The most that may be subscribed in a tax year, pence; ``cash``: into a cash ISA, by the age on a day.

    The lower limit for cash is announced; how the age is tested was not read.
    """
    limit = figures.money("isa.subscription_limit")
    if cash and figures.has(_CASH_LIMIT_ENDS) and age_on(date_of_birth, day) < figures.count(_CASH_LIMIT_ENDS):
        return min(limit, figures.money("isa.cash_limit_under_65"))
    return limit


def additional_permitted_subscription(
    figures: TaxYearFigures, died: date, value_at_death: Pence, value_at_end: Pence | None = None
) -> Pence:
    """What a surviving spouse or civil partner may subscribe besides the year's limit (SI 1998/1870 reg.5DDA); pence.

    ``value_at_death`` is that of all ISAs of the person who died; ``value_at_end`` is their value when the continuing
    account of a deceased investor ended, None while it goes on. The higher of the two counts for deaths on or after 6
    April 2018, the value at death for earlier ones, nothing for deaths before 3 December 2014: the figures of every tax
    year say these days. The couple must have lived together; the three years from death in which it is to be used, or 180
    days from the end of administration if later, are not tested here.
    """
    if died < figures.day("isa.additional_subscription_from"):
        return 0
    if value_at_end is None or died < figures.day("isa.additional_subscription_value_at_end_from"):
        return value_at_death
    return max(value_at_death, value_at_end)
