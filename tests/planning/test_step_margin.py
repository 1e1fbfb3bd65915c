"""A plan that was searched for keeps 50 pounds clear of steps of the tax, or says what it gains by not doing so."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, DatedIncome, Household, Isa, Member, Spending
from service.planning.schedule.schedule import MOST_AFTER_TAX, Schedule, ScheduleQuestion, schedule
from service.planning.schedule.step_margin import MOST_GIVEN_UP
from service.planning.schedule.told import told
from tests.households import BOOK, plans

POUND = 100


def jump(result: Schedule, position: int, place: int) -> int:
    """The largest rise of the tax on one more penny within 50 pounds of a taxable withdrawal, by the rules alone."""
    record = result.projection.years[position].people[place]
    opened = record.opened
    tax = [opened.taxed(record.taxable + more).total for more in range(50 * POUND)]
    return max(after - before for before, after in pairwise(tax))


def reasons_at(result: Schedule, position: int, place: int) -> str:
    return " ".join(reason.detail for reason in told(result).because[position][place])


def test_a_savings_allowance_is_not_lost_by_a_few_pounds() -> None:
    """ITA 2007 s.12B: at the higher rate limit half of 1,000 is lost, 110 pounds of tax at the 22% of 2028-29."""
    person = Member(
        date(1962, 11, 19),
        "england",
        Pension(39_552_131),
        income=(
            DatedIncome("state_pension", share_of_full_rate=10_000, increases="prices"),
            DatedIncome("property_income", 1_215_634, increases="prices"),
        ),
    )
    household = Household(
        date(2028, 4, 6),
        date(2040, 2, 23),
        (person,),
        (Spending(1_702_404, first=date(2029, 5, 10)),),
        "never",
        Assumptions(300, 400, 300, 250, tax_rate_on_remaining_pension=4_000),
    )
    result = schedule(ScheduleQuestion(household, MOST_AFTER_TAX), BOOK)
    assert [
        jump(result, position, 0) for position in range(len(result.years)) if jump(result, position, 0) > 5_000
    ] == []
    assert result.proof is not None
    stayed = [codes for codes in told(result).because if "stays_below_a_tax_step" in {one.code for one in codes[0]}]
    assert len(stayed) > 5
    assert 0 <= result.proof.given_up_at_steps <= len(stayed) * MOST_GIVEN_UP
    assert result.proof.gap >= result.proof.given_up_at_steps


@given(plans(2_000), st.integers(100, 3_000), st.booleans())
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_no_plan_ends_just_below_a_step_without_saying_so(household: Household, interest: int, receives: bool) -> None:
    """Somebody with interest, and perhaps the marriage allowance: whatever the plan, what is within 50 pounds is told."""
    first, *others = household.people
    first = first._replace(
        income=(*first.income, DatedIncome("savings_interest", interest * POUND)),
        marriage_allowance="receives" if receives else first.marriage_allowance,
        isa=Isa(),
    )
    assume(first.pension.uncrystallised > 10_000 * POUND)
    try:
        result = schedule(
            ScheduleQuestion(
                Household(
                    household.start,
                    household.end,
                    (first, *others),
                    household.spending,
                    household.lump_sums,
                    household.assumptions,
                ),
                MOST_AFTER_TAX,
                effort="quick",
            ),
            BOOK,
        )
    except RuleViolation:
        return
    assert result.proof is not None
    assert result.proof.gap >= 0
    for position, year in enumerate(result.years):
        record = year.people[0].record
        if not record.taxable or record.liability != record.opened.taxed(record.taxable):
            continue
        if jump(result, position, 0) >= 50 * POUND:
            assert result.proof.at_a_step
            assert "would cost more than" in reasons_at(result, position, 0)
