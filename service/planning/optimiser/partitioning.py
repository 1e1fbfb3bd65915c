"""Where to split a cell in two, so that the hull of a person's tax comes nearer to the tax (spatial branching)."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

from service.planning.optimiser.tax_cells import CellTax, TaxDomain
from service.planning.optimiser.tax_surface import Region, Surface, TaxPoint
from service.planning.optimiser.tolerances import TAX_STEP_POUNDS

_INSIDE_SHARE = 1e-6
"""A crossing nearer than this share to the end of a segment is its end."""


class _Separator(NamedTuple):
    """A line across the surface: where the income (``of_income``), the savings (``of_savings``) or both come to an
    amount, pence."""

    of_income: int
    of_savings: int
    amount: int

    def measured(self, point: TaxPoint) -> int:
        """A point's amount of that which the line bounds."""
        return self.of_income * point.income + self.of_savings * point.savings

    def sides(self, region: Region, *, step: bool) -> tuple[Region, Region]:
        """A region split at the line; a step belongs to the lower side, and the other begins a penny on."""
        more = self.amount + step
        if not self.of_income:
            return region._replace(savings_high=self.amount), region._replace(savings_low=more)
        if self.of_savings:
            return region._replace(total_high=self.amount), region._replace(total_low=more)
        return region._replace(income_high=self.amount), region._replace(income_low=more)


class _Corner(NamedTuple):
    """A line, by how much the tax at it is above the hull, pounds, and whether the tax steps there."""

    separator: _Separator
    error: float
    step: bool


def partition(domain: TaxDomain, region: Region, taxed: CellTax) -> tuple[Region, Region] | None:
    """The two regions: split at the corner of the tax that is highest above the hull, or where the optimum is."""
    corner = max(_corners(domain, region, taxed), key=lambda one: one.error, default=None)
    if corner is not None and corner.error >= taxed.error / 2:
        sides = corner.separator.sides(region, step=corner.step)
        if region not in sides:
            return sides
    return _split_at_optimum(domain, region, taxed)


def heavier_side(sides: tuple[Region, Region], taxed: CellTax) -> Region:
    """The side with the points that have most of the weight in a mean."""

    def weight(side: Region) -> float:
        inside = (side.has(point.income, point.savings) for point in taxed.points)
        return sum(weight for weight, has in zip(taxed.weights, inside, strict=True) if has)

    return max(sides, key=weight)


def _corners(domain: TaxDomain, region: Region, taxed: CellTax) -> Iterator[_Corner]:
    """Where lines cross the segments between the points of which the tax is a mean. Where interest is not refined, a line
    across the total is the income there: points have no interest, so a bound on the total would leave out plans with some."""
    surface = domain.under(taxed.claim)
    points = [point for point in taxed.points if not point.endless]
    for first, second in combinations(points, 2):
        for separator, share in _separators(surface, first, second):
            income = round(first.income + share * (second.income - first.income))
            savings = round(first.savings + share * (second.savings - first.savings))
            at, after = surface.tax(income, savings), _just_after(surface, separator, income, savings)
            hull = first.tax + share * (second.tax - first.tax)
            if domain.is_coarse and separator.of_income and separator.of_savings:
                separator = _Separator(1, 0, separator.amount - region.savings_low)
            yield _Corner(separator, max(at, after) - hull, after - at > TAX_STEP_POUNDS)


def _just_after(surface: Surface, separator: _Separator, income: int, savings: int) -> float:
    return surface.tax(income + separator.of_income, savings + (not separator.of_income))


def _separators(surface: Surface, first: TaxPoint, second: TaxPoint) -> Iterator[tuple[_Separator, float]]:
    """The lines between two points at which the tax may bend, and where they cross the segment."""
    for line in surface.lines:
        if line.of_income + line.of_savings > 2:
            continue
        separator = _Separator(line.of_income, line.of_savings, line.amount)
        start, end = separator.measured(first), separator.measured(second)
        if start == end:
            continue
        share = (line.amount - start) / (end - start)
        if _INSIDE_SHARE < share < 1 - _INSIDE_SHARE:
            total = first.income + first.savings
            total += round(share * (second.income + second.savings - total))
            if line.total_low <= total <= line.total_high:
                yield separator, share


def _split_at_optimum(domain: TaxDomain, region: Region, taxed: CellTax) -> tuple[Region, Region] | None:
    """A region split where the optimum is, by savings or by income, whichever its points differ in more; None at its
    border."""
    inside = domain.free and region.income_low + 1 < taxed.income < region.income_high - 1
    between = domain.earns and region.savings_low < taxed.savings < region.savings_high
    of_income = _spread([point.income for point in taxed.points if not point.endless])
    of_savings = _spread([point.savings for point in taxed.points if not point.endless])
    if between and (of_savings > of_income or not inside):
        return _Separator(0, 1, taxed.savings).sides(region, step=False)
    return _Separator(1, 0, taxed.income).sides(region, step=False) if inside else None


def _spread(amounts: list[int]) -> int:
    """How far amounts lie apart; nothing where there are none, as where all points are endless."""
    return max(amounts, default=0) - min(amounts, default=0)
