"""Reading an optimum of the relaxation: from the values of its columns and the duals of its rows to what it does and where it
is no plan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple

from service.law.income_tax import MarriageAllowance
from service.planning.optimiser.claims import Claim
from service.planning.optimiser.last_day import LastDayModel
from service.planning.optimiser.rows import Cell, PensionInModel, SmallPotRows
from service.planning.optimiser.solution import Amounts, MixedClaims, Solution
from service.planning.optimiser.tax_cells import CellTax, TaxDomain
from service.planning.optimiser.tax_surface import Region, TaxPoint
from service.planning.optimiser.tolerances import (
    EXACT_TAX_POUNDS,
    NIL_WEIGHT_SHARE,
    UNIT_POUNDS,
    WHOLE_SHARE_SHORTFALL,
)

_NOTABLE_POUNDS = 1.0
"""Draws and allowances below this are not looked at where their order is checked: pence of the solver's rounding."""


class _Drawn(NamedTuple):
    """What a person draws in a period, pounds: of uncrystallised funds with a tax-free part and without, and of drawdown funds;
    and what of it is spent before the last day."""

    tax_free: float
    taxed: float
    drawdown: float
    early_uncrystallised: float
    early_drawdown: float

    def taxable(self, share: float) -> float:
        """What of it is taxable, where such a share of the first is tax free."""
        return self.tax_free * (1 - share) + self.taxed + self.drawdown


class Reader:
    """Reads the optima of one relaxation, whose lists it shares: they grow with its cells."""

    def __init__(
        self,
        domains: Sequence[Sequence[TaxDomain]],
        cells: Sequence[Sequence[Cell]],
        claims: Sequence[Sequence[Claim]],
        pensions: Sequence[PensionInModel],
        small_pots: Sequence[SmallPotRows],
        last_day: LastDayModel,
        held: Mapping[tuple[int, int, int | None, int], int],
        points_of: Mapping[int, tuple[int, TaxPoint]],
    ) -> None:
        """``domains`` by person and period, ``cells`` and ``claims`` by period; ``held`` are the columns of cash by its first
        period, the two cells and the owner; ``points_of`` says whose point a column is, by the row of their points' weights."""
        self._people, self._periods = range(len(domains)), range(len(cells))
        self._domains, self._cells, self._claims = domains, cells, claims
        self._pensions, self._small_pots, self._last_day = pensions, small_pots, last_day
        self._held, self._points_of = held, points_of

    def solution(self, wealth: float, found: Sequence[float], duals: Sequence[float]) -> Solution:
        """What the values of the columns and the duals of the rows say, of an optimum of so many pounds."""
        cell_taxes = list(self._cell_taxes(found, duals))
        shares = [[found[cell.share] for cell in cells] for cells in self._cells]
        order_violations: dict[int, list[int]] = {}
        for person, pension in enumerate(self._pensions):
            left = pension.tax_free_left * UNIT_POUNDS
            for t in self._periods if pension.uses_up else ():
                left -= self._drawn_of(found, person, t, "tax_free") * pension.share
                if left > _NOTABLE_POUNDS and self._drawn_of(found, person, t, "taxed") > _NOTABLE_POUNDS:
                    order_violations.setdefault(person, []).append(t)
        fractional = self._fractional(shares, cell_taxes, duals)
        mixed = self._mixed_claims(shares, cell_taxes, duals)
        misjudged = self._last_day.misjudged(found)
        small_pots = tuple(self._shares_of(small, found) for small in self._small_pots)
        return Solution(wealth, found, shares, cell_taxes, fractional, mixed, order_violations, misjudged, small_pots)

    def _shares_of(self, small: SmallPotRows, found: Sequence[float]) -> dict[int | None, float]:
        """The share of a small pot that is taken in each period, and what is not."""
        shares: dict[int | None, float] = {}
        for t, columns in small.columns.items():
            part = small.pot.after[t] / small.pot.uncrystallised
            shares[t] = part * sum([max(0.0, found[column]) for column in columns])
        shares[None] = max(0.0, 1.0 - sum(shares.values()))
        return shares

    def amounts(self, solution: Solution) -> Amounts:
        """What a solution does. The relaxation has the cells that it had then."""
        amounts = [UNIT_POUNDS * value if value > 0.0 else 0.0 for value in solution.values]

        def pounds(columns: Iterable[int]) -> float:
            return sum([amounts[column] for column in columns])

        drawn = [[self._drawn(amounts, person, t) for t in self._periods] for person in self._people]
        cash = [[0.0 for _ in self._periods] for _ in self._people]
        for (t, _, _, owner), column in self._held.items():
            cash[owner][t] += amounts[column]
        early_cash = [
            [
                pounds(one.spent_before for cell in cells if (one := cell.members[owner]).spent_before is not None)
                for cells in self._cells
            ]
            for owner in self._people
        ]
        return Amounts(
            withdrawn=[
                [one.taxable(pension.share) for one in own] for own, pension in zip(drawn, self._pensions, strict=True)
            ],
            drawdown=[[one.drawdown for one in own] for own in drawn],
            cash=cash,
            early_cash=early_cash,
            early_uncrystallised=[[one.early_uncrystallised for one in own] for own in drawn],
            early_drawdown=[[one.early_drawdown for one in own] for own in drawn],
            subscribed=[pounds(cell.subscribed for cell in cells) for cells in self._cells],
            from_isas=[pounds(column for cell in cells for column in cell.from_isas) for cells in self._cells],
            early_from_isas=[
                pounds(cell.from_isas[-1] for cell in cells if cell.before and cell.from_isas) for cells in self._cells
            ],
        )

    def _drawn(self, amounts: Sequence[float], person: int, t: int) -> _Drawn:
        """What a person draws in a period, from the amounts of all columns."""
        sums = {"tax_free": 0.0, "taxed": 0.0, "drawdown": 0.0}
        early_uncrystallised = early_drawdown = 0.0
        for cell in self._cells[t]:
            for kind, columns in cell.members[person].draws.items():
                sums[kind] += sum([amounts[column] for column in columns])
            for kind, columns in cell.members[person].early.items():
                early = sum([amounts[column] for column in columns])
                if kind == "drawdown":
                    early_drawdown += early
                else:
                    early_uncrystallised += early
        return _Drawn(sums["tax_free"], sums["taxed"], sums["drawdown"], early_uncrystallised, early_drawdown)

    def _drawn_of(self, values: Sequence[float], person: int, t: int, kind: str) -> float:
        """What of one kind a person draws in a period, pounds."""
        drawn = 0.0
        for cell in self._cells[t]:
            for column in cell.members[person].draws.get(kind, ()):
                drawn += max(0.0, values[column])
        return UNIT_POUNDS * drawn

    def _cell_taxes(self, found: Sequence[float], duals: Sequence[float]) -> Iterator[CellTax]:
        """Everybody's tax in each cell that has weight."""
        made_of: dict[int, list[tuple[TaxPoint, float]]] = {}
        for column in [column for column, value in enumerate(found) if value > NIL_WEIGHT_SHARE]:
            whose = self._points_of.get(column)
            if whose is not None:
                made_of.setdefault(whose[0], []).append((whose[1], found[column]))
        for t, cells in enumerate(self._cells):
            for number, cell in enumerate(cells):
                share = found[cell.share]
                if share < NIL_WEIGHT_SHARE:
                    continue
                for person, one in enumerate(cell.members):
                    if self._domains[person][t].varies:
                        for claim, part, points in _by_claim(made_of.get(one.weights, []), share):
                            yield self._cell_tax(person, cell, number, part, claim, points, duals)

    def _cell_tax(
        self,
        person: int,
        cell: Cell,
        number: int,
        share: float,
        claim: MarriageAllowance,
        made_of: Sequence[tuple[TaxPoint, float]],
        duals: Sequence[float],
    ) -> CellTax:
        """A person's tax under a claim in a cell, from the points it is made of and their weights."""
        points, weights = [point for point, _ in made_of], [weight / share for _, weight in made_of]
        mean_income = mean_savings = tax = error = 0.0
        for point, weight in zip(points, weights, strict=True):
            mean_income += point.income * weight
            mean_savings += point.savings * weight
            tax += point.tax * weight
        income, savings = round(mean_income), round(mean_savings)
        if len(points) != 1:  # a single one is the surface's own
            error = self._domains[person][cell.period].under(claim).tax(income, savings) - tax
        cost = error * share * duals[cell.cash]
        return CellTax(person, cell.period, number, error, cost, share, income, savings, tax, points, weights, claim)

    def _best_claim(self, t: int, claims: Sequence[Claim], taxes: Sequence[CellTax]) -> tuple[float, Claim]:
        """The least tax of everybody on the mean of what they have in a period, and the claim it is under."""
        means = []
        for person in self._people:
            own = [taxed for taxed in taxes if taxed.person == person]
            income = round(sum(taxed.share * taxed.income for taxed in own))
            savings = round(sum(taxed.share * taxed.savings for taxed in own))
            means += [(person, self._domains[person][t], income, savings)] if own else []

        def tax(claim: Claim) -> float:
            return sum(domain.under(claim[person]).tax(income, savings) for person, domain, income, savings in means)

        open_claims = [
            claim
            for claim in claims
            if all(
                domain.may(claim[person], Region(income, income, savings, savings))
                for person, domain, income, savings in means
            )
        ]
        return min((tax(claim), claim) for claim in open_claims or claims)

    def _mixed_claims(
        self, shares: Sequence[Sequence[float]], cell_taxes: Sequence[CellTax], duals: Sequence[float]
    ) -> dict[int, MixedClaims]:
        """What it would cost, in each period with one cell, to be under one claim instead of under several."""
        found = {}
        for t, some in enumerate(shares):
            number = max(range(len(some)), key=some.__getitem__)
            cell = self._cells[t][number]
            if len(cell.claims) == 1 or some[number] <= 1 - WHOLE_SHARE_SHORTFALL:
                continue
            taxes = [taxed for taxed in cell_taxes if taxed.period == t and taxed.cell == number]
            if len({taxed.person for taxed in taxes}) == len(taxes):
                continue
            least, best = self._best_claim(t, cell.claims, taxes)
            cost = least - sum(taxed.share * (taxed.tax + taxed.error) for taxed in taxes)
            if cost > EXACT_TAX_POUNDS:
                found[t] = MixedClaims(number, best, cost * duals[cell.cash])
        return found

    def _fractional(
        self, shares: Sequence[Sequence[float]], cell_taxes: Sequence[CellTax], duals: Sequence[float]
    ) -> dict[int, float]:
        """What it would cost, in each period of several cells, to be taxed as on the whole instead of in each cell."""
        found = {}
        for t, some in enumerate(shares):
            if max(some) > 1 - WHOLE_SHARE_SHORTFALL:
                continue
            taxes = [taxed for taxed in cell_taxes if taxed.period == t]
            least, _ = self._best_claim(t, self._claims[t], taxes)
            cost = least - sum(taxed.share * taxed.tax for taxed in taxes)
            found[t] = cost * max(duals[cell.cash] for cell in self._cells[t])
        return found


def _by_claim(
    made_of: Sequence[tuple[TaxPoint, float]], share: float
) -> Iterator[tuple[MarriageAllowance, float, Sequence[tuple[TaxPoint, float]]]]:
    """The points that a tax is made of, with their weights, by claim, and the weight of each claim: the sum of theirs, from which
    a small cell's ``share`` may differ by the solver's rounding. What has no end goes with the heaviest."""
    parts: dict[MarriageAllowance, float] = {}
    for point, weight in made_of:
        if not point.endless:
            parts[point.claim] = parts.get(point.claim, 0.0) + weight
    heaviest: MarriageAllowance = max(parts, key=parts.__getitem__, default="none")
    if len(parts) < 2:
        yield heaviest, parts.get(heaviest, share), made_of
        return
    for claim, part in parts.items():
        yield claim, part, [one for one in made_of if (heaviest if one[0].endless else one[0].claim) == claim]
