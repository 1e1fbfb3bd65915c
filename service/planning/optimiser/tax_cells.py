"""One person's tax in one period as the relaxation sees it: where on the tax surface they can be, and the points there.

The convex hull of a region's points lies below the tax in the region. A smaller region has a hull that is nearer to it.
Amounts of income and savings are pence, tax is in pounds.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from service.planning.optimiser.tax_surface import Region, Surface, TaxPoint


@dataclass(slots=True)
class TaxDomain:
    """A person's period: the tax surface, and the income below savings and the savings without the plan.

    ``free``: something may be withdrawn. ``earns``: the plan's cash may bring interest. No plan has more income than
    ``most`` or more savings than ``most_savings``. ``refined``: interest is taxed as by the surface; until then at the
    highest rate, which is of no consequence where holding cash would not pay if its interest bore no tax. ``untaxed``:
    interest bears no tax at all, so that a bound holds without the work of refining it.
    """

    surface: Surface
    income: int
    savings: int
    free: bool
    earns: bool
    most: int
    most_savings: int
    refined: bool = False
    untaxed: bool = False

    @property
    def varies(self) -> bool:
        """Whether the tax depends on the plan."""
        return self.free or self.earns

    @property
    def region(self) -> Region:
        """All that a plan may come to."""
        return Region(
            self.income,
            self.most if self.free else self.income,
            self.savings,
            self.most_savings if self.earns else self.savings,
        )

    def points(self, region: Region) -> list[TaxPoint]:
        """The points of a region."""
        if not self.earns or self.refined:
            return self.surface.vertices(region)
        own = region._replace(savings_high=region.savings_low)
        endless = self.surface.endless_savings
        return [*self.surface.vertices(own), endless._replace(tax=0.0) if self.untaxed else endless]


class CellTax(NamedTuple):
    """A person's tax in a cell at an optimum of the relaxation: by how much the surface's tax is above it and what that
    would cost at the plan's end; the cell's weight; the income below savings, the savings, and the tax, each divided by
    the weight; the points of which it is a mean, and their weights in it."""

    person: int
    period: int
    cell: int
    error: float
    error_cost: float
    share: float
    income: int
    savings: int
    tax: float
    points: list[TaxPoint]
    weights: list[float]
