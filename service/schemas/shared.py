"""What requests are made of: closed objects and lists of them, and the shapes that several requests share: a person in one
tax year, their income, their pension."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from marshmallow import RAISE, Schema, ValidationError, fields

from service.law.income_tax import NATIONS, MarriageAllowance
from service.law.lump_sums import Pension
from service.planning.household import INCOME_KINDS, Income, Person
from service.schemas.fields import (
    NOT_AN_OBJECT,
    SENTENCES,
    UNKNOWN,
    Choice,
    IsoDate,
    Money,
    Percentage,
    StrictBoolean,
    WholeNumber,
)

MOST_PEOPLE = 2
MOST_INCOMES = 50


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


class IncomeSchema(StrictSchema):
    """One income of the tax year."""

    kind = Choice(INCOME_KINDS, required=True)
    amount = Money(required=True)


class PersonFactsSchema(StrictSchema):
    """What every question asks of a person, whatever their income."""

    date_of_birth = IsoDate(required=True)
    tax_residence = Choice(NATIONS, required=True)
    relief_at_source_contributions = Money()
    gift_aid_donations = Money()
    marriage_allowance = Choice(get_args(MarriageAllowance))
    blind_persons_allowance = StrictBoolean()
    child_benefit = Money()


class PersonSchema(PersonFactsSchema):
    """A person in one tax year."""

    income = ObjectList(IncomeSchema, most=MOST_INCOMES)


class PensionSchema(StrictSchema):
    """A money purchase pension and what has been used of its allowances."""

    uncrystallised = Money(required=True)
    drawdown = Money()
    lump_sum_allowance_used = Money()
    lump_sum_and_death_benefit_allowance_used = Money()
    lifetime_allowance_used = Percentage(largest=1000, data_key="lifetime_allowance_used_percent")
    protected_lump_sum_allowance = Money()
    protected_lump_sum_and_death_benefit_allowance = Money()
    flexibly_accessed = StrictBoolean()
    minimum_pension_age = WholeNumber(least=20, largest=75)


def person(values: Mapping[str, Any]) -> Person:
    """A Person from loaded values."""
    income = tuple([Income(**each) for each in values.get("income", ())])
    return Person(**{**values, "income": income})


def pension(values: Mapping[str, Any]) -> Pension:
    """A Pension from loaded values."""
    return Pension(**values)
