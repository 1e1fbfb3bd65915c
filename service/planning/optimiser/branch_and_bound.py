"""The plan that leaves the household the most after tax, and a bound on how much better any plan could be.

The household's years are a linear model (``household_model``) in which each person's tax is a convex hull below the
rules' tax (``tax_surface``). Where the hull is too low at the model's answer, the period is cut into two scenes, each
with a nearer hull (``cuts``). When the answer is taxed as by the rules but plays several scenes of a period, the plans
are split by the scene they play, and parts that cannot hold a better plan are left out. The answers are carried out to
the penny by the rules (``carrying_out``) and the best plan is kept.

Money is in pounds here and approximate; nothing of it reaches an answer but the bound.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from itertools import count
from typing import NamedTuple

from service.planning.faults import RuleViolation
from service.planning.optimiser.partitioning import cut
from service.planning.optimiser.relaxation import (
    INF,
    Cast,
    HouseholdModel,
    Node,
    Order,
    Role,
    Solution,
    gives_and_receives,
)
from service.planning.optimiser.rounding_heuristic import carried_out
from service.planning.projection.policies import Projection, projected
from service.planning.projection.settlement import Choice, Draw
from service.planning.projection.timeline import Timeline

_CLOSE_ENOUGH = 0.25  # pounds a period: the gap at which the search stops
_MOST_STEPS = 13_000  # of the solver: a count, so that one request has one answer
_FEW_STEPS = 1_500
_MOST_CUTS = 12  # times that periods are cut before the plans are split
_HELP = 0.1  # of the gap: if cutting brings the bound down by less, the plans are split instead
_MOST_DIVES = 3
_ERROR = 0.30  # pounds: a hull this near below the tax is the tax; whole pounds explain as much
_STAIR = 0.60  # pounds: by how much a line through the taper's stairs may be above them
_SMALL = 0.01  # of what all errors cost: too little to cut for
_ROUNDING = 0.05  # pounds a person and period by which whole pennies and pounds may beat the model
_LOOK_AHEAD = 1.25  # times the interest expected, to where the tax on it must have been looked at
_LOOK = 1.5
_LOOK_MORE = 1_000.0  # pounds
_POUND = 100  # pence


class BestPlan(NamedTuple):
    """The best plan found and the model's bound on the wealth of any plan, pence. ``solves`` counts models solved.

    ``agreed``: no model taxed its answer more than the rules do; otherwise the bound is only near the truth.
    """

    projection: Projection
    bound: int
    solves: int
    agreed: bool


def least_tax(timeline: Timeline, *, thorough: bool = True) -> BestPlan:
    """The plan with the most wealth after tax at the end. RuleViolation where spending cannot be met.

    Without ``thorough`` the search is short: the plan may be some pounds a year from the best.
    """
    steps = _MOST_STEPS if thorough else _FEW_STEPS
    search = _Search(timeline, steps)
    bound, best, solves = search.run(), search.best, search.model.solves
    if best is None:
        best = projected(timeline, lambda _, people: Choice(tuple(Draw() for _ in people)))
        return BestPlan(best, best.wealth, solves, False)
    if gives_and_receives(timeline):
        # That bound knows nothing of what a partner loses, so it holds; this plan does.
        other = _Search(timeline, steps, tied=True)
        other.run()
        solves += other.model.solves
        best = max((plan for plan in (best, other.best) if plan is not None), key=lambda plan: plan.wealth)
    slack = _ROUNDING * len(timeline.periods) * len(timeline.people)
    agreed = not search.overtaxed and not search.model.unsolved
    return BestPlan(best, round((bound + slack) * _POUND), solves, agreed)


class _Part(NamedTuple):
    """A part of all plans, the model's answer for it, what no plan of it can exceed, and of how many scenes the model was
    made then."""

    node: Node
    solution: Solution
    bound: float
    scenes: int


class _Search:
    """One search: the model, what is known of it, and the best plan so far."""

    def __init__(self, timeline: Timeline, most_steps: int, *, tied: bool = False) -> None:
        """Nothing is known yet. The search stops when the solver has made ``most_steps``; ``tied`` as in the model."""
        self.timeline, self.model = timeline, HouseholdModel(timeline, tied=tied)
        self.most_steps = most_steps
        self.best: Projection | None = None
        self.overtaxed = False
        self._wealth = -INF
        self._close = _CLOSE_ENOUGH * len(timeline.periods)
        self._cuts_help = True
        self._looked_to = [0.0 for _ in timeline.periods]
        self._looked_at: set[tuple[int, int]] = set()

    def run(self) -> float:
        """Search, and the bound on all plans, pounds; less than any where the model has no plan at all."""
        part = self._solved(Node({}, {}), INF)
        if part is not None:
            self._dive(part)
        whole = -INF  # the best bound of parts whose answer is a plan
        waiting: list[tuple[float, int, _Part]] = []
        turn = count()
        while part is not None:
            bound = max(whole, part.bound, -waiting[0][0] if waiting else -INF)
            if self._enough(bound):
                return bound
            nodes = self._split(part)
            if not nodes:
                whole = max(whole, part.bound)
            found = (self._solved(node, part.bound) for node in nodes)
            halves = sorted((half for half in found if half is not None), key=lambda half: half.bound)
            # The better half is looked at next, so that the search soon comes to whole plans.
            part = self._up_to_date(halves.pop()) if halves and not self._enough(halves[-1].bound) else None
            for half in halves:
                heapq.heappush(waiting, (-half.bound, next(turn), half))
            while part is None and waiting:
                part = self._up_to_date(heapq.heappop(waiting)[2])
        return max(whole, self._wealth)

    def _solved(self, node: Node, limit: float) -> _Part | None:
        """A part of all plans with the model's answer, once periods are cut for as long as that brings the bound down."""
        solution = self._answer(node)
        for _ in range(_MOST_CUTS):
            if not self._cuts_help or solution is None or self._enough(solution.wealth) or not self._cut(solution):
                break
            gap, before = solution.wealth - self._wealth, solution.wealth
            solution = self._answer(node)
            self._cuts_help = solution is None or before - solution.wealth > _HELP * gap
        if solution is None:
            return None
        return _Part(node, solution, min(limit, solution.wealth), self.model.scenes_made)

    def _up_to_date(self, part: _Part) -> _Part | None:
        """A part that has waited, answered anew if the model has been made truer meanwhile."""
        if part.scenes == self.model.scenes_made or self._enough(part.bound):
            return part
        return self._solved(part.node, part.bound)

    def _enough(self, bound: float) -> bool:
        """Whether to stop at a bound, or at any."""
        return bound <= self._wealth + self._close or self.model.steps >= self.most_steps

    def _answer(self, node: Node) -> Solution | None:
        """The model's answer, taxed no more than by the rules, and with the tax on interest looked at."""
        while True:
            solution = self.model.solve(node)
            if solution is None:
                return None
            if self._look_at_interest(solution) or self._tax_less(solution):
                continue
            self._carry_out(solution)
            return solution

    def _look_at_interest(self, solution: Solution) -> bool:
        """Let the model see the tax on interest where holding cash may pay; whether there was anything new to see."""
        people = range(len(self.timeline.people))
        grounds = self.model.grounds
        self._looked_at.update(self.model.attractive())
        wanted: set[tuple[int, int]] = set()
        for t, so_far in enumerate(self._looked_to):
            here = [(person, t) for person in people if (person, t) in self._looked_at]
            interest = sum(self.model.interest(solution, person, t) for person in people)
            if here and (not so_far or interest * _LOOK_AHEAD > so_far):
                self._looked_to[t] = _LOOK_MORE + interest * _LOOK
                wanted.update(here)
            wanted.update((person, t) for person, t in here if len(grounds[person][t].levels) == 1)
        for person, t in sorted(wanted):
            self.model.look_at_interest(person, t, round(self._looked_to[t] * _POUND))
        return bool(wanted)

    def _tax_less(self, solution: Solution) -> bool:
        """Let the model see the tax where it taxed too much; whether there was anything to be seen."""
        changed = False
        for role in solution.roles:
            if role.error < -_STAIR:
                seen = role.savings in self.model.grounds[role.person][role.period].levels
                self.overtaxed |= seen
                if not seen:
                    self.model.add_levels(role.person, role.period, role.savings)
                    changed = True
        return changed

    def _cut(self, solution: Solution) -> list[Role]:
        """Cut periods into scenes where the hull is below the tax, the dearest first and each period once; the roles."""
        roles = _by_cost(solution)
        least = _SMALL * sum(role.lost for role in roles)
        done: dict[int, Role] = {}
        for role in roles:
            if role.period not in done and role.lost > least and self._cut_at(role):
                done[role.period] = role
        return list(done.values())

    def _cut_at(self, role: Role) -> bool:
        """Cut one scene by one person's income; whether that could be done."""
        boxes = cut(self.model.grounds[role.person][role.period], self.model.box(role), role)
        if boxes is not None:
            self.model.cut(role, boxes)
        return boxes is not None

    def _split(self, part: _Part) -> list[Node]:
        """Two parts of a part of all plans, neither of which holds its answer; none where the answer is a plan."""
        node, solution = part.node, part.solution
        for person, periods in solution.out_of_order.items():
            order, t = node.orders.get(person, Order()), periods[len(periods) // 2]
            later, before = order._replace(not_before=t + 1), order._replace(used_by=t)
            return [node._replace(orders={**node.orders, person: one}) for one in (later, before)]
        if solution.mixed:
            t = max(solution.mixed, key=lambda period: solution.mixed[period])
            heaviest = frozenset({_heaviest(solution.shares[t])})
            others = self.model.allowed(node, t) - heaviest
            return [self._playing(node, {t: scenes}) for scenes in (heaviest, others)]
        role = next((role for role in _by_cost(solution) if self._cut_at(role)), None)
        if role is None:
            return []
        t, new = role.period, len(self.model.scenes[role.period]) - 1
        scenes = self.model.allowed(node, t)
        return [self._playing(node, {t: scenes - {one}}) for one in (role.scene, new)]

    def _playing(self, node: Node, scenes: Mapping[int, frozenset[int]]) -> Node:
        """The part of a part in which some periods play only certain scenes."""
        casts = {t: Cast(some, len(self.model.scenes[t])) for t, some in scenes.items()}
        return node._replace(casts={**node.casts, **casts})

    def _dive(self, part: _Part | None) -> None:
        """Look for a good plan at once: play each period's heaviest scene."""
        for _ in range(_MOST_DIVES):
            if part is None:
                break
            shares, mixed = part.solution.shares, part.solution.mixed
            if not mixed:
                break
            part = self._solved(
                self._playing(part.node, {t: frozenset({_heaviest(shares[t])}) for t in mixed}), part.bound
            )

    def _carry_out(self, solution: Solution) -> None:
        """Keep the plan of an answer if it is the best so far; what its errors cost tells beforehand where it cannot be."""
        lost = sum(role.lost for role in solution.roles if role.period not in solution.mixed)
        if solution.wealth - lost - sum(solution.mixed.values()) > self._wealth:
            try:
                plan = carried_out(self.timeline, self.model, solution)
            except RuleViolation:
                return  # The tax that the hull is short of cannot be paid; a truer model leaves money for it.
            if self.best is None or plan.wealth > self.best.wealth:
                self.best, self._wealth = plan, plan.wealth / _POUND


def _heaviest(shares: Sequence[float]) -> int:
    """The scene with the largest share."""
    return max(range(len(shares)), key=lambda scene: shares[scene])


def _by_cost(solution: Solution) -> list[Role]:
    """The roles in which the hull is below the tax, the dearest first."""
    return sorted((role for role in solution.roles if role.error > _ERROR), key=lambda role: -role.lost)
