"""One person's tax in one period as the search for the best plan sees it: a surface over pension income and interest.

The tax depends on two amounts, all income below savings (pension withdrawals come on top of other income there) and all
savings. For a fixed amount of savings it is a line of straight pieces, read off the rules; such a line is a ``level`` of
the surface. Between levels the surface is not read: the search puts levels where they matter, and the convex hull of
their points stands in for what is between. Money is in pounds, but for savings, whose levels are whole pence.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from service.law import rounding
from service.law.income_tax import IncomeTaxRules, Taxpayer, year_of
from service.planning.tax_curve import TaxedYear, corners, tax_curve

_JUMP = 100 * rounding.PENNY  # a pound of tax on one penny is a step; the stairs of the taper are smaller
_REACH = 20_000_000  # pence: past every band's limit
_TEN_THOUSANDTHS = 1_000_000.0  # of a penny in a pound
_FLAT = 1e-9

Point = tuple[float, float]
"""Pounds of income and of tax."""


@dataclass(frozen=True, slots=True)
class Line:
    """The tax through points of income, and at ``top_rate`` on from the last."""

    points: tuple[Point, ...]
    top_rate: float

    def at(self, amount: float) -> float:
        """The tax at an income."""
        points = self.points
        index = max(1, bisect_right(points, amount, key=_income))
        start, height = points[index - 1]
        if index == len(points):
            return height + (amount - start) * self.top_rate
        end, above = points[index]
        return height + (above - height) * (amount - start) / (end - start)

    def between(self, low: float, high: float) -> tuple[Point, ...]:
        """The points from one income to another, both included; up to the last point where there is no end."""
        inside = [point for point in self.points if low < point[0] < high]
        ends = ((low, self.at(low)), (high, self.at(high)))
        return (ends[0], *inside) if high == float("inf") or high <= low else (ends[0], *inside, ends[1])


@dataclass(slots=True)
class Surface:
    """The tax of everybody who differs only in the income below savings and in savings."""

    taxpayer: Taxpayer
    rules: IncomeTaxRules
    tied: bool
    levels: dict[int, Line] = field(default_factory=dict)
    years: dict[int, TaxedYear] = field(default_factory=dict)

    def level(self, savings: int) -> Line:
        """The line at an amount of savings, pence, from no income below them."""
        line = self.levels.get(savings)
        if line is None:
            line = self.levels[savings] = self._read(savings)
        return line

    def tax(self, income: int, savings: int) -> float:
        """What the rules say, for pence of income below savings and of savings; pounds."""
        return self._height(self._year(savings), income) / _TEN_THOUSANDTHS

    def crossings(self, low: int, high: int, start: float) -> set[int]:
        """Amounts of savings between two levels at which corners of the lines meet, one moving past the other; from an
        income up. A corner stays, or moves down by as much as savings rise, or in the taper by a third of it."""
        found = set()
        ends = low, high
        corners_at = [[start, *_corners_above(self.level(end), start)] for end in ends]
        for here, there, sign in ((0, 1, 1), (1, 0, -1)):
            base, distance = ends[here] / rounding.POUND, (high - low) / rounding.POUND
            other = corners_at[there]
            moving = []
            for corner in corners_at[here]:
                speeds = [
                    speed
                    for speed in _SPEEDS
                    if any(abs(corner - sign * speed * distance - one) < _NEAR for one in other)
                ]
                moving.append((corner, (0.0,) if corner == start else tuple(speeds) or (0.0, 1.0)))
            for index, (first, first_speeds) in enumerate(moving):
                for second, second_speeds in moving[index + 1 :]:
                    for slow in first_speeds:
                        for fast in second_speeds:
                            if sign * (fast - slow) > 0:
                                at = round((base + (second - first) / (fast - slow)) * rounding.POUND)
                                if low < at < high:
                                    found.add(at)
        return found

    def _year(self, savings: int) -> TaxedYear:
        year = self.years.get(savings)
        if year is None:
            taxpayer = replace(self.taxpayer, savings=savings)
            year = self.years[savings] = TaxedYear(year_of(taxpayer, self.rules))
        return year

    def _height(self, year: TaxedYear, income: int) -> int:
        found = year(income)
        partners_loss = 0
        if self.tied and not found.marriage_allowance_open:
            partners_loss = self.rules.marriage_allowance * self.rules.basic_rate
        return found.income_tax + found.child_benefit_charge * rounding.PENNY + partners_loss

    def _read(self, savings: int) -> Line:
        year = self._year(savings)
        at = _bends(year)
        if self.taxpayer.child_benefit:
            at = sorted({*at, *_charge_corners(year)})
        found = list(_line(lambda amount: self._height(year, amount), at))
        last = found[-1]
        top = (self._height(year, last[0] + _REACH) - last[1]) / (_REACH * rounding.PENNY)
        return Line(tuple((amount / rounding.POUND, height / _TEN_THOUSANDTHS) for amount, height in found), top)


_SPEEDS = (0.0, 1.0, 1 / 3)
_NEAR = 0.03


def _corners_above(line: Line, start: float) -> list[float]:
    """The incomes at which a line bends or steps; a step once."""
    found: list[float] = []
    for income, _ in line.points:
        if income > start and not (found and income - found[-1] < 0.015):
            found.append(income)
    return found


def lower_hull(points: Sequence[Point], top_rate: float) -> list[Point]:
    """The convex line below all points, and below the rate that goes on from the last."""
    hull: list[Point] = []
    for point in points:
        while len(hull) > 1 and _slope(hull[-2], hull[-1]) >= _slope(hull[-1], point) - _FLAT:
            hull.pop()
        hull.append(point)
    while len(hull) > 1 and _slope(hull[-2], hull[-1]) >= top_rate - _FLAT:
        hull.pop()
    return hull


def _income(point: Point) -> float:
    return point[0]


def _slope(first: Point, second: Point) -> float:
    return (second[1] - first[1]) / (second[0] - first[0])


def _bends(year: TaxedYear) -> list[int]:
    """Where the line bends, pence. Where there is no choice of set-off its corners are all."""
    taxpayer = year.year.taxpayer
    plain = year
    if taxpayer.child_benefit:
        plain = TaxedYear(year_of(replace(taxpayer, child_benefit=0), year.year.rules))
    if not taxpayer.savings and not taxpayer.dividends and taxpayer.marriage_allowance != "receives":
        return corners(plain, _REACH)
    return sorted({0, *(piece.end for piece in tax_curve(plain, _REACH).pieces)})


def _charge_corners(taxed: TaxedYear) -> list[int]:
    """The lowest line below the steps of the child benefit charge: just before the first, the last, and at the last."""
    rules, taxpayer = taxed.year.rules, taxed.year.taxpayer
    adjusted = taxed(0).net_income - taxpayer.relief_at_source - taxpayer.gift_aid
    threshold, step = rules.child_benefit_threshold - adjusted, rules.child_benefit_step
    amounts = (threshold + step - 1, threshold + 100 * step - 1)
    return [amount for amount in amounts if amount > 0]


def _line(height: Callable[[int], int], amounts: Sequence[int]) -> Iterator[tuple[int, int]]:
    """The points of a line at amounts, and a penny on wherever there is a step."""
    last = -1
    for amount in amounts:
        if amount == last:
            continue
        at, after = height(amount), height(amount + 1)
        last = amount
        yield amount, at
        if abs(after - at) > _JUMP:
            last = amount + 1
            yield last, after
