"""Strict fields. Each says what it accepts in one function, ``accept``, that both marshmallow and the quick reader call:
the two cannot disagree about a value.

A value arrives as the JSON reader gives it: bool, int, Decimal for numbers with a point or an exponent, str, list, dict.
"""

from __future__ import annotations

import json
import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Context, Decimal, Inexact
from difflib import SequenceMatcher, get_close_matches
from fractions import Fraction
from typing import Any

from marshmallow import ValidationError, fields

from service.figures.proposals import KNOWN, LONGEST_NAME
from service.figures.proposals import NAME as LAW_NAME
from service.law.payroll import CODE_PATTERN
from service.planning.household import WITH_PRICES, YearlyRate

LARGEST_MONEY = 100_000_000  # pounds
LEAST_YEARLY_RATE, LARGEST_YEARLY_RATE = Decimal("-0.1"), Decimal("0.2")
REQUIRED, NULL, UNKNOWN, NOT_AN_OBJECT, NOT_A_LIST = "required", "null", "unknown", "not an object", "not a list"
"""What marshmallow itself finds. ``service.schemas.problems`` makes a sentence of each, by the schema it was found in."""
LEAST_LIKENESS = 0.6  # of 1, where two words are the same
LONGEST_WORD = 60  # no word that is meant is longer, and none is compared that is
_written_as_date = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}").fullmatch
# As payslips and letters write the basis behind the code: 1257L M1, 1257L W1/M1, 1257LX.
_with_basis = re.compile(
    r"\s*(?P<code>\w{1,8}?)\s*(?:[WM]1(?:\s*/\s*[WM]1)?|(?:week|month)[ _]?1|X)\s*", re.IGNORECASE
).fullmatch
_A_YEARLY_RATE = "a yearly rate as a fraction, such as 0.025 for 2.5%"
_EARLIEST = date(1900, 1, 1)
_EXACT = Context(traps=[Inexact])
_exact_product, _exactly_whole = _EXACT.multiply, _EXACT.to_integral_exact
"""Arithmetic that raises where it would have to round."""
SENTENCES: dict[str, Any] = {"null": NULL, "required": REQUIRED, "invalid": NOT_A_LIST}
"""What a field of any kind says, by marshmallow's names; the rest each says itself."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that a misspelt one is most like, if there is one like it, and no other is as like."""
    found = get_close_matches(word, known, 2, LEAST_LIKENESS) if len(word) <= LONGEST_WORD else []
    if len(found) == 2 and likeness(word, found[0]) == likeness(word, found[1]):
        return None
    return found[0] if found else None


def likeness(word: str, other: str) -> float:
    """How like two words are, from 0 to 1."""
    return SequenceMatcher(None, other, word).ratio()


class StrictField(fields.Field[Any], ABC):
    """A field whose whole judgement of a value is ``accept``. ``example`` is a JSON value that it accepts."""

    example: Any = None

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
                raise ValidationError(f"Give at most {decimals} decimals.") from None
    else:
        raise ValidationError(f"Must be {what}, as a JSON number, not as text, true or false.")
    raise ValidationError(f"Must be {what}, from {least} to {largest}.")


class Money(StrictField):
    """Pounds with at most two decimals, as whole pence."""

    example = 10_000

    def accept(self, value: object) -> int:
        if type(value) is int and 0 <= value <= LARGEST_MONEY:
            return value * 100
        return _whole_parts(value, 0, LARGEST_MONEY, 100, "an amount in pounds, such as 12000 or 345.67", "two")


class Rate(StrictField):
    """A rate or share as a fraction (0.025 is 2.5%) with at most four decimals, as whole basis points."""

    def __init__(self, *, least: int | Decimal, largest: int | Decimal, example: float = 0.1, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least, self.largest, self.example = least, largest, example

    def accept(self, value: object) -> int:
        return _whole_parts(value, self.least, self.largest, 10_000, "a fraction, such as 0.025 for 2.5%", "four")


def yearly_rate(*, least: int | Decimal = LEAST_YEARLY_RATE, example: float = 0.02, **kwargs: Any) -> Rate:
    """The field of a rate a year."""
    return Rate(least=least, largest=LARGEST_YEARLY_RATE, example=example, **kwargs)


class Growth(StrictField):
    """A yearly growth rate as a fraction with at most eight decimals, in basis points: whole, or a Fraction.

    So many decimals because a rate at which two options change places is an answer, and can be asked about again.
    """

    example = 0.04

    def accept(self, value: object) -> YearlyRate:
        parts = 100_000_000
        rate = Fraction(
            _whole_parts(value, LEAST_YEARLY_RATE, LARGEST_YEARLY_RATE, parts, _A_YEARLY_RATE, "eight"),
            10_000,
        )
        return int(rate) if rate.denominator == 1 else rate


class RateList(StrictField):
    """A list of rates, one a year, of bounded length; each fault has its place in the list."""

    def __init__(self, rate: Rate, *, most: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.rate, self.most = rate, most
        self.example = [rate.example, 0, -rate.example if rate.least < 0 else rate.example]

    def accept(self, value: object) -> tuple[int, ...]:
        if type(value) is not list:
            raise ValidationError(f"Must be a list of rates, one a year, such as {json.dumps(self.example)}.")
        if not 1 <= len(value) <= self.most:
            raise ValidationError(f"Must hold from 1 to {self.most} rates, one a year; it holds {len(value)}.")
        found, faults = [], {}
        for place, one in enumerate(value):
            try:
                found.append(self.rate.accept(one))
            except ValidationError as error:
                faults[place] = error.messages
        if faults:
            raise ValidationError(faults)
        return tuple(found)


class OrWord(StrictField):
    """A word, or what another field accepts."""

    def __init__(self, word: str, field: StrictField, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.word, self.field = word, field
        self.example = word

    def accept(self, value: object) -> Any:
        if value == self.word:
            return self.word
        if isinstance(value, str):
            raise ValidationError(f'Must be "{self.word}", or a JSON number such as {self.field.example}.')
        return self.field.accept(value)


class Increases(StrictField):
    """How an amount rises each year: "none" (0), "prices" (WITH_PRICES) or a yearly rate as basis points."""

    example = WITH_PRICES

    def accept(self, value: object) -> int | str:
        if value == "none":
            return 0
        if value == WITH_PRICES:
            return WITH_PRICES
        if isinstance(value, str):
            raise ValidationError(f'Must be "none", "{WITH_PRICES}", or {_A_YEARLY_RATE}.')
        return _whole_parts(value, LEAST_YEARLY_RATE, LARGEST_YEARLY_RATE, 10_000, _A_YEARLY_RATE, "four")


class WholeNumber(StrictField):
    """A whole number between bounds; 2.0 is the whole number 2, as JSON Schema has it."""

    def __init__(self, *, least: int, largest: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.least, self.largest = least, largest
        self.example = (least + largest) // 2

    def accept(self, value: object) -> int:
        what = f"Must be a whole number from {self.least} to {self.largest}"
        if type(value) is int or isinstance(value, Decimal):
            if self.least <= value <= self.largest and value == int(value):
                return int(value)
            raise ValidationError(f"{what}.")
        raise ValidationError(f"{what}, as a JSON number, not as text, true or false.")


class StrictBoolean(StrictField):
    """true or false, and nothing that merely looks like it."""

    example = True

    def accept(self, value: object) -> bool:
        if isinstance(value, bool):
            return value
        raise ValidationError("Must be true or false, without quotation marks.")


class IsoDate(StrictField):
    """A calendar date written YYYY-MM-DD, from 1900 on."""

    def __init__(self, *, example: str = "2026-12-01", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.example = example

    def accept(self, value: object) -> date:
        if isinstance(value, str) and _written_as_date(value):
            try:
                day = date.fromisoformat(value)
            except ValueError:
                raise ValidationError(f"There is no such day as {value} in the calendar.") from None
            if day >= _EARLIEST:
                return day
            raise ValidationError(f"{value} is before {_EARLIEST.isoformat()}, the earliest date accepted.")
        raise ValidationError(f'Must be a date written YYYY-MM-DD, such as "{self.example}".')


class TaxYear(StrictField):
    """A tax year written such as 2027-28, or a word in its place. Whether it is one that can be asked for, whoever knows the
    years says."""

    example = "2027-28"

    def __init__(self, *, instead: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.instead = instead
        self.pattern = re.compile(f"([0-9]{{4}}-[0-9]{{2}}|{instead})")

    def accept(self, value: object) -> str:
        if isinstance(value, str) and self.pattern.fullmatch(value):
            return value
        raise ValidationError(f'Must be a tax year, such as "{self.example}", or "{self.instead}".')


class Choice(StrictField):
    """One of a list of words. ``meant``: other words for them, in lower case, that people are known to write."""

    def __init__(self, choices: Iterable[str], *, meant: Mapping[str, str] | None = None, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.choices = tuple(choices)
        self.example = self.choices[0]
        self._known = frozenset(self.choices)
        self._meant = meant or {}

    def accept(self, value: object) -> str:
        if isinstance(value, str) and value in self._known:
            return value
        sentence = f"Must be one of: {', '.join(self.choices)}."
        if isinstance(value, str):
            near = self._meant.get(value.lower()) or self._nearest(value.lower())
            sentence += f' Did you mean "{near}"?' if near else ""
        raise ValidationError(sentence)

    def _nearest(self, word: str) -> str | None:
        """The known word that a misspelt one is most like. A tax year with other figures is another one, not a misspelling."""
        near = nearest(word, self.choices)
        return None if near and _digits(near) != _digits(word) and len(near) == len(word) else near


def _digits(text: str) -> list[str]:
    return [mark for mark in text if mark.isdigit()]


_UNSEEN = r"\u0000-\u001f\u007f-\u009f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff"
"""Control characters, ends of lines, and what turns the direction of text or is not seen in it, as a regular expression has
them between brackets."""


class Text(StrictField):
    """Text of one line, of bounded length, with something in it."""

    example = "a name"
    pattern = re.compile(f"[^ {_UNSEEN}](?:[^{_UNSEEN}]*[^ {_UNSEEN}])?")

    def __init__(self, *, longest: int, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.longest = longest

    def accept(self, value: object) -> str:
        if isinstance(value, str) and len(value) <= self.longest and self.pattern.fullmatch(value):
            return value
        raise ValidationError(
            f"Must be text of 1 to {self.longest} characters on one line, without spaces at its ends."
        )


class LawName(StrictField):
    """The name of a law: that of the law as known, or of a proposed one that is held beside it. Which are held is known only to
    whoever builds the question (``schemas/law.py``)."""

    example = KNOWN
    pattern = LAW_NAME
    longest = LONGEST_NAME

    def accept(self, value: object) -> str:
        if isinstance(value, str) and len(value) <= self.longest and self.pattern.fullmatch(value):
            return value
        raise ValidationError(
            f'Must be the name of a law, such as "{self.example}": at most {self.longest} lower-case letters and digits, words '
            "joined by -."
        )


class PayeCode(StrictField):
    """A PAYE code, without its basis."""

    example = "1257L"
    pattern = re.compile(CODE_PATTERN)

    def accept(self, value: object) -> str:
        if isinstance(value, str):
            if self.pattern.fullmatch(value):
                return value
            if (found := _with_basis(value)) and self.pattern.fullmatch(found["code"].upper()):
                raise ValidationError(
                    f'Give the code alone, "{found["code"].upper()}", and its basis in `basis`: "month_1".'
                )
            if len(value) <= LONGEST_WORD and self.pattern.fullmatch(plain := "".join(value.split()).upper()):
                raise ValidationError(f'Write it in capitals and without spaces: "{plain}".')
        raise ValidationError("Must be a PAYE code such as 1257L, S1257L, K475, 0T, BR, D0, SD2 or NT.")
