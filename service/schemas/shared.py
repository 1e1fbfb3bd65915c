"""What requests are made of: closed objects, and lists of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import RAISE, Schema, ValidationError, fields

from service.schemas.fields import NOT_AN_OBJECT, SENTENCES, UNKNOWN


class StrictSchema(Schema):
    """A closed object: an unknown key is a fault."""

    class Meta:
        unknown = RAISE

    error_messages = {
        "unknown": UNKNOWN,
        "type": NOT_AN_OBJECT,
    }


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
            raise ValidationError(f"Must hold at most {self.most} items.")
        if isinstance(value, list) and len(value) < self.least:
            raise ValidationError(f"Must hold at least {self.least} item{'s' if self.least > 1 else ''}.")
        return super()._deserialize(value, attr, data, **kwargs)
