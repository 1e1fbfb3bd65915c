"""The request and the answer of POST /v1/warnings, and a warning in any answer."""

from __future__ import annotations

from typing import Any

from service.planning.warnings.warning import Warning
from service.schemas.problems import pointer


def warning(found: Warning) -> dict[str, Any]:
    """A warning as JSON: its amounts in pounds, its rates as fractions."""
    document: dict[str, Any] = {
        "code": found.code,
        "effect": found.effect,
        "title": found.title,
        "detail": found.detail,
        "figures": {
            **{name: amount / 100 for name, amount in found.money.items()},
            **{name: rate / 10_000 for name, rate in found.rates.items()},
            **found.counts,
        },
        "pointer": pointer(found.path),
        "sources": list(found.sources),
        "status": found.status,
    }
    if found.tax_year is not None:
        document["tax_year"] = found.tax_year
    return document
