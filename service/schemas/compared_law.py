"""The same question under another law, as JSON: which amounts differ, by how much, and which warnings come or go.

Both answers are documents of one form. So a number is compared with that at the same place of the other, and nothing here knows
any of the four questions. Of each tax year there are the household's main amounts; whoever wants more asks again, with that
``law``. ``compared_law_words.py`` says the main differences in sentences.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service.figures.proposals import KNOWN
from service.planning.faults import RuleViolation
from service.schemas.compared_law_words import sentences
from service.schemas.rules import Versions, law_answer

_APART = frozenset({"rules", "warnings", "charts", "working", "curve", "slices", "steps", "years", "compared_years"})
"""Parts of an answer that are told by themselves, or that go into the details of its sums."""

_OF_A_YEAR = ("withdrawn", "income_tax", "wealth_before_tax", "wealth_after_tax")
"""Amounts of a household in a tax year that are compared, where the answer has them."""


def compared_law(document: Mapping[str, Any], other: Mapping[str, Any], versions: Versions) -> dict[str, Any]:
    """What the ``other`` answer has otherwise; ``versions`` are those of its law."""
    codes = [Counter(warning["code"] for warning in each["warnings"]) for each in (document, other)]
    return {
        **_law(versions),
        "outcome": "found",
        "summary": sentences(document, other, None if versions.proposed is None else versions.proposed.title),
        "differences": [*_differences(document, other, "#"), *_of_warnings(document["warnings"], other["warnings"])],
        **_of_years(document, other),
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
        yield {"pointer": pointer, **_both(one, other)}


def _of_years(document: Mapping[str, Any], other: Mapping[str, Any]) -> dict[str, Any]:
    """The tax years of a plan under both laws, or those of each option; nothing where the answer has no tax years."""
    if "years" in document:
        return {"years": list(_years(document["years"], other["years"]))}
    if "options" not in document:
        return {}
    both = zip(document["options"], other["options"], strict=True)
    return {
        "options": [
            {"option": one["option"], "years": list(_years(one["years"], beside["years"]))}
            for one, beside in both
            if "years" in one and "years" in beside
        ]
    }


def _years(some: Sequence[Mapping[str, Any]], others: Sequence[Mapping[str, Any]]) -> Iterator[dict[str, Any]]:
    beside = {year["tax_year"]: year["household"] for year in others}
    for year in some:
        if year["tax_year"] in beside:
            one, other = year["household"], beside[year["tax_year"]]
            amounts = {key: _both(one[key], other[key]) for key in _OF_A_YEAR if key in one}
            yield {"tax_year": year["tax_year"], **amounts}


def _both(value: float, compared: float) -> dict[str, float]:
    return {"value": value, "compared": compared, "difference": round(compared - value, _DECIMALS)}


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
