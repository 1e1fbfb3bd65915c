"""The household's years as a linear model that HiGHS solves again and again: what is drawn, subscribed, held and spent.

Each person's tax in a period is a weighted sum of points of their tax surface, whose weights come to one: the model sees
the convex hull of the points it is given. A ``Box`` leaves out the points outside it, and so brings the hull nearer to
the tax; the search splits boxes until the tax of the plan is the rules'. One solver is kept for all models of a plan.
Money is in pounds here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

import highspy

from service.law import lump_sums
from service.law.income_tax import Taxpayer
from service.planning.projection import first_holdings, opened
from service.planning.tax_surface import Moving, Point, Surface, lower_hull, meetings
from service.planning.timeline import WHOLE, Timeline

INF = float("inf")
_POUND = 100  # pence
_UNUSED = 1e-9  # a weight this small is none
_NEAR = 1e-6  # pounds
_GAIN = 1e-7  # pounds at the plan's end for a pound held

Place = tuple[int, int]
"""A person and a period."""

_Entries = Sequence[tuple[int, float]]


class Box(NamedTuple):
    """Bounds on income below savings, on that and savings together, and on savings (pence); pounds else."""

    low: float = 0.0
    high: float = INF
    total_low: float = 0.0
    total_high: float = INF
    savings_low: int = 0
    savings_high: int | None = None


EVERYTHING = Box()


class Order(NamedTuple):
    """When a person's uncrystallised funds may be drawn without a tax-free part: not before one period, and the tax-free
    allowance is used up by another (None: it need not be)."""

    not_before: int = 0
    used_by: int | None = None


class Node(NamedTuple):
    """A part of all plans: boxes by place, and orders by person."""

    boxes: Mapping[Place, Box]
    orders: Mapping[int, Order]


class TaxPoint(NamedTuple):
    """A weighted point of a person's tax: income below savings, savings in pence, tax, and the weight."""

    income: float
    savings: int
    tax: float
    weight: float


@dataclass(slots=True)
class Solution:
    """Pounds by person and period: taxable withdrawals, drawdown drawn, cash held; in all: subscribed, from ISAs.

    ``points`` are those that make up the tax of each place that is not settled beforehand. ``out_of_order``: by person,
    the first period in which funds are drawn without a tax-free part before the allowance is used up.
    """

    wealth: float
    withdrawn: list[list[float]]
    drawdown: list[list[float]]
    cash: list[list[float]]
    subscribed: list[float]
    from_isas: list[float]
    worth: list[float]
    points: dict[Place, list[TaxPoint]]
    out_of_order: dict[int, int]
    errors: dict[Place, tuple[float, float, int]] = field(default_factory=dict)


@dataclass(slots=True)
class _Place:
    """A person's period in the model: the surface and where on it they are without the plan; rows and columns."""

    surface: Surface
    income: int
    savings: int
    free: bool
    earns: bool
    weights: int = -1
    withdrawal: int = -1
    interest: int = -1
    levels: list[int] = field(default_factory=list)
    columns: dict[tuple[int, float], int] = field(default_factory=dict)
    taxes: dict[int, float] = field(default_factory=dict)
    rays: list[int] = field(default_factory=list)
    shown: set[int] = field(default_factory=set)

    @property
    def varies(self) -> bool:
        return self.free or self.earns

    def points(self, box: Box) -> Iterator[tuple[int, Point]]:
        """The points inside a box: those that the convex line below each level needs, and where corners meet between."""
        start = self.income / _POUND
        low, high = max(start, box.low), box.high if self.free else start
        levels = [
            savings
            for savings in self.levels
            if savings >= box.savings_low and (box.savings_high is None or savings <= box.savings_high)
        ]
        for savings in levels:
            beside = savings / _POUND
            least, most = max(low, box.total_low - beside), min(high, box.total_high - beside)
            if most >= least:
                line = self.surface.level(savings)
                for point in lower_hull(line.between(least, most), line.top_rate if most == INF else INF):
                    yield savings, point
        edges = [Moving(low, 0.0)]
        if INF > high > low:
            edges.append(Moving(high, 0.0))
        edges += [Moving(total, 1.0) for total in (box.total_low, box.total_high) if 0 < total < INF]
        for below, above in pairwise(levels):
            lines = self.surface.moving(below, above)
            for income, beside in meetings((*edges, *lines), below / _POUND, above / _POUND):
                total = income + beside
                if (
                    low - _NEAR <= income <= high + _NEAR
                    and box.total_low - _NEAR <= total <= box.total_high + _NEAR
                ):
                    savings = int(beside * _POUND + 0.01)
                    pence = int(income * _POUND + 0.01)
                    yield savings, (pence / _POUND, self.surface.tax(pence, savings))


class HouseholdModel:
    """The linear model of a timeline."""

    def __init__(self, timeline: Timeline) -> None:
        """Build the model over all plans."""
        self.timeline = timeline
        self.solves = 0
        self._cost: list[float] = []
        self._upper: list[float] = []
        self._entries: list[_Entries] = []
        self._row_lower: list[float] = []
        self._row_upper: list[float] = []
        periods, assumed = timeline.periods, timeline.household.assumptions
        self._people, self._periods = range(len(timeline.people)), range(len(periods))
        self._rates = [period.factor(assumed.cash_interest) - 1 for period in periods]
        self.places = self._surfaces()
        lump = [_lump_sum(timeline, person) for person in self._people]
        self._cash_rows = [self._row(*[self._known(t, lump)] * 2) for t in self._periods]
        for (_, t), place in self.places.items():
            if place.varies:
                place.weights = self._row(1.0, 1.0)
                if place.free:
                    place.withdrawal = self._row(*[place.income / _POUND] * 2)
                if place.earns:
                    place.interest = self._row(*[place.savings / _POUND] * 2)
        self._draws: list[list[dict[str, int]]] = [[{} for _ in periods] for _ in self._people]
        self._used_rows: dict[int, list[int]] = {}
        self._left: list[float] = []
        for person in self._people:
            self._pension(person, lump[person])
        self._held = self._cash()
        self._subscribed, self._from_isas = self._isas()
        self._highs = self._solver()
        self._boxes: dict[Place, Box] = {}
        self._orders: dict[int, Order] = {}
        for at, place in self.places.items():
            if place.varies:
                self.add_levels(at, place.savings)

    def add_levels(self, at: Place, *savings: int) -> None:
        """Let the model see a place's tax at more amounts of savings, pence."""
        place = self.places[at]
        levels = sorted({*place.levels, *savings})
        if levels != place.levels:
            place.levels = levels
            self._show(at, self._boxes.get(at, EVERYTHING))

    def open_interest(self, at: Place, cap: int) -> None:
        """Let the model see a place's tax at all amounts of savings that matter, closely up to a cap."""
        place = self.places[at]
        own = place.savings
        rules = place.surface.rules
        levels = {own + cap, *rules.savings_allowances}
        unused = rules.personal_allowance + rules.scales.starting_rate_limit - place.income
        if unused > 0:
            levels |= {rules.scales.starting_rate_limit + allowance for allowance in (0, rules.savings_allowances[0])}
        self.add_levels(
            at, *(level for level in levels if own < level <= own + cap), own + 4 * cap, own + 100_000_000
        )

    def solve(self, node: Node) -> Solution | None:
        """The best plan of a part of all plans as the model sees it; None where there is none."""
        for at in {*self._boxes, *node.boxes}:
            box = node.boxes.get(at, EVERYTHING)
            if box != self._boxes.get(at, EVERYTHING):
                self._boxes[at] = box
                self._show(at, box)
        for person in self._used_rows:
            order = node.orders.get(person, Order())
            if order != self._orders.get(person, Order()):
                self._orders[person] = order
                self._put_in_order(person, order)
        self._highs.run()
        self.solves += 1
        if self._highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        return self._read()

    def attractive(self) -> list[Place]:
        """Places whose interest the model has not looked at, though cash held towards it would pay if it bore no tax."""
        duals = self._highs.getSolution().row_dual
        found = []
        for (person, t), place in self.places.items():
            if place.earns and len(place.levels) == 1:
                worth = (1 + self._rates[t]) * duals[self._cash_rows[t]] - duals[self._cash_rows[t - 1]]
                if worth > _GAIN:
                    found.append((person, t))
        return found

    def interest(self, solution: Solution, at: Place) -> float:
        """The interest a place has on the plan's cash."""
        person, t = at
        return solution.cash[person][t - 1] * self._rates[t] if t else 0.0

    def _surfaces(self) -> dict[Place, _Place]:
        known: dict[tuple[Taxpayer, int], Surface] = {}
        places = {}
        for person, years in enumerate(self.timeline.people):
            tied = _tied(self.timeline, person)
            for t, year in enumerate(years):
                taxpayer = _taxpayer(self.timeline, person, t)
                alike = replace(taxpayer, other_income=0, savings=0)
                key = alike, id(year.rules)
                if key not in known:
                    known[key] = Surface(alike, year.rules, tied)
                earns = t > 0 and self._rates[t] > 0
                places[person, t] = _Place(known[key], taxpayer.other_income, taxpayer.savings, year.may_withdraw, earns)
        return places

    def _row(self, low: float, high: float) -> int:
        self._row_lower.append(low)
        self._row_upper.append(high)
        return len(self._row_lower) - 1

    def _column(self, entries: _Entries, *, worth: float = 0.0, most: float = INF) -> int:
        self._cost.append(worth)
        self._upper.append(most)
        self._entries.append(entries)
        return len(self._cost) - 1

    def _known(self, t: int, lump: Sequence[tuple[int, float] | None]) -> float:
        """What comes in and goes out whatever is decided."""
        timeline = self.timeline
        total = -timeline.spending[t] / _POUND
        for person, years in enumerate(timeline.people):
            year, place = years[t], self.places[person, t]
            total += (year.received + year.tax_outside) / _POUND
            if not place.varies:
                total -= place.surface.tax(place.income, place.savings)
            if t == 0:
                cash = timeline.household.people[person].cash
                interest = timeline.periods[0].growth(cash, timeline.household.assumptions.cash_interest)
                total += (cash + interest) / _POUND
            taken = lump[person]
            if taken is not None and taken[0] == t:
                total += taken[1]
        return total

    def _pension(self, person: int, lump: tuple[int, float] | None) -> None:
        """Draws from a pension: what is drawn, grown to the end, and what is left add up to the whole pot grown."""
        timeline = self.timeline
        assumed, periods = timeline.household.assumptions, timeline.periods
        after = [1.0] * len(periods)  # growth of pension money from a period's end to the plan's
        for t in range(len(periods) - 1, 0, -1):
            after[t - 1] = after[t] * periods[t].factor(assumed.pension_growth)
        kept = (WHOLE - assumed.exit_tax_rate) / WHOLE
        member, years = timeline.household.people[person], timeline.people[person]
        to_end = after[0] * periods[0].factor(assumed.pension_growth)
        rules = periods[0].rules.lump_sums
        tax_free_left = lump_sums.available(member.pension, rules).tax_free / _POUND
        self._left.append(tax_free_left)
        share = rules.tax_free_rate / lump_sums.WHOLE
        uncrystallised = member.pension.uncrystallised / _POUND * to_end
        drawdown = member.pension.drawdown / _POUND * to_end
        if lump is not None:
            taken_to_end = lump[1] * after[lump[0]]
            drawdown, uncrystallised = drawdown + uncrystallised - taken_to_end, 0.0
            tax_free_left = 0.0
        with_each = timeline.household.lump_sums == "with_each_withdrawal"
        # Where the allowance never runs out, drawing without a tax-free part is never better.
        runs_out = not with_each or uncrystallised * share > tax_free_left
        funds = self._row(uncrystallised, uncrystallised)
        income_funds = self._row(drawdown, drawdown)
        allowance = self._row(-INF, tax_free_left)
        quarter = self._row(-INF, 0.0)
        self._column([(funds, 1.0), (quarter, -share)], worth=kept)
        self._column([(income_funds, 1.0)], worth=kept)
        self._column([(quarter, 1.0), (allowance, 1.0)], worth=1 - kept)
        if with_each and runs_out and uncrystallised > 0:
            self._used_rows[person] = [self._row(0.0, INF) for _ in periods]
        used = self._used_rows.get(person, [])
        for t, year in enumerate(years):
            if not year.may_withdraw:
                continue
            cash, income, grown, draws = self._cash_rows[t], self.places[person, t].withdrawal, after[t], self._draws[person][t]
            if uncrystallised > 0:
                if with_each:
                    entries = [(cash, -1.0), (funds, grown), (allowance, share), (income, -(1 - share))]
                    draws["tax_free"] = self._column([*entries, *((row, share) for row in used[t:])])
                if runs_out:
                    draws["taxed"] = self._column([(cash, -1.0), (funds, grown), (income, -1.0)])
            if drawdown > 0:
                draws["drawdown"] = self._column([(cash, -1.0), (income_funds, grown), (income, -1.0)])

    def _cash(self) -> list[list[int | None]]:
        """Cash held from one period's end to the next, by owner; its interest is the owner's income then."""
        held: list[list[int | None]] = [[None for _ in self._periods] for _ in self._people]
        last = self._periods[-1]
        for t in self._periods:
            if t == last:
                held[0][t] = self._column([(self._cash_rows[t], 1.0)], worth=1.0)
                continue
            rate = self._rates[t + 1]
            both = [(self._cash_rows[t], 1.0), (self._cash_rows[t + 1], -1.0 - rate)]
            for person in self._people:
                place = self.places[person, t + 1]
                if place.earns:
                    held[person][t] = self._column([*both, (place.interest, -rate)])
                elif person == 0:
                    held[0][t] = self._column(both)
        return held

    def _isas(self) -> tuple[list[int], dict[int, int]]:
        """Subscriptions within the room of both people, and withdrawals towards spending; ISAs grow as one."""
        timeline = self.timeline
        growth = timeline.household.assumptions.isa_growth
        factors = [period.factor(growth) for period in timeline.periods]
        value = sum(member.isa.value for member in timeline.household.people) / _POUND * factors[0]
        rows = [self._row(value if t == 0 else 0.0, value if t == 0 else 0.0) for t in self._periods]
        subscribed, taken = [], {}
        for t, row in enumerate(rows):
            room = sum(years[t].isa_room for years in timeline.people) / _POUND
            subscribed.append(self._column([(self._cash_rows[t], 1.0), (row, -1.0)], most=room))
            if timeline.spending[t]:
                most = timeline.spending[t] / _POUND
                taken[t] = self._column([(self._cash_rows[t], -1.0), (row, 1.0)], most=most)
            if t + 1 < len(rows):
                self._column([(row, 1.0), (rows[t + 1], -factors[t + 1])])
            else:
                self._column([(row, 1.0)], worth=1.0)
        return subscribed, taken

    def _solver(self) -> highspy.Highs:
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self._cost), len(self._row_lower)
        lp.sense_ = highspy.ObjSense.kMaximize
        lp.col_cost_ = self._cost
        lp.col_lower_ = [0.0] * len(self._cost)
        lp.col_upper_ = self._upper
        lp.row_lower_ = self._row_lower
        lp.row_upper_ = self._row_upper
        lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        starts, rows, values = _sparse(self._entries)
        lp.a_matrix_.start_ = [*starts, len(rows)]
        lp.a_matrix_.index_ = rows
        lp.a_matrix_.value_ = values
        highs = highspy.Highs()
        highs.setOptionValue("output_flag", False)
        highs.setOptionValue("threads", 1)
        highs.setOptionValue("presolve", "off")
        highs.passModel(lp)
        return highs

    def _add(self, columns: Sequence[_Entries]) -> int:
        """New columns from nothing up; the number of the first."""
        starts, rows, values = _sparse(columns)
        count, first = len(columns), self._highs.getNumCol()
        nothing, endless = [0.0] * count, [INF] * count
        self._highs.addCols(count, nothing, nothing, endless, len(rows), starts, rows, values)
        return first

    def _show(self, at: Place, box: Box) -> None:
        """Let a place's tax be made of the points in a box."""
        place, cash = self.places[at], self._cash_rows[at[1]]
        new, keys = [], []
        wanted = set()
        for key, tax in {(savings, income): tax for savings, (income, tax) in place.points(box)}.items():
            savings, income = key
            if key in place.columns:
                wanted.add(place.columns[key])
            else:
                keys.append((key, tax))
                new.append(self._weighted(place, cash, income, savings / _POUND, tax, 1.0))
        if new:
            first = self._add(new)
            for column, (key, tax) in enumerate(keys, first):
                place.columns[key] = column
                place.taxes[column] = tax
                wanted.add(column)
        if not place.rays:
            place.rays = self._rays(place, cash)
        if place.free and box.high == box.total_high == INF:
            wanted.add(place.rays[0])
        if place.earns and box.savings_high is None and box.total_high == INF:
            wanted.add(place.rays[-1])
        changed = [*(wanted - place.shown), *(place.shown - wanted), *(set(range(0)))]
        # New columns are shown when they come.
        hidden = [column for column in [*place.columns.values(), *place.rays] if column not in wanted]
        opened_now = [column for column in wanted if column not in place.shown]
        indices = [*hidden, *opened_now]
        if indices:
            uppers = [0.0] * len(hidden) + [INF] * len(opened_now)
            self._highs.changeColsBounds(len(indices), indices, [0.0] * len(indices), uppers)
        place.shown = wanted

    def _rays(self, place: _Place, cash: int) -> list[int]:
        """Endless income, and endless savings, each at the rate at which it is taxed at last."""
        columns: list[_Entries] = []
        line = place.surface.level(place.savings)
        if place.free:
            columns.append(((place.withdrawal, 1.0), (cash, line.top_rate)))
        if place.earns:
            far = place.savings + 100_000_000
            rate = (place.surface.tax(place.income, 2 * far) - place.surface.tax(place.income, far)) * _POUND / far
            columns.append(((place.interest, 1.0), (cash, rate)))
        first = self._add(columns)
        return list(range(first, first + len(columns)))

    @staticmethod
    def _weighted(place: _Place, cash: int, income: float, savings: float, tax: float, weight: float) -> _Entries:
        entries = [(place.weights, weight), (cash, tax)]
        if place.free:
            entries.append((place.withdrawal, income))
        if place.earns:
            entries.append((place.interest, savings))
        return [(row, value) for row, value in entries if value]

    def _put_in_order(self, person: int, order: Order) -> None:
        columns = [draws["taxed"] for draws in self._draws[person] if "taxed" in draws]
        starts = [t for t, draws in enumerate(self._draws[person]) if "taxed" in draws]
        uppers = [0.0 if t < order.not_before else INF for t in starts]
        self._highs.changeColsBounds(len(columns), columns, [0.0] * len(columns), uppers)
        left = self._left[person]
        for t, row in enumerate(self._used_rows[person]):
            self._highs.changeRowBounds(row, left - 0.01 if order.used_by is not None and t >= order.used_by else 0.0, INF)

    def _read(self) -> Solution:
        solution = self._highs.getSolution()
        found, duals = solution.col_value, solution.row_dual

        def value(column: int | None) -> float:
            return 0.0 if column is None else max(0.0, found[column])

        share = self.timeline.periods[0].rules.lump_sums.tax_free_rate / lump_sums.WHOLE
        withdrawn, drawdown, out_of_order = [], [], {}
        for person, years in enumerate(self._draws):
            left = self._left[person]
            amounts, drawn = [], []
            for t, named in enumerate(years):
                tax_free, taxed = value(named.get("tax_free")), value(named.get("taxed"))
                from_drawdown = value(named.get("drawdown"))
                left -= tax_free * share
                if "tax_free" in named and taxed > 1 and left > 1 and person not in out_of_order:
                    out_of_order[person] = t
                amounts.append(tax_free * (1 - share) + taxed + from_drawdown)
                drawn.append(from_drawdown)
            withdrawn.append(amounts)
            drawdown.append(drawn)
        points = {}
        for at, place in self.places.items():
            if not place.varies:
                continue
            points[at] = [
                TaxPoint(income, savings, place.taxes[column], found[column])
                for (savings, income), column in place.columns.items()
                if found[column] > _UNUSED
            ]
        return Solution(
            wealth=self._highs.getInfo().objective_function_value,
            withdrawn=withdrawn,
            drawdown=drawdown,
            cash=[[value(column) for column in owner] for owner in self._held],
            subscribed=[value(column) for column in self._subscribed],
            from_isas=[value(self._from_isas.get(t)) for t in self._periods],
            worth=[duals[row] for row in self._cash_rows],
            points=points,
            out_of_order=out_of_order,
        )


def _sparse(columns: Sequence[_Entries]) -> tuple[list[int], list[int], list[float]]:
    """Columns one after another: where each starts, its rows, its values."""
    starts, rows, values = [], [], []
    for entries in columns:
        starts.append(len(rows))
        for row, amount in entries:
            rows.append(row)
            values.append(amount)
    return starts, rows, values


def _taxpayer(timeline: Timeline, person: int, position: int) -> Taxpayer:
    """The person's tax year without the plan's own cash, but for the interest of the first period, which is known."""
    taxpayer = timeline.people[person][position].taxpayer
    if position:
        return taxpayer
    cash = timeline.household.people[person].cash
    return replace(
        taxpayer,
        savings=taxpayer.savings + timeline.periods[0].growth(cash, timeline.household.assumptions.cash_interest),
    )


def _tied(timeline: Timeline, person: int) -> bool:
    """Whether the partner receives the marriage allowance that this person gives."""
    kinds = [member.marriage_allowance for member in timeline.household.people]
    return len(kinds) > 1 and kinds[person] == "gives" and kinds[1 - person] == "receives"


def _lump_sum(timeline: Timeline, person: int) -> tuple[int, float] | None:
    """The period and amount (pounds) of the one lump sum of "first"; None where there is none."""
    if timeline.household.lump_sums != "first":
        return None
    held = first_holdings(timeline)
    for position, year in enumerate(timeline.people[person]):
        people = opened(timeline, position, held)
        lump_sum = people[person].lump_sum
        if lump_sum is not None:
            return position, lump_sum.gross / _POUND
        if not year.may_withdraw:
            held = tuple(replace(one.before, pension=one.pension) for one in people)
    return None
