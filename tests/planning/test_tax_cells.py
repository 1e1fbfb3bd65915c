"""Interest that is not taxed by the surface yet: the points without it are still nowhere above the rules' tax."""

from __future__ import annotations

import random

import pytest

from service.law.income_tax import IncomeTaxRules, Taxpayer
from service.planning.optimiser.branch_and_bound import most_after_tax
from service.planning.optimiser.partitioning import partition
from service.planning.optimiser.relaxation import Relaxation
from service.planning.optimiser.tax_cells import CellTax, TaxDomain
from service.planning.optimiser.tax_surface import Surface
from service.planning.optimiser.work import Work
from service.planning.projection.timeline import timeline
from tests.benchmarks.households import couple
from tests.benchmarks.questions import BOOK, question
from tests.planning.test_tax_surface import ROUNDED, hull, person, rules_own

POUND = 100


def domain(chance: random.Random, *, gives: bool) -> tuple[TaxDomain, Taxpayer, IncomeTaxRules]:
    """A person's period with interest that bears no tax, who may have been given or give a marriage allowance."""
    taxpayer, rules = person(chance)
    if gives:
        taxpayer = taxpayer._replace(marriage_allowance="gives", dividends=chance.randint(0, 40_000) * POUND)
    lost = taxpayer._replace(marriage_allowance="none")
    income, savings = chance.randint(0, 30_000) * POUND, chance.choice((0, chance.randint(0, 6_000))) * POUND
    most = income + chance.randint(20_000, 200_000) * POUND, savings + chance.randint(1_000, 40_000) * POUND
    surface, other = (Surface(one, rules, Work(10**12)) for one in (taxpayer, lost))
    given = taxpayer.marriage_allowance == "gives"
    found = TaxDomain(surface, income, savings, True, True, *most, untaxed=True, lost=other if given else None)
    return found, taxpayer, rules


@pytest.mark.parametrize("gives", [False, True])
@pytest.mark.parametrize("seed", range(100))
def test_the_points_without_interest_are_nowhere_above_the_tax_with_it(seed: int, gives: bool) -> None:
    """Interest that bears no tax may be added to any point, so what counts is the hull at no interest."""
    chance = random.Random(seed)
    period, taxpayer, rules = domain(chance, gives=gives)
    points = [point for point in period.points(period.region) if not point.endless]
    for _ in range(30):
        income = chance.randint(period.income, min(period.most, 160_000 * POUND))
        savings = chance.randint(period.savings, chance.choice((period.savings + 900 * POUND, period.most_savings)))
        if savings <= period.most_savings:
            tax = rules_own(taxpayer, rules, income, savings)
            assert hull(points, income, period.savings) <= tax + ROUNDED, (income, savings)


@pytest.mark.parametrize("seed", range(100))
def test_a_split_by_a_total_would_leave_out_plans_with_interest(seed: int) -> None:
    """So where interest is not refined, both sides have the totals of the whole, and no income is in neither."""
    chance = random.Random(seed)
    period, *_ = domain(chance, gives=True)
    first, *_, last = (point for point in period.points(period.region) if not point.endless)
    income, tax = (first.income + last.income) // 2, (first.tax + last.tax) / 2
    error = period.surface.tax(income, period.savings) - tax
    mean = CellTax(0, 1, 0, error, error, 1.0, income, period.savings, tax, [first, last], [0.5, 0.5])
    sides = partition(period, period.region, mean)
    if sides is not None:
        low, high = sorted(sides)
        assert {(side.total_low, side.total_high) for side in sides} == {period.region[4:]}
        assert high.income_low - low.income_high in (0, 1)


def test_interest_that_loses_a_marriage_allowance_is_looked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """A couple in which one gives the marriage allowance, with much cash: were what interest may lose not looked at, the bound
    would be below a plan."""
    body = couple(random.Random(58), "most_after_tax")
    body["household"]["people"][0]["marriage_allowance"] = "gives"
    years = timeline(question("allowance-schedule", body).household, BOOK)
    plan = most_after_tax(years).projection
    monkeypatch.setattr(Relaxation, "_gains_by_losing", lambda *_: False)
    found = most_after_tax(years)
    assert found.bound < plan.wealth or not found.agreed
