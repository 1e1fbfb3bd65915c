"""One person's tax in one period as a surface over two amounts: all income below savings, and all savings.

Pension withdrawals come on top of the income below savings. At a fixed amount of savings the tax is a piecewise linear
function of income, read off the rules: a ``Section`` of the surface. From one amount of savings to the next the
breakpoints stay where they are, or move down by a pound for each pound of savings, or in the taper by a third of it: a
``Kink``. Where two kinks cross, the surface has a vertex. These and the breakpoints of sections are the points of which
a convex hull below the surface is made.

Money is in pounds, but for arguments that say pence.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise
from typing import NamedTuple

from service.law import child_benefit
from service.law.income_tax import IncomeTaxRules, Liability, Taxpayer, taxpayer_year
from service.law.units import PENNY, POUND, WHOLE
from service.planning.curve.tax_curve import corners, tax_curve
from service.planning.curve.tax_function import TaxFunction
from service.planning.optimiser.tolerances import TAX_STEP_POUNDS

_STEP_TEN_THOUSANDTHS = 100 * PENNY
"""A pound of tax on one penny is a step; the stairs of the taper are smaller. In ten-thousandths of a penny."""

_REACH_PENCE = 20_000_000
"""Past every band's limit: from here on the tax is a straight line."""

_TEN_THOUSANDTHS_IN_A_POUND = 1_000_000.0

_SAME_SLOPE_RATE = 1e-9
"""Slopes nearer than this are one; rates are whole basis points, and floats are far nearer."""

_THIRD_SPEED = 1 / 3
"""In the taper income counts three halves, and savings one half, towards what is below the savings."""

_SAME_BREAKPOINT_POUNDS = 0.03
"""Breakpoints of two sections this near to where a kink has them are the kink: each is a whole penny, and a third drops."""

_STAIR_POUNDS = 3.0
"""A shorter piece is a stair of the taper (two pounds), or a step."""

_BEND_RATE = 0.005
"""Rates that differ by less do not bend: half a per cent, less than any two rates of the law differ by."""

_DROPPED_PENCE = 0.01
"""What a float may lack of a whole penny."""

Point = tuple[float, float]
"""Pounds of income and of tax."""


class Kink(NamedTuple):
    """A breakpoint that moves with the savings: at an income of ``without`` less ``speed`` times the savings."""

    without: float
    speed: float

    def pence(self, savings: int) -> int:
        """Where it is at an amount of savings; both pence, dropped."""
        return int(self.without * POUND - self.speed * savings + _DROPPED_PENCE)


@dataclass(frozen=True, slots=True)
class Section:
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

    def hull(self, low: float, high: float) -> Section:
        """The convex line below this one from one income to another; on from the last point where there is no end."""
        endless = high == float("inf")
        points = [(low, self.at(low)), *(point for point in self.points if low < point[0] < high)]
        if low < high and not endless:
            points.append((high, self.at(high)))
        top_rate = self.top_rate if endless else float("inf")
        hull: list[Point] = []
        for point in points:
            while len(hull) > 1 and _slope(hull[-2], hull[-1]) >= _slope(hull[-1], point) - _SAME_SLOPE_RATE:
                hull.pop()
            hull.append(point)
        while len(hull) > 1 and _slope(hull[-2], hull[-1]) >= top_rate - _SAME_SLOPE_RATE:
            hull.pop()
        return Section(tuple(hull), self.top_rate)

    def breakpoints(self, *, upward: bool) -> list[float]:
        """The incomes at which the line bends or steps: a step at its lower end, and the taper's stairs not at all.

        ``upward``: only where it gets steeper or steps. Nothing else can be a corner of a convex hull below.
        """
        found: list[float] = []
        points = self.points
        rates = [*(_slope(first, second) for first, second in pairwise(points)), self.top_rate]
        widths = [*(second[0] - first[0] for first, second in pairwise(points)), float("inf")]
        before = 0.0
        for (income, _), rate, width in zip(points, rates, widths, strict=True):
            if width < _STAIR_POUNDS:
                rise = (rate - before) * width
                if abs(rise) > TAX_STEP_POUNDS:
                    found.append(income if rise > 0 else income + width)
                continue
            bends = rate > before + _BEND_RATE or (not upward and rate < before - _BEND_RATE)
            if bends and not (found and income - found[-1] < _STAIR_POUNDS):
                found.append(income)
            before = rate
        return found


@dataclass(slots=True)
class Surface:
    """The tax of everybody who differs only in income below savings and in savings. ``with_partner_loss``: what a partner
    loses where this person may not give the marriage allowance is counted in."""

    taxpayer: Taxpayer
    rules: IncomeTaxRules
    with_partner_loss: bool
    _sections: dict[int, Section] = field(default_factory=dict)
    _years: dict[int, TaxFunction] = field(default_factory=dict)
    _kinks: dict[tuple[int, int, bool], tuple[Kink, ...]] = field(default_factory=dict)

    @property
    def top_savings_rate(self) -> float:
        """What a pound more of savings costs above all bands."""
        return self.rules.scales.savings.rates[-1] / WHOLE

    def tax(self, income: int, savings: int) -> float:
        """What the rules say, for pence of income below savings and of savings; see ``_charge``."""
        return self._height(self._year(savings), income) / _TEN_THOUSANDTHS_IN_A_POUND

    def section(self, savings: int) -> Section:
        """The section at an amount of savings, pence."""
        line = self._sections.get(savings)
        if line is None:
            line = self._sections[savings] = self._read(savings)
        return line

    def kinks(self, low: int, high: int, *, upward: bool) -> tuple[Kink, ...]:
        """How breakpoints move between two amounts of savings, pence; ``upward`` as in ``Section.breakpoints``."""
        known = self._kinks.get((low, high, upward))
        if known is None:
            known = self._kinks[low, high, upward] = tuple(self._followed(low, high, upward))
        return known

    def last_untaxed(self, line: Kink, low: int, high: int) -> int | None:
        """The most savings without tax along a kink between two amounts, pence: None where tax does not begin there.

        Tax reduced by a marriage allowance received begins on a curve of its own, which no section's breakpoints follow.
        """
        if self.taxpayer.marriage_allowance != "receives":
            return None

        def taxed(savings: int) -> bool:
            return self.tax(max(0, line.pence(savings)), savings) > 0

        if taxed(low) or not taxed(high):
            return None
        return low + bisect_right(range(low, high), False, key=taxed) - 1

    def _followed(self, low: int, high: int, upward: bool) -> Iterator[Kink]:
        first, second = (self.section(savings).breakpoints(upward=upward) for savings in (low, high))
        start, end = low / POUND, high / POUND
        seen: set[tuple[int, float]] = set()
        for here, at, there, distance in ((first, start, second, end - start), (second, end, first, start - end)):
            for breakpoint in here:
                # Where it meets another its like may go on the other way, so both ways are followed wherever it is found.
                a_third = any(
                    abs(breakpoint - _THIRD_SPEED * distance - one) < _SAME_BREAKPOINT_POUNDS for one in there
                )
                for speed in (0.0, 1.0, _THIRD_SPEED) if a_third else (0.0, 1.0):
                    without = breakpoint + speed * at
                    key = round(without / _SAME_BREAKPOINT_POUNDS), speed
                    if key not in seen:
                        seen.add(key)
                        yield Kink(without, speed)

    def _year(self, savings: int) -> TaxFunction:
        year = self._years.get(savings)
        if year is None:
            taxpayer = replace(self.taxpayer, savings=savings)
            year = self._years[savings] = TaxFunction(taxpayer_year(taxpayer, self.rules))
        return year

    def _height(self, year: TaxFunction, income: int) -> int:
        """Ten-thousandths of a penny."""
        found = year(income)
        partners_loss = 0
        if self.with_partner_loss and not found.marriage_allowance_open:
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

    def _read(self, savings: int) -> Section:
        year = self._year(savings)
        at = _bends(year)
        if self.taxpayer.child_benefit:
            at = sorted({*at, *_charge_breakpoints(year)})
        taxpayer = year.year.taxpayer
        heights: Iterator[tuple[int, int]] = ((amount, self._height(year, amount)) for amount in at)
        # Nothing else is error_cost at a stroke.
        if taxpayer.savings or taxpayer.dividends or taxpayer.marriage_allowance != "none" or taxpayer.child_benefit:
            heights = _with_steps(lambda amount: self._height(year, amount), at)
        found = list(heights)
        last = found[-1]
        top = (self._height(year, last[0] + _REACH_PENCE) - last[1]) / (_REACH_PENCE * PENNY)
        return Section(tuple((amount / POUND, height / _TEN_THOUSANDTHS_IN_A_POUND) for amount, height in found), top)


def crossings(lines: Sequence[Kink], low: float, high: float) -> Iterator[tuple[float, Kink]]:
    """Savings between two amounts at which a kink crosses another; of the two the one that moves less."""
    for first, second in combinations(lines, 2):
        if first.speed != second.speed:
            savings = (first.without - second.without) / (first.speed - second.speed)
            if low < savings < high:
                yield savings, min(first, second, key=lambda line: line.speed)


def _income(point: Point) -> float:
    return point[0]


def _slope(first: Point, second: Point) -> float:
    return (second[1] - first[1]) / (second[0] - first[0])


def _bends(year: TaxFunction) -> list[int]:
    """Where a section bends, pence. Where there is no choice of set-off the curve's corners are all."""
    taxpayer = year.year.taxpayer
    plain = year
    if taxpayer.child_benefit:
        plain = TaxFunction(taxpayer_year(replace(taxpayer, child_benefit=0), year.year.rules))
    if not taxpayer.savings and not taxpayer.dividends and taxpayer.marriage_allowance != "receives":
        return corners(plain, _REACH_PENCE)
    return sorted({0, *(piece.end for piece in tax_curve(plain, _REACH_PENCE).pieces)})


def _charge_breakpoints(taxed: TaxFunction) -> list[int]:
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
        if abs(after - at) > _STEP_TEN_THOUSANDTHS:
            last = amount + 1
            yield last, after
