"""Which figures the warnings of POST /v1/warnings rest on."""

from __future__ import annotations

from service.figures.loader import STATUSES
from service.planning.disclosure import _not_law, _notice, told_once, touched_by_income_tax
from service.planning.warnings.circumstances import Circumstances


def case_assumptions(case: Circumstances) -> list[str]:
    """The same for what warnings rest on: the income tax of the tax years with withdrawals. What else a warning rests on
    it tells itself."""
    return told_once(
        (year.figures, set(touched_by_income_tax(year.taxpayer)))
        for one in case.people
        for year in one.years
        if year.taxable
    )


def case_status(case: Circumstances) -> str:
    """How firm the figures of the weakest tax year are."""
    return max((year.figures.status for one in case.people for year in one.years), key=STATUSES.index)


def warnings_notice(case: Circumstances) -> str:
    """The short notice under warnings."""
    years = {year.name: year.figures for one in case.people for year in one.years}
    first = next((years[name] for name in sorted(years) if years[name].status != "enacted"), None)
    return _notice("" if first is None else f" {_not_law('from', first.name)}")
