"""Lump sums at the edges of their law, as a quote answers them, and that a quote and POST /v1/warnings say the same."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from flask.testing import FlaskClient


def asked(
    client: FlaskClient,
    method: str,
    *,
    born: str = "1960-03-03",
    tax_year: str = "2026-27",
    day: str | None = None,
    pension: dict[str, Any] | None = None,
    person: dict[str, Any] | None = None,
    include: str = "",
    **amount: float,
) -> Any:
    household = {
        "people": [
            {
                "date_of_birth": born,
                "tax_residence": "england",
                "pensions": [pension or {"uncrystallised": 200_000}],
                **(person or {}),
            }
        ]
    }
    withdrawal = {"method": method, **amount, **({} if day is None else {"date": day})}
    body = {"tax_year": tax_year, "household": household, "withdrawal": withdrawal}
    return client.post(f"/v1/withdrawal-tax{include}", json=body).json


def codes(answer: Any) -> set[str]:
    return {warning["code"] for warning in answer["warnings"]}


def used(share: float) -> dict[str, Any]:
    """A person who has used a share of the lifetime allowance."""
    return {"lump_sum_allowances": {"lifetime_allowance_used": share}}


# From 75, to 2022-23: HMRC PTM088650


def test_drawdown_at_75_bears_no_lifetime_allowance_charge(client: FlaskClient) -> None:
    answer = asked(client, "pcls_and_drawdown", born="1940-01-01", tax_year="2021-22", person=used(1), amount=50_000)
    assert (answer["withdrawal"]["tax_free"], answer["withdrawal"]["taxable"]) == (0, 50_000)
    assert "taxed_as_excess" not in answer["withdrawal"]
    assert "lifetime_allowance" not in answer
    assert "lifetime_allowance_exceeded" not in codes(answer)


@pytest.mark.parametrize("amount", [{"amount": 50_000}, {"net_wanted": 20_000}])
def test_at_75_with_nothing_left_there_is_no_ufpls(client: FlaskClient, amount: dict[str, float]) -> None:
    answer = asked(client, "ufpls", born="1940-01-01", tax_year="2021-22", person=used(1), **amount)
    assert answer["status"] == 422
    assert "Use `pcls_and_drawdown`." in answer["detail"]


def test_a_ufpls_at_75_is_income_above_what_the_allowance_leaves(client: FlaskClient) -> None:
    """30% of 1,073,100 is 321,930, a quarter of it 80,482.50: 319,517.50 of 400,000 is taxed."""
    pension = {"uncrystallised": 1_000_000}
    answer = asked(
        client, "ufpls", born="1943-01-01", tax_year="2021-22", pension=pension, person=used(0.7), amount=400_000
    )
    assert (answer["withdrawal"]["tax_free"], answer["withdrawal"]["taxable"]) == (80_482.5, 319_517.5)


def test_the_day_decides_about_the_charge_in_the_year_of_the_75th_birthday(client: FlaskClient) -> None:
    """The day before, the day itself, and no day: then the charge stands, and the birthday is told."""

    def warned(day: str | None) -> dict[str, str]:
        answer = asked(
            client,
            "ufpls",
            born="1946-09-01",
            tax_year="2021-22",
            day=day,
            pension={"uncrystallised": 1_000_000},
            person=used(0.7),
            amount=400_000,
        )
        return {warning["code"]: warning["detail"] for warning in answer["warnings"]}

    assert "payment date" not in warned("2021-08-31")["lifetime_allowance_exceeded"]
    assert "lifetime_allowance_exceeded" not in warned("2021-09-01")
    assert "From 1 September 2021, at 75, nothing is charged." in warned(None)["lifetime_allowance_exceeded"]


def test_under_75_with_nothing_left_it_is_an_excess_lump_sum(client: FlaskClient) -> None:
    """FA 2004 s.215(2): 55% of 50,000. It is no UFPLS, and so no flexible access."""
    answer = asked(client, "ufpls", born="1956-09-01", tax_year="2021-22", person=used(1), amount=50_000)
    assert answer["lifetime_allowance"]["charge"] == 27_500
    assert not answer["allowances_remaining"]["money_purchase_annual_allowance"]["triggered"]
    assert [warning["code"] for warning in answer["warnings"] if "UFPLS" in warning["detail"]] == []


# A scheme's protected lump sum: FA 2004 Sch.36 paras 31-34


PROTECTED = {"uncrystallised": 200_000, "protected_tax_free_share": 0.4}


def test_a_protected_lump_sum_is_permitted_with_the_whole_pension(client: FlaskClient) -> None:
    answer = asked(client, "pcls", pension=PROTECTED, amount=80_000)
    assert answer["withdrawal"]["tax_free"] == 80_000
    assert (answer["pension_after"]["uncrystallised"], answer["pension_after"]["drawdown"]) == (0, 120_000)
    assert "protected_lump_sum_relied_on" in codes(answer)
    more = asked(client, "pcls", pension=PROTECTED, amount=80_000.01)
    assert (more["status"], more["permitted"]) == (422, 80_000)


def test_a_protected_lump_sum_is_refused_where_some_is_in_drawdown(client: FlaskClient) -> None:
    answer = asked(client, "pcls", pension={**PROTECTED, "drawdown": 1}, amount=50_000.01)
    assert (answer["status"], answer["permitted"]) == (422, 50_000)
    assert "in drawdown already" in answer["detail"]


def test_the_whole_of_a_protected_pension_is_drawn_with_its_protected_part(client: FlaskClient) -> None:
    answer = asked(client, "pcls_and_drawdown", pension=PROTECTED, amount=200_000)
    assert (answer["withdrawal"]["tax_free"], answer["withdrawal"]["taxable"]) == (80_000, 120_000)
    a_penny_less = asked(client, "pcls_and_drawdown", pension=PROTECTED, amount=199_999.99)
    assert a_penny_less["withdrawal"]["tax_free"] == 49_999.99


def test_the_gross_for_a_net_takes_the_whole_pension_where_no_part_reaches_it(client: FlaskClient) -> None:
    """All but a penny leaves ``before`` at the most, and all of it ``whole``."""
    before = asked(client, "pcls_and_drawdown", pension=PROTECTED, amount=199_999.99)["net_after_tax"]
    whole = asked(client, "pcls_and_drawdown", pension=PROTECTED, amount=200_000)["net_after_tax"]
    assert before < whole

    def gross(net: float) -> Any:
        found = asked(client, "pcls_and_drawdown", pension=PROTECTED, net_wanted=net)
        return found.get("withdrawal", {}).get("gross"), found.get("permitted")

    at_the_edge, _ = gross(before)
    assert at_the_edge < 200_000
    assert gross(round(before + 0.01, 2)) == (200_000, None)
    assert gross(whole) == (200_000, None)
    assert gross(round(whole + 0.01, 2)) == (None, whole)


def test_the_curve_of_a_protected_pension_ends_with_the_step(client: FlaskClient) -> None:
    answer = asked(client, "pcls_and_drawdown", pension=PROTECTED, amount=200_000, include="?include=curve")
    *_, before, last = answer["curve"]["points"]
    assert (before["gross"], last["gross"]) == (199_999.99, 200_000)
    for point in (before, last):
        quoted = asked(client, "pcls_and_drawdown", pension=PROTECTED, amount=point["gross"])
        assert (point["tax_free"], point["net"]) == (quoted["withdrawal"]["tax_free"], quoted["net_after_tax"])
    grosses = [point["gross"] for point in answer["curve"]["points"]]
    assert all(one < other for one, other in pairwise(grosses))


# A quote and POST /v1/warnings


SAME = [
    ({"pension": PROTECTED}, "pcls", 20_000),
    ({"pension": PROTECTED}, "pcls", 80_000),
    ({"pension": PROTECTED}, "ufpls", 20_000),
    ({"person": {"lump_sum_allowances": {"lifetime_allowance_used": 0.4}}}, "pcls", 10_000),
    (
        {
            "person": {
                "lump_sum_allowances": {
                    "lifetime_allowance_used": 0.4,
                    "tax_free_received_before_6_april_2024": 50_000,
                }
            }
        },
        "pcls",
        10_000,
    ),
    (
        {
            "person": {
                "lump_sum_allowances": {
                    "lifetime_allowance_used": 0.4,
                    "tax_free_received_before_6_april_2024": 250_000,
                }
            }
        },
        "pcls",
        10_000,
    ),
    ({"pension": {"uncrystallised": 9_000}}, "small_pot", 9_000),
    (
        {
            "pension": {"uncrystallised": 9_000, "scheme_kind": "personal"},
            "person": {"circumstances": {"small_pots_taken": 3}},
        },
        "small_pot",
        9_000,
    ),
    ({"person": {"lump_sum_allowances": {"protected_lump_sum_and_death_benefit_allowance": 9_000}}}, "pcls", 9_000),
]
TOPICS = (
    "protected_lump_sum_lost",
    "protected_lump_sum_relied_on",
    "protected_lump_sum_allowance_ignored",
    "tax_free_received_before_april_2024_decides",
    "transitional_certificate_worth_considering",
    "transitional_certificate_harmful",
    "small_pots_not_given",
    "too_many_small_pots",
)


@pytest.mark.parametrize(("facts", "method", "amount"), SAME)
def test_a_quote_says_what_the_warnings_say(
    client: FlaskClient, facts: dict[str, Any], method: str, amount: float
) -> None:
    answer = asked(client, method, day="2026-07-01", amount=amount, **facts)
    person = {
        "date_of_birth": "1960-03-03",
        "tax_residence": "england",
        "pensions": [facts.get("pension", {"uncrystallised": 200_000})],
        **facts.get("person", {}),
    }
    body = {
        "household": {"people": [person]},
        "date": "2026-06-01",
        "withdrawals": [{"method": method, "amount": amount, "date": "2026-07-01"}],
    }
    other = client.post("/v1/warnings", json=body).json

    def told(found: Any) -> list[tuple[str, str]]:
        each = [one for all_of in found["warnings"] for one in all_of.get("missing_facts", [all_of])]
        return sorted((one["code"], one["detail"]) for one in each if one["code"] in TOPICS)

    assert told(answer) == told(other)
    assert told(answer)


# Drawdown under 57 after 6 April 2028


RUNNING = {
    "people": [
        {
            "date_of_birth": "1972-06-01",
            "tax_residence": "england",
            "flexibly_accessed": True,
            "pensions": [{"uncrystallised": 0, "drawdown": 100_000}],
        }
    ]
}


def test_running_drawdown_is_unsettled_in_every_answer(client: FlaskClient) -> None:
    """55 on 1 June 2027, 57 on 1 June 2029: a quote and the warnings check it, a plan draws nothing in 2028-29 and says why."""
    withdrawal = {"method": "drawdown", "amount": 10_000, "date": "2028-09-01"}
    quoted = client.post(
        "/v1/withdrawal-tax", json={"tax_year": "2028-29", "household": RUNNING, "withdrawal": withdrawal}
    ).json
    warned = client.post(
        "/v1/warnings", json={"household": RUNNING, "date": "2028-06-01", "withdrawals": [withdrawal]}
    ).json
    for answer in (quoted, warned):
        assert [one["code"] for one in answer["warnings"] if one["effect"] == "not_permitted"] == []
        assert "drawdown_under_new_minimum_pension_age" in codes(answer)
    plan = {
        "household": RUNNING,
        "start_date": "2027-06-01",
        "end_date": "2030-04-05",
        "aim": {"goal": "personal_allowance"},
    }
    planned = client.post("/v1/allowance-schedule", json=plan).json
    drawn = {
        year["tax_year"]: sum(one["gross"] for person in year["people"] for one in person["withdrawals"])
        for year in planned["years"]
    }
    assert drawn["2028-29"] == 0
    assert drawn["2027-28"] > 0
    assert drawn["2029-30"] > 0
    (told,) = [one for one in planned["warnings"] if one["code"] == "minimum_pension_age_not_reached"]
    assert "not yet confirmed by HMRC" in " ".join(told["caveats"])
    assert "in 2028-29" in told["detail"]
