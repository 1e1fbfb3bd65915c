"""The quick reader: a schema's own fields applied without marshmallow's machinery.

It is made from a marshmallow schema and calls the same ``accept`` of each field, so it accepts a value only where
marshmallow would, with the same result. Whatever it does not accept it gives up on (``Refused``), and marshmallow then
says what is wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from marshmallow import Schema, ValidationError

from service.schemas.fields import StrictField
from service.schemas.shared import ObjectList, StrictNested, StrictSchema


class Refused(Exception):
    """The quick reader does not accept the document; the schema will say why, or accept it."""


Reader = Callable[[Any], Any]


def quick_reader(schema: Schema) -> Callable[[object], dict[str, Any]]:
    """A function that loads a parsed document as ``schema.load`` would, or raises Refused."""
    read = _object_reader(schema)

    def load(document: object) -> dict[str, Any]:
        try:
            loaded: dict[str, Any] = read(document)
        except (ValidationError, KeyError) as error:
            raise Refused from error
        return loaded

    return load


def _object_reader(schema: Schema) -> Reader:
    # By the key of the document: the name of the loaded value, and what reads it.
    readers = {field.data_key or name: (name, _reader(field)) for name, field in schema.load_fields.items()}
    required = frozenset(field.data_key or name for name, field in schema.load_fields.items() if field.required)
    rules = schema.rules if isinstance(schema, StrictSchema) else ()

    def read(document: object) -> dict[str, Any]:
        if type(document) is not dict:
            raise Refused
        if not required <= document.keys():
            raise Refused
        loaded = {}
        for key, value in document.items():
            name, reader = readers[key]
            loaded[name] = reader(value)
        for rule in rules:
            for _ in rule.faults(document):
                raise Refused
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
