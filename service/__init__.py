"""The service: UK pension withdrawals into ISAs, computed from the published rules of each tax year.

``create_app`` is the only place where the parts are joined.
"""

from __future__ import annotations

from flask import Flask

from service.figures.loader import load_tax_years
from service.http import allowance_schedule, bulk, calculation, meta, problems, tax_years, withdrawal_tax
from service.http.provider import PlainJSONProvider
from service.law.rulebook import rule_book
from service.settings import Settings

CALCULATIONS = (
    withdrawal_tax.calculation,
    allowance_schedule.calculation,
)
"""Every calculation that is offered, singly and in bulk."""


class Service(Flask):
    """Flask with a JSON provider of our own and no guessing at paths."""

    json_provider_class = PlainJSONProvider


def create_app(settings: Settings) -> Flask:
    """The WSGI application. Figures are read and checked here, once: a fault in them stops the start (FiguresError)."""
    book = rule_book(load_tax_years())
    app = Service("service", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = settings.max_body_bytes
    # A path is what it says: no redirects to a tidier one.
    app.url_map.merge_slashes = False
    app.url_map.strict_slashes = True
    app.url_map.redirect_defaults = False
    app.extensions["rules_version"] = book.version
    problems.register(app)
    calculations = {each.name: each for each in (make(book) for make in CALCULATIONS)}
    for each in calculations.values():
        app.register_blueprint(calculation.blueprint(each, book.version, settings.max_body_bytes))
    bounds = bulk.Bounds(
        settings.max_body_bytes, settings.bulk_max_bytes, settings.bulk_max_records, settings.bulk_at_once
    )
    app.register_blueprint(bulk.blueprint(calculations, book.version, bounds))
    app.register_blueprint(tax_years.blueprint(book))
    app.register_blueprint(meta.blueprint(book))
    return app
