"""The allowances of ITA 2007 ss.35 and 55B, from the figures of each year."""

from __future__ import annotations

import pytest

from tests.households import BOOK, YEARS

TEN_POUNDS = 1_000


def transferable(personal_allowance: int) -> int:
    """A tenth, up to the next ten pounds (ITA 2007 s.55B(4)-(5)), pence."""
    return -(-personal_allowance // (10 * TEN_POUNDS)) * TEN_POUNDS


@pytest.mark.parametrize("tax_year", YEARS)
def test_marriage_allowance_follows_from_the_personal_allowance(tax_year: str) -> None:
    figures = BOOK.years[tax_year].figures
    assert figures.money("income_tax.marriage_allowance") == transferable(
        figures.money("income_tax.personal_allowance")
    )


@pytest.mark.parametrize(
    ("personal_allowance", "published"),
    # The transfers published on gov.uk/marriage-allowance: 1,190 in 2018-19, 1,250 in 2019-20.
    [(11_850_00, 1_190_00), (12_500_00, 1_250_00)],
)
def test_the_sum_gives_the_published_transfers(personal_allowance: int, published: int) -> None:
    assert transferable(personal_allowance) == published
