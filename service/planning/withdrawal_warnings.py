"""The warnings a single withdrawal carries: the circumstances of a quote, told by the rules that all answers share."""

from __future__ import annotations

from service.figures.tables import StatePensionAges
from service.law import lump_sums, state_pension
from service.planning.warnings.circumstances import Circumstances, PersonCase, PersonFacts, Taken, YearFacts
from service.planning.warnings.gathering import pension_left
from service.planning.warnings.rules import all_found
from service.planning.warnings.warning import Warning, in_order
from service.planning.withdrawal import Quote


def warnings_for(answer: Quote, ages: StatePensionAges | None = None) -> list[Warning]:
    """The warnings of an answer: what is not permitted first, then costs by amount, then what to check. Without the table
    of State Pension ages nothing is said that depends on that age."""
    return in_order(all_found(circumstances_of(answer, ages)))


def circumstances_of(answer: Quote, ages: StatePensionAges | None = None) -> Circumstances:
    """What a quote knows of the person, the tax year and the one withdrawal."""
    question, rules, payment = answer.question, answer.rules, answer.payment
    person, withdrawal = question.person, question.withdrawal
    after = pension_left(withdrawal.method, question.pension, payment, rules.lump_sums)
    left_after = lump_sums.available(after, rules.lump_sums)
    taken = Taken(
        method=withdrawal.method,
        day=withdrawal.day,
        asked=payment.gross,
        permitted=payment.gross,
        gross=payment.gross,
        tax_free=payment.tax_free,
        taxable=payment.taxable,
        path=("withdrawal",),
        before=question.pension,
        after=after,
        left_before=answer.left_before,
        left_after=left_after,
        from_uncrystallised=payment.from_uncrystallised,
        over_lifetime_allowance=payment.over_lifetime_allowance,
        charge=payment.charge,
        triggers=answer.money_purchase_triggered,
        payroll=answer.payroll,
        payroll_path=("payroll",),
    )
    facts = PersonFacts(
        who="This person",
        path=("person",),
        pension_path=("pension",),
        born=person.date_of_birth,
        nation=person.tax_residence,
        marriage_allowance=person.marriage_allowance,
        income_kinds=person.income_kinds(),
        state_pension_from=state_pension.reached_on(person.date_of_birth, ages) if ages is not None else None,
        has_state_pension_age=ages is not None,
    )
    year = YearFacts(
        person=facts,
        rules=rules,
        path=("withdrawal",),
        taxpayer=answer.taxpayer,
        with_it=answer.with_it,
        gross=payment.gross,
        tax_free=payment.tax_free,
        taxable=payment.taxable,
        before=question.pension,
        after=after,
        left_before=answer.left_before,
        left_after=left_after,
        held_before=question.pension.uncrystallised + question.pension.drawdown,
        last_day=withdrawal.day or rules.figures.end,
        state_pension=person.income_of("state_pension"),
        taken=(taken,),
        known_without=answer.without,
    )
    return Circumstances((PersonCase(facts, (year,)),), ("tax_year",))
