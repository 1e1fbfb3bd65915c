"""Reading a request's body: JSON, strictly, with every number exact.

Two readers give the same document. ``quick`` is a fast general parser, and is believed only where the text shows that it
dropped nothing: as many colons as keys, so no key came twice. ``strict`` accepts and refuses by the rules below and is
asked whenever the quick one is not enough.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from decimal import Decimal, InvalidOperation
from typing import Any, TypeVar

import msgspec
from flask import request
from marshmallow import ValidationError

from service.http.problems import ProblemError
from service.schemas.problems import faults_of
from service.schemas.quick import Refused, keys_in
from service.schemas.shared import StrictSchema

Request = TypeVar("Request")

_QUICK = msgspec.json.Decoder(float_hook=Decimal)
_LONGEST_WHOLE_NUMBER = 100


def read_json_body(limit: int) -> bytes:
    """The request's bytes. ProblemError 415 for another content type, 413 over ``limit`` bytes, 400 if cut short."""
    environ = request.environ
    if environ.get("CONTENT_TYPE") != "application/json" and request.mimetype != "application/json":
        raise ProblemError("unsupported-media-type", "Send the request as application/json.")
    announced = environ.get("CONTENT_LENGTH", "")
    stream = environ["wsgi.input"]
    if announced.isascii() and announced.isdecimal():
        length = int(announced[:_LONGEST_WHOLE_NUMBER])
        if length > limit:
            raise _too_large(limit)
        body: bytes = stream.read(length)
        if len(body) < length:
            raise _unreadable("The body ends before the length it announced.")
        return body
    if not environ.get("wsgi.input_terminated"):
        return b""  # neither a length nor chunks: there is no body
    body = stream.read(limit + 1)
    if len(body) > limit:
        raise _too_large(limit)
    return body


def _too_large(limit: int) -> ProblemError:
    return ProblemError("body-too-large", f"The body is larger than the {limit:,} bytes this service accepts.")


def loaded(
    body: bytes,
    schema: StrictSchema,
    quick: Callable[[object], dict[str, Any]],
    build: Callable[[dict[str, Any]], Request],
) -> Request:
    """The request that a body describes. ProblemError naming every fault where it describes none."""
    try:
        document = _QUICK.decode(body)
        if body.count(b":") == keys_in(document):
            return build(quick(document))
    except (msgspec.DecodeError, UnicodeDecodeError, Refused, ValidationError, RecursionError, ArithmeticError):
        pass
    return slowly_loaded(body, schema, build)


def slowly_loaded(body: bytes, schema: StrictSchema, build: Callable[[dict[str, Any]], Request]) -> Request:
    """The same by the strict reader and marshmallow alone."""
    document = strict(body)
    try:
        return build(schema.load(document))
    except ValidationError as error:
        raise ProblemError(
            "invalid-request", "The request is not what the interface describes.", faults_of(error)
        ) from None


def strict(body: bytes) -> Any:
    """A JSON document. ProblemError 400 for anything that is not JSON or says a thing twice."""
    if not body.strip():
        raise _unreadable("The body is empty; a JSON object is expected.")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError:
        raise _unreadable("The body is not UTF-8.") from None
    try:
        document = json.loads(
            text,
            parse_float=_number,
            parse_int=_whole_number,
            parse_constant=_no_constant,
            object_pairs_hook=_object,
        )
    except json.JSONDecodeError as error:
        raise _unreadable(f"The body is not JSON from line {error.lineno}, column {error.colno} on.") from None
    except RecursionError:
        raise _unreadable("The body is nested too deeply.") from None
    if "\\u" in text and _has_lone_surrogate(document):
        raise _unreadable("The body holds half of a surrogate pair, which is not a character.")
    return document


def _unreadable(detail: str) -> ProblemError:
    return ProblemError("unreadable-json", detail)


def _whole_number(text: str) -> int | Decimal:
    # Python refuses to turn thousands of digits into an int; as a Decimal they are simply out of range.
    return int(text) if len(text) <= _LONGEST_WHOLE_NUMBER else Decimal(text)


def _number(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        # An exponent beyond what even Decimal holds: as good as infinite, or as good as a fraction of a penny.
        return Decimal("1e-999" if "e-" in text.lower() else "1e999")


def _no_constant(text: str) -> Any:
    raise _unreadable(f"{text} is not JSON.")


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    document = dict(pairs)
    if len(document) != len(pairs):
        counts = Counter(key for key, _ in pairs)
        twice = [key for key, count in counts.items() if count > 1]
        raise _unreadable(f"A key is given twice: {', '.join(twice)!a}.")
    return document


def _has_lone_surrogate(document: Any) -> bool:
    try:
        json.dumps(document, ensure_ascii=False, default=str).encode("utf-8")
    except UnicodeEncodeError:
        return True
    return False
