"""What stays in a pension at the end, valued as drawn evenly over some years or at a flat rate."""

from __future__ import annotations

import random
from datetime import date
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law.income_tax import Nation, Taxpayer, liability, taxpayer_year
from service.law.lump_sums import Pension
from service.law.units import PENNY
from service.planning.curve.extra_tax import ExtraTax, extra_tax
from service.planning.curve.tax_function import TaxFunction
from service.planning.household import Assumptions, DatedIncome, Household, Isa, Member
from service.planning.optimiser.branch_and_bound import most_after_tax
from service.planning.projection.policies import filling, projected
from service.planning.projection.timeline import timeline
from tests.households import BOOK, taxpayers
from tests.oracle.best_plan import best_plan

POUND = 100
YEARS = sorted(BOOK.years)
EXACT = 100_000 * POUND
"""Below this much income in all the convex line is the tax but for steps and nil rates that are lost."""


def line_for(taxpayer: Taxpayer, tax_year: str = "2026-27") -> ExtraTax:
    """What withdrawals add to a taxpayer's year."""
    return extra_tax(TaxFunction(taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])))


@pytest.mark.parametrize(
    ("other", "years", "left", "tax"),
    [
        # Income Tax Act 2007 ss.10, 35 with the figures of 2026-27: allowance 12,570, basic limit 37,700, higher limit 125,140.
        (0, 20, 251_400, 0),  # 12,570 a year
        (0, 20, 251_400 + 20 * 100, 400),  # 100 pounds more a year at 20%
        (12_570, 20, 754_000, 150_800),  # 37,700 a year at 20%
        (12_570, 20, 754_000 + 20_000, 150_800 + 8_000),  # 1,000 a year more at 40%
        (30_000, 1, 20_270 + 1_000, 4_054 + 400),  # all in one year: 20,270 to 50,270
        (130_000, 20, 1_000_000, 450_000),  # 45%
    ],
)
def test_drawn_evenly_by_hand(other: int, years: int, left: int, tax: int) -> None:
    line = line_for(Taxpayer("england", other * POUND))
    assert line.over(years, left * POUND) == tax * POUND


@settings(max_examples=150, deadline=None)
@given(taxpayer=taxpayers(), tax_year=st.sampled_from(YEARS), seed=st.integers(0, 10**6))
def test_it_is_never_above_the_tax_that_the_withdrawal_adds(taxpayer: Taxpayer, tax_year: str, seed: int) -> None:
    """Asked of the rules at random amounts, over a child benefit charge that moves in whole hundredths of up to a step."""
    rules = BOOK.years[tax_year].income_tax[taxpayer.nation]
    year = taxpayer_year(taxpayer, rules)
    line, chance = extra_tax(TaxFunction(year)), random.Random(seed)
    start = liability(year, 0)
    one_hundredth = -(-taxpayer.child_benefit // 100)
    for _ in range(40):
        amount = chance.randrange(0, chance.choice((20_000, 60_000, 200_000, 900_000)) * POUND)
        found = liability(year, amount)
        added = found.income_tax + found.child_benefit_charge * PENNY
        added -= start.income_tax + start.child_benefit_charge * PENNY
        assert line.over(1, amount) * PENNY <= added + PENNY * (1 + one_hundredth + POUND)


@settings(max_examples=80, deadline=None)
@given(taxpayer=taxpayers(), tax_year=st.sampled_from(YEARS))
def test_it_is_convex_and_ends_at_the_top_rate(taxpayer: Taxpayer, tax_year: str) -> None:
    line = line_for(taxpayer, tax_year)
    rates = [rate for _, rate in line.stretches()]
    assert all(low < high for low, high in pairwise(rates))
    assert rates[-1] == BOOK.years[tax_year].income_tax[taxpayer.nation].scales.lower.rates[-1] / 10_000


@pytest.mark.parametrize("nation", ["england", "scotland"])
@pytest.mark.parametrize("other", [0, 9_000, 15_000, 40_000])
def test_below_the_taper_it_is_the_tax_itself(nation: Nation, other: int) -> None:
    """Where there is nothing but other income, rates only rise."""
    taxpayer = Taxpayer(nation, other * POUND)
    year = taxpayer_year(taxpayer, BOOK.years["2026-27"].income_tax[taxpayer.nation])
    line = extra_tax(TaxFunction(year))
    for amount in range(0, EXACT - other * POUND, 317 * POUND):
        added = liability(year, amount).income_tax - liability(year, 0).income_tax
        assert abs(line.over(1, amount) * PENNY - added) <= PENNY // 2


def household(years: int, **facts: Any) -> Household:
    """Two people of 62 and 58 with 400,000 and 150,000 pounds, one with 9,000 a year and State Pension."""
    people = (
        Member(
            date(1964, 6, 1),
            "england",
            Pension(40_000_000),
            income=(DatedIncome("defined_benefit_pension", 900_000),),
            isa=Isa(1_000_000),
        ),
        Member(date(1968, 6, 1), "scotland", Pension(15_000_000), cash=500_000),
    )
    assumed = Assumptions(pension_growth=400, isa_growth=400, price_inflation=200, **facts)
    return Household(date(2026, 4, 6), date(2026 + years, 4, 5), people, assumptions=assumed)


@pytest.mark.parametrize("years", [3, 12])
@pytest.mark.parametrize("over", [1, 7, 20])
def test_the_bound_holds_and_no_plan_found_by_trying_is_better(years: int, over: int) -> None:
    tax_years = timeline(household(years, remaining_pension_drawn_over=over), BOOK)
    best = most_after_tax(tax_years)
    assert best.agreed
    assert best.projection.wealth <= best.bound
    tried = best_plan(tax_years, tries=1_500)
    assert tried.wealth <= best.bound
    assert tried.wealth <= best.projection.wealth + 60 * years
    assert best.bound - best.projection.wealth <= 100 * years


def test_one_year_more_of_drawing_moves_little() -> None:
    """At a flat rate many plans are equally good, and a hundredth of a point chooses another one. Drawn evenly, what is left
    bears more tax the more there is."""
    first = most_after_tax(timeline(household(12), BOOK)).projection
    second = most_after_tax(timeline(household(12, remaining_pension_drawn_over=21), BOOK)).projection
    drawn = [[record.gross for year in plan.years for record in year.people] for plan in (first, second)]
    moved = sum(abs(one - other) for one, other in zip(*drawn, strict=True))
    assert moved < sum(drawn[0]) // 5


def test_a_flat_rate_is_taken_off_the_taxed_part() -> None:
    """400,000 pounds of 62,000 drawn: what is left, 75% of it at 30%."""
    one = Household(
        date(2026, 4, 6),
        date(2027, 4, 5),
        (Member(date(1964, 6, 1), "england", Pension(40_000_000)),),
        assumptions=Assumptions(tax_rate_on_remaining_pension=3_000),
    )
    plan = projected(timeline(one, BOOK), filling(timeline(one, BOOK), "personal_allowance"))
    # 16,760 are drawn free of tax; 383,240 are left, of which 287,430 are taxed.
    assert plan.wealth == 40_000_000 - 28_743_000 * 3 // 10
