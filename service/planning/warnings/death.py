"""What is left at death: whether the pension counts in the estate, and who pays income tax on it.

Inheritance Tax Act 1984 ss.8A-8M, 18 and 150A; Finance Act 2026 ss.66-72; ITEPA 2003 ss.637H-637M. Only thresholds and
simple sums: the bands of one estate against its value, everything else about the tax left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from service.law.ages import birthday
from service.law.inheritance_tax import tapered
from service.law.rounding import down_to_the_penny
from service.law.units import Pence
from service.planning.warnings.circumstances import Circumstances, Estate, PersonCase, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with, last_day_with
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds

TOPIC: Topic = Topic()

_NRB, _RNRB, _TAPER, _RATE = (
    "inheritance_tax.nil_rate_band",
    "inheritance_tax.residence_nil_rate_band",
    "inheritance_tax.residence_taper_threshold",
    "inheritance_tax.rate",
)
_COUNTS = "inheritance_tax.unused_pensions_in_estate"


class Sums(NamedTuple):
    """An estate after the last withdrawals; pence. ``least_bands`` and ``most_bands`` differ where facts are missing."""

    year: YearFacts
    outside: Pence
    drawn: Pence
    pensions: Pence
    pensions_count: bool
    least_bands: Pence
    most_bands: Pence

    @property
    def total(self) -> Pence:
        """All that counts."""
        return self.outside + self.drawn + (self.pensions if self.pensions_count else 0)


def _sums(case: Circumstances, estate: Estate) -> Sums:
    year, drawn = case.last_year, case.drawn_after_tax
    pensions = sum(one.years[-1].held_after for one in case.people)
    count = year.figures.text(_COUNTS) == "yes"
    total = estate.value + drawn + (pensions if count else 0)
    least = _bands(year, total, residence=bool(estate.home_to_descendants), double=bool(estate.bands_of_late_spouse))
    most = _bands(
        year,
        total,
        residence=estate.home_to_descendants is not False,
        double=estate.bands_of_late_spouse is not False,
    )
    return Sums(year, estate.value, drawn, pensions, count, least, most)


def _bands(year: YearFacts, total: Pence, *, residence: bool, double: bool) -> Pence:
    times = 2 if double else 1
    residence_band = year.figures.money(_RNRB) * times if residence else 0
    return year.figures.money(_NRB) * times + tapered(residence_band, total, year.figures.money(_TAPER))


def _tax_on(part: Pence, year: YearFacts) -> Pence:
    return down_to_the_penny(part * year.figures.rate(_RATE))


@TOPIC.of_the_household(
    "withdrawal_enters_the_estate",
    "costs",
    "Money drawn enters the estate",
    "Before unused pensions count in the estate, what is drawn takes the estate over its bands.",
    facts=("estate.value", "estate.home_to_descendants", "estate.bands_of_late_spouse", "withdrawals.amount"),
    sources=("Inheritance Tax Act 1984 ss.1, 4, 8D-8M and Sch.1",),
    until=last_day_with("inheritance_tax.unused_pensions_in_estate", "no"),
    only="with_facts",
)
def withdrawal_enters_the_estate(case: Circumstances, entry: Entry) -> Found:
    """While pensions are outside the estate: what is drawn takes it over its bands."""
    estate = case.estate
    if estate is None or estate.all_to_spouse:
        return ()
    sums = _sums(case, estate)
    year, over = sums.year, sums.total - sums.most_bands
    if sums.pensions_count or not sums.drawn or over <= 0:
        return ()
    above = min(over, sums.drawn)
    cost = _tax_on(above, year)
    return entry.warn(
        f"A pension left alone is usually outside the estate of someone who dies in {year.name}; the "
        f"{pounds(sums.drawn)} drawn after tax is inside it, in an ISA too. {pounds(above)} of it is over the bands of "
        f"{pounds(sums.most_bands)}, which costs {pounds(cost)} at {per_cent(year.figures.rate(_RATE))} unless spent. "
        "Draw what will be used.",
        ("estate",),
        figures=year.figures,
        rests_on=(_RATE, _COUNTS),
        money={"drawn": sums.drawn, "drawn_over_the_bands": above, "bands": sums.most_bands, "extra_tax": cost},
        cost=cost,
    )


@TOPIC.of_the_household(
    "pension_counts_in_the_estate",
    "costs",
    "The pension counts in the estate",
    "From 6 April 2027, what is left in the pension takes the estate over its bands.",
    facts=(
        "estate.value",
        "estate.home_to_descendants",
        "estate.bands_of_late_spouse",
        "pension.uncrystallised",
        "pension.drawdown",
    ),
    sources=("Finance Act 2026 ss.66-71", "Inheritance Tax Act 1984 s.150A"),
    since=first_day_with("inheritance_tax.unused_pensions_in_estate", "yes"),
    only="with_facts",
)
def pension_counts_in_the_estate(case: Circumstances, entry: Entry) -> Found:
    """What is left in the pension takes the estate over its bands."""
    estate = case.estate
    if estate is None or estate.all_to_spouse:
        return ()
    sums = _sums(case, estate)
    year, over = sums.year, sums.total - sums.most_bands
    if not sums.pensions_count or not sums.pensions or over <= 0:
        return ()
    cost = _tax_on(min(over, sums.pensions), year)
    return entry.warn(
        f"In {year.name} unused pensions count in the estate: with {pounds(sums.pensions)} of them it is {pounds(sums.total)}, "
        f"{pounds(over)} over the bands of {pounds(sums.most_bands)}, which costs {pounds(cost)} at "
        f"{per_cent(year.figures.rate(_RATE))}. Check which money is best spent first.",
        ("estate",),
        figures=year.figures,
        rests_on=(_RATE, _COUNTS),
        money={
            "pensions": sums.pensions,
            "estate_and_pensions": sums.total,
            "over_the_bands": over,
            "bands": sums.most_bands,
            "extra_tax": cost,
        },
        cost=cost,
    )


@TOPIC.of_the_household(
    "pension_counts_later",
    "check",
    "The pension will count in the estate",
    "Before 6 April 2027, what is left in the pension would take the estate over its bands once it counts.",
    facts=(
        "estate.value",
        "estate.home_to_descendants",
        "estate.bands_of_late_spouse",
        "pension.uncrystallised",
        "pension.drawdown",
    ),
    sources=("Finance Act 2026 ss.66-71",),
    until=last_day_with("inheritance_tax.unused_pensions_in_estate", "no"),
    only="with_facts",
    after="estate_facts_decide",
)
def pension_counts_later(case: Circumstances, entry: Entry) -> Found:
    """The pension left is outside the estate for now, and will be inside."""
    estate, from_day = case.estate, case.pensions_in_estate_from
    if estate is None or from_day is None or estate.all_to_spouse:
        return ()
    sums = _sums(case, estate)
    later = sums.outside + sums.drawn + sums.pensions
    if sums.pensions_count or not sums.pensions or later <= sums.most_bands:
        return ()
    return entry.warn(
        f"For deaths from {from_day.isoformat()} unused pensions count in the estate: the {pounds(sums.pensions)} left "
        f"would bring it to {pounds(later)}, over the bands of {pounds(sums.most_bands)}. ISAs are inside before and "
        "after. Review what the pension is kept for.",
        ("estate",),
        figures=sums.year.figures,
        rests_on=(_COUNTS,),
        money={"pensions": sums.pensions, "estate_and_pensions": later, "bands": sums.most_bands},
    )


@TOPIC.of_the_household(
    "spouse_exemption_postpones",
    "check",
    "The spouse exemption only postpones",
    "All goes to the spouse, and what is left is more than the bands.",
    facts=("estate.value", "estate.all_to_spouse", "pension.uncrystallised"),
    sources=("Inheritance Tax Act 1984 ss.8A, 18",),
    only="with_facts",
)
def spouse_exemption_postpones(case: Circumstances, entry: Entry) -> Found:
    """All goes to the spouse, and is more than the bands."""
    estate = case.estate
    if estate is None or not estate.all_to_spouse:
        return ()
    sums = _sums(case, estate)
    if sums.total <= sums.least_bands:
        return ()
    return entry.warn(
        f"All goes to the spouse and is exempt, but the {pounds(sums.total)} left in {sums.year.name} is more than the "
        f"bands of {pounds(sums.least_bands)} and is taxed when the spouse dies, unless spent or given away. Plan for "
        "both deaths.",
        ("estate", "all_to_spouse"),
        figures=sums.year.figures,
        rests_on=(_NRB,),
        money={"estate_and_pensions": sums.total, "bands": sums.least_bands},
    )


@TOPIC.of_the_household(
    "spouse_exemption_not_given",
    "check",
    "Who inherits decides",
    "What is left is more than the bands, and whether it goes to a spouse is not given.",
    facts=("estate.all_to_spouse", "estate.value"),
    sources=("Inheritance Tax Act 1984 s.18",),
    only="with_facts",
)
def spouse_exemption_not_given(case: Circumstances, entry: Entry) -> Found:
    """What is left is more than the bands, and who inherits was not given."""
    estate = case.estate
    if estate is None or estate.all_to_spouse is not None:
        return ()
    sums = _sums(case, estate)
    if sums.total <= sums.most_bands:
        return ()
    return entry.warn(
        f"The {pounds(sums.total)} left in {sums.year.name} is more than the bands of {pounds(sums.most_bands)}. Whether "
        "it goes to a spouse or civil partner, and is exempt, was not given and decides. Ask who inherits.",
        ("estate", "all_to_spouse"),
        figures=sums.year.figures,
        money={"estate_and_pensions": sums.total, "bands": sums.most_bands},
    )


_ASKED = {
    "home_to_descendants": "whether a home goes to descendants",
    "bands_of_late_spouse": "whether the bands of a late spouse are left",
}
"""The facts that decide how large the bands are."""


def _missing(estate: Estate) -> list[str]:
    """The facts not given that decide how large the bands are."""
    return [name for name in _ASKED if getattr(estate, name) is None]


@TOPIC.of_the_household(
    "estate_facts_decide",
    "check",
    "Facts of the estate decide",
    "What is left is between the least and the most that the bands may be, and the facts that decide are not given.",
    facts=("estate.value", "estate.home_to_descendants", "estate.bands_of_late_spouse"),
    sources=("Inheritance Tax Act 1984 ss.8A, 8D-8M and Sch.1",),
    only="with_facts",
)
def estate_facts_decide(case: Circumstances, entry: Entry) -> Found:
    """What is left is between the least and the most that the bands may be."""
    estate = case.estate
    if estate is None or estate.all_to_spouse or not (missing := _missing(estate)):
        return ()
    sums = _sums(case, estate)
    if not sums.least_bands < sums.total <= sums.most_bands:
        return ()
    return entry.warn(
        f"What is left in {sums.year.name}, {pounds(sums.total)}, is more than {pounds(sums.least_bands)} and not more than "
        f"{pounds(sums.most_bands)}. Not given, {' and '.join(_ASKED[name] for name in missing)} decides on inheritance tax. "
        "Ask.",
        ("estate", missing[0]),
        figures=sums.year.figures,
        rests_on=(_NRB, _RNRB),
        money={"estate_and_pensions": sums.total, "least_bands": sums.least_bands, "most_bands": sums.most_bands},
    )


@TOPIC.of_the_household(
    "residence_band_tapered",
    "costs",
    "The residence nil-rate band is tapered",
    "The home goes to descendants, and the estate, from 6 April 2027 with the pension, is over the taper threshold.",
    facts=(
        "estate.value",
        "estate.home_to_descendants",
        "estate.bands_of_late_spouse",
        "pension.uncrystallised",
        "withdrawals.amount",
    ),
    sources=("Inheritance Tax Act 1984 s.8D(5)", "Finance Act 2026 ss.66-72"),
    only="with_facts",
)
def residence_band_tapered(case: Circumstances, entry: Entry) -> Found:
    """An estate over the threshold loses residence nil-rate band."""
    estate = case.estate
    if estate is None or not estate.home_to_descendants:
        return ()
    sums = _sums(case, estate)
    year = sums.year
    band = year.figures.money(_RNRB) * (2 if estate.bands_of_late_spouse else 1)
    lost = band - tapered(band, sums.total, year.figures.money(_TAPER))
    if not lost:
        return ()
    cost = 0 if estate.all_to_spouse else _tax_on(lost, year)
    return entry.warn(
        f"The estate of {pounds(sums.total)} in {year.name} is over {pounds(year.figures.money(_TAPER))}, so "
        f"{pounds(lost)} of the residence nil-rate band of {pounds(band)} is lost, which costs {pounds(cost)}. Gifts "
        "made in time bring it below.",
        ("estate", "value"),
        figures=year.figures,
        rests_on=(_TAPER,),
        money={"estate_and_pensions": sums.total, "band": band, "band_lost": lost, "extra_tax": cost},
        cost=cost,
    )


@TOPIC.of_the_household(
    "estate_not_given",
    "check",
    "The estate decides",
    "Pensions, ISAs and cash alone are more than the nil-rate band, and the estate is not given.",
    facts=("estate", "pension.uncrystallised", "cash", "isa.value"),
    sources=("Inheritance Tax Act 1984 ss.4, 7 and Sch.1", "Finance Act 2026 ss.66-72"),
    only="with_facts",
)
def estate_not_given(case: Circumstances, entry: Entry) -> Found:
    """What the household holds in pensions, ISAs and cash alone is more than the nil-rate band."""
    if not case.estate_asked or case.estate is not None:
        return ()
    year = case.last_year
    held = sum(one.years[-1].held_after for one in case.people) + case.cash_and_isas
    band = year.figures.money(_NRB)
    if held <= band:
        return ()
    return entry.warn(
        f"Pensions, ISAs and cash come to {pounds(held)} in {year.name}, more than the nil-rate band of {pounds(band)}. "
        "The rest of the estate and who inherits were not given and decide what inheritance tax these withdrawals cost "
        "or save. Ask.",
        ("estate",),
        figures=year.figures,
        rests_on=(_NRB,),
        money={"held": held},
    )


_TAXED_FROM = "pension.beneficiaries_taxed_from_age"


@TOPIC.of_a_person(
    "heirs_pay_income_tax",
    "check",
    "Heirs pay income tax",
    "The person has reached the age from which heirs pay income tax, and something is left in the pension.",
    facts=("date_of_birth", "pension.uncrystallised", "pension.drawdown"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    only="with_facts",
)
def heirs_pay_income_tax(case: PersonCase, entry: Entry) -> Found:
    """The age is reached from which heirs pay income tax on what is left."""
    year = case.years[-1]
    limit = year.figures.count(_TAXED_FROM)
    if not year.held_after or year.age < limit:
        return ()
    return entry.warn(
        f"{case.person.who} is {year.age} at the end of {year.name}: from {limit} on, heirs pay income tax at their own "
        f"rates on the {pounds(year.held_after)} left in the pension. Compare their rates with those paid now.",
        case.person.pension_path,
        figures=year.figures,
        rests_on=(_TAXED_FROM,),
        money={"pension_left": year.held_after},
        counts={"age": year.age},
    )


@TOPIC.of_a_person(
    "heirs_pay_income_tax_soon",
    "check",
    "Heirs will pay income tax soon",
    "The person is within a year of the age from which heirs pay income tax, and something is left in the pension.",
    facts=("date_of_birth", "pension.uncrystallised", "pension.drawdown"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    only="with_facts",
)
def heirs_pay_income_tax_soon(case: PersonCase, entry: Entry) -> Found:
    """The age from which heirs pay income tax is less than a year away."""
    year = case.years[-1]
    limit = year.figures.count(_TAXED_FROM)
    if not year.held_after or year.age != limit - 1:
        return ()
    return entry.warn(
        f"{case.person.who} reaches {limit} on {birthday(case.person.born, limit).isoformat()}. Until then heirs usually "
        f"receive the {pounds(year.held_after)} left in the pension without income tax, after it they pay at their own "
        "rates. Review before that day.",
        case.person.pension_path,
        figures=year.figures,
        rests_on=(_TAXED_FROM,),
        money={"pension_left": year.held_after},
    )


@TOPIC.of_the_household(
    "nominations_to_review",
    "check",
    "Review who is nominated",
    "No nomination is held, or it was last reviewed before unused pensions came to count in the estate.",
    facts=("pension.nomination", "pension.nomination_reviewed_on"),
    sources=(
        "Finance Act 2004 Sch.28 Part 2 (from memory)",
        "Finance Act 2026 ss.66-71",
        "Inheritance Tax Act 1984 s.18",
    ),
    only="with_facts",
)
def nominations_to_review(case: Circumstances, entry: Entry) -> Found:
    """No nomination is held, or it was made before unused pensions came to count in the estate."""
    told: Found = ()
    for one in case.people:
        facts, year = one.person.facts, one.years[-1]
        if facts is None or not year.held_after or facts.features.nomination is None:
            continue
        reviewed, changed = facts.features.nomination_reviewed_on, case.pensions_in_estate_from
        old = changed is not None and reviewed is not None and reviewed < changed <= year.last_day
        if facts.features.nomination != "none" and not old:
            continue
        detail = (
            f"No nomination is held for the {pounds(year.held_after)} left in the pension of {one.person.whose}: the "
            "scheme decides who receives it, within its rules. Complete the scheme's form."
            if facts.features.nomination == "none"
            else f"The nomination for the {pounds(year.held_after)} left in the pension of {one.person.whose} was last "
            "reviewed before unused pensions came to count in the estate. Review it with the will: what passes to a spouse "
            "is exempt."
        )
        told += entry.warn(
            detail,
            (*one.person.pension_path, "nomination"),
            figures=year.figures,
            money={"pension_left": year.held_after},
        )
    return told


_WINDOW = "pension.beneficiaries_window_years"


def _windows(case: Circumstances) -> Iterator[tuple[PersonCase, date]]:
    """The people who inherited from someone who died young enough, and the day on which the window ends."""
    for one in case.people:
        inherited = one.person.facts.inherited if one.person.facts is not None else None
        if inherited is not None and inherited.died_before_75:
            yield one, birthday(inherited.scheme_knew_on, one.years[0].figures.count(_WINDOW))


@TOPIC.of_the_household(
    "two_year_window_running",
    "check",
    "Two years to take the inherited pension",
    "A pension was inherited from someone who died before 75, and two years since the scheme knew have not ended.",
    facts=("inherited_pension.scheme_knew_on", "inherited_pension.died_before_75", "date"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    only="with_facts",
)
def two_year_window_running(case: Circumstances, entry: Entry) -> Found:
    """Days are left to take an inherited pension free of income tax."""
    told: Found = ()
    for one, ends in _windows(case):
        if case.today is None or case.today >= ends:
            continue
        figures, days = one.years[0].figures, (ends - case.today).days
        told += entry.warn(
            "The inherited pension is free of income tax only if it is paid or designated within "
            f"{figures.count(_WINDOW)} years of the day the scheme knew of the death: before {ends.isoformat()}; days "
            f"left: {days}. Choose before that day.",
            (*one.person.path, "inherited_pension"),
            figures=figures,
            rests_on=(_WINDOW,),
            counts={"days_left": days},
        )
    return told


@TOPIC.of_the_household(
    "two_year_window_passed",
    "costs",
    "The two years for the inherited pension have ended",
    "A pension was inherited from someone who died before 75, and two years since the scheme knew have ended.",
    facts=("inherited_pension.scheme_knew_on", "inherited_pension.died_before_75", "date"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    only="with_facts",
)
def two_year_window_passed(case: Circumstances, entry: Entry) -> Found:
    """The window has ended."""
    told: Found = ()
    for one, ends in _windows(case):
        if case.today is None or case.today < ends:
            continue
        figures = one.years[0].figures
        told += entry.warn(
            f"The {figures.count(_WINDOW)} years for taking the inherited pension without income tax ended on "
            f"{ends.isoformat()}: what was not paid or designated by then is taxed as income. Check with the scheme what "
            "was designated.",
            (*one.person.path, "inherited_pension"),
            figures=figures,
            rests_on=(_WINDOW,),
        )
    return told
