"""The answer of POST /v1/warnings, the catalogue, and a warning in any answer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date
from typing import Any

from service.planning.warnings.entries import Entry
from service.planning.warnings.warning import EFFECTS, Warning
from service.schemas.problems import pointer


def answer(
    found: list[Warning], today: date, version: str, status: str, assumptions: list[str], notice: str
) -> dict[str, Any]:
    """The answer as JSON."""
    counts = Counter(one.effect for one in found)
    return {
        "date": today.isoformat(),
        "warnings": [warning(one) for one in found],
        "counts": {effect: counts[effect] for effect in EFFECTS},
        "rules": {"version": version, "status": status, "assumptions": assumptions},
        "notice": notice,
    }


def warning(found: Warning) -> dict[str, Any]:
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


def catalogue_document(entries: Iterable[Entry], version: str) -> dict[str, Any]:
    """The catalogue as JSON."""
    return {"warning_codes": [_entry(entry) for entry in entries], "version": version}


def _entry(entry: Entry) -> dict[str, Any]:
    document: dict[str, Any] = {
        "code": entry.code,
        "title": entry.title,
        "effect": entry.effect,
        "applies_when": entry.applies_when,
        "facts": list(entry.facts),
        "sources": list(entry.sources),
    }
    if entry.since is not None:
        document["from"] = entry.since.isoformat()
    if entry.until is not None:
        document["to"] = entry.until.isoformat()
    return document
