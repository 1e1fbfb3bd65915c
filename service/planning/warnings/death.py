"""What is left at death: whether the pension counts in the estate, and who pays income tax on it.

Inheritance Tax Act 1984 ss.8A-8M, 18 and 150A; Finance Act 2026 ss.66-72; ITEPA 2003 ss.637H-637M. Only thresholds and
simple sums: the bands of one estate against its value, everything else about the tax left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from typing import NamedTuple

from service.law.ages import age_on, birthday
from service.law.dates import day_month_year
from service.law.inheritance_tax import gift_counts, tapered
from service.law.rounding import down_to_the_penny
from service.law.units import WHOLE, BasisPoints, Pence
from service.planning.warnings.circumstances import Circumstances, Estate, PersonCase, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with, last_day_with
from service.planning.warnings.warning import Found, Unit
from service.planning.wording import listed, per_cent, pounds, starting

TOPIC: Topic = Topic()

_NRB, _RNRB, _TAPER, _RATE = (
    "inheritance_tax.nil_rate_band",
    "inheritance_tax.residence_nil_rate_band",
    "inheritance_tax.residence_taper_threshold",
    "inheritance_tax.rate",
)
_GIFT_EXEMPTION, _GIFT_YEARS = "inheritance_tax.annual_gift_exemption", "inheritance_tax.gift_years"
_COUNTS = "inheritance_tax.unused_pensions_in_estate"
_TAXED_FROM = "pension.beneficiaries_taxed_from_age"
_WINDOW = "pension.beneficiaries_window_years"


class Sums(NamedTuple):
    """An estate after the last withdrawals; pence. ``least_bands`` and ``most_bands`` differ where facts are missing. Of a
    couple it is what the second to die leaves, and the bands are those of both."""

    year: YearFacts
    outside: Pence
    drawn: Pence
    pensions: Pence
    pensions_count: bool
    least_bands: Pence
    most_bands: Pence

    @property
    def bands_in_words(self) -> str:
        """The tax-free bands as a sentence measures an estate against them: the largest that they may be."""
        largest = "largest possible " if self.least_bands < self.most_bands else ""
        return f"{largest}tax-free bands of {pounds(self.most_bands)}"

    @property
    def total(self) -> Pence:
        """All that counts."""
        return self.outside + self.drawn + (self.pensions if self.pensions_count else 0)


def _sums(case: Circumstances, estate: Estate, *, with_pensions: bool = False) -> Sums:
    """An estate in the last year looked at; ``with_pensions``: as if unused pensions counted already."""
    year, drawn = case.last_year, case.drawn_after_tax
    pensions = sum(one.years[-1].held_after for one in case.people)
    count = with_pensions or year.figures.text(_COUNTS) == "yes"
    total = estate.value + drawn + (pensions if count else 0)
    least = _bands(case, estate, total, unknown=0)
    most = _bands(case, estate, total, unknown=WHOLE)
    return Sums(year, estate.value, drawn, pensions, count, least, most)


def _each_apart(case: Circumstances, estate: Estate) -> bool:
    """Whether each of a couple leaves an estate of their own to others: half of all, as in lump sum timing where no share is
    given."""
    return len(case.people) > 1 and estate.all_to_spouse is False


def _of_both(estate: Estate) -> Estate:
    """The estate on the second death: what the first leaves of the bands unused serves it too (ss.8A, 8G), here all of them."""
    return replace(estate, nil_rate_band_brought_forward=WHOLE, residence_nil_rate_band_brought_forward=WHOLE)


def _bands(case: Circumstances, estate: Estate, total: Pence, *, unknown: BasisPoints) -> Pence:
    """The bands of an estate, or of two equal ones; what is not known of them is taken to be there to a share, all or nothing.

    Where one person leaves all to a spouse, they are the bands of the survivor, who is taken to leave as much: the taper of the
    first estate leaves less of its residence band to bring forward (s.8G), and that of the second comes off both.
    """
    year = case.last_year
    one_of_two = len(case.people) == 1 and estate.all_to_spouse is True
    of = _of_both(estate) if one_of_two or len(case.people) > 1 else estate
    band = _with_brought_forward(year.figures.money(_NRB), of.nil_rate_band_brought_forward, unknown)
    band -= _used_by_gifts(case, estate, band if of is estate else year.figures.money(_NRB))
    to_descendants = unknown > 0 if estate.home_to_descendants is None else estate.home_to_descendants
    if not to_descendants:
        return band
    threshold = year.figures.money(_TAPER)
    residence, estates = _residence_band(year, of, unknown), 2 if _each_apart(case, estate) else 1
    if one_of_two:
        own = year.figures.money(_RNRB)
        residence = own + min(own, tapered(_residence_band(year, estate, unknown), total, threshold))
    return band + estates * tapered(residence // estates, total // estates, threshold)


def _used_by_gifts(case: Circumstances, estate: Estate, most_of_each: Pence) -> Pence:
    """What the gifts of the seven years before a death use of the nil-rate bands (s.7), of each giver's at most so much; pence.
    The day of the death is the first of the last year looked at, or today if that is later: our choice."""
    year = case.last_year
    day = year.figures.start if case.today is None else max(case.today, year.figures.start)
    by_giver: dict[int | None, Pence] = {}
    for gift in estate.gifts or ():
        if gift_counts(gift.day, day, year.rules.inheritance_tax):
            by_giver[gift.giver] = by_giver.get(gift.giver, 0) + gift.amount
    return sum(min(given, most_of_each) for given in by_giver.values())


def _residence_band(year: YearFacts, estate: Estate, unknown: BasisPoints) -> Pence:
    return _with_brought_forward(year.figures.money(_RNRB), estate.residence_nil_rate_band_brought_forward, unknown)


def _with_brought_forward(band: Pence, share: BasisPoints | None, unknown: BasisPoints) -> Pence:
    """A band with the share of one that an earlier death left unused; pence."""
    return band + down_to_the_penny(band * (unknown if share is None else share))


def _tax_on(part: Pence, year: YearFacts) -> Pence:
    return down_to_the_penny(part * year.figures.rate(_RATE))


_ASKED = {
    "home_to_descendants": "whether a home passes to descendants",
    "nil_rate_band_brought_forward": "whether a spouse who has died left unused bands",
}
"""The facts on which the size of the bands depends."""


def _missing(case: Circumstances, estate: Estate) -> list[str]:
    """The facts not given on which the size of the bands depends; no earlier death serves a couple besides their own."""
    both = len(case.people) > 1 or estate.all_to_spouse is True
    asked = ["home_to_descendants"] if both else list(_ASKED)
    return [name for name in asked if getattr(estate, name) is None]


def _dying(case: Circumstances) -> str:
    """The death that is meant, as the start of a sentence."""
    return "If both people die" if len(case.people) > 1 else f"If {case.people[0].person.you} die"


def _adds(case: Circumstances, estate: Estate, what: str, amount: Pence, least: Pence, most: Pence) -> str:
    """A sentence on the tax that an amount adds, from the least to the most where facts are missing, and on those that are."""
    unless = ""
    if estate.all_to_spouse is None and len(case.people) == 1:
        unless = "if none of it passes to a spouse or civil partner, "
    tax = pounds(most) if least == most else f"between {pounds(least)} and {pounds(most)}"
    rate = per_cent(case.last_year.figures.rate(_RATE))
    added = starting(f"{unless}{what} would add {tax} of inheritance tax, {rate}.")
    if least != most:
        added += _not_told(case, estate)
    if estate.some_to_charity:
        added += " What passes to charity is exempt, which is not counted here."
    if _each_apart(case, estate):
        added += " Each person is taken to own half of everything, pensions included."
    if estate.gifts is None and most < _tax_on(amount, case.last_year):
        years = case.last_year.figures.count(_GIFT_YEARS)
        added += f" Gifts in the {years} years before death can raise this; we were not told of any."
    return added


def _not_told(case: Circumstances, estate: Estate) -> str:
    """A sentence on the facts that are missing; empty where none is."""
    missing = [_ASKED[name] for name in _missing(case, estate)]
    return f" That depends on {listed(missing)}. We were not told." if missing else ""


class Combined(NamedTuple):
    """What inheritance tax and then income tax take together of money that bears all of the first: in ``words`` and as
    ``rates`` by name, basis points."""

    words: str
    rates: dict[str, BasisPoints]


def _combined(year: YearFacts) -> Combined:
    """Both taxes: income tax is on what inheritance tax leaves (Income Tax (Earnings and Pensions) Act 2003 s.567B). Where the
    bands cover a part of the estate, the pension bears less than the whole rate: its share of the tax by value."""
    first = year.figures.rate(_RATE)
    own = [band.rate for band in year.figures.bands("income_tax.bands_england")]
    both = [first + (WHOLE - first) * rate // WHOLE for rate in own]
    return Combined(
        f"On money that bears the full {per_cent(first)}, those taxed at {listed([per_cent(rate) for rate in own], 'or')} would "
        f"lose {listed([per_cent(rate) for rate in both], 'or')} in all.",
        {f"lost_by_{name}": rate for name, rate in zip(_PAYERS, both, strict=True)},
    )


_PAYERS = ("basic_rate_taxpayer", "higher_rate_taxpayer", "additional_rate_taxpayer")
_LOST: dict[str, Unit] = {f"lost_by_{name}": "fraction" for name in _PAYERS}


@TOPIC.of_the_household(
    "withdrawal_enters_the_estate",
    "check",
    "Withdrawn money is included in the estate",
    "Before 6 April 2027, what is drawn takes the estate above its tax-free bands. The pension left, which counts from "
    "that day on, is told with it.",
    facts=(
        "estate.home",
        "estate.home_to_descendants",
        "estate.nil_rate_band_brought_forward",
        "estate.lifetime_gifts",
        "estate.charity_share",
        "withdrawals.amount",
    ),
    sources=("Inheritance Tax Act 1984 ss.1, 4, 7, 8D-8M and Sch.1", "Finance Act 2026 ss.66-71"),
    figures={
        "drawn_after_tax": "pounds",
        "drawn_above_tax_free_bands": "pounds",
        "tax_free_bands": "pounds",
        "extra_inheritance_tax": "pounds",
        "largest_extra_inheritance_tax": "pounds",
        "inheritance_tax_rate": "fraction",
        "unused_pensions": "pounds",
        "whole_estate_with_pensions": "pounds",
    },
    until=last_day_with("inheritance_tax.unused_pensions_in_estate", "no"),
    only="with_facts",
    severity="on_death",
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
    most = _tax_on(min(sums.total - sums.least_bands, sums.drawn), year)
    some = "All" if above == sums.drawn else pounds(above)
    until, later = case.pensions_in_estate_from, ""
    when = f"in {year.name}" if until is None else f"before {day_month_year(until)}"
    money: dict[str, Pence] = {}
    with_pensions = _sums(case, estate, with_pensions=True)
    if until is not None and with_pensions.pensions:
        later = (
            f" From {day_month_year(until)} unused pensions are included too. The {pounds(with_pensions.pensions)} left would "
            f"bring the estate to {pounds(with_pensions.total)}."
        )
        money = {"unused_pensions": with_pensions.pensions, "whole_estate_with_pensions": with_pensions.total}
    return entry.warn(
        f"{_dying(case)} {when}, pensions are usually outside the estate. Money withdrawn and not spent is inside it, even in an "
        f"ISA. {some} of the {pounds(sums.drawn)} drawn is above the {sums.bands_in_words}. "
        f"{_adds(case, estate, 'the money', sums.drawn, cost, most)}{later}",
        ("household", "estate"),
        figures=year.figures,
        rests_on=(_RATE, _COUNTS),
        money={
            "drawn_after_tax": sums.drawn,
            "drawn_above_tax_free_bands": above,
            "tax_free_bands": sums.most_bands,
            "extra_inheritance_tax": cost,
            **({"largest_extra_inheritance_tax": most} if most > cost else {}),
            **money,
        },
        cost=cost,
    )


@TOPIC.of_the_household(
    "pension_counts_in_the_estate",
    "check",
    "The pension is included in the estate",
    "From 6 April 2027, the unused pension takes the estate above its tax-free bands.",
    facts=(
        "estate.home",
        "estate.home_to_descendants",
        "estate.nil_rate_band_brought_forward",
        "estate.lifetime_gifts",
        "estate.charity_share",
        "pensions.uncrystallised",
        "date_of_birth",
        "pensions.drawdown",
    ),
    sources=(
        "Finance Act 2026 ss.66-71",
        "Inheritance Tax Act 1984 ss.7, 150A",
        "Income Tax (Earnings and Pensions) Act 2003 s.567B",
    ),
    figures={
        "unused_pensions": "pounds",
        "whole_estate": "pounds",
        "above_tax_free_bands": "pounds",
        "tax_free_bands": "pounds",
        "extra_inheritance_tax": "pounds",
        "largest_extra_inheritance_tax": "pounds",
        "inheritance_tax_rate": "fraction",
        **_LOST,
    },
    since=first_day_with("inheritance_tax.unused_pensions_in_estate", "yes"),
    only="with_facts",
    severity="on_death",
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
    most = _tax_on(min(sums.total - sums.least_bands, sums.pensions), year)
    limit, both = year.figures.count(_TAXED_FROM), ""
    old = any(one.years[-1].held_after and one.years[-1].age >= limit for one in case.people)
    if old:
        both = f" On a death at {limit} or later, beneficiaries who bear it pay income tax on the rest. {_combined(year).words}"
    return entry.warn(
        f"{_dying(case)} in {year.name}, unused pension funds are included in the estate. With {pounds(sums.pensions)} of "
        f"them, the estate is {pounds(sums.total)}, {pounds(over)} above the {sums.bands_in_words}. "
        f"{_adds(case, estate, 'the funds', sums.pensions, cost, most)}{both}",
        ("household", "estate"),
        figures=year.figures,
        rests_on=(_RATE, _COUNTS),
        money={
            "unused_pensions": sums.pensions,
            "whole_estate": sums.total,
            "above_tax_free_bands": over,
            "tax_free_bands": sums.most_bands,
            "extra_inheritance_tax": cost,
            **({"largest_extra_inheritance_tax": most} if most > cost else {}),
        },
        rates=_combined(year).rates if old else {},
        cost=cost,
    )


@TOPIC.of_the_household(
    "pension_counts_later",
    "check",
    "The pension joins the estate in 2027",
    "Before 6 April 2027, the unused pension would take the estate above its tax-free bands once it is included. What "
    "is drawn does not do so already.",
    facts=(
        "estate.home",
        "estate.home_to_descendants",
        "estate.nil_rate_band_brought_forward",
        "pensions.uncrystallised",
        "pensions.drawdown",
    ),
    sources=("Finance Act 2026 ss.66-71",),
    figures={"unused_pensions": "pounds", "whole_estate_with_pensions": "pounds", "tax_free_bands": "pounds"},
    until=last_day_with("inheritance_tax.unused_pensions_in_estate", "no"),
    only="with_facts",
    after="estate_facts_decide",
    severity="on_death",
)
def pension_counts_later(case: Circumstances, entry: Entry) -> Found:
    """The pension left is outside the estate for now, and will be inside."""
    estate, from_day = case.estate, case.pensions_in_estate_from
    if estate is None or from_day is None or estate.all_to_spouse:
        return ()
    sums = _sums(case, estate, with_pensions=True)
    if case.last_year.figures.text(_COUNTS) == "yes" or not sums.pensions or sums.total <= sums.most_bands:
        return ()
    now = _sums(case, estate)
    if now.drawn and now.total > now.most_bands:
        return ()
    exempt = "" if estate.all_to_spouse is False else " What passes to a spouse or civil partner is exempt."
    return entry.warn(
        f"For deaths on or after {day_month_year(from_day)}, unused pension funds are included in the estate. The "
        f"{pounds(sums.pensions)} left would bring it to {pounds(sums.total)}, above the {sums.bands_in_words}. ISAs are "
        f"included before and after.{exempt}",
        ("household", "estate"),
        figures=sums.year.figures,
        rests_on=(_COUNTS,),
        money={
            "unused_pensions": sums.pensions,
            "whole_estate_with_pensions": sums.total,
            "tax_free_bands": sums.most_bands,
        },
    )


@TOPIC.of_the_household(
    "spouse_exemption_postpones",
    "check",
    "Inheritance tax may arise later",
    "Everything passes to the spouse, and what remains is more than the tax-free bands of both.",
    facts=(
        "estate.home",
        "estate.home_to_descendants",
        "estate.first_death",
        "estate.spouses",
        "pensions.uncrystallised",
    ),
    sources=("Inheritance Tax Act 1984 ss.8A, 8G, 18",),
    figures={
        "whole_estate": "pounds",
        "tax_free_bands": "pounds",
        "largest_tax_free_bands": "pounds",
        "inheritance_tax_nil_rate_band": "pounds",
    },
    only="with_facts",
    severity="on_death",
)
def spouse_exemption_postpones(case: Circumstances, entry: Entry) -> Found:
    """All goes to the spouse, and is more than the bands that the survivor has: their own, and all of the first to die."""
    estate = case.estate
    if estate is None or not estate.all_to_spouse:
        return ()
    sums = _sums(case, estate)
    if sums.total <= sums.least_bands:
        return ()
    bands, more = f"{pounds(sums.least_bands)}, the tax-free bands of both", ""
    money = {"whole_estate": sums.total, "tax_free_bands": sums.least_bands}
    if sums.least_bands < sums.most_bands:
        money["largest_tax_free_bands"] = sums.most_bands
        bands = f"{pounds(sums.least_bands)}, the smallest possible tax-free bands of both"
        more = f" They can be up to {pounds(sums.most_bands)}.{_not_told(case, estate)}"
    return entry.warn(
        "Everything passes to the spouse or civil partner and is exempt. It may be taxed when the survivor dies. The "
        f"{pounds(sums.total)} left in {sums.year.name} is more than {bands}.{more}",
        ("household", "estate", "first_death"),
        figures=sums.year.figures,
        rests_on=(_NRB,),
        money=money,
        caveats=("The exemption is limited if the spouse or civil partner is not a long-term UK resident.",),
    )


@TOPIC.of_the_household(
    "spouse_exemption_not_given",
    "check",
    "Who inherits matters",
    "What one person leaves is more than the bands, and whether it passes to a spouse is not given. No other warning of "
    "the estate says so.",
    facts=("estate.first_death", "estate.home"),
    sources=("Inheritance Tax Act 1984 s.18",),
    figures={"whole_estate": "pounds", "tax_free_bands": "pounds"},
    only="with_facts",
    severity="on_death",
)
def spouse_exemption_not_given(case: Circumstances, entry: Entry) -> Found:
    """What is left is more than the bands, and who inherits was not given. What is drawn, and what counts of the pension,
    is told of with it."""
    estate = case.estate
    if estate is None or estate.all_to_spouse is not None or len(case.people) > 1:
        return ()
    sums = _sums(case, estate)
    if sums.total <= sums.most_bands or (sums.pensions if sums.pensions_count else sums.drawn or sums.pensions):
        return ()
    return entry.warn(
        f"The {pounds(sums.total)} left in {sums.year.name} is more than the {sums.bands_in_words}. What passes to a spouse "
        "or civil partner is exempt. We were not told who inherits.",
        ("household", "estate", "first_death"),
        figures=sums.year.figures,
        not_given=True,
        money={"whole_estate": sums.total, "tax_free_bands": sums.most_bands},
    )


@TOPIC.of_the_household(
    "estate_facts_decide",
    "check",
    "Some facts of the estate are missing",
    "What remains lies between the smallest and the largest possible tax-free bands, and the facts that set them "
    "are not given.",
    facts=("estate.home", "estate.home_to_descendants", "estate.nil_rate_band_brought_forward"),
    sources=("Inheritance Tax Act 1984 ss.8A, 8D-8M and Sch.1",),
    figures={
        "whole_estate": "pounds",
        "smallest_tax_free_bands": "pounds",
        "largest_tax_free_bands": "pounds",
        "inheritance_tax_nil_rate_band": "pounds",
        "inheritance_tax_residence_nil_rate_band": "pounds",
    },
    only="with_facts",
    severity="on_death",
)
def estate_facts_decide(case: Circumstances, entry: Entry) -> Found:
    """What is left is between the least and the most that the bands may be."""
    estate = case.estate
    if estate is None or estate.all_to_spouse or not (missing := _missing(case, estate)):
        return ()
    sums = _sums(case, estate)
    if not sums.least_bands < sums.total <= sums.most_bands:
        return ()
    return entry.warn(
        f"The {pounds(sums.total)} left in {sums.year.name} is above the smallest possible tax-free bands "
        f"({pounds(sums.least_bands)}), but not above the largest ({pounds(sums.most_bands)}). Whether tax is "
        f"due depends on {listed([_ASKED[name] for name in missing])}. We were not told.",
        ("household", "estate", missing[0]),
        figures=sums.year.figures,
        not_given=True,
        rests_on=(_NRB, _RNRB),
        money={
            "whole_estate": sums.total,
            "smallest_tax_free_bands": sums.least_bands,
            "largest_tax_free_bands": sums.most_bands,
        },
    )


@TOPIC.of_the_household(
    "residence_band_tapered",
    "check",
    "The residence nil-rate band is reduced",
    "The home passes to descendants, and the estate, from 6 April 2027 with the pension, is above the taper threshold.",
    facts=(
        "estate.home",
        "estate.home_to_descendants",
        "estate.nil_rate_band_brought_forward",
        "pensions.uncrystallised",
        "withdrawals.amount",
    ),
    sources=("Inheritance Tax Act 1984 s.8D(5)", "Finance Act 2026 ss.66-72"),
    figures={
        "whole_estate": "pounds",
        "residence_band_before_taper": "pounds",
        "residence_band_lost": "pounds",
        "extra_inheritance_tax": "pounds",
        "inheritance_tax_residence_taper_threshold": "pounds",
    },
    only="with_facts",
    severity="on_death",
)
def residence_band_tapered(case: Circumstances, entry: Entry) -> Found:
    """An estate over the threshold loses residence nil-rate band."""
    estate = case.estate
    if estate is None or not estate.home_to_descendants or _each_apart(case, estate):
        return ()
    sums = _sums(case, estate)
    year = sums.year
    band = _residence_band(year, _of_both(estate) if len(case.people) > 1 else estate, 0)
    lost = band - tapered(band, sums.total, year.figures.money(_TAPER))
    if not lost:
        return ()
    money = {"whole_estate": sums.total, "residence_band_before_taper": band, "residence_band_lost": lost}
    cost = 0
    effect = ". What remains of the band can be used when the spouse or civil partner dies."
    if not estate.all_to_spouse or len(case.people) > 1:
        cost = money["extra_inheritance_tax"] = _tax_on(lost, year)
        effect = f", which adds {pounds(cost)} of inheritance tax."
    return entry.warn(
        f"{_dying(case)} in {year.name}, the estate of {pounds(sums.total)} is above {pounds(year.figures.money(_TAPER))}. "
        f"{pounds(lost)} of the residence nil-rate band of {pounds(band)} is lost{effect}",
        ("household", "estate"),
        figures=year.figures,
        rests_on=(_TAPER,),
        money=money,
        cost=cost,
    )


@TOPIC.of_the_household(
    "gifts_within_seven_years",
    "check",
    "Gifts count for seven years",
    "A gift above the yearly exemption is planned, and the estate is above its smallest tax-free bands with it, or not given.",
    facts=("circumstances.gifts_planned", "estate.home"),
    sources=("Inheritance Tax Act 1984 ss.3A, 7, 19, 21",),
    figures={
        "gifts_planned": "pounds",
        "inheritance_tax_annual_gift_exemption": "pounds",
        "inheritance_tax_gift_years": "years",
    },
    only="with_facts",
    severity="on_death",
)
def gifts_within_seven_years(case: Circumstances, entry: Entry) -> Found:
    """A gift that counts in the estate of whoever dies within the years."""
    told: Found = ()
    for one in case.people:
        given = one.person.facts.gifts_planned if one.person.facts is not None else None
        year = case.last_year
        if not given or given <= year.figures.money(_GIFT_EXEMPTION):
            continue
        if case.estate is not None:
            sums = _sums(case, case.estate)
            if sums.total <= sums.least_bands:
                continue
        person = one.person
        told += entry.warn(
            f"{pounds(given)} is to be given away. A gift is usually outside the estate only if {person.you} "
            f"{person.does('live', 'lives')} {year.figures.count(_GIFT_YEARS)} years after it. Gifts of "
            f"{pounds(year.figures.money(_GIFT_EXEMPTION))} a tax year are exempt at once. So are regular gifts out of income "
            "that leave enough to live on as before.",
            (*person.path, "circumstances", "gifts_planned"),
            about=person,
            figures=year.figures,
            rests_on=(_GIFT_EXEMPTION, _GIFT_YEARS),
            money={"gifts_planned": given},
        )
    return told


@TOPIC.of_the_household(
    "estate_not_given",
    "check",
    "The estate may be taxed",
    "Pensions, ISAs and cash alone are more than the nil-rate band, and the estate is not given.",
    facts=("estate", "pensions.uncrystallised", "cash", "isa.value"),
    sources=("Inheritance Tax Act 1984 ss.4, 7 and Sch.1", "Finance Act 2026 ss.66-72"),
    figures={"pensions_isas_and_cash": "pounds", "inheritance_tax_nil_rate_band": "pounds"},
    only="with_facts",
    severity="on_death",
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
        f"Pensions, ISAs and cash come to {pounds(held)} in {year.name}, more than the nil-rate band of {pounds(band)}. We "
        "were not told the rest of the estate or who inherits. Both affect inheritance tax.",
        ("household", "estate"),
        figures=year.figures,
        not_given=True,
        in_notice="We were not told the rest of the estate or who inherits, which affect inheritance tax.",
        rests_on=(_NRB,),
        money={"pensions_isas_and_cash": held},
    )


def _still_held(case: Circumstances, *, taxed: bool) -> Iterator[tuple[PersonCase, YearFacts]]:
    """The people who leave pension money, in the last year looked at: of them those who have reached the age from which it is
    taxed, or those who reach it by the end of that year or within a year of today."""
    for one in case.people:
        year = one.years[-1]
        limit = year.figures.count(_TAXED_FROM)
        age = year.age if case.today is None else age_on(one.person.born, case.today)
        if year.held_after and (age >= limit if taxed else age < limit <= max(age + 1, year.age)):
            yield one, year


@TOPIC.of_the_household(
    "beneficiaries_pay_income_tax",
    "check",
    "Beneficiaries would pay income tax",
    "The person has reached 75, and funds remain in the pension.",
    facts=("date_of_birth", "date", "pensions.uncrystallised", "pensions.drawdown"),
    sources=(
        "Income Tax (Earnings and Pensions) Act 2003 ss.567B, 637H-637M",
        "Taxation of Pensions Act 2014 Sch.2",
    ),
    figures={
        "pension_left": "pounds",
        "age_at_end_of_tax_year": "age",
        "beneficiaries_taxed_from_age": "age",
    },
    of_one_pension=True,
    only="with_facts",
    severity="on_death",
)
def beneficiaries_pay_income_tax(case: Circumstances, entry: Entry) -> Found:
    """The age is reached from which beneficiaries pay income tax on what is left."""
    told: Found = ()
    for one, year in _still_held(case, taxed=True):
        limit = year.figures.count(_TAXED_FROM)
        counts = year.figures.text(_COUNTS) == "yes"
        first = " Inheritance tax that they bear on it is deducted first." if counts else ""
        told += entry.warn(
            f"{one.person.who} {one.person.does('have', 'has')} reached age {limit}. If {one.person.you} "
            f"{one.person.does('die', 'dies')}, beneficiaries pay income tax at their own rates on what they receive from the "
            f"{pounds(year.held_after)} left in the pension.{first}",
            one.person.pension_path,
            about=one.person,
            figures=year.figures,
            rests_on=(_TAXED_FROM,),
            money={"pension_left": year.held_after},
            counts={"age_at_end_of_tax_year": year.age},
        )
    return told


@TOPIC.of_the_household(
    "beneficiaries_pay_income_tax_soon",
    "check",
    "Beneficiaries would pay income tax from 75",
    "The person turns 75 within a year or by the end of the last tax year looked at, and funds remain in the pension.",
    facts=("date_of_birth", "date", "pensions.uncrystallised", "pensions.drawdown"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    figures={"pension_left": "pounds", "beneficiaries_taxed_from_age": "age"},
    of_one_pension=True,
    only="with_facts",
    severity="on_death",
)
def beneficiaries_pay_income_tax_soon(case: Circumstances, entry: Entry) -> Found:
    """The age from which beneficiaries pay income tax is less than a year away."""
    told: Found = ()
    for one, year in _still_held(case, taxed=False):
        limit = year.figures.count(_TAXED_FROM)
        told += entry.warn(
            f"{one.person.who} will turn {limit} on {day_month_year(birthday(one.person.born, limit))}. On a death before then, "
            f"the {pounds(year.held_after)} left can usually be paid free of income tax if it is paid within "
            f"{year.figures.count(_WINDOW)} years. From then on, beneficiaries pay income tax at their own rates.",
            one.person.pension_path,
            about=one.person,
            figures=year.figures,
            rests_on=(_TAXED_FROM,),
            money={"pension_left": year.held_after},
        )
    return told


@TOPIC.of_the_household(
    "nominations_to_review",
    "check",
    "Check who is nominated",
    "No nomination is held, or it was last reviewed before unused pensions are included in the estate.",
    facts=("pensions.nomination", "pensions.nomination_reviewed_on"),
    sources=(
        "Finance Act 2004 Sch.28 Part 2",
        "Finance Act 2026 ss.66-71",
        "Inheritance Tax Act 1984 s.18",
    ),
    figures={"pension_left": "pounds"},
    of_one_pension=True,
    only="with_facts",
    severity="on_death",
)
def nominations_to_review(case: Circumstances, entry: Entry) -> Found:
    """No nomination is held, or it was made before unused pensions came to count in the estate."""
    told: Found = ()
    for one in (pension for person in case.people for pension in person.pensions):
        year, features = one.years[-1], one.features
        if not year.held_after or features.nomination is None:
            continue
        reviewed, changed = features.nomination_reviewed_on, case.pensions_in_estate_from
        old = changed is not None and reviewed is not None and reviewed < changed <= year.last_day
        if features.nomination != "none" and not old:
            continue
        detail = (
            f"The scheme holds no nomination for the {pounds(year.held_after)} left in {one.person.your} pension. Within its "
            f"rules, it chooses who receives the money. {one.person.who} could complete its nomination form."
            if features.nomination == "none"
            else f"The nomination for the {pounds(year.held_after)} left in {one.person.your} pension was last reviewed before "
            "unused pensions are included in the estate. What passes to a spouse or civil partner is exempt. It could be "
            "reviewed together with the will."
        )
        told += entry.warn(
            detail,
            (*one.path, "nomination"),
            about=one.person,
            figures=year.figures,
            money={"pension_left": year.held_after},
        )
    return told


def _windows(case: Circumstances) -> Iterator[tuple[PersonCase, date]]:
    """The people who inherited from someone who died young enough, and the day on which the window ends."""
    for one in case.people:
        inherited = one.person.facts.inherited if one.person.facts is not None else None
        if inherited is not None and inherited.died_before_75:
            yield one, birthday(inherited.scheme_knew_on, one.years[0].figures.count(_WINDOW))


@TOPIC.of_the_household(
    "two_year_window_running",
    "check",
    "Two years for the inherited pension",
    "A pension was inherited from someone who died before 75, and the two years have not ended.",
    facts=("circumstances.inherited_pension.scheme_knew_on", "circumstances.inherited_pension.died_before_75", "date"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    figures={"days_left_in_window": "days", "beneficiaries_window_years": "years"},
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
            "The inherited pension is free of income tax if it is paid or moved to drawdown by "
            f"{day_month_year(ends - timedelta(days=1))}. That is {figures.count(_WINDOW)} years from when the scheme first "
            f"knew of the death. Days left: {days}. Drawdown from funds that were already in drawdown has no such limit.",
            (*one.person.path, "circumstances", "inherited_pension"),
            about=one.person,
            figures=figures,
            rests_on=(_WINDOW,),
            counts={"days_left_in_window": days},
        )
    return told


@TOPIC.of_the_household(
    "two_year_window_passed",
    "costs",
    "The two years have ended",
    "A pension was inherited from someone who died before 75, and the two years have ended.",
    facts=("circumstances.inherited_pension.scheme_knew_on", "circumstances.inherited_pension.died_before_75", "date"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    figures={"beneficiaries_window_years": "years"},
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
            f"The {figures.count(_WINDOW)} years for the inherited pension ended on {day_month_year(ends - timedelta(days=1))}. "
            "What was not paid or moved to drawdown by then is taxed as income. Drawdown from funds that were already in "
            "drawdown is not. Ask the scheme what was done in time.",
            (*one.person.path, "circumstances", "inherited_pension"),
            about=one.person,
            figures=figures,
            rests_on=(_WINDOW,),
        )
    return told
