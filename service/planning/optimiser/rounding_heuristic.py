"""A model's answer as a plan to the penny."""

from __future__ import annotations

from service.planning.optimiser.relaxation import HouseholdModel, Solution
from service.planning.projection.policies import Policy, Projection, draw_for, draw_with_tax_free_part, projected
from service.planning.projection.settlement import Choice, Draw, Opened, settle
from service.planning.projection.timeline import Timeline

_LAST_PENNIES = 8  # tries at making up what rounding left short
_SNAP = 0.02  # pounds: an amount this near a corner is the corner
_POUND = 100  # pence


def carried_out(timeline: Timeline, model: HouseholdModel, solution: Solution) -> Projection:
    """The plan that does what the answer does. RuleViolation where spending cannot be met."""
    return projected(timeline, _policy(timeline, model, solution))


def _policy(timeline: Timeline, model: HouseholdModel, solution: Solution) -> Policy:
    assumed = timeline.household.assumptions
    prefers_cash = assumed.cash_interest > assumed.isa_growth
    with_each = timeline.household.lump_sums == "with_each_withdrawal"

    def draw(position: int, person: int, one: Opened) -> Draw:
        taxable = _taxable(model, solution, person, position, one)
        if not with_each:
            return draw_for(timeline, one, taxable)
        drawdown = min(round(solution.drawdown[person][position] * _POUND), taxable, one.most_drawdown)
        rest = draw_with_tax_free_part(timeline, one, taxable - drawdown, one.most_uncrystallised)
        return Draw(rest.uncrystallised, min(drawdown + rest.drawdown, one.most_drawdown))

    def choose(position: int, people: tuple[Opened, ...]) -> Choice:
        cash = [owner[position] for owner in solution.cash]
        choice = Choice(
            draws=tuple(draw(position, person, one) for person, one in enumerate(people)),
            subscribe=round(solution.subscribed[position] * _POUND) if prefers_cash else None,
            from_isas=round(solution.from_isas[position] * _POUND) if prefers_cash else 0,
            cash_of_first=round(cash[0] * _POUND) if sum(cash) > 1 and assumed.cash_interest else None,
        )
        return _with_last_pennies(timeline, position, people, choice)

    return choose


def _taxable(model: HouseholdModel, solution: Solution, person: int, position: int, one: Opened) -> int:
    """The taxable withdrawal in pence: at a corner of the tax if it is at one, else down to the penny.

    Some corners are of income and some of income with interest. The interest may be pennies more than the model's, and
    then that much less is withdrawn, so that neither kind is passed.
    """
    ground = model.grounds[person][position]
    withdrawn = solution.withdrawn[person][position]
    income = withdrawn + ground.income / _POUND
    expected = ground.savings + round(model.interest(solution, person, position) * _POUND)
    for corner in ground.corners(expected):
        if abs(corner - income) <= _SNAP:
            more = one.year.taxpayer.savings + one.interest - expected if position else 0
            return max(0, round(corner * _POUND) - ground.income - max(0, more))
    return max(0, int(withdrawn * _POUND + 1e-6))


def _with_last_pennies(timeline: Timeline, position: int, people: tuple[Opened, ...], choice: Choice) -> Choice:
    """The choice with a few pence more drawn, where rounding alone left the spending short."""
    for _ in range(_LAST_PENNIES):
        short = settle(timeline, position, people, choice).short
        if not 0 < short < _POUND:
            break
        draws = list(choice.draws)
        for i, (one, drawn) in enumerate(zip(people, draws, strict=True)):
            if drawn.drawdown and drawn.drawdown + 2 * short <= one.most_drawdown:
                draws[i] = drawn._replace(drawdown=drawn.drawdown + 2 * short)
                break
            if drawn.uncrystallised and drawn.uncrystallised + 2 * short <= one.most_uncrystallised:
                draws[i] = drawn._replace(uncrystallised=drawn.uncrystallised + 2 * short)
                break
        choice = choice._replace(draws=tuple(draws))
    return choice
