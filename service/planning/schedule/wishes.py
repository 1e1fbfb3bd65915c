"""Wishes that have to be found out: the highest steady income, and the nearest spending that can be met."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

from service.law.units import POUND, WHOLE, Pence
from service.planning.faults import RuleViolation
from service.planning.household import WITH_PRICES, Spending
from service.planning.optimiser.branch_and_bound import left_alone, meets_spending
from service.planning.optimiser.data import most_wealth
from service.planning.optimiser.highest_level import first_guess, highest_level
from service.planning.optimiser.relaxation import Surfaces
from service.planning.optimiser.work import Work, year_made_up
from service.planning.projection.policies import BANDS, Band, Projection, filling, projected
from service.planning.projection.settlement import Choice, Opened
from service.planning.projection.timeline import Timeline, with_spending
from service.planning.wording import per_cent, pounds

CANNOT_BE_MET = "spending-cannot-be-met"
"""The code of the fault that a plan has whose spending cannot be met."""

_A_THOUSAND_POUNDS: Pence = 1_000 * POUND

_MOST_WORK = 250_000
"""What the search for the nearest spending of a plain aim may take, in the units of the optimiser's work: a refusal is to come
back about as soon as a plan."""

_MOST_WORK_FOR_ANY = 350_000
"""The same as long as no level was met, so that there is something to tell."""

_GUESSES = 2
"""How many levels may be guessed before what is left is halved."""


class SteadyIncome(NamedTuple):
    """The highest level income, pence a year in the money of the plan's first tax year, rising with prices; and the most that
    is not proven to be out of reach."""

    amount: Pence
    bound: Pence


def steadiest(timeline: Timeline, work: Work, surfaces: Surfaces) -> tuple[Projection, SteadyIncome]:
    """The highest income after tax, in whole pounds a year, that can be paid besides the household's spending throughout the
    plan, and a plan that pays it; ``surfaces`` as in ``Relaxation``. RuleViolation where not even the spending can be met."""
    given = timeline.household.spending

    def paying(income: Pence) -> Timeline:
        return with_spending(timeline, (*given, Spending(income, increases=WITH_PRICES))) if income else timeline

    plan = meets_spending(timeline, work, surfaces).plan or left_alone(timeline)
    thousand = with_spending(timeline, (Spending(_A_THOUSAND_POUNDS, increases=WITH_PRICES),)).spending
    total = sum(thousand)
    # Nobody can spend in all more than there would be at the end if it never fell and nothing were spent.
    most = most_wealth(timeline) * 1_000 // total + 1 if total else 1
    found = highest_level(
        lambda level, less: paying(max(0, level * POUND - less)),
        plan,
        most,
        first_guess(timeline, plan.wealth, thousand),
        work,
        surfaces,
    )
    return found.plan, SteadyIncome(found.level * POUND, found.bound * POUND)


def with_nearest(error: RuleViolation, timeline: Timeline, goal: str, work: Work) -> RuleViolation:
    """The same refusal, with the most of the spending that was found to be met throughout by a plan with this goal."""
    if [fault.code for fault in error.faults] != [CANNOT_BE_MET]:
        return error
    (fault,) = error.faults
    items = timeline.household.spending
    alone = items[0] if len(items) == 1 else None
    least_not_met = WHOLE if alone is None else -(-alone.amount // POUND)

    def with_level(level: int) -> Timeline:
        """Spending of so many pounds a year, or of several amounts so many ten-thousandths."""
        amounts = [level * POUND] if alone is not None else [item.amount * level // WHOLE for item in items]
        return with_spending(
            timeline, tuple(item._replace(amount=amount) for item, amount in zip(items, amounts, strict=True))
        )

    nearest = _nearest(with_level, least_not_met, goal, work)
    if not nearest:
        return error
    met = (
        f"{per_cent(nearest)} of each amount"
        if alone is None
        else f"{pounds(nearest * POUND)} a year instead of {pounds(alone.amount)}"
    )
    return RuleViolation((replace(fault, detail=f"{fault.detail} A plan with this aim can meet {met}."),))


def _nearest(with_level: Callable[[int], Timeline], least_not_met: int, goal: str, work: Work) -> int:
    """The highest level of spending that was found to be met; 0 where none was."""
    band: Band | None = next((band for band in BANDS if band == goal), None)
    if band is not None:
        return _highest_filling(lambda level: _carried_out(level, with_level(level), band), least_not_met)
    surfaces: Surfaces = {}
    plan = meets_spending(with_level(0), work, surfaces).plan
    if plan is None:
        return 0
    return highest_level(
        lambda level, _: with_level(level), plan, least_not_met, max(1, least_not_met // 2), work, surfaces
    ).level


class _Tried(NamedTuple):
    """A level that was carried out. ``wealth`` is what it leaves at the end, pence, None where it is not met; ``paid`` is what
    share of all its spending falls into the years before the one in which it fails. ``work`` is what that took."""

    level: int
    wealth: Pence | None
    paid: float
    work: int


def _highest_filling(carried_out: Callable[[int], _Tried], least_not_met: int) -> int:
    """The highest level that is met, or that was found to be before the work was used up; 0 where none was.

    Each next level is where the wealth of the last two that were met would come to nothing; else what was paid of the last that
    was not met, spread over all years; else the middle, as also where the last two levels did not halve what is left.
    """
    low, high, done = -1, least_not_met, 0
    met: list[_Tried] = []
    latest: _Tried | None = None
    width, tries = high - low, 0
    while high - low > 1 and done < (_MOST_WORK if met else _MOST_WORK_FOR_ANY):
        level = _next_level(met, latest, low, high) if tries < _GUESSES else (low + high) // 2
        latest = carried_out(level)
        done += latest.work
        if latest.wealth is None:
            high = level
        else:
            low = level
            met.append(latest)
        tries += 1
        if 2 * (high - low) <= width or tries > _GUESSES:
            width, tries = high - low, 0
    return max(low, 0)


def _next_level(met: Sequence[_Tried], latest: _Tried | None, low: int, high: int) -> int:
    """A level between one that is met and one that is not."""
    level = (low + high) // 2
    if len(met) > 1:
        (before, more, *_), (last, less, *_) = met[-2:]
        assert more is not None
        assert less is not None
        if more > less and last + less * (last - before) // (more - less) < high:
            level = last + less * (last - before) // (more - less)
    elif latest is not None and latest.wealth is None:
        level = int(latest.level * latest.paid)
    return min(max(level, low + 1), high - 1)


def _carried_out(level: int, timeline: Timeline, band: Band) -> _Tried:
    """A plan that fills a band with the spending of a level, which the timeline has."""
    fill, years = filling(timeline, band), 0

    def counted(position: int, people: tuple[Opened, ...]) -> Choice:
        nonlocal years
        years = position + 1
        return fill(position, people)

    a_year = year_made_up(timeline)
    try:
        wealth = projected(timeline, counted).wealth
    except RuleViolation:
        total = sum(timeline.spending)
        return _Tried(level, None, sum(timeline.spending[: years - 1]) / total if total else 0.0, a_year * years)
    return _Tried(level, wealth, 1.0, a_year * years)
