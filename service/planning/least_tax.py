"""The plan that leaves the household the most after tax, and a bound on how much better any plan could be.

The household's years are written as a linear model: what is drawn from which funds, what is subscribed, held and spent,
with each person's tax as straight segments (``tax_shape``). A tax curve that is not convex is first replaced by the
convex line below it; only where the answer rests on such a line are its true segments put in, with whole-number
switches. HiGHS solves the model. Its answer is then carried out to the penny by the rules, and where interest on waiting
cash turned out otherwise than expected, the shapes are read anew and the model solved again.

Money is in pounds here and approximate; nothing of it reaches an answer but the bound.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import product
from typing import NamedTuple

import highspy

from service.law import lump_sums
from service.law.income_tax import Taxpayer
from service.planning.filling import Policy, Projection, draw_for, draw_with_tax_free_part, projected
from service.planning.projection import Choice, Draw, Opened, first_holdings, opened, settle
from service.planning.tax_shape import (
    SOME_INTEREST,
    Point,
    TaxShape,
    along,
    convex_runs,
    first_shape,
    last_slope,
    lower_hull,
    shape_at,
    upside_down,
)
from service.planning.timeline import WHOLE, Timeline

_INF = float("inf")
_ROUNDS = 6  # models solved with switches between on and off, at most
_WHOLE_ROUNDS = 2  # and with switches on or off
_WHOLE_PERIODS = 30  # shorter plans are cheap to search for longer
_MOST_NODES = 500  # of one search with whole numbers
_LONGEST = 2.0  # seconds of one search with whole numbers: a net for the odd household, as a worker has others to serve
_CLOSE_ENOUGH = 0.50  # pounds a period: the gap at which the search stops
_ERROR = 0.25  # pounds: a convex line this near below the curve is the curve
_SHAPE_ERROR = 0.50  # pounds: more than whole pounds and pennies explain
_LAST_PENNIES = 8  # tries at making up what rounding left short
_SNAP = 0.02  # pounds: an amount this near a corner is the corner
_ROUNDING = 0.05  # pounds a person and period by which whole pennies and pounds may beat the model
_POUND = 100  # pence

_Entries = list[tuple[int, float]]
"""What a column has in rows: row and value."""


class BestPlan(NamedTuple):
    """The best plan found and the solver's bound on the wealth of any plan, pence. ``solves`` counts models solved.

    ``agreed``: in the end the model taxed its plan as the rules do; otherwise its bound is only near the truth.
    """

    projection: Projection
    bound: int
    solves: int
    agreed: bool


def least_tax(timeline: Timeline, *, thorough: bool = True) -> BestPlan:
    """The plan with the most wealth after tax at the end. RuleViolation where spending cannot be met.

    Without ``thorough`` the dear part of the search is left out: the plan may be some pounds a year from the best.
    """
    shapes = [
        [
            first_shape(
                _taxpayer(timeline, person, position),
                years[position].rules,
                cash_is_better=position > 0
                and timeline.household.assumptions.cash_interest > timeline.household.assumptions.isa_growth,
                tied=_tied(timeline, person),
            )
            for position in range(len(timeline.periods))
        ]
        for person, years in enumerate(timeline.people)
    ]
    exact: set[tuple[int, int]] = set()
    exact_relief: set[tuple[int, int]] = set()
    read_once: set[tuple[int, int]] = set()
    ordered: set[int] = set()
    best: Projection | None = None
    best_wealth, bound = 0, 0.0
    solves = wholly = 0
    close = _CLOSE_ENOUGH * len(timeline.periods)
    agreed = False
    most_income = [_most_income(timeline, person) for person in range(len(timeline.people))]
    whole_rounds = max(_WHOLE_ROUNDS, _WHOLE_PERIODS // len(timeline.periods)) if thorough else 0
    while solves < _ROUNDS + whole_rounds and wholly <= whole_rounds:
        model = _Model(timeline, shapes, exact, exact_relief, ordered, most_income)
        solution = model.solve(whole=wholly > 0)
        solves += 1
        if solution is None:
            break
        plan = projected(timeline, _policy(timeline, shapes, solution))
        wealth = plan.wealth
        if best is None or wealth > best_wealth:
            best, best_wealth = plan, wealth
        bound = solution.bound
        improved, off = _improved(timeline, shapes, exact, exact_relief, read_once, ordered, solution, plan)
        agreed = off <= close
        if agreed and bound - best_wealth / _POUND <= close:
            break
        if wholly or not improved or solves >= _ROUNDS:
            # Without whole numbers the switches cost little; with them the search is dear, and comes last.
            if not model.switches or (wholly and not improved):
                break
            wholly += 1
    if best is None:
        best = projected(timeline, lambda _, people: Choice(tuple(Draw() for _ in people)))
        best_wealth = best.wealth
    slack = _ROUNDING * len(timeline.periods) * len(timeline.people)
    return BestPlan(best, round((bound + slack) * _POUND), solves, agreed)


@dataclass(slots=True)
class _Solution:
    """Pounds by person and period: taxable income of the plan, drawdown drawn, cash held; in all: subscribed, from ISAs."""

    bound: float
    income: list[list[float]]
    drawdown: list[list[float]]
    cash: list[list[float]]
    subscribed: list[float]
    from_isas: list[float]
    out_of_order: set[int]

    def interest(self, timeline: Timeline, person: int, position: int) -> float:
        """The interest a period brings on the cash held before it; the first period's is not of the plan's making."""
        if position == 0:
            return 0.0
        factor = timeline.periods[position].factor(timeline.household.assumptions.cash_interest)
        return self.cash[person][position - 1] * (factor - 1)

    def isas_full(self, timeline: Timeline, position: int) -> bool:
        """Whether all ISA room of a period is used."""
        room = sum(years[position].isa_room for years in timeline.people)
        return self.subscribed[position] >= room / _POUND - 1


@dataclass(slots=True)
class _Model:
    """The household as a linear model. Rows and columns are added by name; see ``solve``."""

    timeline: Timeline
    shapes: Sequence[Sequence[TaxShape]]
    exact: set[tuple[int, int]]
    exact_relief: set[tuple[int, int]]
    ordered: set[int]
    most_income: Sequence[float]
    cost: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    switches: list[int] = field(default_factory=list)
    starts: list[int] = field(default_factory=lambda: [0])
    rows: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    row_lower: list[float] = field(default_factory=list)
    row_upper: list[float] = field(default_factory=list)

    def row(self, low: float, high: float) -> int:
        """A new row with its bounds."""
        self.row_lower.append(low)
        self.row_upper.append(high)
        return len(self.row_lower) - 1

    def column(self, entries: Sequence[tuple[int, float]], *, worth: float = 0.0, most: float = _INF) -> int:
        """A new column from 0 to ``most``, with its entries in rows already there."""
        self.cost.append(worth)
        self.upper.append(most)
        for row, value in entries:
            self.rows.append(row)
            self.values.append(value)
        self.starts.append(len(self.rows))
        return len(self.cost) - 1

    def switch(self, entries: Sequence[tuple[int, float]]) -> int:
        """A new column that is 0 or 1."""
        column = self.column(entries, most=1.0)
        self.switches.append(column)
        return column

    def solve(self, *, whole: bool) -> _Solution | None:
        """Build the rows and columns, solve, and read the answer; None where the model has none.

        ``whole``: switches are on or off; otherwise they may stand between, and the answer is a bound.
        """
        timeline = self.timeline
        assumed, periods = timeline.household.assumptions, timeline.periods
        count = len(periods)
        people = range(len(timeline.people))
        after = [1.0] * count  # growth of pension money from a period's end to the plan's
        for t in range(count - 1, 0, -1):
            after[t - 1] = after[t] * periods[t].factor(assumed.pension_growth)
        kept = (WHOLE - assumed.exit_tax_rate) / WHOLE
        lump = [_lump_sum(timeline, person) for person in people]
        cash_rows = [self.row(*[self._known(t, lump)] * 2) for t in range(count)]
        income_rows = [[self.row(0.0, 0.0) for _ in range(count)] for _ in people]
        interest_rows = [
            [self.row(0.0, 0.0) if shape.low else row for shape, row in zip(shapes, rows, strict=True)]
            for shapes, rows in zip(self.shapes, income_rows, strict=True)
        ]
        columns: list[list[dict[str, int]]] = [[{} for _ in range(count)] for _ in people]
        for person in people:
            self._pension(person, after, kept, lump[person], cash_rows, income_rows[person], columns[person])
            for t in range(count):
                if self.shapes[person][t].low is None:
                    self._tax(person, t, cash_rows[t], income_rows[person][t])
                else:
                    self._tax_in_two(person, t, cash_rows[t], income_rows[person][t], interest_rows[person][t])
        cash = self._cash(cash_rows, interest_rows)
        subscribed, from_isas = self._isas(cash_rows)
        return self._solved(columns, cash, subscribed, from_isas, whole=whole and bool(self.switches))

    def _known(self, t: int, lump: Sequence[tuple[int, float] | None]) -> float:
        """What comes in and goes out whatever is decided, in pounds."""
        timeline = self.timeline
        total = -timeline.spending[t] / _POUND
        for person, years in enumerate(timeline.people):
            year = years[t]
            total += (year.received + year.tax_outside) / _POUND - self.shapes[person][t].base
            if t == 0:
                cash = timeline.household.people[person].cash
                interest = timeline.periods[0].growth(cash, timeline.household.assumptions.cash_interest)
                total += (cash + interest) / _POUND
            taken = lump[person]
            if taken is not None and taken[0] == t:
                total += taken[1]
        return total

    def _pension(
        self,
        person: int,
        after: Sequence[float],
        kept: float,
        lump: tuple[int, float] | None,
        cash_rows: Sequence[int],
        income_rows: Sequence[int],
        columns: Sequence[dict[str, int]],
    ) -> None:
        """Draws from a pension: what is drawn, grown to the end, and what is left add up to the whole pot grown."""
        timeline = self.timeline
        assumed, periods = timeline.household.assumptions, timeline.periods
        member, years = timeline.household.people[person], timeline.people[person]
        to_end = after[0] * periods[0].factor(assumed.pension_growth)
        rules = periods[0].rules.lump_sums
        tax_free_left = lump_sums.available(member.pension, rules).tax_free / _POUND
        share = rules.tax_free_rate / lump_sums.WHOLE
        uncrystallised = member.pension.uncrystallised / _POUND * to_end
        drawdown = member.pension.drawdown / _POUND * to_end
        if lump is not None:
            taken_to_end = lump[1] * after[lump[0]]
            drawdown, uncrystallised = drawdown + uncrystallised - taken_to_end, 0.0
            tax_free_left = 0.0
        with_each = timeline.household.lump_sums == "with_each_withdrawal"
        funds = self.row(uncrystallised, uncrystallised)
        income_funds = self.row(drawdown, drawdown)
        allowance = self.row(-_INF, tax_free_left)
        quarter = self.row(-_INF, 0.0)
        self.column([(funds, 1.0), (quarter, -share)], worth=kept)
        self.column([(income_funds, 1.0)], worth=kept)
        self.column([(quarter, 1.0), (allowance, 1.0)], worth=1 - kept)
        used_by: list[int] = []
        if person in self.ordered:
            used_by = [self.row(0.0, _INF) for _ in periods]
        for t, year in enumerate(years):
            if not year.may_withdraw:
                continue
            cash, income, grown = cash_rows[t], income_rows[t], after[t]
            if uncrystallised > 0:
                if with_each:
                    entries = [(cash, -1.0), (funds, grown), (allowance, share), (income, -(1 - share))]
                    entries += [(row, share) for row in used_by[t:]]
                    columns[t]["tax_free"] = self.column(entries)
                taxed = [(cash, -1.0), (funds, grown), (income, -1.0)]
                if used_by:
                    limit = self.row(-_INF, 0.0)
                    taxed.append((limit, 1.0))
                    self.switch([(used_by[t], -tax_free_left), (limit, -uncrystallised / grown)])
                columns[t]["taxed"] = self.column(taxed)
            if drawdown > 0:
                columns[t]["drawdown"] = self.column([(cash, -1.0), (income_funds, grown), (income, -1.0)])

    def _tax(self, person: int, t: int, cash: int, income: int) -> None:
        """Tax as segments of income; a curve that is not convex as its convex line, or exactly with switches."""
        shape = self.shapes[person][t]
        if (person, t) not in self.exact:
            hull = lower_hull(shape.on_income, shape.top_rate)
            runs = convex_runs(hull, shape.top_rate)
        else:
            runs = convex_runs(shape.on_income, shape.top_rate)
        self._runs(runs, self.most_income[person], lambda pounds, rate: [(income, pounds), (cash, pounds * rate)])

    def _tax_in_two(self, person: int, t: int, cash: int, withdrawal: int, interest: int) -> None:
        """Tax where the starting rate for savings may run: one of two shapes, by the size of the withdrawal."""
        shape = self.shapes[person][t]
        low = shape.low
        assert low is not None
        most = self.most_income[person]
        chosen = self.row(1.0, 1.0)
        height = along(shape.on_income, shape.top_rate, low.most)
        above = _from(shape.on_income, low.most)
        small = (0.0, low.base, low.on_withdrawal, low.most, low.on_income, low.top_rate, [(0.0, 0.0)])
        large = (low.most, shape.base + height, [(0.0, 0.0)], most, above, shape.top_rate, upside_down(shape.relief))
        exactly = (person, t) in self.exact
        for least, base, on_withdrawal, longest_draw, on_income, top_rate, relief in (small, large):
            for drawn, spared, taxed in product(
                _started(on_withdrawal, last_slope(on_withdrawal), exactly=exactly),
                _started(relief, last_slope(relief), exactly=(person, t) in self.exact_relief),
                _started(on_income, top_rate, exactly=exactly),
            ):
                both = self.row(0.0, 0.0)  # withdrawal and interest above the least make the income on the segments
                tied = [
                    (chosen, 1.0),
                    (withdrawal, least + drawn.start),
                    (interest, spared.start),
                    (both, taxed.start - drawn.start - spared.start),
                    (cash, base - shape.base + drawn.height + spared.height + taxed.height),
                ]
                segments = []
                for run, longest, entries in (
                    (drawn, longest_draw - drawn.start, [(withdrawal, 1.0), (both, -1.0)]),
                    (spared, most, [(interest, 1.0), (both, -1.0)]),
                    (taxed, most, [(both, 1.0)]),
                ):
                    left = longest
                    for width, rate in run.segments:
                        limit = self.row(-_INF, 0.0)
                        tied.append((limit, -min(width, left)))
                        left -= min(width, left)
                        segments.append([*entries, (cash, rate), (limit, 1.0)])
                self.switch([(row, value) for row, value in tied if value])
                for segment in segments:
                    self.column(segment)

    def _runs(
        self,
        runs: Sequence[Sequence[tuple[float, float]]],
        most: float,
        entries: Callable[[float, float], _Entries],
    ) -> list[tuple[int, float]]:
        """Columns of segments (width, rate); of several runs exactly one is chosen, with all before it as its start.

        Each column comes with the pounds it stands for. With one switch a run, the model without whole numbers is as
        near the curve as the convex line below it.
        """
        if len(runs) == 1:
            return [(self.column(entries(1.0, rate), most=width), 1.0) for width, rate in runs[0]]
        columns = []
        chosen = self.row(1.0, 1.0)
        start = height = 0.0
        for run in runs:
            limits = [self.row(-_INF, 0.0) for _ in run]
            tied = [(limit, -min(most, width)) for limit, (width, _) in zip(limits, run, strict=True)]
            at_start = entries(start, height / start if start else 0.0)
            columns.append((self.switch([(chosen, 1.0), *at_start, *tied]), start))
            for limit, (width, rate) in zip(limits, run, strict=True):
                columns.append((self.column([*entries(1.0, rate), (limit, 1.0)]), 1.0))
                start, height = start + width, height + width * rate
        return columns

    def _cash(
        self, cash_rows: Sequence[int], income_rows: Sequence[Sequence[int]]
    ) -> list[list[list[tuple[int, float]]]]:
        """Cash held from one period's end to the next, by owner; its interest is the owner's income then."""
        periods = self.timeline.periods
        rate = self.timeline.household.assumptions.cash_interest
        held: list[list[list[tuple[int, float]]]] = [[[] for _ in periods] for _ in income_rows]
        for t in range(len(periods)):
            if t + 1 == len(periods):
                held[0][t].append((self.column([(cash_rows[t], 1.0)], worth=1.0), 1.0))
                continue
            interest = periods[t + 1].factor(rate) - 1
            if interest == 0:
                held[0][t].append((self.column([(cash_rows[t], 1.0), (cash_rows[t + 1], -1.0)]), 1.0))
                continue
            for person, rows in enumerate(income_rows):
                if self.shapes[person][t + 1].low is not None:
                    column = self.column(_held(cash_rows[t], cash_rows[t + 1], rows[t + 1], interest, 1.0, 0.0))
                    held[person][t].append((column, 1.0))
                    continue
                # The relief turned upside down is a line to keep low, as the tax is; here in pounds of cash.
                points = [(at / interest, height) for at, height in upside_down(self.shapes[person][t + 1].relief)]
                last_rate = last_slope(points)
                if (person, t + 1) not in self.exact_relief:
                    points = lower_hull(points, last_rate)
                runs = convex_runs(points, last_rate)
                entries = partial(_held, cash_rows[t], cash_rows[t + 1], rows[t + 1], interest)
                held[person][t] = self._runs(runs, self.most_income[person] / interest, entries)
        return held

    def _isas(self, cash_rows: Sequence[int]) -> tuple[list[int], dict[int, int]]:
        """Subscriptions within the room of both people, and withdrawals towards spending; ISAs grow as one."""
        timeline = self.timeline
        periods, growth = timeline.periods, timeline.household.assumptions.isa_growth
        factors = [period.factor(growth) for period in periods]
        value = sum(member.isa.value for member in timeline.household.people) / _POUND * factors[0]
        rows = [self.row(value if t == 0 else 0.0, value if t == 0 else 0.0) for t in range(len(periods))]
        subscribed, taken = [], {}
        for t, row in enumerate(rows):
            room = sum(years[t].isa_room for years in timeline.people) / _POUND
            subscribed.append(self.column([(cash_rows[t], 1.0), (row, -1.0)], most=room))
            if timeline.spending[t]:
                most = timeline.spending[t] / _POUND
                taken[t] = self.column([(cash_rows[t], -1.0), (row, 1.0)], most=most)
            if t + 1 < len(rows):
                self.column([(row, 1.0), (rows[t + 1], -factors[t + 1])])
            else:
                self.column([(row, 1.0)], worth=1.0)
        return subscribed, taken

    def _solved(
        self,
        columns: Sequence[Sequence[dict[str, int]]],
        cash: Sequence[Sequence[Sequence[tuple[int, float]]]],
        subscribed: Sequence[int],
        from_isas: dict[int, int],
        *,
        whole: bool,
    ) -> _Solution | None:
        highs = highspy.Highs()
        highs.setOptionValue("output_flag", False)
        highs.setOptionValue("threads", 1)
        if whole:
            highs.setOptionValue("mip_heuristic_effort", 0.0)
            highs.setOptionValue("time_limit", _LONGEST)
            highs.setOptionValue("mip_max_nodes", _MOST_NODES)
            highs.setOptionValue("mip_abs_gap", _CLOSE_ENOUGH * len(self.timeline.periods) / 4)
            highs.setOptionValue("mip_rel_gap", 0.0)
        highs.setOptionValue("presolve", "off")
        highs.passModel(self._lp(whole))
        highs.run()
        info = highs.getInfo()
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return None
        found = highs.getSolution().col_value
        bound = info.mip_dual_bound if whole else info.objective_function_value

        def value(column: int | None) -> float:
            return 0.0 if column is None else max(0.0, found[column])

        share = self.timeline.periods[0].rules.lump_sums.tax_free_rate / lump_sums.WHOLE
        income, drawdown, out_of_order = [], [], set()
        for person, years in enumerate(columns):
            member = self.timeline.household.people[person]
            left = lump_sums.available(member.pension, self.timeline.periods[0].rules.lump_sums).tax_free / _POUND
            amounts, drawn = [], []
            for named in years:
                tax_free, taxed = value(named.get("tax_free")), value(named.get("taxed"))
                from_drawdown = value(named.get("drawdown"))
                left -= tax_free * share
                if "tax_free" in named and taxed > 1 and left > 1:
                    out_of_order.add(person)
                amounts.append(tax_free * (1 - share) + taxed + from_drawdown)
                drawn.append(from_drawdown)
            income.append(amounts)
            drawdown.append(drawn)
        held = [[sum(value(column) * pounds for column, pounds in pieces) for pieces in owner] for owner in cash]
        return _Solution(
            bound=bound,
            income=income,
            drawdown=drawdown,
            cash=held,
            subscribed=[value(column) for column in subscribed],
            from_isas=[value(from_isas.get(t)) for t in range(len(subscribed))],
            out_of_order=out_of_order,
        )

    def _lp(self, whole: bool) -> highspy.HighsLp:
        lp = highspy.HighsLp()
        lp.num_col_, lp.num_row_ = len(self.cost), len(self.row_lower)
        lp.sense_ = highspy.ObjSense.kMaximize
        lp.col_cost_ = self.cost
        lp.col_lower_ = [0.0] * len(self.cost)
        lp.col_upper_ = self.upper
        lp.row_lower_ = self.row_lower
        lp.row_upper_ = self.row_upper
        lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        lp.a_matrix_.start_ = self.starts
        lp.a_matrix_.index_ = self.rows
        lp.a_matrix_.value_ = self.values
        if whole:
            kinds = [highspy.HighsVarType.kContinuous] * len(self.cost)
            for column in self.switches:
                kinds[column] = highspy.HighsVarType.kInteger
            lp.integrality_ = kinds
        return lp


def _most_income(timeline: Timeline, person: int) -> float:
    """More taxable income than the plan can make in one period."""
    assumed = timeline.household.assumptions
    member = timeline.household.people[person]
    pot = (member.pension.uncrystallised + member.pension.drawdown) / _POUND
    rest = sum(one.cash + one.pension.uncrystallised + one.pension.drawdown for one in timeline.household.people)
    cash = (rest + sum(year.received for years in timeline.people for year in years)) / _POUND
    for period in timeline.periods:
        pot *= max(1.0, period.factor(assumed.pension_growth))
        cash *= max(1.0, period.factor(assumed.cash_interest), period.factor(assumed.pension_growth))
    return pot + cash * max(0, assumed.cash_interest) / WHOLE + 1.0


def _held(before: int, after: int, income: int, interest: float, pounds: float, rate: float) -> _Entries:
    """Pounds of cash: they leave one period, come with their interest into the next, and that is income there."""
    return [(before, pounds), (after, pounds * (rate - 1 - interest)), (income, -pounds * interest)]


class _Run(NamedTuple):
    """A convex run of a line: where it begins, its height there, and its segments (width, rate)."""

    start: float
    height: float
    segments: Sequence[tuple[float, float]]


def _started(points: Sequence[Point], top_rate: float, *, exactly: bool) -> list[_Run]:
    """A line's convex runs, or one run for the convex line below it."""
    found, start, height = [], 0.0, 0.0
    for segments in convex_runs(points if exactly else lower_hull(points, top_rate), top_rate):
        found.append(_Run(start, height, segments))
        start += sum(width for width, _ in segments)
        height += sum(width * rate for width, rate in segments if width != _INF)
    return found


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


def _policy(timeline: Timeline, shapes: Sequence[Sequence[TaxShape]], solution: _Solution) -> Policy:
    """Carry a solution out to the penny: incomes that stop at a corner of the tax stop there exactly."""
    assumed = timeline.household.assumptions
    prefers_cash = assumed.cash_interest > assumed.isa_growth
    with_each = timeline.household.lump_sums == "with_each_withdrawal"

    def draw(position: int, person: int, one: Opened) -> Draw:
        withdrawal = solution.income[person][position]
        expected = solution.interest(timeline, person, position)
        income = _snapped(withdrawal + expected, shapes[person][position])
        taxable = max(0, income - (one.interest if position else 0))
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


def _snapped(pounds: float, shape: TaxShape) -> int:
    """Pounds of income in pence: at a corner of the tax if it is one, else down to the penny."""
    points = shape.on_income if shape.low is None else (*shape.low.on_income, *shape.on_income)
    nearest = min((abs(point[0] - pounds), point[0]) for point in points)
    if nearest[0] <= _SNAP:
        return round(nearest[1] * _POUND)
    return max(0, int(pounds * _POUND + 1e-6))


def _improved(
    timeline: Timeline,
    shapes: list[list[TaxShape]],
    exact: set[tuple[int, int]],
    exact_relief: set[tuple[int, int]],
    read_once: set[tuple[int, int]],
    ordered: set[int],
    solution: _Solution,
    plan: Projection,
) -> tuple[bool, float]:
    """Make the model truer where the plan shows it wrong: exact segments, shapes read anew, the order of funds.

    Whether anything was changed, and the pounds of tax by which the model was off in all; endless where that is not known.
    """
    changed = not solution.out_of_order <= ordered
    off = _INF if changed else 0.0
    ordered |= solution.out_of_order
    earns_interest = timeline.household.assumptions.cash_interest > 0
    for position, year in enumerate(plan.years):
        # Cash may be held for a year where ISAs are full, so what its interest is spared matters there.
        may_wait = earns_interest and position > 0 and solution.isas_full(timeline, position - 1)
        for person, record in enumerate(year.people):
            place, shape = (person, position), shapes[person][position]
            interest = record.opened.interest if position else 0
            income = (record.taxable + interest) / _POUND
            on_income, relief = _bowed(shape, income, interest / _POUND)
            for bow, places in ((on_income, exact), (relief, exact_relief)):
                if bow > _ERROR and place not in places:
                    places.add(place)
                    changed = True
                    off += bow
            not_read = may_wait and place not in read_once
            error = abs(shape.tax(income, interest / _POUND) - record.liability.total / _POUND)
            wrong = error > _SHAPE_ERROR
            off += error if wrong else 0.0
            if not_read:
                read_once.add(place)
                off = _INF
            if not_read or wrong:
                read = partial(
                    shape_at,
                    _taxpayer(timeline, person, position),
                    timeline.people[person][position].rules,
                    interest or (SOME_INTEREST if not_read else 0),
                    record.taxable,
                    tied=_tied(timeline, person),
                )
                again = read()
                if again == shape and wrong and shape.low is not None:
                    # Dividends or a marriage allowance spoil the shape of small withdrawals: read it like any other.
                    again = read(small_withdrawals=False)
                if again != shape:
                    shapes[person][position] = again
                    changed = True
    return changed, off


def _bowed(shape: TaxShape, income: float, interest: float) -> tuple[float, float]:
    """By how much the convex line below the true one is too low: for the plan's income, and for what its interest is spared."""
    relief = upside_down(shape.relief)
    relief_bows = _bows(relief, last_slope(relief), interest)
    low = shape.low
    if low is None:
        return _bows(shape.on_income, shape.top_rate, income), relief_bows
    if income - interest <= low.most:
        drawn = low.on_withdrawal
        return _bows(low.on_income, low.top_rate, income) + _bows(drawn, last_slope(drawn), income - interest), 0.0
    return _bows(_from(shape.on_income, low.most), shape.top_rate, income - low.most), relief_bows


def _from(points: Sequence[Point], amount: float) -> list[Point]:
    """A line from an amount on, which becomes its nothing."""
    height = along(points, 0.0, amount)
    return [(0.0, 0.0), *((at - amount, value - height) for at, value in points if at > amount + _SNAP)]


def _bows(points: Sequence[Point], top_rate: float, amount: float) -> float:
    """By how much a line is above the convex line below it at an amount."""
    hull = lower_hull(points, top_rate)
    return along(points, top_rate, amount) - along(hull, top_rate, amount)
