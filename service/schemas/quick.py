"""The quick reader: a schema's own fields applied without marshmallow's machinery.

It is made from a marshmallow schema and calls the same ``accept`` of each field, so it accepts a value only where
marshmallow would, with the same result. Whatever it does not accept it gives up on (``Refused``), and marshmallow then
says what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from marshmallow import Schema, ValidationError

from service.schemas.fields import StrictField
from service.schemas.shared import ObjectList, StrictNested


class Refused(Exception):
    """The quick reader does not accept the document; the schema will say why, or accept it."""


Reader = Callable[[Any], Any]
KeyCounter = Callable[[Any], int]


class QuickReader(NamedTuple):
    """``read`` loads a parsed document as ``schema.load`` would, or raises Refused.

    ``keys_in`` says how many keys a document that was read holds, at every depth, to be compared with the colons in its
    text. What a field takes as it comes is not looked into.
    """

    read: Callable[[object], dict[str, Any]]
    keys_in: KeyCounter


def quick_reader(schema: Schema) -> QuickReader:
    """The quick reader of a schema."""
    read = _object_reader(schema)

    def load(document: object) -> dict[str, Any]:
        try:
            loaded: dict[str, Any] = read(document)
        except (ValidationError, KeyError) as error:
            raise Refused from error
        return loaded

    return QuickReader(load, _keys_of_object(schema))


def _object_reader(schema: Schema) -> Reader:
    # By the key of the document: the name of the loaded value, and what reads it.
    readers = {field.data_key or name: (name, _reader(field)) for name, field in schema.load_fields.items()}
    required = [field.data_key or name for name, field in schema.load_fields.items() if field.required]

    def read(document: object) -> dict[str, Any]:
        if type(document) is not dict:
            raise Refused
        for key in required:
            if key not in document:
                raise Refused
        loaded = {}
        for key, value in document.items():
            name, reader = readers[key]
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


def _keys_of_object(schema: Schema) -> KeyCounter:
    counters = [
        (field.data_key or name, _keys_of_field(field))
        for name, field in schema.load_fields.items()
        if not isinstance(field, StrictField)
    ]
    if not counters:
        return len

    def count(document: dict[str, Any]) -> int:
        keys = len(document)
        for key, keys_inside in counters:
            if key in document:
                keys += keys_inside(document[key])
        return keys

    return count


def _keys_of_field(field: Any) -> KeyCounter:
    if isinstance(field, StrictNested):
        return _keys_of_object(field.schema)
    assert isinstance(field.inner, StrictNested)
    keys_of_item = _keys_of_object(field.inner.schema)
    return lambda items: sum(map(keys_of_item, items))
