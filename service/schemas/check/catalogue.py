"""The catalogue of warnings as JSON."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from service.planning.warnings.topic import Entry


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
