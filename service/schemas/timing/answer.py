"""The answer of POST /v1/lump-sum-timing."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from service.law.ages import age_on
from service.planning.timing.break_even import PARTS
from service.planning.timing.comparison import (
    DeathResult,
    OptionPeriod,
    OptionPerson,
    OptionResult,
    OptionTotals,
    PairBreakEvens,
    PersonTotals,
    Ranking,
    Timing,
)
from service.planning.timing.estates import Left, Outcome
from service.planning.timing.options import ISA_ROOM
from service.planning.warnings.warning import ClientWarning
from service.schemas.balances import assumptions_answer, balance_answer
from service.schemas.units import fraction, pounds, share_of_band, yearly_rate
from service.schemas.warnings import warning


def answer(
    result: Timing, summary: list[str], warnings: list[ClientWarning], rules: dict[str, Any], notice: str
) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions, options by their place in the request from 0."""
    question = result.question
    low, high = question.growth_range
    document: dict[str, Any] = {
        "summary": summary,
        "from": question.household.start.isoformat(),
        "to": question.household.end.isoformat(),
        "assumptions": assumptions_answer(question.household.assumptions)
        | {"beneficiary_tax_rate": fraction(question.beneficiary_tax_rate)},
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
        "growth_from": fraction(low),
        "growth_to": fraction(high),
        "pairs": [_pair(result, pair) for pair in result.break_evens],
    }
    document["rules"] = rules
    document["warnings"] = [warning(found) for found in warnings]
    document["notice"] = notice
    return document


def _option_answer(result: OptionResult) -> dict[str, Any]:
    option = result.option
    document: dict[str, Any] = {"take": option.take}
    if option.take == "phased":
        document["yearly"] = pounds(option.yearly) if isinstance(option.yearly, int) else ISA_ROOM
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
        "tax_free_cash": pounds(sum(person.tax_free_cash.received for person in found.people)),
        "withdrawn": pounds(found.withdrawn),
        "income_tax": pounds(found.income_tax),
        "interest_on_waiting_cash": pounds(sum(person.interest for person in found.people)),
        "tax_on_interest": pounds(sum(person.tax_on_interest for person in found.people)),
        "most_cash_waiting": pounds(found.most_cash_waiting),
    }
    if found.cash_waits_until is not None:
        document["no_cash_waits_from"] = found.cash_waits_until
    return document | {
        "spent": pounds(found.spent),
        "pension": pounds(found.pension),
        "isa": pounds(found.isa),
        "cash": pounds(found.cash),
        "wealth_after_tax": pounds(found.wealth),
        "wealth_after_tax_in_todays_prices": pounds(found.wealth_in_todays_prices),
    }


def _person_totals(person: PersonTotals) -> dict[str, Any]:
    cash = person.tax_free_cash
    tax_free: dict[str, Any] = {
        "received": pounds(cash.received),
        "in_lump_sums": pounds(cash.in_lump_sums),
        "with_withdrawals": pounds(cash.with_withdrawals),
        "still_available": pounds(cash.available),
        "if_left_to_the_end": pounds(cash.at_the_end),
        "forgone": pounds(cash.forgone),
        "above_allowance": pounds(cash.above_allowance),
        "given_up": pounds(cash.given_up),
    }
    if cash.allowance_used_up is not None:
        tax_free["allowance_used_up_in"] = cash.allowance_used_up
    document: dict[str, Any] = {
        "tax_free_cash": tax_free,
        "income_tax": pounds(person.income_tax),
        "interest_on_waiting_cash": pounds(person.interest),
        "tax_on_interest": pounds(person.tax_on_interest),
        "most_cash_waiting": pounds(person.most_cash_waiting),
        "money_purchase_annual_allowance": {"triggered": person.money_purchase_annual_allowance_from is not None},
    }
    if person.money_purchase_annual_allowance_from is not None:
        document["money_purchase_annual_allowance"]["tax_year"] = person.money_purchase_annual_allowance_from
    return document


def _year(year: OptionPeriod) -> dict[str, Any]:
    period = year.period
    return {
        "tax_year": period.name,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "figures_status": period.rules.figures.standing,
        "people": [_person(person) for person in year.people],
        "household": {
            "income_tax": pounds(year.income_tax),
            "income_tax_so_far": pounds(year.income_tax_so_far),
            "tax_free_cash_so_far": pounds(year.tax_free_so_far),
            "cash_waiting": pounds(year.waiting),
            "wealth_after_tax": pounds(year.wealth),
            "wealth_after_tax_in_todays_prices": pounds(year.wealth_in_todays_prices),
        },
    }


def _person(person: OptionPerson) -> dict[str, Any]:
    record = person.record
    return {
        "lump_sum": pounds(person.lump_sum),
        "withdrawal": {
            "gross": pounds(record.gross),
            "tax_free": pounds(record.tax_free),
            "taxable": pounds(record.taxable),
        },
        "income_received": pounds(record.opened.year.received),
        "income_tax": pounds(record.income_tax),
        "tax_on_interest": pounds(person.tax_on_interest),
        "isa_subscription": pounds(person.subscribed),
        "isa_withdrawal": pounds(record.from_isa),
        "spent": pounds(record.spent),
        "moved_from_partner": pounds(person.moved),
        "tax_free_cash_left": pounds(record.tax_free_left),
        "money_purchase_annual_allowance_applies": record.after.pension.flexibly_accessed,
        "pension": balance_answer(person.pension, "growth"),
        "isa": balance_answer(person.isa, "growth"),
        "cash": balance_answer(person.cash, "interest"),
    }


def _death(result: DeathResult) -> dict[str, Any]:
    asked = result.asked
    document: dict[str, Any] = {"person": asked.person, "age": asked.age}
    if result.outcome is None:
        return document | {"possible": False, "reason": result.reason}
    return document | {"possible": True} | _outcome(result.outcome)


def _outcome(outcome: Outcome) -> dict[str, Any]:
    document: dict[str, Any] = {
        "heirs_receive": pounds(outcome.net),
        "heirs_receive_in_todays_prices": pounds(outcome.net_in_todays_prices),
        "inheritance_tax": pounds(outcome.inheritance_tax),
        "heirs_income_tax": pounds(outcome.heirs_income_tax),
        "deaths": [_left(left) for left in outcome.deaths],
    }
    if outcome.survivor is not None:
        document["survivor"] = {
            "from": outcome.survivor.timeline.household.start.isoformat(),
            "to": outcome.survivor.timeline.household.end.isoformat(),
            "income_tax": pounds(outcome.survivor.income_tax),
        }
    return document


def _left(left: Left) -> dict[str, Any]:
    estate, tax = left.estate, left.tax
    document: dict[str, Any] = {
        "person": left.person,
        "age": left.age,
        "date": left.day.isoformat(),
        "tax_year": left.period.name,
        "passes_to": "spouse" if left.to_spouse else "heirs",
        "estate": {
            "isa": pounds(estate.isa),
            "cash": pounds(estate.cash),
            "home": pounds(estate.home),
            "other_assets": pounds(estate.other),
            "debts": pounds(estate.liabilities),
            "free_estate": pounds(tax.free_estate),
            "unused_pension": pounds(estate.pension),
            "pension_in_estate": left.pension_in_estate,
            "value": pounds(tax.estate),
            "exempt": pounds(tax.exempt),
            "chargeable": pounds(tax.chargeable),
        },
        "residence_nil_rate_band": {
            "brought_forward": pounds(tax.residence_band.brought_forward),
            "taper": pounds(tax.residence_band.taper),
            "available": pounds(tax.residence_band.allowance),
            "used": pounds(tax.residence_band.used),
            "unused_share": share_of_band(tax.residence_band_unused),
        },
        "nil_rate_band": {
            "brought_forward": pounds(tax.nil_rate_band.brought_forward),
            "used_by_gifts": pounds(tax.nil_rate_band.used_by_gifts),
            "available": pounds(tax.nil_rate_band.available),
            "used": pounds(tax.nil_rate_band.used),
            "unused_share": share_of_band(tax.nil_rate_band_unused),
        },
        "inheritance_tax": {
            "taxable": pounds(tax.taxable),
            "rate": fraction(tax.rate),
            "total": pounds(tax.tax),
            "on_free_estate": pounds(tax.tax_on_free_estate),
            "on_pension": pounds(tax.tax_on_pension),
        },
    }
    if estate.former_home is not None:
        document["residence_nil_rate_band"] |= {
            "lost_by_downsizing": pounds(tax.residence_band.lost_by_downsizing),
            "downsizing_addition": pounds(tax.residence_band.downsizing_addition),
        }
    if left.to_spouse:
        document["additional_permitted_subscription"] = pounds(left.additional_permitted_subscription)
    if left.pension is not None:
        document["heirs"] = {
            "from_free_estate": pounds(left.free_estate_net),
            "to_charity": pounds(left.to_charity),
            "pension": {
                "amount": pounds(left.pension.amount),
                "inheritance_tax": pounds(left.pension.inheritance_tax),
                "tax_free": pounds(left.pension.tax_free),
                "taxable": pounds(left.pension.taxable),
                "income_tax": pounds(left.pension.income_tax),
                "net": pounds(left.pension.net),
            },
            "receive": pounds(left.net),
        }
    return document


def _ranking(order: Ranking) -> list[dict[str, Any]]:
    return [{"option": placed.option, "amount": pounds(placed.amount)} for placed in order]


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
                    "pension_growth": yearly_rate(assumed.pension_growth + Fraction(found.shift, PARTS)),
                    "isa_growth": yearly_rate(assumed.isa_growth + Fraction(found.shift, PARTS)),
                    "more_below": pair.options[found.below],
                    "more_above": pair.options[found.above],
                    "difference": pounds(found.difference),
                }
                for found in pair.growth
            ],
        }
    if pair.ages is None:
        document["age"] = {"status": "not_computed", "at": []}
        return document
    document["age"] = {
        "status": "changes" if pair.ages else "never_within_the_range",
        "at": [
            {
                "age": age_on(born, found.day),
                "date": found.day.isoformat(),
                "more_from_then_on": pair.options[found.leader],
                "difference": pounds(found.difference),
                "difference_the_day_before": pounds(found.difference_the_day_before),
            }
            for found in pair.ages
        ],
    }
    return document
