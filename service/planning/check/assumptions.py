"""Which figures the warnings of POST /v1/warnings rest on."""

from __future__ import annotations

from service.figures.loader import STATUSES, Status, TaxYearFigures
from service.planning.disclosure import told_once, touched_by_income_tax
from service.planning.warnings.circumstances import Circumstances


def case_assumptions(case: Circumstances) -> list[str]:
    """A sentence for each figure that is not law or leaves a doubt, of those that the income tax of the tax years with
    withdrawals rests on. What else a warning rests on it says itself."""
    return told_once(
        (year.figures, set(touched_by_income_tax(year.taxpayer)))
        for one in case.people
        for year in one.years
        if year.taxable
    )


def case_status(case: Circumstances) -> Status:
    """How firm the figures of the weakest tax year are."""
    return max((year.figures.status for one in case.people for year in one.years), key=STATUSES.index)


def first_not_law(case: Circumstances) -> TaxYearFigures | None:
    """The figures of the first tax year that are not all law."""
    years = {year.name: year.figures for one in case.people for year in one.years}
    return next((years[name] for name in sorted(years) if years[name].status != "enacted"), None)
