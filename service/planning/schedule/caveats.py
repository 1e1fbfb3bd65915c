"""Which figures a plan rests on."""

from __future__ import annotations

from collections.abc import Iterator

from service.figures.loader import TaxYearFigures
from service.planning.disclosure import Caveat, caveats_over_years
from service.planning.estates import touched_by_death
from service.planning.projection.caveats import touched_in
from service.planning.schedule.schedule import Schedule


def plan_caveats(result: Schedule) -> list[Caveat]:
    """The caveat on each figure that a plan rests on, once, from the year in which it is least firm; then those on State
    Pension age."""
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
    return [*caveats_over_years([*touched, *_of_the_estate(result)]), *result.state_pension_caveats]


def _of_the_estate(result: Schedule) -> Iterator[tuple[TaxYearFigures, set[str]]]:
    asked = result.question
    if asked.estate is None:
        return
    for left in asked.estate_left(result.projection).deaths:
        yield left.period.rules.figures, set(touched_by_death(left, asked.estate))
