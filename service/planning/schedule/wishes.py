"""Wishes that have to be found out: the highest steady income, and the nearest spending that can be met."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import NamedTuple

from service.law.units import POUND, WHOLE, Pence
from service.planning.faults import RuleViolation
from service.planning.household import WITH_PRICES, Spending
from service.planning.optimiser.branch_and_bound import left_alone, meets_spending
from service.planning.optimiser.data import most_wealth
from service.planning.optimiser.highest_level import first_guess, highest_level
from service.planning.optimiser.relaxation import Surfaces
from service.planning.optimiser.work import Work
from service.planning.projection.policies import BANDS, Band, PlainPlans, Projection
from service.planning.projection.timeline import Timeline, with_spending
from service.planning.search import first_where
from service.planning.wording import per_cent, pounds

CANNOT_BE_MET = "spending-cannot-be-met"
"""The code of the fault that a plan has whose spending cannot be met."""

_A_THOUSAND_POUNDS: Pence = 1_000 * POUND


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
    """The same refusal, with the most of the spending that a plan with this goal can meet throughout."""
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
        return first_where(lambda level: not _carried_out(with_level(level), band), -1, least_not_met) - 1
    surfaces: Surfaces = {}
    plan = meets_spending(with_level(0), work, surfaces).plan
    if plan is None:
        return 0
    return highest_level(
        lambda level, _: with_level(level), plan, least_not_met, max(1, least_not_met // 2), work, surfaces
    ).level


def _carried_out(timeline: Timeline, band: Band) -> bool:
    try:
        PlainPlans(timeline).plan(band)
    except RuleViolation:
        return False
    return True
