"""The breakpoints that are tried do contain the best use of the allowances (ITA 2007 s.25(2)).

In a world of small numbers every whole-pound way of using the allowances can be tried. The limits there are whole
pounds too, so no better way lies between them, and the breakpoints alone must find a tax as low.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from . import income_tax as oracle
from .figures import Figures


def bands(*parts: tuple[str, str, int | None]) -> list[dict[str, Any]]:
    """Bands as the figures file holds them."""
    return [
        {"name": name, "rate": Fraction(rate)} | ({} if limit is None else {"up_to": limit})
        for name, rate, limit in parts
    ]


def small_world(order: str, property_bands: bool, scale: int = 1) -> Figures:
    """Figures shaped like those of a real year, a few hundred times smaller."""
    uk = (30 * scale, 70 * scale)
    values: dict[str, Any] = {
        "personal_allowance": 12 * scale,
        "personal_allowance_taper_threshold": 50 * scale,
        "blind_persons_allowance": 3 * scale,
        "marriage_allowance": 2 * scale,
        "bands_england": bands(
            ("basic_rate", "0.2", uk[0]), ("higher_rate", "0.4", uk[1]), ("additional_rate", "0.45", None)
        ),
        "bands_scotland": bands(
            ("starter_rate", "0.19", 4 * scale),
            ("basic_rate", "0.2", 14 * scale),
            ("intermediate_rate", "0.21", 25 * scale),
            ("higher_rate", "0.42", 50 * scale),
            ("top_rate", "0.48", None),
        ),
        "savings_bands": bands(
            ("savings_basic_rate", "0.22", uk[0]),
            ("savings_higher_rate", "0.42", uk[1]),
            ("savings_additional_rate", "0.47", None),
        ),
        "dividend_bands": bands(
            ("dividend_ordinary_rate", "0.1075", uk[0]),
            ("dividend_upper_rate", "0.3575", uk[1]),
            ("dividend_additional_rate", "0.3935", None),
        ),
        "starting_rate_for_savings_limit": 5 * scale,
        "personal_savings_allowance_basic": 2 * scale,
        "personal_savings_allowance_higher": scale,
        "dividend_allowance": scale,
        "allowance_order": order,
        "child_benefit_charge_threshold": 60 * scale,
        "child_benefit_charge_step": 1,
    }
    if property_bands:
        values["property_bands"] = bands(
            ("property_basic_rate", "0.22", uk[0]),
            ("property_higher_rate", "0.42", uk[1]),
            ("property_additional_rate", "0.47", None),
        )
    return {"income_tax": {name: {"value": value} for name, value in values.items()}}


AMOUNT = st.integers(0, 90)

PEOPLE = st.fixed_dictionaries(
    {
        "nation": st.sampled_from(["england", "scotland"]),
        "non_savings": AMOUNT,
        "property": AMOUNT,
        "savings": AMOUNT,
        "dividends": AMOUNT,
        "relief_extension": st.just(0) | st.integers(0, 20),
        "blind": st.booleans(),
        "marriage": st.sampled_from(["none", "gives", "receives"]),
    }
)


@pytest.mark.parametrize(("order", "separate"), [("most_favourable", False), ("other_income_first", True)])
@settings(max_examples=150, deadline=None)
@given(person=PEOPLE)
def test_breakpoints_find_what_every_pound_finds(order: str, separate: bool, person: dict[str, Any]) -> None:
    figures = small_world(order, separate)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(oracle, "EVERY_POUND", 10**6)
        every_pound = oracle.income_tax(figures, **person)
        patch.setattr(oracle, "EVERY_POUND", 0)
        patch.setattr(oracle, "GRID", 1)
        breakpoints = oracle.income_tax(figures, **person)
    assert breakpoints["tax"] == every_pound["tax"]


def test_allowances_first_against_other_income_is_not_always_best() -> None:
    """Income of 415 and interest of 50, an allowance of 120, a limit of 300, a savings allowance of 10.

    With the whole allowance against the income, 295 of it is taxed, and only 5 of the 10 nil-rate pounds of interest
    lie above the limit. The first 5 moved to the interest tax 5 more of income at 20% and 5 less of interest at 42%;
    another 35 exchange 42% for 40%.
    """
    free, bound = (
        oracle.income_tax(small_world(order, False, scale=10), "england", non_savings=415, savings=50)["tax"]
        for order in ("most_favourable", "other_income_first")
    )
    assert bound == 295 * Fraction("0.2") + 40 * Fraction("0.42")
    assert free == 300 * Fraction("0.2") + 35 * Fraction("0.4")
