"""Documents that are the same until their version changes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response, request

from service.http.negotiation import refuse_query, require_accepted
from service.http.provider import json_response


def cached(document: Mapping[str, Any], version: str) -> Response:
    """The answer to a GET of such a document: cacheable, with its version as a strong ETag. ProblemError where another type or
    a query is asked for."""
    require_accepted("application/json")
    refuse_query()
    response = json_response(document)
    response.set_etag(version)
    response.headers["Cache-Control"] = "public, max-age=3600"
    response.make_conditional(request)
    return response
