"""Several pots of one person: what each grows by, and which of them a withdrawal comes from.

A choice says what a person draws of uncrystallised funds and of drawdown funds. From which pot it comes makes no difference to
tax, so one order serves: what grows the least is drawn first. README.md has the proof, and where it does not hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from service.law.pension_age import access_age
from service.law.rounding import half_up
from service.law.rulebook import TaxYearRules
from service.law.units import Pence, Years
from service.planning.household import Member, YearlyRate
from service.planning.projection.timeline import Period, PersonPeriod
from service.planning.projection.within_the_year import Rate, missed, most_out


class Funds(NamedTuple):
    """What one pot holds, or what of it moves: uncrystallised funds and drawdown funds, pence."""

    uncrystallised: Pence = 0
    drawdown: Pence = 0


class Grown(NamedTuple):
    """A person's pots on the last day of a period, with what is paid in, and what each has grown by. ``locked`` is what those
    hold together that may not be drawn."""

    funds: tuple[Funds, ...] = ()
    growth: tuple[Pence, ...] = ()
    locked: Funds = Funds()

    def after_lump_sum(self, year: PersonPeriod, lump_sum: Pence, crystallised: Pence) -> Grown:
        """The pots once a lump sum is taken: so much of what is uncrystallised moves, in the order of draws, and what is not
        paid out as the lump sum goes to drawdown."""
        return self._replace(funds=after_lump_sum(year.order, self.funds, lump_sum, crystallised))


NO_POTS = Grown()
"""All pensions count as one."""


class Drawn(NamedTuple):
    """A person's pots after a draw, the growth that each misses because it is spent before the last day, and what could be
    drawn in all: less than was asked for where that growth leaves too little."""

    after: tuple[Funds, ...]
    not_grown: tuple[Funds, ...]
    drawn: Funds

    @property
    def missed(self) -> Funds:
        """The growth that all pots miss."""
        return together(self.not_grown)


def together(pots: Sequence[Funds]) -> Funds:
    """What several pots hold."""
    return Funds(sum(pot.uncrystallised for pot in pots), sum(pot.drawdown for pot in pots))


def pots_of(member: Member) -> tuple[Funds, ...]:
    """A person's pots at the start; none where all pensions count as one."""
    return tuple(Funds(pot.uncrystallised, pot.drawdown) for pot in member.pots)


def access(member: Member, rules: TaxYearRules) -> tuple[tuple[Years, date], ...]:
    """The age and the day from which each of a person's pots may be drawn; one of both where all pensions count as one."""
    protected = [pot.protected_pension_age for pot in member.pots] or [member.pension.protected_pension_age]
    return tuple(
        access_age(member.date_of_birth, rules.minimum_pension_age, rules.next_minimum_pension_age, age)
        for age in protected
    )


def first_access(member: Member, rules: TaxYearRules) -> tuple[Years, date]:
    """The age and the day from which anything may be drawn."""
    return min(access(member, rules), key=lambda both: both[1])


def next_pound(year: PersonPeriod, held: Sequence[Funds]) -> int:
    """The pot that the next pound would be drawn from: the first in order that has something; where none may be drawn, the
    first."""
    return next((k for k in year.order if any(held[k])), year.order[0] if year.order else 0)


def grown(period: Period, year: PersonPeriod, held: Sequence[Funds], growths: Sequence[YearlyRate]) -> Grown:
    """A person's pots on the last day of a period, before any is drawn; ``growths`` are what each grows by a year."""
    funds, growth = [], []
    for pot, (uncrystallised, drawdown), yearly in zip(year.pots, held, growths, strict=True):
        numerator, denominator = period.share(yearly)
        of_drawdown = half_up(drawdown * numerator, denominator)
        of_uncrystallised = half_up(uncrystallised * numerator, denominator)
        if pot.paid_in.amount:
            of_uncrystallised += period.growth_of(pot.paid_in, yearly)
        funds.append(Funds(uncrystallised + pot.paid_in.amount + of_uncrystallised, drawdown + of_drawdown))
        growth.append(of_uncrystallised + of_drawdown)
    locked = [pot for pot, terms in zip(funds, year.pots, strict=True) if not terms.may_withdraw]
    return Grown(tuple(funds), tuple(growth), together(locked))


def drawn(
    order: Sequence[int], funds: Sequence[Funds], draw: Sequence[Pence], early: Sequence[Pence], rates: Sequence[Rate]
) -> Drawn:
    """A draw of uncrystallised and of drawdown funds carried out pot by pot, in an order. What of it is ``early``, spent before
    the last day, comes first; ``rates`` are the growth that it misses in each pot."""
    kinds = [
        _of_one_kind(order, [pot[kind] for pot in funds], draw[kind], early[kind], rates)
        for kind in range(len(Funds._fields))
    ]
    (first, of_first, drawn_first), (then, of_then, drawn_then) = kinds
    return Drawn(
        tuple(Funds(*both) for both in zip(first, then, strict=True)),
        tuple(Funds(*both) for both in zip(of_first, of_then, strict=True)),
        Funds(drawn_first, drawn_then),
    )


def _of_one_kind(
    order: Sequence[int], held: Sequence[Pence], draw: Pence, early: Pence, rates: Sequence[Rate]
) -> tuple[list[Pence], list[Pence], Pence]:
    """What is left of one kind of funds in each pot, the growth missed in each, and what could be drawn."""
    left, not_grown = list(held), [0] * len(held)
    on_last_day, still_early = draw - early, early
    for k in order:
        out = min(still_early, most_out(left[k], left[k], rates[k])) if still_early else 0
        if out:
            not_grown[k] = missed(out, rates[k])
            left[k] -= out + not_grown[k]
            still_early -= out
    # Pots that are rounded by themselves may keep a penny each; it is drawn on the last day.
    on_last_day += still_early
    for k in order:
        out = min(on_last_day, left[k])
        left[k] -= out
        on_last_day -= out
    return left, not_grown, draw - on_last_day


def after_lump_sum(
    order: Sequence[int], funds: Sequence[Funds], lump_sum: Pence, crystallised: Pence
) -> tuple[Funds, ...]:
    """Pots once a lump sum is taken: so much of what is uncrystallised moves, in the order of draws, and of it the share that is
    not paid out as the lump sum goes to drawdown in the same pot."""
    after = list(funds)
    moved_before = paid_before = 0
    for k in order:
        uncrystallised, drawdown = after[k]
        moved = min(uncrystallised, crystallised - moved_before)
        moved_before += moved
        paid = lump_sum * moved_before // crystallised - paid_before if crystallised else 0
        paid_before += paid
        after[k] = Funds(uncrystallised - moved, drawdown + moved - paid)
    return tuple(after)


def of_slower(
    order: Sequence[int],
    funds: Sequence[Funds],
    draw: Sequence[Pence],
    growths: Sequence[YearlyRate],
    most: YearlyRate,
) -> Pence:
    """What of a draw, carried out in order, comes from pots that grow by no more than ``most`` a year."""
    whole = [Funds() for _ in funds]
    still = [draw[0], draw[1]]
    for k in order:
        out = Funds(min(still[0], funds[k].uncrystallised), min(still[1], funds[k].drawdown))
        whole[k] = out
        still = [still[0] - out.uncrystallised, still[1] - out.drawdown]
    return sum(together([out for out, growth in zip(whole, growths, strict=True) if growth <= most]))
