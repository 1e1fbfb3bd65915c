"""A tax year's figures as JSON: money in pounds, rates as fractions."""

from __future__ import annotations

from typing import Any

from service.figures.loader import TaxYear


def figures_document(figures: TaxYear) -> dict[str, Any]:
    """All figures of a tax year with source and status."""
    return {
        "tax_year": figures.name,
        "from": figures.start.isoformat(),
        "to": figures.end.isoformat(),
        "status": figures.status,
        "version": figures.version,
        "figures": [_figure(figure) for figure in figures.figures.values()],
    }
