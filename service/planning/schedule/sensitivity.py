"""How sure a plan is: planned anew with one assumption at a time changed, and whether the first year stays as it is.

Each case is a whole plan by the aim, not the same steps under other assumptions: what is told is how much turns on an assumption
that nobody knows, and whether what has to be done first depends on it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from service.law.rulebook import RuleBook
from service.law.units import POUND, Pence
from service.planning.cases import Cases
from service.planning.faults import RuleViolation
from service.planning.optimiser.work import Effort
from service.planning.schedule.schedule import Schedule, ScheduleQuestion, schedule

EFFORT: Effort = "quick"
"""The work of a search for each case, so that all of them together take no longer than a few plans."""


ENDS_TOO_EARLY = "The plan would end before it begins."


class FirstYear(NamedTuple):
    """What one person does in the first tax year. Pence; ``withdrawn`` includes lump sums."""

    withdrawn: Pence
    tax_free: Pence
    subscribed: Pence


class Outcome(NamedTuple):
    """What a plan comes to; ``result`` is None where it cannot be carried out, for a ``reason``. ``first_year_changes``: whether
    anybody's first year differs by a pound or more from that of the plan as assumed."""

    result: Schedule | None
    reason: str
    first_year: tuple[FirstYear, ...] = ()
    first_year_changes: bool = False


def outcomes(cases: Cases, book: RuleBook) -> tuple[Outcome, tuple[Outcome, ...]]:
    """What the plan as assumed comes to, and each case beside it; all with the same work."""
    base = _outcome(cases.as_assumed, book)
    return base, tuple(_beside(base, _outcome(case.question, book)) for case in cases.changed)


def _outcome(question: ScheduleQuestion, book: RuleBook) -> Outcome:
    if question.household.end < question.household.start:
        return Outcome(None, ENDS_TOO_EARLY)
    try:
        result = schedule(replace(question, effort=EFFORT, scenarios={}, markets=None), book)
    except RuleViolation as error:
        return Outcome(None, " ".join(fault.detail for fault in error.faults))
    return Outcome(result, "", tuple(_first_year(result)))


def _first_year(result: Schedule) -> Iterator[FirstYear]:
    for person in result.years[0].people:
        record = person.record
        yield FirstYear(record.gross, record.tax_free, record.subscribed)


def _beside(base: Outcome, case: Outcome) -> Outcome:
    if base.result is None or case.result is None:
        return case
    changes = any(
        abs(one - other) >= POUND
        for before, after in zip(base.first_year, case.first_year, strict=True)
        for one, other in zip(before, after, strict=True)
    )
    return case._replace(first_year_changes=changes)
