"""Where a field belongs that is given where there is none of its name: deeper in the request, or nearer to its top."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any, NamedTuple

from marshmallow import ValidationError, fields

from service.planning.household import Path
from service.schemas.fields import LONGEST_WORD, StrictField, likeness
from service.schemas.shared import ObjectList, StrictNested, StrictSchema

LEAST_LIKENESS_OF_SHAPES = 0.5  # of 1; "person" is as like "people"


class _Place(NamedTuple):
    """Something that a request has: its path, with 0 for any item of a list, and its field; an item of a list has that of an
    object."""

    path: Path
    field: fields.Field[Any]


def of_the_same_name(root: StrictSchema, path: Path, value: object) -> str | None:
    """Where in a request there is a field of the name at ``path``, at which none is known, that takes such a value. In words,
    such as `household.people[0].cash`; None where there is none. Of several the nearest. What an item of one list holds does
    not belong in an item of another."""
    found = [
        place
        for place in _places(root)
        if place.path[-1] == path[-1] and takes(place.field, value) and not _in_another_list(place, path)
    ]
    return _written(min(found, key=lambda place: _distance(place, path)), path) if found else None


def of_the_same_shape(root: StrictSchema, path: Path, value: object) -> str | None:
    """Where in a request an object belongs, or a list, that stands where no such field is known: at a place with a name a
    little like, whose required fields it has. Of several that of which it has most fields, then the nearest."""
    word = str(path[-1])[:LONGEST_WORD]
    found = [
        (known, place)
        for place in _places(root)
        if (known := _known(place.field, value)) and likeness(word, _name(place)) >= LEAST_LIKENESS_OF_SHAPES
    ]
    if not found:
        return None
    _, best = min(found, key=lambda each: (-each[0], _distance(each[1], path)))
    return _written(best, path)


@lru_cache(maxsize=16)
def _places(root: StrictSchema) -> tuple[_Place, ...]:
    return tuple(_under(root, ()))


def _under(schema: StrictSchema, path: Path) -> Iterator[_Place]:
    for key, field in schema.by_key().items():
        here = (*path, key)
        yield _Place(here, field)
        inner = field
        if isinstance(field, ObjectList):
            here, inner = (*here, 0), field.inner
            yield _Place(here, inner)
        if isinstance(inner, StrictNested):
            yield from _under(_schema(inner), here)


def _schema(field: StrictNested) -> StrictSchema:
    schema = field.schema
    assert isinstance(schema, StrictSchema)
    return schema


def takes(field: fields.Field[Any], value: object) -> bool:
    """Whether a value is of the kind that a field takes: an object or a list, whatever is in it, or the very value."""
    if isinstance(field, StrictNested):
        return isinstance(value, Mapping)
    if isinstance(field, ObjectList):
        return isinstance(value, list)
    assert isinstance(field, StrictField)
    try:
        field.accept(value)
    except ValidationError:
        return False
    return True


def _known(field: fields.Field[Any], value: object) -> int:
    """How many fields of an object are known at a place, whose required ones it has; of a list its first item is asked."""
    if isinstance(field, ObjectList):
        return _known(field.inner, value[0]) if isinstance(value, list) and value else 0
    if not isinstance(field, StrictNested) or not isinstance(value, Mapping):
        return 0
    known = _schema(field).by_key()
    required = [key for key, inner in known.items() if inner.required]
    has_them = required and all(key in value for key in required)
    return sum(key in value for key in known) if has_them else 0


def _name(place: _Place) -> str:
    """The name of a place, or of the list that it is an item of."""
    return next(part for part in reversed(place.path) if isinstance(part, str))


def _distance(place: _Place, path: Path) -> tuple[int, int]:
    """How few steps two paths share, as a negative number, and how long the place's is."""
    return -_shared(place, path), len(place.path)


def _shared(place: _Place, path: Path) -> int:
    """How many steps from the top two paths share. An item of a list is like any other."""
    steps = 0
    for ours, theirs in zip(place.path, path[:-1], strict=False):
        if ours != theirs and not (ours == 0 and isinstance(theirs, int)):
            break
        steps += 1
    return steps


def _in_another_list(place: _Place, path: Path) -> bool:
    """Whether both are in items of lists, and not in the same."""
    steps = _shared(place, path)
    return all(any(isinstance(part, int) for part in rest[steps:]) for rest in (place.path[:-1], path[:-1]))


def _written(place: _Place, path: Path) -> str:
    """A place as programs reach it, `household.people[1].cash`: in the items of lists that ``path`` is in."""
    steps = _shared(place, path)
    whole = (*path[:steps], *place.path[steps:])
    name = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in whole).removeprefix(".")
    return f"`{name}`" if len(whole) > 1 else f"`{name}` at the top of the request"
