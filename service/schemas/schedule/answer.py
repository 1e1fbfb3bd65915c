"""The answer of POST /v1/allowance-schedule."""

from __future__ import annotations

from typing import Any

from service.planning.projection.balances import cash_held, isa_held, pension_held
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
from service.schemas.balances import assumptions_answer, balance_answer
from service.schemas.units import in_pounds, pounds
from service.schemas.warnings import warning


def answer(result: Schedule, warnings: list[ClientWarning], rules: dict[str, Any], notice: str) -> dict[str, Any]:
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
    document["rules"] = rules
    document["warnings"] = [warning(found) for found in warnings]
    document["notice"] = notice
    return document


def _year(year: ScheduleYear) -> dict[str, Any]:
    period = year.period
    return {
        "tax_year": period.name,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "figures_status": period.rules.figures.standing,
        "spending": pounds(year.spending),
        "people": [_person(person) for person in year.people],
        "household": in_pounds(year.household, HouseholdPeriod._fields),
    }


def _person(person: SchedulePerson) -> dict[str, Any]:
    record, pension = person.record, person.pension
    opened, after, tax_free = record.opened, record.after, record.tax_free
    return {
        "withdrawal": {
            "gross": pounds(record.gross),
            "tax_free": pounds(tax_free),
            "taxable": pounds(record.taxable),
            "from_uncrystallised": pounds(person.from_uncrystallised),
            "from_drawdown": pounds(person.from_drawdown),
        },
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
            "isa": {
                "limit": pounds(person.isa_limit),
                "used": pounds(person.isa_used),
                "unused": pounds(person.isa_unused),
            },
            "tax_free_lump_sums": {"used": pounds(tax_free), "left": pounds(record.tax_free_left)},
            "money_purchase_annual_allowance_applies": after.pension.flexibly_accessed,
        },
        "pension": {
            "opening": pounds(pension.opening),
            "growth": pounds(pension.growth),
            "withdrawn": pounds(pension.paid_out),
            "closing": pounds(pension.closing),
            "uncrystallised": pounds(after.pension.uncrystallised),
            "drawdown": pounds(after.pension.drawdown),
        },
        "isa": balance_answer(person.isa, "growth"),
        "cash": balance_answer(person.cash, "interest"),
    }


def _totals(found: Totals) -> dict[str, float]:
    return in_pounds(found, Totals._fields)


def _comparison(compared: Comparison, own: Totals) -> dict[str, Any]:
    other = compared.projection
    if other is None:
        return {"plan": compared.plan, "possible": False, "reason": compared.reason}
    wealth = other.wealth
    todays = other.in_todays_prices(wealth)
    return {
        "plan": compared.plan,
        "possible": True,
        "income_tax": pounds(other.income_tax),
        "wealth_after_tax": pounds(wealth),
        "wealth_after_tax_in_todays_prices": pounds(todays),
        "gain": pounds(own.wealth_after_tax - wealth),
        "gain_in_todays_prices": pounds(own.wealth_after_tax_in_todays_prices - todays),
    }


def _proof(aim: str, proof: Proof) -> dict[str, Any]:
    return {
        "aim": aim,
        "objective": pounds(proof.objective),
        "bound": pounds(proof.bound),
        "gap": pounds(proof.gap),
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
                "pension": pounds(pension_held(year)),
                "isa": pounds(isa_held(year)),
                "cash": pounds(cash_held(year)),
                "income_tax": pounds(sum(record.income_tax for record in year.people)),
            }
            for period, year in zip(plan.timeline.periods, plan.years, strict=True)
        ],
    }
