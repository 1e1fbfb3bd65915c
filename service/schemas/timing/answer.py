"""The answer of POST /v1/lump-sum-timing."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from service.law.ages import age_on
from service.planning.timing.break_even import PARTS
from service.planning.timing.comparison import (
    DeathResult,
    OptionResult,
    OptionTotals,
    OptionYear,
    PairBreakEvens,
    PersonOptionYear,
    PersonTotals,
    Ranking,
    Timing,
)
from service.planning.timing.estates import Left, Outcome
from service.planning.timing.options import ISA_ROOM
from service.planning.warnings.warning import ClientWarning
from service.schemas.balances import assumptions_answer, balance_answer
from service.schemas.timing.request import PEOPLE
from service.schemas.warnings import warning


def answer(
    result: Timing, summary: list[str], warnings: list[ClientWarning], assumptions: list[str], notice: str
) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions, options by their place in the request from 0."""
    question = result.question
    low, high = question.growth_range
    document: dict[str, Any] = {
        "summary": summary,
        "from": question.household.start.isoformat(),
        "to": question.household.end.isoformat(),
        "assumptions": assumptions_answer(question.household.assumptions)
        | {"beneficiary_tax_rate": question.beneficiary_tax_rate / 10_000},
        "options": [_option_answer(option) for option in result.options],
        "ranking": {
            "wealth_after_tax": _ranking(result.by_wealth),
            "income_tax": _ranking(result.by_income_tax),
            "heirs": [_ranking(order) for order in result.by_heirs],
        },
    }
    if result.by_scenario:
        document["ranking"]["scenarios"] = {name: _ranking(order) for name, order in result.by_scenario.items()}
    document["break_evens"] = {
        "growth_from": low / 10_000,
        "growth_to": high / 10_000,
        "pairs": [_pair(result, pair) for pair in result.break_evens],
    }
    document["rules"] = {"version": result.version, "status": result.timeline.status, "assumptions": assumptions}
    document["warnings"] = [warning(found) for found in warnings]
    document["notice"] = notice
    return document


def _option_answer(result: OptionResult) -> dict[str, Any]:
    option = result.option
    document: dict[str, Any] = {"take": option.take}
    if option.take == "phased":
        document["yearly"] = option.yearly / 100 if isinstance(option.yearly, int) else ISA_ROOM
    if option.age is not None:
        document["age"] = option.age
    document["aim"] = {"fill": option.fill}
    if result.totals is None:
        return document | {"possible": False, "reason": result.reason}
    return document | {
        "possible": True,
        "totals": _totals(result.totals),
        "years": [_year(year) for year in result.years],
        "deaths": [_death(death) for death in result.deaths],
    }


def _totals(found: OptionTotals) -> dict[str, Any]:
    document: dict[str, Any] = {
        "people": [_person_totals(person) for person in found.people],
        "tax_free_cash": sum(person.tax_free_cash.received for person in found.people) / 100,
        "withdrawn": found.withdrawn / 100,
        "income_tax": found.income_tax / 100,
        "interest_on_waiting_cash": sum(person.interest for person in found.people) / 100,
        "tax_on_interest": sum(person.tax_on_interest for person in found.people) / 100,
        "most_cash_waiting": found.most_cash_waiting / 100,
    }
    if found.cash_waits_until is not None:
        document["no_cash_waits_from"] = found.cash_waits_until
    return document | {
        "spent": found.spent / 100,
        "pension": found.pension / 100,
        "isa": found.isa / 100,
        "cash": found.cash / 100,
        "wealth_after_tax": found.wealth / 100,
        "wealth_after_tax_in_todays_prices": found.wealth_in_todays_prices / 100,
    }


def _person_totals(person: PersonTotals) -> dict[str, Any]:
    cash = person.tax_free_cash
    tax_free: dict[str, Any] = {
        "received": cash.received / 100,
        "in_lump_sums": cash.in_lump_sums / 100,
        "with_withdrawals": cash.with_withdrawals / 100,
        "still_available": cash.available / 100,
        "if_left_to_the_end": cash.at_the_end / 100,
        "forgone": cash.forgone / 100,
        "above_allowance": cash.above_allowance / 100,
        "given_up": cash.given_up / 100,
    }
    if cash.allowance_used_up is not None:
        tax_free["allowance_used_up_in"] = cash.allowance_used_up
    document: dict[str, Any] = {
        "tax_free_cash": tax_free,
        "income_tax": person.income_tax / 100,
        "interest_on_waiting_cash": person.interest / 100,
        "tax_on_interest": person.tax_on_interest / 100,
        "most_cash_waiting": person.most_cash_waiting / 100,
        "money_purchase_annual_allowance": {"triggered": person.money_purchase_annual_allowance_from is not None},
    }
    if person.money_purchase_annual_allowance_from is not None:
        document["money_purchase_annual_allowance"]["tax_year"] = person.money_purchase_annual_allowance_from
    return document


def _year(year: OptionYear) -> dict[str, Any]:
    period = year.period
    return {
        "tax_year": period.name,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "figures_status": period.rules.figures.status,
        "people": [_person(person) for person in year.people],
        "household": {
            "income_tax": year.income_tax / 100,
            "income_tax_so_far": year.income_tax_so_far / 100,
            "tax_free_cash_so_far": year.tax_free_so_far / 100,
            "cash_waiting": year.waiting / 100,
            "wealth_after_tax": year.wealth / 100,
            "wealth_after_tax_in_todays_prices": year.wealth_in_todays_prices / 100,
        },
    }


def _person(person: PersonOptionYear) -> dict[str, Any]:
    record = person.record
    return {
        "lump_sum": person.lump_sum / 100,
        "withdrawal": {
            "gross": record.gross / 100,
            "tax_free": record.tax_free / 100,
            "taxable": record.taxable / 100,
        },
        "income_received": record.opened.year.received / 100,
        "income_tax": record.income_tax / 100,
        "tax_on_interest": person.tax_on_interest / 100,
        "isa_subscription": person.subscribed / 100,
        "isa_withdrawal": record.from_isa / 100,
        "spent": record.spent / 100,
        "moved_from_partner": person.moved / 100,
        "tax_free_cash_left": record.tax_free_left / 100,
        "money_purchase_annual_allowance_applies": record.after.pension.flexibly_accessed,
        "pension": balance_answer(person.pension, "growth"),
        "isa": balance_answer(person.isa, "growth"),
        "cash": balance_answer(person.cash, "interest"),
    }


def _death(result: DeathResult) -> dict[str, Any]:
    asked = result.asked
    document: dict[str, Any] = {"person": PEOPLE[asked.person], "at_age": asked.age}
    if result.outcome is None:
        return document | {"possible": False, "reason": result.reason}
    return document | {"possible": True} | _outcome(result.outcome)


def _outcome(outcome: Outcome) -> dict[str, Any]:
    document: dict[str, Any] = {
        "heirs_receive": outcome.net / 100,
        "heirs_receive_in_todays_prices": outcome.net_in_todays_prices / 100,
        "inheritance_tax": outcome.inheritance_tax / 100,
        "heirs_income_tax": outcome.heirs_income_tax / 100,
        "deaths": [_left(left) for left in outcome.deaths],
    }
    if outcome.survivor is not None:
        document["survivor"] = {
            "from": outcome.survivor.timeline.household.start.isoformat(),
            "to": outcome.survivor.timeline.household.end.isoformat(),
            "income_tax": outcome.survivor.income_tax / 100,
        }
    return document


def _left(left: Left) -> dict[str, Any]:
    estate, tax = left.estate, left.tax
    document: dict[str, Any] = {
        "person": PEOPLE[left.person],
        "age": left.age,
        "date": left.day.isoformat(),
        "tax_year": left.period.name,
        "passes_to": "spouse" if left.to_spouse else "heirs",
        "estate": {
            "isa": estate.isa / 100,
            "cash": estate.cash / 100,
            "home": estate.home / 100,
            "other_assets": estate.other / 100,
            "debts": estate.liabilities / 100,
            "free_estate": tax.free_estate / 100,
            "unused_pension": estate.pension / 100,
            "pension_in_estate": left.pension_in_estate,
            "value": tax.estate / 100,
            "exempt": tax.exempt / 100,
            "chargeable": tax.chargeable / 100,
        },
        "residence_nil_rate_band": {
            "brought_forward": tax.residence_band.brought_forward / 100,
            "taper": tax.residence_band.taper / 100,
            "available": tax.residence_band.allowance / 100,
            "used": tax.residence_band.used / 100,
            "unused_share": tax.residence_band_unused / 1_000_000,
        },
        "nil_rate_band": {
            "brought_forward": tax.nil_rate_band.brought_forward / 100,
            "used_by_gifts": tax.nil_rate_band.used_by_gifts / 100,
            "available": tax.nil_rate_band.available / 100,
            "used": tax.nil_rate_band.used / 100,
            "unused_share": tax.nil_rate_band_unused / 1_000_000,
        },
        "inheritance_tax": {
            "taxable": tax.taxable / 100,
            "rate": tax.rate / 10_000,
            "total": tax.tax / 100,
            "on_free_estate": tax.tax_on_free_estate / 100,
            "on_pension": tax.tax_on_pension / 100,
        },
    }
    if left.to_spouse:
        document["additional_permitted_subscription"] = left.additional_permitted_subscription / 100
    if left.pension is not None:
        document["heirs"] = {
            "from_free_estate": left.free_estate_net / 100,
            "to_charity": left.to_charity / 100,
            "pension": {
                "amount": left.pension.amount / 100,
                "inheritance_tax": left.pension.inheritance_tax / 100,
                "tax_free": left.pension.tax_free / 100,
                "taxable": left.pension.taxable / 100,
                "income_tax": left.pension.income_tax / 100,
                "net": left.pension.net / 100,
            },
            "receive": left.net / 100,
        }
    return document


def _ranking(order: Ranking) -> list[dict[str, Any]]:
    return [{"option": placed.option, "amount": placed.amount / 100} for placed in order]


def _pair(result: Timing, pair: PairBreakEvens) -> dict[str, Any]:
    assumed = result.question.household.assumptions
    born = result.question.household.people[0].date_of_birth
    document: dict[str, Any] = {"options": list(pair.options)}
    if pair.growth is None:
        document["growth"] = {"status": "not_computed", "at": []}
    else:
        document["growth"] = {
            "status": "changes" if pair.growth else "never_within_the_range",
            "at": [
                {
                    "pension_growth": _growth(assumed.pension_growth, found.shift),
                    "isa_growth": _growth(assumed.isa_growth, found.shift),
                    "more_below": pair.options[found.below],
                    "more_above": pair.options[found.above],
                    "difference": found.difference / 100,
                }
                for found in pair.growth
            ],
        }
    document["age"] = {
        "status": "changes" if pair.ages else "never_within_the_range",
        "at": [
            {
                "age": age_on(born, found.day),
                "date": found.day.isoformat(),
                "more_from_then_on": pair.options[found.leader],
                "difference": found.difference / 100,
                "difference_the_day_before": found.difference_the_day_before / 100,
            }
            for found in pair.ages
        ],
    }
    return document


def _growth(rate: int | Fraction, shift: int) -> float:
    return float((rate + Fraction(shift, PARTS)) / 10_000)
