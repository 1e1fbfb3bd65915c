"""The service: UK pension withdrawals into ISAs, computed from the published rules of each tax year.

The parts are joined here and nowhere else: as an application by ``create_app``, without a server by ``calculator``.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from flask import Flask, Response, request

from service.figures.loader import load_tax_years
from service.figures.proposals import load_proposals
from service.http import (
    browsers,
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
from service.http.access import Access
from service.http.calculation import Calculation
from service.http.fields import ANSWER_FIELDS, included
from service.http.heavy import Places, Turns
from service.http.keys import read_keys
from service.http.laws import Law, under_laws
from service.http.metrics import Metrics
from service.http.plain import PlainRequests
from service.http.provider import PlainJSONProvider, encode
from service.http.watching import Application, Watch
from service.law import income_tax
from service.law.rulebook import RuleBook, rule_book, rule_book_under
from service.schemas.parts import parts_of
from service.schemas.rules import Versions
from service.settings import DEFAULT_MAX_BODY_BYTES, Settings, most_heavy
from service.versions import versions_of

CALCULATIONS = (
    quote.calculation,
    schedule.calculation,
    timing.calculation,
    check.calculation,
)
"""Every calculation that is offered, singly and in bulk."""


class Service(Flask):
    """Flask with a JSON provider of our own, no guessing at paths, and all requests watched."""

    json_provider_class = PlainJSONProvider
    watch: Watch

    def __call__(self, environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer a request (WSGI), with the watch around it."""
        return self.watch(environ, start_response)

    def make_default_options_response(self) -> Response:
        """The methods of a path, and no body."""
        response = super().make_default_options_response()
        response.status_code = 204
        del response.headers["Content-Type"]
        return response

    def log_exception(self, exc_info: Any) -> None:
        """Log a request that failed by the form of its path: anything may stand in the path itself."""
        rule = request.url_rule
        self.logger.error("A request of %s failed", "an unknown path" if rule is None else rule.rule, exc_info=exc_info)


def create_app(settings: Settings, *, plainly: bool = True) -> Flask:
    """The WSGI application. Figures are read and checked here, once: a fault in them, or in proposed law, stops the start
    (FiguresError), as does one in the file of keys (KeysError). ``plainly``: plain single requests take the short way
    (``http/plain.py``)."""
    known, proposed = _laws(settings.figures)
    book, versions = known
    app = Service("service", static_folder=None)
    app.config["MAX_CONTENT_LENGTH"] = settings.max_body_bytes
    # A path is what it says: no redirects to a tidier one.
    app.url_map.merge_slashes = False
    app.url_map.strict_slashes = True
    app.url_map.redirect_defaults = False
    app.extensions["rules_version"] = versions.rules
    problems.register(app)
    calculations = _by_name(known, proposed)
    metrics = _metrics(settings, versions, app)
    logs_requests = settings.log_format == "json"
    answer: Application = app.wsgi_app
    # Who calls, and from which page, only the framework looks at; and what was put around it, as those do that follow requests
    # (OpenTelemetry), wants to see them all.
    if plainly and settings.keys_file is None and not settings.cors_origins and "wsgi_app" not in vars(app):
        answer = PlainRequests(answer, calculations.values(), versions.rules, settings.max_body_bytes, metrics)
    app.watch = Watch(app, answer, versions.rules, browsers.ALWAYS, logs_requests=logs_requests, metrics=metrics)
    if settings.cors_origins:
        browsers.allow(app, settings.cors_origins)
    if settings.keys_file is not None:
        paths = {each.path: each.name for each in calculations.values()}
        Access(read_keys(settings.keys_file, paths.values()), paths).register(app)
    places = Places(settings.heavy_at_once, settings.bulk_at_once, metrics)
    turns = Turns(most_heavy(settings.workers))
    for each in calculations.values():
        app.register_blueprint(
            calculation.blueprint(each, versions.rules, settings.max_body_bytes, places, turns, metrics)
        )
    bounds = bulk.Bounds(settings.max_body_bytes, settings.bulk_max_bytes, settings.bulk_max_records)
    app.register_blueprint(bulk.blueprint(calculations, versions, bounds, places, metrics))
    app.register_blueprint(check.catalogue(book, versions))
    app.register_blueprint(tax_years.blueprint(known, proposed))
    app.register_blueprint(meta.blueprint(book, versions, places))
    return app


def _metrics(settings: Settings, versions: Versions, app: Flask) -> Metrics | None:
    """The numbers of the service and their resource; None where none are kept."""
    if not settings.metrics:
        return None
    metrics = Metrics(versions.software, versions.rules, versions.figures, heavy_places=settings.heavy_at_once)
    app.register_blueprint(metrics.blueprint())
    return metrics


class Calculator(NamedTuple):
    """One calculation without a server: ``answers`` takes the body of a ``POST /v1/bulk/{operation}``, one record a line,
    and gives the lines of its answer, the last one included. A body of no records is answered as well."""

    rules_version: str
    answers: Callable[[bytes], Iterator[bytes]]


def calculator(operation: str, fields: Iterable[str] = (), figures: Path | None = None) -> Calculator:
    """The calculation of that name, for programs that spread a book over processes of their own. With ``fields`` its results
    hold those parts alone, as with ``?fields=``; ``figures`` is the folder of proposed law, as SERVICE_FIGURES.

    Figures are read and checked here: make one in each process and keep it. FiguresError for a fault in them, KeyError
    for an unknown name, UnknownPath (a ValueError) for an unknown field.
    """
    known, proposed = _laws(figures)
    versions = known.versions
    path, log = f"/v1/bulk/{operation}", logging.getLogger(__name__)
    asked = _by_name(known, proposed)[operation]
    paths = tuple(fields)
    wanted = parts_of(paths, ANSWER_FIELDS[operation]) if paths else included(asked.offered)
    lines = bulk.Lines(asked, versions, wanted, path, DEFAULT_MAX_BODY_BYTES, log)

    def answers(body: bytes) -> Iterator[bytes]:
        return (encode(answer) + b"\n" for answer in lines.answers(body))

    return Calculator(versions.rules, answers)


def is_compiled() -> bool:
    """Whether law and planning run as machine code, from the compiled wheel."""
    return not str(income_tax.__file__).endswith(".py")


def _laws(folder: Path | None) -> tuple[Law, Mapping[str, Law]]:
    """The law as known, and by name the proposed ones of a folder."""
    years = load_tax_years()
    proposed = {} if folder is None else load_proposals(folder, years)
    return _law(rule_book(years)), {name: _law(rule_book_under(law)) for name, law in proposed.items()}


def _law(book: RuleBook) -> Law:
    return Law(book, versions_of(book))


def _by_name(known: Law, proposed: Mapping[str, Law]) -> Mapping[str, Calculation[Any]]:
    return {each.name: each for each in (under_laws(make, known, proposed) for make in CALCULATIONS)}
