"""Reading a request's body: JSON, strictly, with every number exact.

Two readers give the same document. ``quickly`` uses a fast general parser, and is believed only where the text shows
that it dropped nothing, so no key came twice. ``strict`` accepts and refuses by the rules below and is asked whenever the
quick one is not enough.
"""

from __future__ import annotations

import gzip
import json
import zlib
from collections import Counter
from collections.abc import Callable
from decimal import Decimal, InvalidOperation
from io import BytesIO
from typing import Any, NamedTuple, TypeVar

import msgspec
from flask import request
from marshmallow import ValidationError

from service.http.problems import ProblemError
from service.http.provider import encode
from service.schemas.problems import faults_of
from service.schemas.quick import Refused
from service.schemas.shared import StrictSchema

Request = TypeVar("Request")

_QUICK = msgspec.json.Decoder(float_hook=Decimal)
_COLON_ESCAPED = b"\\u003"  # or one of the fifteen characters beside it, all of them seldom escaped
_LONGEST_WHOLE_NUMBER = 100

NOT_QUICKLY = (msgspec.DecodeError, UnicodeDecodeError, Refused, ValidationError, RecursionError, ArithmeticError)
"""What the quick ways raise where they are not enough; the strict ways then say what is wrong, or accept."""


def read_json_body(limit: int) -> bytes:
    """The request's bytes. ProblemError 415 for another content type, 413 over ``limit`` bytes, 400 if cut short."""
    _require_media_type("application/json", "Send the request as application/json.")
    return _sent(limit)


class Sent(NamedTuple):
    """A body as it was sent, and whether that is as gzip."""

    content: bytes
    is_packed: bool


def read_ndjson_body(limit: int) -> Sent:
    """The bytes of a request of JSON lines as they were sent.

    ProblemError 415 for another content type or coding, 413 where more than ``limit`` bytes are sent, 400 if cut short.
    """
    _require_media_type("application/x-ndjson", "Send the records as application/x-ndjson.")
    coding = request.environ.get("HTTP_CONTENT_ENCODING", "identity").strip().lower()
    if coding not in ("identity", "gzip", "x-gzip"):
        raise ProblemError("unsupported-media-type", "Send the records as they are or as gzip.")
    return Sent(_sent(limit), coding != "identity")


def _require_media_type(expected: str, otherwise: str) -> None:
    if request.environ.get("CONTENT_TYPE") != expected and request.mimetype != expected:
        raise ProblemError("unsupported-media-type", otherwise)


def _sent(limit: int) -> bytes:
    """The request's bytes as they were sent."""
    environ = request.environ
    announced = environ.get("CONTENT_LENGTH", "")
    stream = environ["wsgi.input"]
    if announced.isascii() and announced.isdecimal():
        length = int(announced[:_LONGEST_WHOLE_NUMBER])
        if length > limit:
            raise _too_large(limit)
        body = _read(stream, length)
        if len(body) < length:
            raise _unreadable("The body ends before the length it announced.")
        return body
    if not environ.get("wsgi.input_terminated"):
        return b""  # neither a length nor chunks: there is no body
    body = _read(stream, limit + 1)
    if len(body) > limit:
        raise _too_large(limit)
    return body


def _read(stream: Any, length: int) -> bytes:
    """Bytes of a body. ProblemError 400 where they do not come: whatever a server raises then is the sender's doing."""
    try:
        body: bytes = stream.read(length)
    except Exception:
        raise _unreadable("The body is cut short, or its chunks are not such as HTTP describes.") from None
    return body


def unpacked(sent: Sent, limit: int) -> bytes:
    """What a body holds. ProblemError 413 where that is more than ``limit`` bytes, 400 where it is not gzip (RFC 1952) after
    all. No more than ``limit`` bytes are ever unpacked, and one to see that there are."""
    if not sent.is_packed:
        return sent.content
    try:
        with gzip.GzipFile(fileobj=BytesIO(sent.content)) as members:
            body = members.read(limit + 1)
    except (EOFError, OSError, zlib.error):
        raise ProblemError("bad-request", "The body is not whole gzip data.") from None
    if len(body) > limit:
        raise _too_large(limit)
    return body


def _too_large(limit: int) -> ProblemError:
    return ProblemError("body-too-large", f"The body is larger than the {limit:,} bytes this service accepts.")


def quickly(text: bytes) -> Any:
    """A JSON document by the quick parser. Refused unless the text shows that nothing was dropped.

    Each key comes with a colon, so a document from which one was dropped is written out again with fewer colons than the
    text. Those in strings count in both, as long as none is written as an escape.
    """
    document = _QUICK.decode(text)
    if text.count(b":") != encode(document).count(b":") or _COLON_ESCAPED in text:
        raise Refused
    return document


def loaded(
    body: bytes,
    schema: StrictSchema,
    quick: Callable[[object], dict[str, Any]],
    build: Callable[[dict[str, Any]], Request],
) -> Request:
    """The request that a body describes. ProblemError naming every fault where it describes none."""
    try:
        return build(quick(quickly(body)))
    except NOT_QUICKLY:
        return slowly_loaded(body, schema, build)


def slowly_loaded(body: bytes, schema: StrictSchema, build: Callable[[dict[str, Any]], Request]) -> Request:
    """The same by the strict reader and marshmallow alone."""
    return checked(strict(body), schema, build)


def checked(document: Any, schema: StrictSchema, build: Callable[[dict[str, Any]], Request]) -> Request:
    """The request that a document describes, by marshmallow. ProblemError naming every fault."""
    try:
        return build(schema.load(document))
    except ValidationError as error:
        raise ProblemError(
            "invalid-request", "The request is not what the interface describes.", faults_of(error)
        ) from None


def strict(text: bytes, what: str = "body") -> Any:
    """A JSON document. ProblemError 400 for anything that is not JSON or says a thing twice, calling the text ``what``."""
    if not text.strip():
        raise _unreadable(f"The {what} is empty; a JSON object is expected.")
    try:
        characters = text.decode("utf-8")
    except UnicodeDecodeError:
        raise _unreadable(f"The {what} is not UTF-8.") from None
    try:
        document = json.loads(
            characters,
            parse_float=_number,
            parse_int=_whole_number,
            parse_constant=_no_constant,
            object_pairs_hook=_object,
        )
        halved = "\\u" in characters and _has_lone_surrogate(document)
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}" if what == "body" else f"column {error.colno}"
        raise _unreadable(f"The {what} is not JSON from {place} on.") from None
    except RecursionError:
        raise _unreadable(f"The {what} is nested too deeply.") from None
    if halved:
        raise _unreadable(f"The {what} holds half of a surrogate pair, which is not a character.")
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
