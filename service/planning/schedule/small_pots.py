"""Small pots whose tax year is left to a plan: the searches that choose it, and what is told of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from service.law.rulebook import RuleBook
from service.law.units import Pence
from service.planning.household import Household
from service.planning.optimiser.branch_and_bound import SmallPotsToChoose
from service.planning.optimiser.work import PERSON_YEAR_COMPARED, Work
from service.planning.projection.small_pots import OpenSmallPot, Taken, first_allowed, settled_household
from service.planning.projection.timeline import Timeline, timeline

AS_SMALL_POTS: Literal["as_small_pots"] = "as_small_pots"
IN_ANY_WAY: Literal["in_any_way"] = "in_any_way"
AS_ANY_OTHER: Literal["as_any_other"] = "as_any_other"

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
    pence; None where the other cannot be carried out or nothing was chosen."""

    pots: tuple[SmallPotChosen, ...]
    is_best: bool
    gain: Pence | None = None


class Way(NamedTuple):
    """One search of several: its name, how much of the work that is left it may take, and the small pots ``to_choose`` in it, of
    which the ``timeline`` has one choice. None where they are drawn as any other pension."""

    name: str
    part_of_work: float
    timeline: Timeline
    to_choose: SmallPotsToChoose | None


def ways_to_take(years: Timeline, pots: tuple[OpenSmallPot, ...], book: RuleBook, work: Work) -> tuple[Way, ...]:
    """The searches that together cover all that can be done with open small pots: as many are taken as may be; of several some
    are taken and others not; none is taken. They come in the order in which one of equals is chosen: a small pot uses no
    allowance and is no flexible access."""
    first = first_allowed(years, pots)
    known: dict[Taken, Timeline] = {(None,) * len(pots): years}

    def taken_in(taken: Taken) -> Timeline:
        if taken not in known:
            known[taken] = timeline(settled_household(years, pots, taken), book)
            work.add(PERSON_YEAR_COMPARED * len(years.people) * len(years.periods))
        return known[taken]

    def choosing(choices: Sequence[Sequence[int | None]]) -> SmallPotsToChoose:
        return SmallPotsToChoose(years, pots, tuple(frozenset(own) for own in choices), taken_in)

    none = Way(AS_ANY_OTHER, 1.0, years, None)
    if first == (None,) * len(pots):
        return (none,)
    whole = choosing([(None,) if taken is None else pot.periods for pot, taken in zip(pots, first, strict=True)])
    if len(pots) == 1:
        return Way(AS_SMALL_POTS, 0.5, taken_in(first), whole), none
    mixed = choosing([(None, *pot.periods) for pot in pots])
    return (
        Way(AS_SMALL_POTS, 1 / 3, taken_in(first), whole),
        Way(IN_ANY_WAY, 0.5, taken_in(first), mixed),
        none,
    )


def told_of(pots: Sequence[OpenSmallPot], household: Household) -> tuple[SmallPotChosen, ...]:
    """The tax years in which a household that is settled takes them."""
    taken = {(i, pot.place): pot.tax_year for i, member in enumerate(household.people) for pot in member.small_pots}
    return tuple(SmallPotChosen(pot.person, pot.place, taken.get((pot.person, pot.place))) for pot in pots)
