"""The warnings that lump sum timing carries: those of each option, and of the deaths asked about.

The rules are those of every other answer. What one says of several options in the same words is said once, with the places
of those options; what it says of all of them has none.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from service.law import lump_sums
from service.law.ages import age_on
from service.law.dates import day_month_year
from service.law.lump_sums import Payment, Pension
from service.law.pension_age import may_take_benefits
from service.law.rounding import down_to_the_penny
from service.law.units import Pence, Years
from service.planning.household import Member, Path
from service.planning.timing.comparison import OptionPeriod, OptionPerson, OptionResult, Timing
from service.planning.warnings import access
from service.planning.warnings.circumstances import (
    Circumstances,
    OptionFacts,
    PersonCase,
    PersonFacts,
    Taken,
    Together,
    YearFacts,
)
from service.planning.warnings.household_facts import from_the_first_age, partner_in, person_facts, settled_year
from service.planning.warnings.registry import CATALOGUE, all_found, found_in_option, the_first_of_each
from service.planning.warnings.warning import ClientWarning, in_order
from service.planning.wording import pounds

_IN_ANY_TAX_YEAR = ("money_purchase_annual_allowance_triggered",)
"""What is the same in whichever tax year an option first takes income flexibly."""

_LUMP_SUM_FIRST = ("all_now", "phased", "at_age")
"""The options that take tax-free cash on days of its own."""


def timing_warnings(result: Timing) -> list[ClientWarning]:
    """The warnings of all options and deaths: what is not permitted, costs by amount, then what to check."""
    by_option = {
        k: tuple(the_first_of_each(_of_option(result, k, option)))
        for k, option in enumerate(result.options)
        if option.course is not None
    }
    return in_order([*told_once(by_option), *_of_deaths(result)])


def told_once(by_option: Mapping[int, Iterable[ClientWarning]]) -> Iterator[ClientWarning]:
    """The warnings of options by their places, with what several say in the same words said once.

    What flexible access brings is said once as well, of the option in which it comes first. What not all options have names
    those that do. It points at its own place, or at the options where that is not the same in
    all of them. Its figures are those on which they agree, and its cost is the highest.
    """
    alike: dict[tuple[object, ...], dict[int, ClientWarning]] = {}
    for k, of_option in by_option.items():
        for found in of_option:
            words = "" if found.code in _IN_ANY_TAX_YEAR else found.detail
            alike.setdefault((found.code, found.person, found.pension, words), {})[k] = found
    for by_place in alike.values():
        same = list(by_place.values())
        first, detail = same[0], same[0].detail
        if any(found.detail != detail for found in same):
            first = min(same, key=lambda found: found.tax_year or "")
            detail = f"{first.detail} In other options this is in a later tax year."
        yield first._replace(
            detail=detail,
            path=first.path if all(found.path == first.path for found in same) else ("options",),
            options=() if len(same) == len(by_option) else tuple(by_place),
            cost=max(found.cost for found in same),
            money=_agreed([found.money for found in same]),
            counts=_agreed([found.counts for found in same]),
            rates=_agreed([found.rates for found in same]),
        )


def _agreed(figures: Sequence[Mapping[str, int]]) -> Mapping[str, int]:
    """The figures that are the same in all."""
    first = figures[0]
    return {name: first[name] for name in first if all(other.get(name) == first[name] for other in figures)}


def _of_option(result: Timing, k: int, option: OptionResult) -> list[ClientWarning]:
    case = _circumstances(result, k, option)
    return [*_too_early(result, k, option, case), *found_in_option(_option_facts(k, option, case)), *all_found(case)]


def _circumstances(result: Timing, k: int, option: OptionResult) -> Circumstances:
    """What an option knows of its people, their tax years and the household."""
    household = result.question.household
    people = []
    for i, member in enumerate(household.people):
        reached = result.timeline.state_pension_from
        partner = partner_in(household.people, i, reached)
        person = person_facts(member, i, len(household.people), reached[i], partner=partner)
        years = tuple(
            _year_facts(person, member, year, year.people[i], state_pension, ("options", k), option)
            for year, state_pension in zip(option.years, result.state_pensions[i], strict=True)
        )
        people.append(PersonCase(person, years, held=member.pension))
    together = tuple(Together(rules=year.period.rules, waits=_waits(year)) for year in option.years)
    return Circumstances(tuple(people), ("to_age",), together=together)


def _waits(year: OptionPeriod) -> Pence:
    """The cash for which no ISA allowance is left."""
    full = all(person.record.subscribed == person.record.opened.isa_allowance_left for person in year.people)
    return year.waiting if full else 0


def _year_facts(
    person: PersonFacts,
    member: Member,
    year: OptionPeriod,
    found: OptionPerson,
    state_pension: Pence,
    path: Path,
    option: OptionResult,
) -> YearFacts:
    record = found.record
    before = from_the_first_age(found.first.before.pension, member, year.period.rules)
    wanted = option.option.lump_sums != "never"
    settled = settled_year(person, member, year.period, record, found.pension, state_pension, lump_sums_wanted=wanted)
    return settled._replace(
        gross=found.lump_sum + record.gross,
        tax_free=found.tax_free,
        before=before,
        left_before=lump_sums.available(before, year.period.rules.lump_sums),
        taken=(_lump_sum(person, year, found, path, before),) if found.lump_sum else (),
    )


def _lump_sum(person: PersonFacts, year: OptionPeriod, found: OptionPerson, path: Path, before: Pension) -> Taken:
    """The lump sum of a period's first day, as a withdrawal; ``before`` it."""
    first, rules = found.first, year.period.rules.lump_sums
    after = first.after.pension
    left = lump_sums.available(before, rules)
    return Taken(
        method="pcls",
        day=year.period.first,
        age=age_on(person.born, year.period.first),
        minimum_age=before.protected_pension_age or year.period.rules.minimum_pension_age,
        asked=first.lump_sum,
        permitted=first.lump_sum,
        payment=lump_sums.take("pcls", first.lump_sum, before, rules, left),
        path=path,
        before=before,
        after=after,
        left_before=left,
        left_after=lump_sums.available(after, rules),
        pension=person.pension,
    )


def _too_early(result: Timing, k: int, option: OptionResult, case: Circumstances) -> Iterator[ClientWarning]:
    """A lump sum wanted before the minimum pension age is computed from the first day on which it is permitted: of each part of
    what somebody holds that has an age of its own."""
    if option.option.lump_sums not in _LUMP_SUM_FIRST:
        return
    first = result.timeline.periods[0]
    for i, (member, one) in enumerate(zip(result.question.household.people, case.people, strict=True)):
        parts = _by_age(member)
        for protected, part in parts.items():
            least = protected or first.rules.minimum_pension_age
            allowed = may_take_benefits(member.date_of_birth, first.first, first.rules.minimum_pension_age, protected)
            wanted = option.option.age is None or option.option.age < least
            if allowed or not wanted or part.uncrystallised == 0:
                continue
            taken = next((year.period.first for year in option.years if _pays(year.people[i], part)), None)
            computed = _taken_later(taken, part.uncrystallised if len(parts) > 1 else None)
            pension = member.pension._replace(protected_pension_age=protected)
            lump_sum = _wanted(member, pension, first.first, ("options", k), one.years[0])
            entry = CATALOGUE["below_minimum_pension_age"]
            for warning in access.below_minimum_pension_age(one.years[0], lump_sum, entry):
                place = warning.pension if len(parts) == 1 else part.place
                yield warning._replace(detail=f"{warning.detail} {computed}", pension=place)


def _taken_later(taken: date | None, part: Pence | None) -> str:
    """When a lump sum is taken in place of too early, if it is; ``part`` is what it is about, None where that is all."""
    of_part = "" if part is None else f"This is about {pounds(part)} of the pension money. "
    if taken is None:
        return f"{of_part}No lump sum is taken {'' if part is None else 'from it '}within these years."
    return f"{of_part}{'The' if part is None else 'Its'} lump sum is taken from {day_month_year(taken)} on."


class _Part(NamedTuple):
    """What of somebody's pensions may be taken from one age: the pots, none where all count as one, what is uncrystallised in
    them, and the place of the first pension."""

    pots: tuple[int, ...]
    uncrystallised: Pence
    place: int


def _by_age(member: Member) -> Mapping[Years | None, _Part]:
    """A person's pensions by their protected age."""
    if not member.pots:
        return {member.pension.protected_pension_age: _Part((), member.pension.uncrystallised, 0)}
    found: dict[Years | None, _Part] = {}
    for k, pot in enumerate(member.pots):
        before = found.get(pot.protected_pension_age, _Part((), 0, pot.places[0]))
        found[pot.protected_pension_age] = before._replace(
            pots=(*before.pots, k), uncrystallised=before.uncrystallised + pot.uncrystallised
        )
    return found


def _pays(person: OptionPerson, part: _Part) -> bool:
    """Whether a part pays something of the lump sum of a period's first day."""
    before, after = person.first.before.pots, person.first.after.pots
    if not part.pots:
        return person.lump_sum > 0
    return any(sum(before[k]) > sum(after[k]) for k in part.pots)


def _wanted(member: Member, pension: Pension, day: date, path: Path, year: YearFacts) -> Taken:
    """A lump sum that is asked for and not paid."""
    return Taken(
        method="pcls",
        day=day,
        age=age_on(member.date_of_birth, day),
        minimum_age=pension.protected_pension_age or year.rules.minimum_pension_age,
        asked=0,
        permitted=0,
        payment=Payment(0, 0, 0),
        path=path,
        before=pension,
        after=pension,
        left_before=year.left_before,
        left_after=year.left_before,
        pension=year.person.pension,
    )


def _option_facts(k: int, option: OptionResult, case: Circumstances) -> OptionFacts:
    """What an option knows of tax-free cash; one that cannot be carried out is asked for none."""
    people = () if option.totals is None else option.totals.people
    return OptionFacts(
        figures=case.people[0].years[0].figures,
        path=("options", k),
        wants_tax_free_cash=option.option.lump_sums != "never" and option.totals is not None,
        tax_free_cash=sum(person.tax_free_cash.received + person.tax_free_cash.at_the_end for person in people),
    )


def _of_deaths(result: Timing) -> Iterator[ClientWarning]:
    """What unused pension money costs on the deaths asked about, and the residence nil-rate band that is lost, at the most."""
    lefts = [
        left
        for option in result.options
        for death in option.deaths
        for left in (death.outcome.deaths if death.outcome else ())
    ]
    costs = [left for left in lefts if left.tax.tax_on_pension]
    if costs:
        most = max(costs, key=lambda left: left.tax.tax_on_pension)
        tax = most.tax.tax_on_pension
        yield from CATALOGUE["pension_counts_in_the_estate"].warn(
            f"On a death asked about, up to {pounds(most.estate.pension)} of unused pension would bring inheritance tax of "
            f"{pounds(tax)}. Funds that pass to a spouse, civil partner or charity are exempt.",
            ("deaths",),
            figures=most.period.rules.figures,
            rests_on=("inheritance_tax.rate", "inheritance_tax.unused_pensions_in_estate"),
            money={"unused_pensions": most.estate.pension, "extra_inheritance_tax": tax},
            cost=tax,
        )
    tapered = [left for left in lefts if left.estate.home_to_descendants and left.tax.residence_band.taper]
    if tapered:
        most = max(tapered, key=lambda left: left.tax.residence_band.taper)
        lost = most.tax.residence_band.taper
        cost = down_to_the_penny(lost * most.tax.rate)
        yield from CATALOGUE["residence_band_tapered"].warn(
            f"On a death asked about, an estate of {pounds(most.tax.estate)} would lose up to {pounds(lost)} of the residence "
            f"nil-rate band. This would add up to {pounds(cost)} of inheritance tax.",
            ("household", "estate"),
            figures=most.period.rules.figures,
            rests_on=("inheritance_tax.residence_taper_threshold",),
            money={
                "whole_estate": most.tax.estate,
                "residence_band_lost": lost,
                "extra_inheritance_tax": cost,
            },
            cost=cost,
        )
