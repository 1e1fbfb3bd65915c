"""Where two options change places: the growth rate, and the age, solved and not sampled.

Growth moves the rates of all pensions and of the ISAs together, so that the differences between them stay what they were. All
amounts are wealth after tax in pence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from fractions import Fraction
from itertools import pairwise
from math import log, prod
from typing import NamedTuple

from service.law.units import BasisPoints, Pence
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, Household, YearlyRate
from service.planning.search import first_where

PARTS = 10_000
"""Parts of a basis point in which a growth rate is solved: eight decimals of a fraction."""

EQUAL = 100
"""Pence: two options within a pound are equal."""

_GUESSES = 6  # before the bracket is halved every other time
_THROUGH = 3  # known places that a guess runs through


class Wealth:
    """What an option leaves at a place (a growth rate in parts, or the number of a day), pence; found once for each place."""

    def __init__(self, find: Callable[[int], int], known: Mapping[int, int]) -> None:
        self._find = find
        self._known = dict(known)
        self._impossible: dict[int, RuleViolation] = {}

    def at(self, place: int) -> int:
        """The wealth at a place. RuleViolation where the option cannot be carried out."""
        if place in self._impossible:
            raise self._impossible[place]
        if place not in self._known:
            try:
                self._known[place] = self._find(place)
            except RuleViolation as error:
                self._impossible[place] = error
                raise
        return self._known[place]


class GrowthBreakEven(NamedTuple):
    """A rise or fall of growth (parts of a basis point a year) at which two options change places. ``difference`` is how
    much more the first leaves there: not nothing only where a step of the tax makes them leap past each other. ``below`` and
    ``above`` say which of the two leaves more on either side: 0 or 1."""

    shift: int
    difference: Pence
    below: int
    above: int


class AgeBreakEven(NamedTuple):
    """The day from which the other option leaves more: ``leader`` is 0 or 1; how much more the first leaves on that day and on
    the day before."""

    day: date
    leader: int
    difference: Pence
    difference_the_day_before: Pence


def shifted(rate: BasisPoints | Fraction, shift: int) -> BasisPoints | Fraction:
    """A growth rate (basis points) moved by parts of a basis point; a whole number where it is one."""
    moved = rate + Fraction(shift, PARTS)
    return int(moved) if moved.denominator == 1 else moved


def growth_on_average(household: Household) -> YearlyRate:
    """What the pensions grow by a year, basis points in whole parts: on average by what each holds at the start. Nothing in any,
    it is the first person's growth."""
    assumed = household.assumptions
    if not assumed.growths_differ:
        return assumed.pension_growth
    whole = weighted = Fraction(0)
    for i, member in enumerate(household.people):
        held = member.held_by_pot
        for growth, amount in zip(assumed.growths_of(i, len(member.pots)), held, strict=True):
            whole, weighted = whole + amount, weighted + growth * amount
    return Fraction(round(weighted / whole * PARTS), PARTS) if whole else assumed.pension_growth


def all_shifted(assumed: Assumptions, shift: int) -> Assumptions:
    """What is assumed, with the growth of all pensions and of the ISAs moved by parts of a basis point."""
    return replace(
        assumed,
        pension_growth=shifted(assumed.pension_growth, shift),
        isa_growth=shifted(assumed.isa_growth, shift),
        pension_growths=tuple(shifted(growth, shift) for growth in assumed.pension_growths),
        pot_growths=tuple(tuple(shifted(growth, shift) for growth in own) for own in assumed.pot_growths),
    )


def growth_break_evens(first: Wealth, second: Wealth, places: Sequence[int]) -> Iterator[GrowthBreakEven]:
    """All growth rates between the first and the last place at which the lead changes; places are the rates (as shifts,
    rising) between which no two changes are looked for."""
    for low, high, below, above in _changes(first, second, places):
        at = _root(first, second, places, low, high)
        yield GrowthBreakEven(at, _difference(first, second, at), below, above)


def age_break_evens(first: Wealth, second: Wealth, days: Sequence[date]) -> Iterator[AgeBreakEven]:
    """All days on which the lead passes to the other option, by days (rising) between which no two changes are looked for."""
    for low, high, _, above in _changes(first, second, [day.toordinal() for day in days]):
        day = first_where(_led_by(first, second, above), low, high)
        at, before = _difference(first, second, day), _difference(first, second, day - 1)
        yield AgeBreakEven(date.fromordinal(day), above, at, before)


def _difference(first: Wealth, second: Wealth, place: int) -> Pence:
    return first.at(place) - second.at(place)


def _changes(first: Wealth, second: Wealth, places: Sequence[int]) -> Iterator[tuple[int, int, int, int]]:
    """Neighbouring places on which different options lead, and which ones; places where both are equal are passed over."""
    leading = [(place, leader) for place in places if (leader := _leads(_difference(first, second, place))) is not None]
    for (low, below), (high, above) in pairwise(leading):
        if below != above:
            yield low, high, below, above


def _leads(difference: Pence) -> int | None:
    """Which of the two leaves more; None where they are equal within a pound."""
    if abs(difference) <= EQUAL:
        return None
    return 0 if difference > 0 else 1


def _led_by(first: Wealth, second: Wealth, leader: int) -> Callable[[int], bool]:
    """Whether an option, 0 or 1, leaves more at a place."""

    def leads(place: int) -> bool:
        return _leads(_difference(first, second, place)) == leader

    return leads


def _root(first: Wealth, second: Wealth, places: Sequence[int], low: int, high: int) -> int:
    """A place between two with different leaders where the two are within a pound, or the nearest to a leap over it.

    Each next place is where the curve through what is known of the two crosses nothing; the rules decide there. Where that does
    not get near, the bracket is halved. Known are ``places`` and what was tried since for these two alone, so that the answer is
    the same whatever other options there are.
    """
    below = _difference(first, second, low) > 0
    known = {place: _log_ratio(first, second, place) for place in places}
    guesses = 0
    while high - low > 1:
        place = (low + high) // 2
        if guesses < _GUESSES or guesses % 2:
            place = min(max(_crossing(known, low, high, below=below), low + 1), high - 1)
        guesses += 1
        found = _difference(first, second, place)
        if abs(found) <= EQUAL:
            return place
        known[place] = _log_ratio(first, second, place)
        if (found > 0) == below:
            low = place
        else:
            high = place
    return min(low, high, key=lambda place: abs(_difference(first, second, place)))


def _log_ratio(first: Wealth, second: Wealth, place: int) -> float:
    """How much more the first leaves at a place, as a logarithm: nearly straight in the growth rate."""
    return log(max(1, first.at(place))) - log(max(1, second.at(place)))


def _crossing(known: Mapping[int, float], low: int, high: int, *, below: bool) -> int:
    """About where the two change places: where the curve through the known places (Lagrange) crosses nothing that are nearest to
    the crossing of the straight line between the ends."""
    straight = low + (high - low) * known[low] / (known[low] - known[high])
    near = sorted(known, key=lambda place: abs(place - straight))[:_THROUGH]
    weights = [(one, known[one] / prod([one - other for other in near if other != one])) for one in near]

    def crossed(place: int) -> bool:
        value = 0.0
        for one, weight in weights:
            value += weight * prod([place - other for other in near if other != one])
        return (value > 0) != below

    return first_where(crossed, low, high)
