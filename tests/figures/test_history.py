"""The days on which the law changes, read off the figures, against the Acts that name them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from service.figures.history import first_day_with, last_day_before_change, last_day_with
from service.figures.loader import TaxYearFigures, load_tax_years

YEARS = load_tax_years()

# Figure, word, first and last day; None where the years begin or end with it.
RUNS = [
    # Finance Act 2024 s.14 and Sch.9: from 6 April 2024, in place of the lifetime allowance
    ("pension.lump_sum_allowance", None, date(2024, 4, 6), None),
    ("pension.lifetime_allowance", None, None, date(2024, 4, 5)),
    # Finance (No. 2) Act 2023 s.18: no charge from 6 April 2023
    ("pension.lifetime_allowance_charge_retained", None, None, date(2023, 4, 5)),
    ("pension.lump_sum_regime", "lifetime_allowance_no_charge", date(2023, 4, 6), date(2024, 4, 5)),
    # Scottish rate resolution of 2024-25: the first with an advanced rate
    ("income_tax.bands_scotland", "advanced_rate", date(2024, 4, 6), None),
    ("payroll.flat_rate_codes", "SD3", date(2024, 4, 6), None),
    ("income_tax.bands_scotland", "top_rate", None, None),
    # Finance Act 2026 ss.6-7, ss.66-71 and Sch.10
    ("income_tax.property_bands", None, date(2027, 4, 6), None),
    ("inheritance_tax.unused_pensions_in_estate", "yes", date(2027, 4, 6), None),
    ("inheritance_tax.unused_pensions_in_estate", "no", None, date(2027, 4, 5)),
    ("winter_fuel.income_limit", None, date(2025, 4, 6), None),
    # HMRC, Tax-free savings newsletter 19, 27 November 2025
    ("isa.cash_limit_ends_at_age", None, date(2027, 4, 6), None),
    # SI 2021/1237: from 30 November 2021, a day that the figure itself says
    ("pension.transfer_conditions_from", None, date(2021, 11, 30), None),
    ("inheritance_tax.rate", None, None, None),
]


@pytest.mark.parametrize(("name", "word", "first", "last"), RUNS)
def test_from_when_and_until_when(name: str, word: str | None, first: date | None, last: date | None) -> None:
    assert (first_day_with(YEARS, name, word), last_day_with(YEARS, name, word)) == (first, last)


def test_a_figure_that_is_a_day_is_itself_the_first() -> None:
    # PRA PS24/25: for failures from 1 December 2025.
    assert first_day_with(YEARS, "deposit_protection.changes_on") == date(2025, 12, 1)
    assert last_day_with(YEARS, "deposit_protection.changes_on") == date(2026, 4, 5)


@pytest.mark.parametrize(
    ("name", "day"),
    [
        # Finance Act 2022 s.10: 57 from 6 April 2028
        ("pension.minimum_pension_age", date(2028, 4, 5)),
        # Finance Act 2023 s.7: 1,000 in 2023-24, then 500
        ("income_tax.dividend_allowance", date(2024, 4, 5)),
        ("winter_fuel.income_limit", None),
        ("inheritance_tax.rate", None),
    ],
)
def test_the_day_before_a_figure_last_changed(name: str, day: date | None) -> None:
    assert last_day_before_change(YEARS, name) == day


@pytest.mark.parametrize(
    ("name", "word"),
    [
        ("pension.lifetime", None),
        ("income_tax.bands_scotland", "middle_rate"),
        ("payroll.flat_rate_codes", "SD9"),
        ("inheritance_tax.unused_pensions_in_estate", "perhaps"),
        ("pension.minimum_pension_age", "57"),
    ],
)
def test_what_no_tax_year_has_is_refused(name: str, word: str | None) -> None:
    for ask in (first_day_with, last_day_with):
        with pytest.raises(ValueError, match=f"no tax year has {name}"):
            ask(YEARS, name, word)


def test_what_ends_and_comes_back_is_refused() -> None:
    def without(year: TaxYearFigures) -> TaxYearFigures:
        return replace(
            year, figures={name: one for name, one in year.figures.items() if name != "inheritance_tax.rate"}
        )

    years = {**YEARS, "2024-25": without(YEARS["2024-25"])}
    for ask in (first_day_with, last_day_with, last_day_before_change):
        with pytest.raises(ValueError, match=r"that have inheritance_tax\.rate are not one after the other"):
            ask(years, "inheritance_tax.rate")
