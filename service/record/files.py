"""A record as files: the document with its pictures drawn, the page, and the page as PDF.

The three packages used here are no part of what the service needs: vl-convert draws charts without a browser, with
Vega-Lite itself; WeasyPrint lays out pages with numbers; rfc8785 writes JSON in the one form that has a digest. They are
imported where they are used, so that whoever makes no records need not have them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date
from typing import Any

from service.record.page import page

PANGO = "pango"
_DRAWN_AS = "6.4"
"""The version of Vega-Lite that draws."""
_WIDTH = 500
"""Pixels of a picture, two of which stand side by side."""
_SHOWN = {
    "withdrawal-tax": (
        "income_tax.personal_allowance",
        "income_tax.bands_",
        "income_tax.personal_savings_allowance",
        "income_tax.child_benefit_charge",
        "payroll.emergency_code",
        "pension.minimum_pension_age",
        "pension.tax_free_fraction",
        "pension.lump_sum",
        "pension.money_purchase_annual_allowance",
    ),
    "allowance-schedule": (
        "income_tax.personal_allowance",
        "income_tax.bands_",
        "pension.minimum_pension_age",
        "pension.tax_free_fraction",
        "pension.lump_sum_allowance",
        "pension.money_purchase_annual_allowance",
        "isa.subscription_limit",
        "isa.cash_limit_under_65",
        "state_pension.new_full_weekly",
    ),
    "warnings": (
        "income_tax.personal_allowance",
        "pension.minimum_pension_age",
        "pension.annual_allowance",
        "pension.money_purchase_annual_allowance",
        "pension.lump_sum_allowance",
        "isa.subscription_limit",
    ),
}
_SHOWN["lump-sum-timing"] = (
    *_SHOWN["allowance-schedule"],
    "pension.beneficiaries_taxed_from_age",
    "inheritance_tax.nil_rate_band",
    "inheritance_tax.residence",
    "inheritance_tax.rate",
    "inheritance_tax.unused_pensions_in_estate",
)
"""The figures that are printed, by the beginnings of their names; those that a caveat names are printed besides."""


def tax_year_of(operation: str, answer: Mapping[str, Any]) -> str:
    """The tax year whose figures belong to an answer: the one asked about, or the first."""
    if operation == "withdrawal-tax":
        return str(answer["tax_year"])
    if operation == "allowance-schedule":
        return str(answer["years"][0]["tax_year"])
    day = date.fromisoformat(answer["date"] if operation == "warnings" else answer["from"])
    start = day.year if (day.month, day.day) >= (4, 6) else day.year - 1
    return f"{start}-{(start + 1) % 100:02d}"


def record(
    operation: str,
    request: Mapping[str, Any],
    answer: Mapping[str, Any],
    figures: Mapping[str, Any],
    made_on: date | None = None,
) -> str:
    """The page of a question and its answer, as HTML.

    ``operation`` is the last part of the path that was asked; the answer had better include ``working`` and ``charts``,
    where they are offered. ``figures`` is what ``GET /v1/tax-years/{tax_year}`` says of the year of ``tax_year_of``.
    KeyError for an operation or an answer that is not of this service; ImportError without the extra ``record``.
    """
    nations = {person["tax_residence"] for person in request["household"]["people"]}
    caveats = {caveat["figure"] for caveat in answer["rules"]["caveats"]}
    shown = [
        {key: figure[key] for key in ("name", "value", "source", "standing")}
        for figure in figures["figures"]
        if figure["name"] in caveats or _is_shown(figure["name"], operation, nations)
    ]
    document = {
        "operation": operation,
        "request": request,
        "answer": answer,
        "figures": {"tax_year": figures["tax_year"], "figures": shown},
        "pictures": [_drawn(chart["spec"]) for chart in answer.get("charts", ())],
    }
    if made_on is not None:
        document["made_on"] = made_on.isoformat()
    # Read back from what is embedded, so that the page is made of what a checker finds in it.
    return page(json.loads(json.dumps(document)), canonical)


def pdf(html: str) -> bytes:
    """A record's page as PDF: A4, with page numbers. ImportError without the extra ``record``, or, with the name PANGO, without
    the library that is no Python package."""
    try:
        from weasyprint import HTML
    except OSError as error:
        raise ImportError(str(error), name=PANGO) from error

    return bytes(HTML(string=html, url_fetcher=_nothing).write_pdf())


def canonical(value: Any) -> str:
    """A value as JSON in the one form that its digest is of (RFC 8785)."""
    from rfc8785 import dumps

    return dumps(value).decode("utf-8")


def _is_shown(name: str, operation: str, nations: set[str]) -> bool:
    if name.startswith("income_tax.bands_"):
        return name.removeprefix("income_tax.bands_") in nations and "income_tax.bands_" in _SHOWN[operation]
    return name.startswith(_SHOWN[operation])


def _drawn(spec: Mapping[str, Any]) -> str:
    from vl_convert import vegalite_to_svg

    return str(vegalite_to_svg({**spec, "width": _WIDTH}, vl_version=_DRAWN_AS))


def _nothing(url: str, *_: Any, **__: Any) -> dict[str, Any]:
    raise ValueError(f"A record loads nothing, and this is from elsewhere: {url}")
