"""The warnings a single withdrawal carries: the circumstances of a quote, told by the rules that all answers share."""

from __future__ import annotations

from service.figures.tables import StatePensionAges
from service.law import lump_sums, state_pension
from service.law.ages import age_on
from service.planning.quote.quote import Quote
from service.planning.warnings.circumstances import Circumstances, PersonCase, PersonFacts, Taken, YearFacts
from service.planning.warnings.gathering import pension_left, works
from service.planning.warnings.rules import all_found
from service.planning.warnings.warning import ClientWarning, in_order


def warnings_for(answer: Quote, ages: StatePensionAges | None = None) -> list[ClientWarning]:
    """The warnings of an answer: what is not permitted first, then costs by amount, then what to check. Without the table
    of State Pension ages nothing is said that depends on that age."""
    return in_order(all_found(circumstances_of(answer, ages)))


def circumstances_of(answer: Quote, ages: StatePensionAges | None = None) -> Circumstances:
    """What a quote knows of the person, the tax year and the one withdrawal."""
    question, rules, payment = answer.question, answer.rules, answer.payment
    person, withdrawal = question.person, question.withdrawal
    after = pension_left(withdrawal.method, question.pension, payment, rules.lump_sums)
    left_after = lump_sums.available(after, rules.lump_sums)
    last_day = withdrawal.day or rules.figures.end
    age = age_on(person.date_of_birth, last_day)
    # By position, in the order of their fields: by name they would cost several times as much, in every quote.
    taken = Taken(
        withdrawal.method,
        withdrawal.day,
        age,
        question.pension.minimum_pension_age or rules.minimum_pension_age,
        payment.gross,
        payment.gross,
        payment,
        ("withdrawal",),
        question.pension,
        after,
        answer.left_before,
        left_after,
        answer.money_purchase_triggered,
        answer.payroll,
        ("payroll",),
    )
    facts = PersonFacts(
        "This person",
        ("person",),
        ("pension",),
        person.date_of_birth,
        person.tax_residence,
        person.marriage_allowance,
        works(person.income),
        ages is not None,
        None if ages is None else state_pension.reached_on(person.date_of_birth, ages),
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
        left_after,
        question.pension.uncrystallised + question.pension.drawdown,
        last_day,
        age,
        person.income_of("state_pension"),
        (taken,),
        answer.year,
    )
    return Circumstances((PersonCase(facts, (year,)),), ("tax_year",))
