"""What many courses of markets cost: a plain aim for invented couples over thirty years, with prices that vary and without."""

from __future__ import annotations

import resource
from collections.abc import Callable
from dataclasses import replace
from random import Random
from statistics import median
from time import process_time

from service.planning.markets import markets
from service.planning.markets.returns import Random as Drawn
from service.planning.projection.timeline import timeline
from tests.benchmarks.households import YEARS, couple
from tests.benchmarks.questions import BOOK, question
from tests.benchmarks.report import Goal, Part, table
from tests.benchmarks.sizes import Sizes
from tests.invented_requests import JsonObject

_YEARS = 30
_PATHS = 1_000
_GOAL = 3.0  # seconds for 1,000 paths
_MEMORY_GOAL = 20.0  # megabytes
_CALM_PRICES, _PRICES = (1_200, 1_000, 50, 0), (1_200, 1_000, 50, 120)
_CORRELATION = ((("pension", "isa"), 9_000), (("cash", "prices"), 5_000))


def measure(sizes: Sizes) -> Part:
    """Processor seconds for 1,000 paths of each couple, from fewer where ``sizes`` has fewer, and the memory that they take."""
    rows, goals = [], []
    kinds: tuple[tuple[str, Callable[[int], JsonObject], tuple[int, int, int, int]], ...] = (
        ("prices as assumed", _couple, _CALM_PRICES),
        ("prices that vary", _couple, _PRICES),
        ("spending above the aim", _spending_above_the_aim, _CALM_PRICES),
        ("both", _spending_above_the_aim, _PRICES),
    )
    for words, asked, volatility in kinds:
        before = _megabytes()
        times = [_seconds(asked(seed), seed, sizes.market_paths, volatility) for seed in range(sizes.market_couples)]
        grown = _megabytes() - before
        rows.append(
            (
                words,
                f"{median(times):.1f}",
                f"{min(times):.1f}",
                f"{max(times):.1f}",
                f"{1e6 * median(times) / _PATHS / _YEARS:.0f}",
            )
        )
        goals.append(Goal(f"markets, {words}: 1,000 paths, median", median(times), _GOAL, " s"))
        goals.append(Goal(f"markets, {words}: memory gained", grown, _MEMORY_GOAL, " MB"))
    heads = (
        f"1,000 paths, {sizes.market_couples} couples over {_YEARS} years",
        "median s",
        "least",
        "most",
        "µs a couple's year",
    )
    return Part("Markets\n\n" + table(heads, rows), tuple(goals))


def _couple(seed: int) -> JsonObject:
    return couple(Random(seed), "basic_rate_band" if seed % 2 else "personal_allowance")


def _spending_above_the_aim(seed: int) -> JsonObject:
    """A couple that has to draw more than the personal allowances in nearly every year."""
    asked = couple(Random(seed), "personal_allowance")
    asked["household"]["spending"] = [{"amount": 45_000, "increases": "prices"}]
    for person in asked["household"]["people"]:
        person["pensions"] = [{"uncrystallised": 700_000}]
        person["income"] = [one for one in person["income"] if one["kind"] != "employment"]
    return asked


def _seconds(asked: JsonObject, seed: int, paths: int, volatility: tuple[int, int, int, int]) -> float:
    household = question("allowance-schedule", asked).household
    assumed = replace(household.assumptions, thresholds_after_freeze="frozen")
    end = household.end.replace(year=household.end.year - YEARS + _YEARS)
    base = timeline(replace(household, assumptions=assumed, end=end), BOOK)
    begun = process_time()
    markets.over_paths(
        base,
        asked["aim"]["goal"],
        markets.Markets(Drawn(seed, paths, volatility, _CORRELATION)),
        0,
        BOOK,
    )
    return (process_time() - begun) * _PATHS / paths


def _megabytes() -> float:
    """The most memory that this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1_000
