"""From marshmallow's nested messages to a flat list of faults with JSON Pointers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any
from urllib.parse import quote

from marshmallow import ValidationError

from service.planning.faults import Fault
from service.schemas.fields import MONTH_MISSING, NOT_A_LIST, NOT_AN_OBJECT, NULL, REQUIRED, UNKNOWN


def faults_of(error: ValidationError) -> tuple[Fault, ...]:
    """Every fault of a failed load, in the order of the document's schema; in each object its unknown keys come last."""
    return tuple(_walk(error.messages if isinstance(error.messages, Mapping) else {"_schema": error.messages}, ()))


@lru_cache(maxsize=1024)
def pointer(path: tuple[str | int, ...]) -> str:
    """A URI-fragment JSON Pointer (RFC 6901 section 6): #/person/income/0/amount."""
    return "#" + "".join("/" + _escaped(str(part)) for part in path)


def _escaped(part: str) -> str:
    return quote(part.replace("~", "~0").replace("/", "~1"), safe="~!$&'()*+,;=:@")


def _walk(messages: Any, path: tuple[str | int, ...]) -> Iterator[Fault]:
    if isinstance(messages, Mapping):
        for key, inner in sorted(messages.items(), key=_unknown_last):
            yield from _walk(inner, path if key == "_schema" else (*path, key))
        return
    for message in messages if isinstance(messages, list) else [messages]:
        yield Fault(path, _code(str(message)), str(message))


def _unknown_last(item: tuple[str | int, Any]) -> tuple[bool, str]:
    """marshmallow keeps the unknown keys of an object in a set, whose order differs from process to process; theirs is that
    of the alphabet. Sorting leaves all else as it was."""
    key, messages = item
    return (True, str(key)) if messages == [UNKNOWN] else (False, "")


_CODES = {
    MONTH_MISSING: "missing",
    REQUIRED: "missing",
    UNKNOWN: "unknown-field",
    NULL: "null",
    NOT_AN_OBJECT: "not-an-object",
    NOT_A_LIST: "not-a-list",
}


def _code(message: str) -> str:
    return _CODES.get(message, "invalid-value")
