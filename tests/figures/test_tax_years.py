"""The names of tax years and the days they run over."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.figures import tax_years

days = st.dates(date(1900, 1, 1), date(9998, 12, 31))


@pytest.mark.parametrize(
    ("day", "name"),
    [
        (date(2026, 4, 5), "2025-26"),
        (date(2026, 4, 6), "2026-27"),
        (date(2026, 12, 31), "2026-27"),
        (date(2027, 1, 1), "2026-27"),
        (date(2100, 4, 5), "2099-00"),
        (date(2100, 4, 6), "2100-01"),
    ],
)
def test_the_tax_year_of_a_day(day: date, name: str) -> None:
    assert tax_years.of(day) == name


def test_a_tax_year_runs_from_6_april_to_5_april() -> None:
    assert (tax_years.first_day("2026-27"), tax_years.last_day("2026-27")) == (date(2026, 4, 6), date(2027, 4, 5))
    assert (tax_years.first_day("2099-00"), tax_years.last_day("2099-00")) == (date(2099, 4, 6), date(2100, 4, 5))


@given(days)
def test_every_day_is_in_one_tax_year(day: date) -> None:
    name = tax_years.of(day)
    assert tax_years.first_day(name) <= day <= tax_years.last_day(name)
    assert tax_years.of(tax_years.last_day(name) + timedelta(days=1)) == tax_years.following(name)
    assert tax_years.starting_in(tax_years.starts_in(name)) == name


@pytest.mark.parametrize(
    ("earlier", "later", "years"),
    [("2026-27", "2026-27", 0), ("2026-27", "2027-28", 1), ("1999-00", "2000-01", 1), ("2030-31", "2026-27", -4)],
)
def test_how_far_apart(earlier: str, later: str, years: int) -> None:
    assert tax_years.between(earlier, later) == years


@pytest.mark.parametrize(
    "name", ["2026-28", "2026", "2026-2027", "26-27", "", "2026-27 ", "2026-27\n", "2026/27", "٢٠٢٦-٢٧", "2099-100"]
)
def test_a_name_that_is_no_tax_year_is_refused(name: str) -> None:
    for ask in (tax_years.starts_in, tax_years.first_day, tax_years.last_day, tax_years.following):
        with pytest.raises(ValueError, match="is not a tax year such as 2034-35"):
            ask(name)
    with pytest.raises(ValueError, match="is not a tax year"):
        tax_years.between("2026-27", name)
