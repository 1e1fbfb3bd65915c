"""Inheritance tax by the statute: worked cases, what must hold of every estate, and the tax computed a second time.

Inheritance Tax Act 1984 ss.7, 8A, 8D-8M, 18, 23, Sch.1A; Finance Act 2026 ss.66-72. Amounts are pence; those that follow
from the sections are worked by hand beside the check. Published cases are in tests/cases/inheritance_tax.toml.
The numbers of most subsections, and s.8FE, are from memory; what Finance Act 2026 says of the components for the charity rate
was not read.
"""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import ROUND_CEILING, Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from service.law.inheritance_tax import (
    WHOLE_BAND,
    Estate,
    EstateTax,
    FormerHome,
    InheritanceTaxRules,
    estate_tax,
    tapered,
    unused_share,
)
from tests.households import BOOK, YEARS, amounts, years

POUND = 100
LAST_BEFORE, FIRST_WITH_PENSIONS = "2026-27", "2027-28"


def rules_of(tax_year: str) -> InheritanceTaxRules:
    return BOOK.years[tax_year].inheritance_tax


def tax_on(tax_year: str, **pounds: int) -> EstateTax:
    """The tax on an estate whose parts are given in pounds."""
    return estate_tax(Estate(**{name: amount * POUND for name, amount in pounds.items()}), rules_of(tax_year))


@st.composite
def estates(draw: Any) -> Estate:
    """Any estate: small and large, with and without a home, exempt parts, a former home and bands brought forward."""
    large = st.one_of(st.just(0), amounts(200_000), amounts(1_000_000), amounts(4_000_000))
    some = st.one_of(st.just(0), st.integers(0, 100), st.just(100))

    def part_of(whole: int) -> int:
        return whole * int(draw(some)) // 100

    isa, cash, other, home, pension = (draw(large) for _ in range(5))
    liabilities = part_of(isa + cash + other + home) if draw(st.booleans()) else 0
    free = isa + cash + other + home - liabilities
    home_to_descendants = part_of(home)
    open_to_others = max(0, free - home_to_descendants)
    exempt = part_of(open_to_others)
    to_charity = part_of(exempt)
    pension_exempt = part_of(pension)
    pension_to_charity = part_of(pension_exempt)
    former = None
    if draw(st.booleans()):
        former = FormerHome(
            value=draw(amounts(900_000)),
            residence_nil_rate_band_then=draw(st.sampled_from((10_000_000, 12_500_000, 15_000_000, 17_500_000))),
            other_to_descendants=part_of(open_to_others - exempt),
            present_home_exempt=part_of(min(exempt, home - home_to_descendants)),
        )
    share = st.one_of(st.just(0), st.just(WHOLE_BAND), st.integers(0, WHOLE_BAND))
    return Estate(
        isa=isa,
        cash=cash,
        other=other,
        home=home,
        liabilities=liabilities,
        pension=pension,
        home_to_descendants=home_to_descendants,
        to_spouse=exempt - to_charity,
        to_charity=to_charity,
        pension_to_spouse=pension_exempt - pension_to_charity,
        pension_to_charity=pension_to_charity,
        lifetime_gifts=draw(st.one_of(st.just(0), amounts(800_000))),
        nil_rate_band_brought_forward=draw(share),
        residence_nil_rate_band_brought_forward=draw(share),
        former_home=former,
    )


# Worked by hand


@pytest.mark.parametrize(
    # Statute: 175,000 (or 350,000 with a whole band brought forward) less half of what is over 2,000,000 (s.8D(5)), so
    # nil at 2,350,000 and at 2,700,000. Pence.
    ("allowance", "estate", "left"),
    [
        (17_500_000, 0, 17_500_000),
        (17_500_000, 200_000_000, 17_500_000),
        (17_500_000, 200_000_001, 17_499_999),  # half a penny comes off whole: our choice
        (17_500_000, 200_000_002, 17_499_999),
        (17_500_000, 200_000_200, 17_499_900),
        (17_500_000, 234_999_998, 1),
        (17_500_000, 235_000_000, 0),
        (17_500_000, 900_000_000, 0),
        (35_000_000, 235_000_000, 17_500_000),
        (35_000_000, 270_000_000, 0),
    ],
)
def test_residence_taper(allowance: int, estate: int, left: int) -> None:
    assert tapered(allowance, estate, 200_000_000) == left


@pytest.mark.parametrize(
    ("unused", "band", "share"),
    [
        (0, 32_500_000, 0),
        (32_500_000, 32_500_000, 1_000_000),
        (40_000_000, 32_500_000, 1_000_000),  # never more than the whole (s.8A(6); IHTM43033)
        (10_000_000, 32_500_000, 307_692),  # 30.76923..%: four decimals (IHTM43020), the rest dropped
        (5_250_000, 17_500_000, 300_000),
    ],
)
def test_share_that_a_survivor_may_bring_forward(unused: int, band: int, share: int) -> None:
    assert unused_share(unused, band) == share


def test_pension_in_the_estate_takes_the_residence_band() -> None:
    """The pension raises the estate to 2,400,000: 200,000 over the threshold's end of 2,350,000 (s.8D(5))."""
    parts = {"home": 600_000, "home_to_descendants": 600_000, "cash": 1_300_000, "pension": 500_000}
    before, after = tax_on(LAST_BEFORE, **parts), tax_on(FIRST_WITH_PENSIONS, **parts)
    assert before.residence_band.used == 175_000 * POUND
    assert before.tax == 560_000 * POUND  # 40% of 1,900,000 - 325,000 - 175,000
    assert after.residence_band.allowance == 0
    assert after.tax == 830_000 * POUND  # 40% of 2,400,000 - 325,000
    assert after.tax_on_pension == 17_291_666  # 500 of 2,400: 172,916.66..
    assert after.tax_on_free_estate == after.tax - after.tax_on_pension


def test_pension_to_a_spouse_is_exempt_but_counts_for_the_taper() -> None:
    """Exempt by s.18, but E of s.8D(5) is the whole estate before exemptions."""
    found = tax_on(
        FIRST_WITH_PENSIONS,
        home=500_000,
        home_to_descendants=500_000,
        cash=1_500_000,
        pension=200_000,
        pension_to_spouse=200_000,
    )
    assert found.chargeable == 2_000_000 * POUND
    assert found.residence_band.allowance == 75_000 * POUND
    assert found.tax_on_pension == 0
    assert found.tax == 640_000 * POUND  # 40% of 2,000,000 - 325,000 - 75,000


def test_survivor_has_both_bands_of_both() -> None:
    """All to the spouse on the first death, the home to the children on the second: 650,000 and 350,000."""
    first = tax_on(FIRST_WITH_PENSIONS, home=500_000, cash=300_000, to_spouse=800_000)
    assert (first.nil_rate_band_unused, first.residence_band_unused) == (WHOLE_BAND, WHOLE_BAND)
    second = Estate(
        home=50_000_000,
        cash=60_000_000,
        home_to_descendants=50_000_000,
        nil_rate_band_brought_forward=first.nil_rate_band_unused,
        residence_nil_rate_band_brought_forward=first.residence_band_unused,
    )
    found = estate_tax(second, rules_of(FIRST_WITH_PENSIONS))
    assert found.nil_rate_band.whole == 650_000 * POUND
    assert found.residence_band.used == 350_000 * POUND
    assert found.tax == 40_000 * POUND  # 40% of 1,100,000 - 650,000 - 350,000


def test_half_of_two_bands_unused_is_the_whole_of_one() -> None:
    """The share is of one band (ss.8A(4), 8G(3)): 350,000 less a home of 175,000, and 650,000 less 325,000."""
    estate = Estate(
        home=17_500_000,
        cash=32_500_000,
        home_to_descendants=17_500_000,
        nil_rate_band_brought_forward=WHOLE_BAND,
        residence_nil_rate_band_brought_forward=WHOLE_BAND,
    )
    found = estate_tax(estate, rules_of(FIRST_WITH_PENSIONS))
    assert (found.residence_band.unused, found.residence_band_unused) == (17_500_000, WHOLE_BAND)
    assert (found.nil_rate_band.unused, found.nil_rate_band_unused) == (32_500_000, WHOLE_BAND)


@pytest.mark.parametrize(
    # 650,000 in all (s.8A), of which the gifts take theirs first (s.7). Pounds.
    ("gifts", "available", "above"),
    [(0, 650_000, 0), (400_000, 250_000, 0), (650_000, 0, 0), (700_000, 0, 50_000)],
)
def test_gifts_use_the_band_brought_forward_too(gifts: int, available: int, above: int) -> None:
    estate = Estate(cash=100, lifetime_gifts=gifts * POUND, nil_rate_band_brought_forward=WHOLE_BAND)
    band = estate_tax(estate, rules_of(FIRST_WITH_PENSIONS)).nil_rate_band
    assert (band.available, band.gifts_above) == (available * POUND, above * POUND)


@pytest.mark.parametrize(
    # Sch.1A: 500,000 less 325,000 and less the gift is the baseline with the gift put back: 175,000, of which a tenth is
    # 17,500. Amounts in pounds, the tax in pence.
    ("to_charity", "rate", "tax"),
    [
        (0, 4_000, 7_000_000),
        (17_499, 4_000, 6_300_040),  # 40% of 157,501
        (17_500, 3_600, 5_670_000),  # 36% of 157,500
        (30_000, 3_600, 5_220_000),
        (175_000, 3_600, 0),
    ],
)
def test_charity_rate(to_charity: int, rate: int, tax: int) -> None:
    found = tax_on(FIRST_WITH_PENSIONS, other=500_000, to_charity=to_charity)
    assert found.baseline == 175_000 * POUND
    assert (found.rate, found.tax) == (rate, tax)


def test_without_charity_there_is_no_lower_rate() -> None:
    """Nothing is not a tenth of a baseline of nothing."""
    found = tax_on(FIRST_WITH_PENSIONS, other=100_000)
    assert (found.baseline, found.rate) == (0, 4_000)


def test_residence_band_does_not_come_off_the_baseline() -> None:
    """Sch.1A para 5 (from memory) names the nil-rate band alone: a tenth of 300,000, not of 125,000."""
    parts = {"home": 300_000, "home_to_descendants": 300_000, "other": 325_000}
    assert tax_on(FIRST_WITH_PENSIONS, **parts, to_charity=29_999).rate == 4_000
    assert tax_on(FIRST_WITH_PENSIONS, **parts, to_charity=30_000).rate == 3_600


@pytest.mark.parametrize(
    # HMRC's first example, IHTM45010, and the same estate with a pension of 400,000 beside it, by hand. Amounts in pounds.
    ("year", "pension", "baseline", "rate", "tax"),
    [
        (LAST_BEFORE, 0, 425_000, 3_600, 135_000),
        (LAST_BEFORE, 400_000, 425_000, 3_600, 135_000),
        (FIRST_WITH_PENSIONS, 400_000, 825_000, 4_000, 310_000),
    ],
)
def test_a_pension_raises_the_baseline(year: str, pension: int, baseline: int, rate: int, tax: int) -> None:
    """Legacies of 50,000 are over a tenth of 425,000 and under one of 825,000."""
    found = tax_on(year, other=750_000, pension=pension, to_charity=50_000)
    assert (found.baseline, found.rate, found.tax) == (baseline * POUND, rate, tax * POUND)


def test_pension_to_charity_counts_towards_the_tenth() -> None:
    # Whether a charity's pension lump sum is a donated amount (Sch.1A para 4, s.23(1) and (5B)) was not read.
    found = tax_on(FIRST_WITH_PENSIONS, other=325_000, pension=100_000, pension_to_charity=10_000)
    assert (found.baseline, found.donated, found.rate) == (10_000_000, 1_000_000, 3_600)
    assert tax_on(LAST_BEFORE, other=325_000, pension=100_000, pension_to_charity=10_000).donated == 0


def test_debts_leave_less_than_the_home() -> None:
    """The residence band is at most what is chargeable: 60,000 here, though the home is worth 150,000."""
    found = tax_on(FIRST_WITH_PENSIONS, home=150_000, home_to_descendants=150_000, liabilities=90_000)
    assert found.residence_band.used == 60_000 * POUND
    assert found.residence_band.unused == 115_000 * POUND
    assert found.nil_rate_band.unused == 325_000 * POUND


@pytest.mark.parametrize(
    # 8FE by hand with a band of 175,000 on both days: 80% of the former allowance less 40% of the allowance on death is
    # 40%, 70,000. If the present home is exempt it does not count: 80%, 140,000. Amounts in pounds.
    ("value", "home_exempt", "lost"),
    [(140_000, 0, 70_000), (140_000, 70_000, 140_000), (140_000, 35_000, 105_000), (70_000, 0, 0), (69_999, 0, 0)],
)
# s.8FE from memory; whether pension money counts as passing to descendants was not read.
def test_lost_by_downsizing(value: int, home_exempt: int, lost: int) -> None:
    former = FormerHome(value * POUND, 17_500_000, 50_000_000, home_exempt * POUND)
    estate = Estate(home=7_000_000, other=50_000_000, to_spouse=home_exempt * POUND, former_home=former)
    assert estate_tax(estate, rules_of(FIRST_WITH_PENSIONS)).residence_band.lost_by_downsizing == lost * POUND


def test_a_former_home_worth_less_than_the_present_one_earns_nothing() -> None:
    """60,000 of 100,000 is 60%, 61,000 of 175,000 is 34.9%, but only a more valuable former home counts (from memory)."""
    estate = Estate(home=6_100_000, other=50_000_000, former_home=FormerHome(6_000_000, 10_000_000, 50_000_000))
    assert estate_tax(estate, rules_of(FIRST_WITH_PENSIONS)).residence_band.lost_by_downsizing == 0


def test_former_allowance_has_what_is_brought_forward() -> None:
    """Case study 18.1 by hand: 285,000 is 95% of 125,000 + 175,000, and 95% of 350,000 is 332,500."""
    former = FormerHome(28_500_000, 12_500_000, 50_000_000)
    estate = Estate(other=50_000_000, residence_nil_rate_band_brought_forward=WHOLE_BAND, former_home=former)
    assert estate_tax(estate, rules_of("2020-21")).residence_band.lost_by_downsizing == 33_250_000


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ({"cash": -1}, "cash must not be negative"),
        ({"lifetime_gifts": -1}, "lifetime_gifts must not be negative"),
        ({"nil_rate_band_brought_forward": WHOLE_BAND + 1}, "one whole band"),
        ({"residence_nil_rate_band_brought_forward": WHOLE_BAND + 1}, "one whole band"),
        ({"cash": 1, "liabilities": 2}, "liabilities are more"),
        ({"home": 1, "home_to_descendants": 2}, "more of the home goes to descendants"),
        ({"cash": 1, "to_spouse": 1, "to_charity": 1}, "more of the free estate is exempt"),
        ({"home": 5, "home_to_descendants": 3, "to_spouse": 3}, "more of the free estate is exempt"),
        ({"pension": 5, "pension_to_spouse": 3, "pension_to_charity": 3}, "more of the pension is exempt"),
        ({"cash": 5, "pension_to_spouse": 1}, "more of the pension is exempt"),
        ({"home": 5, "former_home": FormerHome(9, 1, 0, 1)}, "more of the home is exempt"),
        (
            {"home": 5, "cash": 5, "home_to_descendants": 4, "to_spouse": 3, "former_home": FormerHome(9, 1, 0, 2)},
            "more of the home is exempt",
        ),
        ({"home": 5, "home_to_descendants": 5, "former_home": FormerHome(9, 1, 1)}, "more of the free estate goes to"),
        ({"cash": 5, "pension": 5, "former_home": FormerHome(9, 1, 6)}, "more of the free estate goes to"),
    ],
)
def test_an_estate_that_cannot_be(parts: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        Estate(**parts)


@pytest.mark.parametrize(
    "parts",
    [(-1, 1, 0), (1, 0, 0), (1, -1, 0), (1, 1, -1), (1, 1, 0, -1)],
)
def test_a_former_home_that_cannot_be(parts: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="former home"):
        FormerHome(*parts)


# What holds of every estate


@given(estates(), years, st.sampled_from(("isa", "cash", "other", "home", "pension")), amounts(500_000))
@settings(deadline=None)
def test_more_estate_is_never_less_tax(estate: Estate, tax_year: str, part: str, more: int) -> None:
    rules = rules_of(tax_year)
    larger = replace(estate, **{part: getattr(estate, part) + more})
    assert estate_tax(larger, rules).tax >= estate_tax(estate, rules).tax


@given(estates(), years)
@settings(deadline=None)
def test_never_more_than_the_rate_on_all_of_it(estate: Estate, tax_year: str) -> None:
    rules = rules_of(tax_year)
    found = estate_tax(estate, rules)
    assert 0 <= found.tax * 10_000 <= found.chargeable * rules.rate
    assert found.chargeable <= found.estate
    assert found.tax == found.tax_on_pension + found.tax_on_free_estate
    assert found.tax_on_pension >= 0
    assert found.tax_on_free_estate >= 0


@given(estates(), years)
@settings(deadline=None)
def test_no_tax_within_the_bands(estate: Estate, tax_year: str) -> None:
    found = estate_tax(estate, rules_of(tax_year))
    within = found.chargeable <= found.residence_band.used + found.nil_rate_band.available
    assert (found.taxable == 0) == within
    if within:
        assert found.tax == 0


@given(estates(), years)
@settings(deadline=None)
def test_bands_reconcile(estate: Estate, tax_year: str) -> None:
    rules = rules_of(tax_year)
    found = estate_tax(estate, rules)
    residence, band = found.residence_band, found.nil_rate_band
    assert 0 <= residence.taper <= residence.default_allowance
    assert residence.allowance == residence.used + residence.unused
    assert 0 <= residence.used <= min(found.chargeable, residence.home + residence.downsizing_addition)
    assert residence.downsizing_addition <= residence.lost_by_downsizing <= residence.allowance
    assert residence.unused >= 0
    assert band.whole == band.used_by_gifts + band.available
    assert band.available == band.used + band.unused
    assert estate.lifetime_gifts == band.used_by_gifts + band.gifts_above
    assert found.chargeable == residence.used + band.used + found.taxable
    assert band.whole <= 2 * rules.nil_rate_band
    assert residence.default_allowance <= 2 * rules.residence_nil_rate_band


@given(estates(), years, st.permutations(("isa", "cash", "other")), st.integers(0, 100))
@settings(deadline=None)
def test_how_an_estate_is_split_does_not_matter(estate: Estate, tax_year: str, kinds: list[str], percent: int) -> None:
    """Money moved between the kinds of the free estate, the home apart, changes nothing."""
    source, target = kinds[0], kinds[1]
    moved = getattr(estate, source) * percent // 100
    split = replace(estate, **{source: getattr(estate, source) - moved, target: getattr(estate, target) + moved})
    assert estate_tax(split, rules_of(tax_year)) == estate_tax(estate, rules_of(tax_year))


@given(estates(), years)
@settings(deadline=None)
def test_all_to_a_spouse_is_free_and_leaves_the_bands(estate: Estate, tax_year: str) -> None:
    rules = rules_of(tax_year)
    whole = replace(
        estate,
        home_to_descendants=0,
        to_spouse=estate.free_estate,
        to_charity=0,
        pension_to_spouse=estate.pension,
        pension_to_charity=0,
        lifetime_gifts=0,
        former_home=None,
    )
    found = estate_tax(whole, rules)
    assert (found.chargeable, found.tax) == (0, 0)
    assert found.nil_rate_band_unused == WHOLE_BAND
    assert found.residence_band.unused == found.residence_band.allowance


@given(estates())
@settings(deadline=None)
def test_deaths_on_5_and_6_april_2027_differ_only_by_the_pension(estate: Estate) -> None:
    """Finance Act 2026 s.71: the last day of 2026-27 and the first of 2027-28."""
    before, after = rules_of(LAST_BEFORE), rules_of(FIRST_WITH_PENSIONS)
    bare = replace(estate, pension=0, pension_to_spouse=0, pension_to_charity=0)
    assert estate_tax(estate, before) == estate_tax(bare, before) == estate_tax(bare, after)
    assert estate_tax(estate, after).estate - estate_tax(estate, before).estate == estate.pension


@given(estates(), years, amounts(800_000))
@settings(deadline=None)
def test_more_for_a_spouse_is_never_more_tax_without_a_home(estate: Estate, tax_year: str, more: int) -> None:
    rules = rules_of(tax_year)
    plain = replace(estate, home_to_descendants=0, former_home=None, to_charity=0, pension_to_charity=0)
    assume(plain.to_spouse + more <= plain.free_estate)
    assert estate_tax(replace(plain, to_spouse=plain.to_spouse + more), rules).tax <= estate_tax(plain, rules).tax


# The tax a second time, in pounds and per cents, from the sections and in another order


def floor(amount: Decimal | Fraction) -> Decimal:
    """Pounds, down to the penny."""
    return Decimal(math.floor(Fraction(amount) * 100)) / 100


def second_way(estate: Estate, tax_year: str) -> Decimal:
    """The tax in pounds: the charity test first, then the tax on everything, then what each band takes off it."""
    figures = BOOK.years[tax_year].figures
    in_pounds = {
        name: Decimal(figures.money(f"inheritance_tax.{name}")) / 100
        for name in ("nil_rate_band", "residence_nil_rate_band", "residence_taper_threshold")
    }
    parts = {
        name: Decimal(getattr(estate, name)) / 100
        for name in (
            "isa", "cash", "other", "home", "liabilities", "pension", "home_to_descendants", "to_spouse", "to_charity",
            "pension_to_spouse", "pension_to_charity", "lifetime_gifts",
        )
    }  # fmt: skip
    if figures.name < FIRST_WITH_PENSIONS:
        parts |= {"pension": Decimal(0), "pension_to_spouse": Decimal(0), "pension_to_charity": Decimal(0)}
    charity = parts["to_charity"] + parts["pension_to_charity"]
    everything = sum(parts[name] for name in ("isa", "cash", "other", "home", "pension")) - parts["liabilities"]
    charged = everything - charity - parts["to_spouse"] - parts["pension_to_spouse"]
    band = in_pounds["nil_rate_band"]
    band += floor(band * estate.nil_rate_band_brought_forward / WHOLE_BAND)
    band = max(Decimal(0), band - parts["lifetime_gifts"])
    over_band = max(Decimal(0), charged - band)
    rate = Decimal("0.36") if charity and charity / (over_band + charity) >= Decimal("0.1") else Decimal("0.4")
    own = in_pounds["residence_nil_rate_band"]
    more = floor(own * estate.residence_nil_rate_band_brought_forward / WHOLE_BAND)
    over = max(Decimal(0), everything - in_pounds["residence_taper_threshold"])
    allowance = max(Decimal(0), own + more - (over / 2).quantize(Decimal("0.01"), ROUND_CEILING))
    home = min(parts["home_to_descendants"], allowance)
    former = estate.former_home
    if former is not None and allowance:
        present = Fraction(parts["home"]) - Fraction(former.present_home_exempt, 100)
        then = Fraction(former.value, 100) / (Fraction(former.residence_nil_rate_band_then, 100) + Fraction(more))
        percent = min(Fraction(1), then) - min(Fraction(1), present / Fraction(allowance))
        if Fraction(former.value, 100) > present:
            home += min(
                floor(max(Fraction(0), percent) * Fraction(allowance)), Decimal(former.other_to_descendants) / 100
            )
    return floor(rate * max(Decimal(0), over_band - min(home, charged)))


@given(estates(), years)
@settings(deadline=None, max_examples=600)
def test_second_way_agrees(estate: Estate, tax_year: str) -> None:
    assert Decimal(estate_tax(estate, rules_of(tax_year)).tax) / 100 == second_way(estate, tax_year)


def test_rules_of_every_year_come_from_its_figures() -> None:
    """Pensions count from 2027-28 on (Finance Act 2026 s.71); a residence band of 150,000 in 2019-20 alone (s.8D)."""
    assert [name for name in YEARS if rules_of(name).unused_pensions_in_estate] == [
        name for name in YEARS if name >= FIRST_WITH_PENSIONS
    ]
    assert [name for name in YEARS if rules_of(name).residence_nil_rate_band == 15_000_000] == ["2019-20"]
