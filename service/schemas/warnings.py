"""A warning as JSON, in any answer."""

from __future__ import annotations

from typing import Any

from service.planning.warnings.warning import ClientWarning
from service.schemas.problems import pointer
from service.schemas.units import fraction, pounds


def warning(found: ClientWarning) -> dict[str, Any]:
    """A warning as JSON: its amounts in pounds, its rates as fractions."""
    code, effect, title, detail, path, sources, status, money, counts, rates, _, tax_year = found
    figures: dict[str, float] = {}
    for name, amount in money.items():
        figures[name] = pounds(amount)
    if rates:
        for name, rate in rates.items():
            figures[name] = fraction(rate)
    if counts:
        figures.update(counts)
    document: dict[str, Any] = {
        "code": code,
        "effect": effect,
        "title": title,
        "detail": detail,
        "figures": figures,
        "pointer": pointer(path),
        "sources": sources,
        "status": status,
    }
    if tax_year is not None:
        document["tax_year"] = tax_year
    return document
