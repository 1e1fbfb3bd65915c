"""How sure a plan is, as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.law.units import Pence
from service.planning.cases import Cases
from service.planning.schedule.schedule import Schedule
from service.planning.schedule.sensitivity import EFFORT, Outcome
from service.schemas.sensitivity import case_answer
from service.schemas.units import in_pounds, pounds


def sensitivity_answer(cases: Cases, as_assumed: Outcome, outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """What each case comes to beside the plan as assumed."""
    return {
        "effort": EFFORT,
        "as_assumed": _outcome(as_assumed),
        "cases": [
            {**case_answer(case), **_outcome(outcome), **_beside(as_assumed, outcome)}
            for case, outcome in zip(cases.changed, outcomes, strict=True)
        ],
    }


def _outcome(outcome: Outcome) -> dict[str, Any]:
    result = outcome.result
    if result is None:
        return {"outcome": "impossible", "reason": outcome.reason}
    found: dict[str, Any] = {
        "outcome": "found",
        "wealth_after_tax": pounds(result.totals.wealth_after_tax),
        "wealth_after_tax_in_prices_of_start": pounds(result.totals.wealth_after_tax_in_prices_of_start),
        "first_year": [in_pounds(person, _FIRST_YEAR) for person in outcome.first_year],
    }
    if result.question.is_for_beneficiaries:
        found["beneficiaries_receive"] = pounds(_received(result))
    if result.steady_income is not None:
        found["yearly_income"] = pounds(result.steady_income.amount)
    return found


def _beside(as_assumed: Outcome, outcome: Outcome) -> dict[str, Any]:
    if as_assumed.result is None or outcome.result is None:
        return {}
    more = outcome.result.totals.wealth_after_tax - as_assumed.result.totals.wealth_after_tax
    document = {"more_wealth": pounds(more), "first_year_changes": outcome.first_year_changes}
    if as_assumed.result.question.is_for_beneficiaries:
        document["more_to_beneficiaries"] = pounds(_received(outcome.result) - _received(as_assumed.result))
    return document


def _received(result: Schedule) -> Pence:
    """What beneficiaries receive of a plan."""
    return result.question.estate_left(result.projection).beneficiaries_receive


_FIRST_YEAR = ("withdrawn", "tax_free", "isa_subscription")
