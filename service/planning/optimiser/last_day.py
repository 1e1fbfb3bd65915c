"""What a plan is searched for by: what its last day is worth, as the rules count it and as the linear program does.

``AFTER_TAX`` is what the household has left after tax. What beneficiaries would receive is ``taxed_estate`` here, and the rules
of it in ``schedule/to_beneficiaries.py``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from service.law.units import POUND, Pence
from service.planning.optimiser.lp import Entries, LinearProgram
from service.planning.optimiser.tolerances import LEFT_IN_PENSION_POUNDS_PER_POUND, UNIT_POUNDS
from service.planning.projection.policies import Projection
from service.planning.projection.remaining_pension import remaining_tax
from service.planning.projection.settlement import taxed_if_drawn
from service.planning.projection.timeline import Timeline


class Box(NamedTuple):
    """A branching constraint on the last day: between which pounds the estate that is charged lies, and the pension money that
    would be taxed as beneficiaries' income; and whether debts are left unpaid, and whether gifts to charity earn the lower
    rate of inheritance tax: None for either."""

    estate_low: float
    estate_high: float
    taxed_low: float
    taxed_high: float
    unpaid: bool | None = None
    lower_rate: bool | None = None


class Misjudged(NamedTuple):
    """By how many pounds an optimum takes the last day to be worth more than it is, and the two boxes that would tell; none where
    there is nothing to tell."""

    pounds: float = 0.0
    boxes: tuple[Box, ...] = ()


class PensionRows(NamedTuple):
    """Rows of a person's pensions in the program: by pension, uncrystallised and drawdown funds, all of which are drawn or left;
    and the tax-free allowance, of which ``tax_free_left`` is left besides a ``lump_sum`` taken by itself, and ``most_tax_free``
    can come to be; ``share`` of uncrystallised funds may be tax free. Amounts are in the program's unit."""

    funds: tuple[int, ...]
    income_funds: tuple[int, ...]
    allowance: int
    share: float
    tax_free_left: float
    most_tax_free: float
    lump_sum: float


class LastDayModel(Protocol):
    """The last day in one linear program. ``at_risk``: the columns of what depends on a tax that is not known."""

    at_risk: list[int]

    def add_money(self, entries: Entries) -> int:
        """A column of ISAs or cash on the last day, with its entries in the rows of the plan; its number."""

    def add_pension(self, person: int, rows: PensionRows) -> None:
        """The columns of what is left in a person's pensions."""

    def restrict(self, box: Box | None) -> None:
        """Admit last days inside a box alone; None: all there can be."""

    def misjudged(self, values: Sequence[float]) -> Misjudged:
        """What the last day is worth less at an optimum with these values."""


class LastDay(Protocol):
    """What a search looks for the most of. ``besides``: what it may come to beyond all money of the plan, pence."""

    @property
    def besides(self) -> Pence:
        """What it may come to beyond all money of the plan."""

    def worth(self, plan: Projection) -> Pence:
        """What a plan's last day is worth by the rules."""

    def at_risk(self, plan: Projection) -> Pence:
        """What a plan leaves that depends on a tax which is not known: of plans as good, the one with the least is taken."""

    def model(self, timeline: Timeline, lp: LinearProgram) -> LastDayModel:
        """The same in a linear program."""


class AfterTax:
    """What the household has after tax: all ISAs and cash, and pensions less the tax assumed on what is left."""

    besides: Pence = 0

    def worth(self, plan: Projection) -> Pence:
        """Wealth after tax."""
        return plan.wealth

    def at_risk(self, plan: Projection) -> Pence:
        """What is left in pensions and would bear tax."""
        return taxed_left(plan)

    def model(self, timeline: Timeline, lp: LinearProgram) -> LastDayModel:
        """Its columns."""
        return _AfterTaxModel(timeline, lp)


AFTER_TAX = AfterTax()


def taxed_left(plan: Projection) -> Pence:
    """What a plan leaves in pensions that would bear tax, pence."""
    rules = plan.timeline.periods[-1].rules.lump_sums
    return sum(taxed_if_drawn(held.pension, rules) for held in plan.years[-1].holdings)


class _AfterTaxModel:
    """The tax on what is left as stretches of a convex line: rates rise, so an optimum fills the cheaper ones first."""

    def __init__(self, timeline: Timeline, lp: LinearProgram) -> None:
        self._timeline, self._lp = timeline, lp
        self.at_risk: list[int] = []

    def add_money(self, entries: Entries) -> int:
        return self._lp.add_column(entries, objective=1.0)

    def add_pension(self, person: int, rows: PensionRows) -> None:
        lp, assumed = self._lp, self._timeline.household.assumptions
        quarter = lp.add_row(float("-inf"), 0.0)
        taxed = lp.add_row(0.0, 0.0)
        for funds, income_funds in zip(rows.funds, rows.income_funds, strict=True):
            lp.add_column([(funds, 1.0), (quarter, -rows.share), (taxed, 1.0)])
            lp.add_column([(income_funds, 1.0), (taxed, 1.0)])
        lp.add_column([(quarter, 1.0), (rows.allowance, 1.0), (taxed, -1.0)], objective=1.0)
        years = assumed.remaining_pension_drawn_over
        for width, rate in remaining_tax(assumed, self._timeline.people[person][-1]).stretches():
            worth = 1 - rate + LEFT_IN_PENSION_POUNDS_PER_POUND
            high = years * width / POUND / UNIT_POUNDS
            self.at_risk.append(lp.add_column([(taxed, -1.0)], objective=worth, high=high))

    def restrict(self, box: Box | None) -> None:
        """There is nothing to branch on."""

    def misjudged(self, values: Sequence[float]) -> Misjudged:
        return Misjudged()
