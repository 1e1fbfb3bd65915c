"""What is held, and how it moved."""

from __future__ import annotations

from typing import NamedTuple

from service.law.units import Pence
from service.planning.projection.settlement import Settled


class Balance(NamedTuple):
    """What a person holds in one place over a period: opening + growth + paid_in - paid_out = closing. Pence."""

    opening: Pence
    growth: Pence
    paid_in: Pence
    paid_out: Pence
    closing: Pence


def pension_held(year: Settled) -> Pence:
    """What all pensions hold at the end of a period, pence."""
    return sum(held.pension.uncrystallised + held.pension.drawdown for held in year.holdings)


def isa_held(year: Settled) -> Pence:
    """What all ISAs hold at the end of a period, pence."""
    return sum(held.isa for held in year.holdings)


def cash_held(year: Settled) -> Pence:
    """The cash outside ISAs at the end of a period, pence."""
    return sum(held.cash for held in year.holdings)
