"""Documents that are the same until their version changes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response, request

from service.http.negotiation import refuse_query, require_accepted
from service.http.provider import json_response


def cached(document: Mapping[str, Any], version: str, *, takes_a_query: bool = False) -> Response:
    """The answer to a GET of such a document: cacheable, with its version as a strong ETag. ProblemError where another type is
    asked for, or a query that has not been looked at."""
    require_accepted("application/json")
    if not takes_a_query:
        refuse_query()
    response = json_response(document)
    response.set_etag(version)
    response.headers["Cache-Control"] = "public, max-age=3600"
    response.make_conditional(request)
    return response
