"""Small pots whose tax year is left to a plan: the searches that choose it, and what is told of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from service.law.rulebook import RuleBook
from service.law.units import Pence
from service.planning.household import Household
from service.planning.optimiser.branch_and_bound import SmallPotsToChoose
from service.planning.optimiser.work import PERSON_YEAR_COMPARED, Work
from service.planning.projection.small_pots import OpenSmallPot, Taken, first_allowed, settled_household
from service.planning.projection.timeline import Timeline, timeline

IN_THE_FIRST_YEAR = (
    "It also leaves out plans that take a small pot later than in the first possible tax year, or draw it like any other "
    "pension."
)
"""What the bound on a steady income leaves out besides, since only a plan that leaves the most chooses."""


class SmallPotChosen(NamedTuple):
    """What became of a pension whose tax year as a small pot was left open: whose it is, its ``place`` among the person's
    pensions, and the ``tax_year`` in which it is taken; None where it is drawn as any other."""

    person: int
    place: int
    tax_year: str | None


class SmallPotsChosen(NamedTuple):
    """What became of all of them. ``is_best``: the plan chose, and was compared with another, which draws them as any other
    pension or, where this one does so itself, takes them as small pots. ``gain`` is what it comes to more than that by the aim,
    pence; None where nothing was chosen, the other cannot be carried out, or the work was not enough to compare."""

    pots: tuple[SmallPotChosen, ...]
    is_best: bool
    gain: Pence | None = None


class Way(NamedTuple):
    """What a search may do with open small pots: those ``to_choose``, and the ``timeline`` of one choice."""

    timeline: Timeline
    to_choose: SmallPotsToChoose


class Ways(NamedTuple):
    """What may be done with open small pots: anything; to take as many as may be, None where none may; and to take none."""

    any_way: Way
    as_small_pots: Way | None
    as_any_other: Timeline


def ways_to_take(years: Timeline, pots: tuple[OpenSmallPot, ...], book: RuleBook, work: Work) -> Ways:
    """What may be done with the open small pots of a timeline; ``work`` counts the timelines that are made."""
    first = first_allowed(years, pots)
    known: dict[Taken, Timeline] = {(None,) * len(pots): years}

    def taken_in(taken: Taken) -> Timeline:
        if taken not in known:
            known[taken] = timeline(settled_household(years, pots, taken), book)
            work.add(PERSON_YEAR_COMPARED * len(years.people) * len(years.periods))
        return known[taken]

    def choosing(choices: Iterable[Iterable[int | None]]) -> SmallPotsToChoose:
        return SmallPotsToChoose(years, pots, tuple(map(frozenset, choices)), taken_in)

    whole = None
    if any(position is not None for position in first):
        each = zip(pots, first, strict=True)
        whole = Way(taken_in(first), choosing((None,) if taken is None else pot.periods for pot, taken in each))
    return Ways(Way(years, choosing((None, *pot.periods) for pot in pots)), whole, years)


def told_of(pots: Sequence[OpenSmallPot], household: Household) -> tuple[SmallPotChosen, ...]:
    """The tax years in which a household that is settled takes them."""
    taken = {(i, pot.place): pot.tax_year for i, member in enumerate(household.people) for pot in member.small_pots}
    return tuple(SmallPotChosen(pot.person, pot.place, taken.get((pot.person, pot.place))) for pot in pots)
