"""What is worked out by a reading that nothing confirms. Figures that are not law yet are told by an answer's notice, its
caveats and its standing, which is said nowhere twice."""

from __future__ import annotations

from service.planning.warnings.circumstances import YearFacts
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
