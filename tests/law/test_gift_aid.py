"""Tax that must cover gifts under Gift Aid: ITA 2007 ss.414, 423-425, worked by hand from their words.

s.423(4) takes allowances away until the tax equals that treated as deducted "or if that is not possible, falls short ... by as
little as possible"; s.424(4) charges the difference. Figures of 2026-27, England: a personal allowance of 12,570, and a gift of
2,500 gross, 2,000 paid, of which 500 is treated as deducted.
"""

from __future__ import annotations

from typing import Any

import pytest

from service.law.gift_aid import tax_made_up, tax_treated_as_deducted
from service.law.income_tax import Taxpayer, liability, taxpayer_year
from tests.households import BOOK

POUND = 100


def tax(withdrawal: int = 0, year: str = "2026-27", **of_the_year: Any) -> float:
    """The year's tax in pounds; incomes and gifts in pounds."""
    in_pence = {name: value * POUND if isinstance(value, int) else value for name, value in of_the_year.items()}
    taxpayer = Taxpayer("england")._replace(**in_pence)
    return (
        liability(taxpayer_year(taxpayer, BOOK.years[year].income_tax[taxpayer.nation]), withdrawal * POUND).total
        / POUND
    )


@pytest.mark.parametrize(
    ("incomes", "withdrawal", "due"),
    [
        # The allowance is taken down to 9,500: 2,500 at 20%.
        ({"other_income": 12_000, "gift_aid": 2_500}, 0, 500.00),
        ({"other_income": 12_000, "gift_aid": 2_500}, 3_070, 500.00),
        ({"other_income": 12_000, "gift_aid": 2_500}, 3_071, 500.20),
        # (12,000 + 6,000 - 12,570) at 20% is more than 500, so nothing changes.
        ({"other_income": 12_000, "gift_aid": 2_500}, 6_000, 1_086.00),
        # 14,000 - 12,570 is 1,430, 286 of tax, less a marriage allowance of 252: the shortfall is made up all the same, because
        # the marriage allowance is in Chapter 3A and not among the reliefs of s.423(5).
        ({"other_income": 14_000, "gift_aid": 2_500, "marriage_allowance": "receives"}, 0, 500.00),
        # The starting rate covers the interest, until allowances are taken away.
        ({"other_income": 12_000, "savings": 3_000, "gift_aid": 2_500}, 0, 500.00),
        # All allowances gone, 15,000 of dividends bear (15,000 - 500) at 10.75% = 1,558.75; s.424 charges 441.25.
        ({"dividends": 15_000, "gift_aid": 10_000}, 0, 2_000.00),
        # No income at all: s.424 alone.
        ({"gift_aid": 600}, 0, 120.00),
        # In Scotland too it is the basic rate of the others (s.414(2) as amended by SI 2018/459).
        ({"nation": "scotland", "other_income": 12_000, "gift_aid": 2_500}, 0, 500.00),
        # The child benefit charge comes at Step 7 and covers nothing (s.425(3)): 60 steps of 1% of 2,251 beside the 20%.
        ({"gift_aid": 0, "other_income": 12_000}, 0, 0.00),
    ],
)
def test_the_years_tax_covers_the_gifts(incomes: dict[str, object], withdrawal: int, due: float) -> None:
    assert tax(withdrawal, **incomes) == due


def test_the_child_benefit_charge_covers_nothing() -> None:
    # Adjusted net income of 62,000 after a gift of 60,000: 10% of 2,251 is charged at Step 7, whatever the gift needs.
    gifts = {"other_income": 12_000, "dividends": 110_000, "gift_aid": 60_000}
    with_charge = tax(**gifts, child_benefit=2_251)
    assert with_charge - tax(**gifts) == 225.00


@pytest.mark.parametrize("year", sorted(BOOK.years))
def test_in_no_year_is_the_tax_below_what_gifts_need(year: str) -> None:
    assert tax(year=year, other_income=5_000, gift_aid=1_000) == 200.00


def test_the_two_steps() -> None:
    assert tax_treated_as_deducted(250_000, 2_000) == 500_000_000
    assert tax_made_up(300_000_000, 500_000_000) == 200_000_000
    assert tax_made_up(500_000_001, 500_000_000) == 0
