"""The request of POST /v1/withdrawal-tax."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from service.law.lump_sums import METHODS
from service.law.payroll import Basis
from service.planning.payroll import PayrollFacts
from service.planning.quote.asked import QuoteAsked
from service.planning.quote.quote import Withdrawal
from service.schemas.fields import Choice, IsoDate, LawName, Money, PayeCode, WholeNumber
from service.schemas.household import MOST_PENSIONS, MOST_PEOPLE, HouseholdSchema, member
from service.schemas.places import Places
from service.schemas.shared import StrictNested, StrictSchema
from service.schemas.together import Needs, OneOfTwo

OTHER_WORDS_FOR_MONTH_1 = dict.fromkeys(
    (
        "m1",
        "w1",
        "w1/m1",
        "m1/w1",
        "x",
        "week_1",
        "week1",
        "week 1",
        "month1",
        "month 1",
        "weekly",
        "monthly",
        "emergency",
    ),
    "month_1",
)


class WithdrawalSchema(StrictSchema):
    """The withdrawal asked for."""

    rules = (OneOfTwo("amount", "net_wanted", " (before tax)", " (after tax)"),)

    person = WholeNumber(least=0, largest=MOST_PEOPLE - 1)
    pension = WholeNumber(least=0, largest=MOST_PENSIONS - 1)
    method = Choice(METHODS, required=True)
    amount = Money()
    net_wanted = Money()
    day = IsoDate(data_key="date")


class PayrollSchema(StrictSchema):
    """What the payer knows about the person's code."""

    rules = (Needs("basis", "cumulative", "month", ": the month of the tax year, from 1 (6 April to 5 May) to 12"),)

    code = PayeCode(required=True)
    basis = Choice(get_args(Basis), meant=OTHER_WORDS_FOR_MONTH_1, required=True)
    month = WholeNumber(least=1, largest=12)
    pay_to_date = Money()
    tax_to_date = Money()


def withdrawal_tax_schema(tax_years: tuple[str, ...]) -> StrictSchema:
    """The request's schema, for the tax years there are figures for."""

    class WithdrawalTaxSchema(StrictSchema):
        household = StrictNested(HouseholdSchema, required=True)
        tax_year = Choice(tax_years, required=True)
        withdrawal = StrictNested(WithdrawalSchema, required=True)
        payroll = StrictNested(PayrollSchema)
        law = LawName()
        compare_law = LawName()

    return WithdrawalTaxSchema()


def question(values: Mapping[str, Any]) -> QuoteAsked:
    """What is asked, from loaded values. ValidationError where it is not clear whose money or which pension is meant."""
    payroll = values.get("payroll")
    people = values["household"]["people"]
    asked, places = dict(values["withdrawal"]), Places(people)
    person, pension = places.both(asked, ("withdrawal",))
    places.check()
    asked.pop("person", None)
    asked.pop("pension", None)
    return QuoteAsked(
        values["tax_year"],
        tuple([member(one) for one in people]),
        Withdrawal(**asked),
        PayrollFacts(**payroll) if payroll is not None else None,
        person,
        pension,
    )
