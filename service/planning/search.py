"""Searching whole numbers: for the first at which something holds, and for the least at which a rising amount is enough."""

from __future__ import annotations

from collections.abc import Callable


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


def least_reaching(rising: Callable[[int], int], target: int, low: int, high: int, at_high: int) -> int:
    """The least number from ``low`` to ``high`` at which ``rising``, which never falls, reaches ``target``.

    It must do so at ``high``, where it is ``at_high``. Nearly straight lines are what it is asked about, so it looks where a
    straight line would reach the target, and halves what is left whenever that did not narrow it enough.
    """
    at_low = rising(low)
    if at_low >= target:
        return low
    halve = False
    while high - low > 1:
        middle = (low + high) // 2
        if not halve:
            middle = low + -(-(target - at_low) * (high - low) // (at_high - at_low))
            middle = min(max(middle, low + 1), high - 1)
        width = high - low
        value = rising(middle)
        if value >= target:
            high, at_high = middle, value
            # The line is straight more often than not: then the number just below does not reach the target.
            below = rising(middle - 1) if middle - 1 > low else at_low
            if below < target:
                return middle
            high, at_high = middle - 1, below
        else:
            low, at_low = middle, value
        halve = 2 * (high - low) > width
    return high
