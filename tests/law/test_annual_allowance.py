"""The one chargeable amount of a year's saving, by hand from Finance Act 2004 ss.227ZA and 227B."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.law.annual_allowance import Excess, Saving, excess

ALLOWANCE, MONEY_PURCHASE = 60_000, 10_000

amounts = st.integers(0, 100_000)


@pytest.mark.parametrize(
    ("money_purchase", "other", "allowance", "found"),
    [
        # s.227ZA(1)(b): not more than 10,000 of money purchase saving: all saving against the annual allowance.
        (10_000, 50_001, 60_000, Excess(1, False, 0, 0)),
        (10_000, 50_000, 60_000, Excess(0, False, 0, 0)),
        # 45,000 before the first access and 14,000 after: 0 by default, 4,000 by the alternative.
        (14_000, 45_000, 60_000, Excess(4_000, True, 4_000, 0)),
        # 58,000 and 14,000: 12,000 by either, so the default.
        (14_000, 58_000, 60_000, Excess(12_000, False, 4_000, 8_000)),
        # s.227B(2): what is carried forward raises the alternative allowance, and never the other 10,000.
        (12_000, 80_000, 100_000, Excess(2_000, True, 2_000, 0)),
        (70_000, 0, 60_000, Excess(60_000, True, 60_000, 0)),
        (70_000, 0, 200_000, Excess(60_000, True, 60_000, 0)),
        # Tapered to 10,000: nothing is left for other saving.
        (10_001, 5_000, 10_000, Excess(5_001, False, 1, 5_000)),
    ],
)
def test_the_chargeable_amount(money_purchase: int, other: int, allowance: int, found: Excess) -> None:
    assert excess(Saving(money_purchase, other), allowance, MONEY_PURCHASE) == found


@given(money_purchase=amounts, other=amounts, allowance=st.integers(MONEY_PURCHASE, 200_000))
def test_the_charge_is_never_on_more_than_the_larger_amount(money_purchase: int, other: int, allowance: int) -> None:
    """Where the money purchase allowance is exceeded, the alternative amount is never below the default, by arithmetic."""
    found = excess(Saving(money_purchase, other), allowance, MONEY_PURCHASE)
    default = max(0, money_purchase + other - allowance)
    if money_purchase > MONEY_PURCHASE:
        assert found.chargeable == found.above_money_purchase + found.above_alternative >= default
    else:
        assert found.chargeable == default
