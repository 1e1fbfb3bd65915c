"""What a beneficiary keeps of pension money, by the member's age at death, the form, the time and the allowance left.

ITEPA 2003 ss.567B, 637H-637M; Finance Act 2004 s.206. Amounts are pence; worked by hand beside the check, because no
published example with numbers was found. Partly from memory: that drawdown is not tested against the allowance (PTM072430), and
what ran before 6 April 2024. The words of s.637T as changed for 2027, and of the special charge beside s.567B, were not read.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law.death_benefits import FORMS, DeathBenefit, DeathBenefitRules, Received, received
from service.law.inheritance_tax import Estate, estate_tax
from service.law.lump_sums import Allowances, Pension, available
from tests.households import BOOK, YEARS, amounts

WITH_ALLOWANCE = tuple(year for year in YEARS if year >= "2024-25")
BEFORE = tuple(year for year in YEARS if year < "2024-25")
POUND = 100
PLENTY = Pension(0)


def rules_of(tax_year: str) -> DeathBenefitRules:
    return BOOK.years[tax_year].death_benefits


def left_of(tax_year: str, pension: Pension = PLENTY) -> Allowances:
    return available(pension, BOOK.years[tax_year].lump_sums)


def kept(benefit: DeathBenefit, rate: int, tax_year: str = "2027-28", pension: Pension = PLENTY) -> Received:
    return received(benefit, rate, rules_of(tax_year), left_of(tax_year, pension))


@pytest.mark.parametrize("form", FORMS)
def test_both_taxes_on_100_000(form: str) -> None:
    """40% inheritance tax, then 40% of the 60,000 left (s.567B): 36,000 of 100,000."""
    benefit = DeathBenefit(10_000_000, form, 75, True, inheritance_tax=4_000_000)
    assert kept(benefit, 4_000) == Received(
        amount=10_000_000,
        inheritance_tax=4_000_000,
        tax_free=0,
        taxable=6_000_000,
        rate=4_000,
        income_tax=2_400_000,
        net=3_600_000,
        allowance_used=0,
    )


@pytest.mark.parametrize(
    # The member's age at death, within two years, and whether the money is free of income tax (ss.637H-637M).
    ("age", "within_two_years", "free"),
    [(74, True, True), (74, False, False), (75, True, False), (75, False, False), (90, True, False), (55, True, True)],
)
@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("tax_year", YEARS)
def test_age_and_time_decide(tax_year: str, form: str, age: int, within_two_years: bool, free: bool) -> None:
    """Within the allowance this holds in every year from 2019-20 (ss.637H-637M; before, s.646B and Sch.2 para 25)."""
    # Before 2024-25 read for uncrystallised money only; lump sums of drawdown money from memory.
    found = kept(DeathBenefit(50_000_000, form, age, within_two_years), 2_000, tax_year)
    assert (found.tax_free, found.taxable) == ((50_000_000, 0) if free else (0, 50_000_000))
    assert found.net == (50_000_000 if free else 40_000_000)


@pytest.mark.parametrize(
    # 300,000 bear 120,000; 100,000 of them were in drawdown, of which a third of the 180,000 is left. In pounds.
    ("form", "in_drawdown", "inheritance_tax", "age", "free"),
    [
        ("drawdown", 300_000, 0, 74, 300_000),
        ("drawdown", 100_000, 0, 74, 100_000),
        ("drawdown", 100_000, 120_000, 74, 60_000),
        ("drawdown", 0, 0, 74, 0),
        ("drawdown", 300_000, 0, 75, 0),
        ("lump_sum", 300_000, 0, 74, 0),
    ],
)
def test_drawdown_from_drawdown_funds_has_no_two_years(
    form: str, in_drawdown: int, inheritance_tax: int, age: int, free: int
) -> None:
    # Taxation of Pensions Act 2014 Sch.2 para 25, ITEPA 2003 s.646B(1)(d) as made, "using unused uncrystallised funds", was read;
    # that the sections which replaced it on 6 April 2024 keep it, and GOV.UK on inherited pensions, are from memory.
    found = kept(
        DeathBenefit(
            30_000_000,
            form,
            age,
            False,
            inheritance_tax=inheritance_tax * 100,
            already_in_drawdown=in_drawdown * 100,
        ),
        2_000,
    )
    assert found.tax_free == free * 100
    assert found.taxable == 30_000_000 - (inheritance_tax + free) * 100


@pytest.mark.parametrize("tax_year", WITH_ALLOWANCE)
def test_lump_sum_over_the_allowance_is_income(tax_year: str) -> None:
    """1,200,000 against 1,073,100: 126,900 over, 45% of it 57,105."""
    found = kept(DeathBenefit(120_000_000, "lump_sum", 70, True), 4_500, tax_year)
    assert (found.tax_free, found.taxable) == (107_310_000, 12_690_000)
    assert found.income_tax == 5_710_500
    assert found.net == 114_289_500
    assert found.allowance_used == 107_310_000


@pytest.mark.parametrize("tax_year", WITH_ALLOWANCE)
def test_drawdown_is_not_tested(tax_year: str) -> None:
    # Taxation of Pensions Act 2014 Sch.2 Part 4 read: no test of the allowance. HMRC PTM072430 and s.637S from a list.
    found = kept(DeathBenefit(120_000_000, "drawdown", 70, True), 4_500, tax_year)
    assert (found.tax_free, found.taxable, found.allowance_used) == (120_000_000, 0, 0)


def test_inheritance_tax_comes_off_before_the_allowance() -> None:
    """1,200,000 less 300,000 is within 1,073,100 (a reading of s.637T)."""
    # The words of s.637T as Finance Act 2026 changes it were not read.
    found = kept(DeathBenefit(120_000_000, "lump_sum", 70, True, inheritance_tax=30_000_000), 4_500)
    assert (found.tax_free, found.taxable, found.net) == (90_000_000, 0, 90_000_000)
    assert found.allowance_used == 90_000_000


def test_lump_sums_taken_in_life_leave_less() -> None:
    """268,275 of lump sums leave 804,825 of 1,073,100 (ss.637R, 637S)."""
    pension = Pension(0, lump_sum_allowance_used=26_827_500)
    found = kept(DeathBenefit(100_000_000, "lump_sum", 70, True), 2_000, pension=pension)
    assert (found.tax_free, found.taxable) == (80_482_500, 19_517_500)


def test_nothing_left_once_the_whole_lifetime_allowance_was_used() -> None:
    pension = Pension(0, lifetime_allowance_used=10_000)
    found = kept(DeathBenefit(1_000_000, "lump_sum", 70, True), 2_000, pension=pension)
    assert (found.tax_free, found.income_tax) == (0, 200_000)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("tax_year", BEFORE)
def test_over_the_lifetime_allowance_is_refused(tax_year: str, form: str) -> None:
    """How it was taxed hung on whether it had been crystallised, which is not an input."""
    limit = left_of(tax_year).lifetime_allowance
    assert limit is not None
    assert kept(DeathBenefit(limit, form, 70, True), 2_000, tax_year).tax_free == limit
    with pytest.raises(ValueError, match="before 6 April 2024, are not computed"):
        kept(DeathBenefit(limit + 1, form, 70, True), 2_000, tax_year)


@pytest.mark.parametrize(
    # A pension of 300,000 alone, the nil-rate band used up by gifts. Inheritance tax at 40% is 120,000; income tax is on
    # 180,000 (ITEPA 2003 s.567B), so that both take 52%, 64% and 67%. By hand, in pounds.
    ("rate", "income_tax", "net"),
    [(2_000, 36_000, 144_000), (4_000, 72_000, 108_000), (4_500, 81_000, 99_000)],
)
@pytest.mark.parametrize("form", FORMS)
def test_income_tax_is_on_what_inheritance_tax_leaves(form: str, rate: int, income_tax: int, net: int) -> None:
    estate = Estate(pension=30_000_000, lifetime_gifts=32_500_000)
    inheritance_tax = estate_tax(estate, BOOK.years["2027-28"].inheritance_tax).tax_on_pension
    assert inheritance_tax == 12_000_000
    found = kept(DeathBenefit(30_000_000, form, 75, True, inheritance_tax=inheritance_tax), rate)
    assert (found.income_tax, found.net) == (income_tax * 100, net * 100)


@pytest.mark.parametrize("tax_year", YEARS)
def test_special_charge(tax_year: str) -> None:
    """45% on what is taxable (s.206), whatever the rate given; nothing on what is tax free."""
    # HMRC PTM073010. Whether inheritance tax comes off first was not read: the end of Finance Act 2026 s.70.
    taxed = DeathBenefit(10_000_001, "lump_sum", 80, True, qualifying=False)
    assert kept(taxed, 2_000, tax_year).income_tax == 4_500_000  # 45% is 45,000.0045
    assert kept(taxed, 2_000, tax_year).rate == 4_500
    assert kept(replace(taxed, member_age=70), 2_000, tax_year).net == 10_000_001


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ((1, "annuity", 70, True), "form must be one of lump_sum, drawdown"),
        ((-1, "lump_sum", 70, True), "must not be negative"),
        ((1, "lump_sum", -1, True), "must not be negative"),
        ((1, "lump_sum", 70, True, -1), "must not be negative"),
        ((1, "lump_sum", 70, True, 2), "more than the amount"),
        ((1, "drawdown", 70, True, 0, False), "only receive a lump sum"),
        ((1, "drawdown", 70, True, 0, True, -1), "must not be negative"),
        ((1, "drawdown", 70, True, 0, True, 2), "more was in drawdown"),
    ],
)
def test_a_benefit_that_cannot_be(parts: tuple[Any, ...], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        DeathBenefit(*parts)


@st.composite
def benefits(draw: Any) -> DeathBenefit:
    amount = draw(amounts(2_000_000))
    form = draw(st.sampled_from(FORMS))
    return DeathBenefit(
        amount=amount,
        form=form,
        member_age=draw(st.integers(50, 100)),
        within_two_years=draw(st.booleans()),
        inheritance_tax=draw(st.integers(0, 40)) * amount // 100,
        qualifying=form == "drawdown" or draw(st.booleans()),
        already_in_drawdown=draw(st.integers(0, 100)) * amount // 100,
    )


rates = st.integers(0, 4_800)


@given(benefits(), rates, st.sampled_from(WITH_ALLOWANCE))
@settings(deadline=None)
def test_the_parts_add_up(benefit: DeathBenefit, rate: int, tax_year: str) -> None:
    found = kept(benefit, rate, tax_year)
    assert found.amount == found.inheritance_tax + found.tax_free + found.taxable
    assert found.net == found.amount - found.inheritance_tax - found.income_tax
    assert 0 <= found.income_tax <= found.taxable
    assert found.tax_free >= 0


@given(benefits(), rates, st.sampled_from(WITH_ALLOWANCE), amounts(100_000))
@settings(deadline=None)
def test_more_money_is_never_less_kept(benefit: DeathBenefit, rate: int, tax_year: str, more: int) -> None:
    larger = replace(benefit, amount=benefit.amount + more)
    assert kept(larger, rate, tax_year).net >= kept(benefit, rate, tax_year).net


@given(amounts(2_000_000), amounts(2_000_000), rates)
@settings(deadline=None)
def test_two_lump_sums_share_one_allowance(first: int, second: int, rate: int) -> None:
    """Paid one after the other, with what the first leaves of the allowance, they are tax free as one would be."""
    left = left_of("2027-28")
    assert left.lump_sum_and_death_benefit_allowance is not None
    rules = rules_of("2027-28")
    one = received(DeathBenefit(first, "lump_sum", 70, True), rate, rules, left)
    rest = left._replace(
        lump_sum_and_death_benefit_allowance=left.lump_sum_and_death_benefit_allowance - one.allowance_used
    )
    two = received(DeathBenefit(second, "lump_sum", 70, True), rate, rules, rest)
    both = received(DeathBenefit(first + second, "lump_sum", 70, True), rate, rules, left)
    assert one.tax_free + two.tax_free == both.tax_free
