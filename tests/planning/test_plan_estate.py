"""What a plan leaves to others, if everybody died on its last day."""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.law.lump_sums import Pension
from service.planning.estates import EstateFacts
from service.planning.faults import RuleViolation
from service.planning.household import Household, Isa, Member
from service.planning.schedule.estate import EstateAtTheEnd, estate_at_the_end
from service.planning.schedule.schedule import Schedule, ScheduleQuestion, schedule
from tests.households import BOOK, plans

POUND = 100


def person(pot: int, isa: int = 0, born: str = "1965-06-01") -> Member:
    return Member(date.fromisoformat(born), "england", Pension(pot * POUND), isa=Isa(isa * POUND))


def at_the_end(*people: Member, end: str = "2031-04-05", start: str = "2030-04-06", **facts: Any) -> EstateAtTheEnd:
    household = Household(date.fromisoformat(start), date.fromisoformat(end), people, lump_sums="never")
    result: Schedule = schedule(ScheduleQuestion(household, "personal_allowance"), BOOK)
    return estate_at_the_end(result.projection, EstateFacts(**facts), 2_000)


def test_one_person_under_75() -> None:
    """IHTA 1984 s.7 and Sch.1: 40% above 325,000; from 6 April 2027 unused pensions count (Finance Act 2026 ss.66-71); under 75
    beneficiaries pay no income tax (ITEPA 2003 ss.637H-637M). 700,000 in all, of which 12,570 goes from pension to ISA."""
    found = at_the_end(person(400_000, 300_000))
    assert found.inheritance_tax == (700_000 - 325_000) * 40 // 100 * POUND
    assert found.beneficiaries_income_tax == 0
    assert found.beneficiaries_receive == 550_000 * POUND


def test_before_april_2027_the_pension_is_not_in_the_estate() -> None:
    found = at_the_end(person(400_000, 300_000), start="2026-04-06", end="2027-04-05")
    assert found.inheritance_tax == 0
    assert found.beneficiaries_receive == 700_000 * POUND


def test_a_couple_has_both_sets_of_bands() -> None:
    """IHTA 1984 ss.8A, 8D-8G, 18: the first death is exempt, and the second has two of each band: one million in all."""
    pair = person(300_000, 200_000), person(0, 100_000)
    assert at_the_end(*pair, home=400_000 * POUND, home_to_descendants=True).inheritance_tax == 0
    without = at_the_end(*pair, home=400_000 * POUND)
    assert without.inheritance_tax == (1_000_000 - 650_000) * 40 // 100 * POUND
    assert len(without.deaths) == 2
    assert without.deaths[0].to_spouse


def test_a_plan_does_not_fail_for_its_estate() -> None:
    pair = person(300_000), person(100_000)
    assert at_the_end(*pair, nil_rate_band_brought_forward=10_000).deaths == ()
    assert "second death" in at_the_end(*pair, nil_rate_band_brought_forward=10_000).reason


@given(plans(2_000), st.integers(0, 900_000), st.integers(0, 500_000), st.booleans())
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_nothing_is_lost_between_what_is_held_and_what_is_received(
    household: Household, home: int, debts: int, to_descendants: bool
) -> None:
    try:
        result = schedule(ScheduleQuestion(household, "basic_rate_band"), BOOK)
    except RuleViolation:
        return
    facts = EstateFacts(home=home * POUND, debts=debts * POUND, home_to_descendants=to_descendants)
    found = estate_at_the_end(result.projection, facts, 2_000)
    if not found.deaths:
        assert household.end < date(2024, 4, 6)
        return
    taken = found.inheritance_tax + found.beneficiaries_income_tax
    held = result.totals.in_pensions + result.totals.in_isas + result.totals.in_cash
    owed = min(debts * POUND, result.totals.in_isas + result.totals.in_cash + home * POUND)
    # Of a couple each owes what their own part of the household's property bears, so less may be owed in all.
    assert held + home * POUND - owed <= found.beneficiaries_receive + taken <= held + home * POUND
