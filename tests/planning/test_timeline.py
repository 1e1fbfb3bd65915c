"""What each tax year of a plan brings."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from service.law.lump_sums import Pension
from service.planning.household import Household, Member
from service.planning.projection.timeline import timeline
from tests.households import BOOK


def test_a_copy_of_a_year_with_another_taxpayer_remembers_nothing_of_the_first() -> None:
    member = Member(date(1964, 6, 1), "england", Pension(10_000_000))
    household = Household(date(2026, 4, 6), date(2027, 4, 5), (member,))
    [[without_income]] = timeline(household, BOOK).people
    assert without_income.liability().total == 0
    with_income = replace(without_income, taxpayer=replace(without_income.taxpayer, other_income=5_000_000))
    # 2026-27: (50,000 - 12,570) at 20%, by hand (ITA 2007 ss.6, 10, 35).
    assert with_income.liability().total == 748_600
    assert without_income.liability().total == 0
    assert with_income.target("basic_rate_band", 0, lambda: 1) == 1
    assert replace(with_income, received=0).target("basic_rate_band", 0, lambda: 2) == 2
