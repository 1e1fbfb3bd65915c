"""Branch and bound: the plan that leaves the household the most after tax, and a bound on how much better any can be.

README.md in this folder has the model, the relaxation, the branching and the bound. Money is in pounds here and
approximate; nothing of it reaches an answer but the bound.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from itertools import count
from math import floor
from typing import Literal, NamedTuple

from service.law.units import POUND
from service.planning.faults import RuleViolation
from service.planning.optimiser.data import dropped_of_lump_sums, most_wealth
from service.planning.optimiser.last_day import AFTER_TAX, LastDay
from service.planning.optimiser.lp import INF, Outcome
from service.planning.optimiser.node import ActiveCells, CellCount, DrawOrder, Node
from service.planning.optimiser.partitioning import heavier_side, partition
from service.planning.optimiser.relaxation import Relaxation, Surfaces
from service.planning.optimiser.rounding_heuristic import rounded
from service.planning.optimiser.solution import Solution, heaviest
from service.planning.optimiser.tax_cells import CellTax
from service.planning.optimiser.tax_surface import Region
from service.planning.optimiser.ties import Tie, least_hurt
from service.planning.optimiser.tolerances import (
    ABOVE_TAX_POUNDS,
    CHECKED_SHARE,
    EXACT_TAX_POUNDS,
    WHOLE_SHARE_SHORTFALL,
)
from service.planning.optimiser.work import (
    LIMITS,
    PERSON_YEAR_MODELLED,
    PERSON_YEAR_PROJECTED,
    Work,
    year_made_up,
)
from service.planning.projection.policies import (
    COMPARED_PLANS,
    PLAIN_PLANS,
    PlainPlan,
    PlainPlans,
    Projection,
    projected,
)
from service.planning.projection.settlement import Choice, Draw
from service.planning.projection.small_pots import OpenSmallPot, Taken
from service.planning.projection.timeline import Timeline

_CLOSED_GAP_POUNDS_A_PERIOD = 0.2
"""The gap at which the search stops: what the whole pounds and pennies of the tax may come to."""

_MOST_ROUNDS = 12
"""Rounds of partitioning at a node before it is branched on."""

_LEAST_GAIN_OF_GAP = 0.1
"""A round of partitioning that brings the bound down by less than this share of the gap is the last of the search."""

_MOST_DIVES = 3
"""Times that all fractional periods are fixed at once to look for an early incumbent."""

_MOST_REGION_DIVES = 8
"""Times that regions are narrowed at the root for an early incumbent."""

_MOST_ORDER_DIVES = 12
"""Branches on the order of draws that are followed for an early incumbent: about as many as halve sixty years for two."""

_ACCEPTED_LOSS_OF_GAP = 0.2
"""A dive takes the first child if it loses no more than this share of the gap, without a look at the other."""

_PART_FOR_DIVING = 0.05
"""Narrowing ends when less than this part of the work is left."""

_NEGLIGIBLE_SHARE_OF_COST = 0.01
"""Errors that cost less than this share of all errors are not partitioned for."""

_ROUNDING_POUNDS = 0.05
"""By how much, for each person and period, whole pennies and pounds may beat the relaxation; added to the bound."""


_EXPLAINED_POUNDS = 1.0
"""A plan that is better than the bound by more than this for each person and period would disprove it."""

_KEPT_FOR_SOLVING = 0.2
"""Interest is refined as long as that leaves this part of the work for solving."""

_LEAST_FOR_REFINING = 0.4
"""With less than this part of the work left once the relaxation is there, no interest is refined, so that the first optimum is a
bound."""

_LEAST_WORK_FOR_A_PERSON_YEAR = 150
"""Besides what the relaxation itself takes: with less to come there is no search."""

_LITTLE_FOR_CLAIMS_OF_A_PERSON_YEAR = 3_000
"""With less work the program in which claims to the marriage allowance are free comes first."""

_PART_FOR_TIES = 1 / 16
"""Of the work, what is kept for the choice among plans that are as good."""

_CLAIMS_TO_FREE_CLAIMS = 2.0
"""So many times what the root took with free claims is what it needs with claims."""

_NO_BETTER_PLAN = (Outcome.INFEASIBLE, Outcome.BELOW_CUTOFF)
"""Outcomes that prove a node to have no plan better than the incumbent."""

StoppedBy = Literal["gap", "work_limit", "search_complete"]
"""What ended a search: the gap was closed; the limit of work; or, with a gap, there was nothing left to branch on."""


class BestPlan(NamedTuple):
    """The incumbent at the end and a bound on the wealth of any plan, pence. ``solves`` counts linear programs.

    ``tie`` is the plan to be taken, of those that are as good; None where the work was over before.

    ``agreed``: the relaxation was nowhere found above the tax or below the plan, as is proven. Were it, the bound would
    be what the household has in all. ``plain_plans_tried``: no plain plan is better, or is to be tried besides.
    """

    projection: Projection
    bound: int
    solves: int
    agreed: bool
    plain_plans_tried: bool
    stopped_by: StoppedBy
    tie: Tie | None


class SpendingMet(NamedTuple):
    """Whether a household's spending can be met: a ``plan`` that meets it, if one was found; else whether it is ``impossible``,
    as far as pennies. Neither, where the work was over or the solver lost its way."""

    plan: Projection | None
    impossible: bool


def meets_spending(timeline: Timeline, work: Work, surfaces: Surfaces) -> SpendingMet:
    """Any plan that meets the spending, or the proof that there is none. ``surfaces`` as in ``Relaxation``."""
    if work.left < _least_work(timeline):
        return SpendingMet(None, False)
    search = _Search(PlainPlans(timeline), work, None, surfaces=surfaces, any_plan=True)
    bound = search.run()
    impossible = search.incumbent is None and bound == -INF and not search.is_limited and not search.overtaxed
    return SpendingMet(search.incumbent, impossible)


def most_levels(
    timeline: Timeline, per_level: Sequence[float], most_lower: int, work: Work, surfaces: Surfaces
) -> float:
    """A bound on how many levels more a household can spend, of so many pounds in each period, from ``most_lower`` levels less
    on; INF where the work was over before it was found. ``surfaces`` as in ``Relaxation``."""
    if work.left < _least_work(timeline):
        return INF
    search = _Search(PlainPlans(timeline), work, None, surfaces=surfaces)
    relaxation, root = search.relaxation, Node({}, {})
    relaxation.maximise_level(per_level, most_lower)
    while True:
        found = relaxation.solve(root)
        if not isinstance(found, Solution):
            return INF
        priced = relaxation.priced_cash()
        if not priced:
            return found.wealth
        search.refine(priced)


class SmallPotsToChoose(NamedTuple):
    """Pensions whose tax year as a small pot a search is to choose: in the ``timeline`` they are drawn as any other. ``pots`` are
    those pensions, ``choices`` the positions of the periods in which each may be taken, with None where it need not be, and
    ``taken_in`` gives the timeline once all is chosen."""

    timeline: Timeline
    pots: tuple[OpenSmallPot, ...]
    choices: tuple[frozenset[int | None], ...]
    taken_in: Callable[[Taken], Timeline]


def most_after_tax(
    timeline: Timeline,
    work: Work | None = None,
    plain: PlainPlans | None = None,
    known: Projection | None = None,
    last_day: LastDay = AFTER_TAX,
    small_pots: SmallPotsToChoose | None = None,
    surfaces: Surfaces | None = None,
) -> BestPlan:
    """The plan with the most wealth after tax at the end, or whose ``last_day`` is worth the most, that ``work`` (by default a
    standard search) suffices to find. RuleViolation where spending cannot be met. ``plain`` are the timeline's plain plans, if
    others need them as well; ``known`` is a plan that the search may begin from; ``surfaces`` as in ``Relaxation``. With
    ``small_pots`` to be chosen, ``timeline`` and ``plain`` are those of one of the choices.

    It is never worse than the first optimum, rounded, and but for what rounding takes never worse than the plain plans; with a
    ``known`` plan and no work left for a search, it is never worse than that and the plain plans that an answer compares with.
    """
    work, plain = work or Work(LIMITS["standard"]), plain or PlainPlans(timeline)
    person_years = len(timeline.periods) * len(timeline.people)
    if work.left < _least_work(timeline):
        # Plain plans take long where much has to be made up for spending. So where a plan is known, the only ones are those that
        # the answer compares with in any case, which must not leave more.
        untried = plain_plans(plain, work, PLAIN_PLANS if known is None else tuple(COMPARED_PLANS))
        best = max((*([] if known is None else [known]), *untried), key=last_day.worth, default=None)
        best = best or left_alone(timeline)
        worth = last_day.worth(best)
        most = max(worth, most_wealth(small_pots.timeline if small_pots else timeline) + last_day.besides)
        return BestPlan(best, most, 0, True, True, "gap" if most == worth else "work_limit", None)
    kept = _PART_FOR_TIES * work.left
    work.limit -= kept
    search, bound = _searched(plain, work, known, last_day, small_pots, {} if surfaces is None else surfaces)
    best, is_limited = search.incumbent or left_alone(timeline), search.is_limited
    work.limit += kept
    # Where the choice of small pots is not that of a solution, what is like it is not known.
    unlike = small_pots is not None and search.incumbent_at is None
    tie = None if unlike else least_hurt(best, last_day, search.relaxation, search.incumbent_at, work)
    if tie is not None:
        # Where a gap is left, the one that is taken may be the better one.
        best = max(best, tie.plan, key=last_day.worth)
    worth = last_day.worth(best)
    stopped_by: StoppedBy = "work_limit" if is_limited else "search_complete"
    if bound <= worth / POUND + search.tolerance:
        stopped_by = "gap"
    slack = _ROUNDING_POUNDS * person_years + dropped_of_lump_sums(timeline) / POUND
    agreed = not search.overtaxed and worth <= (bound + slack + _EXPLAINED_POUNDS * person_years) * POUND
    if not agreed:
        bound = (search.relaxation.most_wealth + last_day.besides) / POUND
    proven = max(worth, round((bound + slack) * POUND))
    return BestPlan(best, proven, search.relaxation.lp.solves, agreed, search.plain_plans_tried, stopped_by, tie)


def _searched(
    plain: PlainPlans,
    work: Work,
    known: Projection | None,
    last_day: LastDay,
    small_pots: SmallPotsToChoose | None,
    surfaces: Surfaces,
) -> tuple[_Search, float]:
    """A search that has ended, and its bound. Where claims are to be chosen with little work, their small program is looked at
    first, and is what is searched on unless enough is left for the large one."""
    first, bound = known, INF
    if small_pots is None and _is_little_for_claims(plain.timeline, work):
        begun = work.done
        free = _Search(plain, work, known, last_day=last_day, surfaces=surfaces, free_claims=True)
        root = free.solve_root()
        if work.left < _CLAIMS_TO_FREE_CLAIMS * (work.done - begun):
            return free, free.run()
        first = free.incumbent
        bound = root.wealth if isinstance(root, Solution) else INF
    search = _Search(plain, work, first, last_day=last_day, surfaces=surfaces, small_pots=small_pots)
    return search, min(search.run(), bound)


def _least_work(timeline: Timeline) -> int:
    """With less work left there is no search."""
    return (PERSON_YEAR_MODELLED + _LEAST_WORK_FOR_A_PERSON_YEAR) * len(timeline.periods) * len(timeline.people)


def _is_little_for_claims(timeline: Timeline, work: Work) -> bool:
    """Whether the work may end at the root of a program with claims: interest has to be refined there for each claim."""
    household = timeline.household
    person_years = len(timeline.periods) * len(timeline.people)
    refines = household.claims_as_best and household.assumptions.cash_interest > 0
    return refines and work.left < _LITTLE_FOR_CLAIMS_OF_A_PERSON_YEAR * person_years


def left_alone(timeline: Timeline) -> Projection:
    """The plan that draws only what the spending needs. RuleViolation where that cannot be met."""
    return projected(timeline, lambda _, people: Choice(tuple(Draw() for _ in people)))


def plain_plans(plain: PlainPlans, work: Work, names: Sequence[PlainPlan] = PLAIN_PLANS) -> Iterator[Projection]:
    """The plans that need no search, as far as they can be carried out; counted as if none had been carried out before."""
    for name in names:
        work.add(_plan_takes(plain.timeline))
        try:
            found = plain.plan(name)
        except RuleViolation:
            found = None
        work.add(year_made_up(plain.timeline) * plain.years_made_up[name])
        if found is not None:
            yield found


def _plan_takes(timeline: Timeline) -> int:
    """The work of carrying out a plan."""
    return PERSON_YEAR_PROJECTED * len(timeline.people) * len(timeline.periods)


class _Subproblem(NamedTuple):
    """A node, a bound on its plans, the relaxation's optimum there (None where the solver was cut off or lost its way), and
    how many cells the relaxation had then."""

    node: Node
    bound: float
    solution: Solution | None
    cells: int


_NodeKey = tuple[
    tuple[tuple[int, ActiveCells], ...],
    tuple[tuple[int, DrawOrder], ...],
    tuple[frozenset[int | None], ...],
    tuple[CellCount, ...],
]


def _key(node: Node) -> _NodeKey:
    """A node by what it constrains."""
    return (
        tuple(sorted(node.active_cells.items())),
        tuple(sorted(node.draw_orders.items())),
        node.small_pots,
        node.cell_counts,
    )


class _Dived(NamedTuple):
    """What a dive found at a node, and the state of the relaxation then."""

    state: tuple[int, int]
    found: Solution | Outcome


class _Search:
    """One search: the relaxation, the incumbent, and what has been refined."""

    def __init__(
        self,
        plain: PlainPlans,
        work: Work,
        incumbent: Projection | None,
        *,
        last_day: LastDay = AFTER_TAX,
        surfaces: Surfaces | None = None,
        any_plan: bool = False,
        small_pots: SmallPotsToChoose | None = None,
        free_claims: bool = False,
    ) -> None:
        """A search from an incumbent, if there is one; the other arguments as in ``Relaxation`` and ``most_after_tax``.
        ``any_plan``: the first plan found is enough."""
        timeline = plain.timeline if small_pots is None else small_pots.timeline
        self.timeline, self.work, self._plain = timeline, work, plain
        self._small_pots = small_pots
        pots = () if small_pots is None else small_pots.pots
        self.relaxation = Relaxation(
            timeline, work, last_day=last_day, surfaces=surfaces, small_pots=pots, free_claims=free_claims
        )
        self._free_claims = free_claims
        self._root = Node({}, {}, small_pots=() if small_pots is None else small_pots.choices)
        self._first: Solution | Outcome | None = None
        self._last_day = last_day
        self.incumbent = incumbent
        self.overtaxed = False
        self._incumbent_value = -INF if incumbent is None else last_day.worth(incumbent) / POUND
        self.tolerance = _CLOSED_GAP_POUNDS_A_PERIOD * len(timeline.periods)
        self._partitioning_helps = True
        self._rounded_once = False
        self._refined = 0
        self._last_run = 0.0
        self._dived: dict[_NodeKey, _Dived] = {}
        self.incumbent_at: tuple[Node, Solution] | None = None
        self._leaves_untaxed = self._cut_off = False
        self._pruned = -INF  # no plan of the nodes that were pruned is better
        self.plain_plans_tried = False
        self._any_plan = any_plan

    @property
    def is_limited(self) -> bool:
        """Whether less was looked at, so far, than there is, since the work was over or nearly; or the solver lost its way."""
        return self.work.is_over or self._cut_off or self._leaves_untaxed or self._free_claims

    def solve_root(self) -> Solution | Outcome:
        """The root's optimum, from which ``run`` goes on."""
        if self.work.left < _LEAST_FOR_REFINING * self.work.limit:
            self._leave_all_untaxed()
        self._first = self._optimum(self._root)
        return self._first

    def run(self) -> float:
        """Search, and the bound on all plans, pounds; less than any where the relaxation has no solution at all."""
        root, first = self._root, self._first or self.solve_root()
        chosen = self._dive_by_small_pots(root, first)
        if self.incumbent is None and not self._any_plan:
            self._try_plain_plans()
        with self._kept_for_plain_plans():
            bound = self._searched(root, first, chosen)
        if bound > self._incumbent_value + self.tolerance and not self._any_plan:
            self._try_plain_plans()
        return bound

    def _searched(self, root: Node, first: Solution | Outcome, chosen: tuple[Node, Solution | Outcome]) -> float:
        """The search from the root's optimum on, but for the plain plans that it does not need, and the bound. ``chosen`` is the
        node to dive from, with its optimum."""
        if not self._leaves_untaxed and isinstance(first, Solution) and not self._enough(first.wealth):
            self._dive_by_regions(*self._dive_by_order(*chosen))
        node = self._relaxed(root, (self.relaxation.most_wealth + self._last_day.besides) / POUND, first)
        if node is not None and not self._enough(node.bound):
            self._dive(node)
        leaves = -INF  # the best bound of nodes whose optimum is a plan
        waiting: list[tuple[float, int, _Subproblem]] = []
        turn = count()
        while node is not None:
            bound = max(leaves, self._pruned, node.bound, -waiting[0][0] if waiting else -INF)
            if self._enough(bound):
                return bound
            branches = self._branch(node)
            if not branches:
                leaves = max(leaves, node.bound)
            found = [self._relaxed(branch, node.bound) for branch in branches]
            # The better child is looked at next, so that the search soon comes to plans.
            children = sorted((child for child in found if child is not None), key=lambda child: child.bound)
            node = self._up_to_date(children.pop()) if children and not self._enough(children[-1].bound) else None
            for child in children:
                heapq.heappush(waiting, (-child.bound, next(turn), child))
            while node is None and waiting:
                node = self._up_to_date(heapq.heappop(waiting)[2])
        return max(leaves, self._incumbent_value)

    def _relaxed(self, node: Node, limit: float, found: Solution | Outcome | None = None) -> _Subproblem | None:
        """A node with the relaxation's optimum, once periods are partitioned for as long as that brings the bound down; not where
        the order of draws is violated, which is branched on first. None where it has no plans. ``limit`` is its parent's bound,
        which stands where the solver comes to no end; ``found`` is the optimum, if it is known."""
        found = found or self._optimum(node)
        if not isinstance(found, Solution):
            return self._not_solved(node, limit, found)
        for _ in range(_MOST_ROUNDS):
            if found.order_violations or not self._partitioning_helps:
                break
            if self._enough(found.wealth) or not self._partition(found):
                break
            # No plan's wealth is below nothing, so that stands in where there is no incumbent yet.
            gap, before = found.wealth - found.misjudged.pounds - max(self._incumbent_value, 0.0), found
            tighter = self._optimum(node)
            if not isinstance(tighter, Solution):
                return self._not_solved(node, min(limit, before.wealth), tighter)
            found = tighter
            self._partitioning_helps = before.wealth - found.wealth > _LEAST_GAIN_OF_GAP * gap
        return _Subproblem(node, min(limit, found.wealth), found, self.relaxation.cells_made)

    def _not_solved(self, node: Node, limit: float, outcome: Outcome) -> _Subproblem | None:
        """What is known of a node without an optimum: nothing to look for, or its parent's bound."""
        if outcome is Outcome.BELOW_CUTOFF:
            self._pruned = self._incumbent_value
        return None if outcome in _NO_BETTER_PLAN else _Subproblem(node, limit, None, self.relaxation.cells_made)

    def _up_to_date(self, node: _Subproblem) -> _Subproblem | None:
        """A node that has waited, solved anew if the relaxation has become tighter meanwhile."""
        if node.cells == self.relaxation.cells_made or self._enough(node.bound):
            return node
        return self._relaxed(node.node, node.bound)

    def _enough(self, bound: float) -> bool:
        """Whether to stop at a bound, or at any."""
        if self._any_plan and self.incumbent is not None:
            return True
        return bound <= self._incumbent_value + self.tolerance or self.work.is_over

    def _optimum(self, node: Node) -> Solution | Outcome:
        """The relaxation's optimum, with the tax on its interest refined, or untaxed if there is no work left for that; as a dive
        found it, if the relaxation has not changed since.

        It is rounded to a plan; where the order of draws is violated, which makes poor plans, only while there is none.
        """
        known = self._dived.pop(_key(node), None)
        return self._new_optimum(node) if known is None or known.state != self._state() else known.found

    def _state(self) -> tuple[int, int]:
        """What the relaxation has become by now: how many cells there are, and how often interest was refined."""
        return self.relaxation.cells_made, self._refined

    def _new_optimum(self, node: Node) -> Solution | Outcome:
        """The same, to be looked for."""
        while True:
            begun = self.work.done
            outcome = self.relaxation.optimise(node, self._incumbent_value)
            self._last_run = self.work.done - begun
            if outcome is Outcome.INFEASIBLE:
                too_much = self.relaxation.interest_in_the_way()
                if too_much:
                    self.refine(too_much)
                    continue
            if outcome is not Outcome.OPTIMAL:
                self._cut_off |= outcome not in _NO_BETTER_PLAN
                return outcome
            priced = self.relaxation.priced_cash()
            if not priced:
                solution = self.relaxation.solution()
                self.overtaxed |= any(self._is_overtaxed(taxed) for taxed in solution.cell_taxes)
                if not solution.order_violations or self.incumbent is None:
                    self._try_rounding(solution, node)
                return solution
            # An optimum whose interest bears too much tax is read only where what comes next may make no more than a bound.
            before = None if self._can_refine(priced) else self.relaxation.solution()
            if self.refine(priced) and before is not None:
                self._try_rounding(before, node)

    def _can_refine(self, priced: Sequence[tuple[int, int]]) -> bool:
        """Whether there is work to refine the interest of persons and periods, even if it takes twice what is expected."""
        takes = sum([2 * self.relaxation.refining_takes(person, t) for person, t in priced], 0.0)
        return not self._leaves_untaxed and self.work.left - takes > self._reserve + self._last_run

    def refine(self, priced: Sequence[tuple[int, int]]) -> bool:
        """Refine the interest of persons and periods, as far as the work left allows; whether any was left untaxed."""
        self._refined += 1
        for person, t in priced:
            if self.work.left - self.relaxation.refining_takes(person, t) > self._reserve:
                self.relaxation.refine_interest(person, t)
            else:
                self.relaxation.leave_interest_untaxed(person, t)
                self._leaves_untaxed = True
        if self.work.left < self._last_run:
            # What is priced next would need a run of the solver more, for which there may be no work left.
            self._leave_all_untaxed()
        return self._leaves_untaxed

    @property
    def _reserve(self) -> float:
        """The work that is kept for solving once interest is refined."""
        return max(_KEPT_FOR_SOLVING * self.work.limit, self._last_run)

    def _leave_all_untaxed(self) -> None:
        """Refine no more interest, so that the next optimum is a bound."""
        self.relaxation.leave_all_untaxed()
        self._leaves_untaxed = True

    def _is_overtaxed(self, taxed: CellTax) -> bool:
        """Whether an optimum's tax is above the surface; a penny further, since amounts are rounded to the penny.

        Where money has no worth, as it may at a node that leaves no room to hold it, the tax need not be the least.
        """
        if taxed.share < CHECKED_SHARE:
            return False
        if taxed.error >= -ABOVE_TAX_POUNDS or taxed.error_cost >= -ABOVE_TAX_POUNDS * taxed.share:
            return False
        surface = self.relaxation.domains[taxed.person][taxed.period].under(taxed.claim)
        return taxed.tax > surface.tax(taxed.income + 1, taxed.savings + 1) + ABOVE_TAX_POUNDS

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
        if solution is None:
            return []
        if _chosen(solution) is None:
            return list(_choices_apart(node, solution))
        if solution.order_violations:
            return self._order_branches(node, solution)
        if self._last_day_is_dearest(solution):
            return [node._replace(box=box) for box in solution.misjudged.boxes]
        dearest = max(solution.mixed_claims, key=lambda period: solution.mixed_claims[period].cost, default=None)
        if dearest is not None and solution.mixed_claims[dearest].cost > max(solution.fractional.values(), default=0.0):
            mixed = solution.mixed_claims[dearest]
            self.relaxation.split_claims(dearest, mixed)
            return self._each_alone(node, dearest, mixed.cell)
        if solution.fractional:
            t = max(solution.fractional, key=lambda period: solution.fractional[period])
            if _is_plan_but_for_one_period(solution):
                apart = self._count_branches(node, solution, t)
                if apart:
                    return apart
            one = frozenset({heaviest(solution.shares[t])})
            others = self.relaxation.allowed(node, t) - one
            return [self._with_active(node, {t: cells}) for cells in (one, others)]
        taxed = next((taxed for taxed in _by_cost(solution) if self._split_cell(taxed)), None)
        if taxed is None:
            return [node._replace(box=box) for box in solution.misjudged.boxes if solution.misjudged.pounds > 0]
        return self._each_alone(node, taxed.period, taxed.cell)

    def _count_branches(self, node: Node, solution: Solution, t: int) -> list[Node]:
        """Two children in which fewer or more cells of a group have weight, of which period ``t`` fills one in part; none where
        the optimum fills a whole number of them."""
        shares = solution.shares[t]
        group = self.relaxation.group_apart(t, *sorted(range(len(shares)), key=shares.__getitem__)[-2:])
        if group is None:
            return []
        filled = self.relaxation.in_group(group, solution)
        fewer = floor(filled)
        if not WHOLE_SHARE_SHORTFALL < filled - fewer < 1 - WHOLE_SHARE_SHORTFALL:
            return []
        before = next(
            (one for one in node.cell_counts if one.group == group), CellCount(group, 0, len(solution.shares))
        )
        others = tuple(one for one in node.cell_counts if one.group != group)
        return [
            node._replace(cell_counts=(*others, before._replace(most=fewer))),
            node._replace(cell_counts=(*others, before._replace(least=fewer + 1))),
        ]

    def _each_alone(self, node: Node, t: int, split: int) -> list[Node]:
        """Two children, each without one of the two cells that a cell was split into last."""
        new, cells = len(self.relaxation.cells[t]) - 1, self.relaxation.allowed(node, t)
        return [self._with_active(node, {t: cells - {one}}) for one in (split, new)]

    def _last_day_is_dearest(self, solution: Solution) -> bool:
        """Whether the last day is misjudged by more than any tax."""
        pounds, boxes = solution.misjudged
        of_cells = (*solution.fractional.values(), *(mixed.cost for mixed in solution.mixed_claims.values()))
        dearest = max((*of_cells, *(taxed.error_cost for taxed in _by_cost(solution))), default=0.0)
        return bool(boxes) and pounds > max(dearest, EXACT_TAX_POUNDS)

    def _order_branches(self, node: Node, solution: Solution) -> list[Node]:
        """Two children, in one of which a person draws no funds without a tax-free part up to the middle of the periods in
        which the order is violated, and in the other the allowance is used up by then."""
        person, periods = next(iter(solution.order_violations.items()))
        order, t = node.draw_orders.get(person, DrawOrder()), periods[len(periods) // 2]
        later, before = order._replace(not_before=t + 1), order._replace(used_by=t)
        return [node._replace(draw_orders={**node.draw_orders, person: one}) for one in (later, before)]

    def _with_active(self, node: Node, cells: Mapping[int, frozenset[int]]) -> Node:
        """The child in which some periods have only certain cells active."""
        active = {t: ActiveCells(some, len(self.relaxation.cells[t])) for t, some in cells.items()}
        return node._replace(active_cells={**node.active_cells, **active})

    @contextmanager
    def _kept_for_plain_plans(self) -> Iterator[None]:
        """Search first, which mostly finds better plans, and keep work for the plain ones that may still have to be tried. The
        root is solved before, with all the work there is: without its optimum there is no bound to speak of."""
        kept = 0 if self.plain_plans_tried or self._any_plan else len(PLAIN_PLANS) * _plan_takes(self.timeline)
        self.work.limit -= kept
        yield
        self._cut_off |= self.work.is_over
        self.work.limit += kept

    def _try_plain_plans(self) -> None:
        """Keep the best of the plans that need no search, if it is better than the incumbent."""
        if not self.plain_plans_tried:
            self.plain_plans_tried = True
            for plan in plain_plans(self._plain, self.work):
                self._keep(plan)

    def _keep(self, plan: Projection, at: tuple[Node, Solution] | None = None) -> None:
        worth = self._last_day.worth(plan) / POUND
        if self.incumbent is None or worth > self._incumbent_value:
            self.incumbent, self._incumbent_value = plan, worth
            self.incumbent_at = at

    def _dive_by_small_pots(self, node: Node, found: Solution | Outcome) -> tuple[Node, Solution | Outcome]:
        """Where an optimum takes small pots in parts: the node with each taken whole where the most of it is, and its optimum."""
        if not isinstance(found, Solution) or _chosen(found) is not None:
            return node, found
        heaviest_of_each = (max(shares, key=shares.__getitem__) for shares in found.small_pots)
        whole = node._replace(small_pots=tuple(frozenset({choice}) for choice in heaviest_of_each))
        return whole, self._optimum(whole)

    def _dive_by_order(self, node: Node, solution: Solution | Outcome) -> tuple[Node, Solution | Outcome]:
        """Branch on the order of draws for as long as it is violated, to the better child each time."""
        for _ in range(_MOST_ORDER_DIVES):
            if not isinstance(solution, Solution) or not solution.order_violations or self._is_late():
                break
            acceptable = solution.wealth - _ACCEPTED_LOSS_OF_GAP * (solution.wealth - self._incumbent_value)
            best: tuple[Node, Solution] | None = None
            for child in self._order_branches(node, solution):
                found = self._optimum(child)
                if isinstance(found, Solution) or found in _NO_BETTER_PLAN:
                    self._dived[_key(child)] = _Dived(self._state(), found)
                if isinstance(found, Solution) and (best is None or found.wealth > best[1].wealth):
                    best = child, found
                if best is not None and best[1].wealth > acceptable:
                    break
            if best is None:
                break
            node, solution = best
        return node, solution

    def _is_late(self) -> bool:
        """Whether too little work is left for diving."""
        return self.work.left < _PART_FOR_DIVING * self.work.limit

    def _dive_by_regions(self, node: Node, found: Solution | Outcome) -> None:
        """The first diving heuristic: narrow every region in which the hull is below the tax to the side of a split that has
        most of the optimum's weight, solve, and again; then undo it. No cells are added, so each solve is small. The last
        optimum is rounded, and one before it that is expected to close the gap."""
        before: list[tuple[int, int, int, Region]] = []
        bound = found.wealth if isinstance(found, Solution) else INF
        last, solution = None, found
        for _ in range(_MOST_REGION_DIVES):
            if not isinstance(solution, Solution) or self._enough(bound) or self._is_late():
                break
            narrowed = 0
            for taxed in _by_cost(solution):
                region = self.relaxation.region(taxed)
                sides = partition(self.relaxation.domains[taxed.person][taxed.period], region, taxed)
                if sides is not None:
                    at = (taxed.person, taxed.period, taxed.cell)
                    before.append((*at, self.relaxation.narrow(*at, heavier_side(sides, taxed))))
                    narrowed += 1
            if not narrowed:
                break
            solution = self.relaxation.solve(node, self._incumbent_value)
            if isinstance(solution, Solution):
                last = solution
                if bound <= _expected(solution) + self.tolerance:
                    self._try_rounding(solution, node)
                    last = None
        if last is not None:
            self._try_rounding(last, node)
        for person, t, cell, region in reversed(before):
            self.relaxation.narrow(person, t, cell, region)

    def _dive(self, subproblem: _Subproblem | None) -> None:
        """The diving heuristic, for an early incumbent: fix all fractional periods to their heaviest cells and solve."""
        for _ in range(_MOST_DIVES):
            solution = None if subproblem is None else subproblem.solution
            if subproblem is None or solution is None or not solution.fractional:
                break
            fixed = {t: frozenset({heaviest(solution.shares[t])}) for t in solution.fractional}
            subproblem = self._relaxed(self._with_active(subproblem.node, fixed), subproblem.bound)

    def _try_rounding(self, solution: Solution, node: Node) -> None:
        """Round an optimum to a plan and keep the better incumbent; what its errors cost tells beforehand where it cannot be."""
        if _expected(solution) > self._incumbent_value or not self._rounded_once:
            taken = _chosen(solution)
            if taken is None:
                return
            self._rounded_once = True
            try:
                plan = rounded(self._taken_in(taken), self.relaxation, solution, self.work)
            except RuleViolation:
                return  # The tax that the hull is short of cannot be paid; a tighter relaxation leaves money for it.
            only = tuple(frozenset({choice}) for choice in taken)
            self._keep(plan, (node._replace(small_pots=only), solution))

    def _taken_in(self, taken: Taken) -> Timeline:
        """The timeline in which small pots are taken so."""
        return self.timeline if self._small_pots is None else self._small_pots.taken_in(taken)


def _is_plan_but_for_one_period(solution: Solution) -> bool:
    """Whether an optimum is a plan but for one period of several cells, so that no cell is to be split any more."""
    return len(solution.fractional) == 1 and not _by_cost(solution)


def _chosen(solution: Solution) -> Taken | None:
    """Where an optimum takes each small pot whole; None where it takes one in parts."""
    found = tuple(max(shares, key=shares.__getitem__) for shares in solution.small_pots)
    whole = all(
        shares[choice] > 1 - WHOLE_SHARE_SHORTFALL for shares, choice in zip(solution.small_pots, found, strict=True)
    )
    return found if whole else None


def _choices_apart(node: Node, solution: Solution) -> Iterator[Node]:
    """Two children neither of which has the optimum: of the small pot that is the most in parts, either it is not taken or it is;
    where it is taken, up to the mean of the periods in which the optimum takes it or later."""
    number = min(range(len(solution.small_pots)), key=lambda one: max(solution.small_pots[one].values()))
    shares, choices = solution.small_pots[number], node.small_pots[number]
    periods = {t: share for t, share in shares.items() if t is not None}
    if shares[None] > WHOLE_SHARE_SHORTFALL:
        first = frozenset[int | None]({None})
    else:
        mean = sum(t * share for t, share in periods.items()) / sum(periods.values())
        first = frozenset(choice for choice in choices if choice is None or choice <= mean)
    for part in (first, choices - first):
        yield node._replace(small_pots=(*node.small_pots[:number], part, *node.small_pots[number + 1 :]))


def _expected(solution: Solution) -> float:
    """What an optimum leaves once its tax is that of the rules, pounds."""
    error_cost = sum(taxed.error_cost for taxed in solution.cell_taxes if taxed.period not in solution.fractional)
    mixed = sum(mixed.cost for mixed in solution.mixed_claims.values())
    return solution.wealth - error_cost - sum(solution.fractional.values()) - mixed - solution.misjudged.pounds


def _by_cost(solution: Solution) -> list[CellTax]:
    """The cells' taxes in which the hull is below the tax, the dearest first."""
    short = [taxed for taxed in solution.cell_taxes if taxed.error > EXACT_TAX_POUNDS]
    return sorted(short, key=lambda taxed: -taxed.error_cost)
