"""Courses of markets: what pensions, ISAs, cash and prices do in each tax year of a plan.

Three sources, all of them the caller's: drawn at random from a seed, given one by one, or cut from a history. Rates are basis
points a year.

**Drawn at random.** One plus a year's rate is lognormal: ``(1 + growth) * exp(volatility * z - volatility ** 2 / 2)``, with a
standard normal ``z`` that is correlated within a year and independent from year to year. So ``growth`` is the mean, and
``volatility`` the standard deviation of the logarithm. Interest that would be below nothing is nothing.

**The same on every machine.** The random bits are those of Philox4x64-10 (Salmon and others, "Parallel random numbers: as easy as
1, 2, 3", 2011), keyed by the seed; numpy keeps the stream of a bit generator from release to release, and does not promise that
of its distributions. So only the bits are numpy's. A uniform number is made of the upper 52, exactly, and the normal one by the
inverse of the distribution function (Wichura's AS 241, in Python's ``statistics``). Its logarithms and the exponential may
differ in the last of some 16 digits between machines. Rates are then rounded to whole basis points, so that a difference shows
only where a rate is as near as that to the middle of two: about once in 10 to the 11th rates.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from statistics import NormalDist
from typing import NamedTuple

from service.law.units import WHOLE, BasisPoints
from service.planning.household import Assumptions, YearlyRate, after_charge
from service.planning.markets.correlation import Matrix, Triangle, combined, factor

KINDS = ("pension", "isa", "cash", "prices")
"""What moves: pensions, ISAs, interest on cash, and prices."""

RATES = ("pension_growth", "isa_growth", "cash_interest", "price_inflation")
"""The rates of these kinds as requests and answers name them, the same as among a plan's assumptions."""

_UNIFORM_BITS = 52


class YearReturns(NamedTuple):
    """The rates of one tax year, those of pensions after charges."""

    pension: YearlyRate
    isa: YearlyRate
    cash: YearlyRate
    prices: BasisPoints


MarketPath = tuple[YearReturns, ...]
"""One course of markets: a year's rates for each tax year of a plan."""


class Sequences(NamedTuple):
    """Rates year by year as they were given, pensions before charges; None where what the plan assumes holds in every year."""

    pension: tuple[BasisPoints, ...] | None = None
    isa: tuple[BasisPoints, ...] | None = None
    cash: tuple[BasisPoints, ...] | None = None
    prices: tuple[BasisPoints, ...] | None = None

    @property
    def given(self) -> Iterator[tuple[str, tuple[BasisPoints, ...]]]:
        """Those that were given, by the names that requests have for them."""
        return ((name, rates) for name, rates in zip(RATES, self, strict=True) if rates is not None)


@dataclass(frozen=True, slots=True)
class Random:
    """Paths drawn from a seed. ``volatility`` is basis points by kind, ``correlation`` basis points by pairs of kinds; what is
    left out is 0."""

    seed: int
    paths: int
    volatility: tuple[BasisPoints, BasisPoints, BasisPoints, BasisPoints]
    correlation: tuple[tuple[tuple[str, str], BasisPoints], ...] = ()

    @property
    def matrix(self) -> Matrix:
        """All correlations of two kinds."""
        found = {frozenset(pair): Fraction(share, WHOLE) for pair, share in self.correlation}
        return tuple(
            tuple(Fraction(1) if one == other else found.get(frozenset((one, other)), Fraction(0)) for other in KINDS)
            for one in KINDS
        )


@dataclass(frozen=True, slots=True)
class Given:
    """Paths as the caller has made them, each with a rate for each tax year."""

    paths: tuple[Sequences, ...]


@dataclass(frozen=True, slots=True)
class History:
    """A history of years: each run of as many years as the plan has is a path, the first of them from its first year on."""

    years: Sequences


Source = Random | Given | History


def length_of(history: History) -> int:
    """How many years a history has, which all its sequences have."""
    return max((len(rates) for _, rates in history.years.given), default=0)


def count_of(source: Source, years: int) -> int:
    """How many paths there are for a plan of so many tax years."""
    if isinstance(source, Random):
        return source.paths
    if isinstance(source, Given):
        return len(source.paths)
    return max(0, length_of(source) - years + 1)


def moves_prices(source: Source) -> bool:
    """Whether prices take another course than the plan assumes."""
    if isinstance(source, Random):
        return source.volatility[KINDS.index("prices")] > 0
    of_prices = source.paths if isinstance(source, Given) else (source.years,)
    return any(one.prices is not None for one in of_prices)


def paths_of(source: Source, assumed: Assumptions, charge: BasisPoints, years: int) -> Iterator[MarketPath]:
    """The paths, in order. ``assumed`` are the plan's assumptions, its pension growth after the yearly ``charge``."""
    plain = YearReturns(assumed.pension_growth, assumed.isa_growth, assumed.cash_interest, assumed.price_inflation)
    if isinstance(source, Random):
        yield from _drawn(source, plain, years)
        return
    if isinstance(source, Given):
        chosen: Iterator[Sequences] = iter(source.paths)
    else:
        whole = source.years
        starts = range(count_of(source, years))
        chosen = (Sequences(*(None if rates is None else rates[at : at + years] for rates in whole)) for at in starts)
    for one in chosen:
        yield _with_what_is_assumed(one, plain, charge, years)


def _with_what_is_assumed(given: Sequences, plain: YearReturns, charge: BasisPoints, years: int) -> MarketPath:
    pension = given.pension
    after = None if pension is None else [after_charge(rate, charge) for rate in pension] if charge else pension
    return tuple(
        YearReturns(
            plain.pension if after is None else after[year],
            plain.isa if given.isa is None else given.isa[year],
            plain.cash if given.cash is None else given.cash[year],
            plain.prices if given.prices is None else given.prices[year],
        )
        for year in range(years)
    )


def _drawn(source: Random, plain: YearReturns, years: int) -> Iterator[MarketPath]:
    triangle = factor(source.matrix)
    assert triangle is not None, "a matrix that cannot be one of correlations is refused before"
    laws = [_Law(mean, spread) for mean, spread in zip(plain, source.volatility, strict=True)]
    for uniform in _uniform(source.seed, source.paths, years * len(KINDS)):
        yield tuple(_year(laws, triangle, uniform[at : at + len(KINDS)]) for at in range(0, len(uniform), len(KINDS)))


class _Law:
    """The distribution of a yearly rate."""

    def __init__(self, mean: YearlyRate, volatility: BasisPoints) -> None:
        self.mean = mean
        self.spread = volatility / WHOLE
        self.middle = (1 + float(mean) / WHOLE) * math.exp(-self.spread * self.spread / 2)

    def at(self, normal: float) -> YearlyRate:
        """The rate at a standard normal number; without volatility the mean, exactly."""
        if not self.spread:
            return self.mean
        return round((self.middle * math.exp(self.spread * normal) - 1) * WHOLE)


_NORMAL = NormalDist()


def _year(laws: Sequence[_Law], triangle: Triangle, uniform: Sequence[float]) -> YearReturns:
    numbers = combined(triangle, [_NORMAL.inv_cdf(one) for one in uniform])
    pension, isa, cash, prices = (law.at(number) for law, number in zip(laws, numbers, strict=True))
    assert isinstance(prices, int)
    return YearReturns(pension, isa, max(cash, 0), prices)


def _uniform(seed: int, paths: int, numbers: int) -> Iterator[list[float]]:
    """For each path so many numbers between 0 and 1. A path's are the same however many paths follow it."""
    from numpy.random import (
        Philox,
    )  # with the first request that needs it: numpy takes longer to load than all of the service

    bits = Philox(key=seed)
    for _ in range(paths):
        raw: list[int] = bits.random_raw(numbers).tolist()
        yield [((one >> (64 - _UNIFORM_BITS)) + 0.5) / 2**_UNIFORM_BITS for one in raw]
