"""The two searches, against looking at every number."""

from __future__ import annotations

from collections.abc import Callable

from hypothesis import given
from hypothesis import strategies as st

from service.planning.search import first_where, least_reaching


@given(st.integers(-50, 50), st.integers(1, 200), st.data())
def test_the_first_is_found_as_by_looking_at_all(low: int, width: int, data: st.DataObject) -> None:
    first = data.draw(st.integers(low + 1, low + width))
    assert first_where(lambda number: number >= first, low, low + width) == first


@given(st.lists(st.integers(0, 300), min_size=1, max_size=80), st.integers(-20, 20), st.integers(0, 400))
def test_the_least_that_reaches_is_found_as_by_looking_at_all(steps: list[int], low: int, target: int) -> None:
    heights = [sum(steps[: i + 1]) for i in range(len(steps))]
    if heights[-1] < target:
        target = heights[-1]
    asked: list[int] = []

    def rising(number: int) -> int:
        asked.append(number)
        return heights[number - low]

    high = low + len(heights) - 1
    least = next(low + i for i, height in enumerate(heights) if height >= target)
    assert least_reaching(rising, target, low, high, heights[-1]) == least
    assert all(low <= number <= high for number in asked)


def evaluations(rising: Callable[[int], int], target: int, high: int) -> int:
    asked = 0

    def counted(number: int) -> int:
        nonlocal asked
        asked += 1
        return rising(number)

    least_reaching(counted, target, 0, high, rising(high))
    return asked


def test_a_straight_line_is_asked_but_a_few_times_and_a_bent_one_never_much_more_than_by_halving() -> None:
    assert evaluations(lambda number: number * 3 // 5, 400_000, 1_000_000) <= 4
    # Nearly all of the rise at one end: straight lines lead astray there, and halving has to help.
    assert evaluations(lambda number: 10**9 * (number > 999_990) + number, 500_000_000, 1_000_000) <= 2 * 2 * 20
