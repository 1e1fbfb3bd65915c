"""The curve is read off the rules, so it must agree with them: at random points and on both sides of every corner."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law.income_tax import NATIONS, Nation, Taxpayer, TaxpayerYear, liability, taxpayer_year
from service.law.rounding import years_tax_to_the_penny
from service.law.units import PENNY, POUND
from service.planning.curve.piece import STAIR
from service.planning.curve.tax_curve import TaxCurve, pieces_to, tax_curve
from service.planning.curve.tax_function import TaxFunction
from service.planning.quote.quote import slices
from tests.households import BOOK, amounts, taxpayers, years


def exact_tax(year: TaxpayerYear, amount: int) -> int:
    """Income tax and child benefit charge by the rules, in ten-thousandths of a penny."""
    answer = liability(year, amount)
    return answer.income_tax + answer.child_benefit_charge * PENNY


def assert_agrees(year: TaxpayerYear, curve: TaxCurve, amount: int) -> None:
    """To the ten-thousandth of a penny where the curve calls itself exact, within a stair and a pound elsewhere."""
    piece = next((piece for piece in curve.pieces if piece.start < amount < piece.end), None)
    difference = curve.tax_at(amount) - exact_tax(year, amount)
    if piece is None or piece.exact:
        assert difference == 0, (amount, difference, piece)
    else:
        height = piece.stairs.height if piece.stairs else 0
        assert abs(difference) <= height + POUND * PENNY


@settings(max_examples=400, deadline=None)
@given(taxpayers(), years, amounts(250_000), st.data())
def test_curve_equals_rules(taxpayer: Taxpayer, tax_year: str, to: int, data: st.DataObject) -> None:
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    curve = tax_curve(TaxFunction(year), to)
    corners = {piece.start for piece in curve.pieces} | {piece.end for piece in curve.pieces}
    near = {corner + step for corner in corners for step in (-1, 0, 1)}
    random = {data.draw(st.integers(0, curve.pieces[-1].end)) for _ in range(20)}
    for amount in sorted(near | random):
        if 0 <= amount <= curve.pieces[-1].end:
            assert_agrees(year, curve, amount)


@st.composite
def investors(draw: Any, tax_year: str) -> Taxpayer:
    """Somebody whose savings and dividends leave a choice of set-off: with a withdrawal the total passes a basic limit."""
    nation = draw(st.sampled_from(("england", "england", "scotland")))
    rules = BOOK.years[tax_year].income_tax[nation]
    some = st.one_of(st.just(0), st.integers(0, 60_000), st.integers(0, 300_000), st.integers(0, 2_500_000))
    held, savings, dividends = draw(st.sampled_from((0, 0, 250_000))), draw(some), draw(some)
    reliefs = draw(st.sampled_from((0, 0, 123_400)))
    limit = draw(st.sampled_from((rules.scales.savings.limits[0], rules.scales.lower.limits[1])))
    short_of_it = draw(st.one_of(st.integers(0, 400_000), st.integers(0, 3_000_000)))
    other = limit + rules.personal_allowance + reliefs - held - savings - dividends - short_of_it
    return Taxpayer(
        nation,
        max(0, other),
        held,
        savings,
        dividends,
        relief_at_source=reliefs,
        blind=draw(st.sampled_from((False, False, True))),
        marriage_allowance=draw(st.sampled_from(("none", "none", "gives", "receives"))),
    )


@settings(max_examples=600, deadline=None)
@given(years, st.data())
def test_curve_equals_rules_where_the_set_off_leaves_a_choice(tax_year: str, data: st.DataObject) -> None:
    """Both sides of every corner, and all along: one amount in each ten pounds."""
    taxpayer = data.draw(investors(tax_year))
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    curve = tax_curve(TaxFunction(year), data.draw(st.integers(0, 3_500_000)))
    corners = {piece.start for piece in curve.pieces} | {piece.end for piece in curve.pieces}
    last = curve.pieces[-1].end
    along = range(data.draw(st.integers(0, 9_999)), last, 10_000)
    for amount in sorted({corner + step for corner in corners for step in (-1, 0, 1)} | set(along)):
        if 0 <= amount <= last:
            assert_agrees(year, curve, amount)


RATES_RISE_BETWEEN = [
    ("2019-20", Taxpayer("england", 3_443_100, savings=499_998, dividends=500_000)),
    ("2019-20", Taxpayer("england", 3_211_107, savings=173_300, dividends=687_000, relief_at_source=900)),
    ("2020-21", Taxpayer("england", 348_544, savings=1_238_462, dividends=1_001_600, blind=True)),
    ("2020-21", Taxpayer("england", 368_900, 9_500, savings=224_200, dividends=500_000)),
    ("2020-21", Taxpayer("wales", 346_778, savings=52_100, dividends=629_900)),
]


@pytest.mark.parametrize(("tax_year", "taxpayer"), RATES_RISE_BETWEEN, ids=str)
def test_rates_that_rise_and_fall_between_two_points_are_not_passed_over(tax_year: str, taxpayer: Taxpayer) -> None:
    """Both ends of such a stretch and a penny next to one of them lie on one line, and what lies between does not."""
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    curve = tax_curve(TaxFunction(year), 7_000_000)
    for amount in range(1, 7_000_000, 700):
        assert_agrees(year, curve, amount)


OPEN_AGAIN = [
    Taxpayer("england", 1_999_800, 77_100, 49_600, 521_800, marriage_allowance="receives"),
    Taxpayer("england", 4_828_027, 0, 0, 77_478, marriage_allowance="gives"),
    Taxpayer("england", 3_696_371, 770_172, 165_992, 277_817, marriage_allowance="gives"),
    Taxpayer("england", 1_999_800, 0, 120_000, 521_800, marriage_allowance="receives"),
    Taxpayer("scotland", 3_000_000, 0, 40_000, 700_000, marriage_allowance="receives"),
]


@pytest.mark.parametrize("taxpayer", OPEN_AGAIN, ids=str)
@pytest.mark.parametrize("tax_year", ["2022-23", "2025-26", "2026-27"])
def test_a_marriage_allowance_that_opens_again_is_not_passed_over(taxpayer: Taxpayer, tax_year: str) -> None:
    """It may close as the total passes the basic limit, and open again while savings and dividends above it are inside their
    nil rates: relieving dividends then saves the reduction too. Every two pounds of a withdrawal are looked at."""
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    curve = tax_curve(TaxFunction(year), 3_000_000)
    for amount in range(1, 3_000_000, 200):
        assert_agrees(year, curve, amount)


def test_a_choice_of_set_off_is_found_with_few_questions() -> None:
    """Each bend once, and no search: pension and savings, dividends or both across the basic limit."""
    for savings, dividends, most in ((200_000, 0, 9), (0, 400_000, 11), (200_000, 400_000, 17)):
        taxpayer = Taxpayer("england", 3_000_000, savings=savings, dividends=dividends)
        rules = TaxFunction(taxpayer_year(taxpayer, BOOK.years["2026-27"].income_tax["england"]))
        tax_curve(rules, 4_000_000)
        assert rules.evaluations <= most


@pytest.mark.parametrize("nation", ["england", "scotland"])
def test_where_a_marriage_allowance_first_leaves_tax_is_found_without_a_search(nation: Nation) -> None:
    taxpayer = Taxpayer(nation, other_income=980_000, dividends=260_000, marriage_allowance="receives")
    rules = TaxFunction(taxpayer_year(taxpayer, BOOK.years["2026-27"].income_tax[nation]))
    curve = tax_curve(rules, 1_500_000)
    assert rules.evaluations <= 9
    first = next(piece.start for piece in curve.pieces if piece.tax_end > piece.tax_start)
    assert 0 < first < 1_000_000
    for amount in range(first - 2, first + 3):
        assert_agrees(rules.year, curve, amount)
    assert exact_tax(rules.year, first) == 0 < exact_tax(rules.year, first + 1)


@settings(max_examples=300, deadline=None)
@given(years, st.sampled_from(NATIONS), amounts(110_000), amounts(1_300), amounts(90_000), st.booleans())
def test_savings_that_bear_no_tax_are_shown_as_by_a_curve_of_their_own(
    tax_year: str, nation: Nation, other_income: int, savings: int, to: int, blind: bool
) -> None:
    taxpayer = Taxpayer(nation, other_income=other_income, savings=savings, blind=blind)
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[nation])
    own, shown = tax_curve(TaxFunction(year), to), tax_curve(TaxFunction(year), to, every_point=False)
    assert slices(shown, to) == slices(own, to)
    for piece in shown.pieces:
        for amount in (piece.start, piece.start + 1, piece.end - 1, piece.end):
            assert_agrees(year, shown, amount)


def test_savings_that_bear_no_tax_need_no_questions_of_their_own() -> None:
    taxpayer = Taxpayer("england", other_income=3_000_000, savings=42_050)
    rules = TaxFunction(taxpayer_year(taxpayer, BOOK.years["2026-27"].income_tax["england"]))
    tax_curve(rules, 3_000_000, every_point=False)
    assert rules.evaluations == 1


@settings(max_examples=300, deadline=None)
@given(years, st.data())
def test_nothing_is_said_to_be_taxed_higher_where_its_tax_falls(tax_year: str, data: st.DataObject) -> None:
    """Two orders of set-off may cost the same, and from one end of a piece to the other the allowance may change over."""
    taxpayer = data.draw(investors(tax_year))
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    for piece in tax_curve(TaxFunction(year), 3_500_000).pieces:
        before, after = liability(year, piece.start), liability(year, piece.end)
        for reason, of_it in (("savings_taxed_higher", "savings_tax"), ("dividends_taxed_higher", "dividend_tax")):
            if reason in piece.because and piece.start < piece.end:
                assert getattr(after, of_it) > getattr(before, of_it)


@settings(max_examples=200, deadline=None)
@given(taxpayers(), years, amounts(250_000))
def test_pieces_join(taxpayer: Taxpayer, tax_year: str, to: int) -> None:
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    pieces = tax_curve(TaxFunction(year), to).pieces
    assert pieces[0].start == 0
    assert pieces[-1].end > to
    for before, after in pairwise(pieces):
        assert before.end == after.start
        assert before.tax_end == after.tax_start
    for piece in pieces:
        assert piece.because
        assert (piece.rate is None) == (piece.start == piece.end)
        assert piece.exact or piece.end - piece.start <= STAIR


@settings(max_examples=200, deadline=None)
@given(taxpayers(), years, amounts(200_000))
def test_slices_add_up(taxpayer: Taxpayer, tax_year: str, taxable: int) -> None:
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    cut = slices(tax_curve(TaxFunction(year), taxable), taxable)
    assert sum(piece.tax for piece in cut) == liability(year, taxable).total - liability(year).total
    if cut:
        assert cut[0].start == 0
        assert cut[-1].end == taxable
    for before, after in pairwise(cut):
        assert before.end == after.start


def test_two_bends_a_penny_apart_leave_no_gap_between_slices() -> None:
    """Where the allowance ends, savings and dividends of a penny each bend the tax at two pennies in a row."""
    taxpayer = Taxpayer("england", other_income=11_257_000, savings=1, dividends=1)
    year, taxable = taxpayer_year(taxpayer, BOOK.years["2026-27"].income_tax["england"]), 1_257_001
    cut = slices(tax_curve(TaxFunction(year), taxable), taxable)
    assert [piece.end for piece in cut[:-1]] == [piece.start for piece in cut[1:]]
    assert sum(piece.tax for piece in cut) == liability(year, taxable).total - liability(year).total


def test_taper_costs_sixty_pence_in_the_pound_as_a_staircase() -> None:
    """40p, and 20p more for the allowance lost: common knowledge of the trade; the steps follow from ITA 2007 s.35(3)."""
    year = taxpayer_year(Taxpayer("england", other_income=10_000_000), BOOK.years["2026-27"].income_tax["england"])
    piece = tax_curve(TaxFunction(year), 1_000_000).pieces[0]
    assert piece.stairs is not None
    assert (piece.rate, piece.stairs.width, piece.stairs.least_height) == (4_000, 200, 40)
    assert piece.tax_at(1_000_000) - piece.tax_start == 600_000 * PENNY
    assert "personal_allowance_taper" in piece.because


def test_child_benefit_charge_is_one_staircase_along_each_rate() -> None:
    """ITEPA 2003 s.681C: a per cent of 2,251 pounds for each 200 above 60,000, down to a pound: 22 or 23 pounds, 2,251 in all."""
    taxpayer = Taxpayer("england", other_income=5_500_000, child_benefit=225_160)
    year = taxpayer_year(taxpayer, BOOK.years["2026-27"].income_tax["england"])
    curve = tax_curve(TaxFunction(year), 3_000_000)
    (stairs,) = [piece for piece in curve.pieces if piece.stairs]
    assert stairs.stairs is not None
    assert (stairs.start, stairs.end, stairs.rate) == (500_000, 2_500_000, 4_000)
    assert stairs.because == ("higher_rate", "child_benefit_charge")
    assert (stairs.stairs.width, stairs.stairs.least_height) == (20_000, 2_200)
    assert stairs.tax_end - stairs.tax_start == (800_000 + 225_100) * PENNY
    for jump in range(500_000, 2_500_001, 20_000):
        for amount in (jump - 1, jump):
            assert_agrees(year, curve, amount)
    (shown,) = [piece for piece in slices(curve, 2_600_000) if piece.stair_width]
    assert (shown.start, shown.end, shown.tax, shown.stair_height) == (500_000, 2_500_000, 1_025_100, 2_200)


@settings(max_examples=100, deadline=None)
@given(taxpayers(), st.integers(100, 900_000), years, amounts(150_000), st.integers(8_000_000, 12_000_000), st.data())
def test_charge_and_taper_that_meet_are_both_exact(
    taxpayer: Taxpayer, child_benefit: int, tax_year: str, to: int, threshold: int, data: st.DataObject
) -> None:
    """As they would if the charge's threshold were raised to the taper's: each keeps its form, one as steps on the other."""
    rules = replace(BOOK.years[tax_year].income_tax[taxpayer.nation], child_benefit_threshold=threshold)
    year = taxpayer_year(taxpayer._replace(child_benefit=child_benefit), rules)
    for curve in (
        tax_curve(TaxFunction(year), to),
        TaxCurve(tuple(pieces_to(TaxFunction(year), to))),
    ):
        corners = {piece.start for piece in curve.pieces} | {piece.end for piece in curve.pieces}
        near = {corner + step for corner in list(corners)[:100] for step in (-1, 0, 1)}
        random = {data.draw(st.integers(0, curve.pieces[-1].end)) for _ in range(20)}
        for amount in sorted(near | random):
            if 0 <= amount <= curve.pieces[-1].end:
                assert_agrees(year, curve, amount)
        for before, after in pairwise(curve.pieces):
            assert (before.end, before.tax_end) == (after.start, after.tax_start)


def test_rounded_tax_is_the_rules_own() -> None:
    year = taxpayer_year(Taxpayer("wales", other_income=3_000_001), BOOK.years["2025-26"].income_tax["wales"])
    curve = tax_curve(TaxFunction(year), 5_000_000)
    assert years_tax_to_the_penny(curve.tax_at(123_457)) == liability(year, 123_457).total
