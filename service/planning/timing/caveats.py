"""Which figures a comparison of lump sum options rests on."""

from __future__ import annotations

from collections.abc import Iterator

from service.figures.loader import TaxYearFigures
from service.planning.disclosure import Caveat, caveats_over_years
from service.planning.projection.caveats import touched_in
from service.planning.timing.comparison import Timing
from service.planning.timing.estates import Left


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
                names = set(_touched_by_death(left))
                if result.question.estate.pension_to_non_qualifying_person and left.pension and left.pension.income_tax:
                    names.add("pension.special_lump_sum_death_benefits_charge")
                touched.append((left.period.rules.figures, names))
    return [*caveats_over_years(touched), *result.state_pension_caveats]


def _touched_by_death(left: Left) -> Iterator[str]:
    """The names of the figures that the tax on a death rests on."""
    yield from ("inheritance_tax.nil_rate_band", "inheritance_tax.rate", "inheritance_tax.unused_pensions_in_estate")
    if left.estate.home_to_descendants:
        yield from ("inheritance_tax.residence_nil_rate_band", "inheritance_tax.residence_taper_threshold")
    if left.to_charity:
        yield from ("inheritance_tax.charity_rate", "inheritance_tax.charity_least_share")
    if left.pension is not None and left.pension.allowance_used:
        yield "pension.lump_sum_and_death_benefit_allowance"
