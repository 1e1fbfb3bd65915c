"""The answer of POST /v1/lump-sum-timing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Any, TypeVar

from service.law.ages import age_on
from service.planning.estates import Left
from service.planning.household import Household, Member
from service.planning.projection.balances import parts
from service.planning.projection.timeline import Period
from service.planning.timing.break_even import PARTS, AgeBreakEven, GrowthBreakEven, growth_on_average
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
from service.planning.timing.deaths import Outcome
from service.planning.timing.options import ISA_ALLOWANCE
from service.planning.warnings.warning import ClientWarning
from service.schemas.balances import (
    assumptions_answer,
    balance_answer,
    contributions_answer,
    money_purchase_answer,
    pensions_answer,
    withdrawals_answer,
)
from service.schemas.units import fraction, pounds, share_of_band, yearly_rate
from service.schemas.warnings import warning

Place = TypeVar("Place")


def answer(
    result: Timing,
    summary: list[str],
    warnings: list[ClientWarning],
    rules: dict[str, Any],
    notice: str,
    sensitivity: dict[str, Any] | None = None,
    over_paths: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions, options by their place in the request from 0. The ``sensitivity``
    and what is told ``over_paths`` are left out where they are None."""
    question = result.question
    low, high = question.growth_range
    document: dict[str, Any] = {
        "summary": summary,
        "from": question.household.start.isoformat(),
        "to": question.household.end.isoformat(),
        "assumptions": assumptions_answer(question.household)
        | {"beneficiary_tax_rate": fraction(question.beneficiary_tax_rate)},
        "options": [
            _option_answer(place, option, question.household.people) for place, option in enumerate(result.options)
        ],
        "ranking": {
            "wealth_after_tax": _ranking(result.by_wealth),
            "income_tax": _ranking(result.by_income_tax),
            "beneficiaries": [_ranking(order) for order in result.by_beneficiaries],
        },
    }
    if result.by_scenario:
        document["ranking"]["scenarios"] = {name: _ranking(order) for name, order in result.by_scenario.items()}
    document["break_evens"] = {
        "growth": {"low": fraction(low), "high": fraction(high), **_assumed_on_average(question.household)},
        "pairs": [_pair(result, pair) for pair in result.break_evens],
    }
    if sensitivity is not None:
        document["sensitivity"] = sensitivity
    if over_paths is not None:
        document["markets"] = over_paths
    document["rules"] = rules
    document["warnings"] = [warning(found) for found in warnings]
    document["notice"] = notice
    return document


def _option_answer(place: int, result: OptionResult, members: Sequence[Member]) -> dict[str, Any]:
    option = result.option
    document: dict[str, Any] = {"option": place, "lump_sums": option.lump_sums}
    if option.lump_sums == "phased":
        document["yearly"] = pounds(option.yearly) if isinstance(option.yearly, int) else ISA_ALLOWANCE
    if option.age is not None:
        document["age"] = option.age
    document["aim"] = {"goal": option.goal}
    if result.totals is None:
        return document | {"outcome": "impossible", "reason": result.reason}
    return document | {
        "outcome": "found",
        "totals": _totals(result.totals),
        "years": [_year(year, members) for year in result.years],
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
        "in_pensions": pounds(found.in_pensions),
        "in_isas": pounds(found.in_isas),
        "in_cash": pounds(found.in_cash),
        "wealth_after_tax": pounds(found.wealth),
        "wealth_after_tax_in_prices_of_start": pounds(found.wealth_in_prices_of_start),
    }


def _person_totals(person: PersonTotals) -> dict[str, Any]:
    cash = person.tax_free_cash
    parts: dict[str, Any] = {
        "in_lump_sums": pounds(cash.in_lump_sums),
        "with_withdrawals": pounds(cash.with_withdrawals),
        "still_available": pounds(cash.available),
        "if_left_to_the_end": pounds(cash.at_the_end),
        "forgone": pounds(cash.forgone),
        "above_allowance": pounds(cash.above_allowance),
        "given_up": pounds(cash.given_up),
    }
    if cash.allowance_used_up is not None:
        parts["allowance_used_up_in"] = cash.allowance_used_up
    return {
        "tax_free_cash": pounds(cash.received),
        "tax_free_cash_parts": parts,
        "income_tax": pounds(person.income_tax),
        "interest_on_waiting_cash": pounds(person.interest),
        "tax_on_interest": pounds(person.tax_on_interest),
        "most_cash_waiting": pounds(person.most_cash_waiting),
        "money_purchase_annual_allowance": money_purchase_answer(person.money_purchase_allowance),
    }


def _year(year: OptionPeriod, members: Sequence[Member]) -> dict[str, Any]:
    period = year.period
    return {
        "tax_year": period.name,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "standing": period.rules.figures.standing,
        "people": [_person(person, member, year.period) for person, member in zip(year.people, members, strict=True)],
        "household": {
            "income_tax": pounds(year.income_tax),
            "income_tax_so_far": pounds(year.income_tax_so_far),
            "tax_free_cash_so_far": pounds(year.tax_free_so_far),
            "in_cash": pounds(year.waiting),
            "wealth_after_tax": pounds(year.wealth),
            "wealth_after_tax_in_prices_of_start": pounds(year.wealth_in_prices_of_start),
        },
    }


def _person(person: OptionPerson, member: Member, period: Period) -> dict[str, Any]:
    record = person.record
    of_pensions = parts(member, record, person.pension, person.withdrawal, person.first.before.pots)
    return {
        "age": person.age,
        "lump_sum": pounds(person.lump_sum),
        "withdrawals": withdrawals_answer(of_pensions),
        "income_received": pounds(record.opened.year.income_inside),
        **contributions_answer(record.opened.year.paid_in),
        "income_tax": pounds(record.income_tax),
        "tax_on_interest": pounds(person.tax_on_interest),
        "isa_subscription": pounds(person.subscribed),
        "isa_withdrawal": pounds(record.from_isa),
        "spent": pounds(record.spent),
        "moved_from_partner": pounds(person.moved),
        "allowances": {
            "tax_free_lump_sums": {
                "used": pounds(person.tax_free),
                "left": pounds(record.tax_free_left),
                "available": pounds(record.tax_free_available(period)),
            },
            "money_purchase_annual_allowance": money_purchase_answer(person.money_purchase_allowance),
        },
        "pensions": pensions_answer(of_pensions),
        "isa": balance_answer(person.isa, "growth"),
        "cash": balance_answer(person.cash, "interest"),
    }


def _death(result: DeathResult) -> dict[str, Any]:
    asked = result.asked
    document: dict[str, Any] = {"person": asked.person, "age": asked.age}
    if asked.survivor_age is not None:
        document["survivor_age"] = asked.survivor_age
    if result.outcome is None:
        return document | {"outcome": "impossible", "reason": result.reason}
    return document | {"outcome": "found"} | _outcome(result.outcome)


def _outcome(outcome: Outcome) -> dict[str, Any]:
    document: dict[str, Any] = {
        "beneficiaries_receive": pounds(outcome.net),
        "beneficiaries_receive_in_prices_of_start": pounds(outcome.net_in_prices_of_start),
        "inheritance_tax": pounds(outcome.inheritance_tax),
        "beneficiaries_income_tax": pounds(outcome.beneficiaries_income_tax),
        "estates": [_left(left) for left in outcome.deaths],
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
        "passes_to": "spouse" if left.to_spouse else "beneficiaries",
        "estate": {
            "in_isas": pounds(estate.isa),
            "in_cash": pounds(estate.cash),
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
        "inheritance_tax": pounds(tax.tax),
        "inheritance_tax_parts": {
            "taxable": pounds(tax.taxable),
            "rate": fraction(tax.rate),
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
        document["beneficiaries"] = {
            "from_free_estate": pounds(left.free_estate_net),
            "to_charity": pounds(left.to_charity),
            "pension_money": {
                "amount": pounds(left.pension.amount),
                "inheritance_tax": pounds(left.pension.inheritance_tax),
                "tax_free": pounds(left.pension.tax_free),
                "taxable": pounds(left.pension.taxable),
                "income_tax": pounds(left.pension.income_tax),
                "net": pounds(left.pension.net),
            },
            "total": pounds(left.net),
        }
    return document


def _ranking(order: Ranking) -> list[dict[str, Any]]:
    return [{"option": placed.option, "amount": pounds(placed.amount)} for placed in order]


def _pair(result: Timing, pair: PairBreakEvens) -> dict[str, Any]:
    return {
        "options": list(pair.options),
        "growth": _places(pair.growth, lambda found: _growth_change(result, pair, found)),
        "age": _places(pair.ages, lambda found: _age_change(result, pair, found)),
    }


def _places(found: Sequence[Place] | None, told: Callable[[Place], dict[str, Any]]) -> dict[str, Any]:
    """Where two options change places; None where that was not computed."""
    if found is None:
        return {"outcome": "not_computed", "changes": []}
    return {"outcome": "changes" if found else "never_within_the_range", "changes": [told(place) for place in found]}


def _assumed_on_average(household: Household) -> dict[str, Any]:
    """What the pensions grow by on average, as it is assumed, where they grow differently."""
    differ = household.assumptions.growths_differ
    return {"assumed_on_average": yearly_rate(growth_on_average(household))} if differ else {}


def _growth_change(result: Timing, pair: PairBreakEvens, found: GrowthBreakEven) -> dict[str, Any]:
    household, by = result.question.household, Fraction(found.shift, PARTS)
    assumed = household.assumptions
    return {
        "pension_growth": yearly_rate(growth_on_average(household) + by),
        "isa_growth": yearly_rate(assumed.isa_growth + by),
        **({"above_assumed": yearly_rate(by)} if assumed.growths_differ else {}),
        "more_below": pair.options[found.below],
        "more_above": pair.options[found.above],
        "difference": pounds(found.difference),
    }


def _age_change(result: Timing, pair: PairBreakEvens, found: AgeBreakEven) -> dict[str, Any]:
    return {
        "age_then": age_on(result.question.household.people[0].date_of_birth, found.day),
        "date": found.day.isoformat(),
        "more_from_then_on": pair.options[found.leader],
        "difference": pounds(found.difference),
        "difference_the_day_before": pounds(found.difference_the_day_before),
    }
