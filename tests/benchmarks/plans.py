"""What a plan costs: the plain aims against a withdrawal quote, and the best plan against the bare solver on its model."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from statistics import median
from time import perf_counter

import highspy

from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, DatedIncome, Household, Income, Isa, Member, Person, Spending
from service.planning.optimiser.branch_and_bound import least_tax
from service.planning.projection.policies import BANDS, filling, projected
from service.planning.projection.timeline import Timeline, timeline
from service.planning.quote.quote import Question, Withdrawal, quote
from tests.benchmarks.report import Goal, Part, table
from tests.households import BOOK

_START = date(2026, 4, 6)
_PLAIN_GOAL = 10.0  # quotes for each ten person-years
_MEDIAN_GOAL, _WORST_GOAL = 20.0, 250.0  # milliseconds
_GAP_GOAL = 1.0  # pounds a year
_NO_PROOF = 1_000.0  # counted as the gap where the bound does not hold
_HOUSEHOLDS = 200
_YEARS = 40


def measure(rounds: int, households: int = _HOUSEHOLDS) -> Part:
    """The plain aims for a couple over forty years, and the best plans of invented couples, the same ones every time."""
    plain_rows, goals = _plain(rounds)
    best_rows, best_goals = _best(households)
    text = "\n\n".join(
        (
            "Plans\n\n" + table(("aim, a couple over 40 years", "ms", "quotes for 10 person-years"), plain_rows),
            table(
                (f"least tax, {households} couples over 40 years", "median", "p95", "worst", "within the goal"),
                best_rows,
            ),
        )
    )
    return Part(text, (*goals, *best_goals))


def couple(rng: random.Random) -> Household:
    """A couple with some of everything: work that ends, pensions that start, savings, spending."""
    people = []
    for _ in range(2):
        income = [DatedIncome("state_pension", share_of_full_rate=rng.randint(5_000, 10_000), increases="prices")]
        if rng.random() < 0.5:
            ends = _START + timedelta(days=rng.randint(300, 4_000))
            income.append(DatedIncome("employment", rng.randint(5_000, 80_000) * 100, last=ends, increases="prices"))
        if rng.random() < 0.3:
            begins = _START + timedelta(days=rng.randint(300, 4_000))
            pension = rng.randint(2_000, 20_000) * 100
            income.append(DatedIncome("defined_benefit_pension", pension, first=begins, increases="prices"))
        if rng.random() < 0.2:
            income.append(DatedIncome("savings_interest", rng.randint(100, 3_000) * 100))
        if rng.random() < 0.2:
            income.append(DatedIncome("dividends", rng.randint(100, 5_000) * 100))
        people.append(
            Member(
                date(1958, 1, 1) + timedelta(days=rng.randint(0, 4_500)),
                rng.choice(("england", "scotland", "wales", "northern_ireland")),
                Pension(rng.randint(50_000, 700_000) * 100, rng.choice((0, 0, 10_000_000))),
                Isa(rng.randint(0, 150_000) * 100),
                rng.choice((0, 500_000, 3_000_000)),
                tuple(income),
            )
        )
    spending = (Spending(rng.randint(10_000, 35_000) * 100, increases="prices"),) if rng.random() < 0.6 else ()
    assumed = Assumptions(
        pension_growth=rng.choice((300, 400, 500)),
        isa_growth=rng.choice((300, 400, 500)),
        cash_interest=rng.choice((0, 150, 300)),
        price_inflation=200,
        thresholds_after_freeze=rng.choice(("frozen", "prices")),
        exit_tax_rate=rng.choice((2_000, 4_000)),
    )
    return Household(_START, date(2066, 4, 5), tuple(people), spending, assumptions=assumed)


def _plain(rounds: int) -> tuple[list[tuple[str, ...]], list[Goal]]:
    household = couple(random.Random(7))
    person = Person(date(1966, 5, 14), "england", (Income("employment", 1_500_000),))
    asked = Question("2026-27", person, Pension(40_000_000), Withdrawal("ufpls", amount=4_000_000))
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
        ratio = spent / one_quote / (2 * _YEARS / 10)
        rows.append((band, f"{1e3 * spent:.1f}", f"{ratio:.1f}"))
        goals.append(Goal(f"{band}: quotes for 10 person-years", ratio, _PLAIN_GOAL))
    return rows, goals


def _best(households: int) -> tuple[list[tuple[str, ...]], list[Goal]]:
    times, solver, gaps = [], [], []
    for seed in range(households):
        years = timeline(couple(random.Random(seed)), BOOK)
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
