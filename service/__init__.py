"""The service: UK pension withdrawals into ISAs, computed from the published rules of each tax year.

The parts are joined here and nowhere else: as an application by ``create_app``, without a server by ``calculator``.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Mapping
from typing import Any, NamedTuple

from flask import Flask, Response

from service.figures.loader import load_tax_years
from service.http import (
    bulk,
    calculation,
    check,
    meta,
    problems,
    quote,
    schedule,
    tax_years,
    timing,
)
from service.http.calculation import Calculation
from service.http.heavy import Places
from service.http.provider import PlainJSONProvider, encode
from service.law import income_tax
from service.law.rulebook import RuleBook, rule_book
from service.settings import DEFAULT_MAX_BODY_BYTES, Settings

CALCULATIONS = (
    quote.calculation,
    schedule.calculation,
    timing.calculation,
    check.calculation,
)
"""Every calculation that is offered, singly and in bulk."""


class Service(Flask):
    """Flask with a JSON provider of our own and no guessing at paths."""

    json_provider_class = PlainJSONProvider

    def make_default_options_response(self) -> Response:
        """The methods of a path, and no body."""
        response = super().make_default_options_response()
        response.status_code = 204
        del response.headers["Content-Type"]
        return response


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
    calculations = _by_name(book)
    places = Places(settings.heavy_at_once, for_bulk=settings.bulk_at_once)
    for each in calculations.values():
        app.register_blueprint(calculation.blueprint(each, book.version, settings.max_body_bytes, places))
    bounds = bulk.Bounds(settings.max_body_bytes, settings.bulk_max_bytes, settings.bulk_max_records)
    app.register_blueprint(bulk.blueprint(calculations, book.version, bounds, places))
    app.register_blueprint(check.catalogue(book))
    app.register_blueprint(tax_years.blueprint(book))
    app.register_blueprint(meta.blueprint(book))
    return app


class Calculator(NamedTuple):
    """One calculation without a server: ``answers`` takes the body of a ``POST /v1/bulk/{operation}``, one record a line,
    and gives the lines of its answer, the last one included. A body of no records is answered as well."""

    rules_version: str
    answers: Callable[[bytes], Iterator[bytes]]


def calculator(operation: str) -> Calculator:
    """The calculation of that name, for programs that spread a book over processes of their own.

    Figures are read and checked here: make one in each process and keep it. FiguresError for a fault in them, KeyError
    for an unknown name.
    """
    book = rule_book(load_tax_years())
    path, log = f"/v1/bulk/{operation}", logging.getLogger(__name__)
    lines = bulk.Lines(_by_name(book)[operation], frozenset(), path, DEFAULT_MAX_BODY_BYTES, log)

    def answers(body: bytes) -> Iterator[bytes]:
        return (encode(answer) + b"\n" for answer in lines.answers(body))

    return Calculator(book.version, answers)


def is_compiled() -> bool:
    """Whether law and planning run as machine code, from the compiled wheel."""
    return not str(income_tax.__file__).endswith(".py")


def _by_name(book: RuleBook) -> Mapping[str, Calculation[Any]]:
    return {each.name: each for each in (make(book) for make in CALCULATIONS)}
