"""Searching whole numbers: for the first at which something holds, and for the least at which a rising amount is enough."""

from __future__ import annotations

from collections.abc import Callable

_TRIES = 3
"""How many questions may be led by straight lines before what is left has to be halved."""


def first_where(holds: Callable[[int], bool], low: int, high: int) -> int:
    """The least number above ``low`` at which ``holds``, found by halving. It is taken not to hold at ``low`` and to hold at
    ``high``, and once it holds to go on; neither end is asked."""
    while high - low > 1:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle
    return high


_Point = tuple[int, int]
"""A number, and what a function is there."""


def least_reaching(rising: Callable[[int], int], target: int, low: int, high: int, at_high: int) -> int:
    """The least number from ``low`` to ``high`` at which ``rising``, which never falls, reaches ``target``. It must do so at
    ``high``, where it is ``at_high``."""
    at_low = rising(low)
    if at_low >= target:
        return low
    below, above = (low, at_low), (high, at_high)
    return _least_between(rising, target, below, above, (below, above))


def least_near(rising: Callable[[int], int], target: int, below: _Point, high: int, guess: int) -> int | None:
    """The same from a point ``below`` which does not reach the target, and a guess; None where not even ``high`` does."""
    latest = (below, below)
    for tries in range(1 + _TRIES):
        at = min(max(guess, below[0] + 1), high) if tries < _TRIES else high
        found = (at, rising(at))
        latest = (latest[1], found)
        if found[1] >= target:
            return _least_between(rising, target, below, found, latest)
        if at == high:
            return None
        guess = _where_a_line_reaches(target, below, found)
        below = found
    raise AssertionError("the last try is at the end")


def _least_between(
    rising: Callable[[int], int], target: int, below: _Point, above: _Point, latest: tuple[_Point, _Point]
) -> int:
    """The least number at which the target is reached, between one that does not reach it and one that does.

    Each question costs much, and lines with few bends are what it is asked about. So it looks where the line through the two
    latest points reaches the target, at a neighbour as soon as it is there but for rounding, and halves what is left whenever
    three questions did not.
    """
    (low, at_low), (high, at_high) = below, above
    width, asked = high - low, 0
    while high - low > 1:
        middle = (low + high) // 2
        if asked < _TRIES:
            middle = _where_a_line_reaches(target, *latest)
            if not low < middle < high:
                middle = _where_a_line_reaches(target, (low, at_low), (high, at_high))
            middle = min(max(middle, low + 1), high - 1)
        value = rising(middle)
        asked += 1
        near = 2 * -(-(at_high - at_low) // (high - low))
        latest = latest[1], (middle, value)
        if value >= target:
            high, at_high = middle, value
            if value - target <= near and middle - 1 > low:
                value = rising(middle - 1)
                if value < target:
                    return middle
                high, at_high = middle - 1, value
        else:
            low, at_low = middle, value
            if target - value <= near and middle + 1 < high:
                value = rising(middle + 1)
                if value >= target:
                    return middle + 1
                low, at_low = middle + 1, value
        if 2 * (high - low) <= width or asked > _TRIES:
            width, asked = high - low, 0
    return high


def _where_a_line_reaches(target: int, one: _Point, other: _Point) -> int:
    """The first number at which a line through two points reaches the target; beyond both where it is level."""
    (at, value), (there, more) = sorted((one, other))
    if value >= more:
        return at - 1 if value >= target else there + 1
    return at + -(-(target - value) * (there - at) // (more - value))
