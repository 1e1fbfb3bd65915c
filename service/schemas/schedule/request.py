"""The request of POST /v1/allowance-schedule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from service.planning.optimiser.work import EFFORTS
from service.planning.schedule.schedule import GOALS, MOST_TO_BENEFICIARIES, ScheduleQuestion
from service.schemas.assumptions import AssumptionsSchema, household_of
from service.schemas.estate import estate_of
from service.schemas.fields import Choice, IsoDate, LawName, Rate
from service.schemas.household import HouseholdSchema
from service.schemas.markets import MarketsSchema, markets_of
from service.schemas.places import Places
from service.schemas.sensitivity import SENSITIVITY, SensitivitySchema, cases_of
from service.schemas.shared import StrictNested, StrictSchema


class AimSchema(StrictSchema):
    """What the plan aims at."""

    goal = Choice(GOALS, required=True)


class SearchSchema(StrictSchema):
    """How the search for the best plan is to go."""

    effort = Choice(EFFORTS)


class ScheduleSchema(StrictSchema):
    """The whole request."""

    household = StrictNested(HouseholdSchema, required=True)
    start_date = IsoDate(required=True)
    end_date = IsoDate(required=True)
    aim = StrictNested(AimSchema, required=True)
    lump_sums = Choice(("with_each_withdrawal", "all_now", "never"))
    assumptions = StrictNested(AssumptionsSchema)
    sensitivity = StrictNested(SensitivitySchema)
    search = StrictNested(SearchSchema)
    beneficiary_tax_rate = Rate(least=0, largest=1)
    law = LawName()
    compare_law = LawName()
    markets = StrictNested(MarketsSchema)


def question(values: Mapping[str, Any]) -> ScheduleQuestion:
    """A ScheduleQuestion from loaded values."""
    household, scenarios = household_of(values, values["end_date"], small_pots=True)
    if "lump_sums" in values:
        household = replace(household, lump_sums=values["lump_sums"])
    effort = values.get("search", {}).get("effort", "standard")
    asked = ScheduleQuestion(household, values["aim"]["goal"], scenarios, effort)
    if SENSITIVITY in values:
        asked = replace(asked, cases=cases_of(values, question))
    if "estate" in values["household"]:
        places = Places(values["household"]["people"])
        estate = estate_of(values["household"]["estate"], places)
        if asked.goal == MOST_TO_BENEFICIARIES:
            places.check()
        asked = replace(asked, estate=None if places.unclear else estate, estate_given=True)
    if "beneficiary_tax_rate" in values:
        asked = replace(asked, beneficiary_tax_rate=values["beneficiary_tax_rate"])
    if "markets" in values:
        asked = replace(asked, markets=markets_of(values["markets"]))
    return asked
