"""How sure a plan or a comparison is: each case is the answer to a request with that one assumption changed by hand."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.benchmarks.questions import CALCULATIONS, question

REQUESTS = Path(__file__).parents[2] / "examples" / "requests"
PLAN, TIMING = "/v1/allowance-schedule", "/v1/lump-sum-timing"
STEPS = {"growth": 0.02, "price_inflation": 0.005, "drawn_over_years": 7, "length_of_life": 3}


def request_of(name: str) -> dict[str, Any]:
    body: dict[str, Any] = json.loads((REQUESTS / f"{name}.json").read_bytes())
    return body


def plan(goal: str = "most_after_tax", **assumptions: Any) -> dict[str, Any]:
    """A couple's plan; the second pension has a growth of its own."""
    body = request_of("plan-couple-most-after-tax")
    body["aim"] = {"goal": goal}
    body["assumptions"] = {"pension_growth": 0.04, "isa_growth": 0.03, "price_inflation": 0.02, **assumptions}
    return body


def ask(client: FlaskClient, path: str, body: dict[str, Any]) -> dict[str, Any]:
    reply = client.post(path, json=body)
    assert reply.status_code == 200, reply.text
    answer: dict[str, Any] = reply.get_json()
    return answer


def by_hand(body: dict[str, Any], case: dict[str, Any]) -> dict[str, Any]:
    """The request with one assumption changed, as somebody would who knows only the interface."""
    changed = copy.deepcopy(body)
    changed.pop("sensitivity", None)
    if "aim" in changed and "end_date" in changed:
        changed["search"] = {"effort": "quick"}
    assumed = changed.setdefault("assumptions", {})
    assumed.pop("scenarios", None)
    sign, by = {"up": 1, "down": -1}[case["change"]], case["by"]
    match case["assumption"]:
        case "growth":
            for name in ("pension_growth", "isa_growth"):
                assumed[name] = round(assumed.get(name, 0) + sign * by, 4)
            for person in changed["household"]["people"]:
                for pension in person.get("pensions", ()):
                    if "growth" in pension:
                        pension["growth"] = round(pension["growth"] + sign * by, 4)
        case "price_inflation":
            assumed["price_inflation"] = round(assumed.get("price_inflation", 0) + sign * by, 4)
        case "drawn_over_years":
            now = assumed.get("tax_on_remaining_pension", {}).get("drawn_over_years", 20)
            assumed["tax_on_remaining_pension"] = {"drawn_over_years": now + sign * by}
        case "tax_rate_on_remaining_pension":
            now = assumed.pop("tax_rate_on_remaining_pension", None)
            now = assumed.get("tax_on_remaining_pension", {}).get("rate", now)
            assumed["tax_on_remaining_pension"] = {"rate": round(now + sign * by, 4)}
        case "length_of_life" if "to_age" in changed:
            changed["to_age"] += sign * by
        case "length_of_life":
            year, rest = changed["end_date"].split("-", 1)
            changed["end_date"] = f"{int(year) + sign * by}-{rest}"
    return changed


def first_year(answer: dict[str, Any]) -> list[dict[str, float]]:
    """What people do in the first year, from the years of a whole answer."""
    return [
        {
            "withdrawn": round(sum(one["gross"] for one in person["withdrawals"]) + person.get("lump_sum", 0), 2),
            "isa_subscription": person["isa_subscription"],
        }
        for person in answer["years"][0]["people"]
    ]


@pytest.mark.parametrize("goal", ["personal_allowance", "most_after_tax", "steady_income"])
def test_each_case_of_a_plan_is_the_plan_with_that_assumption(client: FlaskClient, goal: str) -> None:
    body = plan(goal)
    found = ask(client, PLAN, {**body, "sensitivity": STEPS})
    sensitivity = found["sensitivity"]
    base = ask(client, PLAN, {**body, "search": {"effort": "quick"}})
    assert sensitivity["effort"] == "quick"
    assert sensitivity["as_assumed"]["wealth_after_tax"] == base["totals"]["wealth_after_tax"]
    assert [(case["assumption"], case["change"]) for case in sensitivity["cases"]] == [
        (name, change) for name in STEPS for change in ("up", "down")
    ]
    for case in sensitivity["cases"]:
        assert case["by"] == STEPS[case["assumption"]]
        reply = client.post(PLAN, json=by_hand(body, case))
        assert (reply.status_code == 200) == (case["outcome"] == "found")
        if reply.status_code != 200:
            assert case["reason"]
            continue
        alone = reply.get_json()
        assert case["wealth_after_tax"] == alone["totals"]["wealth_after_tax"]
        more = round(case["wealth_after_tax"] - base["totals"]["wealth_after_tax"], 2)
        assert case["more_wealth"] == more
        if goal == "steady_income":
            assert case["yearly_income"] == alone["steady_income"]["amount"]
        years = [first_year(answer) for answer in (base, alone)]
        for person, own in zip(case["first_year"], years[1], strict=True):
            assert {key: person[key] for key in own} == own
        moved = any(abs(one[key] - other[key]) >= 1 for one, other in zip(*years, strict=True) for key in one)
        assert moved <= case["first_year_changes"]
    # The plan itself is as it is without.
    found.pop("sensitivity")
    assert found == ask(client, PLAN, body)


def test_each_case_of_a_comparison_is_the_comparison_with_that_assumption(client: FlaskClient) -> None:
    body = request_of("timing-before-and-after-april-2027")
    found = ask(client, TIMING, {**body, "sensitivity": STEPS})
    sensitivity = found["sensitivity"]
    as_assumed = sensitivity["as_assumed"]["wealth_after_tax"]
    assert as_assumed == found["ranking"]["wealth_after_tax"]
    body.pop("deaths", None)
    for case in sensitivity["cases"]:
        reply = client.post(TIMING, json=by_hand(body, case))
        assert (reply.status_code == 200) == (case["outcome"] == "found")
        if reply.status_code != 200:
            assert case["reason"]
            continue
        alone = reply.get_json()
        assert case["wealth_after_tax"] == alone["ranking"]["wealth_after_tax"]
        assert case["leader_changes"] == (case["wealth_after_tax"][0]["option"] != as_assumed[0]["option"])
    found.pop("sensitivity")
    assert found == ask(client, TIMING, request_of("timing-before-and-after-april-2027"))


def test_a_step_of_nothing_changes_nothing(client: FlaskClient) -> None:
    body = plan("most_after_tax", tax_on_remaining_pension={"rate": 0.2})
    nothing = {"growth": 0, "price_inflation": 0, "tax_rate_on_remaining_pension": 0}
    sensitivity = ask(client, PLAN, {**body, "sensitivity": nothing})["sensitivity"]
    for case in sensitivity["cases"][:6]:
        assert case["more_wealth"] == case["by"] == 0
        assert not case["first_year_changes"]
        assert case["first_year"] == sensitivity["as_assumed"]["first_year"]


def test_more_growth_never_leaves_less_and_a_higher_rate_never_more(client: FlaskClient) -> None:
    body = plan("personal_allowance", tax_rate_on_remaining_pension=0.3)
    cases = {
        (case["assumption"], case["change"]): case["more_wealth"]
        for case in ask(client, PLAN, {**body, "sensitivity": {}})["sensitivity"]["cases"]
    }
    assert cases["growth", "down"] < 0 < cases["growth", "up"]
    assert cases["tax_rate_on_remaining_pension", "up"] <= 0 <= cases["tax_rate_on_remaining_pension", "down"]


def test_a_step_stops_at_a_limit_and_says_so(client: FlaskClient) -> None:
    body = plan("personal_allowance", tax_on_remaining_pension={"rate": 0.03})
    cases = ask(client, PLAN, {**body, "sensitivity": {}})["sensitivity"]["cases"]
    assert [case["by"] for case in cases if case["assumption"] == "tax_rate_on_remaining_pension"] == [0.05, 0.03]
    body = plan("personal_allowance", tax_on_remaining_pension={"drawn_over_years": 3})
    cases = ask(client, PLAN, {**body, "sensitivity": {}})["sensitivity"]["cases"]
    assert [case["by"] for case in cases if case["assumption"] == "drawn_over_years"] == [5, 2]


def test_a_plan_that_would_end_before_it_begins(client: FlaskClient) -> None:
    body = {**request_of("plan-personal-allowance"), "sensitivity": {}}
    last = ask(client, PLAN, body)["sensitivity"]["cases"][-1]
    assert (last["assumption"], last["change"], last["outcome"]) == ("length_of_life", "down", "impossible")
    assert last["reason"] == "The plan would end before it begins."
    body = {**request_of("timing-before-and-after-april-2027"), "sensitivity": {"length_of_life": 20}}
    last = ask(client, TIMING, body)["sensitivity"]["cases"][-1]
    assert (last["outcome"], last["reason"]) == ("impossible", "The comparison would end before it begins.")


@pytest.mark.parametrize(
    ("assumptions", "step", "instead"),
    [
        ({}, "tax_rate_on_remaining_pension", "drawn_over_years"),
        ({"tax_rate_on_remaining_pension": 0.2}, "drawn_over_years", "tax_rate_on_remaining_pension"),
        ({"tax_on_remaining_pension": {"rate": 0.2}}, "drawn_over_years", "tax_rate_on_remaining_pension"),
    ],
)
def test_a_step_of_the_tax_that_is_not_assumed(
    client: FlaskClient, assumptions: dict[str, Any], step: str, instead: str
) -> None:
    value = 10 if step == "drawn_over_years" else 0.1
    reply = client.post(PLAN, json={**plan("personal_allowance", **assumptions), "sensitivity": {step: value}})
    (fault,) = reply.get_json()["errors"]
    assert (reply.status_code, fault["pointer"], fault["code"]) == (422, f"#/sensitivity/{step}", "only-with")
    assert f"Give `{instead}` instead." in fault["detail"]


@pytest.mark.parametrize(
    ("path", "name"), [("/v1/withdrawal-tax", "first-ufpls"), ("/v1/warnings", "warnings-saves-and-withdraws")]
)
def test_questions_of_one_year_have_no_such_table(client: FlaskClient, path: str, name: str) -> None:
    reply = client.post(path, json={**request_of(name), "sensitivity": {}})
    (fault,) = reply.get_json()["errors"]
    assert (reply.status_code, fault["pointer"], fault["code"]) == (422, "#/sensitivity", "unknown-field")


def test_bulk_has_the_same_table(client: FlaskClient) -> None:
    body = {**request_of("plan-personal-allowance"), "sensitivity": {}}
    line = json.dumps({"id": 1, "request": body}).encode()
    reply = client.post(f"/v1/bulk{PLAN.removeprefix('/v1')}", data=line, content_type="application/x-ndjson")
    assert json.loads(reply.data.splitlines()[0])["result"] == ask(client, PLAN, body)


def test_cases_count_as_that_many_plans() -> None:
    """Eight cases, the plan beside them and the plan itself: what is light alone takes a place for heavy work with them."""
    body = {**request_of("plan-personal-allowance"), "end_date": "2033-04-05"}
    calculation = CALCULATIONS["allowance-schedule"]
    assert not calculation.is_heavy(question("allowance-schedule", body))
    assert calculation.is_heavy(question("allowance-schedule", {**body, "sensitivity": {}}))
