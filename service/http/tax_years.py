"""GET /v1/tax-years and /v1/tax-years/{tax_year}: the figures, with their sources and standing; with ``?law=`` those of a
proposed law, and what it changes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response

from service.figures.proposals import KNOWN
from service.figures.reading import version_of
from service.http.cached import cached
from service.http.laws import Law
from service.http.negotiation import one_of
from service.http.problems import ProblemError
from service.schemas.figures import differences_document, figures_document
from service.schemas.law import LAW
from service.schemas.rules import law_answer

_PATH = "/v1/tax-years"


def blueprint(known: Law, proposed: Mapping[str, Law]) -> Blueprint:
    """The resources, for the tax years of the law as known and of the proposed ones."""
    routes = Blueprint("tax_years", __name__)
    laws = {KNOWN: known, **proposed}
    names = tuple(laws)
    listings = {name: _listing(law) for name, law in laws.items()}
    listings[KNOWN]["laws"] = [
        law_answer(law.versions.proposed) for law in proposed.values() if law.versions.proposed is not None
    ]
    versions = {name: law.versions.rules for name, law in laws.items()}
    # The list of the law as known names the others as well.
    of_all = version_of(" ".join(versions.values())) if proposed else versions[KNOWN]
    documents = {
        name: {year: figures_document(rules.figures) for year, rules in law.book.years.items()}
        for name, law in laws.items()
    }

    @routes.get(_PATH)
    def tax_years() -> Response:
        name = one_of(LAW, names)
        return cached(listings[name], of_all if name == KNOWN else versions[name], takes_a_query=True)

    @routes.get(f"{_PATH}/<tax_year>")
    def tax_year(tax_year: str) -> Response:
        if tax_year not in documents[KNOWN]:
            years = ", ".join(documents[KNOWN])
            raise ProblemError("not-found", f"There are no figures for that tax year. Known: {years}.")
        name = one_of(LAW, names)
        return cached(documents[name][tax_year], f"{versions[name]}-{tax_year}", takes_a_query=True)

    return routes


def _listing(law: Law) -> dict[str, Any]:
    listing: dict[str, Any] = {
        "tax_years": [
            {
                "tax_year": name,
                "standing": rules.figures.standing,
                "figures_version": rules.figures.version,
                "href": f"{_PATH}/{name}" + _of(law),
            }
            for name, rules in law.book.years.items()
        ],
        "figures_version": law.versions.figures,
    }
    proposed = law.versions.proposed
    return (
        listing
        if proposed is None
        else {**listing, LAW: law_answer(proposed), "differences": differences_document(proposed)}
    )


def _of(law: Law) -> str:
    """The query that asks for a law."""
    return "" if law.versions.proposed is None else f"?{LAW}={law.versions.proposed.name}"
