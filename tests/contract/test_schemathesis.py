"""Requests generated from the agreement: every answer keeps to it, and what it forbids is refused."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from service import create_app
from service.settings import Settings

from .agreement import DOCUMENT_PATH, JSON, NDJSON, operations

# A body may keep to the agreement and still be impossible, such as a payment of more than the pot holds or a plan that
# ends before it starts. That is a 422 of its own type; the check below holds it to that type.
POSSIBLY_IMPOSSIBLE = ("calculateWithdrawalTax", "planAllowanceSchedule")
IN_BULK = "calculateInBulk"
CONFIG = SchemathesisConfig.from_dict(
    {
        "generation": {"deterministic": True, "max-examples": 50},
        "operations": [
            {
                "include-operation-id": operation_id,
                "checks": {"positive_data_acceptance": {"expected-statuses": ["2xx", "422"]}},
            }
            for operation_id in POSSIBLY_IMPOSSIBLE
        ]
        + [
            {
                # The body is text: whatever is sent keeps to its shape, but there may be no record in it. And what is
                # wrong with a record is told inside a 200. test_bulk.py holds the lines to their shapes.
                "include-operation-id": IN_BULK,
                "checks": {
                    "positive_data_acceptance": {"expected-statuses": ["2xx", "400", "422"]},
                    "negative_data_rejection": {"enabled": False},
                },
            }
        ],
    }
)


@schemathesis.serializer(NDJSON)
def json_lines(_: schemathesis.SerializationContext, value: Any) -> bytes:
    """A body as it is sent: text as it is, anything else as one line of JSON."""
    text = value if isinstance(value, str) else json.dumps(value)
    return text.encode("utf-8", "surrogatepass")


@schemathesis.check
def well_formed_body_is_refused_only_as_a_rule_violation(
    ctx: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case
) -> None:
    """A body that keeps to the agreement may be impossible to compute, but is never called malformed."""
    if case.method == "POST" and case.media_type == JSON and response.status_code == 422 and is_well_formed(case):
        assert response.json()["code"] == "rule-violation", response.text


@schemathesis.check
def answer_adds_up(ctx: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case) -> None:
    """The parts of an answer agree with one another, to the penny."""
    if case.method == "POST" and case.media_type == JSON and response.status_code == 200:
        answer = response.json()
        assert (sums_of_a_plan_that_fail(answer) if "years" in answer else sums_that_fail(answer)) == []


def is_well_formed(case: schemathesis.Case) -> bool:
    """Return whether every part of the generated request was made to keep to the agreement."""
    return case.meta is not None and case.meta.generation.mode.is_positive


def pence(pounds: float) -> int:
    return round(pounds * 100)


def sums_that_fail(answer: dict[str, Any]) -> list[str]:
    """Return the names of the sums of a calculation answer that do not hold."""
    withdrawal, tax, payroll = answer["withdrawal"], answer["income_tax"], answer["payroll"]
    excess = withdrawal.get("taxed_as_excess", 0)
    charge = answer.get("lifetime_allowance", {}).get("charge", 0)
    net = pence(withdrawal["gross"]) - pence(tax["on_withdrawal"]) - pence(charge)
    sums = {
        "parts": pence(withdrawal["gross"])
        == pence(withdrawal["tax_free"]) + pence(withdrawal["taxable"]) + pence(excess),
        "total": pence(tax["total"]) == pence(tax["on_other_income"]) + pence(tax["on_withdrawal"]),
        "slices": pence(tax["on_withdrawal"]) == sum(pence(part["tax"]) for part in tax["slices"]),
        "net": pence(answer["net_after_tax"]) == net,
        "paid out": pence(payroll["paid_out"])
        == pence(withdrawal["gross"]) - pence(charge) - pence(payroll["tax_deducted"]),
        "one way": payroll["over_deducted"] == 0 or payroll["under_deducted"] == 0,
    }
    return [name for name, holds in sums.items() if not holds]


def sums_of_a_plan_that_fail(plan: dict[str, Any]) -> list[str]:
    """Return the names of the sums of a plan that do not hold, each with its tax year."""
    failed: list[str] = []
    before: list[dict[str, Any]] = []
    tax_so_far = 0
    for year in plan["years"]:
        people, household = year["people"], year["household"]
        tax_so_far += pence(household["income_tax"])
        sums = {
            "tax so far": pence(household["income_tax_so_far"]) == tax_so_far,
            "spending": pence(year["spending"]) == sum(pence(person["spent"]) for person in people),
            "withdrawn": pence(household["withdrawn"]) == sum(pence(one["withdrawal"]["gross"]) for one in people),
            "income tax": pence(household["income_tax"]) == sum(pence(one["income_tax"]) for one in people),
            "subscribed": pence(household["isa_subscriptions"])
            == sum(pence(one["isa_subscription"]) for one in people),
            "moved": sum(pence(one["moved_from_partner"]) for one in people) == 0,
            "carried over": all(
                pence(one[where]["opening"]) == pence(earlier[where]["closing"])
                for one, earlier in zip(people, before, strict=False)
                for where in ("pension", "isa", "cash")
            ),
        }
        for where in ("pension", "isa", "cash"):
            sums[where] = pence(household[where]) == sum(pence(one[where]["closing"]) for one in people)
        failed += [f"{name} in {year['tax_year']}" for name, holds in sums.items() if not holds]
        failed += [f"{name} in {year['tax_year']}" for person in people for name in sums_of_a_person_that_fail(person)]
        before = people
    totals = plan["totals"]
    of_years = {
        "withdrawn": sum(pence(year["household"]["withdrawn"]) for year in plan["years"]),
        "income_tax": tax_so_far,
        "isa_subscriptions": sum(pence(year["household"]["isa_subscriptions"]) for year in plan["years"]),
        "spent": sum(pence(year["spending"]) for year in plan["years"]),
        **{where: pence(plan["years"][-1]["household"][where]) for where in ("pension", "isa", "cash")},
    }
    failed += [f"{name} in all" for name, amount in of_years.items() if pence(totals[name]) != amount]
    if pence(totals["withdrawn"]) != pence(totals["tax_free"]) + pence(totals["taxable"]):
        failed.append("parts in all")
    for other in plan["compared_with"]:
        if other["possible"]:
            gain = pence(totals["wealth_after_tax"]) - pence(other["wealth_after_tax"])
            if pence(other["gain"]) != gain:
                failed.append(f"gain over {other['plan']}")
    if "proof" in plan:
        proof = plan["proof"]
        if pence(proof["objective"]) != pence(totals["wealth_after_tax"]):
            failed.append("objective")
        if pence(proof["gap"]) != pence(proof["bound"]) - pence(proof["objective"]):
            failed.append("gap")
    return failed


def sums_of_a_person_that_fail(person: dict[str, Any]) -> list[str]:
    """Return the names of the sums of one person's tax year that do not hold."""
    withdrawal, pension, isa, cash = person["withdrawal"], person["pension"], person["isa"], person["cash"]
    gross, moved = pence(withdrawal["gross"]), pence(person["moved_from_partner"])
    came = pence(person["income_received"]) + gross + pence(person["isa_withdrawal"]) + max(0, moved)
    went = pence(person["income_tax"]) + pence(person["spent"]) + pence(person["isa_subscription"]) + max(0, -moved)
    sums = {
        "parts": gross == pence(withdrawal["tax_free"]) + pence(withdrawal["taxable"]),
        "funds": gross == pence(withdrawal["from_uncrystallised"]) + pence(withdrawal["from_drawdown"]),
        "pension left": pence(pension["closing"])
        == pence(pension["opening"]) + pence(pension["growth"]) - pence(pension["withdrawn"])
        == pence(pension["uncrystallised"]) + pence(pension["drawdown"]),
        "withdrawn from the pension": gross == pence(pension["withdrawn"]),
        "isa left": pence(isa["closing"])
        == pence(isa["opening"]) + pence(isa["growth"]) + pence(isa["paid_in"]) - pence(isa["paid_out"]),
        "into the isa": pence(isa["paid_in"]) == pence(person["isa_subscription"]),
        "out of the isa": pence(isa["paid_out"]) == pence(person["isa_withdrawal"]),
        "cash left": pence(cash["closing"])
        == pence(cash["opening"]) + pence(cash["interest"]) + pence(cash["paid_in"]) - pence(cash["paid_out"]),
        "interest": pence(person["interest"]) == pence(cash["interest"]),
        "into cash": pence(cash["paid_in"]) == came,
        "out of cash": pence(cash["paid_out"]) == went,
    }
    return [name for name, holds in sums.items() if not holds]


schema = schemathesis.openapi.from_path(DOCUMENT_PATH, config=CONFIG)
schema.app = create_app(Settings.for_tests())


# The caller that Schemathesis uses in-process leaves the files of /docs to the garbage collector.
@pytest.mark.filterwarnings("ignore:Exception ignored in:pytest.PytestUnraisableExceptionWarning")
@schema.parametrize()
@settings(suppress_health_check=list(HealthCheck))
def test_generated_requests(case: schemathesis.Case) -> None:
    case.call_and_validate()


def test_journeys_along_the_links() -> None:
    schema.as_state_machine().run(
        settings=settings(
            max_examples=15,
            stateful_step_count=3,
            derandomize=True,
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        )
    )


def planted(answer: dict[str, Any], *path: str, value: Any) -> dict[str, Any]:
    """Return the answer with one value changed."""
    key, *rest = path
    return {**answer, key: planted(answer[key], *rest, value=value) if rest else value}


@pytest.mark.parametrize(
    ("path", "name"),
    [
        (("withdrawal", "tax_free"), "parts"),
        (("income_tax", "total"), "total"),
        (("income_tax", "slices"), "slices"),
        (("net_after_tax",), "net"),
        (("payroll", "paid_out"), "paid out"),
    ],
)
def test_check_of_the_sums_finds_a_wrong_penny(path: tuple[str, ...], name: str) -> None:
    answer: dict[str, Any] = {
        "withdrawal": {"gross": 100.0, "tax_free": 25.0, "taxable": 75.0},
        "income_tax": {
            "on_other_income": 10.0,
            "on_withdrawal": 15.0,
            "total": 25.0,
            "slices": [{"tax": 15.0}],
        },
        "net_after_tax": 85.0,
        "payroll": {"paid_out": 80.0, "tax_deducted": 20.0, "over_deducted": 5.0, "under_deducted": 0.0},
    }
    assert sums_that_fail(answer) == []
    wrong: Any = [{"tax": 14.99}] if name == "slices" else 24.99
    assert sums_that_fail(planted(answer, *path, value=wrong)) == [name]


def values_of(node: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Yield the paths of all numbers of an answer, at every depth."""
    if isinstance(node, dict | list):
        for key, value in node.items() if isinstance(node, dict) else enumerate(node):
            yield from values_of(value, (*path, key))
    elif isinstance(node, int | float) and not isinstance(node, bool):
        yield path


# What no sum of the answer holds to another number of it: the model alone says what these are.
WITHOUT_A_SUM = {
    "assumptions",
    "scenarios",
    "warnings",
    "allowances",
    "in_todays_prices",
    "wealth_after_tax_in_todays_prices",
    "gain_in_todays_prices",
}


@pytest.mark.parametrize("name", ["corin_and_linnet_least_tax", "fern_fills_her_personal_allowance"])
def test_check_of_the_sums_of_a_plan_finds_a_wrong_penny(name: str) -> None:
    [plan] = [operation for operation in operations() if operation.id == "planAllowanceSchedule"]
    [answer] = [example for _, found, example in plan.response_examples_of("200") if found == name]
    assert sums_of_a_plan_that_fail(answer) == []
    unseen = []
    for path in values_of(answer):
        changed = copy.deepcopy(answer)
        here: Any = changed
        for key in path[:-1]:
            here = here[key]
        here[path[-1]] += 0.01
        if not sums_of_a_plan_that_fail(changed):
            unseen.append(path)
    assert [path for path in unseen if WITHOUT_A_SUM.isdisjoint(path)] == [
        ("compared_with", position, "income_tax") for position in range(2)
    ]
