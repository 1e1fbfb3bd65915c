"""The allowances of ITA 2007 ss.35 and 55B, from the figures of each year."""

from __future__ import annotations

import pytest

from service.law.personal_allowances import transferable_amount
from tests.households import BOOK, YEARS


@pytest.mark.parametrize("tax_year", YEARS)
def test_marriage_allowance_follows_from_the_personal_allowance(tax_year: str) -> None:
    """The figure of each year is a tenth of its personal allowance, up to ten pounds (ITA 2007 s.55B(4)-(5))."""
    figures = BOOK.years[tax_year].figures
    assert figures.money("income_tax.marriage_allowance") == transferable_amount(
        figures.money("income_tax.personal_allowance")
    )


@pytest.mark.parametrize(
    ("personal_allowance", "transferable"),
    [
        # The sum behind the transfers published on gov.uk/marriage-allowance: 1,190 in 2018-19, 1,250 in 2019-20.
        (11_850_00, 1_190_00),
        (12_500_00, 1_250_00),
        # Either side of a step, by the section's own rounding.
        (12_600_00, 1_260_00),
        (12_600_01, 1_270_00),
    ],
)
def test_a_tenth_up_to_ten_pounds(personal_allowance: int, transferable: int) -> None:
    assert transferable_amount(personal_allowance) == transferable
