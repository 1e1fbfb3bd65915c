"""One person's tax in one period as the relaxation sees it: a domain of incomes and savings, its regions, and points.

The convex hull of a region's points lies below the tax in the region. A smaller region has a hull that is nearer to it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from service.law.units import POUND
from service.planning.optimiser.lp import INF
from service.planning.optimiser.tax_surface import Kink, Surface, crossings
from service.planning.optimiser.tolerances import PENNY_POUNDS

_FAR_POUNDS = 1_000_000
"""How far along an unbounded direction a point is taken where two points are wanted to look between."""


class Region(NamedTuple):
    """Bounds on income below savings and on that and savings together, pounds, and on savings, pence."""

    low: float = 0.0
    high: float = INF
    total_low: float = 0.0
    total_high: float = INF
    savings_low: int = 0
    savings_high: int | None = None

    def has(self, savings: int) -> bool:
        """Whether an amount of savings is inside."""
        return self.savings_low <= savings and (self.savings_high is None or savings <= self.savings_high)


class TaxPoint(NamedTuple):
    """A point of a person's tax: income below savings, pounds, savings, pence, and the tax. ``endless``: not a point but a
    direction without end, what more savings cost above all bands."""

    income: float
    savings: int
    tax: float
    endless: bool = False


@dataclass(slots=True)
class TaxDomain:
    """A person's period: the tax surface, and income and savings without the plan, pence.

    ``free``: something may be withdrawn. ``earns``: the plan's cash may bring interest. No plan has as much income as
    ``most`` (pounds). ``levels`` are the amounts of savings, pence, at which the relaxation has points.
    """

    surface: Surface
    income: int
    savings: int
    free: bool
    earns: bool
    most: float
    levels: list[int]

    @property
    def varies(self) -> bool:
        """Whether the tax depends on the plan."""
        return self.free or self.earns

    def reach(self, region: Region, savings: int) -> tuple[float, float]:
        """The least and the most income in a region at an amount of savings, pence."""
        start, beside = self.income / POUND, savings / POUND
        low = max(start, region.low, region.total_low - beside)
        return low, min(region.high, region.total_high - beside, self.most) if self.free else start

    def points(self, region: Region) -> Iterator[TaxPoint]:
        """The points inside a region: the convex hull's at each level of savings, and where kinks cross between."""
        levels = [savings for savings in self.levels if region.has(savings)]
        for savings in levels:
            low, high = self.reach(region, savings)
            if low <= high:
                for income, tax in self.surface.section(savings).hull(low, high).points:
                    yield TaxPoint(income, savings, tax)
        if self.earns and region.savings_high is None and region.total_high == INF:
            # Interest has no end here: above all bands the tax on it goes on in a straight line. A point far out in its
            # place would be so large beside the others that the solver could lose its way.
            yield TaxPoint(0.0, POUND, self.surface.top_savings_rate, endless=True)
            low = max(self.income / POUND, region.low)
            savings = round((region.total_low - low) * POUND)
            if savings > levels[-1]:
                yield TaxPoint(low, savings, self.surface.tax(round(low * POUND), savings))
        low, high = self.reach(region._replace(total_low=0.0, total_high=INF), self.savings)
        edges = [Kink(edge, 0.0) for edge in sorted({low, high})]
        edges += [Kink(total, 1.0) for total in (region.total_low, region.total_high) if 0 < total < INF]
        for below, above in pairwise(levels):
            for savings, pence in self._between((*edges, *self.surface.kinks(below, above, upward=True)), below, above):
                least, most = self.reach(region, savings)
                if least - PENNY_POUNDS / 2 < pence / POUND < most + PENNY_POUNDS / 2:
                    yield TaxPoint(pence / POUND, savings, self.surface.tax(pence, savings))

    def _between(self, lines: Sequence[Kink], below: int, above: int) -> Iterator[tuple[int, int]]:
        """Savings and income, pence, where kinks cross between two levels, and where along them tax begins."""
        for beside, line in crossings(lines, below / POUND, above / POUND):
            savings = int(beside * POUND + PENNY_POUNDS)
            yield savings, line.pence(savings)
        for line in lines:
            last_untaxed = self.surface.last_untaxed(line, below, above)
            if last_untaxed is not None:
                yield last_untaxed, line.pence(last_untaxed)

    def beyond(self, point: TaxPoint, direction: TaxPoint) -> TaxPoint:
        """A point with a great deal more savings than another, in an endless direction."""
        return TaxPoint(
            point.income, point.savings + _FAR_POUNDS * direction.savings, point.tax + _FAR_POUNDS * direction.tax
        )

    def breakpoints(self, savings: int) -> list[float]:
        """The incomes at which the tax bends or steps up, about an amount of savings (pence)."""
        found = self.surface.section(self.savings).breakpoints(upward=True)
        for below, above in pairwise(self.levels):
            if below <= savings <= above and savings != self.savings:
                lines = self.surface.kinks(below, above, upward=True)
                found += [line.without - line.speed * savings / POUND for line in lines]
        return found


class CellTax(NamedTuple):
    """A person's tax in a cell at an optimum of the relaxation: by how much the rules' tax is above it and what that would
    cost at the plan's end; the cell's weight; the income below savings, pounds, the savings, pence, and the tax, each
    divided by the weight; the points of which it is a mean."""

    person: int
    period: int
    cell: int
    error: float
    error_cost: float
    share: float
    income: float
    savings: int
    tax: float
    points: list[TaxPoint]
