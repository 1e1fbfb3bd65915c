"""What a problem says would be permitted is permitted: sent in place of the amount at fault, it is answered, or what is then
refused is something else."""

from __future__ import annotations

import copy
from typing import Any

from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.bodies import value_at
from tests.households import amounts, pounds, requests

PERSON: dict[str, Any] = {"date_of_birth": "1962-06-01", "tax_residence": "england"}
OF_AN_AMOUNT = ("more-than-the-pot", "over-permitted-maximum", "small-pot-over-limit", "net-wanted-out-of-reach")
each_client = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
days = st.sampled_from(("2026-07-01", "2026-09-01", "2027-05-01"))
methods = st.sampled_from(("pcls", "pcls_and_drawdown", "ufpls", "drawdown", "small_pot"))


def household_with(*pensions: dict[str, Any], **more: Any) -> dict[str, Any]:
    """One person with these pensions."""
    return {"people": [{**PERSON, "pensions": list(pensions), **more}]}


def followed(client: FlaskClient, path: str, body: dict[str, Any]) -> dict[str, Any] | None:
    """The problem of a request that cannot be; None where it can. What it says is permitted is followed and must do."""
    reply = client.post(path, json=body)
    if reply.status_code == 200:
        return None
    problem: dict[str, Any] = reply.get_json()
    at_fault = [error["pointer"] for error in problem["errors"] if error["code"] in OF_AN_AMOUNT]
    if "permitted" in problem:
        assert problem["permitted"] > 0
        other = copy.deepcopy(body)
        pointer = at_fault[0][1:]
        parent, name = pointer.rsplit("/", 1)
        assert value_at(other, parent)[name] > problem["permitted"]
        value_at(other, parent)[name] = problem["permitted"]
        again = client.post(path, json=other)
        if again.status_code != 200:
            assert at_fault[0] not in [error["pointer"] for error in again.get_json()["errors"]]
    return problem


@each_client
@given(requests(), st.sampled_from(("amount", "net_wanted")), amounts(2_000_000).map(pounds))
def test_of_a_single_withdrawal(client: FlaskClient, body: dict[str, Any], asked: str, more: float) -> None:
    [pension] = body["household"]["people"][0]["pensions"]
    held = pension["uncrystallised"] + pension["drawdown"]
    body["withdrawal"] = {"method": body["withdrawal"]["method"], asked: round(held + 0.01 + more, 2)}
    problem = followed(client, "/v1/withdrawal-tax", body)
    # More than the whole pension is too much by every method.
    assert problem is not None
    assert any(
        error["code"] in (*OF_AN_AMOUNT, "no-such-allowance-yet", "code-not-in-use") for error in problem["errors"]
    )


@each_client
@given(
    st.lists(
        st.fixed_dictionaries({"method": methods, "amount": amounts(200_000).map(pounds), "date": days}),
        min_size=1,
        max_size=4,
    ),
    amounts(300_000).map(pounds),
    amounts(300_000).map(pounds),
)
def test_of_withdrawals_one_after_another(
    client: FlaskClient, withdrawals: list[dict[str, Any]], uncrystallised: float, drawdown: float
) -> None:
    household = household_with({"uncrystallised": uncrystallised, "drawdown": drawdown})
    asked = {"household": household, "date": "2026-06-01", "withdrawals": withdrawals}
    followed(client, "/v1/warnings", asked)
    too_much = [{**withdrawals[0], "amount": round(uncrystallised + drawdown + 0.01, 2)}]
    problem = followed(client, "/v1/warnings", {**asked, "withdrawals": too_much})
    assert problem is not None
    assert problem["code"] == "rule-violation"


def test_where_nothing_is_there_nothing_is_said_to_be_permitted(client: FlaskClient) -> None:
    """Each of these was refused with a figure that was refused in its turn, or that was nothing."""
    used = {"lump_sum_allowances": {"lump_sum_allowance_used": 268_275}}
    for household, withdrawal in (
        (household_with({"uncrystallised": 12_000}), {"method": "small_pot", "amount": 12_000}),
        (household_with({"uncrystallised": 12_000}), {"method": "drawdown", "amount": 1}),
        (household_with({"uncrystallised": 0}), {"method": "ufpls", "amount": 1}),
        (household_with({"uncrystallised": 0, "drawdown": 1}), {"method": "pcls", "net_wanted": 1}),
        (household_with({"uncrystallised": 12_000}, **used), {"method": "pcls", "amount": 1}),
    ):
        asked = {"household": household, "tax_year": "2026-27", "withdrawal": withdrawal}
        problem = followed(client, "/v1/withdrawal-tax", asked)
        assert problem is not None
        assert "permitted" not in problem


@each_client
@given(
    st.lists(amounts(200_000).map(pounds), min_size=2, max_size=4),
    st.integers(0, 3),
    methods,
    st.sampled_from(("amount", "net_wanted")),
)
def test_of_one_of_several_pensions(
    client: FlaskClient, held: list[float], place: int, method: str, asked: str
) -> None:
    """The figure is that of the pension asked about, not of all together."""
    place %= len(held)
    household = household_with(*({"uncrystallised": each} for each in held))
    withdrawal = {"pension": place, "method": method, asked: round(held[place] + 0.01, 2)}
    body = {"household": household, "tax_year": "2026-27", "withdrawal": withdrawal}
    problem = followed(client, "/v1/withdrawal-tax", body)
    assert problem is not None
    assert problem.get("permitted", 0) <= held[place]


def test_it_is_said_of_what_the_method_draws_on(client: FlaskClient) -> None:
    for held, method, holds in (
        ({"uncrystallised": 5_000}, "ufpls", "uncrystallised funds hold"),
        ({"uncrystallised": 0, "drawdown": 5_000}, "drawdown", "drawdown funds hold"),
        ({"uncrystallised": 5_000}, "small_pot", "pension holds"),
    ):
        body = {
            "household": household_with(held),
            "tax_year": "2026-27",
            "withdrawal": {"method": method, "amount": 5_000.01},
        }
        problem = followed(client, "/v1/withdrawal-tax", body)
        assert problem is not None
        (error,) = problem["errors"]
        assert error["detail"] == f"The amount is more than the {holds}. At most £5,000 can be taken."
        assert problem["permitted"] == 5_000
