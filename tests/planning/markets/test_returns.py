"""Paths drawn at random have the distribution that is promised, and are the same everywhere.

Closed forms of the lognormal distribution are textbook mathematics. Sampling errors are those of the stated number of paths: a
mean within 4.5 standard errors, a share within 4.5 standard deviations of the binomial distribution. With these seeds they
hold or they do not; 4.5 leaves one seed in 100,000 unlucky.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.household import Assumptions
from service.planning.markets.correlation import factor
from service.planning.markets.returns import (
    KINDS,
    Given,
    History,
    MarketPath,
    Random,
    Sequences,
    YearReturns,
    count_of,
    paths_of,
)

ASSUMED = Assumptions(pension_growth=500, isa_growth=400, cash_interest=300, price_inflation=200)
PATHS, YEARS = 1_000, 30
LIMIT = 4.5


def drawn(source: Random, years: int = YEARS, assumed: Assumptions = ASSUMED) -> list[MarketPath]:
    return list(paths_of(source, assumed, 0, years))


# The bits: Philox4x64-10, written again from its paper (Salmon and others 2011, section 3.3 and table 2)

_MASK = 2**64 - 1
_MULTIPLIERS = (0xD2E7470EE14C6C93, 0xCA5A826395121157)
_WEYL = (0x9E3779B97F4A7C15, 0xBB67AE8584CAA73B)


def philox(counter: int, key: int) -> tuple[int, int, int, int]:
    words = [counter >> 64 * i & _MASK for i in range(4)]
    keys = [key & _MASK, key >> 64]
    for _ in range(10):
        first, second = _MULTIPLIERS[0] * words[0], _MULTIPLIERS[1] * words[2]
        words = [
            second >> 64 ^ words[1] ^ keys[0],
            second & _MASK,
            first >> 64 ^ words[3] ^ keys[1],
            first & _MASK,
        ]
        keys = [(key + weyl) & _MASK for key, weyl in zip(keys, _WEYL, strict=True)]
    return words[0], words[1], words[2], words[3]


def bits(seed: int) -> Iterator[int]:
    counter = 1
    while True:
        yield from philox(counter, seed)
        counter += 1


def normal_at(share: float) -> float:
    """The standard normal number below which a share lies, by halving the distribution function."""
    low, high = -10.0, 10.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if math.erfc(-middle / math.sqrt(2)) / 2 < share else (low, middle)
    return high


@pytest.mark.parametrize("seed", [0, 7, 2**53 - 1])
def test_the_paths_are_those_of_the_published_generator(seed: int) -> None:
    """Every rate made again from the bits, with another inverse of the distribution function."""
    volatility = (1_200, 900, 0, 100)
    source = bits(seed)
    for path in drawn(Random(seed, 3, volatility), years=4):
        for year in path:
            for rate, mean, spread in zip(year, (500, 400, 300, 200), volatility, strict=True):
                number = normal_at(((next(source) >> 12) + 0.5) / 2**52)
                sigma = spread / 10_000
                growth = (1 + mean / 10_000) * math.exp(sigma * number - sigma * sigma / 2) - 1
                assert rate == pytest.approx(10_000 * growth, abs=0.5001)


def test_the_first_paths_are_the_same_however_many_follow() -> None:
    volatility = (1_000, 1_000, 100, 100)
    assert drawn(Random(5, 100, volatility))[:10] == drawn(Random(5, 10, volatility))
    assert drawn(Random(5, 10, volatility)) != drawn(Random(6, 10, volatility))


def test_another_volatility_of_one_kind_leaves_the_others_as_they_are() -> None:
    calm, wild = (drawn(Random(5, 10, (1_000, isa, 0, 0))) for isa in (0, 2_000))
    assert [[year.pension for year in path] for path in calm] == [[year.pension for year in path] for path in wild]


# The distribution


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_pot_without_withdrawals_has_the_mean_and_percentiles_of_its_closed_form(seed: int) -> None:
    """After n years one plus the growth is lognormal: mean (1 + g)^n, logarithm with mean n(log(1 + g) - s^2/2) and standard
    deviation s sqrt(n)."""
    sigma, growth = 0.12, 0.05
    pots = [
        math.prod(1 + float(year.pension) / 10_000 for year in path)
        for path in drawn(Random(seed, PATHS, (1_200, 0, 0, 0)))
    ]
    mean = (1 + growth) ** YEARS
    deviation = mean * math.sqrt(math.exp(sigma * sigma * YEARS) - 1)
    assert abs(sum(pots) / PATHS - mean) < LIMIT * deviation / math.sqrt(PATHS)
    middle = YEARS * (math.log(1 + growth) - sigma * sigma / 2)
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):
        quantile = math.exp(middle + sigma * math.sqrt(YEARS) * normal_at(share))
        below = sum(pot < quantile for pot in pots)
        assert abs(below - share * PATHS) < LIMIT * math.sqrt(share * (1 - share) * PATHS)


def logarithms(paths: list[MarketPath], kind: int) -> list[float]:
    return [math.log(1 + float(year[kind]) / 10_000) for path in paths for year in path]


def correlation_of(one: list[float], other: list[float]) -> float:
    mean, of_other = sum(one) / len(one), sum(other) / len(other)
    both = sum((a - mean) * (b - of_other) for a, b in zip(one, other, strict=True))
    return both / math.sqrt(sum((a - mean) ** 2 for a in one) * sum((b - of_other) ** 2 for b in other))


def test_the_correlation_and_the_volatility_are_found_again() -> None:
    """30,000 years: the error of a correlation r is (1 - r^2) / sqrt(n), that of a deviation s / sqrt(2n)."""
    asked = {("pension", "isa"): 9_000, ("pension", "prices"): -3_000, ("cash", "prices"): 5_000}
    volatility = (1_500, 1_000, 40, 120)
    paths = drawn(Random(11, PATHS, volatility, tuple(asked.items())), assumed=Assumptions(500, 400, 300, 200))
    logs = [logarithms(paths, kind) for kind in range(4)]
    count = len(logs[0])
    for i, one in enumerate(KINDS):
        sigma = volatility[i] / 10_000
        mean = sum(logs[i]) / count
        found = math.sqrt(sum((value - mean) ** 2 for value in logs[i]) / count)
        # Rounding to whole basis points adds a variance of a twelfth.
        assert abs(found - sigma) < LIMIT * sigma / math.sqrt(2 * count) + 1e-4 / 12 / sigma * 1e-4
        for j, other in enumerate(KINDS[:i]):
            wanted = asked.get((other, one), 0) / 10_000
            assert abs(correlation_of(logs[i], logs[j]) - wanted) < LIMIT * (1 - wanted**2) / math.sqrt(count) + 2e-4


def test_years_do_not_depend_on_each_other() -> None:
    paths = drawn(Random(4, PATHS, (1_500, 0, 0, 0)))
    before = [math.log(1 + float(year.pension) / 10_000) for path in paths for year in path[:-1]]
    after = [math.log(1 + float(year.pension) / 10_000) for path in paths for year in path[1:]]
    assert abs(correlation_of(before, after)) < LIMIT / math.sqrt(len(before))


def test_interest_is_never_below_nothing_and_what_does_not_vary_is_as_assumed() -> None:
    assumed = Assumptions(pension_growth=Fraction(1_234_567, 1_000), isa_growth=400, cash_interest=50)
    years = [year for path in drawn(Random(1, 50, (0, 0, 500, 0)), assumed=assumed) for year in path]
    assert min(year.cash for year in years) == 0 < max(year.cash for year in years)
    assert {(year.pension, year.isa, year.prices) for year in years} == {(Fraction(1_234_567, 1_000), 400, 0)}


# Correlations that can be


@st.composite
def triangles(draw: st.DrawFn) -> tuple[tuple[Fraction, ...], ...]:
    """A matrix of whole parts that is positive semidefinite, since it is made as a product with its own transpose."""
    numbers = st.integers(-4, 4).map(Fraction)
    rows = draw(st.lists(st.lists(numbers, min_size=4, max_size=4), min_size=4, max_size=4))
    return tuple(tuple(sum((a * b for a, b in zip(x, y, strict=True)), Fraction()) for y in rows) for x in rows)


@given(triangles())
def test_a_positive_semidefinite_matrix_is_the_product_of_its_factor(matrix: tuple[tuple[Fraction, ...], ...]) -> None:
    found = factor(matrix)
    assert found is not None
    for i, row in enumerate(found):
        for j, column in enumerate(found[: i + 1]):
            product = sum(a * b for a, b in zip(row, column, strict=False))
            assert product == pytest.approx(float(matrix[i][j]), abs=1e-9)


@given(triangles(), st.lists(st.integers(-3, 3).map(Fraction), min_size=4, max_size=4))
def test_a_matrix_by_which_something_varies_less_than_nothing_has_none(
    matrix: tuple[tuple[Fraction, ...], ...], weights: list[Fraction]
) -> None:
    """Less a multiple of ``w w'`` so large that the variance of the combination ``w`` falls below nothing."""
    length = sum((w * w for w in weights), Fraction())
    variance = sum((a * b * matrix[i][j] for i, a in enumerate(weights) for j, b in enumerate(weights)), Fraction())
    if not length:
        return
    less = variance / length**2 + 1
    assert (
        factor(tuple(tuple(matrix[i][j] - less * a * b for j, b in enumerate(weights)) for i, a in enumerate(weights)))
        is None
    )


def test_a_perfect_correlation_is_one_and_beyond_is_none() -> None:
    def matrix(of_first: int, of_second: int, between: int) -> Random:
        pairs = ((("pension", "isa"), of_first), (("isa", "cash"), of_second), (("pension", "cash"), between))
        return Random(1, 1, (1, 1, 1, 1), pairs)

    assert factor(matrix(10_000, 10_000, 10_000).matrix) is not None
    assert factor(matrix(10_000, -10_000, -10_000).matrix) is not None
    # If two move as one, a third cannot move otherwise with one of them than with the other.
    assert factor(matrix(10_000, 9_999, 10_000).matrix) is None
    # For three: 1 + 2abc - a^2 - b^2 - c^2 >= 0. With 0.8 and 0.8 the third is at least 0.28.
    assert factor(matrix(8_000, 8_000, 2_800).matrix) is not None
    assert factor(matrix(8_000, 8_000, 2_799).matrix) is None


# Given paths and histories


def test_a_given_path_is_taken_as_it_is_pensions_after_their_charge() -> None:
    source = Given((Sequences(pension=(1_000, -2_000), prices=(300, 100)), Sequences()))
    first, second = paths_of(source, ASSUMED, 100, 2)
    # 1.1 * 0.99 = 1.089 and 0.8 * 0.99 = 0.792.
    assert first == (YearReturns(890, 400, 300, 300), YearReturns(-2_080, 400, 300, 100))
    assert second == (YearReturns(500, 400, 300, 200),) * 2


def test_a_history_gives_each_run_of_its_years() -> None:
    source = History(Sequences(isa=(100, 200, 300, 400, 500)))
    assert count_of(source, 3) == 3
    found = [[year.isa for year in path] for path in paths_of(source, ASSUMED, 0, 3)]
    assert found == [[100, 200, 300], [200, 300, 400], [300, 400, 500]]
    assert count_of(source, 6) == 0
