"""A warning as JSON, in any answer."""

from __future__ import annotations

from typing import Any

from service.planning.warnings.warning import ClientWarning
from service.schemas.problems import pointer


def warning(found: ClientWarning) -> dict[str, Any]:
    """A warning as JSON: its amounts in pounds, its rates as fractions."""
    figures: dict[str, float] = {}
    for name, amount in found.money.items():
        figures[name] = amount / 100
    for name, rate in found.rates.items():
        figures[name] = rate / 10_000
    figures.update(found.counts)
    document: dict[str, Any] = {
        "code": found.code,
        "effect": found.effect,
        "title": found.title,
        "detail": found.detail,
        "figures": figures,
        "pointer": pointer(found.path),
        "sources": list(found.sources),
        "status": found.status,
    }
    if found.tax_year is not None:
        document["tax_year"] = found.tax_year
    return document
