"""The estate that warnings look at: what is given of it, less debts, with the cash and the ISAs of both people."""

from __future__ import annotations

import json
from typing import Any

import pytest
from flask.testing import FlaskClient

from service.http.body import strict
from service.planning.warnings.circumstances import Estate
from service.schemas.check import request as check
from tests.bodies import answered


def asked(estate: dict[str, Any] | None, *people: dict[str, Any], drawn: float = 0) -> dict[str, Any]:
    """A request about people of 64 who hold a pension each."""
    held = [
        {
            "date_of_birth": "1962-06-01",
            "tax_residence": "england",
            "pensions": [{"uncrystallised": 0, "drawdown": 300_000}],
        }
        | person
        for person in people or ({},)
    ]
    household: dict[str, Any] = {"people": held} if estate is None else {"people": held, "estate": estate}
    taken = [{"person": 0, "method": "drawdown", "amount": drawn, "date": "2026-09-01"}]
    return {"household": household, "date": "2026-06-01"} | ({"withdrawals": taken} if drawn else {})


def estate_of(estate: dict[str, Any] | None, *people: dict[str, Any]) -> Estate | None:
    schema = check.WarningsSchema()
    return check.question(schema.load(strict(json.dumps(asked(estate, *people)).encode()))).estate


WHOLE = {"home": 400_000, "other_assets": 30_000, "debts": 12_000.5}


@pytest.mark.parametrize(
    ("estate", "people", "pounds"),
    [
        ({"home": 400_000}, [{}], 400_000),
        (WHOLE, [{}], 417_999.5),
        (WHOLE, [{"cash": 5_000}], 422_999.5),
        (WHOLE, [{"cash": 5_000, "isa": {"value": 70_000.25}}], 492_999.75),
        (WHOLE, [{"cash": 5_000, "isa": {"value": 70_000}}, {"cash": 600, "isa": {"value": 80_000}}], 573_599.5),
        # What is paid in this year is in the value already.
        ({"home": 1}, [{"isa": {"value": 70_000, "subscribed_this_year": 20_000}}], 70_001),
        ({}, [{"cash": 5_000, "isa": {"value": 1_000}}], 6_000),
        ({"debts": 10_000}, [{"cash": 5_000}], 0),
    ],
)
def test_its_value(estate: dict[str, Any], people: list[dict[str, Any]], pounds: float) -> None:
    found = estate_of(estate, *people)
    assert found is not None
    assert found.value == round(pounds * 100)


def test_where_nothing_is_said_of_it_there_is_none() -> None:
    assert estate_of(None, {"cash": 500_000}) is None


def test_without_a_home_none_passes_to_descendants() -> None:
    for estate, expected in (
        ({"home": 1}, None),
        ({"home": 1, "home_to_descendants": True}, True),
        ({"other_assets": 1}, False),
        ({"other_assets": 1, "home_to_descendants": True}, False),
    ):
        found = estate_of(estate)
        assert found is not None
        assert found.home_to_descendants is expected


BANDS = {"nil_rate_band_brought_forward": 0, "residence_nil_rate_band_brought_forward": 0}
CODE = "withdrawal_enters_the_estate"


@pytest.mark.parametrize(
    "parts",
    [
        ({"other_assets": 325_000}, {}),
        ({"home": 325_000, "home_to_descendants": False}, {}),
        ({"other_assets": 400_000, "debts": 75_000}, {}),
        ({"other_assets": 300_000}, {"cash": 25_000}),
        ({"other_assets": 300_000}, {"isa": {"value": 25_000}}),
        ({"other_assets": 200_000, "debts": 10_000}, {"cash": 65_000, "isa": {"value": 70_000}}),
    ],
)
def test_however_it_is_made_up_what_is_drawn_is_above_the_same_band(
    client: FlaskClient, parts: tuple[dict[str, Any], dict[str, Any]]
) -> None:
    """325,000 is the nil-rate band (Inheritance Tax Act 1984 Sch.1); all of the 9,000 drawn without income tax is above it, of
    which 40% are 3,600. A penny less in the estate leaves a penny more of the band."""
    estate, person = parts
    for more, above in ((0.0, 9_000), (0.01, 8_999.99)):
        less = {**estate, **BANDS, "debts": estate.get("debts", 0) + more}
        found = answered(client, "/v1/warnings", asked(less, person, drawn=9_000))["warnings"]
        (warning,) = [one for one in found if one["code"] == CODE]
        assert warning["figures"]["drawn_after_tax"] == 9_000
        assert warning["figures"]["drawn_above_tax_free_bands"] == pytest.approx(above)
        assert warning["amount"] == pytest.approx(0.4 * above, abs=0.01)
