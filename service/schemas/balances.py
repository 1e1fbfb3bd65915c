"""What a plan assumed and how its balances moved, as JSON."""

from __future__ import annotations

from typing import Any

from service.planning.household import Assumptions
from service.planning.projection.balances import Balance


def assumptions_answer(assumed: Assumptions) -> dict[str, Any]:
    """What was assumed, as JSON."""
    return {
        "pension_growth": float(assumed.pension_growth / 10_000),
        "isa_growth": float(assumed.isa_growth / 10_000),
        "cash_interest": float(assumed.cash_interest / 10_000),
        "price_inflation": assumed.price_inflation / 10_000,
        "thresholds_after_freeze": assumed.thresholds_after_freeze,
        "exit_tax_rate": assumed.exit_tax_rate / 10_000,
    }


def balance_answer(balance: Balance, growth: str) -> dict[str, float]:
    """How a balance moved, as JSON; ``growth`` is the name of what it grew by."""
    return {
        "opening": balance.opening / 100,
        growth: balance.growth / 100,
        "paid_in": balance.paid_in / 100,
        "paid_out": balance.paid_out / 100,
        "closing": balance.closing / 100,
    }
