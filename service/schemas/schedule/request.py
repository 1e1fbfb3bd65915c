"""The request of POST /v1/allowance-schedule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from service.planning.optimiser.work import EFFORTS
from service.planning.schedule.schedule import GOALS, ScheduleQuestion
from service.schemas.fields import Choice, IsoDate
from service.schemas.household import MOST_SPENDING, AssumptionsSchema, MemberSchema, SpendingSchema, household_of
from service.schemas.shared import MOST_PEOPLE, ObjectList, StrictNested, StrictSchema


class AimSchema(StrictSchema):
    """What the plan aims at."""

    fill = Choice(GOALS, required=True)


class SearchSchema(StrictSchema):
    """How the search for the best plan is to go."""

    effort = Choice(EFFORTS)


class ScheduleSchema(StrictSchema):
    """The whole request."""

    start_date = IsoDate(required=True)
    end_date = IsoDate(required=True)
    people = ObjectList(MemberSchema, least=1, most=MOST_PEOPLE, required=True)
    aim = StrictNested(AimSchema, required=True)
    lump_sums = Choice(("with_each_withdrawal", "all_now", "never"))
    spending = ObjectList(SpendingSchema, most=MOST_SPENDING)
    assumptions = StrictNested(AssumptionsSchema)
    search = StrictNested(SearchSchema)


def question(values: Mapping[str, Any]) -> ScheduleQuestion:
    """A ScheduleQuestion from loaded values."""
    household, scenarios = household_of(values, values["end_date"])
    if "lump_sums" in values:
        household = replace(household, lump_sums=values["lump_sums"])
    effort = values.get("search", {}).get("effort", "standard")
    return ScheduleQuestion(household, values["aim"]["fill"], scenarios, effort)
