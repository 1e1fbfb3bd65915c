"""Spending that is met before the last day of a period, and the growth that is missed for it. Pence.

Money that is spent evenly over a period misses half of the period's growth on average; on the first day, all of it. What income
covers has no growth to miss. The rest is paid from cash first. What cash does not cover leaves pensions and ISAs, first those
that grow the least; of the draws of two people in proportion. Tax is paid on the last day.
"""

from __future__ import annotations

from typing import NamedTuple

from service.law.rounding import half_up
from service.law.units import Pence
from service.planning.household import HALVES_NOT_GROWN, YearlyRate
from service.planning.projection.timeline import Timeline

Rate = tuple[int, int]
"""A share of an amount, as numerator and denominator."""


class NotGrown(NamedTuple):
    """The growth that one person's money misses in a period: of uncrystallised funds, drawdown funds and ISAs."""

    uncrystallised: Pence = 0
    drawdown: Pence = 0
    isa: Pence = 0

    @property
    def pension(self) -> Pence:
        """That of both kinds of funds."""
        return self.uncrystallised + self.drawdown


ALL_GROWN = NotGrown()
"""Nothing is missed."""


def missed_rate(timeline: Timeline, position: int, yearly: YearlyRate) -> Rate:
    """The growth of a period that spent money misses, of a pound that grows at a yearly rate."""
    numerator, denominator = timeline.periods[position].share(yearly)
    return numerator * HALVES_NOT_GROWN[timeline.household.assumptions.spending_met], 2 * denominator


def missed_rates(timeline: Timeline, position: int) -> tuple[Rate, Rate]:
    """The same of pensions and of ISAs."""
    assumed = timeline.household.assumptions
    halves = HALVES_NOT_GROWN[assumed.spending_met]
    (pension, whole), (isa, of_isa) = timeline.periods[position].shares(assumed.pension_growth, assumed.isa_growth)
    return (pension * halves, 2 * whole), (isa * halves, 2 * of_isa)


def from_cash(timeline: Timeline, position: int, received: Pence, cash: Pence) -> Pence:
    """What of a household's opening cash is spent before the last day, the minimum kept; the rest of the spending is met
    otherwise."""
    spare = max(0, cash - timeline.household.minimum_cash)
    return min(max(0, timeline.spending[position] - received), spare)


def missed(amount: Pence, rate: Rate) -> Pence:
    """The growth that an amount misses; half up."""
    return half_up(amount * rate[0], rate[1])


def most_out(held: Pence, before: Pence, rate: Rate) -> Pence:
    """The most that a grown balance can pay out, if the first pounds of it, up to ``before``, miss growth."""
    numerator, denominator = rate
    if numerator <= 0:
        return held
    most = held - missed(before, rate)
    if most < before:
        most = held * denominator // (denominator + numerator)
        while most + missed(most, rate) < held:
            most += 1
        while most and most + missed(most, rate) > held:
            most -= 1
    return most
