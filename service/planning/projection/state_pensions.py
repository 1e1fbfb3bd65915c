"""Everybody's State Pension in a plan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from service.law import state_pension
from service.law.rulebook import RuleBook
from service.planning.household import Household, Member
from service.planning.projection.timeline import timeline


def state_pensions(household: Household, book: RuleBook) -> tuple[tuple[int, ...], ...]:
    """Everybody's State Pension in each whole tax year: the timeline of the same people with no other income."""
    people = tuple(
        replace(
            member,
            income=tuple(income for income in member.income if income.kind == "state_pension"),
        )
        for member in household.people
    )
    alone = timeline(replace(household, people=people), book)
    return tuple(tuple(year.taxpayer.other_income for year in years) for years in alone.people)


def state_pension_doubts(people: Iterable[Member], book: RuleBook) -> Iterator[str]:
    """A sentence for each State Pension age that is not law or leaves a doubt."""
    for member in people:
        standing = state_pension.row_for(member.date_of_birth, book.state_pension_ages).standing
        if standing.status != "enacted":
            yield f"state_pension.age: {standing.status}. {standing.doubt or standing.source}"
        elif standing.doubt:
            yield f"state_pension.age: {standing.doubt}"
