"""The warnings a single withdrawal carries: the circumstances of a quote, told by the rules that all answers share."""

from __future__ import annotations

from service.figures.tables import StatePensionAges
from service.law import lump_sums, state_pension
from service.law.ages import age_on
from service.planning.payroll import pay_not_in_the_income
from service.planning.quote.quote import Quote
from service.planning.warnings.circumstances import Circumstances, Partner, PersonCase, PersonFacts, Taken, YearFacts
from service.planning.warnings.household_facts import pension_left, works
from service.planning.warnings.registry import all_found, found_in_quote_in_codes
from service.planning.warnings.warning import ClientWarning, in_order


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
    # Of each the first fields by position, in the order of its class: see ``service/law/value.py``.
    taken = Taken(
        withdrawal.method,
        withdrawal.day,
        age,
        question.pension.protected_pension_age or rules.minimum_pension_age,
        asked=payment.gross,
        permitted=payment.gross,
        payment=payment,
        path=("withdrawal",),
        before=question.pension,
        after=after,
        left_before=answer.left_before,
        left_after=left_after,
        pension=question.pension_place,
        triggers=answer.money_purchase_triggered,
        payroll=outcome,
        payroll_path=("payroll",),
        pay_not_in_the_income=pay_not_in_the_income(outcome.facts, person),
    )
    facts = PersonFacts(
        question.who,
        question.person_path,
        question.pension_path,
        person.date_of_birth,
        person.tax_residence,
        person.marriage_allowance,
        place=question.person_place,
        pension=question.pension_place,
        earlier_access_matters=question.earlier_access_matters,
        tax_free_received=question.tax_free_received,
        small_pots_taken=question.small_pots_taken,
        scheme_kind=question.scheme_kind,
        saving=question.saving,
        lives_abroad=question.lives_abroad,
        works=works(person.income),
        has_state_pension_age=ages is not None,
        state_pension_from=None if ages is None else state_pension.reached_on(person.date_of_birth, ages),
        partner=None if ages is None or partner is None else Partner(partner, state_pension.reached_on(partner, ages)),
    )
    year = YearFacts(
        facts,
        rules,
        ("withdrawal",),
        answer.taxpayer,
        answer.without,
        answer.with_it,
        payment.gross,
        payment.tax_free,
        payment.taxable,
        question.pension,
        after,
        answer.left_before,
        left_after=left_after,
        held_before=question.pension.uncrystallised + question.pension.drawdown,
        last_day=last_day,
        age=age,
        state_pension=person.income_of("state_pension"),
        taken=(taken,),
        known_year=answer.year,
        paid_at_source=person.paid_at_source,
        taxed_pay=person.taxed_pay,
    )
    return Circumstances((PersonCase(facts, (year,)),), ("tax_year",))
