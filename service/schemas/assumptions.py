"""What is assumed of a household over years, as requests for plans and for lump sum timing give it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any, get_args

from service.planning.household import (
    Assumptions,
    Household,
    Member,
    PensionHeld,
    Pot,
    SpendingMet,
    Thresholds,
    YearlyRate,
    after_charge,
    small_pots_apart,
)
from service.planning.schedule.schedule import SCENARIOS
from service.schemas.fields import Choice, Growth, Rate, WholeNumber, yearly_rate
from service.schemas.household import member, spending
from service.schemas.shared import StrictNested, StrictSchema
from service.schemas.together import NotBoth, OneOfTwo

_MOST_YEARS = 60
"""As many as a plan may have."""


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


class RemainingPensionTaxSchema(StrictSchema):
    """The tax on what is left in a pension: as drawn evenly over so many years, or at a flat rate."""

    drawn_over_years = WholeNumber(least=1, largest=_MOST_YEARS)
    rate = Rate(least=0, largest=1)

    rules = (OneOfTwo("drawn_over_years", "rate"),)


class AssumptionsSchema(ScenarioSchema):
    """What the plan takes for granted."""

    price_inflation = yearly_rate()
    thresholds_after_freeze = Choice(get_args(Thresholds))
    tax_on_remaining_pension = StrictNested(RemainingPensionTaxSchema)
    tax_rate_on_remaining_pension = Rate(least=0, largest=1)
    spending_met = Choice(get_args(SpendingMet))
    scenarios = StrictNested(ScenariosSchema)

    rules = (NotBoth("tax_on_remaining_pension", "tax_rate_on_remaining_pension"),)


def household_of(
    values: Mapping[str, Any], end: date, *, small_pots: bool = False
) -> tuple[Household, dict[str, Assumptions]]:
    """A household from the ``start_date`` of loaded values to a day, and the whole assumptions of each scenario asked for.

    The pensions' growth is what is left of it after their yearly charge; a scenario's takes the place of their own.
    With ``small_pots``, pensions that are to be taken as small pots are set apart.
    """
    assumed = dict(values.get("assumptions", {}))
    scenarios = assumed.pop("scenarios", {})
    taxed = assumed.pop("tax_on_remaining_pension", {})
    if "rate" in taxed:
        assumed["tax_rate_on_remaining_pension"] = taxed["rate"]
    if "drawn_over_years" in taxed:
        assumed["remaining_pension_drawn_over"] = taxed["drawn_over_years"]
    plain = Assumptions(**assumed)
    people = tuple(member(one, plain.pension_growth) for one in values["household"]["people"])
    if small_pots:
        people = tuple(small_pots_apart(one) for one in people)
    household = Household(
        start=values["start_date"],
        end=end,
        people=people,
        spending=spending(values["household"]),
        minimum_cash=values["household"].get("minimum_cash", 0),
        assumptions=_on_the_terms_of(people, plain),
    )
    return household, {
        name: _on_the_terms_of(people, replace(plain, **scenarios[name]), own="pension_growth" not in scenarios[name])
        for name in SCENARIOS
        if name in scenarios
    }


def _on_the_terms_of(people: tuple[Member, ...], assumed: Assumptions, *, own: bool = True) -> Assumptions:
    """Assumptions with the growth that each person's pensions have after their charge: their ``own``, or the one assumed. A
    person's first pension that counts speaks for all, besides what each of several pots has."""

    def grows(held: PensionHeld | Pot) -> YearlyRate:
        return after_charge(held.growth if own else assumed.pension_growth, held.yearly_charge)

    if not own and any(member.small_pots or member.open_small_pots for member in people):
        assumed = replace(assumed, small_pot_growth=assumed.pension_growth)
    terms = [next(iter(member.counting), None) for member in people]
    growths = [None if held is None else grows(held) for held in terms]
    first = next((growth for growth in growths if growth is not None), None)
    if first is None:
        return assumed
    each = tuple(first if growth is None else growth for growth in growths)
    of_pots = tuple(tuple(grows(pot) for pot in member.pots) for member in people)
    if any(len(set(of_one)) > 1 for of_one in of_pots):
        assumed = replace(assumed, pot_growths=of_pots)
    return replace(assumed, pension_growth=first, pension_growths=each if len(set(each)) > 1 else ())
