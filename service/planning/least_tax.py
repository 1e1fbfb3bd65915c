"""The plan that leaves the household the most after tax, and a bound on how much better any plan could be.

The household's years are a linear model (``household_model``) in which each person's tax is the convex hull of points of
their tax surface (``tax_surface``). Where the hull is below the tax at the model's answer, the period is cut in two scenes
by the size of that income, each with a nearer hull. When the answer is taxed as by the rules but plays several scenes of
a period, the plans are split by the scene, and parts that cannot hold a better plan are left out. Every answer is carried
out to the penny by the rules, and the best plan is kept.

Money is in pounds here and approximate; nothing of it reaches an answer but the bound.
"""

from __future__ import annotations

import heapq
from itertools import pairwise
from typing import NamedTuple

from service.planning.filling import Policy, Projection, draw_for, draw_with_tax_free_part, projected
from service.planning.household_model import INF, Box, Cast, HouseholdModel, Node, Order, Role, Solution
from service.planning.projection import Choice, Draw, Opened, settle
from service.planning.tax_surface import Line, _corners, lower_hull
from service.planning.timeline import Timeline

_CLOSE_ENOUGH = 0.50  # pounds a period: the gap at which the search stops
_MOST_MODELS = 150
_MOST_CUTS = 12
_ERROR = 0.30  # pounds: tax this near is the tax; whole pounds and pennies explain as much
DEBUG = False
_LAST_PENNIES = 8  # tries at making up what rounding left short
_SNAP = 0.02  # pounds: an amount this near a corner is the corner
_ROUNDING = 0.05  # pounds a person and period by which whole pennies and pounds may beat the model
_POUND = 100  # pence
_WHOLE = 1e-5  # a share this near to one is one


class BestPlan(NamedTuple):
    """The best plan found and the model's bound on the wealth of any plan, pence. ``solves`` counts models solved.

    ``agreed``: in the end the model taxed its plan as the rules do; otherwise its bound is only near the truth.
    """

    projection: Projection
    bound: int
    solves: int
    agreed: bool


def least_tax(timeline: Timeline, *, thorough: bool = True) -> BestPlan:
    """The plan with the most wealth after tax at the end. RuleViolation where spending cannot be met."""
    search = _Search(timeline)
    search.run(_MOST_MODELS if thorough else 12)
    best = search.best
    if best is None:
        best = projected(timeline, lambda _, people: Choice(tuple(Draw() for _ in people)))
        search.best_wealth = best.wealth
    slack = _ROUNDING * len(timeline.periods) * len(timeline.people)
    return BestPlan(best, round((search.bound + slack) * _POUND), search.model.solves, True)


class _Search:
    def __init__(self, timeline: Timeline) -> None:
        self.timeline, self.model = timeline, HouseholdModel(timeline)
        self.best: Projection | None = None
        self.best_wealth = 0
        self.bound = -INF
        self.root_bound = self.cut_bound = -INF
        self.caps = [0.0 for _ in timeline.periods]
        self.looked_at: set[tuple[int, int]] = set()

    def run(self, most: int) -> None:
        close = _CLOSE_ENOUGH * len(self.timeline.periods)
        root = Node({}, {})
        solution = self.solve(root)
        if solution is None:
            return
        self.root_bound = solution.wealth
        solution = self.with_cuts(root, solution)
        if solution is None:
            return
        self.cut_bound = solution.wealth
        self.dive(root, solution)
        waiting = [(-solution.wealth, 0, root, solution)]
        plunge = None
        closed = -INF
        count = 0
        while waiting or plunge:
            top = plunge[1].wealth if plunge else -INF
            self.bound = max(-waiting[0][0] if waiting else -INF, top, closed)
            if self.bound - self.best_wealth / _POUND <= close or self.model.solves >= most:
                break
            if plunge is None:
                _, _, node, solution = heapq.heappop(waiting)
            else:
                node, solution = plunge
                plunge = None
            parts = self.parts(node, solution)
            if not parts:
                if DEBUG:
                    print("unsplit", solution.wealth, [r for r in solution.roles if r.error > _ERROR])
                closed = max(closed, solution.wealth)
                continue
            children = []
            for part in parts:
                found = self.solve(part)
                if found is not None and found.wealth > self.best_wealth / _POUND + close:
                    found = self.with_cuts(part, found)
                if found is not None:
                    found.wealth = min(found.wealth, solution.wealth)
                    children.append((part, found))
            cutoff = self.best_wealth / _POUND + close
            children.sort(key=lambda child: child[1].wealth)
            for part, found in children:
                if found.wealth <= cutoff:
                    closed = max(closed, found.wealth)
                elif part is children[-1][0]:
                    plunge = part, found
                else:
                    count += 1
                    heapq.heappush(waiting, (-found.wealth, count, part, found))
        else:
            self.bound = max(closed, self.best_wealth / _POUND)

    def dive(self, node: Node, solution: Solution) -> None:
        """Try the plan in which each period plays its heaviest scene."""
        found: Solution | None = solution
        for _ in range(3):
            if found is None:
                return
            casts = dict(node.casts)
            for t, shares in enumerate(found.shares):
                if max(shares) < 1 - _WHOLE:
                    casts[t] = Cast(frozenset({shares.index(max(shares))}), len(self.model.scenes[t]))
            if casts == node.casts:
                return
            node = node._replace(casts=casts)
            found = self.solve(node)
            if found is not None:
                found = self.with_cuts(node, found)

    def with_cuts(self, node: Node, solution: Solution) -> Solution | None:
        """The answer once periods are cut into scenes wherever the tax is above the hull."""
        close = _CLOSE_ENOUGH * len(self.timeline.periods)
        found: Solution | None = solution
        for _ in range(_MOST_CUTS):
            assert found is not None
            if found.wealth - self.best_wealth / _POUND <= close or self.model.solves >= _MOST_MODELS:
                break
            roles = sorted((role for role in found.roles if role.error > _ERROR), key=lambda role: -role.lost)
            total = sum(role.lost for role in roles)
            cut: set[int] = set()
            for role in roles:
                if role.period not in cut and role.lost > 0.01 * total:
                    boxes = self.cut(role)
                    if boxes:
                        self.model.cut(role.period, role.scene, role.person, boxes)
                        cut.add(role.period)
            if not cut:
                break
            found = self.solve(node)
            if found is None:
                break
            found.wealth = min(found.wealth, solution.wealth)
        return found

    def solve(self, node: Node) -> Solution | None:
        """The model's answer, taxed no more than by the rules."""
        while True:
            solution = self.model.solve(node)
            if solution is None:
                return None
            if self.look_at_interest(solution):
                continue
            wrong = [
                role
                for role in solution.roles
                if role.error < -_ERROR and role.savings not in self.model.grounds[role.person][role.period].levels
            ]
            if not wrong:
                self.carry_out(solution)
                return solution
            for role in wrong:
                self.model.add_levels(role.person, role.period, role.savings)

    def look_at_interest(self, solution: Solution) -> bool:
        """Let the model see the tax on interest where holding cash may pay; whether there was anything new to see."""
        people = range(len(self.timeline.people))
        self.looked_at.update(self.model.attractive())
        wanted = set()
        for t in range(1, len(self.caps)):
            here = [(person, t) for person in people if (person, t) in self.looked_at]
            interest = sum(self.model.interest(solution, person, t) for person in people)
            if here and (not self.caps[t] or interest * 1.25 > self.caps[t]):
                self.caps[t] = 1_000.0 + interest * 1.5
                wanted.update(here)
            wanted.update((person, t) for person, t in here if len(self.model.grounds[person][t].levels) == 1)
        for person, t in sorted(wanted):
            self.model.look_at_interest(person, t, round(self.caps[t] * _POUND))
        return bool(wanted)

    def parts(self, node: Node, solution: Solution) -> list[Node]:
        """Two parts of a part of all plans, neither of which holds the answer; none where the answer is a plan."""
        for person, periods in solution.out_of_order.items():
            t = periods[len(periods) // 2]
            order = node.orders.get(person, Order())
            return [
                node._replace(orders={**node.orders, person: order._replace(not_before=t + 1)}),
                node._replace(orders={**node.orders, person: order._replace(used_by=t)}),
            ]
        mixed = [(max(shares), t) for t, shares in enumerate(solution.shares) if max(shares) < 1 - _WHOLE]
        if not mixed:
            return []
        lost = [0.0 for _ in self.timeline.periods]
        share, t = min(mixed)
        shares = solution.shares[t]
        heaviest = shares.index(max(shares))
        known = len(self.model.scenes[t])
        allowed = self.model.allowed(node, t)
        return [
            node._replace(casts={**node.casts, t: Cast(scenes, known)})
            for scenes in (frozenset({heaviest}), allowed - {heaviest})
        ]

    def corner_cut(self, role: Role, box: Box) -> tuple[Box, Box] | None:
        """The box cut where the tax is highest above a segment between two of the points that make it up."""
        ground = self.model.grounds[role.person][role.period]
        points = role.points
        surface = ground.surface
        best = None
        for index, first in enumerate(points):
            for second in points[index + 1 :]:
                v1, v2 = first.savings / _POUND, second.savings / _POUND
                n1, n2 = first.income, second.income
                cuts: set[tuple[str, float]] = set()
                low, high = min(first.savings, second.savings), max(first.savings, second.savings)
                levels = [level for level in ground.levels if low < level < high]
                cuts.update(("savings", level / _POUND) for level in levels)
                if low == high:
                    cuts.update(("income", income) for income in _corners(surface.level(low), False))
                for below, above in pairwise(sorted({low, *levels, high})):
                    for line in surface.moving(below, above, upward=False):
                        if line.speed == 0.0:
                            cuts.add(("income", round(line.without, 2)))
                        elif line.speed == 1.0:
                            cuts.add(("total", round(line.without, 2)))
                for kind, value in sorted(cuts):
                    f1 = {"income": n1, "total": n1 + v1, "savings": v1}[kind]
                    f2 = {"income": n2, "total": n2 + v2, "savings": v2}[kind]
                    if abs(f2 - f1) < 0.05:
                        continue
                    share = (value - f1) / (f2 - f1)
                    if not 1e-6 < share < 1 - 1e-6:
                        continue
                    n, v = n1 + share * (n2 - n1), v1 + share * (v2 - v1)
                    here, there = round(n * _POUND), round(v * _POUND)
                    flat = first.tax + share * (second.tax - first.tax)
                    below_it, above_it = surface.tax(here - 1, there), surface.tax(here + 1, there)
                    error = max(below_it, above_it) - flat
                    if best is None or error > best[0] + 1e-6:
                        best = error, kind, value, abs(above_it - below_it) > 1.0
        if best is None or best[0] < role.error * 0.5:
            return None
        _, kind, value, step = best
        more = value + (0.01 if step else 0.0)
        if kind == "savings":
            level = round(value * _POUND)
            return box._replace(savings_high=level), box._replace(savings_low=level)
        if kind == "income":
            return box._replace(high=value), box._replace(low=more)
        return box._replace(total_high=value), box._replace(total_low=more)

    def cut(self, role: Role) -> tuple[Box, Box] | None:
        box = self.model.scenes[role.period][role.scene].boxes[role.person]
        ground = self.model.grounds[role.person][role.period]
        found = self.corner_cut(role, box)
        if found and box not in found:
            return found
        line = ground.surface.level(role.savings)
        start = ground.income / _POUND
        beside = role.savings / _POUND
        low = max(start, box.low, box.total_low - beside)
        high = min(box.high, box.total_high - beside) if ground.free else start
        flat = line.at(role.income)
        if ground.free and high > low:
            hull = Line(tuple(lower_hull(line.between(low, high), line.top_rate if high == INF else INF)), line.top_rate)
            flat = hull.at(role.income)
        along_n = line.at(role.income) - flat
        inside_v = role.savings > max(ground.savings, box.savings_low) and (box.savings_high is None or role.savings < box.savings_high)
        here = round(role.income, 2)
        inside_n = low + _SNAP < here < high - _SNAP and ground.free
        if ground.earns and inside_v and (role.error > 2 * along_n or not inside_n):
            self.model.add_levels(role.person, role.period, role.savings)
            return box._replace(savings_high=role.savings), box._replace(savings_low=role.savings)
        if inside_n:
            return box._replace(high=here), box._replace(low=here)
        return None

    def carry_out(self, solution: Solution) -> None:
        lost = sum(role.lost for role in solution.roles)
        if self.best is not None and solution.wealth - lost < self.best_wealth / _POUND:
            return
        plan = projected(self.timeline, _policy(self.timeline, self.model, solution))
        wealth = plan.wealth
        if self.best is None or wealth > self.best_wealth:
            self.best, self.best_wealth = plan, wealth


def _policy(timeline: Timeline, model: HouseholdModel, solution: Solution) -> Policy:
    """Carry a solution out to the penny: incomes that stop at a corner of the tax stop there exactly."""
    assumed = timeline.household.assumptions
    prefers_cash = assumed.cash_interest > assumed.isa_growth
    with_each = timeline.household.lump_sums == "with_each_withdrawal"

    def draw(position: int, person: int, one: Opened) -> Draw:
        taxable = _snapped(model, solution, person, position, one)
        if not with_each:
            return draw_for(timeline, one, taxable)
        drawdown = min(round(solution.drawdown[person][position] * _POUND), taxable, one.most_drawdown)
        rest = draw_with_tax_free_part(timeline, one, taxable - drawdown, one.most_uncrystallised)
        return Draw(rest.uncrystallised, min(drawdown + rest.drawdown, one.most_drawdown))

    def choose(position: int, people: tuple[Opened, ...]) -> Choice:
        cash = [owner[position] for owner in solution.cash]
        choice = Choice(
            draws=tuple(draw(position, person, one) for person, one in enumerate(people)),
            subscribe=round(solution.subscribed[position] * _POUND) if prefers_cash else None,
            from_isas=round(solution.from_isas[position] * _POUND) if prefers_cash else 0,
            cash_of_first=round(cash[0] * _POUND) if sum(cash) > 1 and assumed.cash_interest else None,
        )
        return _with_last_pennies(timeline, position, people, choice)

    return choose


def _snapped(model: HouseholdModel, solution: Solution, person: int, position: int, one: Opened) -> int:
    """The taxable withdrawal in pence: at a corner of the tax if it is at one, else down to the penny.

    A corner is one of income or of income with interest, and the interest may differ by pennies from the model's: the
    withdrawal keeps within both.
    """
    ground = model.grounds[person][position]
    withdrawn = solution.withdrawn[person][position]
    income = withdrawn + ground.income / _POUND
    expected = ground.savings + round(model.interest(solution, person, position) * _POUND)
    nearest = round(withdrawn * _POUND)
    corners = [point for point in model.corners(person, position, expected) if abs(point - income) <= _SNAP]
    if corners:
        corner = round(corners[0] * _POUND)
        actual = one.year.taxpayer.savings + (one.interest if position else 0)
        late = max(0, actual - expected) if position else 0
        return max(0, corner - ground.income - late)
    return max(0, int(withdrawn * _POUND + 1e-6))


def _with_last_pennies(timeline: Timeline, position: int, people: tuple[Opened, ...], choice: Choice) -> Choice:
    """The choice with a few pence more drawn, where rounding alone left the spending short."""
    for _ in range(_LAST_PENNIES):
        short = settle(timeline, position, people, choice).short
        if not 0 < short < _POUND:
            break
        draws = list(choice.draws)
        for i, (one, drawn) in enumerate(zip(people, draws, strict=True)):
            if drawn.drawdown and drawn.drawdown + 2 * short <= one.most_drawdown:
                draws[i] = drawn._replace(drawdown=drawn.drawdown + 2 * short)
                break
            if drawn.uncrystallised and drawn.uncrystallised + 2 * short <= one.most_uncrystallised:
                draws[i] = drawn._replace(uncrystallised=drawn.uncrystallised + 2 * short)
                break
        choice = choice._replace(draws=tuple(draws))
    return choice
