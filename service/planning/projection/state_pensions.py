"""What is doubtful about the State Pension ages that a plan rests on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from service.law import state_pension
from service.law.rulebook import RuleBook
from service.planning.household import Member


def state_pension_doubts(people: Iterable[Member], book: RuleBook) -> Iterator[str]:
    """A sentence for each State Pension age that is not law, or not certain."""
    for member in people:
        standing = state_pension.row_for(member.date_of_birth, book.state_pension_ages).standing
        if standing.doubt is not None:
            yield standing.doubt
