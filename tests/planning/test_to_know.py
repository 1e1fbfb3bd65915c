"""What a plan's summary says beside the amounts: each sentence where its fact holds, and not where it just does not."""

from __future__ import annotations

from datetime import date
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
    Spending,
)
from service.planning.schedule.schedule import Schedule, ScheduleQuestion, schedule
from service.planning.schedule.summary import summary
from service.planning.schedule.told import told
from tests.households import BOOK

POUND = 100
BENEFITS = "Money drawn, and money saved, can reduce or end means-tested benefits"
"""Told with savings up to 16,000, above which there is no Universal Credit (Universal Credit Regulations 2013 reg.18)."""
LIMITED = "more than £10,000 a year paid into"
"""Finance Act 2004 s.227ZA: the money purchase annual allowance."""
ABOVE_THE_BAND = "above the nil-rate band of £325,000"
"""IHTA 1984 s.7 and Sch.1."""


def plan(*people: Member, goal: str = "personal_allowance", start: str = "2026-04-06", end: str = "2030-04-05",
         **household: Any) -> Schedule:  # fmt: skip
    days = date.fromisoformat(start), date.fromisoformat(end)
    return schedule(ScheduleQuestion(Household(*days, people, **household), goal, effort="quick"), BOOK)


def person(pot: int = 100_000, born: str = "1964-06-01", **facts: Any) -> Member:
    return Member(date.fromisoformat(born), "england", Pension(pot * POUND), **facts)


def pay(amount: int, last: str | None = None) -> tuple[DatedIncome, ...]:
    return (DatedIncome("employment", amount * POUND, last=None if last is None else date.fromisoformat(last)),)


def said(result: Schedule) -> str:
    return " ".join(told(result).summary)


@pytest.mark.parametrize(
    ("inside", "outside", "words"),
    [
        (person(), person(cash=16_001 * POUND), BENEFITS),
        (person(income=pay(12_000)), person(income=pay(12_570)), BENEFITS),
        (person(), person(uk_resident=False), BENEFITS),
        # Over State Pension age a pension counts though nothing is drawn (SI 2002/1792 reg.18): here a twentieth of it.
        (person(20_000, "1950-06-01"), person(300_000, "1950-06-01"), BENEFITS),
        (person(income=pay(5_000)), person(), LIMITED),
        (person(income=pay(5_000)), person(income=pay(5_000, "2026-04-06")), LIMITED),
        (person(contributions=(Contribution(yearly=1_000 * POUND, relief="relief_at_source"),)), person(), LIMITED),
        (person(360_000), person(320_000), ABOVE_THE_BAND),
    ],
)
def test_a_point_is_told_where_it_matters(inside: Member, outside: Member, words: str) -> None:
    assert words in said(plan(inside))
    assert words not in said(plan(outside))


def test_of_a_couple_the_bands_of_both_count() -> None:
    two = plan(person(400_000), person(300_000, "1962-06-01"))
    assert "above two nil-rate bands, together £650,000" in said(two)
    assert "nil-rate band" not in said(plan(person(330_000), person(300_000, "1962-06-01")))


def test_the_child_benefit_charge_is_told_with_what_withdrawals_bring_of_it() -> None:
    """ITEPA 2003 s.681B, C: one per cent of the benefit for each 200 above 60,000; 66,000 is 30%."""
    benefit = {"child_benefit": 1_000 * POUND}
    none = said(plan(person(income=pay(66_000), **benefit), end="2027-04-05"))
    assert "child benefit charge comes to £300 in all, and withdrawals add nothing to it" in none
    # The basic rate band is full at 50,270: the higher rate band up to 125,140 takes the whole benefit.
    filled = said(plan(person(income=pay(60_000), **benefit), goal="higher_rate_band", end="2027-04-05"))
    assert "comes to £1,000 in all, and withdrawals bring £1,000 of it" in filled
    assert "child benefit" not in said(plan(person(income=pay(60_000), **benefit), end="2027-04-05"))


def test_cash_beyond_protection_is_told() -> None:
    """PRA Rulebook, Depositor Protection: 120,000 for each person at each firm from December 2025."""
    assert "£120,000 is protected for each person" in said(plan(person(cash=150_000 * POUND), end="2027-04-05"))
    assert "is protected" not in said(plan(person(cash=100_000 * POUND), end="2027-04-05"))


def locked(isa: int, growth: int = 400) -> Schedule:
    """Born in 1976, so 57 in 2033: seven tax years on ISAs alone."""
    return plan(
        person(500_000, "1976-02-01", isa=Isa(value=round(isa * POUND))),
        spending=(Spending(20_000 * POUND),),
        assumptions=Assumptions(growth, growth),
        end="2040-04-05",
    )


def test_isas_last_until_the_pension_if_they_fall_as_told() -> None:
    """A household with so much less in its ISAs on the first day can still pay until the pension is unlocked, and one with two
    per cent less again cannot: the second way of computing is to plan for it."""
    result = locked(200_000)
    (sentence,) = [one for one in told(result).summary if "would be left in ISAs" in one]
    part = int(sentence.rpartition("fell by ")[2].partition("%")[0])
    assert part > 5
    years = [year for year in result.years if not year.household.withdrawn]
    assert f"£{(years[-1].household.in_isas + 50) // 100:,}" in sentence
    fallen = locked(round(200_000 * (100 - part) / 100))
    assert fallen.years[len(years) - 1].household.in_isas >= 0
    with pytest.raises(RuleViolation, match="spending-cannot-be-met"):
        locked(round(200_000 * (100 - part - 2) / 100))


def test_a_year_unlike_the_others_is_named() -> None:
    result = plan(person(income=pay(8_000, "2027-04-05")), end="2030-04-05")
    drawn = [year.household.withdrawn for year in result.years]
    assert drawn[0] < drawn[1] == drawn[2]
    assert any(" a year, but £" in one and "in 2026-27" in one for one in told(result).summary)


def test_a_plainer_plan_is_named_by_what_it_does_at_that_age() -> None:
    """State Pension age is 67 for someone born in June 1964 (Pensions Act 1995 Sch.4), and past for someone born in 1950."""
    before, past = said(plan(person())), said(plan(person(born="1950-06-01")))
    assert "rawing nothing until State Pension age and then equal shares up to age 90" in before
    assert "rawing equal shares up to age 90" in past
    assert "State Pension age" not in past
    assert "equal shares up to age 90 or the plan's end" in said(plan(person(born="1938-06-01")))


def test_a_small_difference_is_said_to_be_small() -> None:
    """Less than 50 pounds for each tax year: our choice."""
    for result in (plan(person()), plan(person(), goal="higher_rate_band", end="2036-04-05")):
        small = [
            0 < abs(result.projection.wealth - one.projection.wealth) - 100 < 5_000 * len(result.years)
            for one in result.comparisons
            if one.projection is not None and (one.plan, result.question.goal) != ("personal_allowance_filled",) * 2
        ]
        assert said(result).count("a small change in growth or tax could reverse") == sum(small)


def test_no_more_than_two_points_are_told() -> None:
    result = plan(person(900_000, income=pay(5_000), cash=10_000 * POUND, child_benefit=1_000 * POUND))
    because = told(result).because
    points = [one for one in summary(result, because) if BENEFITS in one or LIMITED in one or "nil-rate" in one]
    assert [BENEFITS in points[0], LIMITED in points[1]] == [True, True]
    assert len(points) == 2
