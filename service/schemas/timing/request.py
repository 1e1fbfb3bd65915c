"""The request of POST /v1/lump-sum-timing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from service.planning.projection.policies import BANDS
from service.planning.timing.comparison import TimingQuestion, last_day
from service.planning.timing.deaths import Death
from service.planning.timing.options import ISA_ALLOWANCE, SPENDING_ONLY, WAYS, Option
from service.schemas.assumptions import AssumptionsSchema, household_of
from service.schemas.estate import estate_of
from service.schemas.fields import Choice, IsoDate, LawName, Money, OrWord, Rate, WholeNumber, yearly_rate
from service.schemas.household import MOST_PEOPLE, HouseholdSchema
from service.schemas.markets import CoursesSchema, source_of
from service.schemas.places import Places
from service.schemas.sensitivity import SENSITIVITY, SensitivitySchema, cases_of
from service.schemas.shared import ObjectList, StrictNested, StrictSchema
from service.schemas.together import Needs, OnlyWith

GOALS = (*BANDS, SPENDING_ONLY)
OLDEST = 120
MOST_OPTIONS, MOST_DEATHS = 10, 10


class IncomePlanSchema(StrictSchema):
    """What is drawn from the pension besides lump sums."""

    goal = Choice(GOALS, required=True)


class OptionSchema(StrictSchema):
    """One way of taking the tax-free cash."""

    rules = (
        Needs("lump_sums", "at_age", "age"),
        OnlyWith("age", "lump_sums", "at_age"),
        OnlyWith("yearly", "lump_sums", "phased"),
    )

    lump_sums = Choice(WAYS, required=True)
    yearly = OrWord(ISA_ALLOWANCE, Money())
    age = WholeNumber(least=20, largest=OLDEST)
    aim = StrictNested(IncomePlanSchema)


class DeathSchema(StrictSchema):
    """A death asked about."""

    person = WholeNumber(least=0, largest=MOST_PEOPLE - 1)
    age = WholeNumber(least=18, largest=OLDEST, required=True)
    survivor_age = WholeNumber(least=18, largest=OLDEST)


class GrowthRangeSchema(StrictSchema):
    """Between which growth rates options may change places."""

    low = yearly_rate(required=True, example=0.02)
    high = yearly_rate(required=True, example=0.06)


class TimingSchema(StrictSchema):
    """The whole request."""

    household = StrictNested(HouseholdSchema, required=True)
    start_date = IsoDate(required=True)
    to_age = WholeNumber(least=18, largest=OLDEST, required=True)
    options = ObjectList(OptionSchema, least=1, most=MOST_OPTIONS, required=True)
    aim = StrictNested(IncomePlanSchema)
    deaths = ObjectList(DeathSchema, most=MOST_DEATHS)
    beneficiary_tax_rate = Rate(least=0, largest=1)
    assumptions = StrictNested(AssumptionsSchema)
    break_even_growth = StrictNested(GrowthRangeSchema)
    sensitivity = StrictNested(SensitivitySchema)
    markets = StrictNested(CoursesSchema)
    law = LawName()
    compare_law = LawName()


def question(values: Mapping[str, Any]) -> TimingQuestion:
    """A TimingQuestion from loaded values. ValidationError where it is not clear whose death is meant."""
    to_age, people = values["to_age"], values["household"]["people"]
    household, scenarios = household_of(values, last_day(people[0]["date_of_birth"], to_age))
    goal = values.get("aim", {}).get("goal", BANDS[0])
    places = Places(people)
    estate = estate_of(values["household"].get("estate", {}), places)
    deaths = tuple(_death(death, k, places) for k, death in enumerate(values.get("deaths", ())))
    places.check()
    asked = TimingQuestion(
        household=household,
        to_age=to_age,
        options=tuple(_option(option, goal) for option in values["options"]),
        deaths=deaths,
        estate=estate,
        scenarios=scenarios,
    )
    if "beneficiary_tax_rate" in values:
        asked = replace(asked, beneficiary_tax_rate=values["beneficiary_tax_rate"])
    if "break_even_growth" in values:
        growth = values["break_even_growth"]
        asked = replace(asked, growth_range=(growth["low"], growth["high"]))
    if "markets" in values:
        asked = replace(asked, markets=source_of(values["markets"]))
    return replace(asked, cases=cases_of(values, question)) if SENSITIVITY in values else asked


def _option(values: Mapping[str, Any], goal: str) -> Option:
    own = values.get("aim", {}).get("goal", goal)
    return Option(values["lump_sums"], own, values.get("yearly"), values.get("age"))


def _death(values: Mapping[str, Any], k: int, places: Places) -> Death:
    person = places.person(values.get("person"), ("deaths", k, "person"))
    return Death(person, values["age"], values.get("survivor_age"))
