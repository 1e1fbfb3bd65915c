"""Branch and bound: the plan that leaves the household the most after tax, and a bound on how much better any can be.

README.md in this folder has the model, the relaxation, the branching and the bound. Money is in pounds here and
approximate; nothing of it reaches an answer but the bound.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from itertools import count
from typing import NamedTuple

from service.law.units import POUND
from service.planning.faults import RuleViolation
from service.planning.optimiser.lp import INF
from service.planning.optimiser.partitioning import partition
from service.planning.optimiser.relaxation import (
    ActiveCells,
    DrawOrder,
    Node,
    Relaxation,
    Solution,
    gives_and_receives,
)
from service.planning.optimiser.rounding_heuristic import rounded
from service.planning.optimiser.tax_cells import CellTax
from service.planning.optimiser.tolerances import ABOVE_TAX_POUNDS, EXACT_TAX_POUNDS
from service.planning.projection.policies import Projection, projected
from service.planning.projection.settlement import Choice, Draw
from service.planning.projection.timeline import Timeline

_CLOSED_GAP_POUNDS_A_PERIOD = 0.25
"""The gap at which the search stops: what the whole pounds and pennies of the tax may come to."""

_MOST_ITERATIONS = 13_000
"""Simplex iterations after which the search stops: a count, so that one request has one answer."""

_FEW_ITERATIONS = 1_500
"""The same for a scenario."""

_MOST_ROUNDS = 12
"""Rounds of partitioning at a node before it is branched on."""

_LEAST_GAIN_OF_GAP = 0.1
"""A round of partitioning that brings the bound down by less than this share of the gap is the last of the search."""

_MOST_DIVES = 3
"""Times that all fractional periods are fixed at once to look for an early incumbent."""

_NEGLIGIBLE_SHARE_OF_COST = 0.01
"""Errors that cost less than this share of all errors are not partitioned for."""

_ROUNDING_POUNDS = 0.05
"""By how much, for each person and period, whole pennies and pounds may beat the relaxation; added to the bound."""


class BestPlan(NamedTuple):
    """The incumbent at the end and the bound on the wealth of any plan, pence. ``solves`` counts linear programs.

    ``agreed``: no optimum was taxed more than by the rules; otherwise the bound is only near the truth.
    """

    projection: Projection
    bound: int
    solves: int
    agreed: bool


def least_tax(timeline: Timeline, *, thorough: bool = True) -> BestPlan:
    """The plan with the most wealth after tax at the end. RuleViolation where spending cannot be met.

    Without ``thorough`` the search is short: the plan may be some pounds a year from the best.
    """
    iterations = _MOST_ITERATIONS if thorough else _FEW_ITERATIONS
    search = _Search(timeline, iterations)
    bound, best, solves = search.run(), search.incumbent, search.relaxation.lp.solves
    if best is None:
        best = projected(timeline, lambda _, people: Choice(tuple(Draw() for _ in people)))
        return BestPlan(best, best.wealth, solves, False)
    if gives_and_receives(timeline):
        # The bound leaves out what a partner loses, so it holds; this incumbent counts it in.
        other = _Search(timeline, iterations, with_partner_loss=True)
        other.run()
        solves += other.relaxation.lp.solves
        best = max((plan for plan in (best, other.incumbent) if plan is not None), key=lambda plan: plan.wealth)
    slack = _ROUNDING_POUNDS * len(timeline.periods) * len(timeline.people)
    agreed = not search.overtaxed and not search.relaxation.unsolved
    return BestPlan(best, round((bound + slack) * POUND), solves, agreed)


class _Subproblem(NamedTuple):
    """A node, the relaxation's optimum there, a bound on its plans, and how many cells the relaxation had then."""

    node: Node
    solution: Solution
    bound: float
    cells: int


class _Search:
    """One search: the relaxation, the incumbent, and what has been refined."""

    def __init__(self, timeline: Timeline, most_iterations: int, *, with_partner_loss: bool = False) -> None:
        """No incumbent yet. The search stops after ``most_iterations``; ``with_partner_loss`` as in ``Relaxation``."""
        self.timeline, self.relaxation = timeline, Relaxation(timeline, with_partner_loss=with_partner_loss)
        self.most_iterations = most_iterations
        self.incumbent: Projection | None = None
        self.overtaxed = False
        self._incumbent_value = -INF
        self._tolerance = _CLOSED_GAP_POUNDS_A_PERIOD * len(timeline.periods)
        self._partitioning_helps = True

    def run(self) -> float:
        """Search, and the bound on all plans, pounds; less than any where the relaxation has no solution at all."""
        node = self._relaxed(Node({}, {}), INF)
        if node is not None:
            self._dive(node)
        leaves = -INF  # the best bound of nodes whose optimum is a plan
        waiting: list[tuple[float, int, _Subproblem]] = []
        turn = count()
        while node is not None:
            bound = max(leaves, node.bound, -waiting[0][0] if waiting else -INF)
            if self._enough(bound):
                return bound
            branches = self._branch(node)
            if not branches:
                leaves = max(leaves, node.bound)
            found = (self._relaxed(branch, node.bound) for branch in branches)
            children = sorted((child for child in found if child is not None), key=lambda child: child.bound)
            # The better child is looked at next, so that the search soon comes to plans.
            node = self._up_to_date(children.pop()) if children and not self._enough(children[-1].bound) else None
            for child in children:
                heapq.heappush(waiting, (-child.bound, next(turn), child))
            while node is None and waiting:
                node = self._up_to_date(heapq.heappop(waiting)[2])
        return max(leaves, self._incumbent_value)

    def _relaxed(self, node: Node, limit: float) -> _Subproblem | None:
        """A node with the relaxation's optimum, once periods are partitioned for as long as that brings the bound down."""
        solution = self._optimum(node)
        for _ in range(_MOST_ROUNDS):
            if not self._partitioning_helps or solution is None or self._enough(solution.wealth):
                break
            if not self._partition(solution):
                break
            gap, before = solution.wealth - self._incumbent_value, solution.wealth
            solution = self._optimum(node)
            self._partitioning_helps = solution is None or before - solution.wealth > _LEAST_GAIN_OF_GAP * gap
        if solution is None:
            return None
        return _Subproblem(node, solution, min(limit, solution.wealth), self.relaxation.cells_made)

    def _up_to_date(self, node: _Subproblem) -> _Subproblem | None:
        """A node that has waited, solved anew if the relaxation has become tighter meanwhile."""
        if node.cells == self.relaxation.cells_made or self._enough(node.bound):
            return node
        return self._relaxed(node.node, node.bound)

    def _enough(self, bound: float) -> bool:
        """Whether to stop at a bound, or at any."""
        return bound <= self._incumbent_value + self._tolerance or self.relaxation.lp.iterations >= self.most_iterations

    def _optimum(self, node: Node) -> Solution | None:
        """The relaxation's optimum, taxed no more than by the rules, with points for the tax on its interest."""
        while True:
            solution = self.relaxation.solve(node)
            if solution is None:
                return None
            if self._refine_interest():
                continue
            self.overtaxed |= any(taxed.error < -ABOVE_TAX_POUNDS for taxed in solution.cell_taxes)
            self._try_rounding(solution)
            return solution

    def _refine_interest(self) -> bool:
        """Refine the interest of everybody for whom holding cash may pay; whether there was anything to refine."""
        priced = self.relaxation.priced_cash()
        for person, t in priced:
            self.relaxation.refine_interest(person, t)
        return bool(priced)

    def _partition(self, solution: Solution) -> bool:
        """Split cells where the hull is below the tax, the dearest first and one in each period; whether any was split."""
        cell_taxes = _by_cost(solution)
        least = _NEGLIGIBLE_SHARE_OF_COST * sum(taxed.error_cost for taxed in cell_taxes)
        done: set[int] = set()
        for taxed in cell_taxes:
            if taxed.period not in done and taxed.error_cost > least and self._split_cell(taxed):
                done.add(taxed.period)
        return bool(done)

    def _split_cell(self, taxed: CellTax) -> bool:
        """Split one cell by one person's region; whether that could be done."""
        regions = partition(self.relaxation.domains[taxed.person][taxed.period], self.relaxation.region(taxed), taxed)
        if regions is not None:
            self.relaxation.split_cell(taxed, regions)
        return regions is not None

    def _branch(self, subproblem: _Subproblem) -> list[Node]:
        """Two children neither of which has the node's optimum; none where that is a plan."""
        node, solution = subproblem.node, subproblem.solution
        for person, periods in solution.order_violations.items():
            order, t = node.draw_orders.get(person, DrawOrder()), periods[len(periods) // 2]
            later, before = order._replace(not_before=t + 1), order._replace(used_by=t)
            return [node._replace(draw_orders={**node.draw_orders, person: one}) for one in (later, before)]
        if solution.fractional:
            t = max(solution.fractional, key=lambda period: solution.fractional[period])
            heaviest = frozenset({_heaviest(solution.shares[t])})
            others = self.relaxation.allowed(node, t) - heaviest
            return [self._with_active(node, {t: cells}) for cells in (heaviest, others)]
        taxed = next((taxed for taxed in _by_cost(solution) if self._split_cell(taxed)), None)
        if taxed is None:
            return []
        t, new = taxed.period, len(self.relaxation.cells[taxed.period]) - 1
        cells = self.relaxation.allowed(node, t)
        return [self._with_active(node, {t: cells - {one}}) for one in (taxed.cell, new)]

    def _with_active(self, node: Node, cells: Mapping[int, frozenset[int]]) -> Node:
        """The child in which some periods have only certain cells active."""
        active = {t: ActiveCells(some, len(self.relaxation.cells[t])) for t, some in cells.items()}
        return node._replace(active_cells={**node.active_cells, **active})

    def _dive(self, subproblem: _Subproblem | None) -> None:
        """The diving heuristic, for an early incumbent: fix all fractional periods to their heaviest cells and solve."""
        for _ in range(_MOST_DIVES):
            if subproblem is None or not subproblem.solution.fractional:
                break
            shares = subproblem.solution.shares
            heaviest = {t: frozenset({_heaviest(shares[t])}) for t in subproblem.solution.fractional}
            subproblem = self._relaxed(self._with_active(subproblem.node, heaviest), subproblem.bound)

    def _try_rounding(self, solution: Solution) -> None:
        """Round an optimum to a plan and keep the better incumbent; what its errors cost tells beforehand where it cannot be."""
        error_cost = sum(taxed.error_cost for taxed in solution.cell_taxes if taxed.period not in solution.fractional)
        if solution.wealth - error_cost - sum(solution.fractional.values()) > self._incumbent_value:
            try:
                plan = rounded(self.timeline, self.relaxation, solution)
            except RuleViolation:
                return  # The tax that the hull is short of cannot be paid; a tighter relaxation leaves money for it.
            if self.incumbent is None or plan.wealth > self.incumbent.wealth:
                self.incumbent, self._incumbent_value = plan, plan.wealth / POUND


def _heaviest(shares: Sequence[float]) -> int:
    """The cell with the largest share."""
    return max(range(len(shares)), key=lambda cell: shares[cell])


def _by_cost(solution: Solution) -> list[CellTax]:
    """The cells' taxes in which the hull is below the tax, the dearest first."""
    short = [taxed for taxed in solution.cell_taxes if taxed.error > EXACT_TAX_POUNDS]
    return sorted(short, key=lambda taxed: -taxed.error_cost)
