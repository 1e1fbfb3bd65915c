"""What is worked out by figures that are not law yet, or by a reading that nothing confirms."""

from __future__ import annotations

from service.planning.warnings.circumstances import Circumstances, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with
from service.planning.warnings.warning import Found

TOPIC: Topic = Topic()


@TOPIC.of_a_year(
    "scottish_property_income",
    "check",
    "Tax on Scottish taxpayers' rent is unconfirmed",
    "A Scottish taxpayer has property income in a tax year with separate property rates.",
    facts=("income", "tax_residence"),
    sources=("Income Tax Act 2007 ss.11A, 11CA", "Finance Act 2026 s.8, Sch.2"),
    since=first_day_with("income_tax.property_bands"),
)
def scottish_property_income(year: YearFacts, entry: Entry) -> Found:
    """Property rates begin in 2027-28, and how they reach a Scottish taxpayer is a reading of the statute."""
    if year.person.nation != "scotland" or not year.taxpayer.property_income or not year.taken:
        return ()
    if not year.figures.has("income_tax.property_bands"):
        return ()
    return entry.warn(
        f"In {year.name}, property income has its own rates in the rest of the UK. How it is taxed for Scottish taxpayers is "
        "not yet confirmed. We have used the Scottish rates for other income.",
        (*year.person.path, "income"),
        about=year.person,
        figures=year.figures,
        standing="announced",
    )


@TOPIC.of_the_household(
    "rates_not_yet_set",
    "check",
    "Some rates are not yet law",
    "Some figures of a tax year are announced or assumed.",
    facts=("date", "withdrawals.date"),
    sources=("Income Tax Act 2007 s.10", "Finance Act 2026 ss.5-10"),
)
def rates_not_yet_set(case: Circumstances, entry: Entry) -> Found:
    """The figures of some year are not all law yet."""
    unsettled = [year.figures for one in case.people for year in one.years if year.figures.standing != "enacted"]
    if not unsettled:
        return ()
    first = min(unsettled, key=lambda figures: figures.name)
    since = "for" if first.name == max(one.years[-1].name for one in case.people) else "from"
    return entry.warn(
        f"Some rates and allowances {since} {first.name} are not yet law. We have used those announced, or else the latest "
        "known ones. These figures may change.",
        case.year_path,
        figures=first,
        standing=first.standing,
    )
