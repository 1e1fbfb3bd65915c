"""The household's years as a linear model that HiGHS solves again and again: what is drawn, subscribed, held and spent.

Each person's tax in a period is a weighted sum of points of their tax surface: the model sees the convex hull of the
points it is given. To bring the hull nearer to the tax, a period is played in several ``scenes`` at once, each with its
share of the period, its own money and a ``Box`` that leaves out the points outside it. The shares come to one; a plan is
one in which each period has a single scene. One solver is kept for all models of a plan. Money is in pounds here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

import highspy

from service.law import lump_sums
from service.law.income_tax import Taxpayer
from service.law.units import WHOLE
from service.planning.optimiser.tax_surface import Moving, Surface, meetings
from service.planning.projection.settlement import first_holdings, opened
from service.planning.projection.timeline import Timeline

INF = float("inf")
_POUND = 100  # pence
_UNUSED = 1e-7  # a share or weight this small is none
_WHOLE = 1e-5  # a share this near to one is one
_NEAR = 1e-6  # pounds
_GAIN = 1e-7  # pounds at the plan's end for a pound held
_PENNY = 0.01
_LEFT_ALONE = 2e-7  # pounds at the end for a pound left in a pension: of plans as good, the one that draws less
_FAR = 1_000_000  # pounds

_Entries = Sequence[tuple[int, float]]
"""What a column has in rows: row and value."""


class _Column(NamedTuple):
    """A column for the solver: what a unit of it is worth at the end, its bounds, its entries."""

    worth: float
    least: float
    most: float
    entries: _Entries


class Box(NamedTuple):
    """Bounds on income below savings and on that and savings together, pounds, and on savings, pence."""

    low: float = 0.0
    high: float = INF
    total_low: float = 0.0
    total_high: float = INF
    savings_low: int = 0
    savings_high: int | None = None

    def has(self, savings: int) -> bool:
        """Whether an amount of savings is inside."""
        return self.savings_low <= savings and (self.savings_high is None or savings <= self.savings_high)


class Order(NamedTuple):
    """When a person's uncrystallised funds may be drawn without a tax-free part: not before one period, and the tax-free
    allowance is used up by another (None: it need not be)."""

    not_before: int = 0
    used_by: int | None = None


class Cast(NamedTuple):
    """The scenes of a period that may be played, of those ``known`` when this was written; a later scene follows the one
    it was cut from."""

    scenes: frozenset[int]
    known: int


class Node(NamedTuple):
    """A part of all plans: the scenes that may be played by period, and orders by person."""

    casts: Mapping[int, Cast]
    orders: Mapping[int, Order]


class TaxPoint(NamedTuple):
    """A point of a person's tax: income below savings, pounds, savings, pence, and the tax. ``endless``: no point, but
    what more savings cost above all bands."""

    income: float
    savings: int
    tax: float
    endless: bool = False


class Role(NamedTuple):
    """A person's tax in a scene as the model's answer has it: by how much the rules' tax is higher and what that costs at
    the plan's end; the scene's share of the period, and on the whole of it the income below savings, pounds, the savings,
    pence, and the tax; the points that make it up."""

    person: int
    period: int
    scene: int
    error: float
    lost: float
    share: float
    income: float
    savings: int
    tax: float
    points: list[TaxPoint]


@dataclass(slots=True)
class Solution:
    """Pounds by person and period: taxable withdrawals, drawdown drawn, cash held; in all: subscribed, from ISAs.

    ``shares`` are those of each period's scenes; ``mixed`` is what each period of several scenes would lose as one.
    ``out_of_order``: by person, the periods in which funds are drawn without a tax-free part before the allowance is used
    up.
    """

    wealth: float
    withdrawn: list[list[float]]
    drawdown: list[list[float]]
    cash: list[list[float]]
    subscribed: list[float]
    from_isas: list[float]
    shares: list[list[float]]
    roles: list[Role]
    mixed: dict[int, float]
    out_of_order: dict[int, list[int]]


@dataclass(slots=True)
class Ground:
    """A person's period: the tax surface, and where on it they are without the plan (pence).

    ``free``: something may be withdrawn. ``earns``: the plan's cash may bring interest. No plan has as much income as
    ``most`` (pounds). ``levels`` are the amounts of savings at which the model sees the surface.
    """

    surface: Surface
    income: int
    savings: int
    free: bool
    earns: bool
    most: float
    levels: list[int]

    @property
    def varies(self) -> bool:
        """Whether the tax depends on the plan."""
        return self.free or self.earns

    def reach(self, box: Box, savings: int) -> tuple[float, float]:
        """The least and the most income in a box at an amount of savings, pence."""
        start, beside = self.income / _POUND, savings / _POUND
        low = max(start, box.low, box.total_low - beside)
        return low, min(box.high, box.total_high - beside, self.most) if self.free else start

    def points(self, box: Box) -> Iterator[TaxPoint]:
        """The points inside a box: those that the convex line below each level needs, and where corners meet between."""
        levels = [savings for savings in self.levels if box.has(savings)]
        for savings in levels:
            low, high = self.reach(box, savings)
            if low <= high:
                for income, tax in self.surface.level(savings).hull(low, high).points:
                    yield TaxPoint(income, savings, tax)
        if self.earns and box.savings_high is None and box.total_high == INF:
            # Interest has no end here: above all bands the tax on it goes on in a straight line. A point far out in its
            # place would be so large beside the others that the solver could lose its way.
            yield TaxPoint(0.0, _POUND, self.surface.top_savings_rate, endless=True)
            low = max(self.income / _POUND, box.low)
            savings = round((box.total_low - low) * _POUND)
            if savings > levels[-1]:
                yield TaxPoint(low, savings, self.surface.tax(round(low * _POUND), savings))
        low, high = self.reach(box._replace(total_low=0.0, total_high=INF), self.savings)
        edges = [Moving(edge, 0.0) for edge in sorted({low, high})]
        edges += [Moving(total, 1.0) for total in (box.total_low, box.total_high) if 0 < total < INF]
        for below, above in pairwise(levels):
            for savings, income in self._between(
                (*edges, *self.surface.moving(below, above, upward=True)), below, above
            ):
                least, most = self.reach(box, savings)
                if least - _PENNY / 2 < income / _POUND < most + _PENNY / 2:
                    yield TaxPoint(income / _POUND, savings, self.surface.tax(income, savings))

    def _between(self, lines: Sequence[Moving], below: int, above: int) -> Iterator[tuple[int, int]]:
        """Savings and income, pence, where corners meet between two levels, and where along them tax begins."""
        for beside, line in meetings(lines, below / _POUND, above / _POUND):
            savings = int(beside * _POUND + _PENNY)
            yield savings, line.pence(savings)
        for line in lines:
            begins = self.surface.begins(line, below, above)
            if begins is not None:
                yield begins, line.pence(begins)

    def beyond(self, point: TaxPoint, way: TaxPoint) -> TaxPoint:
        """A point with a great deal more savings than another, along the endless way."""
        return TaxPoint(point.income, point.savings + _FAR * way.savings, point.tax + _FAR * way.tax)

    def corners(self, savings: int) -> list[float]:
        """The incomes at which the tax bends or steps up, about an amount of savings (pence)."""
        found = self.surface.level(self.savings).corners(upward=True)
        for below, above in pairwise(self.levels):
            if below <= savings <= above and savings != self.savings:
                lines = self.surface.moving(below, above, upward=True)
                found += [line.without - line.speed * savings / _POUND for line in lines]
        return found


@dataclass(slots=True)
class _Part:
    """One person in a scene: rows of weights, income and savings; columns of points and of draws."""

    weights: int = -1
    income: int = -1
    savings: int = -1
    columns: dict[TaxPoint, int] = field(default_factory=dict)
    shown: set[int] = field(default_factory=set)
    draws: dict[str, int] = field(default_factory=dict)


@dataclass(slots=True)
class _Scene:
    """A scene of a period, cut from another but for the first: a box for each person, rows and columns."""

    period: int
    parent: int | None
    boxes: list[Box]
    cash: int
    share: int
    parts: list[_Part]
    subscribed: int = -1
    from_isas: int | None = None


class HouseholdModel:
    """The linear model of a timeline."""

    def __init__(self, timeline: Timeline, *, tied: bool = False) -> None:
        """Build the model over all plans, one scene for each period.

        ``tied``: whoever gives a marriage allowance and may not is taxed with what that saves the partner as well, which
        is too much where the partner could not have had it.
        ``solves`` and ``steps`` count what the solver has done; ``unsolved``: it gave up on a model once.
        """
        self.timeline = timeline
        self.solves = self.steps = 0
        self.unsolved = False
        self._new_rows: list[tuple[float, float]] = []
        self._new_columns: list[_Column] = []
        self._rows = self._columns = 0
        self._highs = highspy.Highs()
        self._highs.setOptionValue("output_flag", False)
        self._highs.setOptionValue("threads", 1)
        self._highs.setOptionValue("presolve", "off")
        self._highs.changeObjectiveSense(highspy.ObjSense.kMaximize)
        assumed = timeline.household.assumptions
        self._people, self._periods = range(len(timeline.people)), range(len(timeline.periods))
        self._rates = [period.factor(assumed.cash_interest) - 1 for period in timeline.periods]
        self.grounds = self._surfaces(tied=tied and gives_and_receives(timeline))
        self._lump = [_lump_sum(timeline, person) for person in self._people]
        self._known = [self._known_in(t) for t in self._periods]
        self._pensions = [self._pension(person) for person in self._people]
        self._isa_rows = self._isas()
        self._held: dict[tuple[int, int, int | None, int], int] = {}
        self._whole_rows: dict[int, int] = {}
        self._casts: dict[int, Cast] = {}
        self._orders: dict[int, Order] = {}
        self.scenes: list[list[_Scene]] = [[] for _ in self._periods]
        for t in self._periods:
            self._play(t, None, [Box() for _ in self._people])

    def solve(self, node: Node) -> Solution | None:
        """The best plan of a part of all plans as the model sees it; None where there is none."""
        for t in {*self._casts, *node.casts}:
            self._cast(t, node.casts.get(t))
        self._casts = dict(node.casts)
        for person, pension in enumerate(self._pensions):
            order = node.orders.get(person, Order())
            if pension.used and order != self._orders.get(person, Order()):
                self._put_in_order(person, order)
                self._orders[person] = order
        self._flush()
        status = self._run()
        if status not in (highspy.HighsModelStatus.kOptimal, highspy.HighsModelStatus.kInfeasible):
            # Rarely the solver loses its way from the last answer: it starts afresh, and simplifies the model first.
            self._highs.clearSolver()
            self._highs.setOptionValue("presolve", "on")
            status = self._run()
            self._highs.setOptionValue("presolve", "off")
        if status == highspy.HighsModelStatus.kOptimal:
            return self._read()
        self.unsolved |= status != highspy.HighsModelStatus.kInfeasible
        return None

    def _run(self) -> highspy.HighsModelStatus:
        self._highs.run()
        self.solves += 1
        self.steps += max(0, self._highs.getInfo().simplex_iteration_count)
        return self._highs.getModelStatus()

    @property
    def scenes_made(self) -> int:
        """How many scenes there are by now."""
        return sum(len(scenes) for scenes in self.scenes)

    def allowed(self, node: Node, t: int) -> frozenset[int]:
        """The scenes of a period that a node lets be played."""
        return self._allowed(t, node.casts.get(t))

    def box(self, role: Role) -> Box:
        """The box of a role."""
        return self.scenes[role.period][role.scene].boxes[role.person]

    def cut(self, role: Role, boxes: tuple[Box, Box]) -> None:
        """Cut a scene in two by one person's box."""
        limits = [limit for box in boxes for limit in (box.savings_low, box.savings_high) if limit]
        self.add_levels(role.person, role.period, *limits)
        old = self.scenes[role.period][role.scene]
        others = list(old.boxes)
        old.boxes[role.person], others[role.person] = boxes
        self._show(old, role.person)
        self._play(role.period, role.scene, others)

    def add_levels(self, person: int, t: int, *savings: int) -> None:
        """Let the model see a person's tax in a period at more amounts of savings, pence."""
        ground = self.grounds[person][t]
        levels = sorted({*ground.levels, *savings})
        if levels != ground.levels:
            ground.levels = levels
            for scene in self.scenes[t]:
                self._show(scene, person)

    def look_at_interest(self, person: int, t: int, cap: int) -> None:
        """Let the model see a person's tax in a period at all amounts of savings, closely up to a cap above their own."""
        ground = self.grounds[person][t]
        rules, own = ground.surface.rules, ground.savings
        levels = {own + cap, *rules.scales.savings_allowances}
        start = rules.scales.starting_rate_limit
        if ground.income < rules.personal_allowance + start:
            levels |= {start, start + rules.scales.savings_allowances[0]}
        near = [level for level in levels if own < level <= own + cap]
        self.add_levels(person, t, *near, own + 4 * cap)

    def attractive(self) -> list[tuple[int, int]]:
        """Persons and periods whose interest the model has not looked at, though holding cash would pay if it bore none."""
        duals = self._highs.getSolution().row_dual
        found = []
        for t in self._periods[1:]:
            hidden = [p for p in self._people if self.grounds[p][t].earns and len(self.grounds[p][t].levels) == 1]
            if hidden:
                now = max(duals[scene.cash] for scene in self.scenes[t])
                before = min(duals[scene.cash] for scene in self.scenes[t - 1])
                if (1 + self._rates[t]) * now - before > _GAIN:
                    found += [(person, t) for person in hidden]
        return found

    def interest(self, solution: Solution, person: int, t: int) -> float:
        """The interest of a person in a period on the plan's cash; the first period's is not of the plan's making."""
        return solution.cash[person][t - 1] * self._rates[t] if t else 0.0

    # What is known

    def _surfaces(self, *, tied: bool) -> list[list[Ground]]:
        known: dict[tuple[Taxpayer, int, bool], Surface] = {}
        grounds = []
        for person, years in enumerate(self.timeline.people):
            most = _most_pension(self.timeline, person) / _POUND + 1.0
            own = []
            for t, year in enumerate(years):
                taxpayer = _taxpayer(self.timeline, person, t)
                void = _is_void(self.timeline, t)
                if void and taxpayer.marriage_allowance == "receives":
                    taxpayer = replace(taxpayer, marriage_allowance="none")
                alike = replace(taxpayer, other_income=0, savings=0)
                loses = tied and not void and alike.marriage_allowance == "gives"
                surface = known.setdefault((alike, id(year.rules), loses), Surface(alike, year.rules, loses))
                earns = t > 0 and self._rates[t] > 0
                income, savings = taxpayer.other_income, taxpayer.savings
                own.append(
                    Ground(
                        surface,
                        income,
                        savings,
                        year.may_withdraw,
                        earns,
                        income / _POUND + most,
                        [savings],
                    )
                )
            grounds.append(own)
        return grounds

    def _known_in(self, t: int) -> float:
        """What comes in and goes out in a period whatever is decided."""
        timeline = self.timeline
        total = -timeline.spending[t] / _POUND
        for person, years in enumerate(timeline.people):
            year, ground = years[t], self.grounds[person][t]
            total += (year.received + year.tax_outside) / _POUND
            if not ground.varies:
                total -= ground.surface.tax(ground.income, ground.savings)
            if t == 0:
                cash = timeline.household.people[person].cash
                interest = timeline.periods[0].growth(cash, timeline.household.assumptions.cash_interest)
                total += (cash + interest) / _POUND
            taken = self._lump[person]
            if taken is not None and taken[0] == t:
                total += taken[1]
        return total

    # Rows and columns

    def _row(self, low: float, high: float) -> int:
        self._new_rows.append((low, high))
        self._rows += 1
        return self._rows - 1

    def _column(self, entries: _Entries, *, worth: float = 0.0, least: float = 0.0, most: float = INF) -> int:
        self._new_columns.append(_Column(worth, least, most, [(row, value) for row, value in entries if value]))
        self._columns += 1
        return self._columns - 1

    def _flush(self) -> None:
        """Hand new rows and columns to the solver."""
        if self._new_rows:
            lower, upper = [low for low, _ in self._new_rows], [high for _, high in self._new_rows]
            self._highs.addRows(len(lower), lower, upper, 0, [0] * len(lower), [], [])
            self._new_rows = []
        if self._new_columns:
            costs = [column.worth for column in self._new_columns]
            least, most = [column.least for column in self._new_columns], [column.most for column in self._new_columns]
            starts: list[int] = []
            rows: list[int] = []
            values: list[float] = []
            for column in self._new_columns:
                starts.append(len(rows))
                rows += [row for row, _ in column.entries]
                values += [value for _, value in column.entries]
            self._highs.addCols(len(costs), costs, least, most, len(rows), starts, rows, values)
            self._new_columns = []

    def _bounded(self, bounds: Mapping[int, tuple[float, float]]) -> None:
        """Give columns other bounds."""
        if bounds:
            self._flush()
            lower, upper = [low for low, _ in bounds.values()], [high for _, high in bounds.values()]
            self._highs.changeColsBounds(len(bounds), list(bounds), lower, upper)

    def _pension(self, person: int) -> _Pension:
        """A pension's rows: what is drawn, grown to the end, and what is left add up to the whole pot grown."""
        timeline = self.timeline
        assumed, periods = timeline.household.assumptions, timeline.periods
        after = [1.0] * len(periods)  # growth of pension money from a period's end to the plan's
        for t in range(len(periods) - 1, 0, -1):
            after[t - 1] = after[t] * periods[t].factor(assumed.pension_growth)
        kept = (WHOLE - assumed.exit_tax_rate) / WHOLE + _LEFT_ALONE
        member = timeline.household.people[person]
        to_end = after[0] * periods[0].factor(assumed.pension_growth)
        rules = periods[0].rules.lump_sums
        tax_free_left = lump_sums.available(member.pension, rules).tax_free / _POUND
        share = rules.tax_free_rate / WHOLE
        uncrystallised = member.pension.uncrystallised / _POUND * to_end
        drawdown = member.pension.drawdown / _POUND * to_end
        lump = self._lump[person]
        if lump is not None:
            taken_to_end = lump[1] * after[lump[0]]
            drawdown, uncrystallised = drawdown + uncrystallised - taken_to_end, 0.0
            tax_free_left = 0.0
        with_each = timeline.household.lump_sums == "with_each_withdrawal"
        # Where the allowance never runs out, drawing without a tax-free part is never better.
        runs_out = with_each and member.pension.uncrystallised / _POUND * max(1.0, to_end) * share > tax_free_left
        funds = self._row(uncrystallised, uncrystallised)
        income_funds = self._row(drawdown, drawdown)
        allowance = self._row(-INF, tax_free_left)
        quarter = self._row(-INF, 0.0)
        self._column([(funds, 1.0), (quarter, -share)], worth=kept)
        self._column([(income_funds, 1.0)], worth=kept)
        self._column([(quarter, 1.0), (allowance, 1.0)], worth=1 - kept)
        used = [self._row(0.0, INF) for _ in periods] if runs_out and uncrystallised > 0 else []
        kinds = []
        if uncrystallised > 0:
            kinds += ["tax_free"] if with_each else []
            kinds += ["taxed"] if runs_out or not with_each else []
        if drawdown > 0:
            kinds.append("drawdown")
        return _Pension(after, tax_free_left, share, funds, income_funds, allowance, used, kinds)

    def _isas(self) -> list[int]:
        """Rows of the ISAs of both people, which grow as one, and what stays in them."""
        growth = self.timeline.household.assumptions.isa_growth
        factors = [period.factor(growth) for period in self.timeline.periods]
        value = sum(member.isa.value for member in self.timeline.household.people) / _POUND * factors[0]
        rows = [self._row(value if t == 0 else 0.0, value if t == 0 else 0.0) for t in self._periods]
        for row, after, factor in zip(rows, rows[1:], factors[1:], strict=False):
            self._column([(row, 1.0), (after, -factor)])
        self._column([(rows[-1], 1.0)], worth=1.0)
        return rows

    def _play(self, t: int, parent: int | None, boxes: list[Box]) -> None:
        """A new scene of a period: its share, its money, everybody's draws and tax."""
        scenes, timeline = self.scenes[t], self.timeline
        parts = [_Part() for _ in self._people]
        cash = self._row(0.0, 0.0)
        whole: list[tuple[int, float]] = [(cash, -self._known[t])]
        for person, part in enumerate(parts):
            ground = self.grounds[person][t]
            if ground.varies:
                part.weights = self._row(0.0, 0.0)
                whole.append((part.weights, -1.0))
            if ground.free:
                part.income = self._row(0.0, 0.0)
                whole.append((part.income, -ground.income / _POUND))
            if ground.earns:
                part.savings = self._row(0.0, 0.0)
                whole.append((part.savings, -ground.savings / _POUND))
        room = sum(years[t].isa_room for years in timeline.people) / _POUND
        spending = timeline.spending[t] / _POUND
        limits = [self._row(-INF, 0.0) for _ in range(2)]
        share = self._column([*whole, (limits[0], -room), (limits[1], -spending)], least=1.0, most=1.0)
        scene = _Scene(t, parent, boxes, cash, share, parts)
        scene.subscribed = self._column([(cash, 1.0), (self._isa_rows[t], -1.0), (limits[0], 1.0)])
        if spending:
            scene.from_isas = self._column([(cash, -1.0), (self._isa_rows[t], 1.0), (limits[1], 1.0)])
        for person, part in enumerate(parts):
            self._draw(person, t, cash, part)
        scenes.append(scene)
        if len(scenes) == 2:
            self._whole_rows[t] = self._row(1.0, 1.0)
            self._flush()
            self._highs.changeCoeff(self._whole_rows[t], scenes[0].share, 1.0)
        if len(scenes) > 1:
            self._flush()
            self._highs.changeCoeff(self._whole_rows[t], share, 1.0)
            self._bounded({one.share: (0.0, 1.0) for one in scenes})
        self._hold(t, len(scenes) - 1)
        for person in self._people:
            self._show(scene, person)

    def _draw(self, person: int, t: int, cash: int, part: _Part) -> None:
        """A person's draws in a scene."""
        pension, share = self._pensions[person], self._pensions[person].share
        if not self.grounds[person][t].free:
            return
        grown, income = pension.after[t], part.income
        too_early = t < self._orders.get(person, Order()).not_before
        for kind in pension.kinds:
            if kind == "drawdown":
                entries = [(cash, -1.0), (pension.income_funds, grown), (income, -1.0)]
            elif kind == "taxed":
                entries = [(cash, -1.0), (pension.funds, grown), (income, -1.0)]
            else:
                entries = [(cash, -1.0), (pension.funds, grown), (pension.allowance, share), (income, share - 1)]
                entries += [(row, share) for row in pension.used[t:]]
            part.draws[kind] = self._column(entries, most=0.0 if kind == "taxed" and too_early else INF)

    def _hold(self, t: int, new: int) -> None:
        """Cash held from the scenes of one period to those of the next, by owner; its interest is the owner's income."""
        scene = self.scenes[t][new]
        if t == self._periods[-1]:
            self._held[t, new, None, 0] = self._column([(scene.cash, 1.0)], worth=1.0)
        pairs = [(t - 1, before, new) for before in range(len(self.scenes[t - 1]))] if t else []
        if t + 1 < len(self.scenes):
            pairs += [(t, new, after) for after in range(len(self.scenes[t + 1]))]
        for first, here, there in pairs:
            one, other, rate = self.scenes[first][here], self.scenes[first + 1][there], self._rates[first + 1]
            both = [(one.cash, 1.0), (other.cash, -1.0 - rate)]
            for owner in self._people if rate else (0,):
                entries = [*both, (other.parts[owner].savings, -rate)] if rate else both
                self._held[first, here, there, owner] = self._column(entries)

    def _show(self, scene: _Scene, person: int) -> None:
        """Let a person's tax in a scene be made of the points in its box."""
        ground, part, box = self.grounds[person][scene.period], scene.parts[person], scene.boxes[person]
        if not ground.varies:
            return
        wanted = set()
        for point in ground.points(box):
            if point not in part.columns:
                entries = [(part.weights, 0.0 if point.endless else 1.0), (scene.cash, point.tax)]
                entries += [(part.income, point.income)] if ground.free else []
                entries += [(part.savings, point.savings / _POUND)] if ground.earns else []
                part.columns[point] = self._column(entries)
                part.shown.add(part.columns[point])
            wanted.add(part.columns[point])
        self._bounded(
            dict.fromkeys(sorted(wanted - part.shown), (0.0, INF))
            | dict.fromkeys(sorted(part.shown - wanted), (0.0, 0.0))
        )
        part.shown = wanted

    # Parts of all plans

    def _allowed(self, t: int, cast: Cast | None) -> frozenset[int]:
        every = range(len(self.scenes[t]))
        if cast is None:
            return frozenset(every)
        found = set(cast.scenes)
        for scene in every[cast.known :]:
            if self.scenes[t][scene].parent in found:
                found.add(scene)
        return frozenset(found)

    def _cast(self, t: int, cast: Cast | None) -> None:
        if len(self.scenes[t]) > 1:
            allowed = self._allowed(t, cast)
            shares = {scene.share: (0.0, 1.0 * (i in allowed)) for i, scene in enumerate(self.scenes[t])}
            self._bounded(shares)

    def _put_in_order(self, person: int, order: Order) -> None:
        pension = self._pensions[person]
        self._bounded(
            {
                scene.parts[person].draws["taxed"]: (0.0, 0.0 if t < order.not_before else INF)
                for t, scenes in enumerate(self.scenes)
                for scene in scenes
                if "taxed" in scene.parts[person].draws
            }
        )
        for t, row in enumerate(pension.used):
            used_up = order.used_by is not None and t >= order.used_by
            self._highs.changeRowBounds(row, pension.tax_free_left - _PENNY if used_up else 0.0, INF)

    # The answer

    def _read(self) -> Solution:
        solution = self._highs.getSolution()
        found, duals = solution.col_value, solution.row_dual
        roles = list(self._roles(found, duals))
        shares = [[found[scene.share] for scene in scenes] for scenes in self.scenes]

        def drawn(person: int, t: int, kind: str) -> float:
            parts = [scene.parts[person].draws for scene in self.scenes[t]]
            return sum(max(0.0, found[draws[kind]]) for draws in parts if kind in draws)

        withdrawn, drawdown = [], []
        out_of_order: dict[int, list[int]] = {}
        for person, pension in enumerate(self._pensions):
            left, amounts, from_drawdown = pension.tax_free_left, [], []
            for t in self._periods:
                tax_free, taxed = drawn(person, t, "tax_free"), drawn(person, t, "taxed")
                from_drawdown.append(drawn(person, t, "drawdown"))
                left -= tax_free * pension.share
                if pension.used and taxed > 1 and left > 1:
                    out_of_order.setdefault(person, []).append(t)
                amounts.append(tax_free * (1 - pension.share) + taxed + from_drawdown[-1])
            withdrawn.append(amounts)
            drawdown.append(from_drawdown)
        cash = [[0.0 for _ in self._periods] for _ in self._people]
        for (t, _, _, owner), column in self._held.items():
            cash[owner][t] += max(0.0, found[column])
        return Solution(
            wealth=self._highs.getInfo().objective_function_value,
            withdrawn=withdrawn,
            drawdown=drawdown,
            cash=cash,
            subscribed=[sum(max(0.0, found[scene.subscribed]) for scene in scenes) for scenes in self.scenes],
            from_isas=[
                sum(max(0.0, found[scene.from_isas]) for scene in scenes if scene.from_isas is not None)
                for scenes in self.scenes
            ],
            shares=shares,
            roles=roles,
            mixed=self._mixed(shares, roles, duals),
            out_of_order=out_of_order,
        )

    def _roles(self, found: Sequence[float], duals: Sequence[float]) -> Iterator[Role]:
        """Everybody's tax in each scene that is played."""
        for t, scenes in enumerate(self.scenes):
            for number, scene in enumerate(scenes):
                share = found[scene.share]
                if share < _UNUSED:
                    continue
                for person, part in enumerate(scene.parts):
                    ground = self.grounds[person][t]
                    if not ground.varies:
                        continue
                    weights = [(point, found[column]) for point, column in part.columns.items()]
                    made_of = [(point, weight / share) for point, weight in weights if weight > _UNUSED]
                    points = [point for point, _ in made_of if not point.endless]
                    points += [ground.beyond(points[-1], point) for point, _ in made_of if point.endless]
                    income = sum(point.income * weight for point, weight in made_of)
                    savings = round(sum(point.savings * weight for point, weight in made_of))
                    tax = sum(point.tax * weight for point, weight in made_of)
                    # A single point is the rules' own.
                    right = tax if len(points) == 1 else ground.surface.tax(round(income * _POUND), savings)
                    worth = share * duals[scene.cash]
                    yield Role(
                        person, t, number, right - tax, (right - tax) * worth, share, income, savings, tax, points
                    )

    def _mixed(
        self, shares: Sequence[Sequence[float]], roles: Sequence[Role], duals: Sequence[float]
    ) -> dict[int, float]:
        """What it would cost, in each period of several scenes, to be taxed as on the whole instead of in each scene."""
        found = {}
        for t, some in enumerate(shares):
            if max(some) > 1 - _WHOLE:
                continue
            cost = 0.0
            for person, own in enumerate(self.grounds):
                played = [role for role in roles if role.period == t and role.person == person]
                income = round(sum(role.share * role.income for role in played) * _POUND)
                savings = round(sum(role.share * role.savings for role in played))
                if played:
                    cost += own[t].surface.tax(income, savings) - sum(role.share * role.tax for role in played)
            found[t] = cost * max(duals[scene.cash] for scene in self.scenes[t])
        return found


class _Pension(NamedTuple):
    """A pension in the model: growth to the end, what is left of the tax-free allowance, the tax-free share, rows, and
    the kinds of draws that are of use."""

    after: list[float]
    tax_free_left: float
    share: float
    funds: int
    income_funds: int
    allowance: int
    used: list[int]
    kinds: list[str]


def _most_pension(timeline: Timeline, person: int) -> float:
    """What a pension comes to at most, pence."""
    pension = timeline.household.people[person].pension
    pot = float(pension.uncrystallised + pension.drawdown)
    for period in timeline.periods:
        pot *= max(1.0, period.factor(timeline.household.assumptions.pension_growth))
    return pot


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


def gives_and_receives(timeline: Timeline) -> bool:
    """Whether one of the two gives the other the marriage allowance."""
    return sorted(member.marriage_allowance for member in timeline.household.people) == ["gives", "receives"]


def _is_void(timeline: Timeline, position: int) -> bool:
    """Whether the one who gives the marriage allowance may not, even without the plan."""
    givers = [
        years[position]
        for member, years in zip(timeline.household.people, timeline.people, strict=True)
        if member.marriage_allowance == "gives"
    ]
    return gives_and_receives(timeline) and not givers[0].liability().marriage_allowance_open


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
