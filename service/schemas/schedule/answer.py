"""The answer of POST /v1/allowance-schedule."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.planning.household import Member
from service.planning.projection.balances import cash_held, isa_held, pension_held
from service.planning.projection.timeline import Period
from service.planning.schedule.schedule import (
    LEAVES_OUT,
    Comparison,
    HouseholdPeriod,
    Proof,
    Scenario,
    Schedule,
    SchedulePerson,
    ScheduleYear,
    Totals,
    totals,
)
from service.planning.warnings.warning import ClientWarning
from service.schemas.balances import (
    assumptions_answer,
    balance_answer,
    money_purchase_answer,
    pensions_answer,
    withdrawals_answer,
)
from service.schemas.units import in_pounds, pounds
from service.schemas.warnings import warning


def answer(result: Schedule, warnings: list[ClientWarning], rules: dict[str, Any], notice: str) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions."""
    household = result.question.household
    document: dict[str, Any] = {
        "outcome": "found",
        "aim": {"goal": result.question.goal},
        "lump_sums": household.lump_sums,
        "assumptions": assumptions_answer(household.assumptions),
        "years": [_year(year, result.question.household.people) for year in result.years],
        "totals": _totals(result.totals),
        "compared_with": [_comparison(compared, result.totals) for compared in result.comparisons],
    }
    if result.proof is not None:
        document["proof"] = _proof(result.question.goal, result.proof)
    if result.scenarios:
        document["scenarios"] = {scenario.name: _scenario(scenario) for scenario in result.scenarios}
    document["rules"] = rules
    document["warnings"] = [warning(found) for found in warnings]
    document["notice"] = notice
    return document


def _year(year: ScheduleYear, members: Sequence[Member]) -> dict[str, Any]:
    period = year.period
    return {
        "tax_year": period.name,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "standing": period.rules.figures.standing,
        "spending": pounds(year.spending),
        "people": [_person(person, member, year.period) for person, member in zip(year.people, members, strict=True)],
        "household": in_pounds(year.household, HouseholdPeriod._fields),
    }


def _person(person: SchedulePerson, member: Member, period: Period) -> dict[str, Any]:
    record = person.record
    opened = record.opened
    return {
        "age": person.age,
        "lump_sum": pounds(person.lump_sum),
        "withdrawals": withdrawals_answer(person.withdrawal, member),
        "income_received": pounds(opened.year.received),
        "interest": pounds(opened.interest),
        "income_tax": pounds(record.income_tax),
        "isa_subscription": pounds(record.subscribed),
        "isa_withdrawal": pounds(record.from_isa),
        "spent": pounds(record.spent),
        "moved_from_partner": pounds(record.moved),
        "allowances": {
            "personal_allowance": {
                "used": pounds(person.personal_allowance_used),
                "unused": pounds(person.personal_allowance_unused),
            },
            "basic_rate_band": {"unused": pounds(person.basic_rate_band_unused)},
            "isa_allowance": {
                "limit": pounds(person.isa_limit),
                "used": pounds(person.isa_used),
                "unused": pounds(person.isa_unused),
            },
            "tax_free_lump_sums": {
                "used": pounds(record.tax_free),
                "left": pounds(record.tax_free_left),
                "available": pounds(record.tax_free_available(period)),
            },
            "money_purchase_annual_allowance": money_purchase_answer(person.money_purchase_allowance),
        },
        "pensions": pensions_answer(person.pension, record.after.pension, member),
        "isa": balance_answer(person.isa, "growth"),
        "cash": balance_answer(person.cash, "interest"),
    }


def _totals(found: Totals) -> dict[str, float]:
    return in_pounds(found, Totals._fields)


def _comparison(compared: Comparison, own: Totals) -> dict[str, Any]:
    other = compared.projection
    if other is None:
        return {"plan": compared.plan, "outcome": "impossible", "reason": compared.reason}
    wealth = other.wealth
    at_start = other.in_prices_of_start(wealth)
    return {
        "plan": compared.plan,
        "outcome": "found",
        "income_tax": pounds(other.income_tax),
        "wealth_after_tax": pounds(wealth),
        "wealth_after_tax_in_prices_of_start": pounds(at_start),
        "gain": pounds(own.wealth_after_tax - wealth),
        "gain_in_prices_of_start": pounds(own.wealth_after_tax_in_prices_of_start - at_start),
    }


def _proof(goal: str, proof: Proof) -> dict[str, Any]:
    return {
        "goal": goal,
        "wealth_after_tax": pounds(proof.wealth_after_tax),
        "bound": pounds(proof.bound),
        "gap": pounds(proof.gap),
        "proven": proof.proven,
        "stopped_by": proof.stopped_by,
        "leaves_out": LEAVES_OUT,
    }


def _scenario(scenario: Scenario) -> dict[str, Any]:
    plan = scenario.projection
    if plan is None:
        return {"outcome": "impossible", "reason": scenario.reason}
    return {
        "outcome": "found",
        "totals": _totals(totals(plan)),
        "years": [
            {
                "tax_year": period.name,
                "in_pensions": pounds(pension_held(year)),
                "in_isas": pounds(isa_held(year)),
                "in_cash": pounds(cash_held(year)),
                "income_tax": pounds(sum(record.income_tax for record in year.people)),
            }
            for period, year in zip(plan.timeline.periods, plan.years, strict=True)
        ],
    }
