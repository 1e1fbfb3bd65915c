"""The set-off of the allowances is the best there is (ITA 2007 s.25(2); from 2027-28 within s.25(3A)).

Twice over: in a world of small numbers every whole-pound way of using the allowances is tried, each taxed pound by pound;
and with the real figures no ordinary way is better.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.figures.loader import Band, TaxYearFigures
from service.law.income_tax import Taxpayer, allowances, liability, rules_for, taxable_income, taxpayer_year
from service.law.set_off import taxed
from service.law.units import PENNY
from tests.households import BOOK, YEARS, amounts, taxpayers, years

POUND = 100
UK_LIMITS = (30, 70)
SCOTTISH_LIMITS = (4, 14, 25, 50, 70)
SMALL = {
    "personal_allowance": 12,
    "personal_allowance_taper_threshold": 50,
    "blind_persons_allowance": 3,
    "marriage_allowance": 2,
    "starting_rate_for_savings_limit": 5,
    "personal_savings_allowance_basic": 2,
    "personal_savings_allowance_higher": 1,
    "dividend_allowance": 3,
}
LIMITS_OF = {
    "bands_england": UK_LIMITS,
    "bands_northern_ireland": UK_LIMITS,
    "bands_wales": UK_LIMITS,
    "bands_scotland": SCOTTISH_LIMITS,
    "savings_bands": UK_LIMITS,
    "dividend_bands": UK_LIMITS,
    "property_bands": UK_LIMITS,
}


def small_year(year: TaxYearFigures, small: Mapping[str, int] = SMALL) -> TaxYearFigures:
    """A tax year with its own rates and order of allowances, and amounts a thousand times smaller; whole pounds."""
    changed = {f"income_tax.{name}": pounds * POUND for name, pounds in small.items()}
    figures = {name: replace(figure, value=changed.get(name, figure.value)) for name, figure in year.figures.items()}
    for name, limits in LIMITS_OF.items():
        if not year.has(f"income_tax.{name}"):
            continue
        bands = year.bands(f"income_tax.{name}")
        # Years with fewer Scottish bands have the same limits but for those in the middle.
        ends = [limit * POUND for limit in (*limits[: len(bands) - 2], limits[-1])]
        figures[f"income_tax.{name}"] = replace(
            figures[f"income_tax.{name}"],
            value=tuple(Band(band.name, band.rate, end) for band, end in zip(bands, [*ends, None], strict=True)),
        )
    return replace(year, figures=MappingProxyType(figures))


@dataclass(frozen=True)
class Rates:
    """What a pound of income bears at each height of the stack: limits in whole pounds, already extended."""

    other: tuple[tuple[int, int | None], ...]
    property: tuple[tuple[int, int | None], ...]
    savings: tuple[tuple[int, int | None], ...]
    dividends: tuple[tuple[int, int | None], ...]
    starting: int
    savings_allowance: int
    dividend_allowance: int
    open_up_to: int
    uk_limit: int


def rate_at(bands: tuple[tuple[int, int | None], ...], height: int) -> int:
    """The rate of the pound that begins at a height, basis points."""
    return next(rate for rate, limit in bands if limit is None or height < limit)


def pound_by_pound(rates: Rates, other: int, held: int, savings: int, dividends: int) -> tuple[int, bool]:
    """Tax on taxable income in pounds times basis points, and whether some is charged above the basic rates."""
    tax, above, height = 0, False, 0
    for kind, bands, amount in (
        ("other", rates.other, other),
        ("property", rates.property, held),
        ("savings", rates.savings, savings),
        ("dividends", rates.dividends, dividends),
    ):
        free = {"savings": rates.savings_allowance, "dividends": rates.dividend_allowance}.get(kind, 0)
        for _ in range(amount):
            if kind == "savings" and height < rates.starting:
                pass  # the starting rate, before the savings allowance is drawn upon (ITA ss.12, 12A)
            elif free:
                free -= 1
            else:
                tax += rate_at(bands, height)
                above = above or height >= (rates.uk_limit if kind in ("savings", "dividends") else rates.open_up_to)
            height += 1
    return tax, above


def every_way(incomes: tuple[int, ...], allowance: int) -> Iterator[tuple[int, ...]]:
    """What each kind of income is left with, for every whole-pound way of using all of the allowance that can be used."""
    to_use = min(allowance, sum(incomes))
    for used in product(*(range(min(income, to_use) + 1) for income in incomes[:-1])):
        last = to_use - sum(used)
        if 0 <= last <= incomes[-1]:
            yield tuple(income - part for income, part in zip(incomes, (*used, last), strict=True))


def extended(bands: tuple[Band, ...], relief: int, first: int = 0) -> tuple[tuple[int, int | None], ...]:
    """Rate and limit in pounds of each band, the limits from ``first`` on raised by the relief (FA 2004 s.192)."""
    return tuple(
        (band.rate, None if band.up_to is None else band.up_to // POUND + (relief if index >= first else 0))
        for index, band in enumerate(bands)
    )


def least_tax(figures: TaxYearFigures, person: Taxpayer) -> int:
    """The least tax on a small year, in ten-thousandths of a penny, by trying every way; whole pounds only."""
    other, held, savings, dividends, relief = (
        amount // POUND
        for amount in (
            person.other_income,
            person.property_income,
            person.savings,
            person.dividends,
            person.relief_at_source + person.gift_aid,
        )
    )
    money = {name: figures.money(f"income_tax.{name}") // POUND for name in SMALL}
    scottish = person.nation == "scotland"
    main = figures.bands(f"income_tax.bands_{person.nation}")
    names = [band.name for band in main]
    uk_bands = extended(figures.bands("income_tax.savings_bands"), relief)
    own_rates = figures.has("income_tax.property_bands") and not scottish
    other_first = figures.text("income_tax.allowance_order") == "other_income_first"
    income = other + held + savings + dividends
    excess = max(0, max(0, income - relief) - money["personal_allowance_taper_threshold"])
    personal = max(0, money["personal_allowance"] - excess // 2)
    blind = money["blind_persons_allowance"] if person.blind else 0
    other_bands = extended(main, relief, names.index("basic_rate"))
    last_open = other_bands[names.index("intermediate_rate" if scottish else "basic_rate")][1]
    assert last_open is not None

    def best(allowance: int, reduction: int) -> tuple[int, bool]:
        taxable = max(0, income - allowance)
        band = next(index for index, (_, limit) in enumerate(uk_bands) if limit is None or taxable <= limit)
        savings_allowance = (
            money["personal_savings_allowance_basic"],
            money["personal_savings_allowance_higher"],
            0,
        )[band]
        rates = Rates(
            other=other_bands,
            property=extended(figures.bands("income_tax.property_bands"), relief) if own_rates else other_bands,
            savings=uk_bands,
            dividends=extended(figures.bands("income_tax.dividend_bands"), relief),
            starting=money["starting_rate_for_savings_limit"],
            savings_allowance=savings_allowance,
            dividend_allowance=money["dividend_allowance"],
            open_up_to=last_open,
            uk_limit=uk_bands[0][1] or 0,
        )
        if other_first:
            used = min(other, allowance)
            ways = ((other - used, *rest) for rest in every_way((held, savings, dividends), allowance - used))
        else:
            ways = ((mixed, 0, *rest) for mixed, *rest in every_way((other + held, savings, dividends), allowance))
        found = []
        for way in ways:
            tax, above = pound_by_pound(rates, *way)
            found.append((tax if above else max(0, tax - reduction), above))
        return min(found)

    if person.marriage_allowance == "gives":
        given = min(money["marriage_allowance"], personal)
        tax, above = best(personal - given + blind, 0)
        if not above:
            return tax * POUND
    reduction = money["marriage_allowance"] * main[0 if not scottish else 1].rate
    tax, _ = best(personal + blind, reduction if person.marriage_allowance == "receives" else 0)
    return tax * POUND


def whole_pounds(most: int) -> st.SearchStrategy[int]:
    return st.one_of(st.just(0), st.integers(0, most)).map(lambda pounds: pounds * POUND)


@st.composite
def small_taxpayers(draw: Any) -> Taxpayer:
    """A person of the small world. The total is often just about a limit."""
    kinds = {name: draw(whole_pounds(40)) for name in ("other_income", "property_income", "savings", "dividends")}
    reliefs = draw(st.sampled_from((0, 0, 0, 400, 1_300)))
    if draw(st.booleans()):
        name = draw(st.sampled_from(tuple(kinds)))
        rest = sum(amount for kind, amount in kinds.items() if kind != name)
        edge = draw(st.sampled_from((12, 14, 17, 26, 37, 42, 50, 62, 74, 82))) * POUND + reliefs
        kinds[name] = max(0, edge - rest + draw(st.integers(-3, 3)) * POUND)
    return Taxpayer(
        nation=draw(st.sampled_from(("england", "scotland"))),
        relief_at_source=reliefs,
        blind=draw(st.booleans()),
        marriage_allowance=draw(st.sampled_from(("none", "none", "receives", "receives", "gives"))),
        **kinds,
    )


@settings(max_examples=350, deadline=None)
@given(small_taxpayers(), years)
def test_no_whole_pound_way_of_using_the_allowances_is_better(person: Taxpayer, tax_year: str) -> None:
    figures = small_year(BOOK.years[tax_year].figures)
    assert liability(taxpayer_year(person, rules_for(figures, person.nation))).income_tax == least_tax(figures, person)


@settings(max_examples=120, deadline=None)
@given(
    small_taxpayers(),
    years,
    st.fixed_dictionaries({name: st.integers(0, 14) for name in SMALL if "threshold" not in name}),
    st.integers(20, 60),
)
def test_nor_with_allowances_of_any_other_size(
    person: Taxpayer, tax_year: str, small: dict[str, int], threshold: int
) -> None:
    small["personal_savings_allowance_higher"] = min(
        small["personal_savings_allowance_higher"], small["personal_savings_allowance_basic"]
    )
    figures = small_year(BOOK.years[tax_year].figures, {**small, "personal_allowance_taper_threshold": threshold})
    assert liability(taxpayer_year(person, rules_for(figures, person.nation))).income_tax == least_tax(figures, person)


STRADDLING = [
    # Allowance 12. Dividends, savings, or both lie across the basic limit of 30, so where the allowance goes matters.
    Taxpayer("england", other_income=3_000, dividends=1_500),
    Taxpayer("england", other_income=4_100, savings=500),
    Taxpayer("england", other_income=3_500, savings=400, dividends=800),
    Taxpayer("england", savings=2_500, dividends=3_000),
    Taxpayer("england", other_income=1_500, property_income=1_500, savings=800, dividends=1_000),
    Taxpayer("scotland", other_income=3_900, savings=600, dividends=700),
    Taxpayer("scotland", other_income=2_600, dividends=2_400),
    Taxpayer("scotland", other_income=900, property_income=3_000, savings=900),
    # Scottish property income from 2027-28 bears less than savings do within the basic limit.
    Taxpayer("scotland", property_income=2_000, savings=1_500),
    Taxpayer("scotland", property_income=1_500, savings=1_000, dividends=700),
    # Savings or dividends above the basic limit and yet inside their nil rates: the marriage allowance stays.
    Taxpayer("england", other_income=4_000, savings=100, marriage_allowance="receives"),
    Taxpayer("england", other_income=4_000, dividends=300, marriage_allowance="receives"),
    Taxpayer("england", other_income=4_000, savings=100, dividends=300, marriage_allowance="receives"),
    Taxpayer("england", other_income=3_800, dividends=300, marriage_allowance="gives"),
    Taxpayer("england", other_income=3_700, dividends=700, marriage_allowance="receives"),
    Taxpayer("scotland", other_income=3_700, savings=300, dividends=400, marriage_allowance="receives"),
    Taxpayer("england", other_income=5_700, savings=900, dividends=1_200, blind=True),
]


@pytest.mark.parametrize("tax_year", YEARS)
def test_incomes_across_the_limits_in_every_year(tax_year: str) -> None:
    figures = small_year(BOOK.years[tax_year].figures)
    for person in STRADDLING:
        for more in range(0, 500, POUND):
            asked = person._replace(other_income=person.other_income + more)
            found = liability(taxpayer_year(asked, rules_for(figures, asked.nation))).income_tax
            assert found == least_tax(figures, asked), asked


def test_the_plain_order_is_not_always_best() -> None:
    """Else the tests here would prove little. In the small 2026-27: pension of 41, interest of 5, an allowance of 12.

    Plain order: 29 of pension at 20%; of the interest 1 is in the savings allowance and 4 lie above the limit of 30, at
    40%: 7.40. With 1 of the allowance against the interest: 30 of pension at 20%, 1 free, 3 at 40%: 7.20. By hand from
    ITA 2007 ss.12A, 12B, 25(2). From 2027-28 s.25(3A) leaves no such choice.
    """
    person = Taxpayer("england", other_income=4_100, savings=500)
    figures = small_year(BOOK.years["2026-27"].figures)
    assert plain_tax(figures, person) == 740 * PENNY
    assert liability(taxpayer_year(person, rules_for(figures, "england"))).income_tax == 720 * PENNY
    # 22%, 42% from 2027-28 for savings (Finance Act 2026 s.5); the pension still bears 20%.
    figures = small_year(BOOK.years["2027-28"].figures)
    found = liability(taxpayer_year(person, rules_for(figures, "england"))).income_tax
    assert found == plain_tax(figures, person) == (29 * 20 + 4 * 42) * PENNY


def band_tax(bands: tuple[Band, ...], relief: int, first: int, start: int, end: int) -> int:
    """Tax on the stack between two heights in pence, in ten-thousandths of a penny."""
    tax, floor = 0, 0
    for index, band in enumerate(bands):
        limit = end if band.up_to is None else band.up_to + (relief if index >= first else 0)
        tax += max(0, min(end, limit) - max(start, floor)) * band.rate
        floor = limit
    return tax


def plain_tax(figures: TaxYearFigures, person: Taxpayer) -> int:
    """The year's tax with the allowances used in the plain order: other income, property, savings, dividends.

    Without the marriage allowance, so a bound from above for who receives it and not for who gives it.
    """
    relief = person.relief_at_source + person.gift_aid
    income = person.income
    full = figures.money("income_tax.personal_allowance")
    excess = max(0, max(0, income - relief) - figures.money("income_tax.personal_allowance_taper_threshold"))
    personal = max(0, -(-(2 * full - excess) // (2 * POUND)) * POUND)
    left = personal + (figures.money("income_tax.blind_persons_allowance") if person.blind else 0)
    taxable = []
    for amount in (person.other_income, person.property_income, person.savings, person.dividends):
        used = min(amount, left)
        left -= used
        taxable.append(amount - used)
    other, held, savings, _ = taxable
    main = figures.bands(f"income_tax.bands_{person.nation}")
    uk_limits = [band.up_to + relief for band in figures.bands("income_tax.savings_bands") if band.up_to is not None]
    total = sum(taxable)
    savings_allowance = 0
    if total <= uk_limits[1]:
        size = "basic" if total <= uk_limits[0] else "higher"
        savings_allowance = figures.money(f"income_tax.personal_savings_allowance_{size}")
    first = [band.name for band in main].index("basic_rate")
    below = other + held
    if figures.has("income_tax.property_bands") and person.nation != "scotland":
        tax = band_tax(main, relief, first, 0, other)
        tax += band_tax(figures.bands("income_tax.property_bands"), relief, 0, other, below)
    else:
        tax = band_tax(main, relief, first, 0, below)
    free = max(below, figures.money("income_tax.starting_rate_for_savings_limit")) + savings_allowance
    tax += band_tax(figures.bands("income_tax.savings_bands"), relief, 0, free, below + savings)
    free = below + savings + figures.money("income_tax.dividend_allowance")
    return tax + band_tax(figures.bands("income_tax.dividend_bands"), relief, 0, free, total)


@settings(max_examples=250, deadline=None)
@given(taxpayers(), years, st.one_of(st.just(0), amounts(60_000)))
def test_never_worse_than_the_plain_order(taxpayer: Taxpayer, tax_year: str, more_savings: int) -> None:
    taxpayer = taxpayer._replace(savings=taxpayer.savings + more_savings)
    if taxpayer.marriage_allowance == "gives":
        taxpayer = taxpayer._replace(marriage_allowance="none")
    figures = BOOK.years[tax_year].figures
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    found = liability(year)
    own_tax = found.income_tax - found.gift_aid_tax
    assert own_tax <= plain_tax(figures, taxpayer)
    if taxpayer.savings == taxpayer.dividends == 0 and taxpayer.marriage_allowance == "none":
        assert own_tax == plain_tax(figures, taxpayer)


@settings(max_examples=300, deadline=None)
@given(taxpayers(), years, st.data())
def test_of_all_ways_to_use_the_allowances_the_least_taxed_is_taken(
    taxpayer: Taxpayer, tax_year: str, data: st.DataObject
) -> None:
    """And of those that bear the same the one that relieves most of what lies lowest: any penny amounts against each kind."""
    taxpayer = taxpayer._replace(savings=taxpayer.savings + data.draw(amounts(9_000)))
    rules = BOOK.years[tax_year].income_tax[taxpayer.nation]
    year = taxpayer_year(taxpayer, rules)
    found = liability(year)
    chosen = (found.income_tax - found.gift_aid_tax, found.other_to, found.savings_to)
    below, allowances = taxpayer.other_income + taxpayer.property_income, found.allowances
    floor = max(0, taxpayer.other_income - allowances) if rules.other_income_first else 0
    if rules.other_income_first:
        below, allowances = taxpayer.property_income, max(0, allowances - taxpayer.other_income)
    for _ in range(20):
        for_savings = data.draw(st.integers(0, min(allowances, taxpayer.savings)))
        for_dividends = data.draw(st.integers(0, min(allowances - for_savings, taxpayer.dividends)))
        lower = floor + max(0, below - (allowances - for_savings - for_dividends))
        height = lower + taxpayer.savings - for_savings
        total = height + taxpayer.dividends - for_dividends
        if total == found.taxable:
            other = taxed(year.scales, floor, lower, height, total, found.savings_allowance)
            # Where a reduction leaves no tax at all, many ways are as good.
            assert chosen <= (other[0], other[2], other[3]) or chosen[0] == other[0] == 0


@settings(max_examples=120, deadline=None)
@given(taxpayers(), years)
def test_the_tax_of_a_year_is_that_of_its_stack(taxpayer: Taxpayer, tax_year: str) -> None:
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    found = liability(year)
    tax, _, _, _, _, nil_to, _, *parts = taxed(
        year.scales, found.fixed_to, found.other_to, found.savings_to, found.taxable, found.savings_allowance
    )
    assert tax == found.income_tax - found.gift_aid_tax
    assert nil_to == found.savings_nil_to
    assert parts == [found.other_tax, found.savings_tax, found.dividend_tax, found.marriage_allowance_reduction]


def test_a_liability_names_the_heights_of_the_stack_in_the_order_they_are_made_in() -> None:
    # By hand for 2026-27, England: salary 30,000, rent 5,000, interest 4,000, dividends 3,000. The allowance of 12,570 leaves
    # 22,430 of salary and rent; savings reach 26,430 and dividends 29,430 (ITA 2007 ss.16, 23); 1,000 of the interest and 500
    # of the dividends are at nil (ss.12B, 13A). 22,430 at 20%, 3,000 at 20%, 2,500 at 10.75% (s.8, from April 2026).
    taxpayer = Taxpayer("england", other_income=3_000_000, property_income=500_000, savings=400_000, dividends=300_000)
    found = liability(taxpayer_year(taxpayer, BOOK.years["2026-27"].income_tax["england"]))
    assert found.net_income == found.adjusted_net_income == 4_200_000
    assert found.personal_allowance == 1_257_000
    assert (found.fixed_to, found.other_to, found.savings_to, found.taxable) == (0, 2_243_000, 2_643_000, 2_943_000)
    assert (found.savings_nil_to, found.savings_allowance) == (2_343_000, 100_000)
    assert (found.other_tax, found.savings_tax, found.dividend_tax) == (
        2_243_000 * 2_000,
        300_000 * 2_000,
        250_000 * 1_075,
    )
    assert found.total == 448_600 + 60_000 + 26_875


@settings(max_examples=200, deadline=None)
@given(taxpayers(), years, amounts(200_000))
def test_all_taxable_income_is_known_without_its_tax(taxpayer: Taxpayer, tax_year: str, withdrawal: int) -> None:
    if taxpayer.marriage_allowance == "gives":
        taxpayer = taxpayer._replace(marriage_allowance="none")
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    found = liability(year, withdrawal)
    assert taxable_income(year, withdrawal) == found.taxable
    assert allowances(year, found.net_income) == found.allowances


@pytest.mark.parametrize(
    ("salary", "withdrawal", "taxable"),
    # By hand for 2026-27 (ITA 2007 s.35): 12,570 is left of the allowance up to 100,000, a pound less for each two above it, and
    # nothing from 125,140 on.
    [
        (10_000_00, 2_000_00, 0),
        (30_000_00, 20_000_00, 37_430_00),
        (100_000_00, 10_000_00, 102_430_00),
        (100_000_00, 25_140_00, 125_140_00),
    ],
)
def test_taxable_income_by_hand(salary: int, withdrawal: int, taxable: int) -> None:
    year = taxpayer_year(Taxpayer("england", other_income=salary), BOOK.years["2026-27"].income_tax["england"])
    assert taxable_income(year, withdrawal) == taxable
