"""Lump sums paid back in: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.planning.warning_requests import by_code, income, request, saved, w
from tests.planning.warnings.pairs import Case, Pair, either_side


def recycled(lump_sum: float = 25_000, paid: float = 32_500, usual: float = 7_500, **more: Any) -> Case:
    """PTM133850 example 1: a pot of 100,000, earnings of 75,000, 7,500 usually saved, a lump sum of 25,000 paid in."""
    facts: Case = {
        "pension": {"uncrystallised": 100_000, "drawdown": 0},
        "income": income(employment=75_000),
        "contributions": [saved(paid)],
        "usual_contributions": usual,
        "contribution_increase_planned": True,
        **more,
    }
    return request(w("pcls", lump_sum), date_of_birth="1969-01-01", **facts)


def unplanned(paid: float) -> Case:
    whole = recycled(paid=paid)
    del whole["household"]["people"][0]["circumstances"]["contribution_increase_planned"]
    return whole


def unusual(paid: float) -> Case:
    whole = recycled(paid=paid)
    del whole["household"]["people"][0]["circumstances"]["usual_contributions"]
    return whole


CASES: dict[str, list[Pair]] = {
    "recycling_rule_applies": [
        (recycled(), recycled(contribution_increase_planned=False)),
        # 30% of 25,000 is 7,500: more than that on top of the usual 7,500.
        (recycled(paid=15_000.01), recycled(paid=15_000)),
        # More than 7,500 of lump sums in twelve months.
        (recycled(7_500.01), recycled(7_500)),
        # PTM133850 example 2: those of the twelve months before are added; 9,000 of 2013-14 as 5,000 and 4,000.
        (
            recycled(5_000, lump_sums_in_last_12_months=2_500.01),
            recycled(5_000, lump_sums_in_last_12_months=2_500),
        ),
        # More than 30% over the usual level: 100,000 usual, 130,000 paid.
        (recycled(paid=130_000.01, usual=100_000), recycled(paid=130_000, usual=100_000)),
        # The tax year, two before and two after.
        (
            recycled(contributions=[saved(32_500, "2028-04-06")]),
            recycled(contributions=[saved(32_500, "2029-04-06")]),
        ),
        (
            recycled(contributions=[saved(32_500, "2024-04-06")]),
            recycled(contributions=[saved(32_500, "2024-04-05")]),
        ),
        # A UFPLS is outside the rule.
        (
            recycled(),
            request(
                w("ufpls", 100_000),
                pension={"uncrystallised": 100_000},
                contributions=[saved(32_500)],
                usual_contributions=7_500,
                contribution_increase_planned=True,
            ),
        ),
    ],
    "recycling_charges": [(recycled(), recycled(contribution_increase_planned=False))],
    "recycling_may_apply": [(unplanned(15_000.01), unplanned(15_000)), (unplanned(15_000.01), recycled())],
    "usual_contributions_not_given": [(unusual(7_500.01), unusual(7_500)), (unusual(15_000), recycled())],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


@pytest.mark.parametrize(
    ("pot", "lump_sum", "charges"),
    [
        # 40% of 30,000 of 200,000; with the surcharge of 15% once it is a quarter of the fund (PTM133840, s.210).
        (200_000, 30_000, 12_000),
        (120_000.04, 30_000, 12_000),
        (120_000, 30_000, 16_500),
        # PTM133850 example 1 has 25,000 of 100,000.
        (100_000, 25_000, 13_750),
    ],
)
def test_the_charges_on_a_recycled_lump_sum(pot: float, lump_sum: float, charges: float) -> None:
    body = recycled(lump_sum, paid=45_000, pension={"uncrystallised": pot, "drawdown": 0})
    found = by_code(body)
    assert found["recycling_charges"].money["tax_charges"] == found["recycling_charges"].cost == charges * 100
    assert found["recycling_rule_applies"].cost == charges * 100
    del body["household"]["people"][0]["circumstances"]["contribution_increase_planned"]
    assert by_code(body)["recycling_may_apply"].money["tax_charges_if_planned"] == charges * 100


def in_a_quote(body: Case, *, dated: bool = True) -> Case:
    """The one withdrawal of a request as a quote of the same household."""
    (withdrawal,) = body["withdrawals"]
    asked = {key: withdrawal[key] for key in ("method", "amount", "date") if dated or key != "date"}
    return {"household": body["household"], "tax_year": "2026-27", "withdrawal": asked}


def told_of_recycling(client: FlaskClient, path: str, body: Case) -> dict[str, tuple[str, dict[str, float]]]:
    """Detail and figures of the warnings on recycling, missing facts included, by code."""
    reply = client.post(path, json=body)
    assert reply.status_code == 200, reply.get_json()
    found = [one for each in reply.get_json()["warnings"] for one in (each, *each.get("missing_facts", ()))]
    return {one["code"]: (one["detail"], one["figures"]) for one in found if one["code"] in CASES}


@pytest.mark.parametrize("body", [case for pairs in CASES.values() for pair in pairs for case in pair])
@pytest.mark.parametrize("dated", [True, False])
def test_a_quote_tells_of_recycling_what_the_warnings_tell(client: FlaskClient, body: Case, *, dated: bool) -> None:
    """The rule asks for facts that a record has (Sch.29 para 3A), so a quote of the same lump sum says the same, with or without
    its day."""
    in_the_warnings = told_of_recycling(client, "/v1/warnings", body)
    assert told_of_recycling(client, "/v1/withdrawal-tax", in_a_quote(body, dated=dated)) == in_the_warnings


def test_a_quote_names_the_charges_in_pounds(client: FlaskClient) -> None:
    """PTM133850 example 1: 25,000 of 100,000 bears 40% and, as a quarter of the fund, 15% more: 13,750."""
    reply = client.post("/v1/withdrawal-tax", json=in_a_quote(recycled())).get_json()
    (charges,) = [one for one in reply["warnings"] if one["code"] == "recycling_charges"]
    assert (charges["effect"], charges["amount"], charges["figures"]["tax_charges"]) == ("costs", 13_750, 13_750)
    assert "\u00a313,750" in charges["detail"]


def test_a_yearly_contribution_is_that_of_the_tax_year(client: FlaskClient) -> None:
    """20,000 a year beside 5,000 that is usual, and a lump sum of 50,000, whose 30% is 15,000: not more than that (PTM133830);
    with 100 pounds more it is."""
    yearly = {"yearly": 20_000, "relief": "relief_at_source"}
    for amount, codes in ((20_000, set()), (20_100, {"recycling_may_apply"})):
        body = unplanned(0)
        body["withdrawals"] = [w("pcls", 50_000)]
        person = body["household"]["people"][0]
        person["contributions"] = [{**yearly, "yearly": amount}]
        person["circumstances"]["usual_contributions"] = 5_000
        person["pensions"] = [{"uncrystallised": 200_000}]
        assert set(told_of_recycling(client, "/v1/withdrawal-tax", in_a_quote(body))) == codes
        assert set(told_of_recycling(client, "/v1/warnings", body)) == codes


def test_what_a_defined_benefit_pension_builds_up_is_not_paid_in() -> None:
    """The rule looks at contributions (Sch.29 para 3A); the amount of a defined benefit pension is what it grows by (s.234)."""
    for saving, told in (("money_purchase", True), ("defined_benefit", False)):
        body = request(
            w("pcls", 20_000),
            pension={"uncrystallised": 100_000, "drawdown": 0},
            income=income(employment=40_000),
            contributions=[{"yearly": 12_000, "saving": saving, "relief": "net_pay"}],
        )
        assert ("usual_contributions_not_given" in by_code(body)) == told
