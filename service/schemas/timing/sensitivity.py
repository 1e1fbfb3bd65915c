"""How sure a comparison is, as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.planning.cases import Cases
from service.planning.timing.sensitivity import Outcome
from service.schemas.sensitivity import case_answer
from service.schemas.units import pounds


def sensitivity_answer(cases: Cases, as_assumed: Outcome, outcomes: Sequence[Outcome]) -> dict[str, Any]:
    """What each case comes to beside the comparison as assumed."""
    return {
        "as_assumed": _outcome(as_assumed),
        "cases": [
            {**case_answer(case), **_outcome(outcome), **_beside(as_assumed, outcome)}
            for case, outcome in zip(cases.changed, outcomes, strict=True)
        ],
    }


def _outcome(outcome: Outcome) -> dict[str, Any]:
    if not outcome.by_wealth:
        return {"outcome": "impossible", "reason": outcome.reason}
    return {
        "outcome": "found",
        "wealth_after_tax": [{"option": one.option, "amount": pounds(one.amount)} for one in outcome.by_wealth],
    }


def _beside(as_assumed: Outcome, outcome: Outcome) -> dict[str, Any]:
    if not as_assumed.by_wealth or not outcome.by_wealth:
        return {}
    return {"leader_changes": outcome.leader_changes, "first_year_changes": outcome.first_year_changes}
