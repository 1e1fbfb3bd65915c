"""Rounding: an optimum of the relaxation as a plan to the penny, which the rules themselves tax."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator

from service.law.units import POUND
from service.planning.optimiser.relaxation import Relaxation
from service.planning.optimiser.solution import Amounts, Solution
from service.planning.optimiser.tax_surface import TAX_UNITS_IN_A_POUND, Surface
from service.planning.optimiser.tolerances import TAX_STEP_POUNDS
from service.planning.optimiser.work import PERSON_YEAR_ROUNDED, Work, year_made_up
from service.planning.projection.policies import (
    Policy,
    Projection,
    draw_for,
    draw_with_tax_free_part,
    settled_by,
    with_spending_met,
)
from service.planning.projection.settlement import Choice, Draw, Opened, Settled, settle
from service.planning.projection.timeline import Timeline

_MOST_TOP_UPS = 8
"""Tries at making up the pence that rounding left short of the spending."""

_AT_BREAKPOINT_PENCE = 2
"""An amount this near a breakpoint of the tax is the breakpoint: pence further, and more may be taxed at a higher rate."""

_DROPPED_PENCE = 1e-6
"""What a float may lack of a whole penny."""


def rounded(timeline: Timeline, relaxation: Relaxation, solution: Solution, work: Work) -> Projection:
    """The plan that does what the optimum does. RuleViolation where spending cannot be met."""
    work.add(PERSON_YEAR_ROUNDED * len(timeline.people) * len(timeline.periods))
    choose = _policy(timeline, relaxation, relaxation.amounts(solution))

    def settled(position: int, people: tuple[Opened, ...]) -> Settled:
        choice = choose(position, people)
        year = settle(timeline, position, people, choice)
        if not year.short:
            return year
        return with_spending_met(timeline, position, people, _topped_up(timeline, position, people, choice, year, work))

    return settled_by(timeline, settled)


def _policy(timeline: Timeline, relaxation: Relaxation, amounts: Amounts) -> Policy:
    assumed = timeline.household.assumptions
    paid_in = any(year.paid_in.own for years in timeline.people for year in years)
    early = assumed.spending_met != "end" and (paid_in or any(timeline.spending))
    # Cash that is not paid into ISAs may be worth it for its interest, or because it is spent within the next year.
    may_keep_cash = early or assumed.cash_interest > assumed.isa_growth
    with_each = timeline.household.lump_sums == "with_each_withdrawal"

    def draw(position: int, person: int, one: Opened) -> Draw:
        taxable = _taxable(relaxation, amounts, person, position, one)
        # Where both kinds of funds are taxed alike and all pensions grow alike, drawdown funds are drawn first.
        if not with_each and not one.pots:
            return draw_for(timeline, one, taxable)
        drawdown = min(round(amounts.drawdown[person][position] * POUND), taxable, one.most_drawdown)
        if not with_each:
            uncrystallised = min(taxable - drawdown, one.most_uncrystallised)
            return Draw(uncrystallised, min(taxable - uncrystallised, one.most_drawdown))
        rest = draw_with_tax_free_part(timeline, one, taxable - drawdown, one.most_uncrystallised)
        return Draw(rest.uncrystallised, min(drawdown + rest.drawdown, one.most_drawdown))

    def early_draws(position: int) -> tuple[Draw, ...]:
        both = zip(amounts.early_uncrystallised, amounts.early_drawdown, strict=True)
        return tuple(Draw(round(first[position] * POUND), round(then[position] * POUND)) for first, then in both)

    def cash_for_early(position: int) -> tuple[int, ...] | None:
        if position == len(timeline.periods):
            return None
        return tuple(round(owner[position] * POUND) for owner in amounts.early_cash)

    def choose(position: int, people: tuple[Opened, ...]) -> Choice:
        cash = [owner[position] for owner in amounts.cash]
        choice = Choice(
            draws=tuple(draw(position, person, one) for person, one in enumerate(people)),
            subscribe=round(amounts.subscribed[position] * POUND) if may_keep_cash and sum(cash) > 1 else None,
            from_isas=round(amounts.from_isas[position] * POUND) if may_keep_cash else 0,
            cash_of_first=round(cash[0] * POUND) if sum(cash) > 1 and assumed.cash_interest else None,
        )
        if early:
            choice = choice._replace(
                early_draws=early_draws(position),
                early_from_isas=round(amounts.early_from_isas[position] * POUND),
                cash_for_early=cash_for_early(position + 1),
            )
        return choice

    return choose


def _taxable(relaxation: Relaxation, amounts: Amounts, person: int, position: int, one: Opened) -> int:
    """The taxable withdrawal in pence: at a breakpoint of the tax if it is at one, else down to the penny.

    Some breakpoints are of income and some of income with interest. The interest may be pennies more than the relaxation's, and
    then that much less is withdrawn, so that neither kind is passed.
    """
    domain = relaxation.domains[person][position]
    other_income = one.year.taxpayer.other_income  # with a small pot, which the relaxation may have left open
    income = other_income + amounts.withdrawn[person][position] * POUND
    expected = domain.savings + round(relaxation.interest(amounts, person, position) * POUND)
    near = _AT_BREAKPOINT_PENCE
    breakpoints = domain.breakpoints(expected, int(income) - near, int(income) + near + 1)
    nearest = min(breakpoints, key=lambda amount: abs(amount - income), default=None)
    if nearest is not None and abs(nearest - income) <= near:
        more = one.year.taxpayer.savings + one.interest - expected if position else 0
        withdrawal = max(0, nearest - other_income - max(0, more))
        if one.year.taxpayer.marriage_allowance == "gives":
            return _past_loss(domain.under("gives"), one, withdrawal)
        return _before_step(domain.surface, one, withdrawal)
    return max(0, int(income + _DROPPED_PENCE) - other_income)


def _past_loss(surface: Surface, one: Opened, taxable: int) -> int:
    """The same withdrawal, or just so much more that the marriage allowance is lost where the surface has it lost: it may be
    open a little longer, and the own tax is less without it."""
    open_still = one.year.liability(one.interest, taxable).marriage_allowance_open
    if not open_still or taxable + one.year.taxpayer.other_income + one.year.taxpayer.savings + one.interest <= (
        surface.open_to
    ):
        return taxable

    def lost(withdrawal: int) -> bool:
        return not one.year.liability(one.interest, withdrawal).marriage_allowance_open

    scales = one.year.rules.scales
    reach = taxable + scales.savings_allowances[0] + scales.dividend_allowance + POUND
    return taxable + bisect_left(range(taxable, reach), True, key=lost) if lost(reach) else taxable


def _before_step(surface: Surface, one: Opened, taxable: int) -> int:
    """The same withdrawal, or up to two pounds less if the rules' tax has a step just before it.

    In the taper of the personal allowance a step comes up to a stair sooner than on the surface. Who has no savings has no
    savings allowance to lose, and who has no marriage allowance none of that.
    """
    if not one.year.taxpayer.savings + one.interest and one.year.taxpayer.marriage_allowance == "none":
        return taxable

    def stepped(withdrawal: int) -> bool:
        income, savings = one.year.taxpayer.other_income + withdrawal, one.year.taxpayer.savings + one.interest
        found = one.year.liability(one.interest, withdrawal)
        return found.income_tax / TAX_UNITS_IN_A_POUND > surface.income_tax(income, savings) + TAX_STEP_POUNDS

    least = max(0, taxable - 2 * POUND)
    if not stepped(taxable) or stepped(least):
        return taxable
    return least + bisect_right(range(least, taxable), False, key=stepped) - 1


def _topped_up(
    timeline: Timeline, position: int, people: tuple[Opened, ...], choice: Choice, year: Settled, work: Work
) -> Choice:
    """The choice with a few pence more drawn, where rounding alone left the spending of the ``year`` short. Where more is short,
    the projection looks for what has to be drawn besides, which is counted here."""
    paid_in = any(years[position].paid_in.own for years in timeline.people)
    if not timeline.spending[position] and not timeline.household.minimum_cash and not paid_in:
        return choice
    short = year.short
    for _ in range(_MOST_TOP_UPS):
        if not 0 < short < POUND:
            break
        for other in _slightly_more(choice, people, 2 * short):
            still_short = settle(timeline, position, people, other).short
            if still_short < short:
                choice, short = other, still_short
                break
        else:
            break
    if short:
        work.add(year_made_up(timeline))
    return choice


def _slightly_more(choice: Choice, people: tuple[Opened, ...], more: int) -> Iterator[Choice]:
    """The choice with so much more of one draw, for each draw that it makes and has more to give."""
    for i, (one, drawn) in enumerate(zip(people, choice.draws, strict=True)):
        found = []
        if drawn.drawdown and drawn.drawdown + more <= one.most_drawdown:
            found.append(drawn._replace(drawdown=drawn.drawdown + more))
        if drawn.uncrystallised and drawn.uncrystallised + more <= one.most_uncrystallised:
            found.append(drawn._replace(uncrystallised=drawn.uncrystallised + more))
        for other in found:
            yield choice._replace(draws=(*choice.draws[:i], other, *choice.draws[i + 1 :]))
