"""One record of a bulk request: the caller's own name for it, and the request itself."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from marshmallow import ValidationError

from service.schemas.fields import StrictField
from service.schemas.shared import StrictSchema

LONGEST_ID = 200
# RFC 8259 section 6: the whole numbers on whose value all JSON software agrees.
LARGEST_ID = 2**53 - 1


class RecordId(StrictField):
    """Text of 1 to LONGEST_ID characters, or a whole number that every JSON reader keeps exact."""

    example = "client-1"

    def accept(self, value: object) -> str | int:
        if isinstance(value, str):
            if 1 <= len(value) <= LONGEST_ID:
                return value
            raise ValidationError(f"Text must have from 1 to {LONGEST_ID} characters; this has {len(value):,}.")
        if type(value) is int or isinstance(value, Decimal):
            if -LARGEST_ID <= value <= LARGEST_ID and value == int(value):
                return int(value)
            raise ValidationError(
                f"A number must be whole and from {-LARGEST_ID} to {LARGEST_ID}; give a longer one as text."
            )
        raise ValidationError('Must be text or a whole number, such as "client-1" or 1.')


class Unjudged(StrictField):
    """Any value, null too: another schema judges it. The example is a sign for what the operation takes."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.example = {}

    def accept(self, value: object) -> Any:
        return value


class RecordSchema(StrictSchema):
    """A line of a bulk request."""

    id = RecordId(required=True)
    request = Unjudged(required=True, allow_none=True)
