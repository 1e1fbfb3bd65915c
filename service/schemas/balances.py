"""What a plan assumed and how its balances moved, as JSON."""

from __future__ import annotations

from typing import Any

from service.planning.household import Assumptions
from service.planning.projection.balances import Balance
from service.schemas.units import fraction, pounds, yearly_rate


def assumptions_answer(assumed: Assumptions) -> dict[str, Any]:
    """What was assumed, as JSON."""
    return {
        "pension_growth": yearly_rate(assumed.pension_growth),
        "isa_growth": yearly_rate(assumed.isa_growth),
        "cash_interest": yearly_rate(assumed.cash_interest),
        "price_inflation": fraction(assumed.price_inflation),
        "thresholds_after_freeze": assumed.thresholds_after_freeze,
        "exit_tax_rate": fraction(assumed.tax_rate_on_remaining_pension),
    }


def balance_answer(balance: Balance, growth: str) -> dict[str, float]:
    """How a balance moved, as JSON; ``growth`` is the name of what it grew by."""
    opening, grown, paid_in, paid_out, closing = balance
    return {
        "opening": pounds(opening),
        growth: pounds(grown),
        "paid_in": pounds(paid_in),
        "paid_out": pounds(paid_out),
        "closing": pounds(closing),
    }
