"""The subscription limit of individual savings accounts (SI 1998/1870 reg.4ZA)."""

from __future__ import annotations

from datetime import date

from service.figures.loader import TaxYear
from service.law.pension_age import age_on

CASH_LIMIT_ENDS_AT = 65
"""The age from which the lower limit for cash ISAs does not apply (announced; how the age is tested was not read)."""


def subscription_limit(figures: TaxYear, date_of_birth: date, day: date, *, cash: bool) -> int:
    """The most that may be subscribed in a tax year, pence; ``cash``: into a cash ISA, by the age on a day."""
    limit = figures.money("isa.subscription_limit")
    if cash and age_on(date_of_birth, day) < CASH_LIMIT_ENDS_AT:
        return min(limit, figures.money("isa.cash_limit_under_65"))
    return limit
