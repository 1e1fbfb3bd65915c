"""The request of POST /v1/warnings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from service.law.lump_sums import METHODS
from service.law.units import Pence
from service.planning.check.check import PersonAsked, Planned, Subscribed, WarningsQuestion
from service.planning.estates import TO_BENEFICIARIES, TO_SPOUSE
from service.planning.warnings.circumstances import (
    Benefits,
    Estate,
    Facts,
    Features,
    Given,
    Inherited,
    Isas,
    Subscription,
)
from service.schemas.fields import Choice, IsoDate, LawName, Money, StrictBoolean, WholeNumber
from service.schemas.household import (
    MOST_PENSIONS,
    MOST_PEOPLE,
    CircumstancesSchema,
    HouseholdSchema,
    StudentLoansSchema,
    member,
)
from service.schemas.places import Places
from service.schemas.shared import ObjectList, StrictNested, StrictSchema

MOST_WITHDRAWALS = 100
MOST_SUBSCRIPTIONS = 100


class PlannedWithdrawalSchema(StrictSchema):
    """A withdrawal intended."""

    person = WholeNumber(least=0, largest=MOST_PEOPLE - 1)
    pension = WholeNumber(least=0, largest=MOST_PENSIONS - 1)
    method = Choice(METHODS, required=True)
    amount = Money(required=True)
    day = IsoDate(data_key="date", required=True)


class SubscriptionSchema(StrictSchema):
    """A planned ISA subscription."""

    person = WholeNumber(least=0, largest=MOST_PEOPLE - 1)
    amount = Money(required=True)
    day = IsoDate(data_key="date", required=True)
    cash_isa = StrictBoolean()


class WarningsSchema(StrictSchema):
    """The whole request."""

    household = StrictNested(HouseholdSchema, required=True)
    date = IsoDate(required=True)
    withdrawals = ObjectList(PlannedWithdrawalSchema, most=MOST_WITHDRAWALS)
    isa_subscriptions = ObjectList(SubscriptionSchema, most=MOST_SUBSCRIPTIONS)
    law = LawName()
    compare_law = LawName()


def question(values: Mapping[str, Any]) -> WarningsQuestion:
    """A WarningsQuestion from loaded values. ValidationError where it is not clear whose money, or which pension, is meant."""
    household = values["household"]
    people = household["people"]
    places = Places(people)
    withdrawals = tuple(_planned(one, j, places) for j, one in enumerate(values.get("withdrawals", ())))
    subscriptions = tuple(_subscribed(one, j, places) for j, one in enumerate(values.get("isa_subscriptions", ())))
    places.check()
    return WarningsQuestion(
        today=values["date"],
        people=tuple(_person(one) for one in people),
        withdrawals=withdrawals,
        subscriptions=subscriptions,
        contributions_known=tuple("contributions" in one for one in people),
        estate=_estate(household["estate"], people) if "estate" in household else None,
    )


def _planned(values: Mapping[str, Any], j: int, places: Places) -> Planned:
    person, pension = places.both(values, ("withdrawals", j))
    return Planned(person, pension, values["method"], values["amount"], values["day"])


def _subscribed(values: Mapping[str, Any], j: int, places: Places) -> Subscribed:
    person = places.person(values.get("person"), ("isa_subscriptions", j, "person"))
    return Subscribed(person, Subscription(values["amount"], values["day"], values.get("cash_isa", False)))


_STUDENT_LOANS = tuple(StudentLoansSchema().load_fields)
_OF_THE_SCHEME = tuple(field for field in Features.__dataclass_fields__)
_OF_THE_ISA = ("value", "subscribed_this_year", "cash_subscribed_this_year", "withdrawn_this_year", "flexible")
_PLAIN_CIRCUMSTANCES = tuple(
    name
    for name in CircumstancesSchema().load_fields
    if name in Facts.__dataclass_fields__ and name not in ("benefits", "student_loans")
)


def _person(values: Mapping[str, Any]) -> PersonAsked:
    given = values.get("circumstances", {})
    facts = {name: given[name] for name in _PLAIN_CIRCUMSTANCES if name in given}
    if "benefits" in given:
        facts["benefits"] = Benefits(**given["benefits"])
    if "student_loans" in given:
        facts["student_loans"] = tuple(plan for plan in _STUDENT_LOANS if given["student_loans"].get(plan))
    if "inherited_pension" in given:
        facts["inherited"] = Inherited(**given["inherited_pension"])
    isa = values.get("isa", {})
    return PersonAsked(
        member=member(values),
        facts=Facts(
            **facts,
            cash=values.get("cash", 0),
            isas=Isas(**{name: isa[name] for name in _OF_THE_ISA if name in isa}),
            child_benefit_given="child_benefit" in values,
        ),
        features=tuple(
            Features(**{name: one[name] for name in _OF_THE_SCHEME if name in one})
            for one in values.get("pensions", ())
        ),
    )


def _estate(values: Mapping[str, Any], people: Sequence[Mapping[str, Any]]) -> Estate:
    """The estate of all, with the cash and the ISAs that are given beside it. Without a home none passes to descendants, and
    without a marriage or civil partnership nothing is exempt."""
    home = values.get("home", 0)
    held = sum(one.get("cash", 0) + one.get("isa", {}).get("value", 0) for one in people)
    value: Pence = max(0, home + values.get("other_assets", 0) + held - values.get("debts", 0))
    first_death = values.get("first_death") if values.get("spouses", True) else TO_BENEFICIARIES
    return Estate(
        value=value,
        debts=values.get("debts", 0),
        home_to_descendants=values.get("home_to_descendants") if home else False,
        nil_rate_band_brought_forward=values.get("nil_rate_band_brought_forward"),
        residence_nil_rate_band_brought_forward=values.get("residence_nil_rate_band_brought_forward"),
        all_to_spouse=None if first_death is None else first_death == TO_SPOUSE,
        gifts=tuple(Given(gift["date"], gift["amount"], gift.get("person")) for gift in values["lifetime_gifts"])
        if "lifetime_gifts" in values
        else None,
        some_to_charity=values.get("charity_share", 0) > 0,
    )
