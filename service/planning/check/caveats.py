"""Which figures the warnings of POST /v1/warnings rest on."""

from __future__ import annotations

from service.figures.loader import STANDINGS, Standing, TaxYearFigures
from service.planning.disclosure import Caveat, caveats_over_years, touched_by_income_tax
from service.planning.warnings.circumstances import Circumstances


def case_caveats(case: Circumstances) -> list[Caveat]:
    """The caveat on each figure that the income tax of the tax years with withdrawals rests on. What else a warning rests on
    it says itself."""
    return caveats_over_years(
        (year.figures, set(touched_by_income_tax(year.taxpayer)))
        for one in case.people
        for year in one.years
        if year.taxable
    )


def case_standing(case: Circumstances) -> Standing:
    """How firm the figures of the weakest tax year are."""
    return max((year.figures.standing for one in case.people for year in one.years), key=STANDINGS.index)


def first_not_law(case: Circumstances) -> TaxYearFigures | None:
    """The figures of the first tax year that are not all law."""
    years = {year.name: year.figures for one in case.people for year in one.years}
    return next((years[name] for name in sorted(years) if years[name].standing != "enacted"), None)


def guidance_age(case: Circumstances) -> int:
    """The age from which there is free guidance, in the first tax year."""
    return case.people[0].years[0].figures.count("pension.guidance_age")
