"""The caveats on the State Pension ages that a plan rests on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from service.law import state_pension
from service.law.rulebook import RuleBook
from service.planning.disclosure import Caveat
from service.planning.household import Member

_AGE = "state_pension.age"  # the table of State Pension age: a figure of no tax year


def state_pension_caveats(people: Iterable[Member], book: RuleBook) -> Iterator[Caveat]:
    """The caveat on each State Pension age that is not law, or not certain."""
    for member in people:
        authority = state_pension.row_for(member.date_of_birth, book.state_pension_ages).authority
        if authority.caveat is not None:
            yield Caveat(_AGE, authority.caveat)
