"""A pension that a plan takes whole as a small pot in a named tax year."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from random import Random
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.figures import tax_years
from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import (
    Assumptions,
    DatedIncome,
    Household,
    Isa,
    Member,
    PensionHeld,
    Spending,
    small_pots_apart,
)
from service.planning.projection.balances import parts
from service.planning.schedule.events import events
from service.planning.schedule.schedule import Goal, Schedule, ScheduleQuestion, schedule
from service.planning.schedule.steps import steps
from tests.bodies import answered, faults_of
from tests.households import BOOK, growing_apart, plans
from tests.planning.test_schedule import assert_adds_up, assert_within_limits

PLANS = "/v1/allowance-schedule"
POUND = 100


def small(pounds: int, tax_year: str, growth: int = 0, charge: int = 0, **more: Any) -> PensionHeld:
    return PensionHeld(pounds * POUND, 0, None, growth, charge, small_pot_in=tax_year, **more)


def person(*pensions: PensionHeld, born: date = date(1962, 6, 1), **facts: Any) -> Member:
    """Somebody with these pensions, 64 in 2026-27."""
    whole = Pension(sum(one.uncrystallised for one in pensions), sum(one.drawdown for one in pensions))
    return small_pots_apart(Member(born, "england", whole, pensions=pensions, **facts))


def household(*people: Member, years: int = 2, **more: Any) -> Household:
    assumed = growing_apart(more.pop("assumptions", Assumptions()), *people)
    return Household(date(2026, 4, 6), date(2026 + years, 4, 5), people, assumptions=assumed, **more)


def plan(*people: Member, goal: Goal = "personal_allowance", **more: Any) -> Schedule:
    return schedule(ScheduleQuestion(household(*people, **more), goal), BOOK)


MAIN = PensionHeld(10_000_000)


# By hand


def test_a_quarter_is_free_and_the_rest_fills_the_allowance() -> None:
    """By hand: 8,000 at 5% is 8,400 on 5 April 2027. SI 2009/1171 reg.11A with ITEPA 2003 s.637G: 2,100 is free and 6,300 is
    income. 12,570 - 6,300 = 6,270 of the allowance (Finance Act 2021 s.5) is left: 8,360 from the other pension, of which a
    quarter, 2,090, is free and uses the lump sum allowance."""
    result = plan(person(MAIN, small(8_000, "2026-27", 500)))
    first, second = (year.people[0] for year in result.years)
    of_main, of_small = parts(result.question.household.people[0], first.record, first.pension, first.withdrawal)
    assert of_small.withdrawal == (8_400_00, 2_100_00, 6_300_00, 8_400_00, 0)
    assert of_small.balance == (8_000_00, 400_00, 0, 8_400_00, 0)
    assert of_main.withdrawal == (8_360_00, 2_090_00, 6_270_00, 8_360_00, 0)
    assert first.record.income_tax == 0
    assert first.record.subscribed == 16_760_00
    assert first.record.after.pension.lump_sum_allowance_used == 2_090_00
    # The year after, all of the allowance is for the other pension again.
    assert second.withdrawal.gross == 16_760_00
    assert result.totals.withdrawn == 8_400_00 + 8_360_00 + 16_760_00
    assert result.totals.tax_free == 2_100_00 + 2_090_00 + 4_190_00
    assert_adds_up(result)


def test_it_is_no_flexible_access() -> None:
    """Finance Act 2004 s.227G does not name small pots: the money purchase annual allowance does not begin to apply."""
    income = (DatedIncome("employment", 20_000_00),)
    (year,) = plan(person(small(10_000, "2026-27"), income=income), years=1).years
    (one,) = year.people
    # 7,500 of taxable income at 20% beside pay above the allowance; all else reaches the ISA.
    assert one.record.income_tax == (20_000_00 + 7_500_00 - 12_570_00) // 5
    assert not one.money_purchase_allowance.applies
    assert not one.record.after.pension.flexibly_accessed
    assert one.pension == (10_000_00, 0, 0, 10_000_00, 0)
    assert one.withdrawal.gross == 0


def test_it_waits_on_its_own_terms() -> None:
    """By hand: 9,000 x 1.05 x 0.99 = 9,355.50, then x 1.0395 = 9,725.04 to the penny; until then no other draw comes from it."""
    result = plan(person(MAIN, small(9_000, "2027-28", 500, 100)), goal="higher_rate_band")
    member = result.question.household.people[0]
    told = [
        parts(member, year.people[0].record, year.people[0].pension, year.people[0].withdrawal)[1]
        for year in result.years
    ]
    assert [part.balance.closing for part in told] == [9_355_50, 0]
    assert told[0].withdrawal.gross == 0
    assert told[1].withdrawal.gross == 9_725_04
    assert result.years[0].household.in_pensions == result.years[0].people[0].pension.closing


def test_it_pays_spending_before_anything_is_drawn() -> None:
    (year,) = plan(
        person(MAIN, small(8_000, "2026-27")), years=1, spending=(Spending(8_000_00),), goal="personal_allowance"
    ).years
    assert year.people[0].record.early == (0, 0, 0)
    assert_adds_up(plan(person(MAIN, small(8_000, "2026-27")), years=1, spending=(Spending(12_000_00),)))


def test_events_and_steps_name_it() -> None:
    result = plan(person(MAIN, small(8_000, "2027-28")))
    assert [event.code for year in events(result) for event in year].count("small_pot_taken") == 1
    (taken,) = [step for step in steps(result, ()) if step.code == "take_small_pot"]
    assert (taken.day, taken.amount, taken.tax_year) == (date(2028, 4, 5), 8_000_00, "2027-28")


# The plan that leaves the most


@pytest.mark.parametrize("lump_sums", ["with_each_withdrawal", "all_now", "never"])
def test_the_best_plan_keeps_within_its_bound(lump_sums: Any) -> None:
    """Whatever year it is asked for, the plan that leaves the most is under its bound, near it, and above the plain plans."""
    for year in ("2026-27", "2028-29"):
        pensions = PensionHeld(25_000_000, 0, None, 300), small(9_000, year, 100)
        asked = household(
            person(*pensions, isa=Isa(3_000_00), cash=40_000_00),
            person(PensionHeld(9_000_000, 0, None, 300), born=date(1964, 2, 3)),
            years=4,
            spending=(Spending(26_000_00),),
            lump_sums=lump_sums,
            assumptions=Assumptions(isa_growth=300, tax_rate_on_remaining_pension=2_000),
        )
        result = schedule(ScheduleQuestion(asked, "most_after_tax"), BOOK)
        assert result.proof is not None
        assert result.proof.proven
        assert 0 <= result.proof.gap <= 4 * 100_00
        for plain in ("personal_allowance", "basic_rate_band"):
            assert schedule(ScheduleQuestion(asked, plain), BOOK).totals.wealth_after_tax <= result.proof.bound
        assert_adds_up(result)


def test_taking_it_as_a_small_pot_is_worth_what_the_allowance_saves() -> None:
    """By hand: without lump sum allowance left, 10,000 drawn in other ways is taxed whole, at 20% beside pay of 30,000. As a
    small pot a quarter is free (ITEPA 2003 s.637G): 500 less tax."""
    used = Pension(10_000_00, 0, lump_sum_allowance_used=268_275_00)
    income = (DatedIncome("employment", 30_000_00),)
    plainly = Member(date(1962, 6, 1), "england", used, income=income, pensions=(PensionHeld(10_000_00),))
    as_small = small_pots_apart(plainly._replace(pensions=(small(10_000, "2026-27"),)))
    drawn, taken = (
        schedule(ScheduleQuestion(household(one, years=1), "basic_rate_band"), BOOK).totals
        for one in (plainly, as_small)
    )
    assert drawn.withdrawn == taken.withdrawn == 10_000_00
    assert drawn.income_tax - taken.income_tax == 500_00


def test_money_is_conserved_in_plans_drawn_at_random() -> None:
    chance = Random(20)
    for _ in range(60):
        years = chance.randint(1, 4)
        people = []
        for _ in range(chance.randint(1, 2)):
            pensions = [
                PensionHeld(chance.randint(0, 30_000_000), chance.choice((0, 5_000_000)), None, growth)
                for growth in chance.sample((0, 200, 500), chance.randint(0, 2))
            ]
            for _ in range(chance.randint(0, 3)):
                year = chance.choice(("2026-27", "2027-28", "2028-29", "2029-30")[:years])
                pensions.insert(
                    chance.randint(0, len(pensions)),
                    small(chance.randint(0, 8_000), year, chance.choice((0, 300, -400)), chance.choice((0, 100))),
                )
            people.append(
                person(
                    *pensions,
                    cash=chance.choice((0, 2_000_000)),
                    income=(DatedIncome("annuity", chance.randint(0, 6_000_000)),),
                )
            )
        result = plan(
            *people,
            years=years,
            goal=chance.choice(("personal_allowance", "basic_rate_band", "higher_rate_band")),
            lump_sums=chance.choice(("with_each_withdrawal", "all_now", "never")),
            minimum_cash=chance.choice((0, 500_00)),
            assumptions=Assumptions(200, 300, 100, spending_met=chance.choice(("evenly", "start", "end"))),
        )
        assert_adds_up(result)
        for told in result.years:
            for one in told.people:
                for pot in one.record.opened.year.small_pots:
                    # A quarter, down to the penny (ITEPA 2003 s.637G).
                    assert pot.tax_free == pot.gross // 4
        assert not any(pot.closing for one in result.years[-1].people for pot in one.record.opened.year.small_pots)


@given(plans(most_days=1_200), st.data())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
def test_whatever_the_household_a_plan_with_small_pots_is_sound(asked: Household, data: Any) -> None:
    """All sums hold, nothing is drawn beyond a limit, and no plain plan is above the bound of the plan that leaves the most."""
    first, last = tax_years.of(asked.start), tax_years.of(asked.end)
    names = [first]
    while names[-1] != last:
        names.append(tax_years.following(names[-1]))
    people = []
    for one in asked.people:
        held = one.pension
        pensions = one.pensions or (PensionHeld(held.uncrystallised, held.drawdown, held.protected_pension_age),)
        for _ in range(data.draw(st.integers(0, 2))):
            year, growth = data.draw(st.sampled_from(names)), data.draw(st.sampled_from((0, 300, -200)))
            pensions += (PensionHeld(data.draw(st.integers(0, 800_000)), 0, None, growth, small_pot_in=year),)
        people.append(small_pots_apart(one._replace(pensions=pensions)))
    with_pots = replace(asked, people=tuple(people))
    found = {}
    goals: tuple[Goal, ...] = ("personal_allowance", "basic_rate_band", "most_after_tax")
    for goal in goals:
        try:
            found[goal] = schedule(ScheduleQuestion(with_pots, goal), BOOK)
        except RuleViolation as refused:
            if {fault.code for fault in refused.faults} - {"spending-cannot-be-met", "small-pot-too-early"}:
                raise
            continue
        assert_adds_up(found[goal])
        assert_within_limits(found[goal])
    best = found.get("most_after_tax")
    if best is not None:
        assert best.proof is not None
        assert best.proof.proven
        assert max(one.totals.wealth_after_tax for one in found.values()) <= best.proof.bound


# Over HTTP

BODY: dict[str, Any] = {
    "household": {
        "people": [
            {
                "date_of_birth": "1962-06-01",
                "tax_residence": "england",
                "pensions": [
                    {"uncrystallised": 8_000, "small_pot_in": "2027-28", "yearly_charge": 0.01},
                    {"uncrystallised": 100_000},
                ],
            }
        ]
    },
    "start_date": "2026-04-06",
    "end_date": "2029-04-05",
    "aim": {"goal": "basic_rate_band"},
    "assumptions": {
        "pension_growth": 0.03,
        "scenarios": {"low": {"pension_growth": -0.02}, "high": {"pension_growth": 0.2}},
    },
}


def body(**pension: Any) -> dict[str, Any]:
    """The request with something else said of its small pot."""
    changed: dict[str, Any] = json.loads(json.dumps(BODY))
    changed["household"]["people"][0]["pensions"][0] |= pension
    return changed


def test_the_answer_tells_it_by_pension(client: FlaskClient) -> None:
    found = answered(client, PLANS, BODY)
    years = [year["people"][0] for year in found["years"]]
    drawn = [year["withdrawals"][0] for year in years]
    # 8,000 x 1.03 x 0.99 = 8,157.60; once more 8,318.30 to the penny.
    assert [one["gross"] for one in drawn] == [0, 8_318.3, 0]
    assert [one.get("small_pot") for one in drawn] == [None, True, None]
    assert (drawn[1]["tax_free"], drawn[1]["taxable"]) == (2_079.57, 6_238.73)
    assert years[1]["pensions"][0]["paid_out"] == 8_318.3
    said = "Besides that, the plan takes £8,318 from a small pot in 2027-28, as asked for. A quarter of it is tax free."
    assert said in found["summary"]
    assert found["at_start"]["people"][0]["in_pensions"] == 108_000
    # At 20% a year it would be above 10,000 when it is taken (SI 2009/1171 reg.11A).
    assert found["scenarios"]["low"]["outcome"] == "found"
    assert found["scenarios"]["high"]["outcome"] == "impossible"
    assert "more than the £10,000" in found["scenarios"]["high"]["reason"]


SMALL_POT = "#/household/people/0/pensions/0/small_pot_in"


def refused(client: FlaskClient, asked: dict[str, Any], code: str = "rule-violation") -> list[tuple[str, str]]:
    return faults_of(client, PLANS, json.dumps(asked).encode(), code)


@pytest.mark.parametrize(
    ("wrong", "fault", "right"),
    [
        # 9,900 x 1.03 x 1.03 x 0.99 x 0.99 is above 10,000 (SI 2009/1171 reg.11A), 9,600 is not.
        ({"uncrystallised": 9_900}, "small-pot-over-limit", {"uncrystallised": 9_600}),
        ({"drawdown": 1}, "small-pot-in-drawdown", {"drawdown": 0}),
    ],
)
def test_what_the_rules_do_not_allow(
    client: FlaskClient, wrong: dict[str, Any], fault: str, right: dict[str, Any]
) -> None:
    assert refused(client, body(**wrong)) == [(SMALL_POT, fault)]
    low = {"assumptions": {"pension_growth": 0.03}}
    answered(client, PLANS, body(**right) | low)


def test_a_tax_year_has_to_be_one_of_the_plan(client: FlaskClient) -> None:
    at = SMALL_POT
    for wrong in ("2029-30", "2025-26", "2027-29"):
        asked = body(small_pot_in=wrong)
        assert refused(client, asked, "invalid-request") == [(at, "small-pot-outside-the-plan")]
    for never in ("2027", "2027-8", "next", 2027):
        assert refused(client, body(small_pot_in=never), "invalid-request") == [(at, "invalid-value")]
    answered(client, PLANS, body(small_pot_in="2028-29"))


def test_at_most_three_come_from_personal_schemes(client: FlaskClient) -> None:
    """SI 2009/1171 reg.11A; occupational schemes have no such limit (regs 11 and 12)."""
    asked = body()
    who = asked["household"]["people"][0]
    who["circumstances"] = {"small_pots_taken": 2}
    answered(client, PLANS, asked)
    who["circumstances"] = {"small_pots_taken": 3}
    assert refused(client, asked) == [(SMALL_POT, "too-many-small-pots")]
    who["pensions"][0]["scheme_kind"] = "occupational"
    answered(client, PLANS, asked)


def test_not_under_the_minimum_age(client: FlaskClient) -> None:
    """Finance Act 2004 s.279(1): 55, and 57 from 6 April 2028. Born on 6 April 1972, 55 is reached on 6 April 2027."""
    asked = body(small_pot_in="2026-27")
    asked["household"]["people"][0]["date_of_birth"] = "1972-04-06"
    assert refused(client, asked) == [(SMALL_POT, "small-pot-too-early")]
    asked["household"]["people"][0]["pensions"][0]["small_pot_in"] = "2027-28"
    answered(client, PLANS, asked)


def test_not_with_contributions_or_markets(client: FlaskClient) -> None:
    asked = body()
    asked["household"]["people"][0]["contributions"] = [{"yearly": 600, "relief": "none", "pension": 0}]
    assert refused(client, asked, "invalid-request") == [(SMALL_POT, "small-pot-paid-into")]
    markets = body(yearly_charge=0) | {"assumptions": {"pension_growth": 0.03}}
    markets["markets"] = {"source": "random", "seed": 1, "number_of_paths": 2, "volatility": {"pension_growth": 0.1}}
    assert refused(client, markets, "invalid-request") == [("#/markets", "small-pots-with-markets")]


def test_other_questions_count_it_with_the_others(client: FlaskClient) -> None:
    asked = body(yearly_charge=0)
    timing = {key: asked[key] for key in ("household", "start_date")} | {
        "to_age": 70,
        "options": [{"lump_sums": "never"}],
    }
    plainly = json.loads(json.dumps(timing))
    del plainly["household"]["people"][0]["pensions"][0]["small_pot_in"]
    assert answered(client, "/v1/lump-sum-timing", timing) == answered(client, "/v1/lump-sum-timing", plainly)


def test_two_small_pots_and_nothing_else() -> None:
    both = person(small(5_000, "2026-27"), small(4_000, "2027-28"))
    result = plan(both, goal="most_after_tax")
    assert [year.household.withdrawn for year in result.years] == [5_000_00, 4_000_00]
    assert result.totals.in_isas == 9_000_00
    assert result.proof is not None
    assert result.proof.gap <= 100
    assert_adds_up(result)
