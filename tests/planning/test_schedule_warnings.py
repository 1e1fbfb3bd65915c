"""Every warning of a plan has a case just inside and one just outside, and names the first tax year it applies to."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, DatedIncome, Household, Isa, Member, PensionHeld, Spending
from service.planning.projection.policies import BANDS
from service.planning.schedule.circumstances import schedule_warnings
from service.planning.schedule.schedule import ScheduleQuestion, schedule
from service.planning.warnings.registry import CATALOGUE
from service.planning.warnings.warning import ClientWarning
from tests.households import BOOK, plans
from tests.planning.warning_requests import amounts_not_told, figures_that_differ

PERSON = {"date_of_birth": date(1962, 6, 1), "tax_residence": "england", "pension": Pension(40_000_000)}


def person(**facts: Any) -> Member:
    return Member(**{**PERSON, **facts})


def asked(
    *people: Member, start: str = "2026-04-06", end: str = "2027-04-05", goal: str = "personal_allowance", **more: Any
) -> dict[str, ClientWarning]:
    """The warnings of a plan by their codes; of two people's, the first."""
    household = Household(date.fromisoformat(start), date.fromisoformat(end), people or (person(),), **more)
    found = schedule_warnings(schedule(ScheduleQuestion(household, goal), BOOK))
    return {warning.code: warning for warning in reversed(found)}


def one(**facts: Any) -> dict[str, Any]:
    """A plan of one person."""
    own = {key: facts.pop(key) for key in tuple(facts) if key in Member.__annotations__}
    return {"people": (person(**own),), **facts}


def employed(amount: int) -> tuple[DatedIncome, ...]:
    return (DatedIncome("employment", amount),)


def state_pension(amount: int, increases: int = 0) -> tuple[DatedIncome, ...]:
    return (DatedIncome("state_pension", amount, first=date(2020, 4, 6), increases=increases),)


def protecting(share: int) -> tuple[PensionHeld, ...]:
    """The pension of ``PERSON``, of which the scheme protects a share as tax-free cash."""
    return (PensionHeld(40_000_000, protected_tax_free_share=share),)


GONE = 26_827_500  # the lump sum allowance, ITEPA 2003 s.637P
LONG = "2031-04-05"

# Code: what brings it with the tax year it names, and what just does not.
CASES: dict[str, list[tuple[dict[str, Any], str, dict[str, Any]]]] = {
    "minimum_pension_age_not_reached": [
        # Finance Act 2004 s.279: 55 reached the day after the tax year, and on its last day.
        (
            one(date_of_birth=date(1972, 4, 6)),
            "2026-27",
            one(date_of_birth=date(1972, 4, 5)),
        ),
        # Finance Act 2022 s.10: 55 in 2027-28, but 57 from 6 April 2028 and reached in 2029-30.
        (
            one(date_of_birth=date(1972, 5, 1), start="2027-04-06", end=LONG),
            "2028-29",
            one(date_of_birth=date(1972, 5, 1), start="2027-04-06", end="2028-04-05"),
        ),
        (
            one(date_of_birth=date(1978, 1, 1), pension=Pension(1)),
            "2026-27",
            one(date_of_birth=date(1978, 1, 1), pension=Pension(1, protected_pension_age=49)),
        ),
        (one(date_of_birth=date(1978, 1, 1), pension=Pension(1)), "2026-27", one(pension=Pension(0))),
    ],
    # Finance Act 2004 Sch.36 paras 31-34: more than a quarter, and something drawn of what is uncrystallised.
    "protected_tax_free_share_not_used": [
        (one(pensions=protecting(4_000)), "2026-27", one(pensions=protecting(2_500))),
        (
            one(pensions=protecting(4_000)),
            "2026-27",
            one(pensions=protecting(4_000), date_of_birth=date(1978, 1, 1)),
        ),
    ],
    "money_purchase_annual_allowance_triggered": [
        # Finance Act 2004 s.227G: not for who has it already, and not for a lump sum alone.
        (one(), "2026-27", one(pension=Pension(40_000_000, flexibly_accessed=True))),
        (
            one(income=employed(1_256_999), lump_sums="all_now"),
            "2026-27",
            one(income=employed(1_257_000), lump_sums="all_now"),
        ),
        # Too young in the first tax year.
        (
            one(date_of_birth=date(1972, 4, 6), end="2028-04-05"),
            "2027-28",
            one(date_of_birth=date(1972, 4, 6), end="2027-04-05"),
        ),
    ],
    "tax_free_allowance_used_up": [
        # A quarter of 16,760 is 4,190: what is left of the allowance, and a penny more than that.
        (
            one(pension=Pension(40_000_000, lump_sum_allowance_used=GONE - 419_000)),
            "2026-27",
            one(pension=Pension(40_000_000, lump_sum_allowance_used=GONE - 419_001)),
        ),
        (
            one(pension=Pension(40_000_000, lump_sum_allowance_used=GONE - 419_001), end="2028-04-05"),
            "2027-28",
            one(pension=Pension(40_000_000, lump_sum_allowance_used=GONE - 838_000 - 1), end="2028-04-05"),
        ),
        (
            one(pension=Pension(40_000_000, lump_sum_allowance_used=GONE)),
            "2026-27",
            one(pension=Pension(40_000_000, lump_sum_allowance_used=GONE), lump_sums="never"),
        ),
        # Nothing is left that could have had a tax-free part.
        (
            one(pension=Pension(1_676_100, lump_sum_allowance_used=GONE - 419_000)),
            "2026-27",
            one(pension=Pension(1_676_000, lump_sum_allowance_used=GONE - 419_000)),
        ),
        # Before 6 April 2024 it was the lifetime allowance.
        (
            one(pension=Pension(40_000_000, lifetime_allowance_used=10_000), start="2019-04-06", end="2020-04-05"),
            "2019-20",
            one(pension=Pension(40_000_000, lifetime_allowance_used=9_000), start="2019-04-06", end="2020-04-05"),
        ),
    ],
    "flat_tax_on_remaining_pension": [
        # 16,760 of 400,000 are drawn. 287,430 of what is left are taxed: 14,371.50 a year for 20 years. 1,801.50 a year are above
        # the personal allowance and bear 20% (Income Tax Act 2007 ss.10, 35): 7,206 in all. Five points more are 21,577.50.
        (
            one(assumptions=Assumptions(tax_rate_on_remaining_pension=751)),
            "2026-27",
            one(assumptions=Assumptions(tax_rate_on_remaining_pension=750)),
        ),
        (one(assumptions=Assumptions(tax_rate_on_remaining_pension=2_000)), "2026-27", one()),
    ],
    "pension_runs_out": [
        # 16,760 a year, and a pound more than two of them.
        (
            one(pension=Pension(2 * 1_676_000), end="2029-04-05"),
            "2027-28",
            one(pension=Pension(2 * 1_676_000 + 100), end="2028-04-05"),
        ),
        (
            one(pension=Pension(1_676_000), end="2027-04-06"),
            "2026-27",
            one(pension=Pension(1_676_000), end="2027-04-05"),
        ),
        (
            one(pension=Pension(1_676_099), end="2027-04-06"),
            "2026-27",
            one(pension=Pension(1_676_100), end="2027-04-06"),
        ),
    ],
    "state_pension_uses_personal_allowance": [
        # ITA 2007 s.35: 12,570, and a penny more.
        (one(income=state_pension(1_257_001)), "2026-27", one(income=state_pension(1_257_000))),
        (
            one(income=state_pension(1_250_000, 100), end=LONG),
            "2027-28",
            one(income=state_pension(1_250_000), end=LONG),
        ),
        (one(income=state_pension(1_257_001)), "2026-27", one(income=employed(1_257_001))),
    ],
    "marriage_allowance_not_available": [
        # ITA 2007 ss.55B, 55C: 50,270 for who receives, and 49,010 for who gives a tenth of the allowance away.
        (
            one(income=employed(5_027_001), marriage_allowance="receives"),
            "2026-27",
            one(income=employed(5_027_000), marriage_allowance="receives"),
        ),
        (
            one(income=employed(4_901_001), marriage_allowance="gives"),
            "2026-27",
            one(income=employed(4_901_000), marriage_allowance="gives"),
        ),
        (one(income=employed(5_027_001), marriage_allowance="receives"), "2026-27", one(income=employed(5_027_001))),
        (
            one(
                income=(DatedIncome("employment", 5_100_000, first=date(2028, 4, 6)),),
                marriage_allowance="receives",
                end=LONG,
            ),
            "2028-29",
            one(income=(DatedIncome("employment", 5_000_000),), marriage_allowance="receives", end=LONG),
        ),
    ],
    "cash_isa_limit_in_doubt": [
        # Announced for 2027-28, below 65: up to and including the tax year in which 65 is reached, our choice.
        (
            one(isa=Isa(cash_isa=True), date_of_birth=date(1970, 1, 1), end=LONG),
            "2027-28",
            one(isa=Isa(), date_of_birth=date(1970, 1, 1), end=LONG),
        ),
        (one(isa=Isa(cash_isa=True), end="2027-04-06"), "2027-28", one(isa=Isa(cash_isa=True), end="2027-04-05")),
        (
            one(isa=Isa(cash_isa=True), date_of_birth=date(1962, 4, 7), start="2027-04-06", end="2028-04-05"),
            "2027-28",
            one(isa=Isa(cash_isa=True), date_of_birth=date(1962, 4, 6), start="2027-04-06", end="2028-04-05"),
        ),
    ],
    "isa_allowance_used_up": [
        # 16,760 is drawn: 3,240 of other cash fills the ISA limit of 20,000, a penny more waits.
        (one(cash=324_001), "2026-27", one(cash=324_000)),
        (one(isa=Isa(subscribed_this_year=324_001)), "2026-27", one(isa=Isa(subscribed_this_year=324_000))),
        # The partner's ISA allowance takes money as well: 16,760 and 23,240.
        (
            {"people": (person(cash=2_324_001), person(pension=Pension(0)))},
            "2026-27",
            {"people": (person(cash=2_324_000), person(pension=Pension(0)))},
        ),
        (
            one(income=(DatedIncome("defined_benefit_pension", 3_500_000, first=date(2028, 4, 6)),), end=LONG),
            "2028-29",
            one(income=(DatedIncome("defined_benefit_pension", 1_900_000, first=date(2028, 4, 6)),), end=LONG),
        ),
    ],
    "spending_drawn_beyond_the_band": [
        # 16,760 fills the allowance without tax, and a penny more does not.
        (one(spending=(Spending(1_676_001),)), "2026-27", one(spending=(Spending(1_676_000),))),
        (
            one(spending=(Spending(1_676_001),)),
            "2026-27",
            one(spending=(Spending(1_676_001),), goal="basic_rate_band"),
        ),
        (one(spending=(Spending(1_676_001),)), "2026-27", one(spending=(Spending(1_676_001),), goal="most_after_tax")),
        # 30,000 from 2027-28: 13,240 a year from the 16,760 that was saved, enough for one year and not for two.
        (
            one(spending=(Spending(3_000_000, first=date(2027, 4, 6)),), end=LONG),
            "2028-29",
            one(spending=(Spending(1_676_000, first=date(2027, 4, 6)),), end=LONG),
        ),
    ],
}
EITHER_SIDE = [
    pytest.param(code, inside, year, outside, id=f"{code}-{number}")
    for code, cases in CASES.items()
    for number, (inside, year, outside) in enumerate(cases)
]


def found_in(case: dict[str, Any]) -> dict[str, ClientWarning]:
    return asked(*case["people"], **{key: value for key, value in case.items() if key != "people"})


@pytest.mark.parametrize(("code", "inside", "year", "outside"), EITHER_SIDE)
def test_just_inside_and_just_outside(code: str, inside: dict[str, Any], year: str, outside: dict[str, Any]) -> None:
    found = found_in(inside)
    assert code in found
    assert code not in found_in(outside)
    # The first tax year that is said is the first it applies to; a caveat after it may name an earlier one.
    said = re.search(r"\b20\d\d-\d\d\b", found[code].detail)
    assert said is not None
    assert said[0] == year


def test_an_ordinary_plan_warns_of_little() -> None:
    """One year that fills the allowance of someone who has drawn before: nothing to say."""
    assert asked(person(pension=Pension(40_000_000, flexibly_accessed=True))) == {}


# What the warnings say


def test_the_age_and_day_that_are_said() -> None:
    """Born 1 May 1973: 55 on 1 May 2028, when the age is 57 already (Finance Act 2022 s.10): 1 May 2030."""
    for end in ("2027-04-05", "2028-04-05", "2031-04-05"):
        found = asked(person(date_of_birth=date(1973, 5, 1)), end=end)["minimum_pension_age_not_reached"]
        assert "57" in found.detail
        assert "1 May 2030" in found.detail
        assert dict(found.counts) == {"access_age": 57}
    until = asked(person(date_of_birth=date(1973, 5, 1)), end="2032-04-05")["minimum_pension_age_not_reached"]
    assert "from 2026-27 to 2029-30" in until.detail


def test_the_money_purchase_annual_allowance_of_its_year() -> None:
    """4,000 to 2022-23 (Finance (No.2) Act 2017 s.7), 10,000 since (Finance (No.2) Act 2023 s.20)."""
    for start, end, amount in (("2022-04-06", "2024-04-05", 400_000), ("2023-04-06", "2024-04-05", 1_000_000)):
        found = asked(start=start, end=end)["money_purchase_annual_allowance_triggered"]
        assert found.money["money_purchase_annual_allowance"] == amount
        assert found.effect == "costs"


def test_what_spending_beyond_the_band_costs() -> None:
    """15,000 of taxable drawdown income where 12,570 is free: 2,430 at 20%, so that 14,514 can be spent."""
    household = one(pension=Pension(0, drawdown=10_000_000), spending=(Spending(1_451_400),))
    found = found_in(household)["spending_drawn_beyond_the_band"]
    assert dict(found.money) == {"spending": 1_451_400, "drawn_above_the_band": 243_000, "extra_income_tax": 48_600}
    assert "£486" in found.detail


def test_the_most_cash_that_ever_waits() -> None:
    """50,000 and 16,760 a year, of which 20,000 is subscribed: 46,760 after the first tax year, then less."""
    found = asked(person(cash=5_000_000), end=LONG)["isa_allowance_used_up"]
    assert dict(found.money) == {"most_cash_outside_isas": 4_676_000}
    more = asked(person(cash=5_000_000), end="2028-04-05", assumptions=Assumptions(cash_interest=2_000))
    assert more["isa_allowance_used_up"].money["most_cash_outside_isas"] > 4_676_000


def test_spending_beyond_the_band_comes_after_the_cash_that_waits_where_it_costs_nothing() -> None:
    """All is spent by 5 April 2028; a penny more than the 12,570 drawn then bears no tax, and three pence bear a penny."""
    for spent, codes in (
        (1_257_001, ["isa_allowance_used_up", "spending_drawn_beyond_the_band"]),
        (1_257_003, ["spending_drawn_beyond_the_band", "isa_allowance_used_up"]),
    ):
        spending = (
            Spending(100_000, last=date(2027, 4, 5)),
            Spending(6_414_000, first=date(2027, 4, 6), last=date(2028, 4, 5)),
            Spending(spent, first=date(2028, 4, 6)),
        )
        found = asked(person(pension=Pension(0, drawdown=40_000_000), cash=4_000_000), end=LONG, spending=spending)
        assert [code for code in reversed(found) if code in codes] == codes


def test_a_couple_is_told_of_each() -> None:
    first, second = person(), person(date_of_birth=date(1980, 1, 1))
    found = asked(first, second)
    assert found["money_purchase_annual_allowance_triggered"].path == ("household", "people", 0, "pensions", 0)
    assert found["money_purchase_annual_allowance_triggered"].detail.startswith(
        "Taking income flexibly in 2026-27 triggers the first person's "
    )
    assert found["minimum_pension_age_not_reached"].path == ("household", "people", 1, "date_of_birth")
    assert found["minimum_pension_age_not_reached"].detail.startswith("The second person ")
    assert asked(second)["minimum_pension_age_not_reached"].detail.startswith("You ")


def test_who_gives_and_may_not_is_told_and_not_the_partner_who_then_does_not_receive() -> None:
    gives = person(income=employed(5_100_000), marriage_allowance="gives")
    receives = person(income=employed(2_000_000), marriage_allowance="receives")
    assert asked(gives, receives)["marriage_allowance_not_available"].path == (
        "household",
        "people",
        0,
        "marriage_allowance",
    )


def test_what_was_used_is_told_as_it_was_given_though_a_lump_sum_of_the_first_day_uses_more() -> None:
    pension = Pension(40_000_000, lump_sum_allowance_used=500_000, lump_sum_and_death_benefit_allowance_used=500)
    found = asked(person(pension=pension), lump_sums="first")["lump_sum_allowances_used_disagree"]
    assert dict(found.money) == {"lump_sum_allowance_used": 500_000, "lump_sum_and_death_benefit_allowance_used": 500}
    agree = pension._replace(lump_sum_and_death_benefit_allowance_used=500_000)
    assert "lump_sum_allowances_used_disagree" not in asked(person(pension=agree), lump_sums="first")


def test_a_protected_pension_age_is_asked_about_in_the_first_year_that_relies_on_it() -> None:
    """50 on 5 April 2028: nothing can be taken at 49 in 2026-27, and the plan first draws in 2027-28."""
    protected = Pension(40_000_000, protected_pension_age=50)
    found = asked(person(pension=protected, date_of_birth=date(1978, 4, 5)), end=LONG)[
        "protected_pension_age_relied_on"
    ]
    assert (found.tax_year, found.person, found.pension) == ("2027-28", 0, 0)
    assert dict(found.counts) == {"protected_pension_age": 50, "minimum_pension_age": 55}
    old_enough = person(pension=protected, date_of_birth=date(1971, 4, 6))
    assert "protected_pension_age_relied_on" not in asked(old_enough)


# All together


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(plans(), st.sampled_from(BANDS))
def test_every_warning_is_well_made(household: Household, goal: str) -> None:
    try:
        result = schedule(ScheduleQuestion(household, goal), BOOK)
    except RuleViolation:
        return
    found = schedule_warnings(result)
    ranks = [("not_permitted", "costs", "check").index(warning.effect) for warning in found]
    assert ranks == sorted(ranks)
    names = {year.period.name for year in result.years}
    for warning in found:
        assert warning.code in CATALOGUE
        assert figures_that_differ(warning) == []
        assert amounts_not_told(warning) == set()
        assert warning.title
        assert warning.detail.endswith(".")
        assert warning.sources
        assert warning.path[0] in ("household", "people", "spending", "end_date", "assumptions")
        assert warning.cost >= 0
        assert "£-" not in warning.detail
        assert "-£" not in warning.detail
        assert any(name in warning.detail for name in names)
    places = [(warning.code, warning.path) for warning in found]
    assert len(set(places)) == len(places)
