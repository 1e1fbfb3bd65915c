"""The same question under another law, as JSON: which amounts differ, by how much, and which warnings come or go.

Both answers are documents of one form. So a number is compared with that at the same place of the other, and nothing here knows
any of the four questions. What there is for each tax year is left out: whoever wants it asks again, with that ``law``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service.figures.proposals import KNOWN
from service.planning.faults import RuleViolation
from service.schemas.rules import Versions, law_answer

_APART = frozenset({"rules", "warnings", "charts", "working", "curve", "slices", "steps", "years", "compared_years"})
"""Parts of an answer that are told by themselves, or that go into the details of its sums."""


def compared_law(document: Mapping[str, Any], other: Mapping[str, Any], versions: Versions) -> dict[str, Any]:
    """What the ``other`` answer has otherwise; ``versions`` are those of its law."""
    codes = [Counter(warning["code"] for warning in each["warnings"]) for each in (document, other)]
    return {
        **_law(versions),
        "outcome": "found",
        "differences": [*_differences(document, other, "#"), *_of_warnings(document["warnings"], other["warnings"])],
        "warnings_come": sorted((codes[1] - codes[0]).elements()),
        "warnings_go": sorted((codes[0] - codes[1]).elements()),
        "rules": other["rules"],
        "notice": other["notice"],
    }


def not_by_that_law(violation: RuleViolation, versions: Versions) -> dict[str, Any]:
    """That the other law does not allow what is asked, and why."""
    reason = " ".join(fault.detail for fault in violation.faults)
    return {**_law(versions), "outcome": "impossible", "reason": reason}


def _law(versions: Versions) -> dict[str, Any]:
    if versions.proposed is None:
        return {"name": KNOWN}
    law = law_answer(versions.proposed)
    return {"name": law["name"], "title": law["title"]}


def _differences(one: Any, other: Any, pointer: str) -> Iterator[dict[str, Any]]:
    """Numbers that stand at the same place in both and are not the same. Lists of another length are of other things, such as
    the growth at which two options change places."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key, value in one.items():
            if key in other and key not in _APART:
                yield from _differences(value, other[key], f"{pointer}/{key}")
    elif isinstance(one, list) and isinstance(other, list):
        if len(one) == len(other):
            for place, (value, beside) in enumerate(zip(one, other, strict=True)):
                yield from _differences(value, beside, f"{pointer}/{place}")
    elif isinstance(one, float) and isinstance(other, float) and one != other:
        yield {"pointer": pointer, "value": one, "compared": other, "difference": round(other - one, _DECIMALS)}


def _of_warnings(some: Sequence[Mapping[str, Any]], others: Sequence[Mapping[str, Any]]) -> Iterator[dict[str, Any]]:
    """The amounts of warnings that both have: those of one code about the same people and pensions, in their order."""
    left = list(others)
    for place, warning in enumerate(some):
        same = next((each for each in left if all(each.get(key) == warning.get(key) for key in _ABOUT)), None)
        if same is not None:
            left.remove(same)
            yield from _differences(warning.get("amount"), same.get("amount"), f"#/warnings/{place}/amount")


_ABOUT = ("code", "person", "pension", "options", "tax_year")
"""What says of two warnings that they are the same one."""

_DECIMALS = 8
"""Those of a growth rate, which has the most."""
