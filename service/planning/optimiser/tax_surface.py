"""One person's tax in one period as the search for the best plan sees it: a surface over pension income and interest.

The tax depends on two amounts: all income below savings, on top of which pension withdrawals come, and all savings. At a
fixed amount of savings it is a line of straight pieces, read off the rules: a ``level`` of the surface. From one level to
the next the corners of the line stay where they are, or move down by a pound for each pound of savings, or in the taper
by a third of it; where two of them meet, the surface has a corner of its own. These meetings and the corners at levels
are the points from which a convex hull below the surface is made.

Money is in pounds, but for arguments that say pence.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise
from typing import NamedTuple

from service.law import child_benefit
from service.law.income_tax import IncomeTaxRules, Liability, Taxpayer, year_of
from service.law.units import PENNY, POUND
from service.planning.curve.tax_curve import corners, tax_curve
from service.planning.curve.tax_function import TaxedYear

_JUMP = 100 * PENNY  # a pound of tax on one penny is a step; the stairs of the taper are smaller
_REACH = 20_000_000  # pence: past every band's limit
_WHOLE = 10_000  # basis points
_TEN_THOUSANDTHS = 1_000_000.0  # of a penny in a pound
_FLAT = 1e-9
_THIRD = 1 / 3
_SAME = 0.03  # pounds: corners at two levels this near where they should be are the same
_STAIR = 3.0  # pounds: a shorter piece is a stair of the taper, or a step
_STEP = 1.0  # pounds of tax on a stair that are more than the taper's
_BEND = 0.005
_DROPPED = 0.01  # of a penny, which a float may lack

Point = tuple[float, float]
"""Pounds of income and of tax."""


class Moving(NamedTuple):
    """A corner at an income of ``without`` less ``speed`` times the savings."""

    without: float
    speed: float

    def pence(self, savings: int) -> int:
        """Where it is at an amount of savings; both pence, dropped."""
        return int(self.without * POUND - self.speed * savings + _DROPPED)


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

    def hull(self, low: float, high: float) -> Line:
        """The convex line below this one from one income to another; on from the last point where there is no end."""
        endless = high == float("inf")
        points = [(low, self.at(low)), *(point for point in self.points if low < point[0] < high)]
        if low < high and not endless:
            points.append((high, self.at(high)))
        top_rate = self.top_rate if endless else float("inf")
        hull: list[Point] = []
        for point in points:
            while len(hull) > 1 and _slope(hull[-2], hull[-1]) >= _slope(hull[-1], point) - _FLAT:
                hull.pop()
            hull.append(point)
        while len(hull) > 1 and _slope(hull[-2], hull[-1]) >= top_rate - _FLAT:
            hull.pop()
        return Line(tuple(hull), self.top_rate)

    def corners(self, *, upward: bool) -> list[float]:
        """The incomes at which the line bends or steps: a step at its lower end, and the taper's stairs not at all.

        ``upward``: only where it gets steeper or steps. Nothing else can be a corner of a convex hull below.
        """
        found: list[float] = []
        points = self.points
        rates = [*(_slope(first, second) for first, second in pairwise(points)), self.top_rate]
        widths = [*(second[0] - first[0] for first, second in pairwise(points)), float("inf")]
        before = 0.0
        for (income, _), rate, width in zip(points, rates, widths, strict=True):
            if width < _STAIR:
                rise = (rate - before) * width
                if abs(rise) > _STEP:
                    found.append(income if rise > 0 else income + width)
                continue
            bends = rate > before + _BEND or (not upward and rate < before - _BEND)
            if bends and not (found and income - found[-1] < _STAIR):
                found.append(income)
            before = rate
        return found


@dataclass(slots=True)
class Surface:
    """The tax of everybody who differs only in income below savings and in savings. ``tied``: what a partner loses where
    this person may not give the marriage allowance is counted in."""

    taxpayer: Taxpayer
    rules: IncomeTaxRules
    tied: bool
    _levels: dict[int, Line] = field(default_factory=dict)
    _years: dict[int, TaxedYear] = field(default_factory=dict)
    _moving: dict[tuple[int, int, bool], tuple[Moving, ...]] = field(default_factory=dict)

    @property
    def top_savings_rate(self) -> float:
        """What a pound more of savings costs above all bands."""
        return self.rules.scales.savings.rates[-1] / _WHOLE

    def tax(self, income: int, savings: int) -> float:
        """What the rules say, for pence of income below savings and of savings; see ``_charge``."""
        return self._height(self._year(savings), income) / _TEN_THOUSANDTHS

    def level(self, savings: int) -> Line:
        """The line at an amount of savings, pence."""
        line = self._levels.get(savings)
        if line is None:
            line = self._levels[savings] = self._read(savings)
        return line

    def moving(self, low: int, high: int, *, upward: bool) -> tuple[Moving, ...]:
        """How the corners of the lines move between two levels of savings, pence; ``upward`` as in ``Line.corners``."""
        known = self._moving.get((low, high, upward))
        if known is None:
            known = self._moving[low, high, upward] = tuple(self._followed(low, high, upward))
        return known

    def begins(self, line: Moving, low: int, high: int) -> int | None:
        """The most savings without tax along a corner between two levels, pence: None where tax does not begin there.

        Tax reduced by a marriage allowance received begins on a curve of its own, which no level's corners follow.
        """
        if self.taxpayer.marriage_allowance != "receives":
            return None

        def taxed(savings: int) -> bool:
            return self.tax(max(0, line.pence(savings)), savings) > 0

        if taxed(low) or not taxed(high):
            return None
        return low + bisect_right(range(low, high), False, key=taxed) - 1

    def _followed(self, low: int, high: int, upward: bool) -> Iterator[Moving]:
        first, second = (self.level(savings).corners(upward=upward) for savings in (low, high))
        start, end = low / POUND, high / POUND
        seen: set[tuple[int, float]] = set()
        for here, at, there, distance in ((first, start, second, end - start), (second, end, first, start - end)):
            for corner in here:
                # Where it meets another its like may go on the other way, so both ways are followed wherever it is found.
                a_third = any(abs(corner - _THIRD * distance - one) < _SAME for one in there)
                for speed in (0.0, 1.0, _THIRD) if a_third else (0.0, 1.0):
                    without = corner + speed * at
                    key = round(without / _SAME), speed
                    if key not in seen:
                        seen.add(key)
                        yield Moving(without, speed)

    def _year(self, savings: int) -> TaxedYear:
        year = self._years.get(savings)
        if year is None:
            taxpayer = replace(self.taxpayer, savings=savings)
            year = self._years[savings] = TaxedYear(year_of(taxpayer, self.rules))
        return year

    def _height(self, year: TaxedYear, income: int) -> int:
        """Ten-thousandths of a penny."""
        found = year(income)
        partners_loss = 0
        if self.tied and not found.marriage_allowance_open:
            partners_loss = self.rules.marriage_allowance * self.rules.basic_rate
        return found.income_tax + self._charge(found) + partners_loss

    def _charge(self, found: Liability) -> int:
        """The child benefit charge: the lowest line below its hundred steps, from just before the first to just before
        the last (ITEPA 2003 s.681C)."""
        rules, benefit = self.rules, self.taxpayer.child_benefit
        if not benefit:
            return 0
        threshold, step = rules.child_benefit_threshold, rules.child_benefit_step
        over = found.adjusted_net_income - threshold
        if over >= 100 * step:
            return found.child_benefit_charge * PENNY
        last = child_benefit.charge(threshold + 100 * step - 1, benefit, threshold, step)
        return last * PENNY * max(0, over + 1 - step) // (99 * step)

    def _read(self, savings: int) -> Line:
        year = self._year(savings)
        at = _bends(year)
        if self.taxpayer.child_benefit:
            at = sorted({*at, *_charge_corners(year)})
        taxpayer = year.year.taxpayer
        heights: Iterator[tuple[int, int]] = ((amount, self._height(year, amount)) for amount in at)
        # Nothing else is lost at a stroke.
        if taxpayer.savings or taxpayer.dividends or taxpayer.marriage_allowance != "none" or taxpayer.child_benefit:
            heights = _with_steps(lambda amount: self._height(year, amount), at)
        found = list(heights)
        last = found[-1]
        top = (self._height(year, last[0] + _REACH) - last[1]) / (_REACH * PENNY)
        return Line(tuple((amount / POUND, height / _TEN_THOUSANDTHS) for amount, height in found), top)


def meetings(lines: Sequence[Moving], low: float, high: float) -> Iterator[tuple[float, Moving]]:
    """Savings between two amounts at which a corner meets another; of the two the one that moves less."""
    for first, second in combinations(lines, 2):
        if first.speed != second.speed:
            savings = (first.without - second.without) / (first.speed - second.speed)
            if low < savings < high:
                yield savings, min(first, second, key=lambda line: line.speed)


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
    """Where the line below the steps of the child benefit charge bends: just before the first and the last."""
    rules, taxpayer = taxed.year.rules, taxed.year.taxpayer
    adjusted = taxed(0).net_income - taxpayer.relief_at_source - taxpayer.gift_aid
    threshold, step = rules.child_benefit_threshold - adjusted, rules.child_benefit_step
    amounts = (threshold + step - 1, threshold + 100 * step - 1)
    return [amount for amount in amounts if amount > 0]


def _with_steps(height: Callable[[int], int], amounts: Sequence[int]) -> Iterator[tuple[int, int]]:
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
