"""Why a plan does what it does: every reason holds of the settled year, by the rules and by carrying plans out again."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.law.ages import birthday
from service.law.income_tax import Liability
from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, DatedIncome, Household, Isa, Member, Spending
from service.planning.projection.policies import projected
from service.planning.projection.settlement import Choice, Draw, Opened, PersonRecord, settle
from service.planning.schedule.reasons import Reason
from service.planning.schedule.schedule import GOALS, Schedule, ScheduleQuestion, schedule
from service.planning.schedule.summary import phases
from service.planning.schedule.told import told
from tests.benchmarks.questions import question
from tests.contract.agreement import DOCUMENT
from tests.households import BOOK, plans

POUND = 100
SCHEMAS = DOCUMENT["components"]["schemas"]
CODES = set(SCHEMAS["PlanReasonCode"]["x-extensible-enum"])
EVENTS = set(SCHEMAS["PlanEventCode"]["x-extensible-enum"])

AVOIDED = (
    "worth", "best", "should", "better", "wise", "heirs", "room", "bears", "anybody", "somebody", "whoever", "this person",
    "None", "nan", "inf",
)  # fmt: skip
"""Words that no sentence for a client has, and what a program prints by mistake."""


def plan(*people: Member, goal: str = "most_after_tax", start: str = "2026-04-06", end: str = "2036-04-05",
         **household: Any) -> Schedule:  # fmt: skip
    return schedule(
        ScheduleQuestion(Household(date.fromisoformat(start), date.fromisoformat(end), people, **household), goal), BOOK
    )


def person(pot: int = 300_000, born: str = "1964-06-01", residence: str = "england", **facts: Any) -> Member:
    return Member(date.fromisoformat(born), residence, Pension(pot * POUND), **facts)


def given_for(result: Schedule) -> Iterator[tuple[int, int, PersonRecord, Reason]]:
    because = told(result).because
    for position, year in enumerate(result.years):
        for place, one in enumerate(year.people):
            for reason in because[position][place]:
                yield position, place, one.record, reason


def codes(result: Schedule, position: int = 0, place: int = 0) -> list[str]:
    return [reason.code for reason in told(result).because[position][place]]


# Each reason holds


def taxed(record: PersonRecord, taxable: int) -> Liability:
    """The year by the rules alone, with the marriage allowance that was settled."""
    opened = record.opened
    allowance = None if record.liability == opened.year.liability(opened.interest, record.taxable) else "none"
    return opened.year.liability(opened.interest, max(0, taxable), marriage_allowance=allowance)


def added(record: PersonRecord, low: int, high: int) -> int:
    return taxed(record, high).total - taxed(record, low).total


def short_with_less(result: Schedule, position: int, less: int) -> bool:
    """Whether the spending cannot be met once everybody draws that much less, or nothing."""
    people = tuple(record.opened for record in result.projection.years[position].people)
    draws = []
    for record in result.projection.years[position].people:
        before, after = record.opened.pension, record.after.pension
        draws.append(
            Draw(
                max(0, before.uncrystallised - after.uncrystallised - record.not_grown.uncrystallised - less),
                max(0, before.drawdown - after.drawdown - record.not_grown.drawdown - less),
            )
        )
    return settle(result.timeline, position, people, Choice(tuple(draws))).short > 0


def assert_holds(result: Schedule, position: int, place: int, record: PersonRecord, code: str) -> None:
    taxable, one = record.taxable, result.years[position].people[place]
    opened, after = record.opened, record.after
    higher_above = added(record, taxable + 51 * POUND, taxable + 151 * POUND)
    if code in ("fills_personal_allowance", "adds_no_tax"):
        assert taxed(record, taxable).total == taxed(record, 0).total
        assert higher_above > 0
        if code == "fills_personal_allowance":
            assert one.personal_allowance_unused < POUND
    elif code.startswith("stops_"):
        # The last pound is left out: a plan may go pennies beyond the point where it stops.
        end = taxable - POUND if taxable > 101 * POUND else taxable
        last = min(end, 100 * POUND)
        assert higher_above * last > (added(record, end - last, end) - 3) * 100 * POUND
        if code == "stops_at_the_child_benefit_charge":
            assert record.liability.child_benefit_charge == 0
            assert taxed(record, taxable + 201 * POUND).child_benefit_charge > 0
        if code == "stops_where_the_personal_allowance_falls":
            assert taxed(record, taxable + 200 * POUND).personal_allowance < record.liability.personal_allowance
    elif code in ("stays_below_a_tax_step", "just_below_a_tax_step"):
        jumps = [added(record, taxable + more, taxable + more + 1) for more in range(0, 51 * POUND)]
        assert max(jumps) >= 50 * POUND
        assert (jumps.index(max(jumps)) >= 50 * POUND) == (code == "stays_below_a_tax_step")
    elif code == "draws_for_spending":
        assert short_with_less(result, position, 2 * POUND)
    elif code in ("uses_up_the_pension", "pension_used_up"):
        assert after.pension.uncrystallised + after.pension.drawdown < POUND
    elif code == "pension_locked":
        reached = birthday(result.question.household.people[place].date_of_birth, 55)
        locked = not opened.most_uncrystallised and not opened.most_drawdown
        assert reached > result.years[position].period.last or locked
        assert record.gross == 0
    elif code == "uses_up_what_is_unlocked":
        assert record.gross > 0
        assert any(opened.locked)
        assert (after.pension.uncrystallised, after.pension.drawdown) == opened.locked
    elif code == "uses_the_isa_allowance":
        assert one.isa_used == max(one.isa_limit, one.isa_used - record.subscribed)
    elif code == "waits_for_the_isa_allowance":
        assert after.cash > 0
        assert all(other.isa_unused == 0 for other in result.years[position].people)
    elif code == "fits_the_isa_allowance":
        assert all(other.isa_unused == 0 for other in result.years[position].people)
        assert result.years[position].household.in_cash < result.question.household.minimum_cash + POUND
    elif code == "reaches_the_cap":
        assert record.gross - one.lump_sum == result.question.household.people[place].cap_in(position)
    elif code == "isa_pays_for_spending":
        assert record.from_isa > 0
    elif code == "takes_all_tax_free_cash":
        assert one.lump_sum > 0
    elif code == "other_income_fills_the_band":
        assert record.gross == 0


@given(plans(), st.sampled_from(GOALS))
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_every_reason_holds(household: Household, goal: str) -> None:
    try:
        result = schedule(ScheduleQuestion(household, goal, effort="quick"), BOOK)
    except RuleViolation:
        return
    for position, place, record, reason in given_for(result):
        assert reason.code in CODES
        assert_holds(result, position, place, record, reason.code)
    words = told(result)
    assert {event.code for year in words.events for event in year} <= EVENTS
    for year, happens in zip(result.years, words.events, strict=True):
        assert all(year.period.first <= event.day <= year.period.last for event in happens)
    every = [reason.detail for *_, reason in given_for(result)]
    for text in [*every, *words.summary, *(event.detail for year in words.events for event in year)]:
        assert_reads_well(text)


def assert_reads_well(text: str) -> None:
    assert text.endswith("."), text
    assert text[0].isupper() or text[0] == "£", text
    assert not re.search(r"[0-9]{4}-[0-9]{2}-[0-9]{2}|£-|  |[a-z]_[a-z]", text), text
    assert not [word for word in AVOIDED if re.search(rf"\b{word}\b", text)], text
    for sentence in re.split(r"(?<=[.?]) (?=[A-Z£])", text):
        assert len(sentence.split()) <= 25, sentence


def test_drawing_what_a_reason_speaks_against_leaves_less() -> None:
    """A plan that draws 100 pounds more in a year, and so much less in the year that the reason names, is carried out again."""
    result = plan(
        person(260_000, income=(DatedIncome("employment", 45_000 * POUND, last=date(2031, 4, 5)),)),
        assumptions=Assumptions(400, 400, 100),
    )
    tried = 0
    for position, place, _, reason in given_for(result):
        if reason.code not in ("left_for_later", "left_in_the_pension"):
            continue
        assert place == 0

        def more(at: int, people: tuple[Opened, ...], here: int = position) -> Choice:
            before = result.projection.years[at].people[0]
            pension, after = before.opened.pension, before.after.pension
            drawn = pension.uncrystallised - after.uncrystallised + (100 * POUND if at == here else 0)
            return Choice((Draw(min(drawn, people[0].most_uncrystallised), 0),))

        tried += 1
        assert projected(result.timeline, more).wealth <= result.projection.wealth + POUND
    assert tried


# Plain cases


def test_a_personal_allowance_is_filled() -> None:
    """ITA 2007 s.35: 12,570 in 2026-27; three quarters of 16,760 are taxable (FA 2004 Sch.29 para 4A with s.166)."""
    result = plan(person(), goal="personal_allowance", end="2027-04-05")
    (reason,) = told(result).because[0][0]
    assert reason == Reason(
        "fills_personal_allowance",
        "With this withdrawal, taxable income uses all of the personal allowance of £12,570. The next £100 of taxable income "
        "would bring £20 of tax.",
    )


def test_the_basic_rate_band_ends_where_the_higher_rate_begins() -> None:
    result = plan(person(), goal="basic_rate_band", end="2027-04-05")
    assert codes(result)[0] == "stops_at_higher_rate"


def test_a_scottish_band_ends_where_the_scottish_higher_rate_begins() -> None:
    result = plan(person(residence="scotland"), goal="basic_rate_band", end="2027-04-05")
    assert codes(result)[0] == "stops_at_higher_rate"
    assert "£42 of tax. The last £100 brought £21." in told(result).because[0][0][0].detail


def test_interest_makes_the_end_of_the_band_a_step() -> None:
    """ITA 2007 s.12B: the savings allowance is 1,000 for a basic rate taxpayer and 500 for a higher rate taxpayer."""
    result = plan(
        person(income=(DatedIncome("savings_interest", 1_000 * POUND),)), goal="basic_rate_band", end="2027-04-05"
    )
    found = told(result).because[0][0]
    assert found[0].code == "just_below_a_tax_step"
    assert "part of the savings allowance is lost" in found[0].detail


def test_a_locked_pension_says_until_when() -> None:
    """57 from 6 April 2028 (FA 2022 s.10)."""
    result = plan(person(born="1974-06-01"), goal="personal_allowance")
    assert told(result).because[0][0][0].detail == (
        "Nothing can be drawn before 1 June 2031, when the minimum pension age of 57 is reached."
    )


def test_what_is_drawn_for_spending_says_so() -> None:
    result = plan(
        person(isa=Isa(5_000 * POUND)),
        spending=(Spending(30_000 * POUND),),
        goal="personal_allowance",
        end="2027-04-05",
    )
    assert codes(result)[0] == "draws_for_spending"


def test_cash_waits_for_the_next_isa_allowance() -> None:
    result = plan(person(100_000, cash=50_000 * POUND), goal="personal_allowance", end="2028-04-05")
    assert codes(result)[-2:] == ["uses_the_isa_allowance", "waits_for_the_isa_allowance"]
    assert told(result).because[0][0][-1].detail.endswith("stays in cash. A new ISA allowance starts on 6 April 2027.")


def test_a_pension_is_drawn_ahead_of_a_large_expense() -> None:
    result = plan(
        person(400_000),
        spending=(Spending(200_000 * POUND, date(2029, 4, 6), date(2030, 4, 5)),),
        assumptions=Assumptions(300, 300),
        end="2031-04-05",
    )
    assert "drawn_ahead_of_spending" in {reason.code for *_, reason in given_for(result)}


# The summary


@given(plans(), st.sampled_from(GOALS))
@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
def test_phases_cover_the_years_once_and_in_order(household: Household, goal: str) -> None:
    try:
        result = schedule(ScheduleQuestion(household, goal, effort="quick"), BOOK)
    except RuleViolation:
        return
    found = phases(result, told(result).because)
    assert 1 <= len(found) <= 3
    assert [position for first, last in found for position in range(first, last + 1)] == list(range(len(result.years)))


def amounts_in(sentence: str) -> list[float]:
    return [float(amount.replace(",", "")) for amount in re.findall(r"£([0-9,]+(?:\.[0-9]+)?)", sentence)]


def test_the_gain_is_the_tax_and_the_growth_that_it_names() -> None:
    result = plan(
        person(400_000, income=(DatedIncome("state_pension", share_of_full_rate=10_000),)),
        spending=(Spending(20_000 * POUND),),
        assumptions=Assumptions(450, 400, 200, 200),
        end="2044-04-05",
    )
    sentences = told(result).summary
    (at,) = [i for i, sentence in enumerate(sentences) if sentence.startswith("That is ")]
    told_first, of_the_other = re.split(r"(?<=90\.) ", sentences[at])
    signs = re.findall(r"(less|more) (tax|growth)", of_the_other)
    parts = dict(zip([kind for _, kind in signs], amounts_in(of_the_other), strict=True))
    more = {kind: word == "more" for word, kind in signs}
    gain = parts.get("tax", 0) * (1 if more.get("tax") else -1) - parts.get("growth", 0) * (
        1 if more.get("growth") else -1
    )
    assert gain == pytest.approx(amounts_in(told_first)[0], abs=2)
    assert gain == pytest.approx((result.projection.wealth - result.comparisons[0].projection.wealth) / 100, abs=2)


@pytest.mark.parametrize("goal", ["basic_rate_band", "most_after_tax"])
def test_a_charge_that_takes_all_there_is_has_reasons_too(goal: str) -> None:
    """What is left in a pension with a yearly charge of 100% comes to nothing, whatever it grows by."""
    pensions = [{"uncrystallised": 222_514, "yearly_charge": 1}, {"uncrystallised": 222_514}]
    alone = {"date_of_birth": "1949-02-19", "tax_residence": "england", "pensions": pensions, "cash": 16_331}
    body = {"household": {"people": [alone]}, "start_date": "2026-06-02", "end_date": "2049-12-11"}
    body |= {"aim": {"goal": goal}, "assumptions": {"cash_interest": 0.05}}
    result = schedule(question("allowance-schedule", body), BOOK)
    for _, _, _, reason in given_for(result):
        assert_reads_well(reason.detail)
