"""The plan that leaves the household the most after tax, and a bound on how much better any plan could be.

The household's years are a linear model (``household_model``) in which each person's tax is the convex hull of points of
their tax surface (``tax_surface``). Where the hull is below the tax at the model's answer, the plans are split in two by
the size of that income, and each part has a nearer hull; parts that cannot hold a better plan are left out. Every answer
is carried out to the penny by the rules, and the best plan is kept.

Money is in pounds here and approximate; nothing of it reaches an answer but the bound.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

from service.planning.filling import Policy, Projection, draw_for, draw_with_tax_free_part, projected
from service.planning.household_model import EVERYTHING, INF, Box, HouseholdModel, Node, Order, Place, Solution
from service.planning.projection import Choice, Draw, Opened, settle
from service.planning.tax_surface import Line, _corners, lower_hull
from service.planning.timeline import Timeline

_CLOSE_ENOUGH = 0.50  # pounds a period: the gap at which the search stops
_MOST_MODELS = 400
_ERROR = 0.30  # pounds: tax this near is the tax; whole pounds and pennies explain as much
DEBUG = False
_LAST_PENNIES = 8  # tries at making up what rounding left short
_SNAP = 0.02  # pounds: an amount this near a corner is the corner
_ROUNDING = 0.05  # pounds a person and period by which whole pennies and pounds may beat the model
_POUND = 100  # pence


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
    search = _Search(timeline, HouseholdModel(timeline))
    search.run(_MOST_MODELS if thorough else 12)
    best = search.best
    if best is None:
        best = projected(timeline, lambda _, people: Choice(tuple(Draw() for _ in people)))
        search.best_wealth = best.wealth
    slack = _ROUNDING * len(timeline.periods) * len(timeline.people)
    return BestPlan(best, round((search.bound + slack) * _POUND), search.model.solves, True)


@dataclass(slots=True)
class _Search:
    timeline: Timeline
    model: HouseholdModel
    best: Projection | None = None
    best_wealth: int = 0
    bound: float = 0.0
    root_bound: float = 0.0
    nodes: int = 0
    caps: list[float] = field(default_factory=list)
    opened: set[Place] = field(default_factory=set)

    def run(self, most: int) -> None:
        close = _CLOSE_ENOUGH * len(self.timeline.periods)
        node = Node({}, {})
        solution = self.root(node)
        if solution is None:
            return
        self.root_bound = solution.wealth
        open_nodes = [(-solution.wealth, 0, node, solution)]
        closed = -INF
        count = 0
        plunge = None
        while open_nodes or plunge:
            self.bound = max(-open_nodes[0][0] if open_nodes else -INF, plunge[1].wealth if plunge else -INF, closed)
            if self.bound - self.best_wealth / _POUND <= close or self.model.solves >= most:
                break
            if plunge is None:
                _, _, node, solution = heapq.heappop(open_nodes)
            else:
                node, solution = plunge
                plunge = None
            parts = self.split(node, solution)
            if not parts:
                if DEBUG: print("unsplit", solution.wealth, [(at, e, node.boxes.get(at), solution.points[at]) for at, e in solution.errors.items() if e[0] > _ERROR])
                closed = max(closed, solution.wealth)
                continue
            children = []
            for part in parts:
                found = self.solve(part)
                self.nodes += 1
                if found is None:
                    continue
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
                    heapq.heappush(open_nodes, (-found.wealth, count, part, found))
        else:
            self.bound = max(closed, self.best_wealth / _POUND)

    def root(self, node: Node) -> Solution | None:
        self.caps = [0.0 for _ in self.timeline.periods]
        self.opened: set[Place] = set()
        return self.solve(node)

    def solve(self, node: Node) -> Solution | None:
        """The model's answer, taxed no more than by the rules."""
        while True:
            solution = self.model.solve(node)
            if solution is None:
                return None
            if not self.looked_at_interest(solution):
                continue
            solution.errors = {at: self.error(solution, at) for at in solution.points}
            wrong = [(at, savings) for at, (error, _, savings) in solution.errors.items() if error < -_ERROR and savings not in self.model.places[at].levels]
            if not wrong:
                self.carry_out(solution)
                return solution
            for at, savings in wrong:
                self.model.add_levels(at, savings)

    def looked_at_interest(self, solution: Solution) -> bool:
        people = range(len(self.timeline.people))
        self.opened.update(self.model.attractive())
        wanted = set()
        caps = self.caps
        for t in range(1, len(caps)):
            interest = sum(self.model.interest(solution, (person, t)) for person in people)
            here = [(person, t) for person in people if (person, t) in self.opened]
            if here and (not caps[t] or interest * 1.25 > caps[t]):
                caps[t] = 1_000.0 + interest * 1.5
                wanted.update(here)
            wanted.update(at for at in here if len(self.model.places[at].levels) == 1)
        for at in sorted(wanted):
            self.model.open_interest(at, round(caps[at[1]] * _POUND))
        return not wanted

    def error(self, solution: Solution, at: Place) -> tuple[float, float, int]:
        """By how much the tax is above the model's; and where on the surface, in pounds and pence."""
        place = self.model.places[at]
        person, t = at
        points = solution.points[at]
        income = place.income / _POUND + (solution.withdrawn[person][t] if place.free else 0.0)
        savings = place.savings + round(self.model.interest(solution, at) * _POUND)
        seen = sum(point.tax * point.weight for point in points)
        weight = sum(point.weight * point.income for point in points)
        if place.free and income > weight + 0.01:
            line = place.surface.level(place.savings)
            seen += (income - weight) * line.top_rate
        return place.surface.tax(round(income * _POUND), savings) - seen, income, savings

    def split(self, node: Node, solution: Solution) -> list[Node]:
        for person, t in solution.out_of_order.items():
            order = node.orders.get(person, Order())
            return [
                node._replace(orders={**node.orders, person: order._replace(not_before=t + 1)}),
                node._replace(orders={**node.orders, person: order._replace(used_by=t)}),
            ]
        errors = sorted(
            ((error * solution.worth[at[1]], at) for at, (error, _, _) in solution.errors.items()), reverse=True
        )
        for error, at in errors:
            if solution.errors[at][0] < _ERROR:
                continue
            boxes = self.split_box(solution, at, node.boxes.get(at, EVERYTHING))
            if boxes:
                return [node._replace(boxes={**node.boxes, at: box}) for box in boxes]
        return []

    def corner_cut(self, solution: Solution, at: Place, box: Box) -> list[Box]:
        """The box cut where the tax is highest above a segment between two of the points that make it up."""
        place = self.model.places[at]
        points = solution.points[at]
        surface = place.surface
        best: tuple[float, float, float, str, float] | None = None
        for index, first in enumerate(points):
            for second in points[index + 1 :]:
                v1, v2 = first.savings / _POUND, second.savings / _POUND
                n1, n2 = first.income, second.income
                cuts: set[tuple[str, float]] = set()
                low, high = min(first.savings, second.savings), max(first.savings, second.savings)
                levels = [level for level in place.levels if low < level < high]
                cuts.update(("savings", level / _POUND) for level in levels)
                if low == high:
                    cuts.update(("income", income) for income in _corners(surface.level(low), False))
                    near = [level for level in place.levels if level != low]
                for below, above in pairwise(sorted({low, *levels, high})):
                    for line in surface.moving(below, above, upward=False):
                        if line.speed == 0.0:
                            cuts.add(("income", round(line.without, 2)))
                        elif line.speed == 1.0:
                            cuts.add(("total", round(line.without, 2)))
                for kind, value in cuts:
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
                    tax = max(surface.tax(here - 1, there), surface.tax(here + 1, there))
                    error = tax - flat
                    if best is None or error > best[0] + 1e-6:
                        step = abs(surface.tax(here + 1, there) - surface.tax(here - 1, there)) > 1.0
                        best = error, n, v, kind, value, step
        if best is None or best[0] < solution.errors[at][0] * 0.5:
            return []
        _, _, _, kind, value, step = best
        more = value + (0.01 if step else 0.0)
        if kind == "savings":
            level = round(value * _POUND)
            return [box._replace(savings_high=level), box._replace(savings_low=level)]
        if kind == "income":
            return [box._replace(high=value), box._replace(low=more)]
        return [box._replace(total_high=value), box._replace(total_low=more)]

    def split_box(self, solution: Solution, at: Place, box: Box) -> list[Box]:
        place = self.model.places[at]
        error, income, savings = solution.errors[at]
        found = self.corner_cut(solution, at, box)
        if found and box not in found:
            return found
        line = place.surface.level(savings)
        start = place.income / _POUND
        beside = savings / _POUND
        low = max(start, box.low, box.total_low - beside)
        high = min(box.high, box.total_high - beside) if place.free else start
        true = line.at(income)
        flat = true
        cut = None
        if place.free and high > low:
            inside = line.between(low, high)
            hull = Line(tuple(lower_hull(inside, line.top_rate if high == INF else INF)), line.top_rate)
            flat = hull.at(income)
            around = [p for p in inside if p[1] > hull.at(p[0]) + 1e-6 and hull_same(hull, p[0], income)]
            if around:
                cut = max(around, key=lambda p: p[1] - hull.at(p[0]))
        along_n, along_v = true - flat, error - (true - flat)
        if place.earns and along_v > along_n:
            lowest, highest = place.savings, box.savings_high
            if savings > max(lowest, box.savings_low) and (highest is None or savings < highest):
                self.model.add_levels(at, savings)
                return [box._replace(savings_high=savings), box._replace(savings_low=savings)]
        if cut is None or cut not in line.points:
            here = round(income, 2)
            if low + _SNAP < here < high - _SNAP and place.free:
                return [box._replace(high=here), box._replace(low=here)]
            if place.earns and savings > max(place.savings, box.savings_low) and (box.savings_high is None or savings < box.savings_high):
                self.model.add_levels(at, savings)
                return [box._replace(savings_high=savings), box._replace(savings_low=savings)]
            return []
        index = line.points.index(cut)
        before = line.points[index - 1][0] if index and cut[0] - line.points[index - 1][0] < 0.015 else cut[0]
        # is it a corner of income or of the total?
        others = [level for level in place.levels if level != savings]
        total = False
        if others:
            nearest = min(others, key=lambda level: abs(level - savings))
            other = place.surface.level(nearest)
            same = min(abs(p[0] - cut[0]) for p in other.points)
            moved = min(abs(p[0] + nearest / _POUND - cut[0] - beside) for p in other.points)
            total = moved < same
        if total:
            return [box._replace(total_high=before + beside), box._replace(total_low=cut[0] + beside)]
        return [box._replace(high=before), box._replace(low=cut[0])]

    def carry_out(self, solution: Solution) -> None:
        lost = sum(error * solution.worth[at[1]] for at, (error, _, _) in solution.errors.items())
        if self.best is not None and solution.wealth - lost < self.best_wealth / _POUND:
            return
        plan = projected(self.timeline, _policy(self.timeline, self.model, solution))
        wealth = plan.wealth
        if self.best is None or wealth > self.best_wealth:
            self.best, self.best_wealth = plan, wealth


def hull_same(hull: Line, one: float, other: float) -> bool:
    """Whether two incomes are under the same segment of the hull."""
    from bisect import bisect_right
    keys = [p[0] for p in hull.points]
    return bisect_right(keys, one) == bisect_right(keys, other)


def _policy(timeline: Timeline, model: HouseholdModel, solution: Solution) -> Policy:
    """Carry a solution out to the penny: incomes that stop at a corner of the tax stop there exactly."""
    assumed = timeline.household.assumptions
    prefers_cash = assumed.cash_interest > assumed.isa_growth
    with_each = timeline.household.lump_sums == "with_each_withdrawal"

    def draw(position: int, person: int, one: Opened) -> Draw:
        taxable = _snapped(model, solution, (person, position), one)
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


def _snapped(model: HouseholdModel, solution: Solution, at: Place, one: Opened) -> int:
    """The taxable withdrawal in pence: at a corner of the tax if it is at one, else down to the penny."""
    person, position = at
    place = model.places[at]
    withdrawn = solution.withdrawn[person][position]
    income = withdrawn + place.income / _POUND
    expected = place.savings + round(model.interest(solution, at) * _POUND)
    for point in solution.points.get(at, ()):
        if abs(point.income - income) <= _SNAP or abs(point.income + point.savings / _POUND - income - expected / _POUND) <= _SNAP:
            corner = round(point.income * _POUND)
            total = corner + point.savings
            actual = one.year.taxpayer.savings + one.interest
            if abs(point.income - income) > _SNAP:
                return max(0, total - actual - place.income)
            return max(0, min(corner, total - actual if point.savings == expected else corner) - place.income)
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
