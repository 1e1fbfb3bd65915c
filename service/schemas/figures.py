"""A tax year's figures as JSON: money in pounds, rates as fractions."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from service.figures.loader import Band, Figure, TaxYearFigures
from service.figures.proposals import Difference, ProposedLaw
from service.schemas.units import fraction, pounds


def figures_document(figures: TaxYearFigures) -> dict[str, Any]:
    """All figures of a tax year with source and standing."""
    return {
        "tax_year": figures.name,
        "from": figures.start.isoformat(),
        "to": figures.end.isoformat(),
        "standing": figures.standing,
        "figures_version": figures.version,
        "figures": [_figure(figure) for figure in figures.figures.values()],
    }


def differences_document(law: ProposedLaw) -> list[dict[str, Any]]:
    """Each figure of each tax year whose value a proposed law changes."""
    return [_difference(found) for found in law.differences]


def _difference(found: Difference) -> dict[str, Any]:
    return {
        "tax_year": found.tax_year,
        "name": found.known.name,
        "known": _value(found.known),
        "proposed": _value(found.proposed),
        "known_standing": found.known.standing,
        "source": found.proposed.source,
    }


def _figure(figure: Figure) -> dict[str, Any]:
    document: dict[str, Any] = {
        "name": figure.name,
        "value": _value(figure),
        "source": figure.source,
        "standing": figure.standing,
    }
    if figure.caveat is not None:
        document["caveat"] = figure.caveat
    if figure.evidence is not None:
        document["evidence"] = figure.evidence
    if figure.note is not None:
        document["note"] = figure.note
    return document


def _value(figure: Figure) -> Any:
    value = figure.value
    if isinstance(value, tuple):
        return [_band(band) for band in value]
    if isinstance(value, Mapping):
        return {code: fraction(rate) for code, rate in value.items()}
    if isinstance(value, date):
        return value.isoformat()
    if figure.kind == "money" and isinstance(value, int):
        return pounds(value)
    if figure.kind == "rate" and isinstance(value, int):
        return fraction(value)
    return value


def _band(band: Band) -> dict[str, Any]:
    document: dict[str, Any] = {"name": band.name, "rate": fraction(band.rate)}
    if band.up_to is not None:
        document["up_to"] = pounds(band.up_to)
    return document
