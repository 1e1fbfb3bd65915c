"""What answers over years have in common: what was assumed, how balances moved, what was withdrawn and what it limits."""

from __future__ import annotations

from typing import Any

from service.law.lump_sums import Pension
from service.planning.household import Assumptions
from service.planning.projection.balances import Balance, MoneyPurchaseAllowance, Withdrawal
from service.schemas.units import fraction, in_pounds, pounds, yearly_rate

ONLY_PENSION = 0
"""The place of a person's pension in the list of theirs."""


def assumptions_answer(assumed: Assumptions) -> dict[str, Any]:
    """What was assumed, as JSON."""
    return {
        "pension_growth": yearly_rate(assumed.pension_growth),
        "isa_growth": yearly_rate(assumed.isa_growth),
        "cash_interest": yearly_rate(assumed.cash_interest),
        "price_inflation": fraction(assumed.price_inflation),
        "thresholds_after_freeze": assumed.thresholds_after_freeze,
        "tax_rate_on_remaining_pension": fraction(assumed.tax_rate_on_remaining_pension),
    }


def balance_answer(balance: Balance, growth: str) -> dict[str, Any]:
    """How a balance moved, as JSON; ``growth`` is the name of what it grew by."""
    opening, grown, paid_in, paid_out, closing = balance
    return {
        "opening": pounds(opening),
        growth: pounds(grown),
        "paid_in": pounds(paid_in),
        "paid_out": pounds(paid_out),
        "closing": pounds(closing),
    }


def pensions_answer(balance: Balance, after: Pension) -> list[dict[str, Any]]:
    """How a person's pensions moved, as JSON, with what each consists of at the end."""
    moved = balance_answer(balance, "growth")
    held = {"uncrystallised": pounds(after.uncrystallised), "drawdown": pounds(after.drawdown)}
    return [{"pension": ONLY_PENSION, **moved, **held}]


def withdrawals_answer(withdrawal: Withdrawal) -> list[dict[str, Any]]:
    """What a person draws from each pension, as JSON."""
    return [{"pension": ONLY_PENSION, **in_pounds(withdrawal, Withdrawal._fields)}]


def money_purchase_answer(allowance: MoneyPurchaseAllowance) -> dict[str, Any]:
    """The money purchase annual allowance, as JSON."""
    document: dict[str, Any] = {"applies": allowance.applies, "triggered": allowance.triggered}
    if allowance.amount is not None:
        document["amount"] = pounds(allowance.amount)
    if allowance.first_day is not None:
        document |= {"from": allowance.first_day.isoformat(), "tax_year": allowance.tax_year}
    return document
