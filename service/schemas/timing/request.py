"""The request of POST /v1/lump-sum-timing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from service.law.death_benefits import FORMS
from service.planning.projection.policies import BANDS
from service.planning.timing.comparison import TimingQuestion, last_day
from service.planning.timing.estates import TO_HEIRS, TO_SPOUSE, Death, EstateFacts, Gift, HomeGivenUp
from service.planning.timing.options import ISA_ROOM, SPENDING_ONLY, TAKES, Option
from service.schemas.fields import (
    Choice,
    Increases,
    IsoDate,
    Money,
    OrWord,
    Rate,
    StrictBoolean,
    WholeNumber,
    yearly_rate,
)
from service.schemas.household import MOST_SPENDING, AssumptionsSchema, MemberSchema, SpendingSchema, household_of
from service.schemas.shared import MOST_PEOPLE, ObjectList, StrictNested, StrictSchema
from service.schemas.together import Needs, OnlyWith

PEOPLE = ("first", "second")
FILLS = (*BANDS, SPENDING_ONLY)
OLDEST = 120
MOST_OPTIONS, MOST_DEATHS, MOST_GIFTS = 10, 10, 50


class IncomePlanSchema(StrictSchema):
    """What is drawn from the pension besides lump sums."""

    fill = Choice(FILLS, required=True)


class OptionSchema(StrictSchema):
    """One way of taking the tax-free cash."""

    rules = (
        Needs("take", "at_age", "age"),
        OnlyWith("age", "take", "at_age"),
        OnlyWith("yearly", "take", "phased"),
    )

    take = Choice(TAKES, required=True)
    yearly = OrWord(ISA_ROOM, Money())
    age = WholeNumber(least=20, largest=OLDEST)
    aim = StrictNested(IncomePlanSchema)


class DeathSchema(StrictSchema):
    """A death asked about."""

    person = Choice(PEOPLE)
    at_age = WholeNumber(least=18, largest=OLDEST, required=True)
    survivor_at_age = WholeNumber(least=18, largest=OLDEST)


class GiftSchema(StrictSchema):
    """A chargeable lifetime gift."""

    date = IsoDate(required=True)
    amount = Money(required=True)
    person = Choice(PEOPLE)


class HomeGivenUpSchema(StrictSchema):
    """A home that was given up and may earn a downsizing addition."""

    value = Money(required=True)
    residence_nil_rate_band = Money(required=True)
    rest_to_descendants = StrictBoolean()


class EstateFactsSchema(StrictSchema):
    """What there is besides pensions, ISAs and cash, and where it goes on a death."""

    home = Money()
    home_to_descendants = StrictBoolean()
    other_assets = Money()
    debts = Money()
    increases = Increases()
    first_person_share = Rate(least=0, largest=1)
    charity_share = Rate(least=0, largest=1)
    lifetime_gifts = ObjectList(GiftSchema, most=MOST_GIFTS)
    nil_rate_band_brought_forward = Rate(least=0, largest=1)
    residence_nil_rate_band_brought_forward = Rate(least=0, largest=1)
    spouses = StrictBoolean()
    first_death = Choice((TO_SPOUSE, TO_HEIRS))
    home_given_up = StrictNested(HomeGivenUpSchema)
    pension_paid_as = Choice(FORMS)
    pension_paid_within_two_years = StrictBoolean()
    pension_to_non_qualifying_person = StrictBoolean()
    survivor_spending = Rate(least=0, largest=1)


class GrowthRangeSchema(StrictSchema):
    """Between which growth rates options may change places."""

    low = yearly_rate(required=True, data_key="from", example=0.02)
    high = yearly_rate(required=True, data_key="to", example=0.06)


class TimingSchema(StrictSchema):
    """The whole request."""

    start_date = IsoDate(required=True)
    to_age = WholeNumber(least=18, largest=OLDEST, required=True)
    people = ObjectList(MemberSchema, least=1, most=MOST_PEOPLE, required=True)
    options = ObjectList(OptionSchema, least=1, most=MOST_OPTIONS, required=True)
    aim = StrictNested(IncomePlanSchema)
    deaths = ObjectList(DeathSchema, most=MOST_DEATHS)
    estate = StrictNested(EstateFactsSchema)
    beneficiary_tax_rate = Rate(least=0, largest=1)
    spending = ObjectList(SpendingSchema, most=MOST_SPENDING)
    assumptions = StrictNested(AssumptionsSchema)
    break_even_growth = StrictNested(GrowthRangeSchema)


def question(values: Mapping[str, Any]) -> TimingQuestion:
    """A TimingQuestion from loaded values."""
    to_age = values["to_age"]
    household, scenarios = household_of(values, last_day(values["people"][0]["date_of_birth"], to_age))
    aim = values.get("aim", {}).get("fill", BANDS[0])
    asked = TimingQuestion(
        household=household,
        to_age=to_age,
        options=tuple(_option(option, aim) for option in values["options"]),
        deaths=tuple(
            Death(PEOPLE.index(death.get("person", PEOPLE[0])), death["at_age"], death.get("survivor_at_age"))
            for death in values.get("deaths", ())
        ),
        estate=_estate(values.get("estate", {})),
        scenarios=scenarios,
    )
    if "beneficiary_tax_rate" in values:
        asked = replace(asked, beneficiary_tax_rate=values["beneficiary_tax_rate"])
    if "break_even_growth" in values:
        growth = values["break_even_growth"]
        asked = replace(asked, growth_range=(growth["low"], growth["high"]))
    return asked


def _option(values: Mapping[str, Any], aim: str) -> Option:
    fill = values.get("aim", {}).get("fill", aim)
    return Option(values["take"], fill, values.get("yearly"), values.get("age"))


def _estate(values: Mapping[str, Any]) -> EstateFacts:
    given = dict(values)
    gifts = tuple(
        Gift(gift["date"], gift["amount"], PEOPLE.index(gift.get("person", PEOPLE[0])))
        for gift in given.pop("lifetime_gifts", ())
    )
    if "home_given_up" in given:
        given["home_given_up"] = HomeGivenUp(**given["home_given_up"])
    if not given.get("spouses", True):
        given.setdefault("first_death", TO_HEIRS)
    return EstateFacts(**given, gifts=gifts)
