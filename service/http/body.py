"""Reading a request's body: JSON, strictly, with every number exact.

Two readers give the same document. ``quickly`` uses a fast general parser, and is believed only where the text shows
that it dropped nothing, so no key came twice. ``strict`` accepts and refuses by the rules below and is asked whenever the
quick one is not enough.
"""

from __future__ import annotations

import gzip
import json
import re
import zlib
from collections.abc import Callable
from decimal import Decimal, InvalidOperation
from io import BytesIO
from typing import Any, NamedTuple, TypeVar

import msgspec
from flask import request
from marshmallow import ValidationError

from service.http.problems import ProblemError, quoted, with_faults
from service.http.provider import encode
from service.schemas.problems import faults_of
from service.schemas.quick import Refused
from service.schemas.shared import StrictSchema

Request = TypeVar("Request")

_QUICK = msgspec.json.Decoder(float_hook=Decimal)
_COLON_ESCAPED = b"\\u003"  # or one of the fifteen characters beside it, all of them seldom escaped
_LONGEST_WHOLE_NUMBER = 100
BYTE_ORDER_MARK = b"\xef\xbb\xbf"
"""It may stand before UTF-8, and is no part of the text (RFC 8259 section 8.1)."""
# Texts with the colon that makes them keys, and what else decides whether a thing is said once.
_TOKENS = re.compile(r'(?P<word>"(?:[^"\\]|\\.)*")(?P<colon>\s*:)?|[{}]|-?Infinity|NaN')

NOT_QUICKLY = (msgspec.DecodeError, UnicodeDecodeError, Refused, ValidationError, RecursionError, ArithmeticError)
"""What the quick ways raise where they are not enough; the strict ways then say what is wrong, or accept."""


def read_json_body(limit: int) -> bytes:
    """The request's bytes. ProblemError 415 for another content type or any coding, 413 over ``limit`` bytes, 400 if cut
    short."""
    _require_media_type("application/json")
    _coding(("identity",), "A single request takes none; POST /v1/bulk/{operation} takes gzip.")
    return _sent(limit)


class Sent(NamedTuple):
    """A body as it was sent, and whether that is as gzip."""

    content: bytes
    is_packed: bool


def read_ndjson_body(limit: int) -> Sent:
    """The bytes of a request of JSON lines as they were sent.

    ProblemError 415 for another content type or coding, 413 where more than ``limit`` bytes are sent, 400 if cut short.
    """
    _require_media_type("application/x-ndjson")
    coding = _coding(("identity", "gzip", "x-gzip"), "Send the records as they are, or as gzip.")
    return Sent(_sent(limit), coding != "identity")


def _require_media_type(expected: str) -> None:
    """ProblemError 415 for a body labelled as of another type, or as written in other characters than UTF-8."""
    given = request.environ.get("CONTENT_TYPE", "")
    if given == expected:
        return
    if not given:
        raise ProblemError("unsupported-media-type", f"The Content-Type header is missing; it must be {expected}.")
    if request.mimetype != expected:
        raise ProblemError(
            "unsupported-media-type", f"The Content-Type header is {quoted(given)}; it must be {expected}."
        )
    charset = request.mimetype_params.get("charset", "utf-8")
    if charset.lower() not in ("utf-8", "utf8", "us-ascii"):
        raise ProblemError(
            "unsupported-media-type",
            f"The Content-Type header says charset={quoted(charset)}; the body must be sent as UTF-8.",
        )


def _coding(taken: tuple[str, ...], otherwise: str) -> str:
    """The coding of the body. ProblemError 415, saying ``otherwise``, for one that is not taken."""
    given: str = request.environ.get("HTTP_CONTENT_ENCODING", "identity").strip()
    if given.lower() not in taken:
        raise ProblemError("unsupported-media-type", f"The Content-Encoding header is {quoted(given)}. {otherwise}")
    return given.lower()


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
        raise with_faults("invalid-request", faults_of(error, schema)) from None


def strict(text: bytes, what: str = "body") -> Any:
    """A JSON document. ProblemError 400 for anything that is not JSON or says a thing twice, calling the text ``what``."""
    if what == "body":
        text = text.removeprefix(BYTE_ORDER_MARK)
    if not text.strip():
        raise _unreadable(f"The {what} is empty; a JSON object is expected.")
    try:
        characters = text.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _unreadable(f"The {what} is not UTF-8: byte {error.start + 1} does not fit.") from None
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
        raise _unreadable(_not_json(error, what)) from None
    except _NotSaidOnce:
        raise _unreadable(_not_said_once(characters, what)) from None
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


class _NotSaidOnce(Exception):
    """A key came twice in an object, or a number is none: ``_not_said_once`` finds the place."""


def _no_constant(_: str) -> Any:
    raise _NotSaidOnce


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    document = dict(pairs)
    if len(document) != len(pairs):
        raise _NotSaidOnce
    return document


def _not_json(error: json.JSONDecodeError, what: str) -> str:
    """Where and why a text is not JSON."""
    place = _place(error.doc, error.pos, what)
    if error.pos >= len(error.doc.rstrip()):
        more = "; each record must be whole on one line" if what == "line" else ""
        return f"The {what} ends at {place} before its JSON does{more}."
    if error.msg == "Extra data" and error.doc[error.pos] in '{["':
        more = "; is a line end missing? With curl, use --data-binary" if what == "line" else ""
        return f"In the {what} a second JSON value follows at {place}{more}."
    more = "; each record must be whole on one line" if what == "line" else ""
    return f"The {what} is not JSON from {place} on{more}."


def _place(text: str, position: int, what: str) -> str:
    column = position - text.rfind("\n", 0, position)
    return f"column {column}" if what == "line" else f"line {text.count(chr(10), 0, position) + 1}, column {column}"


def _not_said_once(text: str, what: str) -> str:
    """Which key comes again in its object, or which number is none, in a text that is JSON otherwise; and where."""
    keys: list[set[str]] = []
    for token in _TOKENS.finditer(text):
        word = token["word"]
        if word is None:
            mark = token[0]
            if mark == "{":
                keys.append(set())
            elif mark == "}":
                keys.pop()
            else:
                return f"{mark} at {_place(text, token.start(), what)} is not a JSON number."
        elif token["colon"]:
            key = json.loads(word)
            if key in keys[-1]:
                place = _place(text, token.start(), what)
                return f"The key {quoted(key)} is given twice in one object, the second time at {place}."
            keys[-1].add(key)
    raise AssertionError("nothing is wrong with the text")


def _has_lone_surrogate(document: Any) -> bool:
    try:
        json.dumps(document, ensure_ascii=False, default=str).encode("utf-8")
    except UnicodeEncodeError:
        return True
    return False
