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

EQUAL = 100
"""Pence: two options within a pound are equal."""

_STALLED = 3  # times that one end of a bracket stays before it is halved
_WHOLE = 10**12  # in how many parts the difference is measured as a share of both

Wealths = Callable[[int], tuple[int, int]]
"""What the two options leave at a place (a growth rate in parts, or a day), pence."""


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


def growth_break_evens(wealths: Wealths, places: Sequence[int]) -> Iterator[GrowthBreakEven]:
    """All growth rates between the first and the last place at which the lead changes; places are the rates (as shifts,
    rising) between which no two changes are looked for."""
    for low, high, below, above in _changes(wealths, places):
        at = _root(wealths, low, high)
        yield GrowthBreakEven(at, _difference(wealths, at), below, above)


def age_break_evens(wealths: Wealths, days: Sequence[date]) -> Iterator[AgeBreakEven]:
    """All days on which the lead passes to the other option, by days (rising) between which no two changes are looked for."""
    for low, high, _, above in _changes(wealths, [day.toordinal() for day in days]):
        while high - low > 1:
            middle = (low + high) // 2
            if _leads(_difference(wealths, middle)) == above:
                high = middle
            else:
                low = middle
        yield AgeBreakEven(date.fromordinal(high), above, _difference(wealths, high), _difference(wealths, low))


def _difference(wealths: Wealths, place: int) -> int:
    first, second = wealths(place)
    return first - second


def _changes(wealths: Wealths, places: Sequence[int]) -> Iterator[tuple[int, int, int, int]]:
    """Neighbouring places on which different options lead, and which ones; places where both are equal are passed over."""
    leading = [(place, leader) for place in places if (leader := _leads(_difference(wealths, place))) is not None]
    for (low, below), (high, above) in pairwise(leading):
        if below != above:
            yield low, high, below, above


def _leads(difference: int) -> int | None:
    """Which of the two leaves more; None where they are equal within a pound."""
    if abs(difference) <= EQUAL:
        return None
    return 0 if difference > 0 else 1


def _root(wealths: Wealths, low: int, high: int) -> int:
    """A place between two with different leaders where the two are within a pound, or the nearest to a leap over it.

    Regula falsi on the difference as a share of both, which is nearly straight in the growth rate; the weight of an end is
    halved when the end stays (the Illinois rule), and the bracket halved where that stalls.
    """
    at_low, at_high = _share(wealths, low), _share(wealths, high)
    weight_low, weight_high = at_low, at_high
    stayed = 0
    while high - low > 1:
        middle = (low + high) // 2
        if abs(stayed) < _STALLED:
            middle = low + (high - low) * weight_low // (weight_low - weight_high)
        middle = min(max(middle, low + 1), high - 1)
        if abs(_difference(wealths, middle)) <= EQUAL:
            return middle
        found = _share(wealths, middle)
        if (found > 0) == (at_low > 0):
            low, at_low, weight_low = middle, found, found
            weight_high, stayed = (weight_high // 2, stayed + 1) if stayed > 0 else (at_high, 1)
        else:
            high, at_high, weight_high = middle, found, found
            weight_low, stayed = (weight_low // 2, stayed - 1) if stayed < 0 else (at_low, -1)
    return min(low, high, key=lambda place: abs(_difference(wealths, place)))


def _share(wealths: Wealths, place: int) -> int:
    """By how much the first leaves more, as a share of what both leave."""
    first, second = wealths(place)
    return (first - second) * _WHOLE // max(1, first + second)
