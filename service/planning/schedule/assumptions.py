"""Which figures a plan rests on."""

from __future__ import annotations

from service.planning.disclosure import told_once
from service.planning.projection.assumptions import touched_in
from service.planning.schedule.schedule import Schedule


def plan_assumptions(result: Schedule) -> list[str]:
    """A sentence for each figure a plan rests on that is not law or not certain, once, from the year in which it is
    least firm; then those on State Pension age."""
    household = result.question.household
    touched = (
        (
            year.period.rules.figures,
            {
                name
                for i, (member, person) in enumerate(zip(household.people, year.people, strict=True))
                for name in touched_in(member, person.record, household.lump_sums, first=year.period.position == 0)
            },
        )
        for year in result.years
    )
    return [*told_once(touched), *result.state_pension_doubts]
