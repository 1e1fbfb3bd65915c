"""A warning as JSON, in any answer."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from service.law.units import POUND, WHOLE
from service.planning.warnings.warning import ClientWarning
from service.schemas.parts import EVERYTHING, Parts
from service.schemas.problems import pointer


def warnings_answer(found: Iterable[ClientWarning], wanted: Parts = EVERYTHING) -> list[dict[str, Any]]:
    """Warnings as JSON; where their codes alone are wanted, no more than those."""
    if in_codes(wanted):
        return [{"code": one.code} for one in found]
    return [warning(one) for one in found]


def in_codes(wanted: Parts) -> bool:
    """Whether of warnings the codes alone are wanted."""
    return wanted.names is not None and all(name == "code" for name in wanted.names)


def warning(found: ClientWarning) -> dict[str, Any]:
    """A warning as JSON: its amounts in pounds, its rates as fractions. What does not apply is left out."""
    figures: dict[str, float] = {}
    for name, amount in found.money.items():
        figures[name] = amount / POUND
    if found.rates:
        for name, rate in found.rates.items():
            figures[name] = rate / WHOLE
    if found.counts:
        figures.update(found.counts)
    document: dict[str, Any] = {
        "code": found.code,
        "effect": found.effect,
        "title": found.title,
        "detail": found.detail,
    }
    if found.cost:
        document["amount"] = found.cost / POUND
    document["figures"] = figures
    if found.person is not None:
        document["person"] = found.person
    if found.pension is not None:
        document["pension"] = found.pension
    if found.options:
        document["options"] = found.options
    document["pointer"] = pointer(found.path)
    document["sources"] = found.sources
    document["standing"] = found.standing
    if found.tax_year is not None:
        document["tax_year"] = found.tax_year
    if found.caveats:
        document["caveats"] = found.caveats
    if found.missing_facts:
        document["missing_facts"] = [warning(one) for one in found.missing_facts]
    return document
