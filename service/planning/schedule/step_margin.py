"""A plan that was searched for, kept clear of steps of the tax: no income ends within 50 pounds below one for little gain.

An optimum likes to end on the last penny before a savings allowance or the marriage allowance is lost. A little more interest
than assumed would then cost hundreds of pounds, and no one can hit a penny. So those withdrawals stop 50 pounds lower.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from service.law.units import POUND, WHOLE, Pence
from service.planning.curve.steps import NEAR, step_above
from service.planning.faults import RuleViolation
from service.planning.projection.policies import Projection, projected
from service.planning.projection.settlement import WITH_TAX_FREE_PART, Choice, Draw, Opened, PersonRecord
from service.planning.projection.timeline import Timeline

MOST_GIVEN_UP: Pence = 20 * POUND
"""So much wealth at the end may be given up for each withdrawal that is moved: our choice. Fifty pounds drawn later are taxed by
less than this more, unless they meet a step themselves."""


class KeptClear(NamedTuple):
    """A plan kept clear of steps of the tax, and the wealth that this gives up, pence; ``at_a_step`` where that would be
    too much, so that the plan is as it was."""

    plan: Projection
    given_up: Pence = 0
    at_a_step: bool = False


def kept_clear(plan: Projection, worth: Callable[[Projection], Pence]) -> KeptClear:
    """The plan with each withdrawal that ends less than 50 pounds below a step of the tax stopped 50 pounds below it;
    ``worth`` is what a plan is worth by its aim."""
    near = sum(_too_near(record.opened, record) > 0 for year in plan.years for record in year.people)
    if not near:
        return KeptClear(plan)
    timeline = plan.timeline

    def choose(position: int, people: tuple[Opened, ...]) -> Choice:
        before = plan.years[position].people
        draws = tuple(_draw(timeline, person, record) for person, record in zip(people, before, strict=True))
        return _as_before(plan, position, draws)

    try:
        moved = projected(timeline, choose)
    except RuleViolation:
        return KeptClear(plan, at_a_step=True)
    given_up = worth(plan) - worth(moved)
    if given_up > near * MOST_GIVEN_UP:
        return KeptClear(plan, at_a_step=True)
    return KeptClear(moved, max(0, given_up))


def _too_near(person: Opened, record: PersonRecord) -> Pence:
    """How much lower a taxable withdrawal would have to be to leave 50 pounds below a step, pence; 0 where it does."""
    taxpayer, taxable, chosen = person.year.taxpayer, record.taxable, record.chosen_claim
    receives = (chosen or taxpayer.marriage_allowance) == "receives"
    if not taxable or not (taxpayer.savings or person.interest or receives):
        return 0
    step = step_above(lambda withdrawal: person.taxed(withdrawal, chosen), taxable, NEAR - 1)
    return 0 if step is None else min(NEAR - step.room, taxable)


def _draw(timeline: Timeline, person: Opened, record: PersonRecord) -> Draw:
    """What was drawn before, as far as it is there, and less where it ends too near a step."""
    pension, after = record.opened.pension, record.after.pension
    lost = record.not_grown
    drawn = pension.uncrystallised - after.uncrystallised - lost.uncrystallised
    uncrystallised = min(drawn, person.most_uncrystallised)
    drawdown = min(pension.drawdown - after.drawdown - lost.drawdown, person.most_drawdown)
    less = _too_near(person, record)
    from_drawdown = min(less, drawdown)
    rest = less - from_drawdown
    if rest and timeline.household.lump_sums in WITH_TAX_FREE_PART:
        rate = timeline.periods[0].rules.lump_sums.tax_free_rate
        rest = -(-rest * WHOLE // (WHOLE - rate))
    return Draw(max(0, uncrystallised - rest), drawdown - from_drawdown)


def _as_before(plan: Projection, position: int, draws: tuple[Draw, ...]) -> Choice:
    """The rest of a period's choice: ISAs, cash and what is spent early as they were."""
    before, assumed = plan.years[position].people, plan.timeline.household.assumptions
    keeps_cash = any(record.after.cash for record in before)
    after = plan.years[position + 1].people if position + 1 < len(plan.years) else None
    return Choice(
        draws=draws,
        subscribe=sum(record.subscribed for record in before) if keeps_cash else None,
        from_isas=sum(record.from_isa for record in before),
        cash_of_first=before[0].after.cash if len(before) > 1 and assumed.cash_interest else None,
        early_draws=tuple(Draw(record.early.uncrystallised, record.early.drawdown) for record in before),
        early_from_isas=sum(record.early.isa for record in before),
        cash_for_early=None if after is None else tuple(record.opened.early_cash for record in after),
    )
