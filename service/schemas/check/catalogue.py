"""The catalogue of warnings as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from service.figures.loader import TaxYearFigures
from service.planning.warnings.topic import Entry


def catalogue_document(
    entries: Iterable[Entry], years: Mapping[str, TaxYearFigures], rules_version: str
) -> dict[str, Any]:
    """The catalogue as JSON, with its days by the figures of these tax years."""
    return {"warning_codes": [_entry(entry, years) for entry in entries], "rules_version": rules_version}


def _entry(entry: Entry, years: Mapping[str, TaxYearFigures]) -> dict[str, Any]:
    document: dict[str, Any] = {
        "code": entry.code,
        "title": entry.title,
        "effect": entry.effect,
        "severity": entry.severity,
        "applies_when": entry.applies_when,
        "facts": list(entry.facts),
        "figures": [{"name": name, "unit": unit} for name, unit in entry.figures.items()],
        "sources": list(entry.sources),
    }
    for key, law_day in (("from", entry.since), ("to", entry.until)):
        day = None if law_day is None else law_day(years)
        if day is not None:
            document[key] = day.isoformat()
    return document
