"""A lump sum timing answer in a few plain sentences, for a portal or a letter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from service.law.ages import age_on
from service.law.dates import day_month_year
from service.planning.timing.break_even import EQUAL, PARTS
from service.planning.timing.comparison import DeathResult, PairBreakEvens, Ranking, Timing
from service.planning.timing.options import SPENDING_ONLY, Option
from service.planning.wording import listed, pounds, starting

_PERCENT = 100  # basis points in one per cent


def summary(result: Timing) -> list[str]:
    """What the answer comes to: what leaves most and by how much, tax, what beneficiaries receive, and what would change that."""
    if not result.by_wealth:
        return [f"None of the options can be carried out. {result.options[0].reason}"]
    return [
        *_wealth(result),
        *_income_tax(result),
        *_heirs(result),
        *_changes(result),
        *_left_out(result),
        *_scenarios(result),
        *_impossible(result),
    ]


def described(option: Option) -> str:
    """An option in words."""
    when = {
        "all_now": "all tax-free cash now",
        "phased": "tax-free cash in stages that fit the ISA allowance",
        "with_income": "a quarter tax free with each withdrawal",
        "at_age": f"all tax-free cash at {option.age}",
        "never": "no tax-free cash",
    }[option.take]
    if isinstance(option.yearly, int):
        when = f"tax-free cash in stages of {pounds(option.yearly)} a year"
    return when


def _option(position: int) -> str:
    """An option by its number inside a sentence."""
    return f"option {position + 1}"


def _in_words(result: Timing, position: int) -> str:
    """What an option is, with its income plan where options differ in it."""
    options = result.question.options
    words = described(options[position])
    if len({option.fill for option in options}) > 1:
        fill = options[position].fill
        words += (
            ", with only spending drawn"
            if fill == SPENDING_ONLY
            else f", with income that fills the {fill.replace('_', ' ')}"
        )
    return words


def _leaders(order: Ranking) -> list[int]:
    """The options that come first, within a pound."""
    return [placed.option for placed in order if abs(placed.amount - order[0].amount) <= EQUAL]


def _named(positions: Sequence[int]) -> str:
    """Options by their numbers inside a sentence."""
    if len(positions) == 1:
        return _option(positions[0])
    return f"options {listed([str(position + 1) for position in positions])}"


def _leave(positions: Sequence[int]) -> str:
    return "leaves" if len(positions) == 1 else "leave"


def _wealth(result: Timing) -> Iterator[str]:
    best, first = result.by_wealth[0], _leaders(result.by_wealth)
    totals = result.options[best.option].totals
    assert totals is not None
    question = result.question
    when = (
        f"At {question.to_age}"
        if len(question.household.people) == 1
        else f"When the first person is {question.to_age}"
    )
    what = f": {_in_words(result, best.option)}" if len(first) == 1 else ", within a pound"
    yield (
        f"{when}, {_named(first)} {_leave(first)} the most{what}. That is {pounds(best.amount)} after tax, or "
        f"{pounds(totals.wealth_in_todays_prices)} in {question.household.start:%B %Y} prices."
    )
    rest = result.by_wealth[len(first) :]
    for placed in (rest[0], rest[-1]) if len(rest) > 1 else rest:
        more = pounds(abs(best.amount - placed.amount))
        yield f"It is {more} more than {_option(placed.option)}, {_in_words(result, placed.option)}."


def _income_tax(result: Timing) -> Iterator[str]:
    least, most = result.by_income_tax[0], result.by_income_tax[-1]
    if least.amount == most.amount:
        if len(result.by_income_tax) > 1:
            yield f"All options pay the same income tax, {pounds(least.amount)}."
        return
    yield (
        f"{starting(_option(least.option))} pays the least income tax, {pounds(least.amount)}. "
        f"{starting(_option(most.option))} pays the most, {pounds(most.amount)}."
    )


def _heirs(result: Timing) -> Iterator[str]:
    for k, order in enumerate(result.by_heirs):
        if not order:
            continue
        found = result.options[order[0].option].deaths[k]
        first = _leaders(order)
        yield (
            f"If {_who_dies(found)}, beneficiaries would receive the most from {_named(first)}. That is "
            f"{pounds(order[0].amount)} after inheritance and income tax{_more(order, len(first), 'than from')}."
        )


def _more(order: Ranking, leaders: int, than: str) -> str:
    """How far the first of an order are ahead of the one after them; empty where there is none."""
    if leaders == len(order):
        return ""
    after = order[leaders]
    return f", {pounds(abs(order[0].amount - after.amount))} more {than} {_option(after.option)}"


def _who_dies(found: DeathResult) -> str:
    assert found.outcome is not None
    first, *second = found.outcome.deaths
    if not second:
        return f"you die at {first.age}"
    names = ("the first person", "the second person")
    return f"{names[first.person]} dies at {first.age} and {names[second[0].person]} at {second[0].age}"


def _changes(result: Timing) -> Iterator[str]:
    """Where the order of the two best options changes."""
    if len(result.by_wealth) < 2:
        return
    best, second = result.by_wealth[0].option, result.by_wealth[1].option
    pair = next(one for one in result.break_evens if set(one.options) == {best, second})
    if pair.growth is not None:
        yield _growth(result, pair, starting(_named((best, second))))
    if pair.ages:
        born = result.question.household.people[0].date_of_birth
        last = pair.ages[-1]
        leader, other = pair.options[last.leader], pair.options[1 - last.leader]
        yield (
            f"From age {age_on(born, last.day)} ({day_month_year(last.day)}) to the end, {_option(leader)} leaves more than "
            f"{_option(other)}."
        )


def _left_out(result: Timing) -> Iterator[str]:
    """Break-evens for which the request left no work."""
    left = sum(not pair.complete for pair in result.break_evens)
    if left:
        yield (
            f"For {left} of {len(result.break_evens)} pairs of options not all is worked out about where they change places: "
            "this is more than is done for one request. Ask about fewer options at a time."
        )


def _growth(result: Timing, pair: PairBreakEvens, options: str) -> str:
    assert pair.growth is not None
    low, high = (_percent(Decimal(end)) for end in result.question.growth_range)
    if not pair.growth:
        return f"{options} stay in this order at any pension growth from {low} to {high} a year."
    own = Decimal(result.question.household.assumptions.pension_growth.numerator) / Decimal(
        result.question.household.assumptions.pension_growth.denominator
    )
    rates = [_percent(own + Decimal(found.shift) / PARTS) for found in pair.growth]
    return (
        f"The order of {options.lower()} changes at pension growth of {listed(rates)} a year. The comparison assumes "
        f"{_percent(own)}."
    )


def _percent(basis_points: Decimal) -> str:
    return f"{basis_points / _PERCENT:.2f}%"


def _scenarios(result: Timing) -> Iterator[str]:
    best = result.by_wealth[0].option
    for name, order in result.by_scenario.items():
        if not order:
            yield f"In the {name} scenario, no option can be carried out."
        elif order[0].option != best:
            first = _leaders(order)
            yield f"In the {name} scenario, {_named(first)} {_leave(first)} the most{_more(order, len(first), 'than')}."
    orders = [order for order in result.by_scenario.values() if order]
    if orders and all(order[0].option == best for order in orders):
        yield f"{starting(_option(best))} leaves the most in every scenario asked for."


def _impossible(result: Timing) -> Iterator[str]:
    for i, found in enumerate(result.options):
        if found.course is None:
            yield f"{starting(_option(i))}, {_in_words(result, i)}, cannot be carried out. {found.reason}"
