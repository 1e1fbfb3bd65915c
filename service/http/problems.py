"""Problems for machines and people (RFC 9457): what went wrong, every fault, and where. Never an exception's own text.

Every problem by its code, with its status, what it means, and the modules that raise it; under it, where it lists faults, every
code that a fault may have, by the module that finds it. The type of a problem is ``/problems/`` and its code.

bad-request 400: the body is not whole gzip data, the client has left, or the request is wrong in a way that has no code
    http/body.py, http/heavy.py, http/problems.py
unreadable-json 400: the body or a line is empty, cut short, not UTF-8 or not JSON, or says a key twice
    http/body.py, http/bulk.py
not-found 404: there is no such path, tax year or operation
    http/problems.py, http/tax_years.py, http/bulk.py
method-not-allowed 405: the path is there, but not with this method; the header Allow tells which are
    http/problems.py
not-acceptable 406: the caller accepts no answer of the type that there is
    http/negotiation.py
body-too-large 413: the body as sent or unpacked, a line of it, or the number of its records is over the service's limit
    http/body.py, http/bulk.py
unsupported-media-type 415: the body is of another content type or coding than is asked for
    http/body.py
invalid-request 422: the body is JSON, but has not the shape that the interface describes; or the query has not
    http/body.py, http/negotiation.py
        schemas/problems.py
            missing: a field is not there that is required, or that another field's value requires
            unknown-field: there is no such field
            null: a field is null, and should be left out
            not-an-object: something else stands where an object is expected
            not-a-list: something else stands where a list is expected
            invalid-value: the value is of the wrong type, out of range, too long, or none of the words allowed
        http/negotiation.py
            query: a query parameter is unknown, empty, given twice, or has a value that is not offered
invalid-record 422: a line of a bulk request is JSON, but no record; its faults are those of invalid-request
    http/bulk.py
rule-violation 422: the request has the right shape, and asks for what cannot be or what the rules do not allow
    planning, told by http/problems.py and http/bulk.py
        planning/faults.py
            no-such-allowance-yet: use of a lump sum allowance, in a year before there was one
        planning/quote/quote.py
            amount-or-net-wanted: both or neither of the amount before tax and the amount wanted after it
            outside-tax-year: the day of the withdrawal is not in the tax year
            not-yet-born: the person is born after the withdrawal
            code-not-in-use: the PAYE code does not exist in the tax year
            net-wanted-out-of-reach: no withdrawal by this method leaves so much after tax (permitted: the most it leaves)
            small-pot-over-limit: more than a small pot may hold (permitted: the limit)
            over-permitted-maximum: more than can be paid tax free (permitted: the most)
            more-than-the-pot: more than the funds hold (permitted: what they hold)
        planning/check/check.py
            no-figures: a day is in a tax year for which there are no figures
            not-yet-born: a person is born after the date of the request
            before-the-date: something planned is before the date of the request
            in-the-future: something that has happened is after the date of the request
            more-than-the-pot: a withdrawal is more than those before it leave (permitted: what they leave)
        planning/projection/faults.py
            no-figures: the first day is in a tax year for which there are no figures
            end-before-start: the last day is before the first
            plan-too-long: the plan touches more tax years than can be planned
            not-yet-born: a person is born after the first day
            amount-or-share: both or neither of an income's amount and its share of the full State Pension
            share-of-state-pension-only: a share of the full rate, of another income than a State Pension
            share-depends-on-sex: a share of the full rate, of somebody whose full rate depends on their sex
            to-before-from: an income or spending ends before it begins
        planning/projection/policies.py
            spending-cannot-be-met: what the household has does not meet its spending, or its income tax, in some tax year
        planning/timing/comparison.py
            age-already-reached: the age to which options are compared is reached on the first day or before
            range-empty: the range of growth does not end above where it begins
            age-missing: an option waits for an age that is not given
            age-of-no-use: an age with an option that waits for none
            amount-of-no-use: a yearly amount with an option that is not phased
            no-second-person: the second person of a household of one
            no-survivor: the age of a survivor in a household of one
            death-outside-the-years: a death is before or after the years compared, or the second not after the first
            not-spouses: a first death that passes to a spouse, of two who are not married
            no-band: a home given up without the residence nil-rate band of that day
            lump-sum-only: pension money in drawdown for a non-qualifying person
            bands-of-one-person: bands brought forward from an earlier death, in a household of two
        planning/timing/estates.py
            lifetime-allowance-on-death: a death benefit would bear a lifetime allowance charge, which is not computed
request-timeout 408: the request did not arrive in time
    http/problems.py
uri-too-long 414: the request line is longer than the server reads
    http/problems.py
expectation-failed 417: the header Expect asks for something else than 100-continue
    http/problems.py
headers-too-large 431: a header, or all of them, are longer than the server reads
    http/problems.py
internal-error 500: the service failed; the log tells how, the problem does not
    http/problems.py, http/bulk.py
took-too-long 500: the answer took longer than the service allows for one request
    http/heavy.py
not-implemented 501: the body comes in a transfer coding that the server does not read
    http/problems.py
busy 503: as many requests that take long are under way as this service answers at once; Retry-After tells when to try again
    http/heavy.py
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from flask import Flask, Response, request
from werkzeug.exceptions import HTTPException, MethodNotAllowed

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
    "request-timeout": ProblemKind(408, "The request did not arrive in time"),
    "body-too-large": ProblemKind(413, "The body is too large"),
    "uri-too-long": ProblemKind(414, "The request line is too long"),
    "unsupported-media-type": ProblemKind(415, "The body is of another type than expected"),
    "expectation-failed": ProblemKind(417, "What the request expects cannot be done"),
    "invalid-request": ProblemKind(422, "The request is not valid"),
    "invalid-record": ProblemKind(422, "The line is not a record"),
    "rule-violation": ProblemKind(422, "The rules do not allow this"),
    "headers-too-large": ProblemKind(431, "The headers are too large"),
    "internal-error": ProblemKind(500, "The service failed"),
    "took-too-long": ProblemKind(500, "The answer took too long"),
    "not-implemented": ProblemKind(501, "The transfer coding is not known here"),
    "busy": ProblemKind(503, "The service is busy"),
}
_BY_STATUS = {
    404: "not-found",
    405: "method-not-allowed",
    408: "request-timeout",
    414: "uri-too-long",
    417: "expectation-failed",
    431: "headers-too-large",
    501: "not-implemented",
}
_DETAILS = {
    "not-found": "No resource has this path. GET /openapi.yaml lists them all.",
    "method-not-allowed": "The Allow header lists the methods offered here.",
    "request-timeout": "The request did not arrive whole in time. Send it again at once.",
    "uri-too-long": "No path of this service is so long. GET /openapi.yaml lists them all.",
    "expectation-failed": "The header Expect may say 100-continue and nothing else.",
    "headers-too-large": "Send fewer headers, or shorter ones.",
    "not-implemented": "Send the body as it is or in chunks.",
    "internal-error": "The answer could not be computed. The fault is in the service, not in the request.",
}


class ProblemError(Exception):
    """A problem to answer with. ``retry_after``: seconds after which to try again, where that may help."""

    def __init__(
        self,
        code: str,
        detail: str,
        faults: tuple[Fault, ...] = (),
        retry_after: int | None = None,
    ) -> None:
        super().__init__(code)
        self.code, self.detail, self.faults, self.retry_after = code, detail, faults, retry_after

    def document(self, instance: str) -> dict[str, Any]:
        """The problem as JSON."""
        return document(self.code, self.detail, self.faults, instance=instance)


def document(
    code: str,
    detail: str,
    faults: tuple[Fault, ...] = (),
    *,
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


def violation_document(error: RuleViolation, instance: str) -> dict[str, Any]:
    """A rule violation as JSON; its detail is the faults' own sentences."""
    detail = " ".join(fault.detail for fault in error.faults)
    return document("rule-violation", detail, error.faults, permitted=error.permitted, instance=instance)


def failure_document(instance: str) -> dict[str, Any]:
    """A fault of the service as JSON."""
    return document("internal-error", _DETAILS["internal-error"], instance=instance)


def document_of_status(status: int, instance: str | None = None) -> dict[str, Any]:
    """The problem that an HTTP status alone stands for."""
    code = _BY_STATUS.get(status, "internal-error" if status >= 500 else "bad-request")
    return document(code, _DETAILS.get(code, KINDS[code].title + "."), instance=instance)


def register(app: Flask) -> None:
    """Answer every error of the application with a problem."""
    app.register_error_handler(ProblemError, _on_problem)
    app.register_error_handler(RuleViolation, _on_violation)
    app.register_error_handler(HTTPException, _on_http_exception)


def _response(problem: dict[str, Any]) -> Response:
    return Response(encode(problem), problem["status"], {"Cache-Control": "no-store"}, content_type=MEDIA_TYPE)


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
    response = _response(document_of_status(error.code or 500, _instance()))
    if isinstance(error, MethodNotAllowed) and error.valid_methods:
        response.headers["Allow"] = ", ".join(error.valid_methods)
    return response
