"""GET /v1/tax-years and /v1/tax-years/{tax_year}: the figures, with their sources and standing."""

from __future__ import annotations

from flask import Blueprint, Response

from service.http.cached import cached
from service.http.problems import ProblemError
from service.law.rulebook import RuleBook
from service.schemas.figures import figures_document
from service.schemas.rules import Versions


def blueprint(book: RuleBook, versions: Versions) -> Blueprint:
    """The resources, for the tax years of a rule book."""
    routes = Blueprint("tax_years", __name__)
    listing = {
        "tax_years": [
            {
                "tax_year": name,
                "standing": rules.figures.standing,
                "figures_version": rules.figures.version,
                "href": f"/v1/tax-years/{name}",
            }
            for name, rules in book.years.items()
        ],
        "figures_version": versions.figures,
    }
    documents = {name: figures_document(rules.figures) for name, rules in book.years.items()}

    @routes.get("/v1/tax-years")
    def tax_years() -> Response:
        return cached(listing, versions.rules)

    @routes.get("/v1/tax-years/<tax_year>")
    def tax_year(tax_year: str) -> Response:
        if tax_year not in documents:
            raise ProblemError("not-found", f"There are no figures for that tax year. Known: {', '.join(documents)}.")
        return cached(documents[tax_year], f"{versions.rules}-{tax_year}")

    return routes
