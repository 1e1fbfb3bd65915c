"""The warnings a single withdrawal carries: the circumstances of a quote, told by the rules that all answers share."""

from __future__ import annotations

from service.figures.tables import StatePensionAges
from service.law import lump_sums, state_pension
from service.law.ages import age_on
from service.planning.household import Path
from service.planning.payroll import pay_not_in_the_income
from service.planning.quote.quote import Quote
from service.planning.warnings.circumstances import Circumstances, Partner, PersonCase, PersonFacts, Taken, YearFacts
from service.planning.warnings.household_facts import pension_left, works
from service.planning.warnings.registry import all_found, found_in_quote_in_codes
from service.planning.warnings.warning import ClientWarning, in_order

_WITHDRAWAL: Path = ("withdrawal",)
_PAYROLL: Path = ("payroll",)
"""Their places in the request."""


def warnings_for(answer: Quote, ages: StatePensionAges | None = None) -> list[ClientWarning]:
    """The warnings of an answer: what is not permitted first, then costs by amount, then what to check. Without the table
    of State Pension ages nothing is said that depends on that age."""
    return in_order(all_found(circumstances_of(answer, ages)))


def codes_for(answer: Quote, ages: StatePensionAges | None = None) -> list[ClientWarning]:
    """The same warnings in the same order, but made only as far as their codes, effects and costs."""
    return in_order(found_in_quote_in_codes(circumstances_of(answer, ages)))


def circumstances_of(answer: Quote, ages: StatePensionAges | None = None) -> Circumstances:
    """What a quote knows of the person, the tax year and the one withdrawal."""
    question, rules, payment = answer.question, answer.rules, answer.payment
    person, withdrawal, outcome = question.person, question.withdrawal, answer.payroll
    partner = question.partner_born
    after = pension_left(withdrawal.method, question.pension, payment, rules.lump_sums)
    left_after = lump_sums.available(after, rules.lump_sums)
    last_day = withdrawal.day or rules.figures.end
    age = age_on(person.date_of_birth, last_day)
    # All three by position, in the order of their classes: by name they take six times as long, together a fortieth of a quote.
    taken = Taken(
        withdrawal.method,
        withdrawal.day,
        age,
        question.pension.protected_pension_age or rules.minimum_pension_age,
        payment.gross,
        payment.gross,
        payment,
        _WITHDRAWAL,
        question.pension,
        after,
        answer.left_before,
        left_after,
        question.pension_place,
        answer.money_purchase_triggered,
        outcome,
        _PAYROLL,
        pay_not_in_the_income(outcome.facts, person),
    )
    facts = PersonFacts(
        question.who,
        question.person_path,
        question.pension_path,
        person.date_of_birth,
        person.tax_residence,
        person.marriage_allowance,
        question.person_place,
        question.pension_place,
        question.earlier_access_matters,
        0,
        question.tax_free_received,
        question.small_pots_taken,
        question.scheme_kind,
        question.saving,
        question.lives_abroad,
        works(person.income),
        ages is not None,
        None if ages is None else state_pension.reached_on(person.date_of_birth, ages),
        None,
        None if ages is None or partner is None else Partner(partner, state_pension.reached_on(partner, ages)),
    )
    year = YearFacts(
        facts,
        rules,
        _WITHDRAWAL,
        answer.taxpayer,
        answer.without,
        answer.with_it,
        payment.gross,
        payment.tax_free,
        payment.taxable,
        question.pension,
        after,
        answer.left_before,
        left_after,
        question.pension.uncrystallised + question.pension.drawdown,
        last_day,
        age,
        person.income_of("state_pension"),
        (taken,),
        answer.year,
        0,
        True,
        None,
        person.paid_at_source,
        person.taxed_pay,
    )
    return Circumstances((PersonCase(facts, (year,)),), ("tax_year",))
