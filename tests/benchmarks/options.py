"""What lump sum timing costs: six options of a couple over forty years with two deaths, beside as many plain schedules."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import partial
from statistics import median
from time import process_time

from service.planning.faults import RuleViolation
from service.planning.projection.policies import BANDS
from service.planning.schedule.schedule import ScheduleQuestion, schedule
from service.planning.timing.comparison import TimingQuestion, timing
from service.planning.timing.estates import Death, EstateFacts
from service.planning.timing.options import SPENDING_ONLY, Option
from tests.benchmarks.plans import couple
from tests.benchmarks.report import Goal, Part, table
from tests.households import BOOK

_COUPLES = 40
_GOAL = 3.0  # times the cost of as many schedules
_OPTIONS = (
    Option("all_now", BANDS[0]),
    Option("phased", BANDS[0]),
    Option("phased", SPENDING_ONLY, 1_000_000),
    Option("with_income", BANDS[0]),
    Option("at_age", BANDS[0], age=70),
    Option("never", BANDS[0]),
)
_DEATHS = (Death(0, 74), Death(1, 82))
_ESTATE = EstateFacts(home=45_000_000, home_to_descendants=True)


def measure(couples: int = _COUPLES) -> Part:
    """Invented couples, the same ones every time; processor time, each question asked after the schedules it is compared with."""
    times: list[float] = []
    ratios: list[float] = []
    for seed in range(couples):
        household = couple(random.Random(seed))
        question = TimingQuestion(household, 90, _OPTIONS, _DEATHS, _ESTATE)
        schedules = ScheduleQuestion(household, BANDS[0])
        try:
            beside = sum(_spent(partial(schedule, schedules, BOOK)) for _ in _OPTIONS)
            own = _spent(partial(timing, question, BOOK))
        except RuleViolation:
            continue
        times.append(1e3 * own)
        ratios.append(own / beside)
    rows = [_row("milliseconds", times, ".0f"), _row("times as many personal_allowance schedules", ratios, ".2f")]
    heads = (f"six options, two deaths, {len(times)} couples over 40 years", "median", "p95", "worst")
    return Part(
        "Lump sum timing\n\n" + table(heads, rows),
        (Goal("lump sum timing: median, schedules", median(ratios), _GOAL, " times"),),
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
