"""What may be subscribed to individual savings accounts (SI 1998/1870 regs 4ZA, 5DDA, 5DFA)."""

from __future__ import annotations

from datetime import date
from typing import Literal

from service.figures.loader import TaxYearFigures
from service.law.ages import age_on
from service.law.units import Pence

_CASH_LIMIT_ENDS = "isa.cash_limit_ends_at_age"

CashLimit = Literal["none", "lower", "reached_in_the_year"]
"""What limits cash ISAs of a person in a tax year besides the limit of all ISAs: nothing; the lower limit for people under 65;
or one of the two, as that age is reached in the year and the law does not yet say on which day it is tested."""


def cash_limit(figures: TaxYearFigures, date_of_birth: date) -> CashLimit:
    """Which limit a person's cash ISAs have in a tax year. It is announced, and how the age is tested is not settled: what is
    certain is the year that ends before the age is reached, and the one that begins once it is."""
    if not figures.has(_CASH_LIMIT_ENDS) or age_on(date_of_birth, figures.start) >= figures.count(_CASH_LIMIT_ENDS):
        return "none"
    return "lower" if age_on(date_of_birth, figures.end) < figures.count(_CASH_LIMIT_ENDS) else "reached_in_the_year"


def subscription_limit(figures: TaxYearFigures, date_of_birth: date, *, cash: bool) -> Pence:
    """The most that may be subscribed in a tax year, pence; ``cash``: into a cash ISA.

    In the tax year in which 65 is reached it is the lower limit for cash: our choice, as that is permitted by any test.
    """
    limit = figures.money("isa.subscription_limit")
    if cash and cash_limit(figures, date_of_birth) != "none":
        return min(limit, figures.money("isa.cash_limit_under_65"))
    return limit


def additional_permitted_subscription(
    figures: TaxYearFigures, died: date, value_at_death: Pence, value_at_end: Pence | None = None
) -> Pence:
    """What a surviving spouse or civil partner may subscribe besides the year's limit (SI 1998/1870 reg.5DDA); pence.

    ``value_at_death`` is that of all ISAs of the person who died; ``value_at_end`` is their value when the continuing
    account of a deceased investor ended, None while it goes on. The higher of the two counts for deaths on or after 6
    April 2018, the value at death for earlier ones, nothing for deaths before 3 December 2014: the figures of every tax
    year say these days. The couple must have lived together. Not tested here is the time in which it is to be used: three years
    from death, or 180 days after the administration of the estate is complete if that is later; for what is not cash, 180 days
    after it is distributed (reg.5DFA(3)).
    """
    if died < figures.day("isa.additional_subscription_from"):
        return 0
    if value_at_end is None or died < figures.day("isa.additional_subscription_value_at_end_from"):
        return value_at_death
    return max(value_at_death, value_at_end)
