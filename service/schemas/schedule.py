"""The request and the answer of POST /v1/allowance-schedule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from service.planning.household import (
    INCOME_KINDS,
    WITH_PRICES,
    Assumptions,
    DatedIncome,
    Household,
    Isa,
    Member,
    Spending,
)
from service.planning.schedule import (
    AIMS,
    LEAVES_OUT,
    SCENARIOS,
    Balance,
    Comparison,
    PersonYearPlan,
    Proof,
    Scenario,
    Schedule,
    ScheduleQuestion,
    Totals,
    Year,
    cash_held,
    isa_held,
    pension_held,
    totals,
)
from service.planning.warnings.warning import Warning
from service.schemas.fields import (
    LARGEST_YEARLY_RATE,
    LEAST_YEARLY_RATE,
    Choice,
    Growth,
    Increases,
    IsoDate,
    Money,
    Rate,
    StrictBoolean,
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
from service.schemas.warnings_answer import warning

MOST_PEOPLE = 2
MOST_SPENDING = 50


def _yearly_rate(least: int | Decimal = LEAST_YEARLY_RATE) -> Rate:
    return Rate(least=least, largest=LARGEST_YEARLY_RATE)


class DatedSchema(StrictSchema):
    """What runs from one day to another and may rise."""

    first = IsoDate(data_key="from")
    last = IsoDate(data_key="to")
    increases = Increases()


class DatedIncomeSchema(DatedSchema):
    """An income of a plan: a year's amount in the money of the first tax year, or a share of the full State Pension."""

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


class AimSchema(StrictSchema):
    """What the plan aims at."""

    fill = Choice(AIMS, required=True)


class SpendingSchema(DatedSchema):
    """What the household spends a year, in the money of the first tax year."""

    amount = Money(required=True)


class ScenarioSchema(StrictSchema):
    """What differs from the plain assumptions."""

    pension_growth = Growth()
    isa_growth = Growth()
    cash_interest = _yearly_rate(0)


class ScenariosSchema(StrictSchema):
    """Up to three other courses of events."""

    low = StrictNested(ScenarioSchema)
    middle = StrictNested(ScenarioSchema)
    high = StrictNested(ScenarioSchema)


class AssumptionsSchema(ScenarioSchema):
    """What the plan takes for granted."""

    price_inflation = _yearly_rate()
    thresholds_after_freeze = Choice(("frozen", "prices"))
    exit_tax_rate = Rate(least=0, largest=1)
    scenarios = StrictNested(ScenariosSchema)


class ScheduleSchema(StrictSchema):
    """The whole request."""

    start_date = IsoDate(required=True)
    end_date = IsoDate(required=True)
    people = ObjectList(MemberSchema, least=1, most=MOST_PEOPLE, required=True)
    aim = StrictNested(AimSchema, required=True)
    lump_sums = Choice(("with_each_withdrawal", "first", "none"))
    spending = ObjectList(SpendingSchema, most=MOST_SPENDING)
    assumptions = StrictNested(AssumptionsSchema)


def question(values: Mapping[str, Any]) -> ScheduleQuestion:
    """A ScheduleQuestion from loaded values."""
    household, scenarios = household_of(values, values["end_date"])
    if "lump_sums" in values:
        household = replace(household, lump_sums=values["lump_sums"])
    return ScheduleQuestion(household, values["aim"]["fill"], scenarios)


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


def answer(result: Schedule, warnings: list[Warning], assumptions: list[str], notice: str) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions."""
    household = result.question.household
    document: dict[str, Any] = {
        "aim": {"fill": result.question.fill},
        "lump_sums": household.lump_sums,
        "assumptions": assumptions_answer(household.assumptions),
        "years": [_year(year) for year in result.years],
        "totals": _totals(result.totals),
        "compared_with": [_comparison(compared, result.totals) for compared in result.comparisons],
    }
    if result.proof is not None:
        document["proof"] = _proof(result.question.fill, result.proof)
    if result.scenarios:
        document["scenarios"] = {scenario.name: _scenario(scenario) for scenario in result.scenarios}
    document["rules"] = {"version": result.version, "status": result.status, "assumptions": assumptions}
    document["warnings"] = [warning(found) for found in warnings]
    document["notice"] = notice
    return document


def assumptions_answer(assumed: Assumptions) -> dict[str, Any]:
    """What was assumed, as JSON."""
    return {
        "pension_growth": float(assumed.pension_growth / 10_000),
        "isa_growth": float(assumed.isa_growth / 10_000),
        "cash_interest": float(assumed.cash_interest / 10_000),
        "price_inflation": assumed.price_inflation / 10_000,
        "thresholds_after_freeze": assumed.thresholds_after_freeze,
        "exit_tax_rate": assumed.exit_tax_rate / 10_000,
    }


def _year(year: Year) -> dict[str, Any]:
    period, household = year.period, year.household
    return {
        "tax_year": period.name,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "figures_status": period.rules.figures.status,
        "spending": year.spending / 100,
        "people": [_person(person) for person in year.people],
        "household": {
            "withdrawn": household.withdrawn / 100,
            "income_tax": household.income_tax / 100,
            "income_tax_so_far": household.income_tax_so_far / 100,
            "isa_subscriptions": household.isa_subscriptions / 100,
            "pension": household.pension / 100,
            "isa": household.isa / 100,
            "cash": household.cash / 100,
            "in_todays_prices": household.in_todays_prices / 100,
        },
    }


def _person(person: PersonYearPlan) -> dict[str, Any]:
    record = person.record
    opened, after = record.opened, record.after
    return {
        "withdrawal": {
            "gross": record.gross / 100,
            "tax_free": record.tax_free / 100,
            "taxable": record.taxable / 100,
            "from_uncrystallised": person.from_uncrystallised / 100,
            "from_drawdown": person.from_drawdown / 100,
        },
        "income_received": opened.year.received / 100,
        "interest": opened.interest / 100,
        "income_tax": record.income_tax / 100,
        "isa_subscription": record.subscribed / 100,
        "isa_withdrawal": record.from_isa / 100,
        "spent": record.spent / 100,
        "moved_from_partner": record.moved / 100,
        "allowances": {
            "personal_allowance": {
                "used": person.personal_allowance_used / 100,
                "unused": person.personal_allowance_unused / 100,
            },
            "basic_rate_band": {"unused": person.basic_rate_band_unused / 100},
            "isa": {
                "limit": person.isa_limit / 100,
                "used": person.isa_used / 100,
                "unused": person.isa_unused / 100,
            },
            "tax_free_lump_sums": {"used": record.tax_free / 100, "left": record.tax_free_left / 100},
            "money_purchase_annual_allowance_applies": after.pension.flexibly_accessed,
        },
        "pension": {
            "opening": person.pension.opening / 100,
            "growth": person.pension.growth / 100,
            "withdrawn": person.pension.paid_out / 100,
            "closing": person.pension.closing / 100,
            "uncrystallised": after.pension.uncrystallised / 100,
            "drawdown": after.pension.drawdown / 100,
        },
        "isa": balance_answer(person.isa, "growth"),
        "cash": balance_answer(person.cash, "interest"),
    }


def balance_answer(balance: Balance, growth: str) -> dict[str, float]:
    """How a balance moved, as JSON; ``growth`` is the name of what it grew by."""
    return {
        "opening": balance.opening / 100,
        growth: balance.growth / 100,
        "paid_in": balance.paid_in / 100,
        "paid_out": balance.paid_out / 100,
        "closing": balance.closing / 100,
    }


def _totals(found: Totals) -> dict[str, float]:
    return {name: amount / 100 for name, amount in found._asdict().items()}


def _comparison(compared: Comparison, own: Totals) -> dict[str, Any]:
    if compared.projection is None:
        return {"plan": compared.plan, "possible": False, "reason": compared.reason}
    other = totals(compared.projection)
    todays, own_todays = other.wealth_after_tax_in_todays_prices, own.wealth_after_tax_in_todays_prices
    return {
        "plan": compared.plan,
        "possible": True,
        "income_tax": other.income_tax / 100,
        "wealth_after_tax": other.wealth_after_tax / 100,
        "wealth_after_tax_in_todays_prices": todays / 100,
        "gain": (own.wealth_after_tax - other.wealth_after_tax) / 100,
        "gain_in_todays_prices": (own_todays - todays) / 100,
    }


def _proof(aim: str, proof: Proof) -> dict[str, Any]:
    return {
        "aim": aim,
        "objective": proof.objective / 100,
        "bound": proof.bound / 100,
        "gap": proof.gap / 100,
        "holds": proof.holds,
        "leaves_out": LEAVES_OUT,
    }


def _scenario(scenario: Scenario) -> dict[str, Any]:
    plan = scenario.projection
    if plan is None:
        return {"possible": False, "reason": scenario.reason}
    return {
        "totals": _totals(totals(plan)),
        "years": [
            {
                "tax_year": period.name,
                "pension": pension_held(year) / 100,
                "isa": isa_held(year) / 100,
                "cash": cash_held(year) / 100,
                "income_tax": sum(record.income_tax for record in year.people) / 100,
            }
            for period, year in zip(plan.timeline.periods, plan.years, strict=True)
        ],
    }
