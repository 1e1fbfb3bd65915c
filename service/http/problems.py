"""Problems for machines and people (RFC 9457): what went wrong, every fault, and where. Never an exception's own text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException

from service.http.provider import encode
from service.planning.faults import Fault, RuleViolation
from service.schemas.problems import pointer
from service.schemas.units import pounds

MEDIA_TYPE = "application/problem+json"


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """A kind of problem: its HTTP status and its title."""

    status: int
    title: str


KINDS = {
    "bad-request": ProblemKind(400, "The request cannot be answered"),
    "unreadable-json": ProblemKind(400, "The body cannot be read as JSON"),
    "not-found": ProblemKind(404, "There is nothing here"),
    "method-not-allowed": ProblemKind(405, "This method is not offered here"),
    "not-acceptable": ProblemKind(406, "The answer is not available in an accepted form"),
    "body-too-large": ProblemKind(413, "The body is too large"),
    "unsupported-media-type": ProblemKind(415, "The body is of another type than expected"),
    "invalid-request": ProblemKind(422, "The request is not valid"),
    "invalid-record": ProblemKind(422, "The line is not a record"),
    "rule-violation": ProblemKind(422, "The rules do not allow this"),
    "internal-error": ProblemKind(500, "The service failed"),
    "busy": ProblemKind(503, "The service is busy"),
}
_BY_STATUS = {
    404: "not-found",
    405: "method-not-allowed",
    406: "not-acceptable",
    413: "body-too-large",
    415: "unsupported-media-type",
}
_DETAILS = {
    "not-found": "No resource has this path. GET /openapi.yaml lists them all.",
    "method-not-allowed": "The Allow header lists the methods offered here.",
    "body-too-large": "The body is larger than this service accepts.",
    "internal-error": "The answer could not be computed. The fault is in the service, not in the request.",
}


class ProblemError(Exception):
    """A problem to answer with. ``retry_after``: seconds after which to try again, where that may help."""

    def __init__(
        self,
        code: str,
        detail: str,
        faults: tuple[Fault, ...] = (),
        permitted: int | None = None,
        retry_after: int | None = None,
    ) -> None:
        super().__init__(code)
        self.code, self.detail, self.faults, self.permitted = code, detail, faults, permitted
        self.retry_after = retry_after

    def document(self, instance: str) -> dict[str, Any]:
        """The problem as JSON."""
        return document(self.code, self.detail, self.faults, self.permitted, instance)


def document(
    code: str,
    detail: str,
    faults: tuple[Fault, ...] = (),
    permitted: int | None = None,
    instance: str | None = None,
) -> dict[str, Any]:
    """A problem as JSON."""
    kind = KINDS[code]
    problem: dict[str, Any] = {
        "type": f"/problems/{code}",
        "title": kind.title,
        "status": kind.status,
        "detail": detail,
        "code": code,
        "errors": [{"pointer": pointer(fault.path), "code": fault.code, "detail": fault.detail} for fault in faults],
    }
    if instance is not None:
        problem["instance"] = instance
    if permitted is not None:
        problem["permitted"] = pounds(permitted)
    return problem


def violation_document(error: RuleViolation, instance: str | None = None) -> dict[str, Any]:
    """A rule violation as JSON; its detail is the faults' own sentences."""
    detail = " ".join(fault.detail for fault in error.faults)
    return document("rule-violation", detail, error.faults, error.permitted, instance)


def failure_document(instance: str) -> dict[str, Any]:
    """A fault of the service as JSON."""
    return document("internal-error", _DETAILS["internal-error"], instance=instance)


def register(app: Flask) -> None:
    """Answer every error of the application with a problem."""
    app.register_error_handler(ProblemError, _on_problem)
    app.register_error_handler(RuleViolation, _on_violation)
    app.register_error_handler(HTTPException, _on_http_exception)


def _response(problem: dict[str, Any], response: Response | None = None) -> Response:
    response = response if response is not None else Response()
    response.status_code = problem["status"]
    response.set_data(encode(problem))
    response.content_type = MEDIA_TYPE
    response.headers["Cache-Control"] = "no-store"
    return response


def _instance() -> str:
    """The request's path as a URI reference."""
    return quote(request.path)


def _on_problem(error: ProblemError) -> Response:
    response = _response(error.document(_instance()))
    if error.retry_after is not None:
        response.headers["Retry-After"] = str(error.retry_after)
    return response


def _on_violation(error: RuleViolation) -> Response:
    return _response(violation_document(error, _instance()))


def _on_http_exception(error: HTTPException) -> Response:
    status = error.code or 500
    code = _BY_STATUS.get(status, "internal-error" if status >= 500 else "bad-request")
    # The exception's own response keeps headers such as Allow.
    response = Response()
    for name, value in error.get_headers():
        if name.lower() in ("allow", "retry-after", "www-authenticate"):
            response.headers.add(name, value)
    return _response(document(code, _DETAILS.get(code, KINDS[code].title + "."), instance=_instance()), response)
