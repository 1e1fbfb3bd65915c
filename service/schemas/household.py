"""A household over years and what is assumed of them, as requests for plans and for lump sum timing give them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any, get_args

from service.planning.household import (
    INCOME_KINDS,
    WITH_PRICES,
    Assumptions,
    DatedIncome,
    Household,
    Isa,
    Member,
    Spending,
    Thresholds,
)
from service.planning.schedule.schedule import SCENARIOS
from service.schemas.fields import (
    Choice,
    Growth,
    Increases,
    IsoDate,
    Money,
    Rate,
    StrictBoolean,
    yearly_rate,
)
from service.schemas.shared import (
    MOST_INCOMES,
    ObjectList,
    PensionSchema,
    PersonFactsSchema,
    StrictNested,
    StrictSchema,
    pension,
)
from service.schemas.together import OneOfTwo, OnlyWith

MOST_SPENDING = 50


class DatedSchema(StrictSchema):
    """What runs from one day to another and may rise."""

    first = IsoDate(data_key="from")
    last = IsoDate(data_key="to")
    increases = Increases()


class DatedIncomeSchema(DatedSchema):
    """An income of a plan: a year's amount in the money of the first tax year, or a share of the full State Pension."""

    rules = (
        OneOfTwo("amount", "share_of_full_rate"),
        OnlyWith("share_of_full_rate", "kind", "state_pension"),
    )

    kind = Choice(INCOME_KINDS, required=True)
    amount = Money()
    share_of_full_rate = Rate(least=0, largest=2)


class IsaSchema(StrictSchema):
    """A person's ISAs."""

    value = Money()
    subscribed_this_year = Money()
    cash_isa = StrictBoolean()


class MemberSchema(PersonFactsSchema):
    """A person in a plan, with what they hold."""

    income = ObjectList(DatedIncomeSchema, most=MOST_INCOMES)
    pension = StrictNested(PensionSchema, required=True)
    isa = StrictNested(IsaSchema)
    cash = Money()


class SpendingSchema(DatedSchema):
    """What the household spends a year, in the money of the first tax year."""

    amount = Money(required=True)


class ScenarioSchema(StrictSchema):
    """What differs from the plain assumptions."""

    pension_growth = Growth()
    isa_growth = Growth()
    cash_interest = yearly_rate(least=0)


class ScenariosSchema(StrictSchema):
    """Up to three other courses of events."""

    low = StrictNested(ScenarioSchema)
    middle = StrictNested(ScenarioSchema)
    high = StrictNested(ScenarioSchema)


class AssumptionsSchema(ScenarioSchema):
    """What the plan takes for granted."""

    price_inflation = yearly_rate()
    thresholds_after_freeze = Choice(get_args(Thresholds))
    tax_rate_on_remaining_pension = Rate(least=0, largest=1, data_key="exit_tax_rate")
    scenarios = StrictNested(ScenariosSchema)


def household_of(values: Mapping[str, Any], end: date) -> tuple[Household, dict[str, Assumptions]]:
    """A household to a day from loaded values, and the whole assumptions of each scenario asked for."""
    assumed = dict(values.get("assumptions", {}))
    scenarios = assumed.pop("scenarios", {})
    assumptions = Assumptions(**assumed)
    return (
        Household(
            start=values["start_date"],
            end=end,
            people=tuple(_member(member) for member in values["people"]),
            spending=tuple(Spending(**spending) for spending in values.get("spending", ())),
            assumptions=assumptions,
        ),
        {name: replace(assumptions, **scenarios[name]) for name in SCENARIOS if name in scenarios},
    )


def _member(values: Mapping[str, Any]) -> Member:
    given = dict(values)
    given["income"] = tuple(_income(income) for income in given.get("income", ()))
    given["pension"] = pension(given["pension"])
    given["isa"] = Isa(**given.get("isa", {}))
    return Member(**given)


def _income(values: Mapping[str, Any]) -> DatedIncome:
    default = {"increases": WITH_PRICES} if values["kind"] == "state_pension" else {}
    return DatedIncome(**{**default, **values})
