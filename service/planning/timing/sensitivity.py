"""How sure a comparison is: the options carried out anew with one assumption changed, and which leaves the most then."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from service.law.rulebook import RuleBook
from service.law.units import POUND, Pence
from service.planning.cases import Cases
from service.planning.faults import RuleViolation
from service.planning.projection.timeline import timeline
from service.planning.timing.comparison import Placed, TimingQuestion, faults_of
from service.planning.timing.options import Course, carried_out

ENDS_TOO_EARLY = "The comparison would end before it begins."


class Outcome(NamedTuple):
    """The wealth after tax of the options that can be carried out, the most first, as in an answer's order; none where the
    comparison cannot be made, for a ``reason``. ``leader_changes``: another option leaves the most than as assumed.
    ``first_year_changes``: what the leader does in the first tax year differs by a pound or more from what the leader as assumed
    does."""

    by_wealth: tuple[Placed, ...]
    reason: str
    leader: Course | None = None
    leader_changes: bool = False
    first_year_changes: bool = False


def outcomes(cases: Cases, book: RuleBook) -> tuple[Outcome, tuple[Outcome, ...]]:
    """What the comparison as assumed comes to, and each case beside it. Deaths, scenarios and break-evens are not looked at."""
    base = _outcome(cases.as_assumed, book)
    return base, tuple(_beside(base, _outcome(case.question, book)) for case in cases.changed)


def _outcome(question: TimingQuestion, book: RuleBook) -> Outcome:
    if question.household.end <= question.household.start:
        return Outcome((), ENDS_TOO_EARLY)
    faults = tuple(faults_of(question, book))
    if faults:
        return Outcome((), " ".join(fault.detail for fault in faults))
    years = timeline(question.household, book)
    courses: dict[int, Course] = {}
    reasons: list[str] = []
    for i, option in enumerate(question.options):
        try:
            courses[i] = carried_out(years, option)
        except RuleViolation as error:
            reasons += [fault.detail for fault in error.faults]
    by_wealth = sorted(
        (Placed(i, course.wealth) for i, course in courses.items()), key=lambda one: (-one.amount, one.option)
    )
    if not by_wealth:
        return Outcome((), " ".join(dict.fromkeys(reasons)))
    return Outcome(tuple(by_wealth), "", courses[by_wealth[0].option])


def _first_year(course: Course) -> Iterator[Pence]:
    for first, record in course.years[0].people():
        yield from (first.lump_sum, record.gross, first.subscribed + record.subscribed)


def _beside(base: Outcome, case: Outcome) -> Outcome:
    if base.leader is None or case.leader is None:
        return case
    both = zip(_first_year(base.leader), _first_year(case.leader), strict=True)
    return case._replace(
        leader_changes=base.by_wealth[0].option != case.by_wealth[0].option,
        first_year_changes=any(abs(one - other) >= POUND for one, other in both),
    )
