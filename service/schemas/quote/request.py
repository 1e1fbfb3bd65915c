"""The request of POST /v1/withdrawal-tax."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from marshmallow import ValidationError, validates_schema

from service.law.lump_sums import METHODS
from service.law.payroll import CODE_PATTERN, Basis
from service.planning.payroll import PayrollFacts
from service.planning.quote.asked import QuoteAsked
from service.planning.quote.quote import Withdrawal
from service.schemas.fields import MONTH_MISSING, Choice, IsoDate, Matching, Money, WholeNumber
from service.schemas.household import MOST_PENSIONS, MOST_PEOPLE, HouseholdSchema, member
from service.schemas.places import pension_place, person_place
from service.schemas.shared import StrictNested, StrictSchema


class WithdrawalSchema(StrictSchema):
    """The withdrawal asked for."""

    person = WholeNumber(least=0, largest=MOST_PEOPLE - 1)
    pension = WholeNumber(least=0, largest=MOST_PENSIONS - 1)
    method = Choice(METHODS, required=True)
    amount = Money()
    net_wanted = Money()
    day = IsoDate(data_key="date")


class PayrollSchema(StrictSchema):
    """What the payer knows about the person's code."""

    code = Matching(
        CODE_PATTERN, "Must be a PAYE code such as 1257L, S1257L, K475, 0T, BR, D0, SD2 or NT.", required=True
    )
    basis = Choice(get_args(Basis), required=True)
    month = WholeNumber(least=1, largest=12)
    pay_to_date = Money()
    tax_to_date = Money()

    @validates_schema(pass_original=True, skip_on_field_errors=False)
    def _month_is_given(self, _: Mapping[str, Any], original: Any, **__: object) -> None:
        require_month(original)


def require_month(payroll: Any) -> None:
    """ValidationError where the cumulative basis comes without its month."""
    if isinstance(payroll, Mapping) and payroll.get("basis") == "cumulative" and "month" not in payroll:
        raise ValidationError(MONTH_MISSING, "month")


def withdrawal_tax_schema(tax_years: tuple[str, ...]) -> StrictSchema:
    """The request's schema, for the tax years there are figures for."""

    class WithdrawalTaxSchema(StrictSchema):
        household = StrictNested(HouseholdSchema, required=True)
        tax_year = Choice(tax_years, required=True)
        withdrawal = StrictNested(WithdrawalSchema, required=True)
        payroll = StrictNested(PayrollSchema)

    return WithdrawalTaxSchema()


def question(values: Mapping[str, Any]) -> QuoteAsked:
    """What is asked, from loaded values. ValidationError where the payroll's month is missing, or it is not clear whose money and
    which pension is meant."""
    payroll = values.get("payroll")
    if payroll is not None:
        require_month(payroll)
    asked, household = dict(values["withdrawal"]), values["household"]
    people = household["people"]
    person = person_place(asked.pop("person", None), len(people), ("withdrawal", "person"))
    pension = pension_place(asked.pop("pension", None), people[person], person, ("withdrawal", "pension"))
    return QuoteAsked(
        values["tax_year"],
        member(people[person]),
        Withdrawal(**asked),
        PayrollFacts(**payroll) if payroll is not None else None,
        person,
        pension,
        len(people),
    )
