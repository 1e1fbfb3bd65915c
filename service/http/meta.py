"""The agreement, a page to read it on, a page for each problem, and two health checks."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path

import flask_swagger_ui
from flask import Blueprint, Response, abort, request
from werkzeug.http import generate_etag

from service.http import problems
from service.http.browsers import policy_of
from service.http.heavy import Places
from service.http.negotiation import refuse_query
from service.http.problems import ProblemError, nearest_of
from service.http.provider import json_response
from service.law.rulebook import RuleBook
from service.schemas.rules import Versions

_PARTS = {"swagger-ui.css": "text/css; charset=utf-8", "swagger-ui-bundle.js": "text/javascript; charset=utf-8"}
"""The files of Swagger UI that docs.html needs."""


def blueprint(book: RuleBook, versions: Versions, places: Places) -> Blueprint:
    """The resources that say what the service is, whether it is up, and how many long requests it could take."""
    routes = Blueprint("meta", __name__)
    agreement = files("openapi").joinpath("openapi.yaml").read_bytes()
    pages = {code: problems.page(code) for code in problems.KINDS}
    page = files("service.http").joinpath("docs.html").read_bytes()
    policy = policy_of(page)
    parts = {name: Path(flask_swagger_ui.__file__).with_name("dist").joinpath(name).read_bytes() for name in _PARTS}

    @routes.get("/openapi.yaml")
    def openapi_yaml() -> Response:
        refuse_query()
        response = Response(agreement, content_type="application/yaml")
        response.add_etag()
        response.headers["Cache-Control"] = "public, max-age=3600"
        response.make_conditional(request)
        return response

    @routes.get("/docs")
    def docs() -> Response:
        response = _asked_again_each_time(page, "text/html; charset=utf-8")
        response.headers["Content-Security-Policy"] = policy
        return response

    @routes.get("/docs/<asset>")
    def docs_asset(asset: str) -> Response:
        if asset not in parts:
            abort(404)
        return _asked_again_each_time(parts[asset], _PARTS[asset])

    @routes.get("/problems/<code>")
    def problem_page(code: str) -> Response:
        refuse_query()
        if code not in pages:
            raise ProblemError(
                "not-found", f"There is no such problem. Known: {', '.join(pages)}.{nearest_of(code, pages)}"
            )
        response = Response(pages[code], content_type="text/plain; charset=utf-8")
        response.headers["Cache-Control"] = "public, max-age=3600"
        return response

    @routes.get("/health/live")
    def live() -> Response:
        return _unstored({"status": "live"})

    @routes.get("/health/ready")
    def ready() -> Response:
        return _unstored(
            {
                "status": "ready",
                "rules_version": versions.rules,
                "software_version": versions.software,
                "tax_years": len(book.years),
                "long_requests": {"at_once": places.count, "free": places.free()},
            }
        )

    return routes


@cache
def _etag_of(content: bytes) -> str:
    """The content's ETag, made once: to make it takes longer than all else of the answer."""
    return generate_etag(content)


def _asked_again_each_time(content: bytes, content_type: str) -> Response:
    """The page or a part of it, which browsers keep, but ask each time whether it has changed."""
    response = Response(content, content_type=content_type)
    response.set_etag(_etag_of(content))
    response.headers["Cache-Control"] = "no-cache"
    response.make_conditional(request)
    return response


def _unstored(document: dict[str, object]) -> Response:
    response = json_response(document)
    response.headers["Cache-Control"] = "no-store"
    return response
