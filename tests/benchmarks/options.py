"""What lump sum timing costs: six options of a couple over forty years with two deaths, beside as many plain schedules."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from random import Random
from statistics import median
from time import process_time

from service.planning.faults import RuleViolation
from service.planning.schedule.schedule import schedule
from service.planning.timing.comparison import timing
from tests.benchmarks.households import YEARS, couple, timing_of
from tests.benchmarks.questions import BOOK, question
from tests.benchmarks.report import Goal, Part, table
from tests.benchmarks.sizes import Sizes

_GOAL = 3.0  # times the cost of as many schedules
_MEDIAN_GOAL = 120.0  # processor milliseconds


def measure(sizes: Sizes) -> Part:
    """Invented couples, the same ones every time; processor time, each question asked after the schedules it is compared with."""
    times: list[float] = []
    ratios: list[float] = []
    for seed in range(sizes.timing_couples):
        plan = couple(Random(seed), "personal_allowance")
        planned, compared = question("allowance-schedule", plan), question("lump-sum-timing", timing_of(plan))
        try:
            beside = sum(_spent(partial(schedule, planned, BOOK)) for _ in compared.options)
            own = _spent(partial(timing, compared, BOOK))
        except RuleViolation:
            continue
        times.append(1e3 * own)
        ratios.append(own / beside)
    rows = [_row("milliseconds", times, ".0f"), _row("times as many personal_allowance schedules", ratios, ".2f")]
    heads = (f"six options, two deaths, {len(times)} couples over {YEARS} years", "median", "p95", "worst")
    return Part(
        "Lump sum timing\n\n" + table(heads, rows),
        (
            Goal("lump sum timing: median, schedules", median(ratios), _GOAL, " times"),
            Goal("lump sum timing: median", median(times), _MEDIAN_GOAL, " ms"),
        ),
    )


def _spent(run: Callable[[], object]) -> float:
    """Processor seconds of one run."""
    begun = process_time()
    run()
    return process_time() - begun


def _row(what: str, values: list[float], form: str) -> tuple[str, ...]:
    ordered = sorted(values)
    high = ordered[int(0.95 * (len(ordered) - 1))]
    return what, format(median(ordered), form), format(high, form), format(ordered[-1], form)
