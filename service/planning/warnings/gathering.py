"""Small steps that every gatherer of circumstances needs."""

from __future__ import annotations

from collections.abc import Iterable

from service.law import lump_sums
from service.law.lump_sums import LumpSumRules, Method, Payment, Pension
from service.planning.household import DatedIncome, Income

_FROM_WORK = ("employment", "self_employment")


def pension_left(method: Method, pension: Pension, payment: Payment, rules: LumpSumRules) -> Pension:
    """The pension after a payment of any method: a small pot uses no allowance and is no flexible access."""
    if lump_sums.uses_allowances(method):
        return lump_sums.then(pension, payment, rules)
    uncrystallised, drawdown = lump_sums.pension_after(pension, payment)
    return pension.holding(uncrystallised, drawdown)


def works(incomes: Iterable[Income | DatedIncome]) -> bool:
    """Whether there is any income from work."""
    return any(income.kind in _FROM_WORK and income.amount for income in incomes)
