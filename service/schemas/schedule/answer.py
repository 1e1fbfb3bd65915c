"""The answer of POST /v1/allowance-schedule."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.law.rounding import years_tax_to_the_penny
from service.law.units import Pence
from service.planning.household import Household, Member
from service.planning.projection.balances import cash_held, isa_held, parts, pension_held
from service.planning.projection.policies import Projection
from service.planning.projection.timeline import Period
from service.planning.schedule.estate import EstateAtTheEnd
from service.planning.schedule.events import Event
from service.planning.schedule.reasons import Reason
from service.planning.schedule.schedule import (
    MOST_TO_BENEFICIARIES,
    Comparison,
    HouseholdPeriod,
    Proof,
    Scenario,
    Schedule,
    SchedulePerson,
    ScheduleYear,
    Totals,
    household_periods,
    totals,
    wealth_at_flat_rates,
)
from service.planning.schedule.small_pots import SmallPotsChosen
from service.planning.schedule.steps import Step
from service.planning.schedule.told import Told
from service.planning.schedule.wishes import SteadyIncome
from service.planning.warnings.warning import ClientWarning
from service.schemas.balances import (
    assumptions_answer,
    balance_answer,
    contributions_answer,
    money_purchase_answer,
    pensions_answer,
    withdrawals_answer,
)
from service.schemas.schedule.over_paths import over_paths_answer
from service.schemas.units import fraction, in_pounds, pounds
from service.schemas.warnings import warning


def answer(
    result: Schedule,
    told: Told,
    warnings: list[ClientWarning],
    rules: dict[str, Any],
    notice: str,
    *,
    compared_years: bool = False,
    steps: Sequence[Step] | None = None,
    sensitivity: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions; ``compared_years``: with the years of the plainer plans. The
    ``steps`` and the ``sensitivity`` are left out where they are None."""
    household = result.question.household
    document: dict[str, Any] = {
        "outcome": "found",
        "aim": {"goal": result.question.goal},
        "lump_sums": household.lump_sums,
        "assumptions": assumptions_answer(household),
        "summary": told.summary,
        "at_start": _at_start(household),
        "years": [
            _year(year, household.people, because, happens)
            for year, because, happens in zip(result.years, told.because, told.events, strict=True)
        ],
        "totals": _totals(result.projection, result.totals),
        "compared_with": [_comparison(compared, result) for compared in result.comparisons],
    }
    if compared_years:
        document["compared_years"] = [_compared_years(compared) for compared in result.comparisons]
    if steps is not None:
        document["steps"] = [_step(step) for step in steps]
    if result.steady_income is not None:
        document["steady_income"] = _steady_income(result.steady_income)
    if result.small_pots is not None:
        document["small_pots"] = _small_pots(result.small_pots)
    if result.proof is not None:
        document["proof"] = _proof(result.question.goal, result.proof, result.totals.wealth_after_tax)
    if result.scenarios:
        document["scenarios"] = {scenario.name: _scenario(scenario, result) for scenario in result.scenarios}
    if sensitivity is not None:
        document["sensitivity"] = sensitivity
    if told.estate is not None:
        document["estate_at_the_end"] = _estate(told.estate)
    if result.over_paths is not None:
        document["markets"] = over_paths_answer(result.over_paths, household.lump_sums)
    document["rules"] = rules
    document["warnings"] = [warning(found) for found in warnings]
    document["notice"] = notice
    return document


def _at_start(household: Household) -> dict[str, Any]:
    """What there is on the first day, before anything moves."""
    people = [(member.all_pensions, member.isa.value, member.cash) for member in household.people]
    held = tuple(sum(amounts) for amounts in zip(*people, strict=True))
    return {
        "date": household.start.isoformat(),
        "people": [in_pounds(amounts, ("in_pensions", "in_isas", "in_cash")) for amounts in people],
        "household": in_pounds((*held, sum(held)), ("in_pensions", "in_isas", "in_cash", "wealth_before_tax")),
    }


def _year(
    year: ScheduleYear, members: Sequence[Member], because: Sequence[Sequence[Reason]], happens: Sequence[Event]
) -> dict[str, Any]:
    period = year.period
    return {
        "tax_year": period.name,
        "from": period.first.isoformat(),
        "to": period.last.isoformat(),
        "standing": period.rules.figures.standing,
        "spending": pounds(year.spending),
        "people": [
            _person(person, member, year.period, reasons)
            for person, member, reasons in zip(year.people, members, because, strict=True)
        ],
        "household": in_pounds(year.household, HouseholdPeriod._fields),
        "events": [_event(event) for event in happens],
    }


def _event(event: Event) -> dict[str, Any]:
    document: dict[str, Any] = {"code": event.code, "date": event.day.isoformat(), "detail": event.detail}
    if event.person is not None:
        document["person"] = event.person
    return document


def _person(person: SchedulePerson, member: Member, period: Period, because: Sequence[Reason]) -> dict[str, Any]:
    record = person.record
    opened = record.opened
    of_pensions = parts(member, record, person.pension, person.withdrawal)
    return {
        "age": person.age,
        "because": [{"code": reason.code, "detail": reason.detail} for reason in because],
        "lump_sum": pounds(person.lump_sum),
        "withdrawals": withdrawals_answer(of_pensions),
        "income_received": pounds(opened.year.income_inside),
        **contributions_answer(opened.year.paid_in),
        "interest": pounds(opened.interest),
        "income_tax": pounds(record.income_tax),
        "isa_subscription": pounds(record.subscribed),
        "isa_withdrawal": pounds(record.from_isa),
        "spent": pounds(record.spent),
        "spent_during_year": {
            "from_cash": pounds(opened.early_cash),
            "from_pension": pounds(record.early.uncrystallised + record.early.drawdown),
            "from_isas": pounds(record.early.isa),
        },
        "moved_from_partner": pounds(record.moved),
        "allowances": {
            "personal_allowance": {
                "used": pounds(person.personal_allowance_used),
                "unused": pounds(person.personal_allowance_unused),
            },
            "marriage_allowance": {
                "given": pounds(record.liability.marriage_allowance_given),
                "taken_off_tax": pounds(years_tax_to_the_penny(record.liability.marriage_allowance_reduction)),
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
        "pensions": pensions_answer(of_pensions),
        "isa": balance_answer(person.isa, "growth"),
        "cash": balance_answer(person.cash, "interest"),
    }


def _totals(plan: Projection, found: Totals) -> dict[str, Any]:
    """A plan in sums, with what it would leave at flat rates of tax on what is left in pensions."""
    at_rates = [
        {"rate": fraction(rate), "wealth_after_tax": pounds(wealth)} for rate, wealth in wealth_at_flat_rates(plan)
    ]
    return {**in_pounds(found, Totals._fields), "wealth_at_flat_rates": at_rates}


def _comparison(compared: Comparison, result: Schedule) -> dict[str, Any]:
    other, own = compared.projection, result.totals
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
        **_to_beneficiaries(compared, result),
    }


def _to_beneficiaries(compared: Comparison | Scenario, result: Schedule) -> dict[str, float]:
    """What beneficiaries receive of another plan, where that is the aim, and how much more of this one."""
    other = compared.projection
    if other is None or not result.question.is_for_beneficiaries:
        return {}
    received = result.question.estate_left(other).beneficiaries_receive
    document = {"beneficiaries_receive": pounds(received)}
    if isinstance(compared, Comparison):
        own = result.question.estate_left(result.projection).beneficiaries_receive
        document["gain_to_beneficiaries"] = pounds(own - received)
    return document


def _estate(found: EstateAtTheEnd) -> dict[str, Any]:
    if not found.deaths:
        return {"outcome": "impossible", "reason": found.reason}
    return {
        "outcome": "found",
        "date": found.deaths[-1].day.isoformat(),
        "beneficiaries_receive": pounds(found.beneficiaries_receive),
        "inheritance_tax": pounds(found.inheritance_tax),
        "beneficiaries_income_tax": pounds(found.beneficiaries_income_tax),
        "beneficiary_tax_rate": fraction(found.beneficiary_tax_rate),
        "pension_in_estate": found.deaths[-1].pension_in_estate,
        "deaths": [
            {"person": left.person, "to_spouse": left.to_spouse, "inheritance_tax": pounds(left.tax.tax)}
            for left in found.deaths
        ],
    }


def _step(step: Step) -> dict[str, Any]:
    document: dict[str, Any] = {
        "code": step.code,
        "by": step.day.isoformat(),
        "title": step.title,
        "detail": step.detail,
        "basis": step.basis,
        "sources": list(step.sources),
    }
    if step.person is not None:
        document["person"] = step.person
    if step.amount is not None:
        document["amount"] = pounds(step.amount)
    if step.tax_year is not None:
        document["tax_year"] = step.tax_year
    return document


def _compared_years(compared: Comparison) -> dict[str, Any]:
    """The tax years of a plainer plan; none where it cannot be carried out."""
    other = compared.projection
    if other is None:
        return {"plan": compared.plan, "years": []}
    return {
        "plan": compared.plan,
        "years": [
            {"tax_year": period.name, "household": in_pounds(sums, HouseholdPeriod._fields)}
            for period, sums in zip(other.timeline.periods, household_periods(other), strict=True)
        ],
    }


def _proof(goal: str, proof: Proof, wealth: Pence) -> dict[str, Any]:
    document = {
        "goal": goal,
        "wealth_after_tax": pounds(wealth),
        **({"beneficiaries_receive": pounds(proof.worth)} if goal == MOST_TO_BENEFICIARIES else {}),
        "bound": pounds(proof.bound),
        "gap": pounds(proof.gap),
        "proven": proof.proven,
        "stopped_by": proof.stopped_by,
        "given_up_at_tax_steps": pounds(proof.given_up_at_steps),
        "leaves_out": proof.leaves_out,
    }
    if proof.tie is not None:
        amounts = (proof.tie.within, proof.tie.given_up, proof.tie.least_left, proof.tie.most_left)
        document["equally_good"] = in_pounds(
            amounts, ("within", "given_up", "least_left_in_pensions", "most_left_in_pensions")
        )
    return document


def _steady_income(found: SteadyIncome) -> dict[str, float]:
    return in_pounds((found.amount, found.bound, found.bound - found.amount), ("amount", "bound", "gap"))


def _small_pots(found: SmallPotsChosen) -> dict[str, Any]:
    document: dict[str, Any] = {
        "chosen": "best" if found.is_best else "first_possible",
        "pensions": [
            {
                "person": pot.person,
                "pension": pot.place,
                "taken_as": "any_other" if pot.tax_year is None else "small_pot",
                **({} if pot.tax_year is None else {"tax_year": pot.tax_year}),
            }
            for pot in found.pots
        ],
    }
    if found.gain is not None:
        document["gain"] = pounds(found.gain)
    return document


def _scenario(scenario: Scenario, result: Schedule) -> dict[str, Any]:
    plan = scenario.projection
    if plan is None:
        return {"outcome": "impossible", "reason": scenario.reason}
    income = scenario.steady_income
    return {
        "outcome": "found",
        **({} if income is None else {"steady_income": _steady_income(income)}),
        **({} if scenario.small_pots is None else {"small_pots": _small_pots(scenario.small_pots)}),
        **_to_beneficiaries(scenario, result),
        "totals": _totals(plan, totals(plan)),
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
