"""The quick reader: a schema's own fields applied without marshmallow's machinery.

It is made from a marshmallow schema and calls the same ``accept`` of each field, so it accepts a value only where
marshmallow would, with the same result. Whatever it does not accept it gives up on (``Refused``), and marshmallow then
says what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from marshmallow import Schema, ValidationError

from service.schemas.fields import StrictField
from service.schemas.shared import ObjectList, StrictNested


class Refused(Exception):
    """The quick reader does not accept the document; the schema will say why, or accept it."""


Reader = Callable[[Any], Any]


def quick_reader(schema: Schema) -> Callable[[object], dict[str, Any]]:
    """A function that loads a parsed document as ``schema.load`` would, or raises Refused."""
    read = _object_reader(schema)

    def load(document: object) -> dict[str, Any]:
        try:
            return read(document)
        except ValidationError as error:
            raise Refused from error

    return load


def keys_in(document: object) -> int:
    """How many keys a parsed document holds, at every depth: to be compared with the colons in its text."""
    count = 0
    inner: Iterable[object] = ()
    if type(document) is dict:
        count, inner = len(document), document.values()
    elif type(document) is list:
        inner = document
    for value in inner:
        if type(value) is dict or type(value) is list:
            count += keys_in(value)
    return count


def _object_reader(schema: Schema) -> Callable[[object], dict[str, Any]]:
    # By the key of the document: the name of the loaded value, and what reads it.
    readers: Mapping[str, tuple[str, Reader]] = {
        field.data_key or name: (name, _reader(field)) for name, field in schema.load_fields.items()
    }
    required = frozenset(field.data_key or name for name, field in schema.load_fields.items() if field.required)

    def read(document: object) -> dict[str, Any]:
        if type(document) is not dict or not required <= document.keys():
            raise Refused
        loaded = {}
        for key, value in document.items():
            try:
                name, reader = readers[key]
            except KeyError:
                raise Refused from None
            loaded[name] = reader(value)
        return loaded

    return read


def _reader(field: Any) -> Reader:
    if isinstance(field, StrictField):
        return field.accept
    if isinstance(field, StrictNested):
        return _object_reader(field.schema)
    if isinstance(field, ObjectList):
        assert isinstance(field.inner, StrictNested)
        read_item, most = _object_reader(field.inner.schema), field.most
        least = field.least

        def read_list(value: object) -> list[Any]:
            if type(value) is not list or not least <= len(value) <= most:
                raise Refused
            return [read_item(item) for item in value]

        return read_list
    raise TypeError(f"the quick reader does not know fields like {field!r}")
