"""Problems for machines and people (RFC 9457): what went wrong, every fault, and where. Never an exception's own text.

KINDS lists every problem by its code, with its status, what it means, what to do, and the modules that raise it; under it, where
it lists faults, every code that a fault may have, by the module that finds it. The type of a problem is ``/problems/`` and its
code; the page there is made from the same list.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

from flask import Flask, Response, abort, current_app, request
from werkzeug.exceptions import HTTPException, MethodNotAllowed, NotFound

from service.http.provider import encode
from service.planning.faults import Fault, RuleViolation
from service.schemas.fields import nearest
from service.schemas.problems import pointer
from service.schemas.units import pounds

MEDIA_TYPE = "application/problem+json"
_LONGEST_QUOTED = 60


@dataclass(frozen=True, slots=True)
class ProblemKind:
    """A kind of problem: its HTTP status, its title, what it means, an example of it, what to do, and the modules that raise
    it. ``faults``: what the codes of its faults mean, by the module that finds them."""

    status: int
    title: str
    meaning: str
    example: str
    remedy: str
    raised_in: tuple[str, ...]
    faults: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


KINDS = {
    "bad-request": ProblemKind(
        400,
        "The request cannot be answered",
        "the request is wrong in a way that has no code of its own",
        "A bulk request says Content-Encoding: gzip, but its body is not whole gzip data.",
        "Correct what `detail` names. What is not HTTP at all comes from the program that sent it.",
        ("http/body.py", "http/heavy.py", "http/problems.py"),
    ),
    "unreadable-json": ProblemKind(
        400,
        "The body cannot be read as JSON",
        "the body, or a line of it, is not JSON text (RFC 8259): syntax, empty, cut short, not UTF-8, a repeated key",
        """{"tax_year": "2026-27" "household": {}}, where a comma is missing.""",
        "`detail` has the line and the column. Write the body with a JSON library, not by hand. With curl, send a file "
        "with --data-binary, because -d joins its lines.",
        ("http/body.py", "http/bulk.py"),
    ),
    "key-needed": ProblemKind(
        401,
        "A key is needed",
        "the request has no key, or one that is not known",
        "A request without the header Authorization, to a service that asks for keys.",
        "Send the key as Authorization: Bearer KEY. Those who run the service give keys out.",
        ("http/access.py",),
    ),
    "not-allowed": ProblemKind(
        403,
        "The key does not allow this",
        "the key is known, but may not ask for this",
        "A bulk request, with a key that is for single quotes.",
        "Ask those who run the service what the key is for.",
        ("http/access.py",),
    ),
    "not-found": ProblemKind(
        404,
        "There is nothing here",
        "no such path, no such tax year, or no such operation",
        "GET /v1/tax-years/1999-00; /v1/withdrawal-tax/ with a slash at its end.",
        "`detail` names the nearest path there is. GET /openapi.yaml lists them all.",
        ("http/problems.py", "http/tax_years.py", "http/bulk.py", "http/meta.py"),
    ),
    "method-not-allowed": ProblemKind(
        405,
        "This method is not offered here",
        "the path exists; the `Allow` header lists its methods",
        "GET /v1/withdrawal-tax, which takes POST.",
        "Use a method that `detail` and the `Allow` header name.",
        ("http/problems.py",),
    ),
    "not-acceptable": ProblemKind(
        406,
        "The answer is not available in an accepted form",
        "the `Accept` header leaves nothing this operation can send",
        "Accept: text/csv, of an answer that is JSON.",
        "Leave the header out, or let it include the form that `detail` names.",
        ("http/negotiation.py",),
    ),
    "request-timeout": ProblemKind(
        408,
        "The request did not arrive in time",
        "the request did not arrive in time",
        "A client opens a connection and sends nothing.",
        "Send the request again, whole and at once.",
        ("http/problems.py",),
    ),
    "body-too-large": ProblemKind(
        413,
        "The body is too large",
        "the body is longer, or holds more records, than this service is set to read",
        "A bulk request of 10,001 records, where 10,000 are the most.",
        "Send a book of records in several requests. `detail` has the limit.",
        ("http/body.py", "http/bulk.py"),
    ),
    "uri-too-long": ProblemKind(
        414,
        "The request line is too long",
        "the request line is longer than 4,094 bytes",
        "A request body put into the query.",
        "Send what is asked as the body of a POST.",
        ("http/problems.py",),
    ),
    "unsupported-media-type": ProblemKind(
        415,
        "The body is not of the expected type",
        "the body is not labelled `application/json` (in bulk: `application/x-ndjson`), not UTF-8 by its label, or in a coding "
        "that is not taken here",
        "curl -d without a header: it says application/x-www-form-urlencoded.",
        "Send the header that `detail` names. Only bulk requests may be compressed, as gzip.",
        ("http/body.py",),
    ),
    "expectation-failed": ProblemKind(
        417,
        "What the request expects cannot be done",
        "the `Expect` header asks for something other than `100-continue`",
        "Expect: 200-ok.",
        "Leave the header out.",
        ("http/problems.py",),
    ),
    "invalid-request": ProblemKind(
        422,
        "The request is not valid",
        "readable JSON that does not have the shape described here, or whose parts do not fit together",
        """"amount": "40,000", as text; a withdrawal with neither `amount` nor `net_wanted`; an end before the start.""",
        "Each entry of `errors` has the place as a JSON Pointer and says what was expected. Put all of them right, then send "
        "the request again.",
        ("http/negotiation.py", "http/body.py", "http/problems.py"),
        {
            "schemas/problems.py": {
                "missing": "a required field is not there",
                "unknown-field": "there is no such field",
                "null": "a field is null",
                "not-an-object": "something else stands where an object is expected",
                "not-a-list": "something else stands where a list is expected",
                "invalid-value": "the value is of the wrong type, out of range, too long, or none of the words allowed",
            },
            "schemas/together.py": {
                "one-of-two": "both or neither of two fields of which one is needed",
                "missing": "a field is not there that another field's value requires",
                "only-with": "a field that counts only with another value of a second one",
            },
            "schemas/sensitivity.py": {
                "only-with": "a step of the tax on what is left, where the request taxes that in another way",
            },
            "schemas/law.py": {
                "unknown-law": "no law of that name is held",
                "same-law": "a law is to be compared with itself",
            },
            "schemas/household.py": {
                "missing": "a contribution does not say how it gets tax relief",
                "only-with": "an employer's contribution says how it gets tax relief",
                "not-spouses": "two people claim the marriage allowance who are said to be no spouses or civil partners",
            },
            "http/negotiation.py": {
                "query": "a query parameter is unknown, empty, given twice, or has a value that is not offered",
            },
            "planning/quote/quote.py": {
                "outside-tax-year": "the day of the withdrawal is not in the tax year",
                "not-yet-born": "the person is born after the withdrawal",
            },
            "planning/check/check.py": {
                "no-figures": "a day is in a tax year for which there are no figures",
                "not-yet-born": "a person is born after the date of the request",
                "before-the-date": "something planned is before the date of the request",
                "in-the-future": "something that has happened is after the date of the request",
            },
            "planning/marriage_claims.py": {
                "as-best-by-one": "only one person of a couple leaves the marriage allowance to the plan",
                "as-best-born-before-1935": "a couple leaves it to the plan that may have the married couple's allowance",
                "as-best-without-a-plan": "the marriage allowance is left to a plan, where no plan is made",
            },
            "planning/projection/faults.py": {
                "no-figures": "the first day is in a tax year for which there are no figures",
                "end-before-start": "the last day is before the first",
                "pensions-on-different-terms": "pensions that have to count as one here, but whose ages or growth differ",
                "nothing-before-start": "something was had in the tax year before the plan, which starts on its first day",
                "small-pot-left-open-with-all-now": "a plan is to choose when a small pot is taken, and to take all tax-free "
                "cash at once",
                "small-pot-outside-the-plan": "a small pot is to be taken in a tax year that is not in the plan",
                "small-pot-paid-into": "contributions go into a pension that is to be taken as a small pot",
                "plan-too-long": "the plan touches more tax years than can be planned",
                "not-yet-born": "a person is born after the first day",
            },
            "planning/schedule/schedule.py": {
                "small-pots-with-markets": "a small pot, with many courses of markets",
                "markets-need-a-plain-aim": "an aim that is searched for over all years, with many courses of markets",
            },
            "planning/schedule/to_beneficiaries.py": {
                "estate-needed": "the most to beneficiaries is asked for without saying what the estate is",
                "deaths-before-april-2024": "the most to beneficiaries is asked for on deaths before 6 April 2024",
            },
            "planning/markets/faults.py": {
                "correlation-impossible": "correlations that cannot hold together",
                "not-one-a-year": "a path has not one rate for each tax year of the plan",
                "history-of-another-length": "parts of a history that are not of the same years",
                "history-too-short": "a history of fewer years than the plan has",
                "thresholds-on-many-paths": "limits of tax that rise with prices which differ from path to path",
                "too-many-paths": "more paths than one request may ask for, of a plan so long",
            },
            "planning/incomes.py": {
                "to-before-from": "an income, contribution or spending ends before it begins",
                "no-such-pension": "a contribution goes into a pension that there is not",
                "less-used-than-withdrawn": "less of the lump sum allowance is said to be used than was withdrawn tax free",
            },
            "schemas/places.py": {
                "missing": "it is not said which of two people, or which of several pensions, is meant",
                "no-such-person": "there is no person at the place given",
                "no-such-pension": "there is no pension at the place given",
            },
            "planning/timing/comparison.py": {
                "age-already-reached": "the age to which options are compared is reached on the first day or before",
                "range-empty": "the range of growth does not end above where it begins",
                "no-survivor": "the age of a survivor in a household of one",
                "death-outside-the-years": "a death is before or after the years compared, or the second not after the first",
            },
            "planning/estates.py": {
                "no-band": "a home given up without the residence nil-rate band of that day",
            },
        },
    ),
    "invalid-record": ProblemKind(
        422,
        "The line is not a record",
        "a line of a bulk request that is JSON, but not a record",
        """{"request": {}}, without an `id`.""",
        """Each line is one object: {"id": "client-1", "request": {what the operation takes}}.""",
        ("http/bulk.py",),
        {
            "http/bulk.py": {"not-an-object": "the line holds a list"},
            "schemas/problems.py": {
                "missing": "the record has no `id`, or no `request`",
                "unknown-field": "a record has no other fields than `id` and `request`",
                "null": "the `id` is null",
                "not-an-object": "the line holds something other than an object",
                "invalid-value": "the `id` is neither text nor a whole number, or is too long",
            },
        },
    ),
    "rule-violation": ProblemKind(
        422,
        "The rules do not allow this",
        "readable, but the law or the pension does not allow it, such as taking more than the pot holds",
        "A withdrawal of 500,000 from a pension of 400,000: `permitted` is 400000.",
        "If there is a `permitted`, send that figure in place of the first amount at fault. If there is none, `detail` says what "
        "is wrong.",
        ("http/problems.py", "http/bulk.py"),
        {
            "planning/faults.py": {
                "no-such-allowance-yet": "use of a lump sum allowance, in a year before there was one",
            },
            "planning/quote/quote.py": {
                "code-not-in-use": "the PAYE code does not exist in the tax year",
                "net-wanted-out-of-reach": "no withdrawal by this method leaves that much after tax",
                "small-pot-over-limit": "the pension holds more than a small pot may hold",
                "over-permitted-maximum": "more than can be paid tax free",
                "more-than-the-pot": "more than the funds hold, or the method has nothing to pay from",
            },
            "planning/check/check.py": {
                "more-than-the-pot": "a withdrawal is more than those before it leave",
            },
            "planning/incomes.py": {
                "share-depends-on-sex": "a share of the full State Pension, for somebody whose full rate depends on their sex",
            },
            "planning/projection/faults.py": {
                "contributions-above-allowance": "contributions that a plan pays in are above an annual allowance",
                "small-pot-in-drawdown": "a plan is to take a pension with drawdown funds as a small pot",
                "small-pot-over-limit": "the pension will hold more than a small pot may hold",
                "small-pot-too-early": "a small pot is to be taken under the minimum pension age",
                "too-many-small-pots": "more small pots from personal schemes than a lifetime allows",
            },
            "planning/projection/policies.py": {
                "spending-cannot-be-met": "the household's money does not cover the spending, or the income tax, of a tax year",
            },
            "planning/estates.py": {
                "not-spouses": "a first death that passes to a spouse, although the two are not married",
                "lump-sum-only": "pension money in drawdown for a non-qualifying person",
                "bands-of-one-person": "bands brought forward from an earlier death, in a household of two",
                "lifetime-allowance-on-death": "a death benefit would bear a lifetime allowance charge, which is not computed",
            },
        },
    ),
    "too-many-requests": ProblemKind(
        429,
        "Too many requests",
        "the key has as many requests under way, or has sent as many in this time, as it may",
        "A third request at the same time, with a key that may have two.",
        "Wait for the number of seconds in the `Retry-After` header, then send it again.",
        ("http/access.py",),
    ),
    "headers-too-large": ProblemKind(
        431,
        "The headers are too large",
        "a header, or all of them together, are too long",
        "A cookie of ten thousand bytes.",
        "Send fewer headers, or shorter ones.",
        ("http/problems.py",),
    ),
    "internal-error": ProblemKind(
        500,
        "The service failed",
        "a fault of the service",
        "A calculation meets a case that nobody thought of.",
        "Send it again once. If it fails again, tell those who run the service the time and the path: their log has the cause.",
        ("http/problems.py", "http/bulk.py"),
    ),
    "took-too-long": ProblemKind(
        500,
        "The answer took too long",
        "the answer took longer than the service allows for one request",
        "A plan of sixty years on a machine that is overloaded.",
        "Send it again when the service is less busy, or ask for less: fewer years, options or deaths.",
        ("http/heavy.py",),
    ),
    "not-implemented": ProblemKind(
        501,
        "The transfer coding is not known here",
        "the body has a transfer coding that the service does not know",
        "Transfer-Encoding: gzip.",
        "Send the body as it is or in chunks.",
        ("http/problems.py",),
    ),
    "busy": ProblemKind(
        503,
        "The service is busy",
        "the service is working on as many long requests as it takes at one time; try again later",
        "A third bulk request, where two are answered at the same time.",
        "Wait for the number of seconds in the `Retry-After` header, then send it again.",
        ("http/heavy.py", "http/problems.py"),
    ),
}
"""Every problem by its code."""

_BY_STATUS = {
    404: "not-found",
    405: "method-not-allowed",
    408: "request-timeout",
    414: "uri-too-long",
    417: "expectation-failed",
    431: "headers-too-large",
    501: "not-implemented",
    503: "busy",
}
_DETAILS = {
    "not-found": "There is no such path. GET /openapi.yaml lists all paths.",
    "request-timeout": "The whole request did not arrive in time. Send it again.",
    "uri-too-long": "No path of this service is that long. GET /openapi.yaml lists them all.",
    "expectation-failed": "The header Expect may say 100-continue and nothing else.",
    "headers-too-large": "Send fewer headers, or shorter ones.",
    "not-implemented": "Send the body as it is or in chunks.",
    "busy": "More is being sent to this service at the same time than it has room for. Send this request again later.",
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


def with_faults(code: str, faults: tuple[Fault, ...]) -> ProblemError:
    """A problem that consists of faults."""
    return ProblemError(code, detail_of(faults), faults)


def detail_of(faults: tuple[Fault, ...]) -> str:
    """The one fault with its place, or the first and how many there are."""
    first = faults[0]
    sentence = f"{pointer(first.path)}: {first.detail}" if first.path else first.detail
    return sentence if len(faults) == 1 else f"{len(faults)} faults; the first: {sentence}"


def violation_document(error: RuleViolation, instance: str) -> dict[str, Any]:
    """What cannot be, as JSON: a fault of the request where any of it is one, otherwise a rule violation."""
    code = "invalid-request" if error.lies_in_the_request else "rule-violation"
    return document(code, detail_of(error.faults), error.faults, permitted=error.permitted, instance=instance)


def quoted(text: str) -> str:
    """What a request said, cut where it is long, as a sentence repeats it."""
    return json.dumps(text if len(text) <= _LONGEST_QUOTED else f"{text[:_LONGEST_QUOTED]}...")


def nearest_of(word: str, known: Iterable[str]) -> str:
    """A sentence that names what a misspelt word may mean; nothing where nothing is like it."""
    found = nearest(word.lower(), known)
    return f" Did you mean {found}?" if found else ""


def page(code: str) -> str:
    """What a kind of problem is, as a page of plain text. KeyError for an unknown code."""
    kind = KINDS[code]
    meanings: dict[str, list[str]] = {}
    for codes in kind.faults.values():
        for name, meaning in codes.items():
            meanings.setdefault(name, []).append(meaning)
    parts = [
        f"{kind.title}\n{'=' * len(kind.title)}\nCode {code}, HTTP status {kind.status}.",
        f"What it means: {kind.meaning}.",
        f"Example: {kind.example}",
        f"What to do: {kind.remedy}",
    ]
    if meanings:
        listed = [f"  {name}: {'; or '.join(dict.fromkeys(each))}." for name, each in meanings.items()]
        parts.append("\n".join(["Codes of its faults, in `errors`:", *listed]))
    return "\n\n".join(parts) + "\n"


def failure_document(instance: str) -> dict[str, Any]:
    """A fault of the service as JSON."""
    return document("internal-error", _DETAILS["internal-error"], instance=instance)


def document_of_status(status: int, instance: str | None = None) -> dict[str, Any]:
    """The problem that an HTTP status alone stands for."""
    code = _BY_STATUS.get(status, "internal-error" if status >= 500 else "bad-request")
    return document(code, _DETAILS.get(code, KINDS[code].title + "."), instance=instance)


def register(app: Flask) -> None:
    """Answer every error of the application with a problem."""
    app.before_request(_refuse_doubled_slash)
    app.register_error_handler(ProblemError, _on_problem)
    app.register_error_handler(RuleViolation, _on_violation)
    app.register_error_handler(HTTPException, _on_http_exception)


def _refuse_doubled_slash() -> None:
    """NotFound for a path that begins with two slashes, which routing takes for one."""
    if request.environ["PATH_INFO"].startswith("//"):
        abort(404)


def _response(problem: dict[str, Any]) -> Response:
    return Response(encode(problem), problem["status"], {"Cache-Control": "no-store"}, content_type=MEDIA_TYPE)


def _instance() -> str:
    """The request's path as a URI reference."""
    return quote(request.path)


def _on_problem(error: ProblemError) -> Response:
    response = _response(error.document(_instance()))
    if error.retry_after is not None:
        response.headers["Retry-After"] = str(error.retry_after)
    if error.code == "key-needed":
        response.headers["WWW-Authenticate"] = "Bearer"
    return response


def _on_violation(error: RuleViolation) -> Response:
    return _response(violation_document(error, _instance()))


def _on_http_exception(error: HTTPException) -> Response:
    problem = document_of_status(error.code or 500, _instance())
    if isinstance(error, NotFound):
        problem["detail"] = f"There is no such path.{_nearest_path()} GET /openapi.yaml lists all paths."
    if isinstance(error, MethodNotAllowed) and error.valid_methods:
        offered = [method for method in error.valid_methods if method not in ("HEAD", "OPTIONS")]
        problem["detail"] = f"{quoted(request.method)} is not offered here; {' and '.join(sorted(offered))} is."
    response = _response(problem)
    if isinstance(error, MethodNotAllowed) and error.valid_methods:
        response.headers["Allow"] = ", ".join(error.valid_methods)
    return response


def _nearest_path() -> str:
    """A sentence that names the path which a path of nothing may mean; nothing where none is like it."""
    bare = request.path.rstrip("/")
    adapter = current_app.create_url_adapter(request)
    if bare != request.path and adapter is not None and adapter.allowed_methods(bare):
        return f" It ends in a slash; without it, {quote(bare)} is a path."
    rules = (rule.rule for rule in current_app.url_map.iter_rules())
    return nearest_of(bare, [re.sub(r"<(?:[^:<>]+:)?([^<>]+)>", r"{\1}", rule) for rule in rules])
