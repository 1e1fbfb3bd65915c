"""What a plan asks of people in its first two years: each step is the plan's own, on its day, with its rule."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.law.ages import birthday
from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import Contribution, DatedIncome, Household, Isa, Member, PensionHeld, Spending
from service.planning.schedule.circumstances import schedule_warnings
from service.planning.schedule.schedule import GOALS, Schedule, ScheduleQuestion, schedule
from service.planning.schedule.steps import Step, steps
from tests.contract.agreement import DOCUMENT
from tests.households import BOOK, plans
from tests.planning.test_reasons import assert_reads_well

POUND = 100
CODES = set(DOCUMENT["components"]["schemas"]["PlanStepCode"]["x-extensible-enum"])


def plan(*people: Member, goal: str = "personal_allowance", start: str = "2026-04-06", end: str = "2030-04-05",
         **household: Any) -> Schedule:  # fmt: skip
    days = date.fromisoformat(start), date.fromisoformat(end)
    return schedule(ScheduleQuestion(Household(*days, people, **household), goal), BOOK)


def person(pot: int = 300_000, born: str = "1964-06-01", pension: dict[str, Any] | None = None, **facts: Any) -> Member:
    return Member(date.fromisoformat(born), "england", Pension(pot * POUND, **(pension or {})), **facts)


def told(result: Schedule) -> list[Step]:
    return steps(result, schedule_warnings(result))


def of(result: Schedule, code: str) -> list[Step]:
    return [step for step in told(result) if step.code == code]


@given(plans(), st.sampled_from(GOALS))
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_steps_are_those_of_the_plan(household: Household, goal: str) -> None:
    try:
        result = schedule(ScheduleQuestion(household, goal, effort="quick"), BOOK)
    except RuleViolation:
        return
    found = told(result)
    until = birthday(household.start, 2)
    assert [step.day for step in found] == sorted(step.day for step in found)
    for step in found:
        assert step.code in CODES
        assert household.start <= step.day <= until
        assert bool(step.sources) == (step.basis != "practice")
        assert len(step.title.split()) <= 8
        assert not step.title.endswith(".")
        assert_reads_well(step.detail)
    looked_at = [year for year in result.years if year.period.last <= until]
    for place in range(len(household.people)):
        paid = [year.people[place] for year in looked_at]
        for code, amounts in (
            ("withdraw", [one.withdrawal.gross for one in paid]),
            ("take_lump_sum", [one.lump_sum for one in paid]),
            ("pay_into_isa", [one.record.subscribed for one in paid]),
        ):
            assert [step.amount for step in found if (step.code, step.person) == (code, place)] == [
                *filter(None, amounts)
            ]


def test_other_schemes_are_told_by_the_last_day_there_can_be() -> None:
    """SI 2006/567 reg.14ZA: the statement comes within 31 days of the first flexible access; reg.14ZB: whoever pays into another
    scheme tells it within 91 days of having it."""
    works = person(income=(DatedIncome("employment", 5_000 * POUND),))
    (step,) = of(plan(works), "tell_other_schemes")
    assert step.day == date(2027, 4, 5) + timedelta(days=31 + 91) == date(2027, 8, 5)
    assert "within 91 days" in step.detail
    assert of(plan(person(born="1950-06-01")), "tell_other_schemes") == []
    again = person(pension={"flexibly_accessed": True}, income=works.income)
    assert of(plan(again), "tell_other_schemes") == []


def test_tax_of_the_first_payment_is_claimed_back() -> None:
    """4,034.70 on 12,570 by code 1257L on a month 1 basis, as the quote of the same payment says; PAYE94055: form P55 where part
    of the pension is left."""
    (step,) = of(plan(person()), "claim_tax_back")
    assert (step.amount, step.person, step.tax_year) == (403_470, 0, "2026-27")
    assert "Form P55" in step.detail


def test_a_certificate_is_applied_for_before_the_first_lump_sum() -> None:
    """Finance Act 2024 Sch.9 paras 125-128: half the lifetime allowance used is taken for 134,137.50 received tax free; HMRC's
    PTM174300 gives the scheme three months."""
    one = person(pension={"lifetime_allowance_used": 5_000}, tax_free_received_before_6_april_2024=100_000 * POUND)
    (step,) = of(plan(one), "apply_for_certificate")
    assert (step.day, step.amount) == (date(2027, 1, 5), 13_413_750 - 10_000_000)
    unknown = person(pension={"lifetime_allowance_used": 5_000})
    assert [step.code for step in told(plan(unknown)) if "tax_free" in step.code] == ["find_tax_free_received"]
    assert of(plan(unknown, lump_sums="never"), "find_tax_free_received") == []


def test_nominations_are_reviewed_before_pensions_count_in_estates() -> None:
    """Finance Act 2026 ss.66-71: deaths on or after 6 April 2027."""
    (step,) = of(plan(person()), "review_nominations")
    assert (step.day, step.basis) == (date(2027, 4, 5), "law")
    (later,) = of(plan(person(), start="2028-04-06", end="2031-04-05"), "review_nominations")
    assert (later.day, later.basis) == (date(2029, 4, 6), "practice")


def test_who_has_no_pension_has_no_steps_of_their_own() -> None:
    result = plan(person(), person(0), goal="basic_rate_band")
    assert {step.code for step in told(result) if step.person == 1} <= {"pay_into_isa"}


def test_money_for_spending_comes_out_of_isas() -> None:
    result = plan(person(0, isa=Isa(80_000 * POUND)), spending=(Spending(10_000 * POUND),))
    assert [step.amount for step in of(result, "take_from_isa")] == [10_000 * POUND, 10_000 * POUND]


def test_what_is_paid_into_pensions_is_a_step() -> None:
    """Finance Act 2004 ss.188(3)(a), 190: relief up to the earnings, or 3,600, and none from 75 on."""
    paid = (
        Contribution(yearly=2_400 * POUND, relief="relief_at_source"),
        Contribution(payer="employer", amount=1_000 * POUND, day=date(2026, 9, 1), pension=0),
        Contribution(payer="employer", amount=7_000 * POUND, day=date(2026, 9, 1)),  # into a pension that is not told
    )
    works = (DatedIncome("employment", 9_000 * POUND),)
    saver = person(contributions=paid, income=works, pensions=(PensionHeld(300_000 * POUND),))
    first, second = of(plan(saver), "pay_into_pension")
    assert (first.day, first.amount) == (date(2027, 4, 5), 3_400 * POUND)
    assert first.detail.startswith(
        "By 5 April 2027, £3,400 is paid into your pensions, £1,000 of it by an employer or another."
    )
    assert "or £3,600 if that is more, and none from age 75 on" in first.detail
    assert (second.day, second.amount) == (date(2028, 4, 5), 2_400 * POUND)
    assert "employer" not in second.detail
    assert of(plan(person()), "pay_into_pension") == []


def test_contributions_of_the_days_before_the_plan_are_no_step() -> None:
    relief: dict[str, Any] = {"relief": "relief_at_source"}
    paid = (
        Contribution(yearly=3_650 * POUND, **relief),
        Contribution(amount=500 * POUND, day=date(2026, 5, 1), **relief),
    )
    first, _ = of(plan(person(contributions=paid), start="2026-10-06", end="2030-04-05"), "pay_into_pension")
    days = (date(2027, 4, 5) - date(2026, 10, 6)).days + 1
    assert first.amount == days * 10 * POUND


def test_contributions_are_checked_before_income_is_first_taken() -> None:
    """Finance Act 2004 s.227G: the day after the first flexible access; only for somebody who works or pays in."""
    works = plan(person(income=(DatedIncome("employment", 5_000 * POUND),)))
    (step,) = of(works, "check_contributions_first")
    (tell,) = of(works, "tell_other_schemes")
    (withdrawn, *_) = of(works, "withdraw")
    assert step.day < withdrawn.day < tell.day
    assert "more than £10,000 a year" in step.detail
    assert of(plan(person()), "check_contributions_first") == []
