"""Pensions that a plan may take whole as small pots: in which tax years the law allows it, and a household once that is settled.

What is taken in a tax year is the law's (SI 2009/1171 regs 11, 11A and 12; Finance Act 2004 s.165); that a plan takes it on the
last day of the year is ours.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from typing import NamedTuple

from service.law.pension_age import access_age
from service.law.units import Pence, Years
from service.planning.household import Assumptions, Household, Member, PensionHeld, SmallPot, YearlyRate, set_apart
from service.planning.projection.timeline import Period, Timeline


class OpenSmallPot(NamedTuple):
    """A pension whose tax year as a small pot is left to a plan: whose it is, its ``place`` among the person's pensions, the
    positions of the ``periods`` in which it may be taken, and what it ``holds`` at the end of each period of the plan, pence.
    ``is_personal``: it counts among those that a lifetime allows from personal schemes."""

    person: int
    place: int
    periods: tuple[int, ...]
    holds: tuple[Pence, ...]
    is_personal: bool


Taken = tuple[int | None, ...]
"""For each open small pot the position of the period in which it is taken; None where it is drawn as any other pension."""


def open_small_pots(years: Timeline) -> tuple[OpenSmallPot, ...]:
    """The pensions of a household whose tax year as a small pot is left open, in the order of the record."""
    return tuple(
        _open(years, person, place)
        for person, member in enumerate(years.household.people)
        for place in member.open_small_pots
    )


def _open(years: Timeline, person: int, place: int) -> OpenSmallPot:
    member = years.household.people[person]
    pension = member.pensions[place]
    holds = tuple(_values(years, pension, place))
    personal = is_personal(pension)
    room = room_for(member, years) if personal else 1
    periods = tuple(
        period.position
        for period, held in zip(years.periods, holds, strict=True)
        if room > 0
        and held <= period.rules.lump_sums.small_pot_limit
        and first_access_to(member, pension, period)[1] <= period.last
    )
    return OpenSmallPot(person, place, periods, holds, personal)


def _values(years: Timeline, pension: PensionHeld, place: int) -> Iterator[Pence]:
    """What a pension holds at the end of each period, if nothing is drawn from it."""
    growth = years.household.assumptions.of_small_pot(SmallPot(place, "", pension))
    held = pension.held
    for period in years.periods:
        held = max(0, held + period.growth(held, growth))
        yield held


def is_personal(pension: PensionHeld) -> bool:
    """Whether a small pot counts among those that a lifetime allows (SI 2009/1171 reg.11A): from any but an occupational
    scheme."""
    return pension.scheme_kind != "occupational"


def most_small_pots(years: Timeline) -> int:
    """How many small pots a lifetime allows from personal schemes."""
    return years.periods[0].rules.figures.count("pension.small_pots_from_personal_schemes")


def room_for(member: Member, years: Timeline) -> int:
    """How many small pots somebody may still take from personal schemes, besides those in a named tax year."""
    named = sum(is_personal(pot.pension) for pot in member.small_pots)
    return most_small_pots(years) - (member.small_pots_taken or 0) - named


def first_access_to(member: Member, pension: PensionHeld, period: Period) -> tuple[Years, date]:
    """The age and the day from which a pension may be taken, by the rules of a period."""
    rules = period.rules
    return access_age(
        member.date_of_birth,
        rules.minimum_pension_age,
        rules.next_minimum_pension_age,
        pension.protected_pension_age,
    )


def first_allowed(years: Timeline, pots: Sequence[OpenSmallPot]) -> Taken:
    """Each pot in the first period in which it may be taken, in the order of the record as many as a lifetime allows."""
    room = [room_for(member, years) for member in years.household.people]
    taken: list[int | None] = []
    for pot in pots:
        fits = bool(pot.periods) and (not pot.is_personal or room[pot.person] > 0)
        room[pot.person] -= fits and pot.is_personal
        taken.append(pot.periods[0] if fits else None)
    return tuple(taken)


def settled_household(years: Timeline, pots: Sequence[OpenSmallPot], taken: Taken) -> Household:
    """The household once it is settled in which period each pot is taken. One that is not taken stays a pot by itself, and is
    drawn as any other."""
    household = years.household
    people = []
    for person, member in enumerate(household.people):
        named = {
            pot.place: years.periods[position].name
            for pot, position in zip(pots, taken, strict=True)
            if pot.person == person and position is not None
        }
        people.append(set_apart(member, named))
    return replace(household, people=tuple(people), assumptions=_growing_as_before(household, people))


def _growing_as_before(household: Household, people: Sequence[Member]) -> Assumptions:
    """The assumptions, with the growths of pensions told for the pots that are left."""
    assumed = household.assumptions
    of_pots: list[tuple[YearlyRate, ...]] = []
    first: list[YearlyRate] = []
    for person, (before, member) in enumerate(zip(household.people, people, strict=True)):
        growths = assumed.growths_of(person, len(before.pots))
        by_place = {place: growth for pot, growth in zip(before.pots, growths, strict=False) for place in pot.places}
        left = tuple(by_place[pot.places[0]] for pot in member.pots)
        paid_into = {one.pension for one in member.contributions}
        counting = (place for place, held in enumerate(member.pensions) if held.held or place in paid_into)
        only = next((by_place[place] for place in counting if place in by_place), growths[0])
        of_pots.append(left)
        first.append(left[0] if left else only)
    return replace(
        assumed,
        pension_growth=first[0],
        pension_growths=tuple(first) if len(set(first)) > 1 else (),
        pot_growths=tuple(of_pots) if any(len(set(own)) > 1 for own in of_pots) else (),
    )
