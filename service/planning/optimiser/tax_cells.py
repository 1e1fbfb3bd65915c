"""One person's tax in one period as the relaxation sees it: where on the tax surface they can be, and the points there.

The convex hull of a region's points lies below the tax in the region. A smaller region has a hull that is nearer to it.
Amounts of income and savings are pence, tax is in pounds.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from service.law.income_tax import MarriageAllowance
from service.planning.optimiser.tax_surface import ANYWHERE, Region, Surface, TaxPoint

_UNCLAIMED: tuple[MarriageAllowance, ...] = ("none",)


@dataclass(slots=True)
class TaxDomain:
    """A person's period: the tax surface, and the income below savings and the savings without the plan.

    ``free``: something may be withdrawn. ``earns``: the plan's cash may bring interest. No plan has more income than
    ``most`` or more savings than ``most_savings``. ``refined``: interest is taxed as by the surface; until then at the
    highest rate, which is of no consequence where holding cash would not pay if its interest bore no tax. ``untaxed``:
    interest bears no tax at all, so that a bound holds without the work of refining it.

    ``claimed`` has the surfaces under claims to the marriage allowance, by this person's part, where what one of two people does
    changes the tax of both; ``surface`` is the one without such a claim. ``in_effect`` is where a part may be in effect, if that
    is not everywhere. ``lost`` is the surface of somebody whose ``surface`` has a marriage allowance given to nobody in the
    household, once that is lost.
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
    claimed: Mapping[MarriageAllowance, Surface] = field(default_factory=dict)
    in_effect: Mapping[MarriageAllowance, Region] = field(default_factory=dict)
    lost: Surface | None = None

    @property
    def is_coarse(self) -> bool:
        """Whether interest may be had that is not taxed as by the surface."""
        return self.earns and not self.refined

    @property
    def varies(self) -> bool:
        """Whether the tax depends on the plan."""
        return self.free or self.earns or bool(self.claimed)

    def under(self, claim: MarriageAllowance) -> Surface:
        """The surface under a part in a claim."""
        return self.claimed.get(claim, self.surface)

    def may(self, claim: MarriageAllowance, region: Region) -> bool:
        """Whether a part in a claim may be in effect somewhere in a region."""
        return not region.common(self.in_effect.get(claim, ANYWHERE)).is_empty

    def breakpoints(self, savings: int, low: int, high: int) -> Iterator[int]:
        """The incomes from ``low`` to ``high`` at which the tax may bend or step beside an amount of savings."""
        for surface in (self.surface, *self.claimed.values()):
            yield from surface.breakpoints(savings, low, high)

    @property
    def region(self) -> Region:
        """All that a plan may come to."""
        return Region(
            self.income,
            self.most if self.free else self.income,
            self.savings,
            self.most_savings if self.earns else self.savings,
        )

    def points(self, region: Region, claims: Collection[MarriageAllowance] = _UNCLAIMED) -> list[TaxPoint]:
        """The points of a region, under each of some parts in claims."""
        if not self.is_coarse:
            return [point for claim in claims for point in self._points(region, claim)]
        beside = region._replace(savings_high=region.savings_low)
        found = [point for claim in claims for point in self._points(beside, claim)]
        return [*found, *(self.points_with_interest(region, claims) if self.untaxed else ()), self.endless]

    @property
    def may_lose(self) -> bool:
        """Whether interest may lose a marriage allowance that is given."""
        return self.lost is not None or "none" in self.in_effect

    def points_with_interest(
        self, region: Region, claims: Collection[MarriageAllowance] = _UNCLAIMED
    ) -> list[TaxPoint]:
        """The points that only interest leads to which is not refined, as if that bore no tax: whoever gives a marriage allowance
        may lose it by interest, and pay less. All other tax is no less with more savings."""
        if not self.may_lose or not self.is_coarse or "none" not in claims:
            return []
        lost, kept_to = self.lost, self.surface.open_to
        if lost is None:
            lost, kept_to = self.surface, self.in_effect["none"].total_low - 1
        interest = self.most_savings - self.savings
        beside = region._replace(savings_high=region.savings_low)
        return lost.vertices(beside.common(ANYWHERE._replace(total_low=kept_to + 1 - interest, total_high=kept_to)))

    @property
    def endless(self) -> TaxPoint:
        """What more interest costs where it is not refined."""
        taxed = self.surface.endless_savings
        return taxed._replace(tax=0.0) if self.untaxed else taxed

    def _points(self, region: Region, claim: MarriageAllowance) -> list[TaxPoint]:
        """The points of a region under a part in a claim, as far as that may be in effect."""
        region = region.common(self.in_effect.get(claim, ANYWHERE))
        if region.is_empty:
            return []
        points = self.under(claim).vertices(region)
        return points if claim == "none" else [point._replace(claim=claim) for point in points]


class CellTax(NamedTuple):
    """A person's tax in a cell at an optimum of the relaxation: by how much the surface's tax is above it and what that
    would cost at the plan's end; the cell's weight; the income below savings, the savings, and the tax, each divided by
    the weight; the points of which it is a mean, and their weights in it. Where a plan may choose the claim to the marriage
    allowance, it is that of the points of one ``claim``, and the weight is theirs."""

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
    claim: MarriageAllowance = "none"
