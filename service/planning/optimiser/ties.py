"""One plan of many: of plans that leave nearly as much, the one that is least hurt if the assumptions on what is left are wrong.

What a pension leaves counts after a tax that nobody knows. Where drawing a pound and leaving it come to nearly the same, the
best plan may do either, and a change of the assumption by next to nothing turns it over. So of all plans within a pound a year
of the best, the one is taken that leaves the least in pensions that would bear tax: our choice.
"""

from __future__ import annotations

from typing import NamedTuple

from service.law.units import POUND, Pence
from service.planning.faults import RuleViolation
from service.planning.optimiser.last_day import LastDay
from service.planning.optimiser.lp import Outcome
from service.planning.optimiser.node import DrawOrder, Node
from service.planning.optimiser.partitioning import heavier_side, partition
from service.planning.optimiser.relaxation import Relaxation
from service.planning.optimiser.rounding_heuristic import rounded
from service.planning.optimiser.solution import Solution, TaxedLeft
from service.planning.optimiser.tax_cells import CellTax
from service.planning.optimiser.tax_surface import Region
from service.planning.optimiser.tolerances import EXACT_TAX_POUNDS
from service.planning.optimiser.work import Work
from service.planning.projection.policies import Projection

AS_GOOD_POUNDS_A_PERIOD = 1.0
"""Plans whose wealth at the end differs by no more than this for each period are as good: our choice."""


_PARTS_FOR_THE_MODEL = 0.4, 0.8
"""Of that, what the model may use to leave less, and then to draw more smoothly; the rest is for rounding to the penny."""


_MORE_LEFT_POUNDS = 1.0
"""So much more than the least may the smoothest plan leave: were it nothing, the solver's tolerance would decide."""


_NARROW_POUNDS = 5_000.0
"""A choice narrower than this is none, our choice: to leave a few pounds less would give up as many, and a first withdrawal of
some pence may limit what can be saved afterwards. Then as much is left as the best plan leaves."""


_MOST_NARROWINGS = 3
"""Times that regions are narrowed where the solution that leaves the least, or the smoothest, is taxed less than by the rules."""


class Tie(NamedTuple):
    """How wide the choice is among plans that are as good: what they leave in pensions that would bear tax, at the least and at
    the most, pence. ``given_up`` is what the plan that was taken leaves less, pence."""

    plan: Projection
    given_up: Pence
    least_left: Pence
    most_left: Pence

    @property
    def within(self) -> Pence:
        """By how much the wealth of plans that are as good may differ, pence."""
        return round(AS_GOOD_POUNDS_A_PERIOD * POUND) * len(self.plan.timeline.periods)


def least_hurt(
    best: Projection,
    last_day: LastDay,
    relaxation: Relaxation,
    found_at: tuple[Node, Solution] | None,
    work: Work,
) -> Tie | None:
    """The plan that is taken in place of the best, or the best itself where no other was found; None where the work is over
    before that is known. ``relaxation`` and ``found_at``, the node and the solution, are where the best was found; they serve for
    nothing else afterwards."""
    left = last_day.at_risk(best)
    tolerance = AS_GOOD_POUNDS_A_PERIOD * len(best.timeline.periods)
    wealth = last_day.worth(best) / POUND
    first, second = (wealth - part * tolerance for part in _PARTS_FOR_THE_MODEL)
    node = Node({}, {}) if found_at is None else _like(best, relaxation, *found_at)
    if relaxation.optimise(node) is not Outcome.OPTIMAL:
        return None
    most = relaxation.taxed_left(node, first, least=False)
    least = _least_left(relaxation, node, first)
    if isinstance(least, Outcome) or isinstance(most, Outcome):
        return None
    narrow = most.pounds - least.pounds < _NARROW_POUNDS
    as_much = left / POUND - _MORE_LEFT_POUNDS, left / POUND + _MORE_LEFT_POUNDS
    between = as_much if narrow else (0.0, least.pounds + _MORE_LEFT_POUNDS)
    plan, smooth = None, _smoothest(relaxation, node, second, least, between)
    if isinstance(smooth, Solution):
        plan = _carried_out(best, last_day, relaxation, smooth, tolerance, work)
    if plan is None and narrow:
        plan = best
    if plan is None:
        plan = _carried_out(best, last_day, relaxation, relaxation.solution_of(least), tolerance, work) or best
    given_up = max(0, last_day.worth(best) - last_day.worth(plan))
    return Tie(plan, given_up, last_day.at_risk(plan), max(left, round(most.pounds * POUND)))


def _like(best: Projection, relaxation: Relaxation, node: Node, solution: Solution) -> Node:
    """The part of a node with the plans that are like the best, which comes from a solution there: each period has the solution's
    cell, and each person's allowance is used up in the same period."""
    cells = {t: relaxation.only_cell_of(solution, t) for t, shares in enumerate(relaxation.cells) if len(shares) > 1}
    orders = {}
    for person in range(len(best.timeline.people)):
        left = (year.people[person].tax_free_left for year in best.years)
        used_up = next((t for t, amount in enumerate(left) if amount <= POUND), None)
        orders[person] = DrawOrder(len(best.years) if used_up is None else used_up, used_up)
    return node._replace(active_cells={**node.active_cells, **cells}, draw_orders=orders)


def _least_left(relaxation: Relaxation, node: Node, floor: float) -> TaxedLeft | Outcome:
    """The least that a solution at a node leaves, with regions narrowed until it is taxed by the rules; not so far that there is
    none."""
    least = relaxation.taxed_left(node, floor, least=True)
    for _ in range(_MOST_NARROWINGS):
        if isinstance(least, Outcome):
            break
        before = _narrowed(relaxation, relaxation.solution_of(least))
        if not before:
            break
        nearer = relaxation.taxed_left(node, floor, least=True)
        if isinstance(nearer, Outcome):
            for taxed, region in reversed(before):
                relaxation.narrow(taxed.person, taxed.period, taxed.cell, region)
            break
        least = nearer
    return least


def _smoothest(
    relaxation: Relaxation, node: Node, floor: float, least: TaxedLeft, between: tuple[float, float]
) -> Solution | Outcome:
    """The smoothest solution at a node that leaves between so many pounds, with regions narrowed in the same way; ``least`` is
    the one that leaves the least."""
    smooth = relaxation.smoothest(node, floor, least, between)
    for _ in range(_MOST_NARROWINGS):
        if not isinstance(smooth, Solution) or not _narrowed(relaxation, smooth):
            break
        nearer = relaxation.solve(node)
        if not isinstance(nearer, Solution):
            break
        smooth = nearer
    return smooth


def _narrowed(relaxation: Relaxation, solution: Solution) -> list[tuple[CellTax, Region]]:
    """Narrow the regions in which the hull is below the tax to the side where a solution mostly is; those they had before."""
    before = []
    for taxed in solution.cell_taxes:
        if taxed.error > EXACT_TAX_POUNDS:
            region = relaxation.region(taxed)
            sides = partition(relaxation.domains[taxed.person][taxed.period], region, taxed)
            if sides is not None:
                side = heavier_side(sides, taxed)
                before.append((taxed, relaxation.narrow(taxed.person, taxed.period, taxed.cell, side)))
    return before


def _carried_out(
    best: Projection, last_day: LastDay, relaxation: Relaxation, solution: Solution, tolerance: float, work: Work
) -> Projection | None:
    """A solution as a plan, if that is as good as the best and leaves no more."""
    try:
        plan = rounded(best.timeline, relaxation, solution, work)
    except RuleViolation:
        return None
    as_good = last_day.worth(best) - last_day.worth(plan) <= tolerance * POUND
    return plan if as_good and last_day.at_risk(plan) <= last_day.at_risk(best) + tolerance * POUND else None
