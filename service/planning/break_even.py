"""Where two options change places: the growth rate, and the age, solved and not sampled.

Growth moves the pension's and the ISAs' rate together, so that the difference between the two stays what it was. All
amounts are wealth after tax in pence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

PARTS = 10_000
"""Parts of a basis point in which a growth rate is solved: eight decimals of a fraction."""

_EQUAL = 100
"""Pence: two options within a pound are equal."""

Difference = Callable[[int], int]
"""By how much the first option leaves more than the second at a place (a growth rate in parts, or a day), pence."""


class GrowthBreakEven(NamedTuple):
    """A rise or fall of growth (parts of a basis point a year) at which two options change places. ``difference`` is how
    much more the first leaves there: not nothing only where a step of the tax makes them leap past each other. ``below`` and
    ``above`` say which of the two leaves more on either side: 0 or 1."""

    shift: int
    difference: int
    below: int
    above: int


class AgeBreakEven(NamedTuple):
    """The day from which the other option leaves more: ``leader`` is 0 or 1; how much more the first leaves on that day and on
    the day before."""

    day: date
    leader: int
    difference: int
    difference_the_day_before: int


def shifted(rate: int | Fraction, shift: int) -> int | Fraction:
    """A growth rate (basis points) moved by parts of a basis point; a whole number where it is one."""
    moved = rate + Fraction(shift, PARTS)
    return int(moved) if moved.denominator == 1 else moved


def growth_break_evens(difference: Difference, places: Sequence[int]) -> Iterator[GrowthBreakEven]:
    """All growth rates between the first and the last place at which the difference changes its sign; places are the rates
    (as shifts, rising) between which no two changes are looked for."""
    for low, high, below, above in _changes(difference, places):
        at = _root(difference, low, high)
        yield GrowthBreakEven(at, difference(at), below, above)


def age_break_evens(difference: Difference, days: Sequence[date]) -> Iterator[AgeBreakEven]:
    """All days on which the lead passes to the other option, by days (rising) between which no two changes are looked for."""
    for low, high, _, above in _changes(difference, [day.toordinal() for day in days]):
        while high - low > 1:
            middle = (low + high) // 2
            if _leads(difference(middle)) == above:
                high = middle
            else:
                low = middle
        yield AgeBreakEven(date.fromordinal(high), above, difference(high), difference(low))


def _changes(difference: Difference, places: Sequence[int]) -> Iterator[tuple[int, int, int, int]]:
    """Neighbouring places on which different options lead, and which ones; places where both are equal are passed over."""
    leading = [(place, leader) for place in places if (leader := _leads(difference(place))) is not None]
    for (low, below), (high, above) in pairwise(leading):
        if below != above:
            yield low, high, below, above


def _leads(difference: int) -> int | None:
    """Which of the two leaves more; None where they are equal within a pound."""
    if abs(difference) <= _EQUAL:
        return None
    return 0 if difference > 0 else 1


def _root(difference: Difference, low: int, high: int) -> int:
    """A place between two of different sign where the difference is within a pound, or the nearest to a leap over it.

    Regula falsi, each end's weight halved when it stays (the Illinois rule), in whole numbers; halving where that stalls.
    """
    at_low, at_high = difference(low), difference(high)
    weight_low, weight_high = at_low, at_high
    kept = 0
    while high - low > 1:
        middle = low + (high - low) * weight_low // (weight_low - weight_high) if abs(kept) < 3 else (low + high) // 2
        middle = min(max(middle, low + 1), high - 1)
        found = difference(middle)
        if abs(found) <= _EQUAL:
            return middle
        if (found > 0) == (at_low > 0):
            low, at_low, weight_low = middle, found, found
            weight_high, kept = (weight_high // 2, kept + 1) if kept > 0 else (at_high, 1)
        else:
            high, at_high, weight_high = middle, found, found
            weight_low, kept = (weight_low // 2, kept - 1) if kept < 0 else (at_low, -1)
    return low if abs(at_low) <= abs(at_high) else high
