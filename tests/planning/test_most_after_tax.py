"""The plan that leaves the most after tax against independent searches, against its own bound, and against what must hold of
any best plan.

Fixed households, invented. What is the best plan is nowhere published; ``tests/oracle/best_plan.py`` finds it by trying.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import (
    Assumptions,
    Contribution,
    DatedIncome,
    Household,
    Isa,
    Member,
    PensionHeld,
    Spending,
)
from service.planning.optimiser.branch_and_bound import BestPlan, most_after_tax
from service.planning.optimiser.work import LIMITS, Work
from service.planning.projection.policies import BANDS, evenly_from_state_pension_age, filling, projected
from service.planning.projection.settlement import Choice, Draw, wealth_after_tax
from service.planning.projection.timeline import Timeline, timeline
from tests.benchmarks.households import couple
from tests.benchmarks.questions import question
from tests.households import BOOK, growing_apart
from tests.oracle.best_plan import (
    Judge,
    Plan,
    Search,
    as_table,
    best_of_two_years,
    best_plan,
    policy_of,
    table_of,
    worth,
)

POUND = 100
PENNIES_A_YEAR = 20
"""What the pennies of tax, growth and tax-free parts may come to in a tax year, which no bound counts."""


def member(
    born: int = 1958, *, uncrystallised: int = 0, drawdown: int = 0, lump_sums_used: int = 0, **facts: Any
) -> Member:
    """A person; pensions in pounds."""
    held = facts.get("pensions", ())
    uncrystallised += sum(one.uncrystallised for one in held) // POUND
    drawdown += sum(one.drawdown for one in held) // POUND
    pension = Pension(uncrystallised * POUND, drawdown * POUND, lump_sum_allowance_used=lump_sums_used * POUND)
    return Member(date(born, 6, 1), facts.pop("nation", "england"), pension, **facts)


def pot(uncrystallised: int, growth: int, *, drawdown: int = 0, age: int | None = None) -> PensionHeld:
    """One of several pensions, in pounds."""
    return PensionHeld(uncrystallised * POUND, drawdown * POUND, age, growth)


def income(kind: str, pounds: int, **more: Any) -> DatedIncome:
    """An income in pounds a year."""
    return DatedIncome(kind, pounds * POUND, **more)


def years(first: int, count: int) -> tuple[date, date]:
    """Whole tax years."""
    return date(first, 4, 6), date(first + count, 4, 5)


def household(
    span: tuple[date, date],
    *people: Member,
    spending: int = 0,
    lump_sums: str = "with_each_withdrawal",
    minimum_cash: int = 0,
    **assumed: Any,
) -> Household:
    """A household that spends, and keeps in cash, so many pounds a year. What is left in pensions bears a flat 20% unless
    something else is said."""
    items = (Spending(spending * POUND),) if spending else ()
    kept = {"minimum_cash": minimum_cash * POUND}
    left = {"tax_rate_on_remaining_pension": 2_000}
    return Household(*span, people, items, lump_sums, growing_apart(Assumptions(**left | assumed), *people), **kept)


def isa(pounds: int, used: int = 0, **more: Any) -> Isa:
    """ISAs in pounds."""
    return Isa(pounds * POUND, used * POUND, **more)


def paid_in(pounds: int, **more: Any) -> Contribution:
    """A contribution into the person's pension, in pounds a year."""
    return Contribution(yearly=pounds * POUND, pension=0, **{"relief": None, **more})


SMALL: dict[str, Household] = {
    "alone, no other income": household(
        years(2026, 3), member(uncrystallised=90_000), pension_growth=400, isa_growth=400
    ),
    "alone, no tax at the end": household(
        years(2026, 3),
        member(uncrystallised=250_000),
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=0,
    ),
    "alone, much tax at the end": household(
        years(2026, 4),
        member(uncrystallised=420_000),
        pension_growth=500,
        isa_growth=500,
        tax_rate_on_remaining_pension=4_500,
    ),
    "savings and dividends": household(
        years(2026, 3),
        member(
            uncrystallised=150_000,
            income=(income("savings_interest", 4_300), income("dividends", 9_000), income("state_pension", 6_100)),
        ),
        tax_rate_on_remaining_pension=3_000,
    ),
    "savings, dividends and property": household(
        years(2026, 4),
        member(
            uncrystallised=130_000,
            drawdown=25_000,
            income=(income("savings_interest", 900), income("dividends", 3_200), income("property_income", 8_000)),
        ),
        pension_growth=200,
        isa_growth=200,
        tax_rate_on_remaining_pension=2_500,
    ),
    "Scotland": household(
        years(2026, 4),
        member(uncrystallised=210_000, nation="scotland", income=(income("state_pension", 9_300),)),
        pension_growth=400,
        isa_growth=400,
        tax_rate_on_remaining_pension=2_100,
    ),
    "Scotland and Wales": household(
        years(2026, 3),
        member(uncrystallised=160_000, nation="scotland", income=(income("dividends", 1_800),)),
        member(1961, uncrystallised=60_000, nation="wales", income=(income("employment", 21_000),)),
        tax_rate_on_remaining_pension=2_500,
    ),
    "marriage allowance": household(
        years(2026, 3),
        member(uncrystallised=70_000, marriage_allowance="gives"),
        member(1960, uncrystallised=180_000, marriage_allowance="receives", income=(income("state_pension", 11_000),)),
        tax_rate_on_remaining_pension=2_200,
    ),
    "marriage allowance as best": household(
        years(2026, 3),
        member(uncrystallised=70_000, marriage_allowance="as_best"),
        member(1960, uncrystallised=180_000, marriage_allowance="as_best", income=(income("state_pension", 11_000),)),
        tax_rate_on_remaining_pension=3_500,
    ),
    "marriage allowance as best, either way": household(
        years(2026, 4),
        member(
            uncrystallised=90_000,
            marriage_allowance="as_best",
            income=(income("employment", 52_000, last=date(2028, 4, 5)),),
        ),
        member(
            1962,
            uncrystallised=150_000,
            drawdown=20_000,
            marriage_allowance="as_best",
            income=(income("employment", 21_000, last=date(2027, 8, 5)), income("dividends", 2_400)),
        ),
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=3_000,
    ),
    "marriage allowance as best, Scotland and interest": household(
        (date(2026, 10, 20), date(2029, 9, 1)),
        member(uncrystallised=120_000, nation="scotland", cash=60_000 * POUND, marriage_allowance="as_best"),
        member(
            1959,
            uncrystallised=200_000,
            nation="scotland",
            marriage_allowance="as_best",
            income=(income("state_pension", 9_000), income("savings_interest", 1_300)),
        ),
        spending=30_000,
        cash_interest=300,
        isa_growth=300,
        pension_growth=400,
    ),
    "marriage allowance as best near the higher rate": household(
        years(2027, 3),
        member(uncrystallised=400_000, marriage_allowance="as_best", income=(income("property_income", 6_000),)),
        member(1961, uncrystallised=350_000, marriage_allowance="as_best", income=(income("annuity", 30_000),)),
        pension_growth=500,
        isa_growth=500,
        tax_rate_on_remaining_pension=4_500,
    ),
    "marriage allowance received alone": household(
        years(2027, 3),
        member(uncrystallised=230_000, marriage_allowance="receives", income=(income("state_pension", 8_000),)),
        tax_rate_on_remaining_pension=3_500,
    ),
    "child benefit": household(
        years(2026, 2),
        member(1967, uncrystallised=190_000, child_benefit=2_251_60, income=(income("employment", 44_000),)),
        tax_rate_on_remaining_pension=4_000,
    ),
    "taper of the personal allowance": household(
        years(2026, 3),
        member(uncrystallised=500_000, income=(income("defined_benefit_pension", 61_000),)),
        tax_rate_on_remaining_pension=4_300,
    ),
    "tax-free allowance nearly used": household(
        years(2026, 3),
        member(uncrystallised=240_000, lump_sums_used=261_000),
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=2_400,
    ),
    "large pension": household(
        years(2026, 3),
        member(uncrystallised=1_400_000),
        pension_growth=500,
        isa_growth=500,
        tax_rate_on_remaining_pension=4_000,
    ),
    "ISA allowance binds": household(
        years(2026, 3),
        member(uncrystallised=200_000, isa=isa(10_000, 17_000), cash=40_000 * POUND),
        pension_growth=400,
        isa_growth=400,
        cash_interest=300,
        tax_rate_on_remaining_pension=2_000,
    ),
    "ISA allowance binds for two": household(
        years(2026, 3),
        member(uncrystallised=150_000, isa=isa(0, 20_000), cash=90_000 * POUND),
        member(1962, drawdown=80_000, income=(income("employment", 30_000),)),
        pension_growth=500,
        isa_growth=500,
        cash_interest=400,
        tax_rate_on_remaining_pension=2_000,
    ),
    "cash better than ISAs": household(
        years(2026, 2),
        member(1967, uncrystallised=33_575, income=(income("savings_interest", 4_626),)),
        cash_interest=450,
    ),
    "spending binds": household(
        years(2026, 4),
        member(uncrystallised=160_000, isa=isa(12_000), income=(income("state_pension", 7_000),)),
        spending=31_000,
        pension_growth=300,
        isa_growth=300,
    ),
    "spending binds for two": household(
        years(2026, 3),
        member(uncrystallised=130_000, isa=isa(5_000)),
        member(1959, uncrystallised=40_000, drawdown=30_000, income=(income("defined_benefit_pension", 14_000),)),
        spending=52_000,
        pension_growth=400,
        isa_growth=200,
    ),
    "pensions grow more": household(
        years(2026, 4),
        member(uncrystallised=120_000),
        pension_growth=600,
        isa_growth=100,
        tax_rate_on_remaining_pension=1_500,
    ),
    "ISAs grow more": household(
        years(2026, 4),
        member(uncrystallised=120_000),
        pension_growth=100,
        isa_growth=600,
        tax_rate_on_remaining_pension=2_000,
    ),
    "one lump sum first": household(
        years(2026, 3),
        member(uncrystallised=110_000, drawdown=12_000, income=(income("state_pension", 5_500),)),
        lump_sums="all_now",
        pension_growth=200,
        isa_growth=200,
        tax_rate_on_remaining_pension=2_400,
    ),
    "no lump sums": household(
        years(2026, 3),
        member(uncrystallised=110_000, drawdown=20_000, income=(income("state_pension", 5_500),)),
        lump_sums="never",
        tax_rate_on_remaining_pension=2_400,
    ),
    "part years": household(
        (date(2026, 11, 20), date(2029, 7, 3)),
        member(
            uncrystallised=120_000,
            income=(income("employment", 38_000, last=date(2027, 9, 30)), income("state_pension", 10_000)),
        ),
        pension_growth=500,
        isa_growth=500,
        tax_rate_on_remaining_pension=2_000,
    ),
    "part years for two": household(
        (date(2029, 10, 27), date(2031, 12, 24)),
        member(1963, uncrystallised=140_000, income=(income("employment", 47_000, last=date(2030, 8, 1)),)),
        member(1969, uncrystallised=90_000),
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=2_200,
    ),
    "minimum pension age on the way": household(
        years(2026, 4),
        member(1970, uncrystallised=150_000, isa=isa(30_000), income=(income("employment", 9_000),)),
        spending=14_000,
        pension_growth=300,
        isa_growth=300,
    ),
    "blind person's allowance and reliefs": household(
        years(2026, 3),
        member(
            uncrystallised=260_000,
            blind_persons_allowance=True,
            contributions=(Contribution(relief="relief_at_source", yearly=2_880 * POUND),),
            gift_aid_donations=500 * POUND,
            income=(income("state_pension", 11_900),),
        ),
        tax_rate_on_remaining_pension=3_500,
    ),
    "a minimum of cash": household(
        years(2026, 4),
        member(uncrystallised=120_000, isa=isa(20_000), cash=9_000 * POUND),
        member(1964, income=(income("employment", 24_000),)),
        spending=38_000,
        minimum_cash=15_000,
        pension_growth=400,
        isa_growth=500,
    ),
    "a minimum of cash out of ISAs": household(
        years(2026, 2),
        member(uncrystallised=100_000, isa=isa(60_000)),
        minimum_cash=50_000,
        tax_rate_on_remaining_pension=0,
    ),
    "a cap on withdrawals": household(
        years(2026, 4),
        member(uncrystallised=150_000, drawdown=20_000, withdrawal_cap=14_000 * POUND, isa=isa(30_000)),
        spending=16_000,
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=4_000,
    ),
    "a cap and a minimum": household(
        years(2026, 3),
        member(uncrystallised=90_000, withdrawal_cap=20_000 * POUND, cash=30_000 * POUND),
        member(1962, drawdown=70_000, income=(income("annuity", 9_000),)),
        spending=36_000,
        minimum_cash=10_000,
        lump_sums="never",
        pension_growth=500,
        isa_growth=400,
        cash_interest=300,
    ),
    "two whose pensions grow differently": household(
        years(2026, 4),
        member(uncrystallised=110_000, isa=isa(8_000), income=(income("state_pension", 9_000),)),
        member(1961, uncrystallised=60_000, drawdown=30_000, contributions=(paid_in(5_000, payer="employer"),)),
        spending=30_000,
        pension_growth=600,
        pension_growths=(600, 100),
        isa_growth=400,
        tax_rate_on_remaining_pension=3_000,
    ),
    "two whose pensions grow differently, met at the end": household(
        years(2026, 3),
        member(uncrystallised=110_000),
        member(1961, uncrystallised=90_000, nation="scotland"),
        pension_growth=-200,
        pension_growths=(-200, 700),
        isa_growth=300,
        spending_met="end",
        tax_rate_on_remaining_pension=1_000,
    ),
    "paid in by an employer and oneself": household(
        years(2026, 3),
        member(
            uncrystallised=9_000,
            income=(income("employment", 30_000),),
            contributions=(paid_in(4_000, payer="employer"), paid_in(3_000, relief="relief_at_source")),
        ),
        pension_growth=500,
        isa_growth=300,
        tax_rate_on_remaining_pension=4_000,
    ),
    "paid in from savings, and little there": household(
        years(2026, 4),
        member(
            uncrystallised=2_000,
            isa=isa(40_000),
            contributions=(
                paid_in(3_600, relief="relief_at_source"),
                paid_in(6_000, payer="third_party", relief="none"),
            ),
        ),
        spending=6_000,
        pension_growth=400,
        isa_growth=400,
    ),
    "paid in from cash, with interest": household(
        years(2026, 3),
        member(
            uncrystallised=50_000,
            cash=25_000 * POUND,
            isa=isa(5_000, 20_000),
            contributions=(paid_in(8_000, relief="none"),),
        ),
        pension_growth=500,
        isa_growth=400,
        cash_interest=300,
        tax_rate_on_remaining_pension=2_000,
    ),
    "more paid in than flexible access leaves room for": household(
        years(2026, 4),
        member(
            uncrystallised=80_000,
            isa=isa(60_000),
            income=(income("employment", 24_000, last=date(2028, 4, 5)),),
            contributions=(paid_in(15_000, relief="net_pay", last=date(2028, 4, 5)),),
        ),
        spending=20_000,
        pension_growth=400,
        isa_growth=300,
        tax_rate_on_remaining_pension=3_000,
    ),
    "a lump sum first, and paid in": household(
        years(2026, 4),
        member(
            uncrystallised=60_000,
            income=(income("employment", 18_000),),
            contributions=(paid_in(5_000, relief="relief_at_source"),),
        ),
        member(1971, uncrystallised=90_000, contributions=(paid_in(9_000, payer="employer"),)),
        lump_sums="all_now",
        spending=17_000,
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=2_500,
    ),
    "two pensions, of which one grows more": household(
        years(2026, 4),
        member(pensions=(pot(60_000, 700), pot(45_000, 100)), income=(income("annuity", 9_000),), isa=isa(15_000)),
        spending=16_000,
        isa_growth=400,
        tax_rate_on_remaining_pension=3_000,
    ),
    "a pension that is locked for two years": household(
        years(2026, 4),
        member(1962, pensions=(pot(30_000, 500), pot(80_000, 200, age=66)), isa=isa(20_000)),
        spending=21_000,
        pension_growth=500,
        isa_growth=300,
    ),
    "drawdown funds that grow more, no lump sums": household(
        years(2026, 4),
        member(pensions=(pot(0, 800, drawdown=70_000), pot(50_000, 100))),
        lump_sums="never",
        isa_growth=300,
        tax_rate_on_remaining_pension=2_000,
    ),
    "two people with three pensions and a lump sum first": household(
        years(2026, 3),
        member(pensions=(pot(70_000, 600), pot(30_000, 0, drawdown=9_000)), income=(income("state_pension", 9_000),)),
        member(1963, uncrystallised=40_000),
        lump_sums="all_now",
        spending=24_000,
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=2_500,
    ),
    "one pension that closes again while another stays open": household(
        years(2026, 4),
        member(1971, pensions=(pot(60_000, 100, age=50), pot(60_000, 600)), isa=isa(8_000)),
        spending=14_000,
        pension_growth=600,
        isa_growth=300,
        tax_rate_on_remaining_pension=3_000,
    ),
    "several pensions above the tax-free allowance, paid in": household(
        years(2026, 3),
        member(
            lump_sums_used=260_000,
            pensions=(pot(60_000, 500), pot(30_000, 100)),
            income=(income("annuity", 6_000),),
            contributions=(paid_in(8_000, payer="employer"),),
        ),
        pension_growth=500,
        isa_growth=300,
        tax_rate_on_remaining_pension=4_000,
    ),
    "paid in beyond the tax-free allowance": household(
        years(2026, 3),
        member(
            uncrystallised=40_000,
            lump_sums_used=265_000,
            income=(income("annuity", 6_000),),
            contributions=(paid_in(10_000, payer="employer"),),
        ),
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=4_000,
    ),
}
"""Two to four tax years, each with something that matters."""

TWO_YEARS: dict[str, Household] = {
    "nothing else": household(years(2026, 2), member(uncrystallised=120_000), pension_growth=400, isa_growth=400),
    "State Pension": household(
        years(2026, 2),
        member(uncrystallised=140_000, income=(income("state_pension", 11_502),)),
        pension_growth=700,
        isa_growth=100,
        tax_rate_on_remaining_pension=3_000,
    ),
    "Scotland, no lump sums": household(
        years(2027, 2),
        member(uncrystallised=90_000, nation="scotland", income=(income("savings_interest", 2_000),)),
        lump_sums="never",
        tax_rate_on_remaining_pension=4_000,
    ),
    "first": household(
        years(2026, 2),
        member(uncrystallised=160_000, income=(income("dividends", 14_000),)),
        lump_sums="all_now",
        pension_growth=200,
        isa_growth=300,
        tax_rate_on_remaining_pension=4_500,
    ),
    "spending and savings": household(
        years(2026, 2),
        member(uncrystallised=60_000, isa=isa(9_000), income=(income("savings_interest", 5_700),)),
        spending=33_000,
        pension_growth=300,
        isa_growth=300,
    ),
    "allowance used up": household(
        years(2026, 2),
        member(uncrystallised=300_000, lump_sums_used=250_000),
        pension_growth=500,
        isa_growth=500,
        tax_rate_on_remaining_pension=4_200,
    ),
    "marriage allowance": household(
        years(2026, 2),
        member(uncrystallised=100_000, marriage_allowance="receives", income=(income("annuity", 17_000),)),
        pension_growth=300,
        isa_growth=300,
        tax_rate_on_remaining_pension=3_800,
    ),
    "two pensions that grow differently": household(
        years(2026, 2),
        member(pensions=(pot(40_000, 700), pot(40_000, 100)), income=(income("annuity", 4_000),)),
        isa_growth=300,
        tax_rate_on_remaining_pension=3_500,
    ),
    "a pension that is locked in the first year": household(
        years(2026, 2),
        member(1961, pensions=(pot(40_000, 300), pot(60_000, 100, age=66))),
        isa_growth=300,
        tax_rate_on_remaining_pension=3_500,
    ),
    "paid in": household(
        years(2026, 2),
        member(
            uncrystallised=20_000,
            income=(income("annuity", 5_000),),
            contributions=(paid_in(9_000, payer="employer"),),
        ),
        pension_growth=600,
        isa_growth=300,
        tax_rate_on_remaining_pension=4_000,
    ),
}
"""One person, whole tax years, no drawdown funds and no interest on cash."""


def pension_of(pence: int) -> Pension:
    """Uncrystallised funds to the penny."""
    return Pension(pence)


def two_draws(first: int, second: int) -> Plan:
    """One person's uncrystallised draws of two years, pence, the first year's money kept out of ISAs."""
    return Choice((Draw(first),), subscribe=0), Choice((Draw(second),))


FILLS = (Draw(1_676_000), Draw(0, 1_257_000))

KNOWN: dict[str, tuple[Household, Plan]] = {
    "cash outside ISAs below the starting rate": (
        household(
            years(2026, 2),
            member(1967, income=(income("savings_interest", 4_626),), marriage_allowance="receives")._replace(
                pension=pension_of(3_357_500),
                cash=6_000_000,
            ),
            cash_interest=450,
        ),
        two_draws(1_676_000, 1_507_500),
    ),
    "interest below dividends": (
        household(
            (date(2026, 4, 6), date(2027, 10, 29)),
            member(1965, uncrystallised=440_000, cash=20_000_000, income=(income("dividends", 5_228),)),
            cash_interest=300,
        ),
        two_draws(1_676_000, 1_676_000),
    ),
    "marriage allowance given up, savings": (
        household(
            (date(2026, 4, 6), date(2027, 9, 18)),
            member(1956, uncrystallised=670_000, marriage_allowance="gives", income=(income("savings_interest", 755),)),
            cash_interest=450,
        ),
        two_draws(6_602_000, 6_434_000),
    ),
    "marriage allowance given, dividends": (
        household(
            (date(2026, 4, 6), date(2027, 6, 20)),
            member(1967, uncrystallised=30_000, marriage_allowance="gives", income=(income("dividends", 1_982),)),
            cash_interest=150,
        ),
        two_draws(1_508_000, 1_492_000),
    ),
    "all of the personal allowance tapered away": (
        household(
            years(2027, 2), member(1957, uncrystallised=640_000), cash_interest=150, tax_rate_on_remaining_pension=4_500
        ),
        two_draws(13_333_566, 13_121_762),
    ),
    "two lump sums and cash outside ISAs": (
        household(
            (date(2029, 4, 6), date(2030, 10, 26)),
            member(
                1956,
                uncrystallised=830_000,
                income=(
                    DatedIncome("state_pension", share_of_full_rate=3_539),
                    income("property_income", 9_590, increases="prices"),
                ),
            ),
            member(1962, uncrystallised=1_020_000),
            lump_sums="all_now",
            cash_interest=300,
        ),
        (
            Choice((Draw(0, 3_624_000), Draw(0, 5_027_000)), subscribe=0),
            Choice((Draw(), Draw(0, 1_257_000))),
        ),
    ),
    "interest up to where the starting rate and the savings allowance end": (
        household(
            years(2026, 6),
            member(
                1968,
                uncrystallised=864_696,
                isa=isa(30_844),
                cash=30_000 * POUND,
                income=(
                    income("state_pension", 11_561),
                    income("employment", 48_319, last=date(2027, 2, 20)),
                    income("savings_interest", 5_319),
                ),
            ),
            spending=12_566,
            lump_sums="all_now",
            pension_growth=300,
            cash_interest=300,
            price_inflation=200,
            thresholds_after_freeze="prices",
        ),
        (Choice((Draw(),)), Choice((Draw(),)), *(Choice((Draw(0, 295_700),)),) * 4),
    ),
    "marriage allowance that neither may have": (
        household(
            years(2027, 2),
            member(1968, uncrystallised=313_179, drawdown=100_000, lump_sums_used=250_000, marriage_allowance="gives"),
            member(
                1958,
                uncrystallised=741_875,
                lump_sums_used=250_000,
                marriage_allowance="receives",
                cash=30_000 * POUND,
                income=(income("state_pension", 7_981), income("employment", 84_824)),
            ),
            pension_growth=300,
            isa_growth=300,
            cash_interest=450,
            tax_rate_on_remaining_pension=4_500,
        ),
        (
            Choice((Draw(100_000 * POUND), Draw(584_500))),
            Choice((Draw(0, 9_129_579), Draw(668_366))),
        ),
    ),
    "cash with whom it bears no tax": (
        household(
            (date(2030, 2, 4), date(2033, 4, 5)),
            member(1957, uncrystallised=140_000, cash=20_000_000),
            member(1967, drawdown=110_000, cash=20_000_000),
            spending=49_047,
            pension_growth=600,
            isa_growth=600,
            cash_interest=300,
        ),
        (
            Choice(FILLS, cash_of_first=20_000_000),
            Choice(FILLS),
            Choice(FILLS, cash_of_first=20_000_000),
            Choice(FILLS),
        ),
    ),
}
"""Households of which a good plan is known, found by long searches: most turn on where cash waits and what it bears."""


def large(seed: int) -> Household:
    """A household of ten to forty tax years."""
    chance = random.Random(seed)
    start = date(2026, 4, 6) + timedelta(days=chance.choice((0, 0, 100, 400)))
    people = []
    for _ in range(chance.randint(1, 2)):
        incomes = [DatedIncome("state_pension", share_of_full_rate=chance.randint(5_000, 10_000), increases="prices")]
        if chance.random() < 0.5:
            last = start + timedelta(days=chance.randint(500, 3_000))
            incomes.append(income("employment", chance.randint(9_000, 70_000), last=last, increases=200))
        if chance.random() < 0.4:
            incomes.append(
                income(chance.choice(("savings_interest", "dividends", "property_income")), chance.randint(500, 9_000))
            )
        people.append(
            member(
                chance.randint(1958, 1968),
                uncrystallised=chance.randint(50_000, 700_000),
                drawdown=chance.choice((0, 0, 60_000)),
                nation=chance.choice(("england", "scotland", "wales", "northern_ireland")),
                isa=isa(chance.randint(0, 80_000)),
                cash=chance.choice((0, 30_000 * POUND)),
                income=tuple(incomes),
            )
        )
    return household(
        (start, start.replace(year=start.year + chance.randint(10, 40)) - timedelta(days=1)),
        *people,
        spending=chance.choice((0, 15_000)),
        lump_sums=chance.choice(("with_each_withdrawal", "all_now", "never")),
        pension_growth=chance.choice((200, 400)),
        isa_growth=chance.choice((300, 400)),
        cash_interest=chance.choice((0, 200)),
        price_inflation=200,
        thresholds_after_freeze=chance.choice(("frozen", "prices")),
        tax_rate_on_remaining_pension=chance.choice((2_000, 4_000)),
    )


def small(name: str) -> Timeline:
    """One of the small households' tax years."""
    return timeline(SMALL[name], BOOK)


def pennies(tax_years: Timeline) -> int:
    """What the pennies of all its tax years may come to."""
    return PENNIES_A_YEAR * len(tax_years.periods)


def no_worse(best: BestPlan, wealth: int) -> bool:
    """Whether a plan is as good as one that leaves ``wealth``, as far as its bound lets anybody tell."""
    gap = best.bound - best.projection.wealth
    return best.projection.wealth + gap + pennies(best.projection.timeline) >= wealth


@pytest.mark.parametrize("name", SMALL)
def test_no_plan_found_by_trying_is_better(name: str) -> None:
    tax_years = small(name)
    best = most_after_tax(tax_years)
    tried = best_plan(tax_years, seed=len(name), tries=2_000)
    assert tried.wealth <= best.projection.wealth + POUND * len(tax_years.periods), tried.plan
    assert tried.wealth <= best.bound + pennies(tax_years), tried.plan


@pytest.mark.parametrize("name", KNOWN)
def test_a_known_plan_is_no_better(name: str) -> None:
    before, plan = KNOWN[name]
    tax_years = timeline(before, BOOK)
    best, known = most_after_tax(tax_years), worth(tax_years, plan)
    assert known is not None
    assert known <= best.projection.wealth + POUND * len(tax_years.periods)
    assert known <= best.bound + pennies(tax_years)


@pytest.mark.parametrize("name", TWO_YEARS)
def test_two_years_to_the_pound(name: str) -> None:
    tax_years = timeline(TWO_YEARS[name], BOOK)
    best, tried = most_after_tax(tax_years), best_of_two_years(tax_years)
    assert tried.wealth == worth(tax_years, tried.plan)
    assert abs(tried.wealth - best.projection.wealth) <= 2 * POUND
    assert tried.wealth <= best.bound + pennies(tax_years)


@pytest.mark.parametrize("name", SMALL)
def test_the_bound_is_no_less_than_the_plan_and_the_plan_is_what_it_leaves(name: str) -> None:
    tax_years = small(name)
    best = most_after_tax(tax_years)
    assert best.projection.wealth <= best.bound
    last = best.projection.years[-1]
    assert best.projection.wealth == wealth_after_tax(tax_years, last.holdings)
    assert all(year.short == 0 for year in best.projection.years)
    assert worth(tax_years, table_of(best.projection)) == best.projection.wealth


@pytest.mark.parametrize("seed", range(2, 6))
def test_no_change_betters_a_large_plan(seed: int) -> None:
    tax_years = timeline(large(seed), BOOK)
    best = most_after_tax(tax_years)
    plan, search = table_of(best.projection), Search(tax_years, seed)
    assert search.judge.wealth(plan) == best.projection.wealth
    for _ in range(200):
        other = search.changed(plan)
        if search.chance.random() < 0.5:
            other = tuple(choice._replace(subscribe=None) for choice in other)
        assert search.judge.wealth(other) <= best.bound + pennies(tax_years), other


@pytest.mark.parametrize("name", SMALL)
def test_plain_plans_are_no_better(name: str) -> None:
    tax_years = small(name)
    best = most_after_tax(tax_years)
    for policy in (*(filling(tax_years, band) for band in BANDS), evenly_from_state_pension_age(tax_years)):
        try:
            plain = projected(tax_years, policy)
        except RuleViolation:
            continue
        assert no_worse(best, plain.wealth)


def with_more_isa_allowance(before: Household) -> Household:
    people = tuple(person._replace(isa=person.isa._replace(subscribed_this_year=0)) for person in before.people)
    return replace(before, people=people)


def with_less_exit_tax(before: Household) -> Household:
    rate = before.assumptions.tax_rate_on_remaining_pension
    return replace(before, assumptions=replace(before.assumptions, tax_rate_on_remaining_pension=rate // 2))


def with_more_cash(before: Household) -> Household:
    people = tuple(person._replace(cash=person.cash + 1_000 * POUND) for person in before.people)
    return replace(before, people=people, assumptions=replace(before.assumptions, cash_interest=0))


@pytest.mark.parametrize(
    ("name", "better"),
    [
        ("ISA allowance binds", with_more_isa_allowance),
        ("ISA allowance binds for two", with_more_isa_allowance),
        ("alone, much tax at the end", with_less_exit_tax),
        ("savings and dividends", with_less_exit_tax),
        ("spending binds for two", with_less_exit_tax),
        ("marriage allowance", with_less_exit_tax),
        ("Scotland", with_more_cash),
    ],
)
def test_a_better_place_is_never_worse(name: str, better: Callable[[Household], Household]) -> None:
    before = SMALL[name]
    after = better(before)
    assert after != before
    worse = most_after_tax(timeline(before, BOOK))
    assert no_worse(most_after_tax(timeline(after, BOOK)), worse.projection.wealth)


COUPLES = [name for name, each in SMALL.items() if len(each.people) == 2]


@pytest.mark.parametrize("name", COUPLES)
def test_it_does_not_matter_who_is_named_first(name: str) -> None:
    before = SMALL[name]
    one = most_after_tax(timeline(before, BOOK))
    assumed = replace(
        before.assumptions,
        pension_growths=before.assumptions.pension_growths[::-1],
        pot_growths=before.assumptions.pot_growths[::-1],
    )
    turned = replace(before, people=before.people[::-1], assumptions=assumed)
    other = most_after_tax(timeline(turned, BOOK))
    assert no_worse(one, other.projection.wealth)
    assert no_worse(other, one.projection.wealth)
    assert abs(one.projection.wealth - other.projection.wealth) <= POUND * len(one.projection.years)


@pytest.mark.parametrize(
    "name",
    ["alone, no other income", "savings and dividends", "Scotland and Wales", "spending binds", "ISAs grow more"],
)
def test_a_plan_begun_a_year_later_goes_on_the_same(name: str) -> None:
    before = SMALL[name]
    whole = most_after_tax(timeline(before, BOOK))
    people = tuple(
        person._replace(
            pension=record.after.pension,
            isa=Isa(record.after.isa, 0, person.isa.cash_isa),
            cash=record.after.cash,
        )
        for person, record in zip(before.people, whole.projection.years[0].people, strict=True)
    )
    later_on = replace(before, start=before.start.replace(year=before.start.year + 1), people=people)
    rest = most_after_tax(timeline(later_on, BOOK))
    assert len(rest.projection.years) == len(whole.projection.years) - 1
    assert no_worse(whole, rest.projection.wealth)
    assert no_worse(rest, whole.projection.wealth)
    assert abs(rest.projection.wealth - whole.projection.wealth) <= POUND * len(whole.projection.years)


def own_savings(end: date) -> Household:
    """A couple of whom one has so much interest that a withdrawal up to some size bears its tax besides its own."""
    return Household(
        date(2026, 4, 6),
        end,
        (
            member(
                1960,
                uncrystallised=315_000,
                nation="wales",
                isa=isa(60_000),
                income=(DatedIncome("state_pension", share_of_full_rate=8_000, increases="prices"),),
            ),
            member(
                1964,
                uncrystallised=488_000,
                drawdown=100_000,
                isa=isa(40_000),
                cash=5_000 * POUND,
                income=(
                    DatedIncome("state_pension", share_of_full_rate=7_000, increases="prices"),
                    income("savings_interest", 2_711),
                ),
            ),
        ),
        assumptions=Assumptions(300, 500, 150, 200, "prices", 2_000),
    )


def test_withdrawals_beside_own_savings_over_forty_years() -> None:
    """Each year the tax has a hollow that its hull bridges; as cells of the year they are told apart."""
    best = most_after_tax(timeline(own_savings(date(2066, 4, 5)), BOOK), Work(LIMITS["thorough"]))
    assert best.agreed
    assert best.bound - best.projection.wealth <= POUND * len(best.projection.years)


def test_the_same_household_has_the_same_plan() -> None:
    one, other = (most_after_tax(timeline(own_savings(date(2046, 4, 5)), BOOK)) for _ in range(2))
    assert table_of(one.projection) == table_of(other.projection)
    assert (one.bound, one.solves, one.agreed) == (other.bound, other.solves, other.agreed)


@pytest.mark.parametrize("name", SMALL)
def test_a_search_that_says_the_gap_is_closed_has_closed_it(name: str) -> None:
    """To 20 pence a year and what rounding may add, 5 pence for a person and year; a search of so few years is never cut off."""
    tax_years = small(name)
    best = most_after_tax(tax_years)
    years_of_all = len(tax_years.periods) * len(tax_years.people)
    closed = best.bound - best.projection.wealth <= 20 * len(tax_years.periods) + 5 * years_of_all
    assert best.stopped_by == ("gap" if closed else "search_complete")


def test_the_bound_counts_isas_that_pay_the_tax_on_gifts() -> None:
    """Without income to cover gifts, the basic rate on them is due all the same (ITA 2007 s.424): 600 pounds a year on 3,000
    gross. What the partner's small pension paid into an ISA pays it, of somebody whose pension is locked for longer."""
    giver = member(1980, uncrystallised=400_000, gift_aid_donations=3_000 * POUND)
    both = household(years(2026, 3), member(1943, uncrystallised=3_000), giver, isa_growth=300)
    best = most_after_tax(timeline(both, BOOK))
    assert [year.people[1].income_tax for year in best.projection.years] == [600 * POUND] * 3
    partner = [year.people[0] for year in best.projection.years]
    assert [(one.subscribed, one.from_isa) for one in partner] == [(2_400 * POUND, 0), *[(0, 600 * POUND)] * 2]
    assert best.agreed


@pytest.mark.parametrize(("first", "count"), [(2022, 3), (2023, 2), (2023, 3)])
@pytest.mark.parametrize("pounds", [1_200_000, 1_500_000])
def test_the_bound_counts_what_of_the_lifetime_allowance_is_dropped(first: int, count: int, pounds: int) -> None:
    """Before 6 April 2024 each payment used the lifetime allowance in hundredths of a per cent, and what is less was dropped
    (HMRC RPSM12306030). So up to 26.83 pounds more are tax free in the end, a quarter of 0.01% of 1,073,100."""
    alone = member(1955, uncrystallised=pounds, drawdown=50_000)
    of = household(years(first, count), alone, tax_rate_on_remaining_pension=4_000)
    best = most_after_tax(timeline(of, BOOK))
    assert best.agreed
    assert best.bound >= best.projection.wealth


def test_the_bound_counts_what_is_dropped_of_one_lump_sum() -> None:
    """The same of a lump sum that takes what is left of the allowance: 98.71% was used, and of the rest 26.83 pounds stay."""
    alone = Member(
        date(1955, 9, 23), "england", Pension(1_073_100 * POUND, 50_000 * POUND, lifetime_allowance_used=9_871)
    )
    of = household((date(2024, 1, 10), date(2026, 4, 5)), alone, lump_sums="all_now", pension_growth=300)
    best = most_after_tax(timeline(of, BOOK))
    assert best.agreed
    assert best.bound >= best.projection.wealth


def test_a_search_without_the_work_for_it_says_so() -> None:
    """None at all, and too little to come to an end of the same household, whose gap a standard search closes."""
    tax_years = timeline(large(2), BOOK)
    assert most_after_tax(tax_years, Work(0)).stopped_by == "work_limit"
    found = most_after_tax(tax_years, Work(LIMITS["quick"] / 16))
    assert found.stopped_by == "work_limit"
    assert found.bound - found.projection.wealth > POUND * len(tax_years.periods)
    assert most_after_tax(tax_years, Work(LIMITS["thorough"])).stopped_by == "gap"


def test_whole_pounds_of_the_taper_are_no_gap_that_a_search_closes() -> None:
    """Each draws to a foot of the stairs by which the personal allowance falls, and pence of growth lead to the next."""
    before, _ = KNOWN["marriage allowance that neither may have"]
    best = most_after_tax(timeline(before, BOOK))
    assert best.stopped_by == "search_complete"
    assert best.bound - best.projection.wealth > 100


def test_spending_that_no_plan_meets_is_refused() -> None:
    """20,000 pounds of spending in each of two years, out of 30,000 in a pension."""
    tax_years = timeline(household(years(2026, 2), member(uncrystallised=30_000), spending=20_000), BOOK)
    assert best_plan(tax_years, tries=500).wealth == -1
    with pytest.raises(RuleViolation):
        most_after_tax(tax_years)


def test_spending_that_only_saving_ahead_meets() -> None:
    """62,000 pounds in the second year alone, out of 68,000: drawn at once too much would go in tax."""
    drawn_late = replace(
        household(years(2026, 2), member(uncrystallised=68_000)),
        spending=(Spending(62_000 * POUND, first=date(2027, 4, 6)),),
    )
    tax_years = timeline(drawn_late, BOOK)
    with pytest.raises(RuleViolation):
        projected(tax_years, lambda position, people: Choice((Draw(),)))
    known = worth(tax_years, (Choice((Draw(30_000 * POUND),)), Choice((Draw(38_000 * POUND),))))
    assert known is not None
    assert most_after_tax(tax_years).projection.wealth >= known


@pytest.mark.parametrize("spending", [42_000, 44_000])
def test_spending_that_is_met_only_because_interest_bears_little_tax(spending: int) -> None:
    """300,000 pounds in cash at 5% and 60,000 in a pension, for ten years without ISA allowances or other income.

    The personal allowance and the starting rate for savings relieve all of the interest (ITA 2007 ss.12, 35), so that drawing
    down the pension evenly beside it costs little. Taxed at the highest rate the interest would not do.
    """
    held = member(1962, uncrystallised=60_000, cash=300_000 * POUND)
    assumed = {"cash_interest": 500, "tax_rate_on_remaining_pension": 4_000, "spending_met": "end"}
    tax_years = timeline(household(years(2026, 10), held, spending=spending, **assumed), BOOK)
    found = most_after_tax(tax_years)
    # A plan of ours: 6,000 a year from the pension, 1,500 of it tax free, and all cash kept where it earns interest.
    known = worth(tax_years, tuple(Choice((Draw(6_000 * POUND),), subscribe=0) for _ in range(10)))
    assert known is not None
    assert found.projection.wealth >= known
    assert found.agreed
    assert found.bound >= found.projection.wealth
    assert best_plan(tax_years, tries=2_000).wealth <= found.bound


def test_the_judge_says_what_the_projection_says() -> None:
    tax_years = small("spending binds for two")
    plan = as_table(tax_years, filling(tax_years, "personal_allowance"))
    assert plan is not None
    assert Judge(tax_years).wealth(plan) == projected(tax_years, policy_of(plan)).wealth
    assert projected(tax_years, filling(tax_years, "personal_allowance")).wealth == worth(tax_years, plan)


@pytest.mark.parametrize("seed", [15, 121])
def test_the_gap_is_closed_where_many_years_are_alike(seed: int) -> None:
    """Forty years in which a few are filled to a higher band, and nobody's cash bears interest: how many, and not which, is the
    question. Within thirty pence a year, by a standard search."""
    body = couple(random.Random(seed), "most_after_tax")
    body["assumptions"]["cash_interest"] = 0
    best = most_after_tax(timeline(question("allowance-schedule", body).household, BOOK))
    assert best.agreed
    assert best.bound - best.projection.wealth <= 30 * len(best.projection.years)
