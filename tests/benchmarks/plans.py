"""What a plan costs: the plain aims against a withdrawal quote, and the best plan against the bare solver on its model."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import Random
from statistics import median
from time import process_time
from typing import Any, NamedTuple

import highspy

from service.planning.faults import RuleViolation
from service.planning.optimiser.branch_and_bound import most_after_tax
from service.planning.optimiser.work import EFFORTS, LIMITS, Work
from service.planning.projection.policies import BANDS, filling, projected
from service.planning.projection.timeline import Timeline, timeline
from service.planning.quote.asked import question_of
from service.planning.quote.quote import quote
from tests.benchmarks.households import YEARS, couple
from tests.benchmarks.questions import BOOK, question
from tests.benchmarks.report import Goal, Part, table
from tests.benchmarks.sizes import Sizes
from tests.invented_requests import JsonObject

_PLAIN_GOAL = 8.0  # quotes for each ten person-years
_NO_PROOF = 1_000.0  # counted as the gap where the bound does not hold
_STANDARD_GOALS = (40.0, 600.0, 1_000.0)  # milliseconds: median, p95, worst
_QUICK_GOAL, _THOROUGH_GOAL = 250.0, 10_000.0  # milliseconds, worst
_NEAR, _FAR = 1.0, 100.0  # pounds a year that a plan leaves less than the thorough one of the same couple
_NEAR_GOALS = {"quick": 80.0, "standard": 95.0}  # per cent of the couples that are near
_NOT_FAR_GOAL = 95.0  # per cent of the quick plans that are not far behind
_GAP_GOAL, _PART_GOAL, _WORST_GAP_GOAL = 1.0, 97.0, 300.0  # pounds a year, per cent of the couples, pounds a year
_WITHOUT_INTEREST_GOALS = (30.0, 500.0, 0.30)  # milliseconds: median, worst; pounds a year: worst gap
_QUOTE = {
    "household": {
        "people": [
            {
                "date_of_birth": "1966-05-14",
                "tax_residence": "england",
                "income": [{"kind": "employment", "amount": 15_000}],
                "pensions": [{"uncrystallised": 400_000}],
            }
        ]
    },
    "tax_year": "2026-27",
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
                (f"most after tax, {sizes.planning_couples} couples over {YEARS} years", "median", "p95", "worst"),
                best_rows,
            ),
        )
    )
    return Part(text, (*goals, *best_goals))


def _household(seed: int) -> Any:
    return question("allowance-schedule", couple(Random(seed), "most_after_tax")).household


def _plain(rounds: int) -> tuple[list[tuple[str, ...]], list[Goal]]:
    household = _household(7)
    asked = question_of(question("withdrawal-tax", _QUOTE), BOOK)
    measures: dict[str, Callable[[Timeline], object]] = {"quote": lambda _: [quote(asked, BOOK) for _ in range(50)]}
    for band in BANDS:
        measures[band] = lambda years, band=band: projected(years, filling(years, band))
    times: dict[str, list[float]] = {name: [] for name in measures}
    for _ in range(rounds + 1):
        for name, run in measures.items():
            years = timeline(household, BOOK)  # anew each time: years remember what they were asked
            begun = process_time()
            run(years)
            times[name].append(process_time() - begun)
    one_quote = median(times["quote"][1:]) / 50
    rows, goals = [], []
    for band in BANDS:
        spent = median(times[band][1:])
        ratio = spent / one_quote / (2 * YEARS / 10)
        rows.append((band, f"{1e3 * spent:.1f}", f"{ratio:.1f}"))
        goals.append(Goal(f"{band}: quotes for 10 person-years", ratio, _PLAIN_GOAL))
    return rows, goals


class _Found(NamedTuple):
    """A best plan: processor milliseconds of the search, those of them in the solver, the gap to its bound and the wealth, both
    in pounds, the gap a year."""

    time: float
    solver: float
    gap: float
    wealth: float


def _best(households: int) -> tuple[list[tuple[str, ...]], list[Goal]]:
    """The best plans by each effort, and by a standard search where cash earns nothing. A quick and a standard plan are compared
    with the thorough one of the same couple."""
    plans = [couple(Random(seed), "most_after_tax") for seed in range(households)]
    found = {effort: [_most_after_tax(plan, effort) for plan in plans] for effort in EFFORTS}
    without = [_most_after_tax({**plan, "assumptions": {**plan["assumptions"], "cash_interest": 0}}) for plan in plans]
    quick, standard, thorough = (_answered(found[effort]) for effort in EFFORTS)
    no_interest = _answered(without)
    behind = {
        effort: [
            (most.wealth - least.wealth) / YEARS
            for least, most in zip(found[effort], found["thorough"], strict=True)
            if least is not None and most is not None
        ]
        for effort in _NEAR_GOALS
    }
    rows = []
    for name, plans_found in (*zip(EFFORTS, (quick, standard, thorough), strict=True), ("no interest", no_interest)):
        rows += [
            _row(f"{name}: processor milliseconds", [one.time for one in plans_found]),
            _row(f"{name}: of these in the solver alone", [one.solver for one in plans_found]),
            _row(f"{name}: gap, pounds a year", [one.gap for one in plans_found]),
        ]
    rows += [_row(f"{effort}: less than the thorough plan, pounds a year", less) for effort, less in behind.items()]
    times = [one.time for one in standard]
    closed = _share([one.gap for one in thorough], _GAP_GOAL)
    return rows, [
        Goal("quick: worst", max(one.time for one in quick), _QUICK_GOAL, " ms"),
        *(
            Goal(
                f"{effort}: within {_NEAR:g} pound a year of the thorough plan",
                _share(less, _NEAR),
                goal,
                "%",
                at_least=True,
            )
            for (effort, goal), less in zip(_NEAR_GOALS.items(), behind.values(), strict=True)
        ),
        Goal(
            f"quick: within {_FAR:g} pounds a year of it",
            _share(behind["quick"], _FAR),
            _NOT_FAR_GOAL,
            "%",
            at_least=True,
        ),
        Goal("standard: median", median(times), _STANDARD_GOALS[0], " ms"),
        Goal("standard: p95", _high(times), _STANDARD_GOALS[1], " ms"),
        Goal("standard: worst", max(times), _STANDARD_GOALS[2], " ms"),
        Goal("thorough: worst", max(one.time for one in thorough), _THOROUGH_GOAL, " ms"),
        Goal(f"thorough: gap at most {_GAP_GOAL:g} pound a year", closed, _PART_GOAL, "%", at_least=True),
        Goal("thorough: worst gap", max(one.gap for one in thorough), _WORST_GAP_GOAL, " pounds a year"),
        Goal("no interest: median", median(one.time for one in no_interest), _WITHOUT_INTEREST_GOALS[0], " ms"),
        Goal("no interest: worst", max(one.time for one in no_interest), _WITHOUT_INTEREST_GOALS[1], " ms"),
        Goal(
            "no interest: worst gap", max(one.gap for one in no_interest), _WITHOUT_INTEREST_GOALS[2], " pounds a year"
        ),
    ]


def _answered(found: list[_Found | None]) -> list[_Found]:
    return [one for one in found if one is not None]


def _most_after_tax(plan: JsonObject, effort: str = "standard") -> _Found | None:
    """The best plan of a couple; None where spending cannot be met."""
    years = timeline(question("allowance-schedule", plan).household, BOOK)
    with _solver_timed() as solving:
        begun = process_time()
        try:
            found = most_after_tax(years, Work(LIMITS[effort]))
        except RuleViolation:
            return None
        spent = process_time() - begun
    # Where the bound does not hold there is no proof, whatever the difference.
    gap = (found.bound - found.projection.wealth) / 100 / len(years.periods)
    return _Found(
        time=1e3 * spent,
        solver=1e3 * sum(solving),
        gap=gap if found.agreed and gap >= 0 else max(gap, _NO_PROOF),
        wealth=found.projection.wealth / 100,
    )


@contextmanager
def _solver_timed() -> Iterator[list[float]]:
    """The seconds of each run of the solver while this is open: the same model, without what is around it."""
    run, seconds = highspy.Highs.run, list[float]()

    def timed(self: highspy.Highs) -> object:
        begun = process_time()
        answer = run(self)
        seconds.append(process_time() - begun)
        return answer

    highspy.Highs.run = timed
    try:
        yield seconds
    finally:
        highspy.Highs.run = run


def _share(values: list[float], most: float) -> float:
    """How many per cent of the values are at most so much."""
    return 100 * sum(value <= most for value in values) / len(values)


def _high(values: list[float]) -> float:
    return sorted(values)[int(0.95 * (len(values) - 1))]


def _row(what: str, values: list[float]) -> tuple[str, ...]:
    return what, f"{median(values):.2f}", f"{_high(values):.2f}", f"{max(values):.2f}"
