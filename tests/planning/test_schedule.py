"""A plan adds up, keeps within every limit, and comes to the amounts that can be worked out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.law import lump_sums
from service.law.ages import age_on, birthday
from service.law.lump_sums import Pension
from service.planning.estates import EstateFacts
from service.planning.faults import RuleViolation
from service.planning.household import (
    WITH_PRICES,
    Already,
    Assumptions,
    Contribution,
    DatedIncome,
    Household,
    Income,
    Isa,
    Member,
    PensionHeld,
    Spending,
)
from service.planning.projection.balances import Balance, Withdrawal, parts
from service.planning.projection.policies import BANDS, evenly_from_state_pension_age, filling, projected
from service.planning.projection.settlement import PersonRecord
from service.planning.projection.timeline import Period
from service.planning.schedule.circumstances import schedule_warnings
from service.planning.schedule.reasons import reasons
from service.planning.schedule.schedule import (
    GOALS,
    MOST_AFTER_TAX,
    MOST_TO_BENEFICIARIES,
    Schedule,
    SchedulePerson,
    ScheduleQuestion,
    ScheduleYear,
    schedule,
    wealth_at_flat_rates,
)
from tests.households import BOOK, plans

WHOLE = 10_000
BORN = date(1962, 6, 1)  # over 55 in every year there are figures for


def person(**facts: Any) -> Member:
    return Member(**{"date_of_birth": BORN, "tax_residence": "england", "pension": Pension(40_000_000), **facts})


def plan(*people: Member, goal: str = "personal_allowance", start: str = "2026-04-06", end: str = "2027-04-05",
         scenarios: dict[str, Assumptions] | None = None, **household: Any) -> Schedule:  # fmt: skip
    days = date.fromisoformat(start), date.fromisoformat(end)
    of = Household(*days, people, **household)
    question = ScheduleQuestion(of, goal, scenarios or {})
    if question.is_for_beneficiaries:
        question = replace(question, estate=EstateFacts(), estate_given=True)
    return schedule(question, BOOK)


# Whatever the household, a plan adds up


def assert_closes(balance: Balance) -> None:
    assert balance.opening + balance.growth + balance.paid_in - balance.paid_out == balance.closing
    assert min(balance.opening, balance.paid_in, balance.closing) >= 0


def without_small_pots(one: SchedulePerson) -> Balance:
    """How what a person may draw as the plan chooses moved."""
    pots = one.record.opened.year.small_pots
    told = [(pot.opening, pot.growth, 0, pot.gross, pot.closing) for pot in pots]
    return Balance(*(whole - sum(each) for whole, *each in zip(one.pension, *told, strict=True)))


def assert_grown(year: ScheduleYear, assumed: Assumptions, minimum_cash: int) -> None:
    """A yearly rate for its share of the days, less what the money that is spent before the last day misses of it: half if it is
    spent evenly. Each fund is to the nearest penny. What income and a lump sum do not cover is spent early, and nothing else."""
    period, everybody = year.period, year.people
    share = Fraction(period.days, (period.rules.figures.end - period.rules.figures.start).days + 1)
    part = {"start": Fraction(1), "evenly": Fraction(1, 2), "end": Fraction(0)}[assumed.spending_met]
    early_in_all = 0
    for place, one in enumerate(everybody):
        record, pension = one.record, without_small_pots(one)
        early_pension = record.early.uncrystallised + record.early.drawdown
        early_in_all += early_pension
        assert 0 <= early_pension <= one.pension.paid_out
        if record.after.pots:
            assert_pots_grown(period, record, assumed.growths_of(place, len(record.after.pots)), share * part)
        for balance, rate, early, funds in (
            *(() if record.after.pots else ((pension, assumed.growth_of(place), early_pension, 4),)),
            (one.isa, assumed.isa_growth, record.early.isa, 2),
            (one.cash, assumed.cash_interest, record.opened.early_cash, 2),
        ):
            growth = Fraction(rate) / WHOLE * share
            missed = balance.opening * growth - balance.growth
            if balance is pension:
                missed += record.opened.year.paid_in.half_days * growth / (2 * period.days)
            assert abs(missed - early * growth * part) <= Fraction(funds + 1, 2) + abs(growth)
            if balance is one.isa:
                assert 0 <= early <= balance.paid_out
            if balance is not pension:
                early_in_all += early
    cash = sum(one.cash.opening + one.record.opened.interest - one.record.opened.early_cash for one in everybody)
    assert sum(one.record.opened.early_cash for one in everybody) == 0 or cash >= minimum_cash
    paid = sum(one.record.opened.year.received + one.lump_sum for one in everybody)
    needed = max(0, year.spending - paid) if part else 0
    assert early_in_all <= needed
    repaid = sum(max(0, -one.record.income_tax) for one in everybody)
    assert early_in_all >= needed - repaid - 4


def assert_pots_grown(period: Period, record: PersonRecord, growths: Sequence[Any], part: Fraction) -> None:
    """Each pot grows by its own rate, less what is missed by money that is spent before the last day: so much of a pot was
    spent early as explains what it misses, and of all pots together as much as the record says."""
    share = Fraction(period.days, (period.rules.figures.end - period.rules.figures.start).days + 1)
    early: Fraction | int = 0
    for k, yearly in enumerate(growths):
        before, rate = record.opened.before.pots[k], Fraction(yearly) / WHOLE
        paid = record.opened.year.pots[k].paid_in
        grown = record.opened.pot_growth[k] - sum(record.pots_not_grown[k])
        missed = sum(before) * rate * share + paid.half_days * rate * share / (2 * period.days) - grown
        assert record.opened.pots[k] == record.after.pots[k] or record.opened.year.pots[k].may_withdraw
        assert min(record.after.pots[k]) >= 0
        if rate * part == 0:
            assert abs(missed) <= 3
        else:
            assert missed / (rate * part) >= -3 / abs(rate * part)
            early += missed / (rate * part)
    slowest = min((abs(Fraction(yearly) / WHOLE * part) for yearly in growths if yearly and part), default=None)
    if slowest and all(growths):
        told = record.early.uncrystallised + record.early.drawdown
        assert abs(early - told) <= len(growths) * (3 / slowest + 1)


def assert_pots_add_up(member: Member, one: SchedulePerson) -> None:
    """What is told pension by pension closes and adds up to what is told of all."""
    told = parts(member, one.record, one.pension, one.withdrawal)
    assert sorted(place for part in told for place in part.places) == list(range(len(member.pensions)))
    for part in told:
        assert_closes(part.balance)
        drawn = part.withdrawal
        assert drawn.gross == drawn.tax_free + drawn.taxable == drawn.from_uncrystallised + drawn.from_drawdown
        assert min(*drawn, *part.after) >= 0
        assert drawn.tax_free <= drawn.from_uncrystallised
    pots = one.record.opened.year.small_pots
    divided = ("gross", "tax_free", "taxable", "gross")
    small = [sum(getattr(pot, name) for pot in pots) for name in divided] + [0]
    drawn_in_all = Withdrawal(*(sum(both) for both in zip(one.withdrawal, small, strict=True)))
    for whole, each in ((one.pension, 1), (drawn_in_all, 2)):
        assert list(whole) == [sum(amounts) for amounts in zip(*(part[each] for part in told), strict=True)]


def assert_adds_up(result: Schedule) -> None:
    """Every balance of every person closes and opens the next year; the household's sums are those of its people."""
    household, years = result.question.household, result.years
    assumed = household.assumptions
    assert years[0].period.first == household.start
    assert years[-1].period.last == household.end
    tax_so_far = 0
    flexible = [False for _ in household.people]
    level = Fraction(1)
    for before, year in zip((None, *years), years, strict=False):
        period, everybody = year.period, year.people
        if before is not None:
            assert period.first == before.period.last + timedelta(days=1)
        for i, (member, one) in enumerate(zip(household.people, everybody, strict=True)):
            record = one.record
            for balance in (one.pension, one.isa, one.cash):
                assert_closes(balance)
            started = (
                (member.all_pensions, member.isa.value, member.cash)
                if before is None
                else tuple(
                    held.closing for held in (before.people[i].pension, before.people[i].isa, before.people[i].cash)
                )
            )
            assert (one.pension.opening, one.isa.opening, one.cash.opening) == started
            drawn = one.withdrawal
            assert drawn.gross == drawn.tax_free + drawn.taxable == drawn.from_uncrystallised + drawn.from_drawdown
            assert record.gross == one.lump_sum + drawn.gross
            assert one.pension.paid_out == record.gross + record.opened.year.from_small_pots
            assert record.tax_free == one.lump_sum + drawn.tax_free
            assert min(one.lump_sum, *drawn) >= 0
            assert one.lump_sum == 0 or household.lump_sums == "all_now"
            birthday_in = birthday(member.date_of_birth, one.age)
            assert birthday_in <= period.last < birthday(member.date_of_birth, one.age + 1)
            started_flexibly = member.pension.flexibly_accessed if before is None else flexible[i]
            limited = one.money_purchase_allowance
            assert limited.applies == record.after.pension.flexibly_accessed == (started_flexibly or limited.triggered)
            assert limited.first_day == (period.last + timedelta(days=1) if limited.triggered else None)
            flexible[i] = limited.applies
            assert min(record.spent, record.subscribed, record.from_isa) >= 0
            kept = sum(pot.closing for pot in record.opened.year.small_pots)
            assert one.pension.closing == kept + record.after.pension.uncrystallised + record.after.pension.drawdown
            assert min(record.after.pension.uncrystallised, record.after.pension.drawdown) >= 0
            if member.pensions:
                assert_pots_add_up(member, one)
        days = period.days, (period.rules.figures.end - period.rules.figures.start).days + 1
        assert_grown(year, assumed, household.minimum_cash)
        assert year.household.in_cash >= household.minimum_cash
        assert sum(one.record.moved for one in everybody) == 0
        assert sum(one.record.spent for one in everybody) == year.spending
        tax_so_far += sum(one.record.income_tax for one in everybody)
        level *= 1 + Fraction(assumed.price_inflation * days[0], WHOLE * days[1])
        sums = year.household
        assert sums.withdrawn == sum(one.pension.paid_out for one in everybody)
        assert sums.income_tax_so_far == tax_so_far
        assert sums.isa_subscriptions == sum(one.record.subscribed for one in everybody)
        held = tuple(sum(closing) for closing in zip(*((one.pension.closing, one.isa.closing, one.cash.closing)
                                                        for one in everybody), strict=True))  # fmt: skip
        assert (sums.in_pensions, sums.in_isas, sums.in_cash) == held
        assert sums.wealth_before_tax == sum(held)
        assert abs(sums.wealth_before_tax_in_prices_of_start - sum(held) / level) <= Fraction(1, 2)
    found, last = result.totals, years[-1].household
    assert found.income_tax == sum(year.household.income_tax for year in years) == tax_so_far
    assert found.withdrawn == found.tax_free + found.taxable == sum(year.household.withdrawn for year in years)
    assert found.isa_subscriptions == sum(year.household.isa_subscriptions for year in years)
    assert found.spent == sum(year.spending for year in years)
    assert (found.in_pensions, found.in_isas, found.in_cash) == (last.in_pensions, last.in_isas, last.in_cash)
    assert abs(found.wealth_after_tax_in_prices_of_start - found.wealth_after_tax / level) <= Fraction(1, 2)


def assert_within_limits(result: Schedule) -> None:
    """No subscription beyond the ISA allowance, nothing tax free beyond the allowances, nothing drawn too young."""
    household = result.question.household
    for i, member in enumerate(household.people):
        protected, cap = member.pension.protected_pension_age, member.withdrawal_cap
        for year in result.years:
            one, record = year.people[i], year.people[i].record
            before = member.isa.subscribed_this_year if year is result.years[0] else 0
            assert one.isa_used == before + record.subscribed
            assert record.subscribed <= max(0, one.isa_limit - before)
            assert one.isa_unused == max(0, one.isa_limit - before) - record.subscribed
            # SI 1998/1870 reg.4ZA: 20,000; in cash 12,000 from 2027-28, as announced, up to the tax year in which 65 is reached.
            lower = member.isa.cash_isa and year.period.first >= date(2027, 4, 6)
            lower = lower and age_on(member.date_of_birth, year.period.rules.figures.start) < 65
            assert one.isa_limit == (1_200_000 if lower else 2_000_000)
            # Finance Act 2004 s.279; Finance Act 2022 s.10.
            normal = 57 if year.period.last >= date(2028, 4, 6) else 55
            age = age_on(member.date_of_birth, year.period.last)
            if not record.after.pots and age < (protected or normal):
                assert record.gross == 0
            told = parts(member, record, one.pension, one.withdrawal)
            for part, pot in zip((part for part in told if not part.small_pot), member.pots, strict=False):
                if age < (pot.protected_pension_age or normal):
                    assert part.balance.paid_out == 0
            assert cap is None or one.withdrawal.gross <= cap
            assert record.tax_free <= record.opened.left.tax_free + (
                record.opened.lump_sum.gross if record.opened.lump_sum else 0
            )
            assert record.tax_free_left >= 0
            assert one.personal_allowance_used + one.personal_allowance_unused == record.liability.allowances
            assert record.income_tax == record.liability.total - record.opened.year.tax_outside
        rules = result.years[0].period.rules.lump_sums
        if rules.lump_sum_allowance is not None:
            taken = sum(year.people[i].record.tax_free for year in result.years)
            assert taken <= lump_sums.available(member.pension, rules).tax_free
        if household.lump_sums == "never":
            assert all(year.people[i].record.tax_free == 0 for year in result.years)


def assert_sound(household: Household, goal: str) -> Schedule | None:
    try:
        result = schedule(ScheduleQuestion(household, goal), BOOK)
    except RuleViolation as refused:
        codes = [(fault.path, fault.code) for fault in refused.faults]
        if codes != [(("household", "spending"), "spending-cannot-be-met")]:
            raise
        return None
    assert_adds_up(result)
    assert_within_limits(result)
    schedule_warnings(result)
    return result


SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large]


@settings(max_examples=60, deadline=None, suppress_health_check=SLOW)
@given(plans(), st.sampled_from(BANDS))
def test_a_plan_that_fills_a_band_adds_up(household: Household, goal: str) -> None:
    assert_sound(household, goal)


@settings(max_examples=12, deadline=None, suppress_health_check=SLOW)
@given(plans(most_days=1_000))
def test_a_plan_for_the_most_after_tax_adds_up_and_no_plain_plan_is_better(household: Household) -> None:
    result = assert_sound(household, MOST_AFTER_TAX)
    if result is None:
        return
    assert result.proof is not None
    assert result.proof.worth == result.totals.wealth_after_tax
    assert result.proof.gap == result.proof.bound - result.proof.worth >= 0
    for policy in (*(filling(result.timeline, band) for band in BANDS), evenly_from_state_pension_age(result.timeline)):
        try:
            assert projected(result.timeline, policy).wealth <= result.proof.worth + result.proof.given_up_at_steps + (
                0 if result.proof.tie is None else result.proof.tie.given_up
            )
        except RuleViolation:
            continue


# By hand


@pytest.mark.parametrize(
    ("tax_year", "gross", "taxable"),
    [
        # Personal allowance 12,500: Finance Act 2019 s.5.
        ("2019-20", 1_666_666, 1_250_000),
        ("2020-21", 1_666_666, 1_250_000),
        # 12,570: Finance Act 2021 s.5, Finance Act 2023 s.5.
        ("2026-27", 1_676_000, 1_257_000),
    ],
)
def test_the_allowance_and_a_third_leave_without_tax_for_an_isa(tax_year: str, gross: int, taxable: int) -> None:
    """Common practice, for which there is no source: without other income, the allowance / 0.75 each year bears no tax."""
    year = int(tax_year[:4])
    (found,) = plan(person(), start=f"{year}-04-06", end=f"{year + 1}-04-05").years
    (one,) = found.people
    assert found.period.name == tax_year
    assert (one.record.gross, one.record.taxable, one.record.income_tax) == (gross, taxable, 0)
    assert one.record.tax_free == gross - taxable
    assert (one.record.subscribed, one.isa.closing, one.cash.closing) == (gross, gross, 0)
    assert (one.personal_allowance_used, one.personal_allowance_unused) == (taxable, 0)


def test_the_same_each_year_of_a_plan() -> None:
    result = plan(person(), end="2031-04-05")
    assert [year.household.withdrawn for year in result.years] == [1_676_000] * 5
    assert result.totals.income_tax == 0
    assert result.totals.in_isas == 5 * 1_676_000
    assert result.totals.in_pensions == 40_000_000 - 5 * 1_676_000
    # At the end a quarter of what is left is tax free. The rest, 237,150 pounds, drawn evenly over 20 years is 11,857.50 a year
    # and within the personal allowance. At a flat 20% it bears 47,430.
    assert result.totals.wealth_after_tax == 40_000_000
    assert wealth_at_flat_rates(result.projection)[:2] == ((0, 40_000_000), (2_000, 40_000_000 - 4_743_000))


@pytest.mark.parametrize(
    ("nation", "goal", "taxable", "tax"),
    [
        # Finance Act 2021 s.5, Finance Act 2023 s.5: 12,570 + 37,700; 20% of 37,700.
        ("england", "basic_rate_band", 5_027_000, 754_000),
        ("wales", "basic_rate_band", 5_027_000, 754_000),
        # To 125,140, where nothing is left of the allowance (ITA 2007 s.35): 37,700 at 20% and 87,440 at 40%.
        ("england", "higher_rate_band", 12_514_000, 754_000 + 3_497_600),
        # Scotland, motion S6M-20844: 3,967 at 19%, to 16,956 at 20%, to 31,092 at 21%.
        ("scotland", "basic_rate_band", 1_257_000 + 3_109_200, 75_373 + 259_780 + 296_856),
    ],
)
def test_a_band_is_filled_to_its_top(nation: str, goal: str, taxable: int, tax: int) -> None:
    result = plan(person(tax_residence=nation, pension=Pension(0, drawdown=40_000_000)), goal=goal)
    record = result.years[0].people[0].record
    assert (record.taxable, record.income_tax) == (taxable, tax)
    if goal == "basic_rate_band":
        assert result.years[0].people[0].basic_rate_band_unused == 0


def test_a_state_pension_starts_at_state_pension_age() -> None:
    """Born 14 May 1961: 67 on 14 May 2028 (Pensions Act 1995 Sch.4 as amended in 2014); 327 days of 365 in that year."""
    income = (DatedIncome("state_pension", 1_200_000, increases=0),)
    result = plan(person(date_of_birth=date(1961, 5, 14), income=income), start="2026-04-06", end="2030-04-05")
    assert [year.people[0].record.opened.year.received for year in result.years] == [0, 0, 1_075_068, 1_200_000]
    assert result.state_pensions == ((0, 0, 1_075_068, 1_200_000),)


def test_a_share_of_the_full_state_pension_rises_with_prices() -> None:
    """241.30 a week in 2026-27 (Hansard, 26 November 2025): half of 52 weeks is 6,273.80; then 2% on that."""
    income = (DatedIncome("state_pension", share_of_full_rate=5_000, increases=WITH_PRICES),)
    assumed = Assumptions(price_inflation=200)
    result = plan(person(date_of_birth=date(1955, 1, 1), income=income), end="2028-04-05", assumptions=assumed)
    assert result.state_pensions == ((627_380, 639_928),)


def test_part_of_a_tax_year_bears_its_share_of_the_tax() -> None:
    """36,500 a year is 100 a day: 182 days from 6 October. Tax of the year (36,500 - 12,570) x 20% = 4,786, of which
    183/365 is borne before the plan."""
    income = (DatedIncome("employment", 3_650_000),)
    result = plan(person(income=income, pension=Pension(0)), start="2026-10-06", end="2027-04-05")
    one = result.years[0].people[0]
    assert one.record.opened.year.received == 1_820_000
    assert one.record.income_tax == 478_600 - 239_956
    assert one.isa.closing == 1_820_000 - one.record.income_tax


def test_part_of_a_tax_year_grows_for_its_share_of_the_days() -> None:
    """182 days of 365 at 4%, then a whole year of 366 days (2027-28), no more."""
    too_young = person(date_of_birth=date(1985, 1, 1), pension=Pension(10_000_000))
    result = plan(too_young, start="2026-10-06", end="2028-04-05", assumptions=Assumptions(pension_growth=400))
    assert [year.people[0].pension.growth for year in result.years] == [199_452, 407_978]


def test_two_people_fill_both_allowances_and_share_their_isa_allowances() -> None:
    """The first has used the ISA allowance this year, so both withdrawals go to the second's ISA as far as it goes."""
    first, second = person(isa=Isa(subscribed_this_year=2_000_000)), person()
    result = plan(first, second)
    assert [one.record.gross for one in result.years[0].people] == [1_676_000, 1_676_000]
    assert [one.record.subscribed for one in result.years[0].people] == [0, 2_000_000]
    assert sum(one.record.moved for one in result.years[0].people) == 0
    assert result.years[0].people[1].record.moved == 2_000_000 - 1_676_000
    assert result.totals.in_cash == 2 * 1_676_000 - 2_000_000


def test_spending_comes_from_cash_then_isas_then_more_pension() -> None:
    """Too young for a pension: 5,000 of cash and 3,000 of ISA meet 8,000, and a penny more cannot be met."""
    young = person(date_of_birth=date(1985, 1, 1), cash=500_000, isa=Isa(300_000))
    record = plan(young, spending=(Spending(800_000),)).years[0].people[0].record
    assert (record.spent, record.from_isa, record.after.cash, record.after.isa) == (800_000, 300_000, 0, 0)
    with pytest.raises(RuleViolation) as refused:
        plan(young, spending=(Spending(800_001),))
    (fault,) = refused.value.faults
    assert (fault.path, fault.code) == (("household", "spending"), "spending-cannot-be-met")
    assert "2026-27" in fault.detail
    assert "£0.01" in fault.detail
    # 16,760 fills the allowance; 2,000 more takes 2,000 / 0.85 = 2,352.95 (a quarter free, the rest at 20%).
    older = plan(person(), spending=(Spending(1_876_000),)).years[0].people[0].record
    assert older.after.cash + older.subscribed <= 1
    assert abs(older.gross - 1_676_000 - 235_295) <= 2
    assert older.income_tax == pytest.approx((older.taxable - 1_257_000) * 0.2, abs=1)


@pytest.mark.parametrize(("met", "part"), [("start", 1), ("evenly", Fraction(1, 2)), ("end", 0)])
def test_money_spent_in_a_year_has_not_grown_to_its_end(met: str, part: Fraction) -> None:
    """18,000 of spending, of which an annuity pays 6,000. 10,000 of cash at 4% goes first: by hand, a pot P that grows by g pays
    P (1 + g) / (1 + g/2) evenly over a year, 10,196.08, and P on its first day. The ISA pays the rest. 365 days of 365."""
    income = (DatedIncome("annuity", 600_000),)
    spending = (Spending(1_800_000),)
    old = person(pension=Pension(0), cash=1_000_000, isa=Isa(5_000_000), income=income)
    assumed = Assumptions(isa_growth=400, cash_interest=400, spending_met=met)
    one = plan(old, spending=spending, assumptions=assumed).years[0].people[0]
    rate = Fraction(4, 100)
    of_cash = 1_000_000 * (1 + rate) / (1 + rate * part)
    assert one.cash.growth == pytest.approx(float(of_cash - 1_000_000), abs=1)
    assert one.cash.closing <= 1
    from_isa = 1_200_000 - of_cash
    assert one.isa.paid_out == pytest.approx(float(from_isa), abs=1)
    assert one.isa.growth == pytest.approx(float(5_000_000 * rate - from_isa * rate * part), abs=1)
    # The same from a pension alone: the growth of what is drawn for the spending, not of what is drawn for the tax on it.
    drawn = person(pension=Pension(0, drawdown=40_000_000), income=income)
    assumed = Assumptions(pension_growth=400 * 2 // 3, spending_met=met)
    one = plan(drawn, spending=spending, assumptions=assumed).years[0].people[0]
    assert one.withdrawal.gross == pytest.approx(657_000 + (1_200_000 - 657_000) / 0.8, abs=2)
    rate = Fraction(400 * 2 // 3, WHOLE)
    assert one.pension.growth == pytest.approx(float(40_000_000 * rate - 1_200_000 * rate * part), abs=1)


def test_a_pot_spent_evenly_lasts_as_the_closed_form_says() -> None:
    """Without tax, by hand: a pound spent evenly over a year costs an ISA 1 + g/2 at the year's end, so that W grows to
    W (1 + g)^n - S (1 + g/2) ((1 + g)^n - 1) / g in n years of 365 days, here three at 5%."""
    income = person(pension=Pension(0), isa=Isa(20_000_000), date_of_birth=date(1985, 1, 1))
    result = plan(
        income,
        start="2024-04-06",
        end="2027-04-05",
        spending=(Spending(1_500_000),),
        assumptions=Assumptions(isa_growth=500),
    )
    g = 0.05
    expected = 20_000_000 * (1 + g) ** 3 - 1_500_000 * (1 + g / 2) * ((1 + g) ** 3 - 1) / g
    assert result.totals.in_isas == pytest.approx(expected, abs=3)
    # All that there is, and a pound more.
    most = 20_000_000 * (1 + g) ** 3 / ((1 + g / 2) * ((1 + g) ** 3 - 1) / g)
    for spending, possible in ((int(most) - 3, True), (int(most) + 3, False)):
        try:
            plan(income, start="2024-04-06", end="2027-04-05", spending=(Spending(spending),),
                 assumptions=Assumptions(isa_growth=500))  # fmt: skip
        except RuleViolation:
            assert not possible
        else:
            assert possible


def test_a_pension_spent_evenly_can_be_drawn_to_its_last_penny() -> None:
    """By hand: 10,000 at 6% pays 10,600 / 1.03 = 10,291.26 evenly over a year, all of it within the personal allowance."""
    old = person(pension=Pension(0, drawdown=1_000_000))
    found = plan(old, spending=(Spending(1_029_126),), assumptions=Assumptions(pension_growth=600)).years[0].people[0]
    assert found.pension.closing <= 2
    with pytest.raises(RuleViolation):
        plan(old, spending=(Spending(1_029_128),), assumptions=Assumptions(pension_growth=600))


def test_a_minimum_of_cash_is_kept_before_anything_is_subscribed() -> None:
    """By hand: 9,000 of cash, 20,000 of income and 12,000 of spending leave 17,000; of it 10,000 is kept. In a second year with
    30,000 of spending the income, 7,000 of ISA and then 3,000 of pension pay: the minimum is not touched."""
    income = (
        DatedIncome("annuity", 2_000_000, last=date(2027, 4, 5)),
        DatedIncome("annuity", 1_000_000, first=date(2027, 4, 6)),
    )
    spending = (Spending(1_200_000, last=date(2027, 4, 5)), Spending(2_000_000, first=date(2027, 4, 6)))
    one = person(cash=900_000, income=income, pension=Pension(0, drawdown=5_000_000))
    tax = 2 * (2_000_000 - 1_257_000) // 10
    household = {"minimum_cash": 1_000_000, "goal": "personal_allowance", "end": "2028-04-05"}
    first, then = (year.people[0] for year in plan(one, spending=spending, **household).years)
    assert first.record.after.cash == 1_000_000
    assert first.isa.closing == 900_000 + 2_000_000 - 1_200_000 - tax - 1_000_000
    assert (then.isa.closing, then.record.after.cash) == (0, 1_000_000)
    drawn = 2_000_000 - 1_000_000 - first.isa.closing
    assert then.record.gross == pytest.approx(257_000 + (drawn - 257_000) / 0.8, abs=2)


def test_a_cap_holds_whatever_the_aim_and_the_spending() -> None:
    """16,760 would fill the personal allowance: a quarter of 12,000 is tax free (Finance Act 2004 Sch.29 para.4A). A lump sum
    taken by itself is not part of it."""
    capped = person(withdrawal_cap=1_200_000)
    (one,) = plan(capped).years[0].people
    assert (one.record.gross, one.record.tax_free, one.record.taxable) == (1_200_000, 300_000, 900_000)
    (one,) = plan(capped, lump_sums="all_now", goal="basic_rate_band").years[0].people
    assert (one.lump_sum, one.withdrawal.gross) == (10_000_000, 1_200_000)
    assert plan(capped, spending=(Spending(1_200_000),)).years[0].people[0].record.gross == 1_200_000


DREW = Pension(40_000_000, lump_sum_allowance_used=50_000)


def test_what_was_withdrawn_before_the_plan_counts_in_the_first_years_tax() -> None:
    """By hand: 9,000 of pay that has ended and 2,000 drawn leave 1,570 of the allowance of 12,570 (ITA 2007 s.35), so 2,093.33
    is drawn, of which a quarter is tax free (Finance Act 2004 Sch.29 para.4A). In the next tax year it is 16,760 again."""
    had = Already((Income("employment", 900_000),), 200_000, 50_000)
    years = plan(person(already=had, pension=DREW), start="2026-10-01", end="2028-04-05").years
    taxable = [year.people[0].record.taxable for year in years]
    assert taxable == [157_000, 1_257_000]
    assert [year.people[0].record.income_tax for year in years] == [0, 0]
    # By hand: 30,000 of pay that has ended bears (30,000 - 12,570) x 20%, all of it before the plan. What is then drawn at 20%
    # bears its own tax alone.
    ended = person(already=Already((Income("employment", 3_000_000),)))
    (one,) = plan(ended, goal="basic_rate_band", start="2026-10-01").years[0].people
    assert one.record.taxable == 5_027_000 - 3_000_000
    assert one.record.income_tax == one.record.taxable // 5


def test_what_was_withdrawn_before_counts_towards_the_cap_of_its_tax_year() -> None:
    capped = person(withdrawal_cap=1_200_000, already=Already((), 200_000, 50_000), pension=DREW)
    years = plan(capped, goal="basic_rate_band", start="2026-10-01", end="2028-04-05").years
    assert [year.people[0].record.gross for year in years] == [950_000, 1_200_000]


def test_nothing_was_had_in_a_tax_year_before_its_first_day() -> None:
    had = Already((), 100)
    assert faults(person(already=had)) == [
        (("household", "people", 0, "already_this_tax_year"), "nothing-before-start")
    ]
    less = person(pension=Pension(1_000_000, lump_sum_allowance_used=99), already=Already((), 0, 100))
    where = ("household", "people", 0, "lump_sum_allowances", "lump_sum_allowance_used")
    assert faults(less, start="2026-04-07") == [(where, "less-used-than-withdrawn")]


def paid_in(pounds: int, **more: Any) -> Contribution:
    """A contribution into the first pension, in pounds a year."""
    return Contribution(yearly=pounds * 100, pension=0, **more)


def saving(**facts: Any) -> Member:
    """A person with a pension that contributions can go into."""
    return person(**{"pensions": (PensionHeld(40_000_000),), **facts})


def test_relief_at_source_is_claimed_by_the_scheme_and_extends_the_bands() -> None:
    """Finance Act 2004 s.192: of 10,000 gross, 8,000 is paid, the scheme claims 2,000, and the basic rate band is 10,000 longer
    (s.192(4)): pay of 60,000 bears (50,270 - 12,570) x 20% and, of the 9,730 above that, 20% again. By hand: 9,486."""
    pay = (DatedIncome("employment", 6_000_000),)
    saver = saving(
        income=pay, contributions=(paid_in(10_000, relief="relief_at_source"),), date_of_birth=date(1980, 6, 1)
    )
    one = plan(saver).years[0].people[0]
    assert (one.pension.paid_in, one.record.opened.year.paid_in.own) == (1_000_000, 800_000)
    assert one.record.income_tax == 948_600
    assert one.cash.paid_out - one.record.subscribed == 948_600 + 800_000
    assert one.cash.paid_in == 6_000_000
    assert one.isa.closing + one.cash.closing == 6_000_000 - 948_600 - 800_000


def test_net_pay_comes_off_pay_and_an_employers_money_costs_nothing() -> None:
    """Finance Act 2004 s.193: pay of 60,000 with 10,000 paid by net pay is taxed as 50,000, which is what `income` says. By
    hand: (50,000 - 12,570) x 20% = 7,486. The household's money is what is left of the 50,000."""
    pay = (DatedIncome("employment", 5_000_000),)
    both = (paid_in(10_000, relief="net_pay"), paid_in(6_000, payer="employer"))
    one = plan(saving(income=pay, contributions=both, date_of_birth=date(1980, 6, 1))).years[0].people[0]
    assert (one.pension.paid_in, one.record.opened.year.paid_in.own) == (1_600_000, 0)
    assert one.record.income_tax == 748_600
    assert one.isa.closing + one.cash.closing == 5_000_000 - 748_600


def test_what_has_no_relief_is_paid_in_full_by_the_household() -> None:
    """Finance Act 2004 s.190: without earnings 3,600 has relief, so of 5,000 the scheme claims 20% of 3,600, 720."""
    saver = saving(cash=1_000_000, contributions=(paid_in(5_000, relief="relief_at_source"),))
    year = plan(saver).years[0].people[0].record.opened.year
    assert (year.paid_in.amount, year.paid_in.own) == (500_000, 500_000 - 72_000)
    none = saving(cash=1_000_000, contributions=(paid_in(5_000, relief="none"),))
    assert plan(none).years[0].people[0].record.opened.year.paid_in.own == 500_000


def test_contributions_grow_from_their_day() -> None:
    """By hand: 36,500 paid evenly over 365 days at 10% misses half of the year's growth and half of a day's: 365 payments of 100
    grow for 364, 363, ... 0 days, 182 on average. One paid on 6 July grows for the 273 days to 5 April."""
    worker = saving(
        pension=Pension(0), date_of_birth=date(1980, 6, 1), contributions=(paid_in(36_500, payer="employer"),)
    )
    assumed = Assumptions(pension_growth=1_000)
    (one,) = plan(worker, assumptions=assumed).years[0].people
    assert (one.pension.paid_in, one.pension.growth) == (3_650_000, 3_650_000 * 182 // 3_650)
    once = Contribution(payer="employer", amount=3_650_000, day=date(2026, 7, 6), pension=0)
    (one,) = plan(worker._replace(contributions=(once,)), assumptions=assumed).years[0].people
    assert (one.pension.paid_in, one.pension.growth) == (3_650_000, 3_650_000 * 273 // 3_650)


def test_only_what_is_paid_inside_the_plan_goes_in() -> None:
    """By hand: from 1 October there are 187 of 365 days left. A contribution that says no pension is for the tax alone."""
    worker = saving(contributions=(paid_in(36_500, payer="employer"),))
    assert plan(worker, start="2026-10-01").years[0].people[0].pension.paid_in == 1_870_000
    unsaid = saving(contributions=(Contribution(payer="employer", yearly=3_650_000),))
    assert plan(unsaid).years[0].people[0].pension.paid_in == 0


@pytest.mark.parametrize("goal", GOALS)
def test_no_income_is_drawn_while_later_contributions_are_above_the_allowance_it_brings_in(goal: str) -> None:
    """Finance Act 2004 ss.227ZA, 227B: 10,000 once income was drawn flexibly. What is paid in the tax year of the first income,
    which is drawn on its last day, is not tested."""
    two_years = paid_in(10_001, payer="employer", last=date(2028, 4, 5))
    years = plan(saving(contributions=(two_years,)), goal=goal, end="2029-04-05").years
    assert years[0].people[0].record.taxable == 0
    assert years[1].people[0].record.taxable > 0 or goal in (MOST_AFTER_TAX, MOST_TO_BENEFICIARIES)
    found = reasons(plan(saving(contributions=(two_years,)), goal=goal, end="2029-04-05"))
    assert found[0][0][0].code == "waits_for_contributions"
    assert found[0][0][0].detail == (
        "No income is drawn before 5 April 2028, because contributions of that tax year are above £10,000. That is all that "
        "could be paid in without a charge once income is drawn."
    )
    within = paid_in(10_000, payer="employer")
    assert plan(saving(contributions=(within,))).years[0].people[0].record.taxable > 0


def test_a_lump_sum_by_itself_does_not_wait_for_contributions() -> None:
    """Finance Act 2004 s.227G: a pension commencement lump sum is no flexible access."""
    goes_on = paid_in(20_000, payer="employer")
    years = plan(saving(contributions=(goes_on,)), lump_sums="all_now", end="2028-04-05").years
    assert [year.people[0].lump_sum for year in years] == [(40_000_000 + 2_000_000) // 4, 0]
    assert [year.people[0].record.taxable for year in years] == [0, 1_257_000]


def test_a_plans_own_withdrawals_that_taper_the_annual_allowance_are_told() -> None:
    """Finance Act 2004 s.228ZA: above 260,000 of adjusted income, the employer's 10,000 included, 60,000 falls by a pound for
    every two. 200,000 of pay; spending takes so much more from the pension that income is above that."""
    works = (DatedIncome("employment", 20_000_000),)
    payers = (paid_in(10_000, payer="employer"),)
    told = {}
    for spending in (11_000_000, 18_000_000):
        result = plan(
            saving(
                pension=Pension(90_000_000), pensions=(PensionHeld(90_000_000),), income=works, contributions=payers
            ),
            spending=(Spending(spending),),
        )
        record = result.years[0].people[0].record
        found = {warning.code: warning for warning in schedule_warnings(result)}
        adjusted = 20_000_000 + 1_000_000 + record.taxable
        told[spending] = "annual_allowance_tapered" in found
        assert told[spending] == (adjusted > 26_000_000 + 100)
    assert list(told.values()) == [False, True]
    after = 60_000 - (adjusted - 26_000_000) // 200
    told_of_it = found["annual_allowance_tapered"].detail
    assert f"from £60,000 to £{after:,}. Contributions of £10,000 are planned. These are still within it." in told_of_it


def test_contributions_by_net_pay_count_in_adjusted_income() -> None:
    """Finance Act 2004 s.228ZA(4), from memory: income is after them, and they are added back. 270,000 of income and 45,000 paid
    in leave 60,000 less 27,500, and 36,000 leaves 37,000; 45,000 by relief at source leaves 60,000 less 5,000."""
    works = (DatedIncome("employment", 27_000_000),)

    def pays(pounds: int, relief: str) -> Schedule:
        young = saving(date_of_birth=date(1985, 1, 1), income=works, contributions=(paid_in(pounds, relief=relief),))
        return plan(young, spending=(Spending(1_000_000),))

    assert pays(36_000, "net_pay").years
    with pytest.raises(RuleViolation) as refused:
        pays(45_000, "net_pay")
    assert "£32,500" in refused.value.faults[0].detail
    assert pays(45_000, "relief_at_source").years


def test_spending_that_waits_for_contributions_says_so() -> None:
    goes_on = paid_in(20_000, payer="employer")
    with pytest.raises(RuleViolation) as refused:
        plan(saving(contributions=(goes_on,)), spending=(Spending(1_000_000),), end="2028-04-05")
    assert "The pension is not drawn before 5 April 2028, because contributions" in refused.value.faults[0].detail


def test_contributions_above_an_annual_allowance_are_refused() -> None:
    """Finance Act 2004 ss.227ZA-228ZA: 60,000; once income was drawn flexibly, 10,000; above 260,000 of adjusted income a pound
    less for every two."""
    where = [(("household", "people", 0, "contributions"), "contributions-above-allowance")]
    assert faults(saving(contributions=(paid_in(60_001, payer="employer"),))) == where
    plan(saving(contributions=(paid_in(60_000, payer="employer"),)))
    carries = saving(contributions=(paid_in(60_001, payer="employer"),), carry_forward=100)
    plan(carries)
    assert faults(carries, end="2028-04-05") == where
    drew = saving(
        pension=Pension(1_000_000, flexibly_accessed=True), contributions=(paid_in(10_001, payer="employer"),)
    )
    assert faults(drew) == where
    paid_much = (DatedIncome("employment", 26_000_000),)
    assert faults(saving(income=paid_much, contributions=(paid_in(40_001, payer="employer"),))) == where
    plan(saving(income=paid_much, contributions=(paid_in(40_000, payer="employer"),)))


def test_spending_that_a_cap_and_a_minimum_stand_in_the_way_of_says_so() -> None:
    with pytest.raises(RuleViolation) as refused:
        plan(person(withdrawal_cap=1_200_000, cash=500_000), spending=(Spending(1_300_000),), minimum_cash=500_000)
    (fault,) = refused.value.faults
    assert (fault.path, fault.code) == (("household", "spending"), "spending-cannot-be-met")
    assert fault.detail == (
        "In 2026-27, the spending of £13,000 cannot be met beside £5,000 kept in cash and withdrawals of at most £12,000 a tax "
        "year. After all other cash, ISAs and permitted withdrawals, £1,000 is missing. A plan with this aim can meet £12,000 "
        "a year instead of £13,000."
    )


def test_lump_sums_first_or_not_at_all() -> None:
    """Finance Act 2004 Sch.29 paras 1-3: a quarter at once, the rest in drawdown; or no lump sum at all."""
    at_once = plan(person(), lump_sums="all_now", end="2028-04-05").years
    first, then = at_once[0].people[0], at_once[1].people[0]
    assert (first.record.tax_free, first.record.taxable) == (10_000_000, 1_257_000)
    assert (first.lump_sum, then.lump_sum) == (10_000_000, 0)
    # Gross, tax free, taxable, from uncrystallised funds, from drawdown funds: without the lump sum.
    assert tuple(first.withdrawal) == (1_257_000, 0, 1_257_000, 0, 1_257_000)
    assert tuple(then.withdrawal) == (1_257_000, 0, 1_257_000, 0, 1_257_000)
    none = plan(person(), lump_sums="never").years[0].people[0]
    assert none.lump_sum == 0
    assert tuple(none.withdrawal) == (1_257_000, 0, 1_257_000, 1_257_000, 0)


def test_the_first_flexible_access_limits_contributions_from_the_day_after() -> None:
    """Finance Act 2004 ss.227ZA-227G: a pension commencement lump sum does not, income from drawdown does, and what is paid
    in after it is tested against £10,000 (Finance (No. 2) Act 2023 ss.20-22). All money of a plan moves on the last day of
    the tax year."""
    young = person(date_of_birth=date(1985, 1, 1))
    at_once = plan(person(), young, lump_sums="all_now", end="2028-04-05").years
    first, then = (year.people[0].money_purchase_allowance for year in at_once)
    assert tuple(first) == (True, True, 1_000_000, date(2027, 4, 6), "2026-27")
    assert tuple(then) == (True, False, 1_000_000, None, None)
    assert all(
        tuple(year.people[1].money_purchase_allowance) == (False, False, 1_000_000, None, None) for year in at_once
    )
    before = person(pension=Pension(0, drawdown=40_000_000, flexibly_accessed=True))
    (only,) = plan(before).years
    assert tuple(only.people[0].money_purchase_allowance) == (True, False, 1_000_000, None, None)


# Beside the plan


def test_comparisons_are_the_plain_plans() -> None:
    result = plan(person(), goal="basic_rate_band", end="2030-04-05")
    names = [compared.plan for compared in result.comparisons]
    assert names == ["pension_left_until_state_pension_age", "personal_allowance_filled"]
    even, filled = (compared.projection for compared in result.comparisons)
    assert even is not None
    assert filled is not None
    # State Pension age is reached in the last tax year of the plan; from then on the pension would last to age 90.
    days = (birthday(BORN, 90) - date(2029, 4, 6)).days + 1
    assert [year.people[0].gross for year in even.years] == [0, 0, 0, 40_000_000 * 365 // days]
    assert [year.people[0].taxable for year in filled.years] == [1_257_000] * 4
    # What is left, drawn evenly over 20 years, is 12,486 pounds a year beyond its tax-free part: no tax on it.
    assert (filled.wealth, filled.income_tax) == (40_000_000, 0)


def test_a_comparison_that_cannot_be_is_told_and_not_refused() -> None:
    """55,000 drawn in one year bears 7,540 + 1,892 and leaves 45,568; over two years, 50,270 and 4,730, it leaves 47,460."""
    household = {"spending": (Spending(4_600_000, first=date(2027, 4, 6)),), "end": "2028-04-05"}
    old = person(date_of_birth=date(1970, 1, 1), pension=Pension(0, drawdown=5_500_000))
    result = plan(old, goal="basic_rate_band", **household)
    impossible = [compared for compared in result.comparisons if compared.projection is None]
    assert [compared.plan for compared in impossible] == ["pension_left_until_state_pension_age"]
    assert "2027-28" in impossible[0].reason
    assert "cannot be met" in impossible[0].reason


@pytest.mark.parametrize("goal", GOALS)
def test_a_scenario_is_the_plan_under_its_own_assumptions(goal: str) -> None:
    # Little enough for one search each, with its share of the work, to come to its end.
    saver = person(pension=Pension(15_000_000))
    assumed = Assumptions(pension_growth=300, price_inflation=200)
    low, high = replace(assumed, pension_growth=-200), replace(assumed, pension_growth=600)
    household: dict[str, Any] = {"end": "2029-04-05", "goal": goal}
    both = plan(saver, assumptions=assumed, scenarios={"low": low, "high": high}, **household)
    plain = plan(saver, assumptions=assumed, **household)
    assert both.totals == plain.totals
    assert [scenario.name for scenario in both.scenarios] == ["low", "high"]
    for scenario, each in zip(both.scenarios, (low, high), strict=True):
        assert scenario.projection is not None
        asked = plan(saver, assumptions=each, **household)
        assert scenario.projection.wealth == asked.totals.wealth_after_tax
        assert scenario.projection.income_tax == asked.totals.income_tax


def test_a_scenario_whose_spending_cannot_be_met_is_told_and_not_refused() -> None:
    assumed = Assumptions(isa_growth=1_000)
    young = person(date_of_birth=date(1985, 1, 1), isa=Isa(1_000_000))
    result = plan(
        young, spending=(Spending(1_040_000),), assumptions=assumed, scenarios={"low": replace(assumed, isa_growth=0)}
    )
    (low,) = result.scenarios
    assert low.projection is None
    assert "£400" in low.reason


# What cannot be


def faults(*people: Member, **household: Any) -> list[tuple[tuple[str | int, ...], str]]:
    with pytest.raises(RuleViolation) as refused:
        plan(*people, **household)
    assert all(fault.detail.endswith(".") for fault in refused.value.faults)
    return [(fault.path, fault.code) for fault in refused.value.faults]


def test_each_thing_that_cannot_be() -> None:
    assert faults(person(), end="2026-04-05") == [(("end_date",), "end-before-start")]
    assert faults(person(), start="2019-04-05") == [(("start_date",), "no-figures")]
    assert faults(person(), start="2031-04-06", end="2032-04-05") == [(("start_date",), "no-figures")]
    assert faults(person(), end="2086-04-06") == [(("end_date",), "plan-too-long")]
    unborn = person(date_of_birth=date(2026, 4, 7))
    assert faults(unborn) == [(("household", "people", 0, "date_of_birth"), "not-yet-born")]
    assert faults(person(), unborn) == [(("household", "people", 1, "date_of_birth"), "not-yet-born")]


def test_the_last_plan_that_can_be() -> None:
    """Sixty tax years, and a start on the first or the last day there are figures for."""
    assert len(plan(person(), end="2086-04-05").years) == 60
    assert plan(person(), start="2019-04-06", end="2019-04-06").years[0].period.days == 1
    assert plan(person(), start="2031-04-05", end="2031-04-06").years[1].period.name == "2031-32"
    assert plan(person(date_of_birth=date(2026, 4, 6)), end="2026-04-06").years[0].period.days == 1


@pytest.mark.parametrize(
    ("income", "where", "code"),
    [
        (DatedIncome("annuity", 1, first=date(2027, 1, 2), last=date(2027, 1, 1)), ("to",), "to-before-from"),
    ],
)
def test_incomes_that_cannot_be(income: DatedIncome, where: tuple[str, ...], code: str) -> None:
    fine = DatedIncome("annuity", 1, first=date(2027, 1, 1), last=date(2027, 1, 1))
    assert faults(person(), person(income=(fine, income))) == [(("household", "people", 1, "income", 1, *where), code)]


@pytest.mark.parametrize(
    ("born", "refused"),
    # Pensions Act 2014 s.1: women born before 6 April 1953 and men born before 6 April 1951 have the basic State Pension.
    [("1951-04-05", False), ("1951-04-06", True), ("1953-04-05", True), ("1953-04-06", False)],
)
def test_a_share_that_depends_on_sex(born: str, refused: bool) -> None:
    one = person(date_of_birth=date.fromisoformat(born), income=(DatedIncome("state_pension", share_of_full_rate=1),))
    if refused:
        assert faults(one) == [(("household", "people", 0, "income", 0, "share_of_full_rate"), "share-depends-on-sex")]
    else:
        assert plan(one).years


@pytest.mark.parametrize("name", ["lump_sum_allowance_used", "lump_sum_and_death_benefit_allowance_used"])
def test_an_allowance_that_began_on_6_april_2024(name: str) -> None:
    """Finance Act 2024 s.14 and Sch.9."""
    one = person(pension=Pension(100_000, **{name: 1}))
    assert faults(one, start="2024-04-05", end="2024-04-06") == [
        (("household", "people", 0, "lump_sum_allowances", name), "no-such-allowance-yet")
    ]
    assert plan(one, start="2024-04-06", end="2024-04-06").years


def test_everything_that_cannot_be_at_once() -> None:
    wrong = DatedIncome("annuity", 1, first=date(2020, 2, 1), last=date(2020, 1, 1))
    one = person(date_of_birth=date(2020, 1, 2), income=(wrong,), pension=Pension(1, lump_sum_allowance_used=1))
    spending = (Spending(1, first=date(2020, 2, 1), last=date(2020, 1, 1)),)
    assert faults(one, start="2020-01-01", end="2019-12-31", spending=spending) == [
        (("end_date",), "end-before-start"),
        (("household", "people", 0, "date_of_birth"), "not-yet-born"),
        (("household", "people", 0, "income", 0, "to"), "to-before-from"),
        (("household", "people", 0, "lump_sum_allowances", "lump_sum_allowance_used"), "no-such-allowance-yet"),
        (("household", "spending", 0, "to"), "to-before-from"),
    ]
