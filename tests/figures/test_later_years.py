"""The assumed figures of a tax year after the last file: carried forward, or raised with prices by the Acts' roundings."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.figures.loader import KEYS, TaxYearFigures, load_tax_years
from service.figures.tables import load_rising_with_prices
from tests.later_years import later_year

YEARS = load_tax_years()
LAST = YEARS["2030-31"]
RISING = load_rising_with_prices()
indexes = st.fractions(Fraction(1, 2), Fraction(12), max_denominator=10_000)


def later(rise: Fraction | None = None, name: str = "2034-35", last: TaxYearFigures = LAST) -> TaxYearFigures:
    return later_year(last, name, rise, RISING)


def limits(year: TaxYearFigures, bands: str) -> list[int | None]:
    return [band.up_to for band in year.bands(bands)]


@pytest.mark.parametrize(
    ("name", "start", "end"),
    [
        ("2031-32", date(2031, 4, 6), date(2032, 4, 5)),
        ("2034-35", date(2034, 4, 6), date(2035, 4, 5)),
        ("2099-00", date(2099, 4, 6), date(2100, 4, 5)),
    ],
)
def test_it_is_a_tax_year_of_its_own(name: str, start: date, end: date) -> None:
    year = later(name=name)
    assert (year.name, year.start, year.end, year.standing) == (name, start, end, "assumed")
    assert year.version == LAST.version


@pytest.mark.parametrize("rise", [None, Fraction(11, 10)])
def test_its_figures_are_those_of_the_last_year_in_the_same_order(rise: Fraction | None) -> None:
    year = later(rise)
    assert list(year.figures) == list(LAST.figures)
    assert {name: figure.name for name, figure in year.figures.items()} == {name: name for name in LAST.figures}


def test_frozen_figures_keep_their_values() -> None:
    assert {name: figure.value for name, figure in later().figures.items()} == {
        name: figure.value for name, figure in LAST.figures.items()
    }


def test_what_stands_until_changed_is_not_touched() -> None:
    year = later(Fraction(2))
    for name in RISING.stands:
        assert year.figures[name] is LAST.figures[name]


@pytest.mark.parametrize("rise", [None, Fraction(11, 10)])
def test_everything_else_is_assumed_and_says_so(rise: Fraction | None) -> None:
    year = later(rise)
    for name, figure in year.figures.items():
        if name in RISING.stands:
            continue
        raised = rise is not None and name in RISING.rises
        how = "raised with assumed prices" if raised else "used"
        caveat = figure.caveat or ""
        assert figure.standing == "assumed"
        assert caveat.startswith(f"Rates and limits for 2034-35 are not yet set; those of 2030-31 are {how}.")
        assert caveat.endswith(".")
        # What was not certain of the law is so still.
        if LAST.figures[name].standing == "enacted":
            assert (LAST.figures[name].caveat or "") in caveat
        assert (LAST.figures[name].evidence or "") in (figure.evidence or "")
        assert figure.note == LAST.figures[name].note
        if raised:
            held = ", but not past the limit of the next band" if RISING.rises[name].limits else ""
            assert figure.source == f"2030-31 raised with prices{held}: {RISING.rises[name].authority.source}"
            assert (RISING.rises[name].authority.caveat or "") in caveat
        else:
            assert figure.source == "carried forward from 2030-31"


def test_the_sentences_whole() -> None:
    assert later().figures["isa.subscription_limit"].caveat == (
        "Rates and limits for 2034-35 are not yet set; those of 2030-31 are used."
    )
    assert later(Fraction(11, 10)).figures["income_tax.personal_allowance"].caveat == (
        "Rates and limits for 2034-35 are not yet set; those of 2030-31 are raised with assumed prices."
    )
    assert later(Fraction(11, 10)).figures["income_tax.dividend_bands"].caveat == (
        "Rates and limits for 2034-35 are not yet set; those of 2030-31 are raised with assumed prices."
    )


def test_a_figure_that_stands_but_is_not_enacted_is_assumed() -> None:
    name = "pension.lump_sum_allowance"
    announced = replace(LAST.figures[name], standing="announced")
    last = replace(LAST, figures={**LAST.figures, name: announced})
    assert later(last=last).figures[name].standing == "assumed"


# Prices up by a tenth: each figure of 2030-31 times 1.1, by hand, rounded up as the source says. Pence.
UK_LIMITS = [4_150_000, 12_514_000, None]  # 41,470 up to 100 pounds: Income Tax Act 2007 s.21
RAISED_BY_A_TENTH = [
    ("income_tax.personal_allowance", 1_383_000),  # 13,827 up to 10 pounds: Income Tax Act 2007 s.57
    ("income_tax.blind_persons_allowance", 358_000),  # 3,575 up to 10 pounds: s.57
    ("income_tax.marriage_allowance", 139_000),  # a tenth of 13,830 up to 10 pounds: s.55B(5)
    ("income_tax.starting_rate_for_savings_limit", 550_000),  # 5,500: s.21
]


@pytest.mark.parametrize(("name", "pence"), RAISED_BY_A_TENTH)
def test_amounts_raised_by_a_tenth(name: str, pence: int) -> None:
    assert later(Fraction(11, 10)).money(name) == pence


@pytest.mark.parametrize("bands", [name for name in RISING.rises if KEYS[name].kind == "bands"])
def test_limits_raised_by_a_tenth(bands: str) -> None:
    # Scotland: 3,967, 16,956 and 31,092 times 1.1 up to the next pound, an assumption of our own.
    scottish = [436_400, 1_865_200, 3_420_200, 6_243_000, 12_514_000, None]
    expected = scottish if bands == "income_tax.bands_scotland" else UK_LIMITS
    year = later(Fraction(11, 10))
    assert limits(year, bands) == expected
    assert [(band.name, band.rate) for band in year.bands(bands)] == [
        (band.name, band.rate) for band in LAST.bands(bands)
    ]


@pytest.mark.parametrize(
    "name",
    [
        "income_tax.personal_allowance_taper_threshold",
        "income_tax.personal_savings_allowance_basic",
        "income_tax.dividend_allowance",
        "income_tax.child_benefit_charge_threshold",
        "pension.lump_sum_allowance",
        "pension.annual_allowance",
        "isa.subscription_limit",
        "inheritance_tax.nil_rate_band",
        "state_pension.new_full_weekly",
    ],
)
def test_what_stays_in_money(name: str) -> None:
    assert later(Fraction(11, 10)).money(name) == LAST.money(name)


def test_a_limit_stays_below_that_of_the_next_band() -> None:
    # Twice 31,092 is below the 62,430 at which the Scottish higher rate ends, and 2.5 times is not.
    assert limits(later(Fraction(2)), "income_tax.bands_scotland")[2:4] == [6_218_400, 6_243_000]
    assert limits(later(Fraction(5, 2)), "income_tax.bands_scotland")[:4] == [991_800, 4_239_000, 6_242_900, 6_243_000]
    # At 20 times all three are held, each below the other; the UK limit is held below 125,140.
    assert limits(later(Fraction(20)), "income_tax.bands_scotland")[:4] == [6_242_700, 6_242_800, 6_242_900, 6_243_000]
    assert limits(later(Fraction(20)), "income_tax.bands_england") == [12_513_900, 12_514_000, None]


@pytest.mark.parametrize("rise", [Fraction(1), Fraction(9, 10)])
def test_prices_that_do_not_rise_change_no_value(rise: Fraction) -> None:
    assert {
        name: figure.value for name, figure in later(rise).figures.items() if name != "income_tax.marriage_allowance"
    } == {name: figure.value for name, figure in LAST.figures.items() if name != "income_tax.marriage_allowance"}
    # Income Tax Act 2007 s.55B(5): a tenth of 12,570, up to 10 pounds, whatever prices do.
    assert later(rise).money("income_tax.marriage_allowance") == 126_000


@settings(max_examples=150)
@given(indexes, indexes)
def test_more_prices_never_lower_a_figure_and_bands_stay_in_order(one: Fraction, other: Fraction) -> None:
    lower, higher = later(min(one, other)), later(max(one, other))
    for name, how in RISING.rises.items():
        if KEYS[name].kind == "money":
            assert LAST.money(name) <= lower.money(name) <= higher.money(name)
            assert higher.money(name) % how.up_to_next == 0
            continue
        for before, after in zip(lower.bands(name), higher.bands(name), strict=True):
            assert (before.up_to or 0) <= (after.up_to or 0)
        found = [limit for limit in limits(higher, name) if limit is not None]
        assert found == sorted(set(found))
        shared = KEYS[name].limits_of
        assert shared is None or limits(higher, name) == limits(higher, shared)


@settings(max_examples=150)
@given(st.fractions(Fraction(1), Fraction(3), max_denominator=10_000))
def test_an_amount_is_rounded_up_by_less_than_its_multiple(rise: Fraction) -> None:
    year = later(rise)
    for name, how in RISING.rises.items():
        if KEYS[name].kind == "money" and how.tenth_of is None:
            assert 0 <= year.money(name) - LAST.money(name) * rise < how.up_to_next
    assert (
        year.money("income_tax.marriage_allowance") == -(-year.money("income_tax.personal_allowance") // 10_000) * 1_000
    )


def test_a_figure_that_the_last_year_does_not_have_is_left_out() -> None:
    last = YEARS["2026-27"]
    year = later(Fraction(11, 10), name="2027-28", last=last)
    assert not year.has("income_tax.property_bands")
    assert list(year.figures) == list(last.figures)


@pytest.mark.parametrize("name", ["2030-31", "2026-27"])
def test_a_year_that_is_not_later_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match=f"{name} is not after 2030-31"):
        later(name=name)


@pytest.mark.parametrize("name", ["2034-36", "2034", "2034-2035", "", "٢٠٣٤-٣٥", "34-35"])
def test_a_name_that_is_no_tax_year_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="is not a tax year such as 2034-35"):
        later(name=name)


@pytest.mark.parametrize("rise", [Fraction(0), Fraction(-1)])
def test_an_index_that_is_not_above_nothing_is_refused(rise: Fraction) -> None:
    with pytest.raises(ValueError, match="a price index is above 0"):
        later(rise)
