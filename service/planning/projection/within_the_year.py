"""Spending that is met before the last day of a period, and the growth that is missed for it. Pence.

Money that is spent evenly over a period misses half of the period's growth on average; on the first day, all of it. What income
covers has no growth to miss. So a pot that grows by g pays an amount S of spending and is left with 1 + g of what it was, less
1 + g/2 of S: cash, pensions and ISAs alike.

What the rest is paid from is for the plan to say. Where it does not, cash is spent first, and what cash does not cover leaves
pensions and ISAs, first those that grow the least; of two people in proportion. Tax is paid on the last day.
"""

from __future__ import annotations

from collections.abc import Sequence
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


def missed_rates(timeline: Timeline, position: int) -> tuple[Sequence[Rate], Rate]:
    """The same of each person's pensions, and of ISAs."""
    assumed = timeline.household.assumptions
    halves = HALVES_NOT_GROWN[assumed.spending_met]
    (pension, whole), (isa, of_isa) = timeline.periods[position].shares(assumed.pension_growth, assumed.isa_growth)
    of_isas = isa * halves, 2 * of_isa
    if assumed.pension_growths:
        return [missed_rate(timeline, position, yearly) for yearly in assumed.pension_growths], of_isas
    return [(pension * halves, 2 * whole)] * len(timeline.people), of_isas


def from_cash(timeline: Timeline, position: int, covered: Pence, cash: Pence) -> Pence:
    """What of a household's opening cash and its interest is spent before the last day, where cash is spent first and the minimum
    is kept; ``covered`` is the spending that needs none of it."""
    yearly = timeline.household.assumptions.cash_interest
    numerator, denominator = timeline.periods[position].share(yearly)
    spare = cash + cash * numerator // denominator - timeline.household.minimum_cash
    wanted = timeline.spending[position] - covered
    if wanted <= 0 or spare <= 0:
        return 0
    return min(wanted, most_out(spare, spare, missed_rate(timeline, position, yearly)))


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
