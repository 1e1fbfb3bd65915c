"""Requests generated from the agreement: every answer keeps to it, and what it forbids is refused."""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from service import create_app
from service.settings import Settings

from .agreement import DOCUMENT_PATH

# A body may keep to the agreement and still be impossible, such as a payment of more than the pot holds. That
# is a 422 of its own type; the check below holds it to that type.
CONFIG = SchemathesisConfig.from_dict(
    {
        "generation": {"deterministic": True, "max-examples": 50},
        "operations": [
            {
                "include-operation-id": "calculateWithdrawalTax",
                "checks": {"positive_data_acceptance": {"expected-statuses": ["2xx", "422"]}},
            }
        ],
    }
)


@schemathesis.check
def well_formed_body_is_refused_only_as_a_rule_violation(
    ctx: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case
) -> None:
    """A body that keeps to the agreement may be impossible to compute, but is never called malformed."""
    if case.method == "POST" and response.status_code == 422 and is_well_formed(case):
        assert response.json()["code"] == "rule-violation", response.text


@schemathesis.check
def answer_adds_up(ctx: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case) -> None:
    """The parts of an answer agree with one another, to the penny."""
    if case.method == "POST" and response.status_code == 200:
        assert sums_that_fail(response.json()) == []


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
