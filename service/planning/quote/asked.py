"""A quote as it is asked for: of a person's record the one tax year and the one pension that it is about."""

from __future__ import annotations

from service.law.rulebook import RuleBook
from service.law.value import Value
from service.planning.faults import RuleViolation
from service.planning.household import PEOPLE, Member
from service.planning.incomes import person_in, record_faults
from service.planning.payroll import PayrollFacts
from service.planning.quote.quote import Question, Withdrawal
from service.planning.wording import who


class QuoteAsked(Value, frozen=True):
    """A whole request. ``member`` is the person at place ``person`` of a household of so many ``people``, and ``pension`` the
    place of the pension among theirs."""

    tax_year: str
    member: Member
    withdrawal: Withdrawal
    payroll: PayrollFacts | None
    person: int
    pension: int
    people: int


def question_of(asked: QuoteAsked, book: RuleBook) -> Question:
    """What is asked about one tax year. RuleViolation where the record holds what cannot be."""
    member = asked.member
    faults = tuple(record_faults(member, (*PEOPLE, asked.person), book.state_pension_ages))
    if faults:
        raise RuleViolation(faults)
    return Question(
        asked.tax_year,
        person_in(member, book.years[asked.tax_year], book.state_pension_ages),
        member.one_pension(asked.pension),
        asked.withdrawal,
        asked.payroll,
        asked.person,
        asked.pension,
        who(asked.person, asked.people, member.name),
        member.earlier_access_matters,
        member.pensions[asked.pension].protected_tax_free_share or 0,
    )
