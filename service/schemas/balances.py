"""What answers over years have in common: what was assumed, how balances moved, what was withdrawn and what it limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.planning.household import Household, PaidIn
from service.planning.projection.balances import Balance, MoneyPurchaseAllowance, Part, Withdrawal
from service.planning.projection.pots import Funds
from service.schemas.units import fraction, in_pounds, pounds, yearly_rate


def assumptions_answer(household: Household) -> dict[str, Any]:
    """What was assumed of a household, as JSON."""
    assumed = household.assumptions
    flat = assumed.tax_rate_on_remaining_pension
    document: dict[str, Any] = {
        "pension_growth": yearly_rate(assumed.pension_growth),
        "isa_growth": yearly_rate(assumed.isa_growth),
        "cash_interest": yearly_rate(assumed.cash_interest),
        "price_inflation": fraction(assumed.price_inflation),
        "thresholds_after_freeze": assumed.thresholds_after_freeze,
        "tax_on_remaining_pension": {"drawn_over_years": assumed.remaining_pension_drawn_over}
        if flat is None
        else {"rate": fraction(flat)},
        "spending_met": assumed.spending_met,
    }
    if assumed.pension_growths:
        document["pension_growths"] = [yearly_rate(growth) for growth in assumed.pension_growths]
    if assumed.pot_growths:
        document["growth_by_pension"] = [
            {"person": i, **_together(places), "growth": yearly_rate(growth)}
            for i, member in enumerate(household.people)
            for places, growth in zip(
                [pot.places for pot in member.pots] or [member.places_drawn],
                assumed.growths_of(i, len(member.pots)),
                strict=True,
            )
            if places
        ]
    return document if flat is None else {**document, "tax_rate_on_remaining_pension": fraction(flat)}


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


def pensions_answer(parts: Sequence[Part]) -> list[dict[str, Any]]:
    """How a person's pensions moved, as JSON, with what they consist of at the end."""
    return [
        {
            **_together(part.places),
            **({} if part.lump_sum is None else {"lump_sum": pounds(part.lump_sum)}),
            **balance_answer(part.balance, "growth"),
            **in_pounds(part.after, Funds._fields),
        }
        for part in parts
    ]


def contributions_answer(paid: PaidIn) -> dict[str, Any]:
    """What is paid into a person's pensions, as JSON; nothing where nothing is."""
    if not paid.amount:
        return {}
    return {"contributions": {"paid_in": pounds(paid.amount), "own_money": pounds(paid.own)}}


def withdrawals_answer(parts: Sequence[Part]) -> list[dict[str, Any]]:
    """What a person draws from their pensions, as JSON."""
    return [
        {
            **_together(part.places),
            **in_pounds(part.withdrawal, Withdrawal._fields),
            **({"small_pot": True} if part.small_pot and part.withdrawal.gross else {}),
        }
        for part in parts
    ]


def _together(places: Sequence[int]) -> dict[str, Any]:
    """The places of pensions that count as one."""
    first, *others = places
    return {"pension": first, "together_with": others} if others else {"pension": first}


def money_purchase_answer(allowance: MoneyPurchaseAllowance) -> dict[str, Any]:
    """The money purchase annual allowance, as JSON."""
    document: dict[str, Any] = {"applies": allowance.applies, "triggered": allowance.triggered}
    if allowance.amount is not None:
        document["amount"] = pounds(allowance.amount)
    if allowance.first_day is not None:
        document |= {"from": allowance.first_day.isoformat(), "tax_year": allowance.tax_year}
    return document
