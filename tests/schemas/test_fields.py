"""Numbers are exact: a field's whole parts are those of rational arithmetic, however the number is written."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from service.schemas.fields import LARGEST_MONEY, Choice, Money, Rate, StrictField

FIELDS = (
    (Money(), 100, LARGEST_MONEY, "two"),
    (Rate(least=0, largest=1), 10_000, 1, "four"),
)

numbers = st.one_of(
    st.from_regex(r"\A-?[0-9]{1,12}(\.[0-9]{1,40})?([eE][-+]?[0-9]{1,3})?\Z"),
    st.from_regex(r"\A[0-9]{1,8}\.[0-9]{1,4}0{0,40}\Z"),
    st.from_regex(r"\A0?\.[0-9]{1,6}\Z"),
)


@pytest.mark.parametrize(("field", "parts", "largest", "decimals"), FIELDS)
@settings(max_examples=200, deadline=None)
@given(text=numbers)
@example("12.3400000000000000000000000000000000000000")
@example("12.3400000000000000000000000000000000000001")
@example("0.00999999999999999999999999999999999999999")
@example("0.0000000000000000000000000000000000000001")
@example("-0.0000000000000000000000000000000000000001")
@example("99999999.99")
@example("100000000.00000000000000000000000000000000")
@example("100000000.00000000000000000000000000000001")
@example("0.9999")
@example("1.0000")
@example("-0.0")
@example("1e-999999")
@example("0e-999999")
def test_numbers_with_a_point_or_an_exponent(
    field: StrictField, parts: int, largest: int, decimals: str, text: str
) -> None:
    number = Decimal(text)
    if not 0 <= number <= largest:
        expected: int | str = f", from 0 to {largest}."
    else:
        whole = Fraction(number) * parts
        expected = int(whole) if whole.denominator == 1 else f"Give at most {decimals} decimals"
    if isinstance(expected, int):
        accepted = field.accept(number)
        assert (accepted, type(accepted)) == (expected, int)
    else:
        with pytest.raises(ValidationError, match=expected):
            field.accept(number)


@pytest.mark.parametrize("text", ["1e999999999", "-1e999999999", "1e-999999999", "1e-99999999999999999"])
def test_numbers_beyond_all_measure_are_refused_at_once(text: str) -> None:
    for field, *_ in FIELDS:
        with pytest.raises(ValidationError):
            field.accept(Decimal(text))


YEARS = ("2019-20", "2026-27", "2028-29")


@pytest.mark.parametrize(
    ("written", "meant"),
    [("2026/27", "2026-27"), ("2026-2027", "2026-27"), ("2018-19", None), ("2027-28", None), ("2028-28", None)],
)
def test_another_tax_year_is_no_misspelt_one(written: str, meant: str | None) -> None:
    suggestion = f' Did you mean "{meant}"?' if meant else ""
    with pytest.raises(ValidationError) as refused:
        Choice(YEARS).accept(written)
    assert refused.value.messages == [f"Must be one of: {', '.join(YEARS)}.{suggestion}"]
