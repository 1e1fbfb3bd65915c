"""A quote as it is asked for: of a person's record the one tax year and the one pension that it is about."""

from __future__ import annotations

from service.figures import tax_years
from service.law.lump_sums import PENSION_COMMENCEMENT
from service.law.rulebook import RuleBook
from service.law.value import Value
from service.planning.faults import RuleViolation
from service.planning.household import PEOPLE, Member, SavingFacts
from service.planning.incomes import person_in, record_faults, saving_facts
from service.planning.marriage_claims import only_what_is_claimed
from service.planning.payroll import PayrollFacts
from service.planning.quote.quote import Question, Withdrawal
from service.planning.wording import who


class QuoteAsked(Value, frozen=True):
    """A whole request: of whom of the ``people``, by place, and of which of their pensions."""

    tax_year: str
    people: tuple[Member, ...]
    withdrawal: Withdrawal
    payroll: PayrollFacts | None
    person: int
    pension: int


def question_of(asked: QuoteAsked, book: RuleBook) -> Question:
    """What is asked about one tax year. RuleViolation where the record of anybody holds what cannot be."""
    faults = [
        fault
        for i, member in enumerate(asked.people)
        for fault in record_faults(member, (*PEOPLE, i), book.state_pension_ages)
    ]
    faults += only_what_is_claimed(asked.people)
    if faults:
        raise RuleViolation(tuple(faults))
    member = asked.people[asked.person]
    return Question(
        asked.tax_year,
        person_in(member, book.years[asked.tax_year], book.state_pension_ages),
        member.one_pension(asked.pension),
        asked.withdrawal,
        asked.payroll,
        asked.person,
        asked.pension,
        who(asked.person, len(asked.people), member.name),
        member.earlier_access_matters,
        member.tax_free_received_before_6_april_2024,
        member.small_pots_taken,
        member.pensions[asked.pension].scheme_kind,
        asked.people[1 - asked.person].date_of_birth if len(asked.people) > 1 else None,
        _saving(asked, member, book),
        member.uk_resident is False,
    )


def _saving(asked: QuoteAsked, member: Member, book: RuleBook) -> SavingFacts | None:
    """What is paid in around a lump sum, from the tax year of the quote on; None where the rule for it cannot apply."""
    if not member.contributions or asked.withdrawal.method not in PENSION_COMMENCEMENT:
        return None
    dated = {tax_years.of(one.day) for one in member.contributions if one.day is not None}
    return saving_facts(
        member,
        [
            rules.figures
            for name, rules in book.years.items()
            if name == asked.tax_year or (name in dated and name > asked.tax_year)
        ],
    )
