"""A pension that a plan may take whole as a small pot in the tax year that is best, or draw like any other."""

from __future__ import annotations

import json
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import product
from random import Random
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.planning.faults import RuleViolation
from service.planning.household import (
    AS_BEST,
    Assumptions,
    DatedIncome,
    Household,
    Isa,
    Member,
    PensionHeld,
    Spending,
    YearlyRate,
    after_charge,
    small_pots_apart,
)
from service.planning.optimiser.ties import AS_GOOD_POUNDS_A_PERIOD
from service.planning.projection.settlement import wealth_after_tax
from service.planning.projection.small_pots import open_small_pots, settled_household
from service.planning.projection.timeline import timeline
from service.planning.schedule.schedule import Goal, Schedule, ScheduleQuestion, schedule
from service.planning.schedule.told import told
from service.schemas.schedule.request import ScheduleSchema, question
from tests.benchmarks.households import couple
from tests.bodies import answered, faults_of
from tests.households import BOOK, growing_apart, plans
from tests.planning.test_schedule import assert_adds_up, assert_within_limits
from tests.planning.test_small_pots import PLANS, SMALL_POT, body, household, person, plan, small

POUND = 100
USED = 268_275_00
"""The whole lump sum allowance (Income Tax (Earnings and Pensions) Act 2003 s.637Q)."""


def asked(request: dict[str, Any]) -> Schedule:
    """The answer to a request as JSON gives it."""
    return schedule(question(ScheduleSchema().load(json.loads(json.dumps(request), parse_float=Decimal))), BOOK)


def chosen(result: Schedule) -> list[str | None]:
    """The tax years in which its open small pots are taken."""
    assert result.small_pots is not None
    return [pot.tax_year for pot in result.small_pots.pots]


def without_allowance(*pensions: PensionHeld, **facts: Any) -> Member:
    """Somebody with these pensions and no lump sum allowance left."""
    member = person(*pensions, **facts)
    return member._replace(pension=member.pension._replace(lump_sum_allowance_used=USED))


MAIN = PensionHeld(10_000_000)
FLAT = Assumptions(tax_rate_on_remaining_pension=2_000)


# By hand


def test_it_is_taken_in_the_year_in_which_it_is_taxed_least() -> None:
    """By hand: 8,000 without growth. Of a small pot 6,000 is income (ITEPA 2003 s.637G). Beside pay of 60,000 it bears 40%,
    2,400; beside 12,570 it bears 20%, 1,200; beside 50,270, 40% again. Drawn as any other with no allowance left, or left, all
    of it bears 20%, 1,600. So the second year gains 400, within the pound a year by which plans are as good."""
    pay = (
        DatedIncome("employment", 60_000_00, last=date(2027, 4, 5)),
        DatedIncome("employment", 12_570_00, first=date(2027, 4, 6), last=date(2028, 4, 5)),
        DatedIncome("employment", 50_270_00, first=date(2028, 4, 6)),
    )
    one = without_allowance(small(8_000, AS_BEST), income=pay)
    result = plan(one, years=3, goal="most_after_tax", assumptions=FLAT)
    assert chosen(result) == ["2027-28"]
    assert result.small_pots is not None
    assert result.small_pots.gain == pytest.approx(400_00, abs=3 * POUND)
    assert result.proof is not None
    assert result.proof.gap <= 2 * POUND
    assert_adds_up(result)


def test_it_is_drawn_like_any_other_where_that_is_better() -> None:
    """By hand: beside pay of 60,000, 6,000 of a small pot of 8,000 bear 40%, 2,400. Left in the pension, with the allowance,
    they bear 20%, 1,200."""
    one = person(small(8_000, AS_BEST), income=(DatedIncome("employment", 60_000_00),))
    result = plan(one, goal="most_after_tax", assumptions=FLAT)
    assert chosen(result) == [None]
    assert result.small_pots is not None
    assert result.small_pots.gain == pytest.approx(1_200_00, abs=2 * POUND)
    assert result.totals.in_pensions == pytest.approx(8_000_00, abs=2 * POUND)
    assert_adds_up(result)


def test_of_plans_as_good_a_small_pot_is_taken_in_the_first_year() -> None:
    """Without other income nothing is taxed in any year, as a small pot or not."""
    result = plan(person(small(8_000, AS_BEST)), years=4, goal="most_after_tax", assumptions=FLAT)
    assert chosen(result) == ["2026-27"]
    assert result.small_pots is not None
    assert abs(result.small_pots.gain or 0) <= 4 * POUND


def test_once_taken_it_does_not_tax_what_is_left() -> None:
    """What is left is taxed on top of the income of the last year, which goes on; a small pot of that year does not."""
    left = PensionHeld(300_000_00)
    incomes = (DatedIncome("annuity", 40_000_00),)
    one = household(person(left, small(9_000, "2027-28"), income=incomes), assumptions=Assumptions())
    other = household(person(left, small(9_000, "2026-27"), income=incomes), assumptions=Assumptions())
    held = schedule(ScheduleQuestion(one, "personal_allowance"), BOOK).projection.years[-1].holdings
    at_the_end, before = (wealth_after_tax(timeline(each, BOOK), held) for each in (one, other))
    assert at_the_end == before


# Against every named tax year


def every_choice(request: dict[str, Any], at: list[tuple[int, int]]) -> Iterator[dict[str, Any]]:
    """The request with each open small pot taken in a named tax year, or drawn as any other, in every way."""
    first, last = (int(request[day][:4]) for day in ("start_date", "end_date"))
    names = [None, *(f"{year}-{(year + 1) % 100:02d}" for year in range(first, last))]
    for choice in product(names, repeat=len(at)):
        named = deepcopy(request)
        for (who, place), name in zip(at, choice, strict=True):
            pension = named["household"]["people"][who]["pensions"][place]
            del pension["small_pot_in"]
            if name is not None:
                pension["small_pot_in"] = name
        yield named


MAY_BE_REFUSED = {"small-pot-over-limit", "small-pot-too-early", "too-many-small-pots", "spending-cannot-be-met"}


def assert_none_is_better(request: dict[str, Any], at: list[tuple[int, int]]) -> None:
    """No named tax years leave more than the bound, nor more than the plan by more than its gap."""
    result = asked(request)
    assert result.proof is not None
    assert result.proof.proven
    assert_adds_up(result)
    found = {}
    for named in every_choice(request, at):
        try:
            one = asked(named)
        except RuleViolation as refused:
            if {fault.code for fault in refused.faults} - MAY_BE_REFUSED:
                raise
            continue
        assert one.proof is not None
        years = tuple(named["household"]["people"][who]["pensions"][place].get("small_pot_in") for who, place in at)
        found[years] = one.proof.worth
    assert max(found.values()) <= result.proof.bound
    # What was chosen is carried out as it is where it is asked for, as near as two searches are.
    own = found[tuple(chosen(result))]
    periods = len(result.years)
    assert abs(own - result.proof.worth) <= result.proof.gap + round(AS_GOOD_POUNDS_A_PERIOD * POUND) * periods
    assert max(found.values()) - result.proof.worth <= result.proof.gap


def with_small_pots(random: Random, years: int, number: int) -> tuple[dict[str, Any], list[tuple[int, int]]]:
    """An invented couple over some years, with open small pots, and their places."""
    request = couple(random, "most_after_tax")
    request["end_date"] = f"{int(request['start_date'][:4]) + years}-04-05"
    at = []
    for _ in range(number):
        who = random.randrange(2)
        someone = request["household"]["people"][who]
        someone.pop("contributions", None)
        someone["pensions"].append(
            {
                "uncrystallised": random.choice((6_000, 8_000, 9_000)),
                "growth": random.choice((0.0, 0.02, 0.04)),
                "small_pot_in": AS_BEST,
            }
        )
        if random.random() < 0.5:
            someone["lump_sum_allowances"] = {"lump_sum_allowance_used": 268_275}
        at.append((who, len(someone["pensions"]) - 1))
    request["lump_sums"] = random.choice(("with_each_withdrawal", "with_each_withdrawal", "never"))
    return request, at


@pytest.mark.parametrize("seed", range(8))
def test_no_named_tax_year_leaves_more(seed: int) -> None:
    assert_none_is_better(*with_small_pots(Random(seed), 6, 1))


@pytest.mark.parametrize("seed", range(3))
def test_no_two_named_tax_years_leave_more(seed: int) -> None:
    assert_none_is_better(*with_small_pots(Random(100 + seed), 3, 2))


def test_where_beneficiaries_receive_the_most() -> None:
    request, at = with_small_pots(Random(5), 3, 1)
    request["aim"]["goal"] = "most_to_beneficiaries"
    request["household"]["estate"] = {"home": 450_000, "home_to_descendants": True}
    assert_none_is_better(request, at)


# What the law allows


def test_only_years_in_which_it_is_no_larger_than_the_limit() -> None:
    """SI 2009/1171 reg.11A: 10,000. 9,500 x 1.02 is 9,690, then 9,883.80, then 10,081.48."""
    years = timeline(household(person(MAIN, small(9_500, AS_BEST, 200)), years=4), BOOK)
    (pot,) = open_small_pots(years)
    assert pot.holds == (9_690_00, 9_883_80, 10_081_48, 10_283_11)
    assert pot.periods == (0, 1)


def test_only_years_from_the_minimum_age_on() -> None:
    """Finance Act 2004 s.279(1): 55, and 57 from 6 April 2028. Born on 6 April 1972: 55 on 6 April 2027, 57 on 6 April 2029."""
    young = household(person(MAIN, small(5_000, AS_BEST), born=date(1972, 4, 6)), years=5)
    (pot,) = open_small_pots(timeline(young, BOOK))
    assert pot.periods == (1, 3, 4)


def test_no_more_are_taken_than_a_lifetime_allows() -> None:
    """SI 2009/1171 reg.11A: three from personal schemes. Two were taken before, so of two only one more is, and one from an
    occupational scheme (regs 11 and 12). With no allowance left a small pot saves the tax on a quarter: most for the larger one.
    By hand, at 20%: 450 for 9,000 and 350 for 7,000."""
    pots = small(5_000, AS_BEST), small(9_000, AS_BEST), small(7_000, AS_BEST, scheme_kind="occupational")
    one = without_allowance(*pots, small_pots_taken=2, income=(DatedIncome("annuity", 20_000_00),))
    result = plan(one, goal="most_after_tax", assumptions=FLAT)
    assert chosen(result)[0] is None
    assert None not in chosen(result)[1:]
    assert result.small_pots is not None
    assert result.small_pots.gain == pytest.approx(800_00, abs=2 * POUND)
    assert result.proof is not None
    assert result.proof.gap <= 4 * POUND
    first = plan(one, goal="personal_allowance")
    assert chosen(first) == ["2026-27", None, "2026-27"]


def test_a_household_that_is_settled_grows_as_before() -> None:
    pensions = PensionHeld(100_000_00, 0, None, 300), small(5_000, AS_BEST, 200), PensionHeld(50_000_00, 0, None, 500)
    open_household = household(person(*pensions))
    years = timeline(open_household, BOOK)
    pots = open_small_pots(years)
    assert open_household.assumptions.pot_growths == ((300, 200, 500),)
    taken = settled_household(years, pots, (1,))
    assert taken.assumptions.pot_growths == ((300, 500),)
    assert [pot.tax_year for pot in taken.people[0].small_pots] == ["2027-28"]
    kept = settled_household(years, pots, (None,))
    assert kept.assumptions.pot_growths == ((300, 200, 500),)
    assert kept.people == open_household.people


# Other aims, and over HTTP


def test_other_aims_take_the_first_possible_year(client: FlaskClient) -> None:
    left_open = answered(client, PLANS, body(small_pot_in=AS_BEST))
    named = answered(client, PLANS, body(small_pot_in="2026-27"))
    assert left_open["small_pots"] == {
        "chosen": "first_possible",
        "pensions": [{"person": 0, "pension": 0, "taken_as": "small_pot", "tax_year": "2026-27"}],
    }
    assert left_open["totals"] == named["totals"]
    said = "That is the first possible tax year. A plan with this aim does not compare tax years."
    assert said in left_open["summary"]
    # At 20% a year it holds 9,504 at the end of the first year, which may be taken.
    assert left_open["scenarios"]["high"]["small_pots"]["pensions"][0]["tax_year"] == "2026-27"
    steady = answered(client, PLANS, body(small_pot_in=AS_BEST) | {"aim": {"goal": "steady_income"}})
    assert steady["small_pots"]["chosen"] == "first_possible"
    assert "later than in the first possible tax year" in steady["proof"]["leaves_out"]


def test_the_answer_says_what_was_chosen_and_what_that_gains(client: FlaskClient) -> None:
    request = body(small_pot_in=AS_BEST) | {"aim": {"goal": "most_after_tax"}}
    who = request["household"]["people"][0]
    who["lump_sum_allowances"] = {"lump_sum_allowance_used": 268_275}
    who["income"] = [
        {"kind": "employment", "amount": 60_000, "to": "2027-04-05"},
        {"kind": "annuity", "amount": 20_000, "from": "2027-04-06"},
    ]
    found = answered(client, PLANS, request)
    assert found["small_pots"]["chosen"] == "best"
    # The second year has less tax than the first, and the third has more growth than the second.
    (pension,) = found["small_pots"]["pensions"]
    assert pension == {"person": 0, "pension": 0, "taken_as": "small_pot", "tax_year": "2028-29"}
    assert found["small_pots"]["gain"] > 300
    gain = f"£{found['small_pots']['gain']:,.0f}"
    assert "The plan chose this tax year." in found["summary"]
    assert f"Drawing on the small pot like any other pension would leave {gain} less." in found["summary"]
    of_the_year = found["years"][2]["people"][0]
    (reason,) = [reason for reason in of_the_year["because"] if reason["code"] == "takes_a_small_pot"]
    assert "Of all possible tax years, the plan chose this one." in reason["detail"]
    assert [event["code"] for event in found["years"][2]["events"]].count("small_pot_taken") == 1


def test_a_named_year_has_its_reason() -> None:
    words = told(plan(person(MAIN, small(8_000, "2027-28"))))
    (reason,) = [reason for reason in words.because[1][0] if reason.code == "takes_a_small_pot"]
    assert reason.detail == (
        "A small pot of £8,000 is taken whole. You asked for this tax year. £2,000 is tax free and uses no lump sum allowance. "
        "£6,000 is taxable income."
    )
    assert not any(reason.code == "takes_a_small_pot" for reason in words.because[0][0])


@pytest.mark.parametrize(
    ("wrong", "fault", "right"),
    [
        # SI 2009/1171 reg.11A; 8,000 x 1.03 x 0.99 is below 10,000.
        ({"uncrystallised": 11_000}, "small-pot-over-limit", {"uncrystallised": 8_000}),
        ({"drawdown": 1}, "small-pot-in-drawdown", {"drawdown": 0}),
    ],
)
def test_where_no_year_is_possible(client: FlaskClient, wrong: Any, fault: str, right: Any) -> None:
    refused = body(small_pot_in=AS_BEST, **wrong)
    assert faults_of(client, PLANS, json.dumps(refused).encode(), "rule-violation") == [(SMALL_POT, fault)]
    answered(client, PLANS, body(small_pot_in=AS_BEST, **right))


def test_where_the_plan_ends_too_early_or_too_many_were_taken(client: FlaskClient) -> None:
    """Finance Act 2004 s.279(1): 57 from 6 April 2028. SI 2009/1171 reg.11A: three."""
    young = body(small_pot_in=AS_BEST)
    young["household"]["people"][0]["date_of_birth"] = "1980-06-01"
    assert faults_of(client, PLANS, json.dumps(young).encode(), "rule-violation") == [
        (SMALL_POT, "small-pot-too-early")
    ]
    many = body(small_pot_in=AS_BEST)
    many["household"]["people"][0]["circumstances"] = {"small_pots_taken": 3}
    assert faults_of(client, PLANS, json.dumps(many).encode(), "rule-violation") == [(SMALL_POT, "too-many-small-pots")]


def test_not_with_all_tax_free_cash_at_once_or_markets(client: FlaskClient) -> None:
    at_once = body(small_pot_in=AS_BEST) | {"lump_sums": "all_now"}
    refused = faults_of(client, PLANS, json.dumps(at_once).encode(), "invalid-request")
    assert refused == [(SMALL_POT, "small-pot-left-open-with-all-now")]
    answered(client, PLANS, body(small_pot_in="2026-27") | {"lump_sums": "all_now"})
    markets = body(small_pot_in=AS_BEST, yearly_charge=0) | {"assumptions": {"pension_growth": 0.03}}
    markets["markets"] = {"source": "random", "seed": 1, "number_of_paths": 2, "volatility": {"pension_growth": 0.1}}
    assert faults_of(client, PLANS, json.dumps(markets).encode(), "invalid-request") == [
        ("#/markets", "small-pots-with-markets")
    ]


def test_a_scenario_in_which_no_year_is_possible_draws_it_like_any_other(client: FlaskClient) -> None:
    request = body(small_pot_in=AS_BEST, uncrystallised=9_000) | {"aim": {"goal": "most_after_tax"}}
    high = answered(client, PLANS, request)["scenarios"]["high"]
    assert high["outcome"] == "found"
    assert high["small_pots"]["pensions"][0]["taken_as"] == "any_other"


def test_an_empty_pension_leaves_nothing_to_choose(client: FlaskClient) -> None:
    assert "small_pots" not in answered(client, PLANS, body(small_pot_in=AS_BEST, uncrystallised=0))


def test_other_questions_count_it_with_the_others(client: FlaskClient) -> None:
    left_open = body(yearly_charge=0, small_pot_in=AS_BEST)
    timing = {key: left_open[key] for key in ("household", "start_date")} | {
        "to_age": 70,
        "options": [{"lump_sums": "never"}],
    }
    plainly = json.loads(json.dumps(timing))
    del plainly["household"]["people"][0]["pensions"][0]["small_pot_in"]
    assert answered(client, "/v1/lump-sum-timing", timing) == answered(client, "/v1/lump-sum-timing", plainly)


def test_little_work_still_gives_a_bound_that_holds() -> None:
    """Over forty years with the least effort, the search over all choices at once still comes to an end."""
    one = person(
        MAIN, small(6_000, AS_BEST), isa=Isa(10_000_00), cash=5_000_00, income=(DatedIncome("annuity", 20_000_00),)
    )
    other = person(PensionHeld(40_000_000), small(4_000, AS_BEST), born=date(1964, 2, 3))
    two = household(
        one,
        other,
        years=40,
        spending=(Spending(30_000_00),),
        assumptions=Assumptions(cash_interest=150, isa_growth=300),
    )
    result = schedule(ScheduleQuestion(two, "most_after_tax", effort="quick"), BOOK)
    assert result.proof is not None
    assert 0 <= result.proof.gap <= 40 * 5 * POUND
    named = replace(two, people=tuple(named_in(member) for member in two.people))
    assert schedule(ScheduleQuestion(named, "most_after_tax"), BOOK).totals.wealth_after_tax <= result.proof.bound


def named_in(member: Member) -> Member:
    """The same person, with the open small pot taken in the first year."""
    pensions = [one if one.small_pot_in is None else one._replace(small_pot_in="2026-27") for one in member.pensions]
    return person(*pensions, born=member.date_of_birth, isa=member.isa, cash=member.cash, income=member.income)


@given(plans(most_days=1_200), st.data())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
def test_whatever_the_household_the_bound_holds_for_every_choice(drawn: Household, data: Any) -> None:
    """Plans of a choice drawn at random, searched for or plain, leave no more than the bound."""
    lump_sums = data.draw(st.sampled_from(("with_each_withdrawal", "never")))
    people = [with_open_small_pots(one, drawn.assumptions.growth_of(i), data) for i, one in enumerate(drawn.people)]
    left_open = on_own_terms(replace(drawn, people=tuple(people), lump_sums=lump_sums))
    try:
        best = schedule(ScheduleQuestion(left_open, "most_after_tax"), BOOK)
    except RuleViolation as refused:
        if {fault.code for fault in refused.faults} - MAY_BE_REFUSED:
            raise
        return
    assert_adds_up(best)
    assert_within_limits(best)
    assert best.proof is not None
    assert best.proof.proven
    years = timeline(left_open, BOOK)
    pots = open_small_pots(years)
    taken = tuple(data.draw(st.sampled_from((None, *pot.periods))) for pot in pots)
    goals: tuple[Goal, ...] = ("most_after_tax", "basic_rate_band")
    for goal in goals:
        try:
            one = schedule(ScheduleQuestion(closed(settled_household(years, pots, taken)), goal), BOOK)
        except RuleViolation as refused:
            if {fault.code for fault in refused.faults} - MAY_BE_REFUSED:
                raise
            continue
        assert one.totals.wealth_after_tax <= best.proof.bound


def with_open_small_pots(one: Member, growth: YearlyRate, data: Any) -> Member:
    """The same person with up to two more pensions, of which a plan chooses the tax year as a small pot."""
    held = one.pension
    pensions = one.pensions or (PensionHeld(held.uncrystallised, held.drawdown, held.protected_pension_age),)
    pensions = tuple(each if each.growth else each._replace(growth=growth) for each in pensions)
    whole = held.uncrystallised
    for _ in range(data.draw(st.integers(0, 2))):
        amount, own = data.draw(st.integers(1, 900_000)), data.draw(st.sampled_from((0, 300, -200)))
        pensions += (PensionHeld(amount, 0, None, own, small_pot_in=AS_BEST),)
        whole += amount
    return small_pots_apart(one._replace(pensions=pensions, pension=held.holding(whole, held.drawdown)))


def closed(settled: Household) -> Household:
    """A household that is settled, with nothing left open."""
    return on_own_terms(replace(settled, people=tuple(one._replace(open_small_pots=()) for one in settled.people)))


def on_own_terms(asked_for: Household) -> Household:
    """The household, each pension with its own growth."""
    assumed = asked_for.assumptions
    growths = tuple(
        next((after_charge(held.growth, held.yearly_charge) for held in one.counting), assumed.growth_of(i))
        for i, one in enumerate(asked_for.people)
    )
    alike = replace(
        assumed,
        pension_growth=growths[0],
        pension_growths=growths if len(set(growths)) > 1 else (),
        pot_growths=(),
    )
    return replace(asked_for, assumptions=growing_apart(alike, *asked_for.people))
