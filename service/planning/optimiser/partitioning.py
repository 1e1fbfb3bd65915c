"""Where to split a cell in two, so that the hull of a person's tax comes nearer to the tax (spatial branching)."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import NamedTuple

from service.law.units import POUND
from service.planning.optimiser.tax_cells import CellTax, Region, TaxDomain, TaxPoint
from service.planning.optimiser.tolerances import PENNY_POUNDS, TAX_STEP_POUNDS

_SAME_SIDE_POUNDS = 0.05
"""Two points whose amounts differ by less than this are on one side of every line: pence of rounding are no distance."""

_INSIDE_SHARE = 1e-6
"""A crossing nearer than this share to the end of a segment is its end."""


class _Separator(NamedTuple):
    """A line across the surface: where the income (``of_income``), the savings (``of_savings``) or both come to an
    amount, pounds."""

    of_income: int
    of_savings: int
    amount: float

    def measured(self, point: TaxPoint) -> float:
        """A point's amount of that which the line bounds."""
        return self.of_income * point.income + self.of_savings * point.savings / POUND

    def sides(self, region: Region, *, step: bool) -> tuple[Region, Region]:
        """A region split at the line; a step belongs to the lower side, and the other begins a penny on."""
        more = self.amount + (PENNY_POUNDS if step else 0.0)
        if not self.of_income:
            savings = round(self.amount * POUND)
            return region._replace(savings_high=savings), region._replace(savings_low=savings)
        if self.of_savings:
            return region._replace(total_high=self.amount), region._replace(total_low=more)
        return region._replace(high=self.amount), region._replace(low=more)


class _Corner(NamedTuple):
    """A line, by how much the tax at it is above the hull, and whether the tax steps there."""

    separator: _Separator
    error: float
    step: bool


def partition(domain: TaxDomain, region: Region, taxed: CellTax) -> tuple[Region, Region] | None:
    """The two regions: split at the corner of the tax that is highest above the hull, or where the optimum is."""
    corner = max(_corners(domain, taxed), key=lambda one: one.error, default=None)
    if corner is not None and corner.error >= taxed.error / 2:
        sides = corner.separator.sides(region, step=corner.step)
        if region not in sides:
            return sides
    return _split_at_optimum(domain, region, taxed)


def _corners(domain: TaxDomain, taxed: CellTax) -> Iterator[_Corner]:
    """Where lines cross the segments between the points of which the tax is a mean."""
    surface = domain.surface
    for first, second in combinations(taxed.points, 2):
        for separator in _separators(domain, first, second):
            start, end = separator.measured(first), separator.measured(second)
            if abs(end - start) < _SAME_SIDE_POUNDS:
                continue
            share = (separator.amount - start) / (end - start)
            if _INSIDE_SHARE < share < 1 - _INSIDE_SHARE:
                income = round((first.income + share * (second.income - first.income)) * POUND)
                savings = round(first.savings + share * (second.savings - first.savings))
                below, above = (surface.tax(income + penny, savings) for penny in (-1, 1))
                hull = first.tax + share * (second.tax - first.tax)
                yield _Corner(separator, max(below, above) - hull, abs(above - below) > TAX_STEP_POUNDS)


def _separators(domain: TaxDomain, first: TaxPoint, second: TaxPoint) -> list[_Separator]:
    """The lines at which the tax bends, at savings from one point's to another's, and the levels between."""
    low, high = sorted((first.savings, second.savings))
    if low == high:
        return [_Separator(1, 0, income) for income in domain.surface.section(low).breakpoints(upward=False)]
    levels = [level for level in domain.levels if low < level < high]
    found = {_Separator(0, 1, level / POUND) for level in levels}
    for below, above in pairwise((low, *levels, high)):
        for kink in domain.surface.kinks(below, above, upward=False):
            if kink.speed in (0.0, 1.0):
                found.add(_Separator(1, int(kink.speed), round(kink.without, 2)))
    return sorted(found)


def _split_at_optimum(domain: TaxDomain, region: Region, taxed: CellTax) -> tuple[Region, Region] | None:
    """A region split where the optimum is, by savings or by income, whichever bends the surface more; None at its border."""
    line = domain.surface.section(taxed.savings)
    low, high = domain.reach(region, taxed.savings)
    along_income = line.at(taxed.income) - line.hull(low, high).at(taxed.income) if low < high else 0.0
    income = round(taxed.income, 2)
    inside = domain.free and low + PENNY_POUNDS < income < high - PENNY_POUNDS
    least = max(domain.savings, region.savings_low)
    below_high = region.savings_high is None or taxed.savings < region.savings_high
    between = domain.earns and least < taxed.savings and below_high
    if between and (taxed.error > 2 * along_income or not inside):
        return _Separator(0, 1, taxed.savings / POUND).sides(region, step=False)
    return _Separator(1, 0, income).sides(region, step=False) if inside else None
