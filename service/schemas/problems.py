"""From marshmallow's nested messages to a flat list of faults with JSON Pointers, each in a sentence."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple
from urllib.parse import quote

from marshmallow import ValidationError, fields

from service.law.kept import kept
from service.planning.faults import Fault
from service.schemas.belonging import of_the_same_name, of_the_same_shape, takes
from service.schemas.fields import NOT_A_LIST, NOT_AN_OBJECT, NULL, REQUIRED, UNKNOWN, nearest
from service.schemas.shared import ObjectList, StrictNested, StrictSchema, example_of
from service.schemas.together import SCHEMA, Said

MOST_UNKNOWN = 20
"""Unknown keys that are told one by one."""
_LONGEST_EXAMPLE = 120

Shape = StrictSchema | fields.Field[Any] | None
"""What is expected somewhere: a schema or a field; None at a key that nothing is expected under."""


class _Found(NamedTuple):
    """A message of marshmallow, where it was found, what was expected there, and in an object with which fields."""

    path: tuple[str | int, ...]
    message: object
    shape: Shape
    around: StrictSchema


def faults_of(error: ValidationError, schema: StrictSchema) -> tuple[Fault, ...]:
    """Every fault of a failed load, in the order of the document's schema; in each object its unknown keys come last. Of
    unknown keys no more than MOST_UNKNOWN are told, and how many more there are."""
    messages = error.messages if isinstance(error.messages, Mapping) else {SCHEMA: error.messages}
    faults, unknown = [], 0
    for found in _walk(messages, (), schema, schema):
        unknown += found.message == UNKNOWN
        if found.message != UNKNOWN or unknown <= MOST_UNKNOWN:
            faults.append(Fault(found.path, *_said(found, schema, error.data)))
    if unknown > MOST_UNKNOWN:
        more = unknown - MOST_UNKNOWN
        faults.append(Fault((), "unknown-field", f"{more:,} more field{'s' if more > 1 else ''} not known here."))
    return tuple(faults)


@kept(1024)
def pointer(path: tuple[str | int, ...]) -> str:
    """A URI-fragment JSON Pointer (RFC 6901 section 6): #/household/people/0/cash."""
    return "#" + "".join("/" + _escaped(str(part)) for part in path)


def _escaped(part: str) -> str:
    return quote(part.replace("~", "~0").replace("/", "~1"), safe="~!$&'()*+,;=:@")


def _walk(messages: Any, path: tuple[str | int, ...], shape: Shape, around: StrictSchema) -> Iterator[_Found]:
    if isinstance(messages, Mapping):
        if isinstance(shape, StrictNested):
            nested = shape.schema
            assert isinstance(nested, StrictSchema)
            shape = nested
        inside = shape if isinstance(shape, StrictSchema) else around
        for key, inner in sorted(messages.items(), key=_unknown_last):
            if key == SCHEMA and inner != [UNKNOWN]:
                yield from _walk(inner, path, shape, inside)
            else:
                yield from _walk(inner, (*path, key), _under(shape, key), inside)
        return
    for message in messages if isinstance(messages, list) else [messages]:
        yield _Found(path, message, shape, around)


def _under(shape: Shape, key: str | int) -> Shape:
    """What is expected under a key, or as an item of a list."""
    if isinstance(shape, ObjectList):
        return shape.inner
    return shape.by_key().get(str(key)) if isinstance(shape, StrictSchema) else None


def _unknown_last(item: tuple[str | int, Any]) -> tuple[bool, str]:
    """marshmallow keeps the unknown keys of an object in a set, whose order differs from process to process; theirs is that
    of the alphabet. Sorting leaves all else as it was."""
    key, messages = item
    return (True, str(key)) if messages == [UNKNOWN] else (False, "")


def _said(found: _Found, root: StrictSchema, request: object) -> Said:
    """The code and the sentence of a message about a request, whose schema is ``root``."""
    message, shape = found.message, found.shape
    if isinstance(message, Said):
        return message
    if message == REQUIRED:
        return Said("missing", f'This field is required, for example "{found.path[-1]}": {_shown(shape)}.')
    if message == NULL and isinstance(found.path[-1], int):
        return Said("null", f"Must not be null, but an object such as {_shown(shape)}.")
    if message == NULL and _is_required(shape):
        return Said(
            "null", f'Must not be null; this field is required, for example "{found.path[-1]}": {_shown(shape)}.'
        )
    if message == NULL:
        return Said("null", "Must not be null; leave it out.")
    if message == UNKNOWN:
        return Said("unknown-field", f"There is no such field{_meant(found, root, request)}")
    if message == NOT_AN_OBJECT:
        return Said("not-an-object", f"Must be an object such as {_shown(shape)}.")
    if message == NOT_A_LIST:
        return Said("not-a-list", f"Must be a list such as {_shown(shape)}.")
    return Said("invalid-value", str(message))


def _meant(found: _Found, root: StrictSchema, request: object) -> str:
    """The rest of the sentence about a field that is not known where it was found: what may be meant, or what is known there.
    Best is a field of the same name elsewhere, then one of a name like it here, then a place for what it holds."""
    known, value = found.around.by_key(), _at(request, found.path)
    place = of_the_same_name(root, found.path, value)
    near = None if place else nearest(str(found.path[-1]), known)
    if not place and not (near and takes(known[near], value)):
        place = of_the_same_shape(root, found.path, value)
    if place:
        return f" here. Did you mean {place}?"
    return f". Did you mean `{near}`?" if near else f". The fields here are: {', '.join(known)}."


def _at(request: Any, path: tuple[str | int, ...]) -> object:
    """What a request holds at a path."""
    for part in path:
        request = request[part]
    return request


def _is_required(shape: Shape) -> bool:
    return isinstance(shape, fields.Field) and shape.required


def _shown(shape: Shape) -> str:
    """An example of what is expected, as JSON; what lies deep in a long one is left out."""
    assert shape is not None
    example = shape.example() if isinstance(shape, StrictSchema) else example_of(shape)
    text = json.dumps(example)
    if len(text) <= _LONGEST_EXAMPLE:
        return text
    return f"[{_outline(example[0])}]" if isinstance(example, list) else _outline(example)


def _outline(example: Mapping[str, Any]) -> str:
    return "{" + ", ".join(f'"{key}": {_closed(value)}' for key, value in example.items()) + "}"


def _closed(value: Any) -> str:
    if isinstance(value, dict):
        return "{...}"
    return "[...]" if isinstance(value, list) else json.dumps(value)
