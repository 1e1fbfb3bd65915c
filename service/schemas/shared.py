"""What requests are made of: closed objects, and lists of them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError, fields, validates_schema

from service.schemas.fields import NOT_AN_OBJECT, SENTENCES, UNKNOWN, StrictField
from service.schemas.together import Needs, OneOfTwo, Rule, Said


class StrictSchema(Schema):
    """A closed object: an unknown key is a fault."""

    class Meta:
        unknown = RAISE

    error_messages = {
        "unknown": UNKNOWN,
        "type": NOT_AN_OBJECT,
    }
    rules: ClassVar[tuple[Rule, ...]] = ()
    """What its fields say together."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        unheard_of = {name for rule in self.rules for name in rule.names} - set(self.by_key())
        if unheard_of:
            raise ValueError(f"a rule of {type(self).__name__} is about fields that it has not: {sorted(unheard_of)}")

    def with_rule(self, rule: Rule) -> StrictSchema:
        """The same object, of which one more rule holds."""
        mine = type(self)
        more: type[StrictSchema] = type(mine.__name__, (mine,), {"rules": (*mine.rules, rule)})
        return more()

    def by_key(self) -> dict[str, fields.Field[Any]]:
        """Its fields by the names that requests have for them."""
        return {field.data_key or name: field for name, field in self.load_fields.items()}

    def example(self) -> dict[str, Any]:
        """An object of this shape with what is required and what that needs, or where nothing is with one field."""
        known = self.by_key()
        needed = [key for key, field in known.items() if field.required]
        needed += [rule.first for rule in self.rules if isinstance(rule, OneOfTwo)]
        found = {key: example_of(known[key]) for key in needed or list(known)[:1]}
        more = [rule.needed for rule in self.rules if isinstance(rule, Needs) and found.get(rule.key) == rule.word]
        return found | {key: example_of(known[key]) for key in more if key not in found}

    @validates_schema(pass_original=True, skip_on_field_errors=False)
    def _say_together(self, loaded: Mapping[str, Any], original: Any, **__: object) -> None:
        if self.rules and isinstance(original, Mapping):
            # A value that its own field refuses is there, but says nothing about others.
            names = {field.data_key or name: name for name, field in self.load_fields.items()}
            given = {key: original[key] if name in loaded else None for key, name in names.items() if key in original}
            found: dict[str, list[Said]] = {}
            for rule in self.rules:
                for key, said in rule.faults(given):
                    found.setdefault(key, []).append(said)
            if found:
                raise ValidationError(found)


class StrictNested(fields.Nested):
    """An object inside an object."""

    def __init__(self, schema: type[StrictSchema], **kwargs: Any) -> None:
        super().__init__(schema, error_messages=SENTENCES, **kwargs)


class ObjectList(fields.List[Any]):
    """A list of objects of one schema, of bounded length."""

    def __init__(self, schema: type[StrictSchema], *, most: int, least: int = 0, **kwargs: Any) -> None:
        super().__init__(StrictNested(schema), error_messages=SENTENCES, **kwargs)
        self.least, self.most = least, most

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any) -> list[Any]:
        if isinstance(value, list) and len(value) > self.most:
            raise ValidationError(f"Must hold at most {self.most} items; it holds {len(value)}.")
        if isinstance(value, list) and len(value) < self.least:
            items = f"{self.least} item{'s' if self.least > 1 else ''}"
            raise ValidationError(f"Must hold at least {items}, such as {json.dumps(example_of(self))}.")
        return super()._deserialize(value, attr, data, **kwargs)


def example_of(field: fields.Field[Any]) -> Any:
    """A JSON value that a field of any kind accepts."""
    if isinstance(field, ObjectList):
        return [example_of(field.inner)]
    if isinstance(field, StrictNested):
        schema = field.schema
        assert isinstance(schema, StrictSchema)
        return schema.example()
    assert isinstance(field, StrictField)
    return field.example
