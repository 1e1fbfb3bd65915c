"""Lump sums by the statute: the quarter, the allowances that limit it, what earlier benefits leave, and the three regimes.

Finance Act 2004 Sch.29 and s.215; ITEPA 2003 ss.637A-637S; F(No.2)A 2023 ss.18-19; Finance Act 2024 Sch.9. Amounts are
pence; those that follow from the sections are worked by hand beside the check.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law.lump_sums import (
    METHODS,
    Allowances,
    LumpSumRules,
    Payment,
    Pension,
    at_age,
    available,
    most_permitted,
    pension_after,
    percentage_used,
    protected_lump_sum,
    take,
    takes_protected_lump_sum,
    then,
    uses_allowances,
)
from tests.households import BOOK, YEARS, amounts, years

CHARGED = tuple(year for year in YEARS if year <= "2022-23")
WITH_LUMP_SUM_ALLOWANCE = tuple(year for year in YEARS if year >= "2024-25")
PLENTY = 300_000_000


def rules_of(tax_year: str) -> LumpSumRules:
    return BOOK.years[tax_year].lump_sums


def left_of(tax_year: str, pension: Pension) -> Allowances:
    return available(pension, rules_of(tax_year))


def taken(tax_year: str, method: str, gross: int, pension: Pension) -> Payment:
    return take(method, gross, pension, rules_of(tax_year), left_of(tax_year, pension))


def most_of(tax_year: str, method: str, pension: Pension) -> int:
    return most_permitted(method, pension, rules_of(tax_year), left_of(tax_year, pension))


def test_three_regimes_follow_one_another() -> None:
    """The charge to 2022-23, none in 2023-24 (F(No.2)A 2023 s.18), two allowances from 6 April 2024 (FA 2024 s.14)."""
    assert {tax_year: rules_of(tax_year).regime for tax_year in YEARS} == {
        tax_year: (
            "lifetime_allowance_charge"
            if tax_year <= "2022-23"
            else "lifetime_allowance_no_charge"
            if tax_year == "2023-24"
            else "lump_sum_allowance"
        )
        for tax_year in YEARS
    }


# The lump sum allowance and the lump sum and death benefit allowance, from 2024-25


@pytest.mark.parametrize("tax_year", WITH_LUMP_SUM_ALLOWANCE)
@pytest.mark.parametrize(
    ("hundredths", "lump_sum", "death_benefit"),
    [
        (0, 26_827_500, 107_310_000),
        (1, 26_824_817, 107_307_317),  # 0.01% is 107.31, a quarter 26.8275, to the nearest penny
        (4_000, 16_096_500, 96_579_000),  # 40% is 429,240, a quarter 107,310
        (9_999, 2_683, 80_485_183),  # 99.99% is 1,072,992.69, a quarter 268,248.1725
        (10_000, 0, 0),  # all of it: nothing is left of the second either (Sch.9 para 128)
        (13_512, 0, 0),
    ],
)
def test_a_quarter_of_the_lifetime_allowance_used_comes_off(
    tax_year: str, hundredths: int, lump_sum: int, death_benefit: int
) -> None:
    """FA 2024 Sch.9 paras 125-129; HMRC Pensions Tax Manual PTM174100 for the formula."""
    left = left_of(tax_year, Pension(PLENTY, lifetime_allowance_used=hundredths))
    assert (left.lump_sum_allowance, left.lump_sum_and_death_benefit_allowance) == (lump_sum, death_benefit)
    assert left.lifetime_allowance is None


@pytest.mark.parametrize(
    ("pension", "lump_sum", "death_benefit"),
    [
        # Tax-free sums since 6 April 2024 come off both (ITEPA ss.637Q, 637S).
        (Pension(PLENTY, lump_sum_allowance_used=10_000_000), 16_827_500, 97_310_000),
        # More may have gone of the second, by a serious ill-health lump sum.
        (
            Pension(
                PLENTY,
                lump_sum_allowance_used=10_000_000,
                lump_sum_and_death_benefit_allowance_used=40_000_000,
            ),
            16_827_500,
            67_310_000,
        ),
        (
            Pension(PLENTY, lump_sum_and_death_benefit_allowance_used=107_000_000),
            26_827_500,
            310_000,
        ),
        # Both before and since: 268,275 - 107,310 - 100,000.
        (Pension(PLENTY, lump_sum_allowance_used=10_000_000, lifetime_allowance_used=4_000), 6_096_500, 86_579_000),
        # Never below nothing.
        (Pension(PLENTY, lump_sum_allowance_used=30_000_000), 0, 77_310_000),
        # Fixed protection 2014: 375,000 and 1,500,000. Half of 1,500,000 used: a quarter of 750,000 is 187,500.
        (
            Pension(PLENTY, protected_lump_sum_allowance=37_500_000, lifetime_allowance_used=5_000),
            18_750_000,
            131_250_000,
        ),
        # An allowance below the standard one protects nothing, of either.
        (Pension(PLENTY, protected_lump_sum_allowance=20_000_000), 26_827_500, 107_310_000),
        (Pension(PLENTY, protected_lump_sum_and_death_benefit_allowance=50_000_000), 26_827_500, 107_310_000),
        (Pension(PLENTY, protected_lump_sum_and_death_benefit_allowance=107_310_001), 26_827_500, 107_310_001),
        (
            Pension(PLENTY, protected_lump_sum_allowance=20_000_000, lifetime_allowance_used=4_000),
            16_096_500,
            96_579_000,
        ),
        # Primary protection: the second allowance is its own figure.
        (
            Pension(
                PLENTY,
                protected_lump_sum_allowance=37_500_000,
                protected_lump_sum_and_death_benefit_allowance=210_000_000,
            ),
            37_500_000,
            210_000_000,
        ),
        # The whole of a protected lifetime allowance used leaves nothing of either; a little less leaves something.
        (Pension(PLENTY, protected_lump_sum_allowance=31_250_000, lifetime_allowance_used=10_000), 0, 0),
        (
            Pension(PLENTY, protected_lump_sum_allowance=31_250_000, lifetime_allowance_used=9_999),
            3_125,
            93_753_125,
        ),
    ],
)
def test_what_is_left_of_the_two_allowances(pension: Pension, lump_sum: int, death_benefit: int) -> None:
    for tax_year in WITH_LUMP_SUM_ALLOWANCE:
        left = left_of(tax_year, pension)
        assert (left.lump_sum_allowance, left.lump_sum_and_death_benefit_allowance) == (lump_sum, death_benefit)
        assert left.tax_free == min(lump_sum, death_benefit)


def test_the_smaller_of_the_two_allowances_limits_the_tax_free_part() -> None:
    """ITEPA s.637D and FA 2004 Sch.29 paras 2, 4A: the lower of what is left of the two."""
    pension = Pension(40_000_000, lump_sum_and_death_benefit_allowance_used=107_000_000)
    assert taken("2026-27", "ufpls", 40_000_000, pension) == Payment(
        40_000_000, 310_000, 39_690_000, crystallised=40_000_000, from_uncrystallised=40_000_000
    )
    assert most_of("2026-27", "pcls", pension) == 310_000


@pytest.mark.parametrize("tax_year", WITH_LUMP_SUM_ALLOWANCE)
@pytest.mark.parametrize("used", [26_827_500, 30_000_000])
def test_a_ufpls_without_allowance_is_all_taxable(tax_year: str, used: int) -> None:
    """FA 2004 Sch.29 para 4A as it is since 6 April 2024: what the allowances do not cover is taxed, be it all."""
    pension = Pension(10_000_000, lump_sum_allowance_used=used)
    payment = taken(tax_year, "ufpls", 4_000_000, pension)
    assert (payment.tax_free, payment.taxable, payment.excess) == (0, 4_000_000, 0)
    # A pound of allowance and a pound of the payment are tax free again.
    some = Pension(10_000_000, lump_sum_allowance_used=26_827_400)
    assert taken(tax_year, "ufpls", 4_000_000, some).tax_free == 100


# The lump sum itself


@pytest.mark.parametrize(
    ("pension", "most"),
    [
        (Pension(40_000_000), 10_000_000),  # a quarter of the funds
        (Pension(40_000_003), 10_000_000),  # down to the penny
        (Pension(40_000_000, drawdown=50_000_000), 10_000_000),  # crystallised funds have had theirs
        (Pension(107_310_000), 26_827_500),  # exactly the allowance
        (Pension(PLENTY), 26_827_500),  # the allowance
        (Pension(PLENTY, protected_lump_sum_allowance=37_500_000), 37_500_000),
        (Pension(PLENTY, lump_sum_allowance_used=26_000_000), 827_500),
        (Pension(PLENTY, lump_sum_allowance_used=26_827_500), 0),
        (Pension(0), 0),
    ],
)
def test_the_most_a_lump_sum_may_be(pension: Pension, most: int) -> None:
    """FA 2004 Sch.29 paras 1-3: the lowest of the applicable amount and what is left of each allowance."""
    for tax_year in WITH_LUMP_SUM_ALLOWANCE:
        assert most_of(tax_year, "pcls", pension) == most


def test_three_times_the_lump_sum_goes_to_drawdown() -> None:
    """FA 2004 Sch.29 para 2A: the lump sum is a third of what is designated."""
    pension = Pension(40_000_000, drawdown=1_000)
    payment = taken("2026-27", "pcls", 6_000_000, pension)
    assert payment == Payment(
        6_000_000, 6_000_000, 0, crystallised=24_000_000, designated=18_000_000, from_uncrystallised=24_000_000
    )
    assert pension_after(pension, payment) == (16_000_000, 18_001_000)


@pytest.mark.parametrize(
    ("method", "pension", "most"),
    [
        ("drawdown", Pension(5_000, drawdown=7_000), 7_000),
        ("ufpls", Pension(5_000, drawdown=7_000), 5_000),
        ("pcls_and_drawdown", Pension(5_000, drawdown=7_000), 5_000),
        ("small_pot", Pension(5_000, drawdown=7_000), 12_000),
        ("small_pot", Pension(600_000, drawdown=399_999), 999_999),
        ("small_pot", Pension(600_000, drawdown=400_001), 1_000_000),  # SI 2009/1171 reg.11: 10,000
    ],
)
def test_the_most_the_other_methods_may_pay(method: str, pension: Pension, most: int) -> None:
    for tax_year in YEARS:
        assert most_of(tax_year, method, pension) == most


@pytest.mark.parametrize(
    ("pension", "tax_free", "funds"),
    [
        (Pension(1_000_000), 250_000, (1_000_000, 0)),
        (Pension(400_000, drawdown=600_000), 100_000, (400_000, 600_000)),  # only uncrystallised funds have a quarter
        (Pension(0, drawdown=1_000_000), 0, (0, 1_000_000)),
        (Pension(1_000_000, lump_sum_allowance_used=26_827_500), 250_000, (1_000_000, 0)),
        (Pension(1_000_000, lifetime_allowance_used=10_000), 250_000, (1_000_000, 0)),
    ],
)
def test_a_small_pot_needs_and_uses_no_allowance(pension: Pension, tax_free: int, funds: tuple[int, int]) -> None:
    """ITEPA s.637G; small lump sums are not in ss.637Q and 637S."""
    payment = taken("2026-27", "small_pot", 1_000_000, pension)
    assert (payment.tax_free, payment.taxable) == (tax_free, 1_000_000 - tax_free)
    assert (payment.from_uncrystallised, payment.from_drawdown) == funds
    assert payment.crystallised == 0
    assert [method for method in METHODS if not uses_allowances(method)] == ["small_pot"]


# The lifetime allowance, to 2023-24


@pytest.mark.parametrize("tax_year", CHARGED)
def test_an_excess_paid_out_bears_55_per_cent_and_no_income_tax(tax_year: str) -> None:
    """FA 2004 s.215(2); ITEPA s.636A(4). A tenth of 1,073,100 is left, or of 1,055,000 in 2019-20; 200,000 is taken."""
    left = 10_550_000 if tax_year == "2019-20" else 10_731_000
    payment = taken(tax_year, "ufpls", 20_000_000, Pension(20_000_000, lifetime_allowance_used=9_000))
    assert payment.over_lifetime_allowance == payment.excess == 20_000_000 - left
    assert payment.charge == (20_000_000 - left) * 55 // 100
    assert payment.charge_rate == 5_500
    assert payment.tax_free == left // 4  # no more than a quarter of the allowance left is tax free
    assert payment.taxable == left - left // 4


@pytest.mark.parametrize("tax_year", CHARGED)
def test_an_excess_kept_for_income_bears_25_per_cent(tax_year: str) -> None:
    """FA 2004 s.215(2): the charge is paid from the fund and what remains of it is drawn and taxed as income."""
    left = 10_550_000 if tax_year == "2019-20" else 10_731_000
    payment = taken(tax_year, "pcls_and_drawdown", 20_000_000, Pension(20_000_000, lifetime_allowance_used=9_000))
    over = 20_000_000 - left
    assert payment.over_lifetime_allowance == over
    assert payment.charge == payment.excess == over // 4
    assert payment.charge_rate == 2_500
    assert payment.tax_free == left // 4
    assert payment.taxable == left - left // 4 + over - over // 4


@pytest.mark.parametrize("method", ["ufpls", "pcls_and_drawdown"])
@pytest.mark.parametrize("tax_year", CHARGED)
def test_a_penny_decides_about_the_charge(tax_year: str, method: str) -> None:
    left = 10_550_000 if tax_year == "2019-20" else 10_731_000
    pension = Pension(20_000_000, lifetime_allowance_used=9_000)
    exactly = taken(tax_year, method, left, pension)
    assert (exactly.over_lifetime_allowance, exactly.charge, exactly.excess) == (0, 0, 0)
    more = taken(tax_year, method, left + 100, pension)
    assert (more.over_lifetime_allowance, more.charge) == (100, 55 if method == "ufpls" else 25)


@pytest.mark.parametrize("method", ["ufpls", "pcls_and_drawdown"])
def test_no_charge_in_2023_24(method: str) -> None:
    """F(No.2)A 2023 ss.18-19: what is over the lifetime allowance is taxed as pension income and bears no charge."""
    payment = taken("2023-24", method, 20_000_000, Pension(20_000_000, lifetime_allowance_used=9_000))
    assert payment.over_lifetime_allowance == 20_000_000 - 10_731_000
    assert (payment.charge, payment.excess) == (0, 0)
    assert payment.tax_free == 10_731_000 // 4
    assert payment.taxable == 20_000_000 - 10_731_000 // 4


@pytest.mark.parametrize("method", ["ufpls", "pcls_and_drawdown"])
@pytest.mark.parametrize("tax_year", [year for year in YEARS if year <= "2023-24"])
def test_nothing_is_tax_free_once_the_lifetime_allowance_is_gone(tax_year: str, method: str) -> None:
    for used in (10_000, 13_512):
        pension = Pension(20_000_000, lifetime_allowance_used=used)
        payment = taken(tax_year, method, 20_000_000, pension)
        assert payment.tax_free == 0
        assert payment.over_lifetime_allowance == 20_000_000
        assert most_of(tax_year, "pcls", pension) == 0


def test_the_cap_on_the_lump_sum_in_2023_24() -> None:
    """F(No.2)A 2023 s.19: 268,275, a quarter of the lifetime allowance; a protected sum may be more."""
    assert most_of("2023-24", "pcls", Pension(PLENTY)) == 26_827_500
    assert most_of("2023-24", "pcls", Pension(PLENTY, protected_lump_sum_allowance=37_500_000)) == 37_500_000
    assert most_of("2019-20", "pcls", Pension(PLENTY)) == 26_375_000  # a quarter of 1,055,000


@pytest.mark.parametrize("tax_year", YEARS)
def test_income_from_drawdown_is_outside_it_all(tax_year: str) -> None:
    pension = Pension(5_000_000, drawdown=PLENTY, lifetime_allowance_used=10_000)
    assert taken(tax_year, "drawdown", PLENTY, pension) == Payment(PLENTY, 0, PLENTY, from_drawdown=PLENTY)


# Whatever is taken


@st.composite
def pensions(draw: Any) -> Pension:
    return Pension(
        uncrystallised=draw(amounts(1_600_000)),
        drawdown=draw(amounts(50_000)),
        lump_sum_allowance_used=draw(st.one_of(st.just(0), amounts(300_000))),
        lump_sum_and_death_benefit_allowance_used=draw(st.one_of(st.none(), amounts(1_200_000))),
        lifetime_allowance_used=draw(st.one_of(st.just(0), st.integers(0, 10_100))),
        protected_lump_sum_allowance=draw(st.one_of(st.none(), st.sampled_from((31_250_000, 37_500_000, 45_000_000)))),
    )


@settings(max_examples=250, deadline=None)
@given(years, pensions(), st.sampled_from(METHODS), st.data())
def test_a_payment_and_its_parts(tax_year: str, pension: Pension, method: str, data: st.DataObject) -> None:
    most, left = most_of(tax_year, method, pension), left_of(tax_year, pension)
    gross = data.draw(st.one_of(st.just(most), st.integers(0, most)))
    payment = taken(tax_year, method, gross, pension)
    assert gross == payment.gross == payment.tax_free + payment.taxable + payment.excess
    assert min(payment.tax_free, payment.taxable, payment.excess, payment.charge, payment.designated) >= 0
    uncrystallised, drawdown = pension_after(pension, payment)
    assert min(uncrystallised, drawdown) >= 0
    assert pension.uncrystallised + pension.drawdown == uncrystallised + drawdown + gross
    if uses_allowances(method):
        assert payment.tax_free <= left.tax_free
    # Every penny more divides into parts none of which is smaller for it.
    if gross:
        less = taken(tax_year, method, gross - 1, pension)
        for part in ("tax_free", "taxable", "excess", "charge", "crystallised", "over_lifetime_allowance"):
            assert getattr(less, part) <= getattr(payment, part)
    if tax_year > "2022-23":
        assert payment.charge == payment.excess == 0


@settings(max_examples=150, deadline=None)
@given(years, pensions(), st.integers(1, 500))
def test_more_used_never_leaves_more(tax_year: str, pension: Pension, more: int) -> None:
    left = left_of(tax_year, pension)
    after = left_of(tax_year, pension._replace(lifetime_allowance_used=pension.lifetime_allowance_used + more))
    assert after.tax_free <= left.tax_free
    assert after.tax_free >= 0
    if left.lump_sum_and_death_benefit_allowance is not None:
        assert after.lump_sum_and_death_benefit_allowance is not None
        assert after.lump_sum_and_death_benefit_allowance <= left.lump_sum_and_death_benefit_allowance


def test_percentages_are_dropped_to_two_decimals() -> None:
    """HMRC RPSM12306030: 25.558% is stated as 25.55%."""
    assert percentage_used(25_558_000, 100_000_000) == 2_555
    assert percentage_used(107_310_000, 107_310_000) == 10_000
    assert percentage_used(107_309_999, 107_310_000) == 9_999


# From the 75th birthday, to 2023-24


@pytest.mark.parametrize(
    ("tax_year", "method", "pension", "gross", "tax_free"),
    [
        # 100% used: nothing tax free, and nothing charged.
        ("2021-22", "pcls_and_drawdown", Pension(20_000_000, lifetime_allowance_used=10_000), 5_000_000, 0),
        # 30% of 1,073,100 is 321,930; a quarter of that is 80,482.50, and 319,517.50 of 400,000 is taxed.
        ("2021-22", "ufpls", Pension(100_000_000, lifetime_allowance_used=7_000), 40_000_000, 8_048_250),
        ("2023-24", "ufpls", Pension(100_000_000, lifetime_allowance_used=7_000), 40_000_000, 8_048_250),
    ],
)
def test_nothing_is_charged_from_75(tax_year: str, method: str, pension: Pension, gross: int, tax_free: int) -> None:
    """HMRC PTM088650: "The only BCE that can be triggered after an individual's 75th birthday is where a scheme pension in
    payment is increased". So what is over the allowance is pension income."""
    for age, tested in ((74, True), (75, False), (90, False)):
        rules = at_age(rules_of(tax_year), age)
        payment = take(method, gross, pension, rules, available(pension, rules))
        assert rules.tested is tested
        assert payment.tax_free == tax_free
        if not tested:
            assert (payment.charge, payment.excess, payment.over_lifetime_allowance) == (0, 0, 0)
            assert (payment.taxable, payment.excess_lump_sum) == (gross - tax_free, 0)
        elif tax_year < "2023":
            assert payment.charge > 0


def test_from_75_a_ufpls_needs_some_lifetime_allowance() -> None:
    """FA 2004 Sch.29 para 4A(1)(b) as it stood to 2023-24 (its words from memory; PTM088650 for the test). Under 75 a lump sum
    without any is an excess lump sum, and from 2024-25 no allowance is asked for."""
    pension = Pension(20_000_000, lifetime_allowance_used=10_000)
    for tax_year, age, most in (("2021-22", 75, 0), ("2021-22", 74, 20_000_000), ("2024-25", 75, 20_000_000)):
        rules = at_age(rules_of(tax_year), age)
        assert most_permitted("ufpls", pension, rules, available(pension, rules)) == most
        assert most_permitted("pcls_and_drawdown", pension, rules, available(pension, rules)) == 20_000_000


@pytest.mark.parametrize("tax_year", [year for year in YEARS if year <= "2023-24"])
def test_what_is_above_the_lifetime_allowance_is_no_ufpls(tax_year: str) -> None:
    """Notes to the Taxation of Pensions Act 2014, 125: under 75 "any excess paid over the available lifetime allowance will not
    be a UFPLS ... but will be a lifetime allowance excess lump sum". With nothing left there is no UFPLS at all, and so no
    flexible access."""
    gone = Pension(20_000_000, lifetime_allowance_used=10_000)
    payment = taken(tax_year, "ufpls", 5_000_000, gone)
    assert payment.excess_lump_sum == 5_000_000
    assert not payment.gives_income
    assert not then(gone, payment, rules_of(tax_year)).flexibly_accessed
    a_little = Pension(20_000_000, lifetime_allowance_used=9_999)
    some = taken(tax_year, "ufpls", 5_000_000, a_little)
    assert 0 < some.excess_lump_sum < 5_000_000
    assert some.gives_income
    assert then(a_little, some, rules_of(tax_year)).flexibly_accessed
    # Designated and drawn it is income, with or without the allowance.
    drawn = taken(tax_year, "pcls_and_drawdown", 5_000_000, gone)
    assert (drawn.excess_lump_sum, drawn.gives_income) == (0, True)


# A scheme's protected lump sum


@pytest.mark.parametrize(
    ("tax_year", "pension", "most"),
    [
        ("2026-27", Pension(20_000_000, protected_tax_free_share=4_000), 8_000_000),
        ("2026-27", Pension(20_000_003, protected_tax_free_share=4_000), 8_000_001),
        ("2020-21", Pension(20_000_000, protected_tax_free_share=4_000), 8_000_000),
        # A share of no more than a quarter protects nothing.
        ("2026-27", Pension(20_000_000, protected_tax_free_share=2_500), 0),
        ("2026-27", Pension(20_000_000, protected_tax_free_share=2_501), 5_002_000),
        # Not all pensions of the scheme can begin on one day (para 31(3)) where one has begun.
        ("2026-27", Pension(20_000_000, drawdown=1, protected_tax_free_share=4_000), 0),
        # Para 34(2): no lump sum allowance is needed, but some of the other allowance.
        ("2026-27", Pension(20_000_000, lump_sum_allowance_used=26_827_500, protected_tax_free_share=4_000), 8_000_000),
        (
            "2026-27",
            Pension(
                20_000_000,
                lump_sum_and_death_benefit_allowance_used=107_310_000,
                protected_tax_free_share=4_000,
            ),
            0,
        ),
        ("2020-21", Pension(20_000_000, lifetime_allowance_used=9_000, protected_tax_free_share=4_000), 0),
    ],
)
def test_a_protected_lump_sum_comes_with_the_whole_pension_on_one_day(
    tax_year: str, pension: Pension, most: int
) -> None:
    """FA 2004 Sch.36 paras 31-34."""
    left = left_of(tax_year, pension)
    assert protected_lump_sum(pension, rules_of(tax_year), left) == most
    if most:
        assert most_of(tax_year, "pcls", pension) == most


def test_a_protected_lump_sum_crystallises_the_whole_pension() -> None:
    pension = Pension(20_000_000, protected_tax_free_share=4_000)
    rules, left = rules_of("2026-27"), left_of("2026-27", pension)
    assert taken("2026-27", "pcls", 8_000_000, pension) == Payment(
        8_000_000, 8_000_000, 0, crystallised=20_000_000, designated=12_000_000, from_uncrystallised=20_000_000
    )
    # A penny above the quarter already needs all of it; the quarter itself needs no protection.
    assert taken("2026-27", "pcls", 5_000_001, pension).designated == 14_999_999
    assert takes_protected_lump_sum("pcls", 5_000_001, pension, rules, left)
    assert not takes_protected_lump_sum("pcls", 5_000_000, pension, rules, left)
    whole = taken("2026-27", "pcls_and_drawdown", 20_000_000, pension)
    assert (whole.tax_free, whole.taxable) == (8_000_000, 12_000_000)
    part = taken("2026-27", "pcls_and_drawdown", 19_999_999, pension)
    assert (part.tax_free, part.taxable) == (4_999_999, 15_000_000)
    # A UFPLS has its quarter and no more (para 31: it is no pension commencement lump sum).
    assert taken("2026-27", "ufpls", 20_000_000, pension).tax_free == 5_000_000
