"""One person's tax in one period as a surface over two amounts: all income below savings, and all savings.

Pension withdrawals come on top of the income below savings. The surface is nowhere above the rules' tax, and is that tax
but in three places:

- in the taper of the personal allowance the tax is a staircase of whole pounds of allowance; here the allowance is on the
  straight line through the feet of the stairs, so the tax is up to a pound's worth of allowance lower;
- the child benefit charge rises by whole hundredths; here it is on the lowest line below these steps;
- whoever gives a marriage allowance bears less tax where they may not. Here they may as long as all taxable income is
  below the rates that rule it out; beyond that savings and dividends in their nil rates might still leave it open.

So it is linear but on the lines of an arrangement (``arrangement``), and the convex hull of its values at the corners of
the arrangement is nowhere above it.

Amounts of income and savings are pence, tax is in pounds.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from service.law import child_benefit
from service.law.income_tax import (
    IncomeTaxRules,
    Liability,
    MarriageAllowance,
    Taxpayer,
    liability,
    taxpayer_year,
)
from service.law.set_off import charged_above_basic
from service.law.units import PENNY, POUND, WHOLE
from service.planning.optimiser.arrangement import (
    FAR_PENCE,
    Line,
    bends_of_other_income,
    lines_of,
    may_be_open_to,
    open_to,
    taper_of,
)
from service.planning.optimiser.work import CORNER, LINE, QUESTION, Work

TAX_UNITS_IN_A_POUND = 1_000_000.0

_SAME_SLOPE_RATE = 1e-9
"""Slopes nearer than this are one; rates are whole basis points, and floats are far nearer."""


class TaxPoint(NamedTuple):
    """A point of the surface: income below savings and savings, pence, and the tax, pounds. ``endless``: not a point but a
    direction without end, what more savings cost above all bands. ``claim``: the part in a claim to the marriage allowance that
    the surface is for, where a plan may choose that."""

    income: int
    savings: int
    tax: float
    endless: bool = False
    claim: MarriageAllowance = "none"


class Region(NamedTuple):
    """Bounds on income below savings, on savings, and on both together; pence."""

    income_low: int
    income_high: int
    savings_low: int
    savings_high: int
    total_low: int = -FAR_PENCE
    total_high: int = FAR_PENCE

    @property
    def is_empty(self) -> bool:
        """Whether no point is inside."""
        least = max(self.total_low, self.income_low + self.savings_low)
        most = min(self.total_high, self.income_high + self.savings_high)
        return self.income_low > self.income_high or self.savings_low > self.savings_high or least > most

    def common(self, other: Region) -> Region:
        """What is inside of both."""
        return Region(
            max(self.income_low, other.income_low),
            min(self.income_high, other.income_high),
            max(self.savings_low, other.savings_low),
            min(self.savings_high, other.savings_high),
            max(self.total_low, other.total_low),
            min(self.total_high, other.total_high),
        )

    def has(self, income: int, savings: int) -> bool:
        """Whether a point is inside."""
        return (
            self.income_low <= income <= self.income_high
            and self.savings_low <= savings <= self.savings_high
            and self.total_low <= income + savings <= self.total_high
        )


ANYWHERE = Region(-FAR_PENCE, FAR_PENCE, -FAR_PENCE, FAR_PENCE)
"""All incomes and savings."""


class Surface:
    """The tax of everybody who differs only in income below savings and in savings."""

    def __init__(self, taxpayer: Taxpayer, rules: IncomeTaxRules, work: Work) -> None:
        """The surface for a taxpayer whose own other income and savings do not count."""
        self.taxpayer = taxpayer._replace(other_income=0, savings=0)
        self.rules = rules
        self._work = work
        self._year = taxpayer_year(self.taxpayer, rules)
        self._without = taxpayer_year(self.taxpayer._replace(marriage_allowance="none"), rules)
        self._taper = taper_of(self.taxpayer, rules)
        self.open_to = open_to(self._year, self._taper)
        self.may_be_open_to = may_be_open_to(self._year, self._taper)
        self._least = self._year.treated_as_deducted
        self._known: dict[tuple[int, int], float] = {}
        self._bends: dict[int, Sequence[int]] = {}
        self._lines: tuple[Line, ...] | None = None
        self._has_more_layers = bool(self.taxpayer.property_income or self.taxpayer.dividends)

    @property
    def endless_savings(self) -> TaxPoint:
        """What a pound more of savings costs above all bands, as a direction."""
        return TaxPoint(0, POUND, self.rules.scales.savings.rates[-1] / WHOLE, endless=True)

    @property
    def lines(self) -> tuple[Line, ...]:
        """The lines on which the surface may bend or step."""
        if self._lines is None:
            self._lines = lines_of(self._year, self._taper)
            self._work.add(LINE * len(self._lines))
        return self._lines

    @property
    def work_expected(self) -> float:
        """About how much work the points of all incomes and savings take: the corners of so many lines."""
        return (CORNER + QUESTION) * len(self.lines) ** 2 / 60

    def tax(self, income: int, savings: int) -> float:
        """The surface's tax, pounds, at pence of income below savings and of savings."""
        known = self._known.get((income, savings))
        if known is None:
            known = self._known[income, savings] = self._tax(income, savings) / TAX_UNITS_IN_A_POUND
            self._work.add(QUESTION)
        return known

    def income_tax(self, income: int, savings: int) -> float:
        """The same without the child benefit charge, and not kept."""
        return self._liability(income, savings).income_tax / TAX_UNITS_IN_A_POUND

    def is_open(self, income: int, savings: int) -> bool:
        """Whether nothing bears a rate at which nobody may give or receive a marriage allowance."""
        found = self._liability(income, savings)
        return not charged_above_basic(
            self._year.scales, found.other_to, found.savings_to, found.taxable, found.savings_nil_to
        )

    def _tax(self, income: int, savings: int) -> int:
        """The tax in tax units."""
        found = self._liability(income, savings)
        return found.income_tax + self._charge(found)

    def _liability(self, income: int, savings: int) -> Liability:
        total = income + savings
        gives = self.taxpayer.marriage_allowance == "gives"
        lost = gives and total > self.open_to
        tapered = self._taper.allowance(total) if total > self._taper.first - 2 * POUND else None
        return liability(self._without if lost else self._year, income, savings, tapered)

    def _charge(self, found: Liability) -> int:
        """The child benefit charge in tax units: a line below its hundred steps, from and to ``charge_bends`` (ITEPA
        2003 s.681C)."""
        rules, benefit = self.rules, self.taxpayer.child_benefit
        if not benefit:
            return 0
        threshold, step = rules.child_benefit_threshold, rules.child_benefit_step
        over = found.adjusted_net_income - threshold
        if over >= 100 * step:
            return child_benefit.charge(found.adjusted_net_income, benefit, threshold, step) * PENNY
        # After so many whole steps the charge is so many hundredths, less what rounding down to the pound takes off.
        hundredths = benefit // POUND * (over + 1 - step) - 99 * step
        return max(0, hundredths * PENNY // step)

    def vertices(self, region: Region) -> list[TaxPoint]:
        """Points inside a region whose lower convex hull is nowhere above the surface there.

        They are corners of the arrangement and of the region's edges, without those that are no vertices along a line.
        """
        if region.savings_low == region.savings_high:
            return self._vertices_beside(region.savings_low, region)
        crossings = _Crossings(self.lines, region)
        if self._least or self.taxpayer.marriage_allowance == "receives":
            crossings.add(self._where_tax_begins(crossings.along_lines()))
        self._work.add(CORNER * len(crossings.found))
        points = {at: TaxPoint(*at, self.tax(*at)) for at in crossings.found}
        for along in crossings.along_lines():
            there = [points[at] for at in along if at in points]
            if len(there) > 2:
                for point in _above(there, _hull(there)):
                    del points[point.income, point.savings]
        return sorted(points.values())

    def _vertices_beside(self, savings: int, region: Region) -> list[TaxPoint]:
        """The vertices where only the income varies."""
        low = max(region.income_low, region.total_low - savings)
        high = min(region.income_high, region.total_high - savings)
        if low > high:
            return []
        incomes = [low, *_between(self._bends_beside(savings), low + 1, high - 1), *([high] if high > low else [])]
        if self._least or self.taxpayer.marriage_allowance == "receives":
            corners = [(income, savings) for income in incomes]
            incomes = sorted({*incomes, *(income for income, _ in self._where_tax_begins([corners]))})
        self._work.add(CORNER * len(incomes))
        return _hull([TaxPoint(income, savings, self.tax(income, savings)) for income in incomes])

    def _where_tax_begins(self, lines: Iterable[Sequence[tuple[int, int]]]) -> Iterator[tuple[int, int]]:
        """The last corner with the least tax there can be, between two neighbouring crossings of a line.

        Tax reduced by a marriage allowance received begins where it comes to the reduction, and tax of somebody who gives
        under Gift Aid rises where it comes to what has to be covered: on no known line. Below that it stays the same and above
        it is concave, so where it begins along each line is enough.
        """
        for along in lines:
            for here, there in itertools.pairwise(along):
                first, second = self._is_least(*here), self._is_least(*there)
                if first and not second:
                    yield self._last_untaxed(here, there)
                elif second and not first and self._least:
                    yield self._last_untaxed(there, here)

    def _is_least(self, income: int, savings: int) -> bool:
        """Whether no amounts bear less income tax."""
        if not self._least:
            return self.tax(income, savings) == 0
        self._work.add(QUESTION)
        return self._liability(income, savings).income_tax == self._least

    def _last_untaxed(self, here: tuple[int, int], there: tuple[int, int]) -> tuple[int, int]:
        steps = max(abs(there[0] - here[0]), abs(there[1] - here[1]))

        def at(step: int) -> tuple[int, int]:
            return here[0] + (there[0] - here[0]) * step // steps, here[1] + (there[1] - here[1]) * step // steps

        last = bisect_right(range(steps), False, key=lambda step: not self._is_least(*at(step))) - 1
        return at(max(0, last))

    def breakpoints(self, savings: int, low: int, high: int) -> list[int]:
        """The incomes from ``low`` to ``high`` at which the tax may bend or step beside an amount of savings."""
        found = [*_between(self._bends_beside(savings), low, high)]
        if self._least and low < high and self._is_least(low, savings) and not self._is_least(high, savings):
            found.append(self._last_untaxed((low, savings), (high, savings))[0])
        return found

    def _bends_beside(self, savings: int) -> Sequence[int]:
        """The incomes at which a line crosses an amount of savings, in order."""
        found = self._bends.get(savings)
        if found is None:
            if savings or self._has_more_layers:
                found = self._crossed(savings)
            else:
                found = bends_of_other_income(self._year, self._taper)
                self._work.add(LINE * len(found))
            self._bends[savings] = found
        return found

    def _crossed(self, savings: int) -> Sequence[int]:
        """The same, by all lines."""
        crossings = set()
        for of_income, of_savings, amount, total_low, total_high, income_high in self.lines:
            if of_income:
                income = (amount - of_savings * savings) // of_income
                if income <= income_high and total_low <= income + savings <= total_high:
                    crossings.add(income)
        return sorted(crossings)


class _Crossings:
    """Where the lines of an arrangement and the edges of a region cross inside the region; pence of income and savings."""

    def __init__(self, lines: Sequence[Line], region: Region) -> None:
        """All of them; on a region of one income, where the lines cross that. Its savings differ."""
        self.found: set[tuple[int, int]] = set()
        self._region = region
        self._least = max(region.total_low, region.income_low + region.savings_low)
        self._most = min(region.total_high, region.income_high + region.savings_high)
        incomes = _within(lines, 1, 0, region.income_low, region.income_high)
        savings = _within(lines, 0, 1, region.savings_low, region.savings_high)
        totals = _within(lines, 1, 1, self._least, self._most)
        slanted = lines[bisect_left(lines, (1, 2)) :]
        self._is_line = region.income_low == region.income_high
        self._cross_amounts(incomes, savings)
        self._cross_totals(incomes, totals)
        if not self._is_line:
            self._cross_totals(savings, totals)
        reached: list[Line] = []
        for one in slanted:
            reach = self._reach(one)
            if reach is not None:
                self._cross_slanted(one, _reached(incomes, reach.incomes))
                if not self._is_line:
                    self._cross_slanted(one, _reached(savings, reach.savings))
                    self._cross_slanted(one, _reached(totals, reach.totals))
                    self._cross_slanted(one, reached)
                    reached.append(one)

    def add(self, points: Iterable[tuple[int, int]]) -> None:
        """More points on the lines."""
        self.found.update(list(points))

    def along_lines(self) -> Iterator[list[tuple[int, int]]]:
        """The crossings on each line, in order."""
        if self._is_line:
            yield sorted(self.found)
            return
        incomes: dict[int, list[tuple[int, int]]] = {}
        savings: dict[int, list[tuple[int, int]]] = {}
        totals: dict[int, list[tuple[int, int]]] = {}
        for at in sorted(self.found):
            incomes.setdefault(at[0], []).append(at)
            savings.setdefault(at[1], []).append(at)
            totals.setdefault(at[0] + at[1], []).append(at)
        for groups in (incomes, savings, totals):
            for along in groups.values():
                if len(along) > 1:
                    yield along

    def _cross_amounts(self, incomes: Sequence[Line], savings: Sequence[Line]) -> None:
        """Cross lines of one income with lines of one amount of savings, all within the region."""
        for _, _, income, low, high, _ in incomes:
            low, high = max(low, self._least), min(high, self._most)
            for _, _, saved, total_low, total_high, income_high in savings:
                total = income + saved
                if low <= total <= high and total_low <= total <= total_high and income <= income_high:
                    self.found.add((income, saved))

    def _cross_totals(self, lines: Sequence[Line], totals: Sequence[Line]) -> None:
        """Cross lines of one amount, of income or of savings, with those of a total that leave the other amount within the
        region; all lines are within it. A line of a total is there for all totals."""
        region, found = self._region, self.found
        for of_income, _, amount, low, high, line_income_high in lines:
            other_low, other_high = (
                (region.savings_low, region.savings_high) if of_income else (region.income_low, region.income_high)
            )
            first = bisect_left(totals, max(low, amount + other_low), key=_amount)
            last = bisect_right(totals, min(high, amount + other_high), key=_amount)
            for _, _, total, _, _, income_high in totals[first:last]:
                income = amount if of_income else total - amount
                if income <= income_high and income <= line_income_high:
                    found.add((income, total - income))

    def _reach(self, line: Line) -> _Reach | None:
        """How far a line of the taper reaches within the region, a penny further on each side; None where it does not."""
        region = self._region
        of_income, of_savings, amount, total_low, total_high, _ = line
        income_low = max(region.income_low, (amount - of_savings * region.savings_high) // of_income)
        income_high = min(region.income_high, (amount - of_savings * region.savings_low) // of_income + 1)
        savings_high = (amount - of_income * income_low) // of_savings + 1
        savings_low = (amount - of_income * income_high) // of_savings
        # Along the line the total rises with the amount that counts once.
        first, last = sorted((income_low + savings_high, income_high + savings_low))
        low, high = max(first - 1, total_low, self._least), min(last + 1, total_high, self._most)
        if income_low > income_high or low > high:
            return None
        return _Reach((income_low - 1, income_high + 1), (savings_low - 1, savings_high + 1), (low - 1, high + 1))

    def _cross_slanted(self, one: Line, others: Iterable[Line]) -> None:
        """Cross a line of the taper with lines of any direction."""
        for other in others:
            determinant = one.of_income * other.of_savings - other.of_income * one.of_savings
            if determinant:
                of_income = one.amount * other.of_savings - other.amount * one.of_savings
                of_savings = one.of_income * other.amount - other.of_income * one.amount
                income, savings = of_income // determinant, of_savings // determinant
                total = (of_income + of_savings) // determinant
                if (
                    one.total_low <= total <= one.total_high
                    and other.total_low <= total <= other.total_high
                    and income <= one.income_high
                    and income <= other.income_high
                ):
                    if income + savings == total:
                        self._add(income, savings)
                    else:
                        # Both rounded down are a penny below a total, and may be below the region.
                        self._add(income + 1, savings)
                        self._add(income, savings + 1)

    def _add(self, income: int, savings: int) -> None:
        if self._region.has(income, savings):
            self.found.add((income, savings))


class _Reach(NamedTuple):
    """From which income, savings and total a line is in a region, and to which; pence."""

    incomes: tuple[int, int]
    savings: tuple[int, int]
    totals: tuple[int, int]


def _reached(lines: Sequence[Line], reach: tuple[int, int]) -> Sequence[Line]:
    """The lines of one direction, in order, from one amount to another."""
    return lines[bisect_left(lines, reach[0], key=_amount) : bisect_right(lines, reach[1], key=_amount)]


def _within(lines: Sequence[Line], of_income: int, of_savings: int, low: int, high: int) -> list[Line]:
    """The lines of one direction from one amount to another, and the edges there, in order. All lines are in order."""
    edge = Line(of_income, of_savings, low)
    if low == high:
        return [edge]
    first = bisect_left(lines, (of_income, of_savings, low + 1))
    last = bisect_left(lines, (of_income, of_savings, high))
    return [edge, *lines[first:last], Line(of_income, of_savings, high)]


def _amount(line: Line) -> int:
    return line.amount


def _between(amounts: Sequence[int], low: int, high: int) -> Sequence[int]:
    """Of amounts in order those from one to another."""
    return amounts[bisect_left(amounts, low) : bisect_right(amounts, high)]


def _above(points: Sequence[TaxPoint], hull: Sequence[TaxPoint]) -> list[TaxPoint]:
    """Those of points along a line that are no vertices of their lower hull."""
    if len(points) == len(hull):
        return []
    vertices = {(point.income, point.savings) for point in hull}
    return [point for point in points if (point.income, point.savings) not in vertices]


def _hull(points: Iterable[TaxPoint]) -> list[TaxPoint]:
    """The vertices of the lower hull of points along a line, in order."""
    hull: list[TaxPoint] = []
    slopes: list[float] = []  # from each vertex to the next
    for point in points:
        while hull:
            slope = _slope(hull[-1], point)
            if slopes and slopes[-1] >= slope - _SAME_SLOPE_RATE:
                hull.pop()
                slopes.pop()
            else:
                slopes.append(slope)
                break
        hull.append(point)
    return hull


def _slope(first: TaxPoint, second: TaxPoint) -> float:
    """Tax on a penny more along a line, in pounds a pound."""
    return (second.tax - first.tax) * POUND / (second.income - first.income or second.savings - first.savings)
