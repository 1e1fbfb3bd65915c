"""The service: UK pension withdrawals into ISAs, computed from the published rules of each tax year.

``create_app`` is the only place where the parts are joined.
"""

from __future__ import annotations

from flask import Flask

from service.figures.loader import load_tax_years
from service.http import allowance_schedule, lump_sum_timing, meta, problems, tax_years, warnings, withdrawal_tax
from service.http.provider import PlainJSONProvider
from service.law.rulebook import rule_book
from service.settings import Settings


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
    app.register_blueprint(withdrawal_tax.blueprint(book, settings.max_body_bytes))
    app.register_blueprint(allowance_schedule.blueprint(book, settings.max_body_bytes))
    app.register_blueprint(lump_sum_timing.blueprint(book, settings.max_body_bytes))
    app.register_blueprint(warnings.blueprint(book, settings.max_body_bytes))
    app.register_blueprint(tax_years.blueprint(book))
    app.register_blueprint(meta.blueprint(book))
    return app
