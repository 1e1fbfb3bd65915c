"""Which figures a comparison of lump sum options rests on."""

from __future__ import annotations

from service.figures.loader import TaxYearFigures
from service.planning.disclosure import Caveat, caveats_over_years
from service.planning.estates import touched_by_death
from service.planning.projection.caveats import touched_in
from service.planning.timing.comparison import Timing


def timing_caveats(result: Timing) -> list[Caveat]:
    """The caveat on each figure that a comparison rests on, once, from the year in which it is least firm: also on those of
    inheritance tax where deaths are asked about. Then those on State Pension age."""
    touched: list[tuple[TaxYearFigures, set[str]]] = []
    for option in result.options:
        if option.course is None:
            continue
        household = option.course.timeline.household
        for year in option.years:
            names = {
                name
                for member, person in zip(household.people, year.people, strict=True)
                for name in touched_in(member, person.record, household.lump_sums, first=year.period.position == 0)
            }
            touched.append((year.period.rules.figures, names))
        for death in option.deaths:
            for left in death.outcome.deaths if death.outcome else ():
                touched.append((left.period.rules.figures, set(touched_by_death(left, result.question.estate))))
    return [*caveats_over_years(touched), *result.state_pension_caveats]
