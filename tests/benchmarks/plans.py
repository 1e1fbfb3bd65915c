"""What a plan costs: the plain aims against a withdrawal quote, and the best plan against the bare solver on its model."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import Random
from statistics import median
from time import perf_counter
from typing import Any

import highspy

from service.planning.faults import RuleViolation
from service.planning.optimiser.branch_and_bound import least_tax
from service.planning.projection.policies import BANDS, filling, projected
from service.planning.projection.timeline import Timeline, timeline
from service.planning.quote.quote import quote
from tests.benchmarks.households import YEARS, couple
from tests.benchmarks.questions import BOOK, question
from tests.benchmarks.report import Goal, Part, table
from tests.benchmarks.sizes import Sizes

_PLAIN_GOAL = 10.0  # quotes for each ten person-years
_MEDIAN_GOAL, _WORST_GOAL = 20.0, 250.0  # milliseconds
_GAP_GOAL = 1.0  # pounds a year
_NO_PROOF = 1_000.0  # counted as the gap where the bound does not hold
_QUOTE = {
    "tax_year": "2026-27",
    "person": {
        "date_of_birth": "1966-05-14",
        "tax_residence": "england",
        "income": [{"kind": "employment", "amount": 15_000}],
    },
    "pension": {"uncrystallised": 400_000},
    "withdrawal": {"method": "ufpls", "amount": 40_000},
}


def measure(sizes: Sizes) -> Part:
    """The plain aims for a couple over forty years, and the best plans of invented couples, the same ones every time."""
    plain_rows, goals = _plain(sizes.rounds)
    best_rows, best_goals = _best(sizes.planning_couples)
    text = "\n\n".join(
        (
            "Plans\n\n" + table((f"aim, a couple over {YEARS} years", "ms", "quotes for 10 person-years"), plain_rows),
            table(
                (
                    f"least tax, {sizes.planning_couples} couples over {YEARS} years",
                    "median",
                    "p95",
                    "worst",
                    "within the goal",
                ),
                best_rows,
            ),
        )
    )
    return Part(text, (*goals, *best_goals))


def _household(seed: int) -> Any:
    return question("allowance-schedule", couple(Random(seed), "least_tax")).household


def _plain(rounds: int) -> tuple[list[tuple[str, ...]], list[Goal]]:
    household = _household(7)
    asked = question("withdrawal-tax", _QUOTE)
    measures: dict[str, Callable[[Timeline], object]] = {"quote": lambda _: [quote(asked, BOOK) for _ in range(50)]}
    for band in BANDS:
        measures[band] = lambda years, band=band: projected(years, filling(years, band))
    times: dict[str, list[float]] = {name: [] for name in measures}
    for _ in range(rounds + 1):
        for name, run in measures.items():
            years = timeline(household, BOOK)  # anew each time: years remember what they were asked
            begun = perf_counter()
            run(years)
            times[name].append(perf_counter() - begun)
    one_quote = median(times["quote"][1:]) / 50
    rows, goals = [], []
    for band in BANDS:
        spent = median(times[band][1:])
        ratio = spent / one_quote / (2 * YEARS / 10)
        rows.append((band, f"{1e3 * spent:.1f}", f"{ratio:.1f}"))
        goals.append(Goal(f"{band}: quotes for 10 person-years", ratio, _PLAIN_GOAL))
    return rows, goals


def _best(households: int) -> tuple[list[tuple[str, ...]], list[Goal]]:
    times, solver, gaps = [], [], []
    for seed in range(households):
        years = timeline(_household(seed), BOOK)
        with _solver_timed() as solving:
            begun = perf_counter()
            try:
                found = least_tax(years)
            except RuleViolation:
                continue
            times.append(1e3 * (perf_counter() - begun))
        solver.append(1e3 * sum(solving))
        # Where the bound does not hold there is no proof, whatever the difference.
        gap = (found.bound - found.projection.wealth) / 100 / len(years.periods)
        gaps.append(gap if found.agreed and gap >= 0 else max(gap, _NO_PROOF))
    rows = [
        _row("milliseconds", times, _MEDIAN_GOAL),
        _row("of these in the solver alone", solver, _MEDIAN_GOAL),
        _row("gap, pounds a year", gaps, _GAP_GOAL),
    ]
    return rows, [
        Goal("least tax, median", median(times), _MEDIAN_GOAL, " ms"),
        Goal("least tax, worst", max(times), _WORST_GOAL, " ms"),
        Goal("least tax, worst gap", max(gaps), _GAP_GOAL, " pounds a year"),
    ]


@contextmanager
def _solver_timed() -> Iterator[list[float]]:
    """The seconds of each run of the solver while this is open: the same model, without what is around it."""
    run, seconds = highspy.Highs.run, list[float]()

    def timed(self: highspy.Highs) -> object:
        begun = perf_counter()
        answer = run(self)
        seconds.append(perf_counter() - begun)
        return answer

    highspy.Highs.run = timed
    try:
        yield seconds
    finally:
        highspy.Highs.run = run


def _row(what: str, values: list[float], goal: float) -> tuple[str, ...]:
    ordered = sorted(values)
    within = sum(value <= goal for value in values) / len(values)
    high = ordered[int(0.95 * (len(ordered) - 1))]
    return what, f"{median(ordered):.2f}", f"{high:.2f}", f"{ordered[-1]:.2f}", f"{within:.1%}"
