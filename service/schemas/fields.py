"""Strict fields. Each says what it accepts in one function, ``accept``, that both marshmallow and the quick reader call:
the two cannot disagree about a value.

A value arrives as the JSON reader gives it: bool, int, Decimal for numbers with a point or an exponent, str, list, dict.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Context, Decimal, Inexact
from fractions import Fraction
from typing import Any

from marshmallow import ValidationError, fields

from service.planning.household import WITH_PRICES, YearlyRate

LARGEST_MONEY = 100_000_000  # pounds
LEAST_YEARLY_RATE, LARGEST_YEARLY_RATE = Decimal("-0.1"), Decimal("0.2")
REQUIRED = "This field is required."
NULL = "Leave the field out instead of giving null."
UNKNOWN = "There is no such field."
NOT_AN_OBJECT = "Must be a JSON object."
NOT_A_LIST = "Must be a list."
MONTH_MISSING = "On the cumulative basis the month of the tax year is needed, from 1 (6 April to 5 May) to 12."
_written_as_date = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}").fullmatch
_EARLIEST = date(1900, 1, 1)
_EXACT = Context(traps=[Inexact])
_exact_product, _exactly_whole = _EXACT.multiply, _EXACT.to_integral_exact
"""Arithmetic that raises where it would have to round."""
SENTENCES: dict[str, Any] = {"null": NULL, "required": REQUIRED, "invalid": NOT_A_LIST}
"""What a field of any kind says, by marshmallow's names; the rest each says itself."""


class StrictField(fields.Field[Any], ABC):
    """A field whose whole judgement of a value is ``accept``."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(error_messages=SENTENCES, **kwargs)

    @abstractmethod
    def accept(self, value: object) -> Any:
        """The value as the planning layer takes it. ValidationError with a sentence for people otherwise."""

    def _deserialize(self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any) -> Any:
        return self.accept(value)


def _whole_parts(
    value: object, least: int | Decimal, largest: int | Decimal, parts: int, what: str, decimals: str
) -> int:
    """A JSON number from ``least`` to ``largest`` as a whole number of parts: 100 parts for two decimals."""
    if type(value) is int:
        if least <= value <= largest:
            return value * parts
    elif isinstance(value, Decimal):
        if least <= value <= largest:
            try:
                return int(_exactly_whole(_exact_product(value, parts)))
            except Inexact:
                raise ValidationError(
                    f"{what} has at most {decimals} decimals; it is never rounded silently."
                ) from None
    else:
        raise ValidationError(f"{what} must be a JSON number, not text, true or false.")
    raise ValidationError(f"{what} must be from {least} to {largest}.")


class Money(StrictField):
    """Pounds with at most two decimals, as whole pence."""

    def accept(self, value: object) -> int:
        if type(value) is int and 0 <= value <= LARGEST_MONEY:
            return value * 100
        return _whole_parts(value, 0, LARGEST_MONEY, 100, "Money, in pounds,", "two")


class Rate(StrictField):
    """A rate or share as a fraction (0.025 is 2.5%) with at most four decimals, as whole basis points."""

    def __init__(self, *, least: int | Decimal, largest: int | Decimal, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least, self.largest = least, largest

    def accept(self, value: object) -> int:
        return _whole_parts(value, self.least, self.largest, 10_000, "A rate, as a fraction,", "four")


def yearly_rate(*, least: int | Decimal = LEAST_YEARLY_RATE, **kwargs: Any) -> Rate:
    """The field of a rate a year."""
    return Rate(least=least, largest=LARGEST_YEARLY_RATE, **kwargs)


class Growth(StrictField):
    """A yearly growth rate as a fraction with at most eight decimals, in basis points: whole, or a Fraction.

    So many decimals because a rate at which two options change places is an answer, and can be asked about again.
    """

    def accept(self, value: object) -> YearlyRate:
        rate = Fraction(
            _whole_parts(
                value, LEAST_YEARLY_RATE, LARGEST_YEARLY_RATE, 100_000_000, "A growth rate, as a fraction,", "eight"
            ),
            10_000,
        )
        return int(rate) if rate.denominator == 1 else rate


class OrWord(StrictField):
    """A word, or what another field accepts."""

    def __init__(self, word: str, field: StrictField, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.word, self.field = word, field

    def accept(self, value: object) -> Any:
        if value == self.word:
            return self.word
        if isinstance(value, str):
            raise ValidationError(f'Must be "{self.word}" or a number.')
        return self.field.accept(value)


class Increases(StrictField):
    """How an amount rises each year: "none" (0), "prices" (WITH_PRICES) or a yearly rate as basis points."""

    def accept(self, value: object) -> int | str:
        if value == "none":
            return 0
        if value == WITH_PRICES:
            return WITH_PRICES
        if isinstance(value, str):
            raise ValidationError('Must be "none", "prices" or a yearly rate.')
        return _whole_parts(
            value, LEAST_YEARLY_RATE, LARGEST_YEARLY_RATE, 10_000, "A yearly rate, as a fraction,", "four"
        )


class WholeNumber(StrictField):
    """A whole number between bounds; 2.0 is the whole number 2, as JSON Schema has it."""

    def __init__(self, *, least: int, largest: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least, self.largest = least, largest

    def accept(self, value: object) -> int:
        if type(value) is int or isinstance(value, Decimal):
            if self.least <= value <= self.largest and value == int(value):
                return int(value)
            raise ValidationError(f"Must be a whole number from {self.least} to {self.largest}.")
        raise ValidationError("Must be a whole number, not text, true or false.")


class StrictBoolean(StrictField):
    """true or false, and nothing that merely looks like it."""

    def accept(self, value: object) -> bool:
        if isinstance(value, bool):
            return value
        raise ValidationError("Must be true or false.")


class IsoDate(StrictField):
    """A calendar date written YYYY-MM-DD, from 1900 on."""

    def accept(self, value: object) -> date:
        if isinstance(value, str) and _written_as_date(value):
            try:
                day = date.fromisoformat(value)
            except ValueError:
                raise ValidationError("There is no such day in the calendar.") from None
            if day >= _EARLIEST:
                return day
            raise ValidationError("Dates before 1900-01-01 are not accepted.")
        raise ValidationError("Must be a date written YYYY-MM-DD.")


class Choice(StrictField):
    """One of a list of words."""

    def __init__(self, choices: Iterable[str], **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.choices = tuple(choices)
        self._known = frozenset(self.choices)

    def accept(self, value: object) -> str:
        if isinstance(value, str) and value in self._known:
            return value
        raise ValidationError(f"Must be one of: {', '.join(self.choices)}.")


class Text(StrictField):
    """Text of one line, of bounded length, with something in it."""

    def __init__(self, *, longest: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.longest = longest

    def accept(self, value: object) -> str:
        if (
            isinstance(value, str)
            and 1 <= len(value) <= self.longest
            and value.isprintable()
            and value.strip() == value
        ):
            return value
        raise ValidationError(
            f"Must be text of 1 to {self.longest} characters on one line, without spaces at its ends."
        )


class Matching(StrictField):
    """Text of a given pattern from end to end."""

    def __init__(self, pattern: str, explain: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.pattern = re.compile(pattern)
        self.explain = explain

    def accept(self, value: object) -> str:
        if isinstance(value, str) and self.pattern.fullmatch(value):
            return value
        raise ValidationError(self.explain)
