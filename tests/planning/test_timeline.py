"""What each tax year of a plan brings."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from service.law.lump_sums import Pension
from service.planning.household import DatedIncome, Household, Isa, Member
from service.planning.projection.timeline import PersonPeriod, shortened, timeline
from tests.households import BOOK


def test_a_copy_of_a_year_with_another_taxpayer_remembers_nothing_of_the_first() -> None:
    member = Member(date(1964, 6, 1), "england", Pension(10_000_000))
    household = Household(date(2026, 4, 6), date(2027, 4, 5), (member,))
    [[without_income]] = timeline(household, BOOK).people
    assert without_income.liability().total == 0
    with_income = replace(without_income, taxpayer=without_income.taxpayer._replace(other_income=5_000_000))
    # 2026-27: (50,000 - 12,570) at 20%, by hand (ITA 2007 ss.6, 10, 35).
    assert with_income.liability().total == 748_600
    assert without_income.liability().total == 0
    assert with_income.target("basic_rate_band", 0, lambda: 1) == 1
    assert replace(with_income, received=0).target("basic_rate_band", 0, lambda: 2) == 2


def couple(pay: int, end: date = date(2027, 4, 5)) -> Household:
    """One gives the marriage allowance beside some pay, in pounds; the other has 16,000 and receives it."""
    giver = Member(
        date(1962, 6, 26),
        "england",
        Pension(0),
        income=(DatedIncome("employment", pay * 100),),
        marriage_allowance="gives",
    )
    receiver = Member(
        date(1970, 10, 9),
        "england",
        Pension(0),
        income=(DatedIncome("defined_benefit_pension", 1_600_000),),
        marriage_allowance="receives",
    )
    return Household(date(2026, 12, 26), end, (giver, receiver))


def inside(year: PersonPeriod, *, claimed: bool) -> int:
    """The tax of a year that falls inside the plan, pence."""
    found = year.liability() if claimed else year.liability(marriage_allowance="none")
    return found.total - year.tax_outside


def test_a_marriage_allowance_that_is_void_anyway_leaves_no_trace_in_a_part_year() -> None:
    """(16,000 - 12,570) at 20% for 101 days of 365, and 82 of 365 at the end: ITA 2007 s.55C(1)(c), by hand."""
    whole = timeline(couple(62_000, end=date(2031, 4, 5)), BOOK)
    plan = shortened(whole, couple(62_000, end=date(2030, 6, 26)), BOOK)
    first, *_, last = plan.people[1]
    assert inside(first, claimed=False) == 18_982
    assert inside(last, claimed=False) == 15_412
    # Where it can be given, 252 comes off both parts: (686 - 252) for 101 days, 120.09.
    [_, [year]] = timeline(couple(12_000), BOOK).people
    assert inside(year, claimed=True) == 12_009


def test_cash_isas_have_the_lower_limit_up_to_the_tax_year_in_which_65_is_reached() -> None:
    """Announced for 2027-28; how the age is tested is not, so that the year of the birthday has the limit that is safe."""
    limits = []
    for born in (date(1962, 4, 6), date(1962, 4, 7), date(1963, 4, 5), date(1963, 4, 6)):
        member = Member(born, "england", Pension(0), isa=Isa(cash_isa=True))
        # A plan's part of a year has the same limit as the whole of it, whichever days it has.
        for start, end in ((date(2027, 4, 6), date(2027, 4, 7)), (date(2028, 4, 4), date(2028, 4, 5))):
            [[year]] = timeline(Household(start, end, (member,)), BOOK).people
            limits.append(year.isa_allowance_left // 100)
    assert limits == [20_000, 20_000, *[12_000] * 6]
