"""The highest level of something that a household can pay throughout a plan: a steady income, or a share of what it spends.

Whatever can be paid at one level can be paid at a lower one. So the highest is searched for between a level that a plan was
found for and one that is impossible. README.md in this folder says how levels are chosen and what is proven.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from math import floor
from typing import NamedTuple

from service.law.units import POUND, Pence
from service.planning.faults import RuleViolation
from service.planning.optimiser.branch_and_bound import SpendingMet, left_alone, meets_spending, most_levels
from service.planning.optimiser.lp import INF
from service.planning.optimiser.relaxation import Surfaces
from service.planning.optimiser.work import PERSON_YEAR_PROJECTED, Work, year_made_up
from service.planning.projection.policies import Projection
from service.planning.projection.timeline import Timeline

_FIRST_GUESS = 0.8
"""Of what all wealth would pay if it had not to be taxed, a level to begin with."""

_JUST_BELOW = 0.002
"""How far below an impossible level to look, as a share of what is between, where that level was nearly right."""

_STEPS_DOWN = 3.0
"""How much further to look each time that this was not far enough."""

_PART_FOR_ONE = 0.3
"""Of the work that is left, what one level may take."""

_PART_FOR_LEVELS = 0.75
"""Of the work, what is for finding the highest level; the rest is for proving that no higher one can be paid."""

_PLAINLY_PAID = (0.95, 0.9, 0.8, 0.65, 0.5, 0.25, 0.1)
"""Where the search came to no end at the first level, or had no work for one, shares of a level that are tried by drawing only
what is needed each year."""

_FIRST_STEP_UP = 100
"""If the next level is not proven to be impossible, this part of the level is added: near the highest, proofs are hard."""

_STEPS_UP = 3
"""How much further up to look each time that this was not far enough."""

UNDER: Pence = 10
"""A level is impossible if no plan pays this much less than it in a year: beyond what whole pennies may come to."""


class Highest(NamedTuple):
    """The highest level for which a ``plan`` was found; ``bound`` is the highest that is not proven to be impossible."""

    level: int
    plan: Projection
    bound: int


class _Bracket:
    """What is known of the levels: the highest that is met, the least that was not, and where wealth would come to nothing."""

    def __init__(self, plan: Projection, low: int, high: int) -> None:
        """A level that is met and one that is impossible. The highest below that is looked at next."""
        self.plan, self.low, self.high, self.impossible = plan, low, high, high
        self._runs_out = float(high)
        self._down = 0.0

    @property
    def is_closed(self) -> bool:
        """Whether no level is between."""
        return self.high - self.low <= 1

    def next_level(self) -> int:
        """Where wealth would come to nothing if it went on falling as it did last, or a little below the least level that was
        not met; where that is no help, the middle."""
        level = max(int(self._runs_out), self.low + 1)
        if level >= self.high:
            level = self.high - max(1, int(self._down * (self.high - self.low)))
        return min(max(level, self.low + 1), self.high - 1)

    def met(self, level: int, plan: Projection) -> None:
        """A plan pays a level."""
        fell = self.plan.wealth - plan.wealth
        # No plan's wealth falls faster at a lower level than at a higher one, so this is rarely too low.
        self._runs_out = level + plan.wealth * (level - self.low) / fell if fell > 0 else float(self.high)
        self.plan, self.low = plan, level
        self._look_below()

    def not_met(self, level: int, *, impossible: bool) -> None:
        """No plan was found for a level."""
        tried_below = self._runs_out >= self.high
        self.high = level
        if impossible:
            self.impossible = level
        if tried_below:
            self._down = min(0.5, max(_JUST_BELOW, _STEPS_DOWN * self._down))
        else:
            self._look_below()

    def _look_below(self) -> None:
        near = self._runs_out - self.high <= _JUST_BELOW * (self.high - self.low)
        self._down = _JUST_BELOW if near else 0.5


def highest_level(
    at: Callable[[int, Pence], Timeline], plan: Projection, most: int, guess: int, work: Work, surfaces: Surfaces
) -> Highest:
    """The highest whole level that can be paid, as far as ``work`` goes.

    ``at`` gives the timeline with a level, and with so many pence a year less. ``plan`` pays level 0; ``most`` cannot be paid;
    ``guess`` is a level to begin with, and ``surfaces`` as in ``Relaxation``.
    """
    limit = work.limit
    bracket = _Bracket(plan, 0, _least_impossible(at, most, guess, work, surfaces))

    def asked(level: int, less: Pence = 0) -> SpendingMet:
        work.limit = work.done + _PART_FOR_ONE * max(0.0, limit - work.done)
        found = meets_spending(at(level, less), work, surfaces)
        work.limit = limit
        return found

    for_levels = work.done + _PART_FOR_LEVELS * work.left
    plainly = False
    while not bracket.is_closed and work.done < for_levels:
        level = bracket.next_level()
        found = asked(level)
        if found.plan is not None:
            bracket.met(level, found.plan)
            continue
        bracket.not_met(level, impossible=found.impossible)
        if not (plainly or found.impossible or bracket.low):
            plainly = True
            for lower, paid in _plainly_paid(at, (level, guess), work):
                bracket.met(lower, paid)
    if not (plainly or bracket.low or bracket.is_closed):
        # The work was over before any level could be looked at.
        for lower, paid in _plainly_paid(at, (guess,), work):
            bracket.met(lower, paid)
    # A level next to the highest may be too much by pounds of the last day only, which the relaxation allows for. And it is
    # exact but for pennies, so a little less than an impossible level has to be impossible too.
    below, proven, step = bracket.low, bracket.impossible + 1, 1
    while proven - below > 1 and not work.is_over:
        level = below + step if below + step < proven else (below + proven) // 2
        if asked(level, UNDER).impossible:
            proven = level
        else:
            below, step = level, max(_STEPS_UP * step, bracket.low // _FIRST_STEP_UP)
    return Highest(bracket.low, bracket.plan, proven - 1)


def _plainly_paid(
    at: Callable[[int, Pence], Timeline], tops: Sequence[int], work: Work
) -> Iterator[tuple[int, Projection]]:
    """The highest of some levels that is paid where everybody draws only what is needed each year, if any is: shares of the first
    of ``tops`` of which one is paid."""
    for level in (int(share * top) for top in tops for share in _PLAINLY_PAID):
        timeline = at(level, 0)
        work.add((PERSON_YEAR_PROJECTED * len(timeline.people) + year_made_up(timeline)) * len(timeline.periods))
        try:
            plan = left_alone(timeline)
        except RuleViolation:
            continue
        yield level, plan
        return


def _least_impossible(
    at: Callable[[int, Pence], Timeline], most: int, guess: int, work: Work, surfaces: Surfaces
) -> int:
    """A level that no plan reaches, from the relaxation with the level as a column; ``most`` where that says no more."""
    base, further = at(guess, 0), at(2 * guess, 0)
    per_level = [(then - now) / POUND / guess for now, then in zip(base.spending, further.spending, strict=True)]
    if not any(per_level):
        return most
    higher = most_levels(base, per_level, guess, work, surfaces)
    pennies = UNDER / POUND / max(per_level)
    return most if higher == INF else min(most, max(1, floor(guess + higher + pennies) + 1))


def first_guess(timeline: Timeline, wealth: Pence, per_level: tuple[Pence, ...]) -> int:
    """The level that would use up a plan's wealth if nothing more were taxed; ``per_level`` is what a thousand levels take in
    each period."""
    growth = timeline.household.assumptions.isa_growth
    worth = 0.0
    for period, amount in zip(timeline.periods, per_level, strict=True):
        worth = worth * max(1.0, period.factor(growth)) + amount
    return max(1, int(_FIRST_GUESS * 1_000 * wealth / worth)) if worth else 1
