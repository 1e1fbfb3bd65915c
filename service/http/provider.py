"""JSON out: compact, in the order the answer was built, by one fast encoder."""

from __future__ import annotations

from typing import Any

import msgspec
from flask import Response
from flask.json.provider import JSONProvider

_ENCODER = msgspec.json.Encoder()


def encode(document: object) -> bytes:
    """A document as JSON bytes."""
    return _ENCODER.encode(document)


def append_line(block: bytearray, document: object) -> None:
    """Add a document to a block of JSON lines. Nothing is copied on the way, as it would be by joining lines."""
    _ENCODER.encode_into(document, block, -1)
    block += b"\n"


def json_response(document: object) -> Response:
    """A response that holds a document."""
    return Response(encode(document), content_type="application/json")


class PlainJSONProvider(JSONProvider):
    """Flask's own uses of JSON, by the same encoder. Requests are read in ``service.http.body``, not here."""

    def dumps(self, obj: Any, **_: Any) -> str:
        """A document as JSON text."""
        return encode(obj).decode()

    def loads(self, s: str | bytes, **_: Any) -> Any:
        """JSON text as a document."""
        return msgspec.json.decode(s)
