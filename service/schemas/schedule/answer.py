"""The answer of POST /v1/allowance-schedule."""

from __future__ import annotations

from typing import Any

from service.planning.projection.balances import cash_held, isa_held, pension_held
from service.planning.schedule.schedule import (
    LEAVES_OUT,
    Comparison,
    PersonYearPlan,
    Proof,
    Scenario,
    Schedule,
    Totals,
    Year,
    totals,
)
from service.planning.warnings.warning import ClientWarning
from service.schemas.balances import assumptions_answer, balance_answer
from service.schemas.warnings import warning


def answer(result: Schedule, warnings: list[ClientWarning], assumptions: list[str], notice: str) -> dict[str, Any]:
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
