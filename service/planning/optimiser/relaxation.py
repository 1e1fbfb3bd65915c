"""The linear relaxation of all plans of a household, in pounds. README.md in this folder has it as algebra.

A person's tax in a period is relaxed to the convex hull of points of their tax surface (``tax_cells``). To tighten it a
period is partitioned into cells: each has a weight, a region for each person's income and savings, and its own money.
The weights of a period come to one. Where a plan may choose the claim to the marriage allowance, a person has points of each
claim, and under each claim the points of both people have the same weight. A solution in which every period has one cell of
weight one, under one claim, is a plan.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from service.law.income_tax import IncomeTaxRules, Taxpayer
from service.law.rounding import years_tax_to_the_penny
from service.law.units import POUND, WHOLE
from service.planning.optimiser.claims import PARTS, Claim, standing_claims, taxed_under, unclaimed, worth_a_claim
from service.planning.optimiser.data import (
    UNIT_PENCE,
    first_interest,
    from_isas_at_most,
    gives_and_receives,
    grown_to_the_end,
    lump_sum_of,
    missed_in,
    most_held,
    most_pension,
    pots_held,
    tax_free_left_at_first,
    taxpayer_without_cash,
)
from service.planning.optimiser.last_day import AFTER_TAX, Box, LastDay, PensionRows
from service.planning.optimiser.lp import INF, LinearProgram, Outcome
from service.planning.optimiser.node import ActiveCells, CellCount, DrawOrder, Node
from service.planning.optimiser.reading import Reader
from service.planning.optimiser.rows import Cell, Group, PensionInModel, PersonInCell, PotRows, SmallPotRows
from service.planning.optimiser.solution import Amounts, MixedClaims, Solution, TaxedLeft, heaviest
from service.planning.optimiser.tax_cells import CellTax, TaxDomain
from service.planning.optimiser.tax_surface import Region, Surface, TaxPoint
from service.planning.optimiser.tolerances import (
    NEXT_TO_NOTHING_GAIN_POUNDS_PER_POUND,
    PENNY_POUNDS,
    SOONER_POUNDS_PER_POUND,
    UNIT_POUNDS,
)
from service.planning.optimiser.work import PERSON_YEAR_MODELLED, Work
from service.planning.projection.small_pots import OpenSmallPot, room_for
from service.planning.projection.timeline import Timeline

_OUT_OF_ISAS_TO_CHANGES = 0.02
"""What a pound taken out of ISAs weighs beside a pound by which a withdrawal changes: only so much that, of plans as smooth, none
pays into ISAs what it takes out of them in the same year."""

_GAIN = PENNY_POUNDS / UNIT_POUNDS
"""A point that is worth no more than this, in the program's unit, is the solver's rounding."""

Surfaces = dict[tuple[Taxpayer, IncomeTaxRules], Surface]
"""Tax surfaces by what they follow from: the taxpayer and the rules."""


class Relaxation:
    """The linear model of a timeline."""

    def __init__(
        self,
        timeline: Timeline,
        work: Work,
        *,
        last_day: LastDay = AFTER_TAX,
        surfaces: Surfaces | None = None,
        small_pots: Sequence[OpenSmallPot] = (),
        free_claims: bool = False,
    ) -> None:
        """Build the relaxation with one cell for each period. ``last_day`` is what its optimum is the most of.

        ``surfaces`` are those known from other relaxations
        with the same work; new ones are added. ``small_pots`` are pensions of the timeline's household of which the program may
        take any share as a small pot. ``free_claims``: where a plan may choose the claim to the marriage allowance, its whole
        worth comes in wherever a claim may pay, and nobody gives anything for it: a bound by a much smaller program.
        """
        self.timeline = timeline
        self._open_small_pots = tuple(small_pots)
        self.lp = LinearProgram(work)
        self._work = work
        work.add(PERSON_YEAR_MODELLED * len(timeline.people) * len(timeline.periods))
        assumed = timeline.household.assumptions
        self._people, self._periods = range(len(timeline.people)), range(len(timeline.periods))
        self._rates = [period.factor(assumed.cash_interest) - 1 for period in timeline.periods]
        known = {} if surfaces is None else surfaces
        self._pots = [pots_held(timeline, person) for person in self._people]
        self._most_held = most_held(timeline, [pot for pots in self._pots for pot in pots])
        self.domains = self._surfaces(known)
        self._claims = [self._with_claims(known, t) for t in self._periods]
        self._given = [self._free_claim(t) if free_claims else 0.0 for t in self._periods]
        self._missed = [missed_in(timeline, t) for t in self._periods]
        self._lump = [lump_sum_of(timeline, person) for person in self._people]
        self._known = [self._known_in(t) for t in self._periods]
        self._last_day = last_day.model(timeline, self.lp)
        self._box: Box | None = None
        self._pensions = [self._pension(person) for person in self._people]
        self._small_pots = [self._small_pot(pot) for pot in small_pots]
        self._room = self._rows_of_room()
        self._left_open: tuple[frozenset[int | None], ...] = ()
        self._isa_rows = self._isas()
        self._floor: int | None = None
        self._held: dict[tuple[int, int, int | None, int], int] = {}
        self._share_rows: dict[int, int] = {}
        self._groups: list[Group] = []
        self._cell_counts: tuple[CellCount, ...] = ()
        self._points_of: dict[int, tuple[int, TaxPoint]] = {}
        """By column, whose point it is, by the row of their points' weights, and the point."""
        self._active: dict[int, ActiveCells] = {}
        self._draw_orders: dict[int, DrawOrder] = {}
        self.cells: list[list[Cell]] = [[] for _ in self._periods]
        self._reader = Reader(
            self.domains,
            self.cells,
            self._claims,
            self._pensions,
            self._small_pots,
            self._last_day,
            self._held,
            self._points_of,
        )
        for t in self._periods:
            self._add_cell(t, None, [self.domains[person][t].region for person in self._people], self._claims[t])

    def solve(self, node: Node, cutoff: float = -INF) -> Solution | Outcome:
        """The relaxation's optimum at a node, or why there is none to be had; ``cutoff`` as in ``optimise``."""
        outcome = self.optimise(node, cutoff)
        return self.solution() if outcome is Outcome.OPTIMAL else outcome

    def optimise(self, node: Node, cutoff: float = -INF) -> Outcome:
        """Look for the relaxation's optimum at a node.

        It is not looked for further than to the proof that it is not above ``cutoff``. The proof is the solver's prices of
        money: where cash would pay at them if its interest bore no tax, the taxed interest has a part in it, and the
        optimum is looked for all the same.
        """
        # The primal method ends at prices by which more cash seems to pay, and more interest would have to be refined.
        primal = not self.lp.solves and not any(self._coarse(t) for t in self._periods)
        outcome = self._solve(node, cutoff, primal=primal)
        if outcome is Outcome.BELOW_CUTOFF and self.priced_cash():
            outcome = self.lp.solve()
        return outcome

    def solution(self) -> Solution:
        """The optimum that was found last, as long as no region has changed since."""
        return self._reader.solution(UNIT_POUNDS * self.lp.objective, self.lp.values, self.lp.duals)

    def _solve(self, node: Node, cutoff: float = -INF, *, primal: bool = False) -> Outcome:
        """Solve at a node."""
        for t in {*self._active, *node.active_cells}:
            self._activate(t, node.active_cells.get(t))
        self._active = dict(node.active_cells)
        for person, pension in enumerate(self._pensions):
            order = node.draw_orders.get(person, DrawOrder())
            if pension.uses_up and order != self._draw_orders.get(person, DrawOrder()):
                self._order_draws(person, order)
                self._draw_orders[person] = order
        if node.box != self._box:
            self._last_day.restrict(node.box)
            self._box = node.box
        if node.small_pots != self._left_open:
            self._leave_open(node.small_pots)
        if node.cell_counts != self._cell_counts:
            self._bound_groups(node.cell_counts)
        return self.lp.solve(cutoff / UNIT_POUNDS, primal=primal)

    def taxed_left(self, node: Node, floor: float, *, least: bool) -> TaxedLeft | Outcome:
        """Of the solutions at a node with ``floor`` pounds of wealth or more, the one that leaves the least, or the most, in
        pensions that would bear tax. The wealth is no longer the objective afterwards."""
        self._keep_wealth(floor)
        sign = -1.0 if least else 1.0
        self.lp.set_objective(dict.fromkeys(self._last_day.at_risk, sign))
        outcome = self._solve(node, primal=True)
        if outcome is not Outcome.OPTIMAL:
            return outcome
        return TaxedLeft(sign * self.lp.objective * UNIT_POUNDS, self.lp.values, self.lp.duals)

    def solution_of(self, found: TaxedLeft) -> Solution:
        """The solution that leaves so much."""
        return self._reader.solution(UNIT_POUNDS * self.lp.objective, found.values, found.duals)

    def smoothest(self, node: Node, floor: float, least: TaxedLeft, between: tuple[float, float]) -> Solution | Outcome:
        """Of the solutions at a node with ``floor`` pounds of wealth or more, and in pensions that would bear tax ``between`` so
        many pounds, the one whose withdrawals change the least from one whole tax year to the next. ``least`` is the one that
        leaves the least. The wealth is no longer the objective afterwards."""
        self._keep_wealth(floor)
        low, high = (pounds / UNIT_POUNDS for pounds in between)
        self.lp.add_row(low, high, [(column, 1.0) for column in self._last_day.at_risk])
        change_at_least: dict[int, float] = {}
        for person in self._people:
            drawn = [list(self._drawn_in(person, t)) for t in self._periods]
            for t in self._periods[1:]:
                if self._draws_are_alike(person, t):
                    entries = [(column, 1.0) for column in drawn[t]] + [(column, -1.0) for column in drawn[t - 1]]
                    change = sum(sign * least.values[column] for column, sign in entries)
                    change_at_least[self.lp.add_row(0.0, 0.0, entries)] = change
        rises = {row: self.lp.add_column([(row, -1.0)]) for row in change_at_least}
        falls = {row: self.lp.add_column([(row, 1.0)]) for row in change_at_least}
        self.lp.enter_basis({row: rises[row] if change > 0 else falls[row] for row, change in change_at_least.items()})
        out_of_isas = [column for cells in self.cells for cell in cells for column in cell.from_isas]
        changes = dict.fromkeys((*rises.values(), *falls.values()), -1.0)
        self.lp.set_objective(changes | dict.fromkeys(out_of_isas, -_OUT_OF_ISAS_TO_CHANGES))
        outcome = self._solve(node, primal=True)
        return self.solution() if outcome is Outcome.OPTIMAL else outcome

    def maximise_level(self, per_level: Sequence[float], most_lower: float) -> None:
        """Let more be spent in each period, so many pounds of it for each level, or less by up to ``most_lower`` levels, and make
        the level the objective, in thousands. Periods have one cell."""
        both: list[tuple[int, float]] = []
        first: list[tuple[int, float]] = []
        early: list[tuple[int, float]] = []
        for (cell,), pounds in zip(self.cells, per_level, strict=True):
            amount = pounds / UNIT_POUNDS
            both.append((cell.cash, amount))
            both += [] if cell.from_isas_limit is None else [(cell.from_isas_limit, -amount)]
            part = early if cell.period else first
            part += [(row, -amount) for row in cell.before]
        # Known cash may pay more that is spent early in the first period, so that more counts for nothing and less counts.
        higher = self.lp.add_column([*both, *early])
        lower = self.lp.add_column([(row, -amount) for row, amount in (*both, *early, *first)], high=most_lower)
        self.lp.set_objective({higher: 1.0 / UNIT_POUNDS, lower: -1.0 / UNIT_POUNDS})

    def _keep_wealth(self, floor: float) -> None:
        if self._floor is None:
            self._floor = self.lp.objective_row(floor / UNIT_POUNDS)
        else:
            self.lp.bound_row(self._floor, floor / UNIT_POUNDS, INF)

    def _draws_are_alike(self, person: int, t: int) -> bool:
        """Whether a person can draw in a period and the one before, and both are whole tax years."""
        if not (self.domains[person][t].free and self.domains[person][t - 1].free):
            return False
        periods = self.timeline.periods
        return all(period.days == period.days_in_year for period in periods[t - 1 : t + 1])

    def _drawn_in(self, person: int, t: int) -> Iterator[int]:
        """The columns of a person's draws in a period."""
        for cell in self.cells[t]:
            for columns in cell.members[person].draws.values():
                yield from columns

    @property
    def most_wealth(self) -> int:
        """The bound on the wealth of any plan that needs no optimum, pence, as in ``data.most_wealth``."""
        return round(self._most_held[-1]) + POUND

    @property
    def cells_made(self) -> int:
        """How many cells there are by now."""
        return sum(len(cells) for cells in self.cells)

    def allowed(self, node: Node, t: int) -> frozenset[int]:
        """The cells of a period that may have weight at a node."""
        return self._allowed(t, node.active_cells.get(t))

    def only_cell_of(self, solution: Solution, t: int) -> ActiveCells:
        """A solution's heaviest cell in a period as the only one; of those split from it since, the one where the solution is."""
        cell = heaviest(solution.shares[t])
        there = [taxed for taxed in solution.cell_taxes if (taxed.period, taxed.cell) == (t, cell)]
        family = {cell}
        for later in range(len(solution.shares[t]), len(self.cells[t])):
            if self.cells[t][later].parent in family:
                family.add(later)
        regions = ((one, self.cells[t][one].regions) for one in sorted(family))
        inside = (one for one, own in regions if all(own[at.person].has(at.income, at.savings) for at in there))
        return ActiveCells(frozenset({next(inside, cell)}), len(self.cells[t]))

    def region(self, taxed: CellTax) -> Region:
        """The region that a person's tax was found in."""
        return self.cells[taxed.period][taxed.cell].regions[taxed.person]

    def split_cell(self, taxed: CellTax, regions: tuple[Region, Region]) -> None:
        """Split a cell in two by one person's region."""
        old = self.cells[taxed.period][taxed.cell]
        others = list(old.regions)
        old.regions[taxed.person], others[taxed.person] = regions
        self._set_points(old, taxed.person)
        self._add_cell(taxed.period, taxed.cell, others, old.claims)

    def group_apart(self, t: int, one: int, other: int) -> int | None:
        """A group that one of two cells of period ``t`` is in and the other is not: cells in which a person has more income than
        in others of their periods. None where the two do not differ so."""
        for number, group in enumerate(self._groups):
            if ((t, one) in group.members) != ((t, other) in group.members):
                return number
        for person in self._people:
            low, high = sorted(self.cells[t][cell].regions[person] for cell in (one, other))
            if low.income_high <= high.income_low:
                return self._new_group(person, high.income_low)
        return None

    def _new_group(self, person: int, income: int) -> int:
        """The group of the cells that are above a person's income, pence, or in other periods above the nearest to it at which
        cells are split."""
        members = set()
        for t, cells in enumerate(self.cells):
            lows = [cell.regions[person].income_low for cell in cells]
            above = [low for low in lows if low > min(lows)]
            if above:
                least = min(above, key=lambda low: abs(low - income))
                members |= {(t, cell) for cell, low in enumerate(lows) if low >= least}
        row = self.lp.add_row(-INF, INF, [(self.cells[t][cell].share, 1.0) for t, cell in sorted(members)])
        self._groups.append(Group(row, members))
        return len(self._groups) - 1

    def in_group(self, number: int, solution: Solution) -> float:
        """In how many periods a solution has its weight in a group of cells."""
        members, shares = sorted(self._groups[number].members), solution.shares
        return sum(shares[t][cell] for t, cell in members if cell < len(shares[t]))

    def _bound_groups(self, cell_counts: tuple[CellCount, ...]) -> None:
        for one in self._cell_counts:
            self.lp.bound_row(self._groups[one.group].row, -INF, INF)
        for one in cell_counts:
            self.lp.bound_row(self._groups[one.group].row, one.least, one.most)
        self._cell_counts = cell_counts

    def split_claims(self, t: int, mixed: MixedClaims) -> None:
        """Split a cell in two, the new one under the best claim alone and the old one under all others."""
        old = self.cells[t][mixed.cell]
        old.claims = tuple(claim for claim in old.claims if claim != mixed.best)
        for person in self._people:
            self._set_points(old, person)
        self._add_cell(t, mixed.cell, list(old.regions), (mixed.best,))

    def narrow(self, person: int, t: int, cell: int, region: Region) -> Region:
        """Give a cell another region for a person, for a while; the one it had."""
        one = self.cells[t][cell]
        before, one.regions[person] = one.regions[person], region
        self._set_points(one, person)
        return before

    def refine_interest(self, person: int, t: int) -> None:
        """Tax a person's interest in a period as by the surface."""
        self.domains[person][t].refined = True
        for cell in self.cells[t]:
            self._set_points(cell, person)

    def leave_interest_untaxed(self, person: int, t: int) -> None:
        """Take no tax on a person's interest in a period, so that the optimum is a bound without refining it."""
        self._tax_interest(person, t, untaxed=True)

    def leave_all_untaxed(self) -> None:
        """The same for everybody's interest that is not refined, so that the next optimum is a bound."""
        for t in self._periods:
            for person in self._coarse(t):
                self._tax_interest(person, t, untaxed=True)

    def refining_takes(self, person: int, t: int) -> float:
        """About how much work it is to refine a person's interest in a period."""
        domain = self.domains[person][t]
        return sum(surface.work_expected for surface in (domain.surface, *domain.claimed.values()))

    def priced_cash(self) -> list[tuple[int, int]]:
        """Persons and periods whose interest is not refined, though holding cash would pay if its interest bore no tax; or where
        a marriage allowance would be lost by it and less tax be due."""
        duals = self.lp.duals
        found = []
        for t in self._periods[1:]:
            coarse = self._coarse(t)
            if coarse:
                now = max(duals[cell.cash] + self._worth_before(t, cell) for cell in self.cells[t])
                kept = self.cells[t - 1]
                before = min(duals[cell.cash] + (0.0 if cell.kept is None else duals[cell.kept]) for cell in kept)
                pays = (1 + self._rates[t]) * now - before > NEXT_TO_NOTHING_GAIN_POUNDS_PER_POUND
                found += [(person, t) for person in coarse if pays or self._gains_by_losing(person, t)]
        return found

    def _gains_by_losing(self, person: int, t: int) -> bool:
        """Whether somebody would gain if interest that bears no tax lost them a marriage allowance that they give: a point
        that is had so has a positive reduced cost."""
        domain, duals = self.domains[person][t], self.lp.duals
        for cell in self.cells[t]:
            for point in domain.points_with_interest(cell.regions[person], {claim[person] for claim in cell.claims}):
                if -sum(duals[row] * value for row, value in self._point_entries(cell, person, point)) > _GAIN:
                    return True
        return False

    def interest_in_the_way(self) -> list[tuple[int, int]]:
        """Persons and periods whose interest is not refined, where nothing was feasible and something is once it bears no
        tax."""
        coarse = [(person, t) for t in self._periods for person in self._coarse(t)]
        if not coarse:
            return []
        for person, t in coarse:
            self._tax_interest(person, t, untaxed=True)
        feasible = self.lp.solve() is not Outcome.INFEASIBLE
        for person, t in coarse:
            self._tax_interest(person, t, untaxed=False)
        return coarse if feasible else []

    def _coarse(self, t: int) -> list[int]:
        """The people whose interest in a period bears the highest rate, which may be too much."""
        domains = (own[t] for own in self.domains)
        return [person for person, own in enumerate(domains) if own.earns and not own.refined and not own.untaxed]

    def _tax_interest(self, person: int, t: int, *, untaxed: bool) -> None:
        """Take no tax on a person's interest in a period, or the highest rate again."""
        domain = self.domains[person][t]
        domain.untaxed = untaxed
        for cell in self.cells[t]:
            if domain.may_lose:
                self._set_points(cell, person)
                continue
            one = cell.members[person]
            kept = [point for point, column in one.columns.items() if column in one.admitted and not point.endless]
            self._admit(cell, person, [*kept, domain.endless])

    def amounts(self, solution: Solution) -> Amounts:
        """What a solution does. The relaxation has the cells that it had then."""
        return self._reader.amounts(solution)

    def interest(self, amounts: Amounts, person: int, t: int) -> float:
        """The interest of a person in a period on the plan's cash; the first period's is not of the plan's making."""
        if not t:
            return 0.0
        spent = amounts.early_cash[person][t]
        return amounts.cash[person][t - 1] * self._rates[t] - spent * self._missed[t].cash

    # Data

    def _surfaces(self, known: Surfaces) -> list[list[TaxDomain]]:
        domains = []
        interest = [round(most * rate) + POUND for most, rate in zip(self._most_held, self._rates, strict=False)]
        for person, years in enumerate(self.timeline.people):
            most = round(most_pension(self.timeline, self._pots[person])) + POUND
            own = []
            for t, year in enumerate(years):
                taxpayer = taxpayer_without_cash(self.timeline, person, t)
                if gives_and_receives(self.timeline):
                    taxpayer = taxpayer._replace(marriage_allowance="none")
                surface = self._surface(known, taxpayer, year.rules)
                earns = t > 0 and self._rates[t] > 0
                income, savings = taxpayer.other_income, taxpayer.savings
                lost = None
                if taxpayer.marriage_allowance == "gives" and earns:
                    lost = self._surface(known, taxpayer._replace(marriage_allowance="none"), year.rules)
                draws = year.may_draw or any(pot.person == person and t in pot.periods for pot in self._open_small_pots)
                most_savings = savings + interest[t]
                own.append(TaxDomain(surface, income, savings, draws, earns, income + most, most_savings, lost=lost))
            domains.append(own)
        return domains

    def _surface(self, known: Surfaces, taxpayer: Taxpayer, rules: IncomeTaxRules) -> Surface:
        key = (taxpayer._replace(other_income=0, savings=0), rules)
        if key not in known:
            known[key] = Surface(*key, self._work)
        return known[key]

    def _with_claims(self, known: Surfaces, t: int) -> tuple[Claim, ...]:
        """The claims to the marriage allowance that may have an effect in a period and, where a plan chooses, may pay; with what
        everybody's tax is under them."""
        household, none = self.timeline.household, unclaimed(len(self._people))
        standing = gives_and_receives(self.timeline)
        if not household.claims_as_best and not standing:
            return (none,)
        domains = [own[t] for own in self.domains]
        for domain in domains:
            domain.claimed = {
                part: self._surface(known, *taxed_under(part, domain.surface.taxpayer, domain.surface.rules))
                for part in PARTS
            }
        if standing:
            claims = standing_claims(domains, tuple(member.standing_claim for member in household.people))
        else:
            claims = worth_a_claim(*domains)
        for person, domain in enumerate(domains):
            parts = {claim[person] for claim in claims}
            domain.claimed = {part: surface for part, surface in domain.claimed.items() if part in parts}
        return claims

    def _free_claim(self, t: int) -> float:
        """Leave a period without claims, for all that a claim takes off at most if one may pay; pounds."""
        none = unclaimed(len(self._people))
        if self._claims[t] == (none,):
            return 0.0
        self._claims[t] = (none,)
        for own in self.domains:
            own[t].claimed, own[t].in_effect = {}, {}
        all_rules = (years[t].rules for years in self.timeline.people)
        return max(years_tax_to_the_penny(rules.marriage_allowance * rules.basic_rate) for rules in all_rules) / POUND

    def _known_in(self, t: int) -> float:
        """What comes in and goes out in a period whatever is decided."""
        timeline = self.timeline
        total = self._given[t] - timeline.spending[t] / POUND
        for person, years in enumerate(timeline.people):
            year, domain = years[t], self.domains[person][t]
            total += (year.received + year.tax_outside) / POUND
            if not domain.varies:
                total -= domain.surface.tax(domain.income, domain.savings)
            if t == 0:
                total += (timeline.household.people[person].cash + first_interest(timeline, person)) / POUND
            taken = self._lump[person]
            if taken is not None and taken.position == t:
                total += taken.amount * UNIT_POUNDS
        return total / UNIT_POUNDS

    # Variables and constraints

    def _pension(self, person: int) -> PensionInModel:
        """The rows of a person's pensions: of each pot, what is drawn, grown to the end, and what is left add up to the whole pot
        grown."""
        timeline = self.timeline
        periods = timeline.periods
        share = periods[0].rules.lump_sums.tax_free_rate / WHOLE
        lump = self._lump[person]
        pots = [grown_to_the_end(timeline, pot, lump, k) for k, pot in enumerate(self._pots[person])]
        tax_free_left, most_tax_free = (amount / UNIT_PENCE for amount in tax_free_left_at_first(timeline, person))
        if lump is not None:
            more = any(any(pot.paid_in) for pot in pots)
            tax_free_left = max(0.0, tax_free_left - lump.amount) if more else 0.0
            most_tax_free = max(0.0, most_tax_free - lump.amount) if more else 0.0
        with_each = timeline.household.lump_sums == "with_each_withdrawal"
        # Where the allowance never runs out, drawing without a tax-free part is never better.
        runs_out = with_each and sum(pot.most_uncrystallised for pot in pots) * share > tax_free_left
        rows = []
        for pot in pots:
            so_far = self._paid_in_so_far(pot.uncrystallised, pot.paid_in, pot.after)
            uncrystallised = pot.all_uncrystallised
            funds = self.lp.add_row(uncrystallised, uncrystallised)
            income_funds = self.lp.add_row(pot.drawdown, pot.drawdown)
            kinds = []
            if uncrystallised > 0:
                kinds += ["tax_free"] if with_each else []
                kinds += ["taxed"] if runs_out or not with_each else []
            if pot.drawdown > 0:
                kinds.append("drawdown")
            rows.append(PotRows(uncrystallised, pot.after, funds, income_funds, kinds, so_far))
        allowance = self.lp.add_row(-INF, most_tax_free)
        own = PensionRows(
            funds=tuple(row.funds for row in rows),
            income_funds=tuple(row.income_funds for row in rows),
            allowance=allowance,
            share=share,
            tax_free_left=tax_free_left,
            most_tax_free=most_tax_free,
            lump_sum=0.0 if lump is None else lump.amount,
        )
        self._last_day.add_pension(person, own)
        uses_up = runs_out and any(pot.all_uncrystallised > 0 for pot in pots)
        return PensionInModel(tax_free_left, share, allowance, uses_up, {}, rows)

    def _paid_in_so_far(self, held: float, paid_in: Sequence[float], after: Sequence[float]) -> dict[int, int]:
        """Rows by period, while more is still to be paid in: what is drawn by then is no more than there was, all grown to the
        end."""
        rows = {}
        last = max((t for t in self._periods if paid_in[t]), default=0)
        for t in range(last):
            held += paid_in[t] * after[t]
            rows[t] = self.lp.add_row(-INF, held)
        return rows

    def _small_pot(self, pot: OpenSmallPot) -> SmallPotRows:
        """The row of the share of a pension that is taken as a small pot: it may be taken in parts."""
        pots = self.timeline.household.people[pot.person].pots
        k = next((k for k, own in enumerate(pots) if pot.place in own.places), 0)
        return SmallPotRows(pot, self._pensions[pot.person].pots[k], self.lp.add_row(0.0, 1.0), {})

    def _rows_of_room(self) -> dict[int, int]:
        """By person, the row by which no more small pots are taken from personal schemes than a lifetime allows."""
        found = {}
        for person, member in enumerate(self.timeline.household.people):
            counted = sum(pot.of.is_personal for pot in self._small_pots if pot.of.person == person)
            room = room_for(member, self.timeline)
            if counted > room:
                found[person] = self.lp.add_row(-INF, float(room))
        return found

    def _isas(self) -> list[int]:
        """Rows of the ISAs of both people, which grow as one, and what stays in them."""
        growth = self.timeline.household.assumptions.isa_growth
        factors = [period.factor(growth) for period in self.timeline.periods]
        value = sum(member.isa.value for member in self.timeline.household.people) / UNIT_PENCE * factors[0]
        rows = [self.lp.add_row(value if t == 0 else 0.0, value if t == 0 else 0.0) for t in self._periods]
        # What is subscribed on the last day cannot have been spent before it.
        self._isas_before = {
            t: self.lp.add_row(-INF, value if t == 0 else 0.0)
            for t, missed in enumerate(self._missed)
            if missed.counts and missed.spending
        }
        for t, (row, after, factor) in enumerate(zip(rows, rows[1:], factors[1:], strict=False), start=1):
            limit = self._isas_before.get(t)
            self.lp.add_column([(row, 1.0), (after, -factor), *(() if limit is None else ((limit, -factor),))])
        self._last_day.add_money([(rows[-1], 1.0)])
        return rows

    def _add_cell(self, t: int, parent: int | None, regions: list[Region], claims: tuple[Claim, ...]) -> None:
        """A new cell of a period: its share, its money, everybody's draws and tax."""
        cells, timeline = self.cells[t], self.timeline
        members = [PersonInCell() for _ in self._people]
        cash = self.lp.add_row(0.0, 0.0)
        whole: list[tuple[int, float]] = [(cash, -self._known[t])]
        for person, one in enumerate(members):
            domain = self.domains[person][t]
            if domain.varies:
                one.weights = self.lp.add_row(0.0, 0.0)
                whole.append((one.weights, -1.0))
            if domain.free:
                one.income = self.lp.add_row(0.0, 0.0)
                whole.append((one.income, -domain.income / UNIT_PENCE))
            if domain.earns:
                one.savings = self.lp.add_row(0.0, 0.0)
                whole.append((one.savings, -domain.savings / UNIT_PENCE))
        allowance = sum(years[t].isa_allowance_left for years in timeline.people) / UNIT_PENCE
        spending = from_isas_at_most(timeline, t) / UNIT_PENCE
        from_isas_limit = self.lp.add_row(-INF, 0.0) if spending else None
        before = self._rows_before(t)
        minimum = timeline.household.minimum_cash / UNIT_PENCE
        kept = self.lp.add_row(0.0, INF) if minimum else None
        spare_cash = self.lp.add_row(-INF, 0.0) if minimum and t and before else None
        whole += [] if kept is None else [(kept, -minimum)]
        whole += [] if spare_cash is None else [(spare_cash, minimum)]
        caps = [member.cap_in(t) for member in timeline.household.people]
        capped = [None if cap is None else self.lp.add_row(-INF, 0.0) for cap in caps]
        whole += [
            (row, -cap / UNIT_PENCE)
            for row, cap in zip(capped, caps, strict=True)
            if row is not None and cap is not None
        ]
        whole += [] if from_isas_limit is None else [(from_isas_limit, -spending)]
        whole += before
        subscribed = [(cash, 1.0), (self._isa_rows[t], -1.0)]
        if cells:
            if len(cells) == 1:
                self._limit_subscribed(cells[0], allowance)
            limit = self.lp.add_row(-INF, 0.0)
            whole.append((limit, -allowance))
            subscribed.append((limit, 1.0))
            if t not in self._share_rows:
                self._share_rows[t] = self.lp.add_row(1.0, 1.0, [(cells[0].share, 1.0)])
            whole.append((self._share_rows[t], 1.0))
        whole += [(group.row, 1.0) for group in self._groups if parent is not None and (t, parent) in group.members]
        share = self.lp.add_column(whole, low=1.0, high=1.0)
        cell = Cell(t, parent, regions, cash, share, members, claims)
        for claim in self._claims[t]:
            if claim != unclaimed(len(members)):
                row = self.lp.add_row(0.0, 0.0)
                for one, part, sign in zip(members, claim, (1.0, -1.0), strict=True):
                    one.claims[part] = row, sign
        for group in self._groups:
            if parent is not None and (t, parent) in group.members:
                group.members.add((t, len(cells)))
        cell.subscribed = self.lp.add_column(subscribed, high=INF if cells else allowance)
        cell.before = [row for row, _ in before]
        cell.from_isas_limit, cell.kept, cell.spare_cash = from_isas_limit, kept, spare_cash
        if from_isas_limit is not None:
            self._add_from_isas(t, cell, from_isas_limit)
        for person, one in enumerate(members):
            self._add_draws(person, t, cell, one, capped[person])
        cells.append(cell)
        if len(cells) > 1:
            self.lp.bound_columns({each.share: (0.0, 1.0) for each in cells})
        self._add_cash_flows(t, len(cells) - 1)
        for person in self._people:
            self._set_points(cell, person)

    def _limit_subscribed(self, cell: Cell, allowance: float) -> None:
        """Limit by a row what is subscribed in the first cell of a period, which is split now; by itself it has a bound."""
        self.lp.add_row(-INF, 0.0, [(cell.subscribed, 1.0), (cell.share, -allowance)])
        self.lp.bound_columns({cell.subscribed: (0.0, INF)})

    def _rows_before(self, t: int) -> list[tuple[int, float]]:
        """The rows of a cell for what is spent before the last day, with what its weight brings into them: at least what income
        does not cover and no money of the last day may; at most what income does not cover, where whoever spends earlier has
        more."""
        part = self._missed[t]
        known = part.spending - part.cash_at_first
        lump = self._lump
        last_day = sum(taken.amount for taken in lump if taken is not None and taken.position == t) + part.of_last_day
        if not part.counts or known <= last_day:
            return []
        rows = [(self.lp.add_row(0.0, INF), last_day - known)]
        if min(part.isa, *(missed for pots in part.pensions for missed in pots)) < 0:
            rows.append((self.lp.add_row(-INF, 0.0), -known))
        return rows

    def _worth_before(self, t: int, cell: Cell) -> float:
        """What a pound of cash held into a cell is worth because it can be spent before the last day."""
        if not cell.before:
            return 0.0
        duals = self.lp.duals
        limits = [duals[one.cash_before] for one in cell.members if one.cash_before is not None]
        spare = 0.0 if cell.spare_cash is None else duals[cell.spare_cash]
        return (1 + self._rates[t]) * (max(0.0, *limits) + spare)

    def _add_from_isas(self, t: int, cell: Cell, limit: int) -> None:
        """What is taken out of ISAs in a cell, on the last day and before."""
        missed = self._missed[t].isa
        both = [(cell.cash, -1.0), (limit, 1.0)]
        last_day = (self._isa_rows[t], 1.0)
        before = [
            (self._isa_rows[t], 1.0 + missed),
            *((row, 1.0) for row in (cell.before if missed else cell.before[:1])),
        ]
        if cell.before:
            before.append((self._isas_before[t], 1.0 + missed))
        if not cell.before or missed:
            cell.from_isas.append(self.lp.add_column([*both, last_day]))
        if cell.before:
            cell.from_isas.append(self.lp.add_column([*both, *before]))

    def _add_draws(self, person: int, t: int, cell: Cell, one: PersonInCell, capped: int | None) -> None:
        """A person's draws in a cell, on the last day and before; ``capped`` is the row of all of them together. What misses no
        growth may be spent at any time, so it counts as spent before and is not limited to what is."""
        self._add_small_pots(person, t, cell, one)
        pension, share = self._pensions[person], self._pensions[person].share
        if not self.timeline.people[person][t].may_draw:
            return
        income, cash, own = one.income, cell.cash, self.timeline.people[person][t].pots
        too_early = t < self._draw_orders.get(person, DrawOrder()).not_before
        before = [(row, 1.0) for row in cell.before]
        for k, pot in enumerate(pension.pots):
            if own and not own[k].may_withdraw:
                continue
            grown = pot.after[t]
            missed = self._missed[t].pensions[person][k] if cell.before else 0.0
            for kind in pot.kinds:
                funds = pot.income_funds if kind == "drawdown" else pot.funds
                if kind == "tax_free":
                    entries = [(cash, -1.0), (pension.allowance, share), (income, share - 1)]
                    entries += [(row, share) for until, row in pension.used.items() if until >= t]
                else:
                    entries = [(cash, -1.0), (income, -1.0)]
                if capped is not None:
                    entries.append((capped, 1.0))
                high = 0.0 if kind == "taxed" and too_early else INF
                limits = [funds]
                if kind != "drawdown":
                    limits += [row for until, row in pot.so_far.items() if until >= t]
                for misses in (missed, 0.0) if missed else (0.0,):
                    out = [(row, grown * (1.0 + misses)) for row in limits]
                    early = before if misses else [] if missed else before[:1]
                    column = self.lp.add_column([*entries, *out, *early], high=high)
                    one.draws.setdefault(kind, []).append(column)
                    if early:
                        one.early.setdefault(kind, []).append(column)

    def _add_small_pots(self, person: int, t: int, cell: Cell, one: PersonInCell) -> None:
        """What a person takes as small pots in a cell. It counts as income, which covers spending of the whole period: so cash of
        the first one may earn interest that it would miss, and here that interest bears no tax."""
        of_cash = self._missed[t].cash if not t and self._missed[t].cash_at_first else 0.0
        for number, small in enumerate(self._small_pots):
            if small.of.person != person or t not in small.of.periods:
                continue
            grown = small.pot.after[t]
            part = grown / small.pot.uncrystallised
            entries = [(cell.cash, -1.0 - of_cash), (one.income, self._pensions[person].share - 1)]
            entries += [(small.pot.funds, grown), (small.share, part)]
            entries += [(row, 1.0) for row in cell.before[:1]]
            if small.of.is_personal and person in self._room:
                entries.append((self._room[person], part))
            sooner = SOONER_POUNDS_PER_POUND * (len(self._periods) - t) / len(self._periods)
            high = INF if self._is_open(number, t) else 0.0
            small.columns.setdefault(t, []).append(self.lp.add_column(entries, objective=sooner, high=high))

    def _is_open(self, number: int, choice: int | None) -> bool:
        """Whether a choice for an open small pot is not ruled out."""
        return not self._left_open or choice in self._left_open[number]

    def _leave_open(self, choices: tuple[frozenset[int | None], ...]) -> None:
        """Rule out other choices for the small pots."""
        self._left_open = choices
        for number, small in enumerate(self._small_pots):
            self.lp.bound_row(small.share, 0.0 if self._is_open(number, None) else 1.0, 1.0)
            self.lp.bound_columns(
                {
                    column: (0.0, INF if self._is_open(number, t) else 0.0)
                    for t, columns in small.columns.items()
                    for column in columns
                }
            )

    def _add_cash_flows(self, t: int, new: int) -> None:
        """Cash held from the cells of one period to those of the next, by owner; its interest is the owner's income."""
        cell = self.cells[t][new]
        if t and cell.before:
            self._add_cash_before(t, cell)
        if t == self._periods[-1]:
            entries = [(cell.cash, 1.0)] if cell.kept is None else [(cell.cash, 1.0), (cell.kept, 1.0)]
            self._held[t, new, None, 0] = self._last_day.add_money(entries)
        pairs = [(t - 1, before, new) for before in range(len(self.cells[t - 1]))] if t else []
        if t + 1 < len(self.cells):
            pairs += [(t, new, after) for after in range(len(self.cells[t + 1]))]
        for first, here, there in pairs:
            here_cell, other, rate = self.cells[first][here], self.cells[first + 1][there], self._rates[first + 1]
            both = [(here_cell.cash, 1.0), (other.cash, -1.0 - rate)]
            if here_cell.kept is not None:
                both.append((here_cell.kept, 1.0))
            for owner in self._people if rate else (0,):
                entries = [*both, (other.members[owner].savings, -rate)] if rate else list(both)
                if other.before:
                    limit = other.members[owner].cash_before
                    assert limit is not None
                    entries.append((limit, -1.0 - rate))
                    entries += [] if other.spare_cash is None else [(other.spare_cash, -1.0 - rate)]
                self._held[first, here, there, owner] = self.lp.add_column(entries)

    def _add_cash_before(self, t: int, cell: Cell) -> None:
        """The cash held into a cell that is spent before the last day, by owner: it misses interest."""
        missed = self._missed[t].cash
        for owner in self._people if self._rates[t] else (0,):
            one = cell.members[owner]
            one.cash_before = self.lp.add_row(-INF, 0.0)
            entries = [(one.cash_before, 1.0 + missed), *((row, 1.0) for row in cell.before)]
            entries += [] if cell.spare_cash is None else [(cell.spare_cash, 1.0 + missed)]
            if missed:
                entries += [(cell.cash, missed), (one.savings, missed)]
            one.spent_before = self.lp.add_column(entries)

    def _set_points(self, cell: Cell, person: int) -> None:
        """Admit the points of a person's tax that are in a cell's region, and no others."""
        domain, region = self.domains[person][cell.period], cell.regions[person]
        if domain.varies:
            self._admit(cell, person, domain.points(region, dict.fromkeys(claim[person] for claim in cell.claims)))

    def _admit(self, cell: Cell, person: int, points: Iterable[TaxPoint]) -> None:
        one = cell.members[person]
        wanted = set()
        for point in points:
            if point not in one.columns:
                column = one.columns[point] = self.lp.add_column(self._point_entries(cell, person, point))
                self._points_of[column] = one.weights, point
                one.admitted.add(column)
            wanted.add(one.columns[point])
        if wanted != one.admitted:
            self.lp.bound_columns(
                dict.fromkeys(sorted(wanted - one.admitted), (0.0, INF))
                | dict.fromkeys(sorted(one.admitted - wanted), (0.0, 0.0))
            )
            one.admitted = wanted

    def _point_entries(self, cell: Cell, person: int, point: TaxPoint) -> list[tuple[int, float]]:
        """The rows that a point of a person's tax has a part in."""
        domain, one = self.domains[person][cell.period], cell.members[person]
        entries = [(one.weights, 0.0 if point.endless else 1.0), (cell.cash, point.tax / UNIT_POUNDS)]
        if domain.free:
            entries.append((one.income, point.income / UNIT_PENCE))
        if domain.earns:
            entries.append((one.savings, point.savings / UNIT_PENCE))
        if point.claim in one.claims:
            entries.append(one.claims[point.claim])
        return entries

    # Branching constraints

    def _allowed(self, t: int, active: ActiveCells | None) -> frozenset[int]:
        every = range(len(self.cells[t]))
        if active is None:
            return frozenset(every)
        found = set(active.cells)
        for cell in every[active.known :]:
            if self.cells[t][cell].parent in found:
                found.add(cell)
        return frozenset(found)

    def _activate(self, t: int, active: ActiveCells | None) -> None:
        if len(self.cells[t]) > 1:
            allowed = self._allowed(t, active)
            shares = {cell.share: (0.0, 1.0 * (i in allowed)) for i, cell in enumerate(self.cells[t])}
            self.lp.bound_columns(shares)

    def _order_draws(self, person: int, order: DrawOrder) -> None:
        pension = self._pensions[person]
        self.lp.bound_columns(
            {
                column: (0.0, 0.0 if t < order.not_before else INF)
                for t, cells in enumerate(self.cells)
                for cell in cells
                for column in cell.members[person].draws.get("taxed", ())
            }
        )
        if order.used_by is not None and order.used_by not in pension.used:
            pension.used[order.used_by] = self._row_of_used(person, order.used_by)
        for until, row in pension.used.items():
            used_up = until == order.used_by
            self.lp.bound_row(row, pension.tax_free_left - PENNY_POUNDS / UNIT_POUNDS if used_up else 0.0, INF)

    def _row_of_used(self, person: int, until: int) -> int:
        """A row of what a person has used of the tax-free allowance by the end of a period."""
        cells = (cell for cells in self.cells[: until + 1] for cell in cells)
        columns = (column for cell in cells for column in cell.members[person].draws.get("tax_free", ()))
        return self.lp.add_row(0.0, INF, [(column, self._pensions[person].share) for column in columns])
