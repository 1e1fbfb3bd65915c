"""A lump sum timing answer in a few plain sentences, for a portal or a letter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from service.law.ages import age_on
from service.planning.timing.break_even import EQUAL, PARTS
from service.planning.timing.comparison import DeathResult, PairBreakEvens, Ranking, Timing
from service.planning.timing.options import SPENDING_ONLY, Option
from service.planning.wording import pounds

_PERCENT = 100  # basis points in one per cent


def summary(result: Timing) -> list[str]:
    """What the answer comes to: what leaves most and by how much, tax, what heirs receive, and what would change that."""
    if not result.by_wealth:
        return ["None of the options can be carried out: " + result.options[0].reason]
    return [
        *_wealth(result),
        *_income_tax(result),
        *_heirs(result),
        *_changes(result),
        *_scenarios(result),
        *_impossible(result),
    ]


def described(option: Option) -> str:
    """An option in words."""
    when = {
        "all_now": "all tax-free cash now",
        "phased": "tax-free cash in stages that fit into ISAs",
        "with_income": "tax-free cash with each withdrawal",
        "at_age": f"all tax-free cash at {option.age}",
        "never": "no tax-free cash",
    }[option.take]
    if isinstance(option.yearly, int):
        when = f"tax-free cash in stages of {pounds(option.yearly)} a year"
    return when


def _named(result: Timing, position: int) -> str:
    """An option in words, with its income plan where options differ in it."""
    options = result.question.options
    words = described(options[position])
    if len({option.fill for option in options}) > 1:
        fill = options[position].fill
        words += (
            " (drawing only what is spent)" if fill == SPENDING_ONLY else f" (filling the {fill.replace('_', ' ')})"
        )
    if sum(_same(option, options[position]) for option in options) > 1:
        words += f" (option {position + 1})"
    return words


def _same(one: Option, other: Option) -> bool:
    return described(one) == described(other) and one.fill == other.fill


def _start(words: str) -> str:
    return words[0].upper() + words[1:]


def _lead(result: Timing, order: Ranking) -> tuple[str, str]:
    """The options that come first (within a pound) in words, and how far they are ahead, in words."""
    best = order[0].amount
    first = [placed for placed in order if abs(placed.amount - best) <= EQUAL]
    words = " and ".join(_named(result, placed.option) for placed in first)
    rest = order[len(first) :]
    if not rest:
        return words, ""
    difference = pounds(abs(best - rest[0].amount))
    ahead = f"{difference} ahead of {_named(result, rest[0].option)}"
    if len(rest) > 1:
        ahead += f" and {pounds(abs(best - rest[-1].amount))} ahead of {_named(result, rest[-1].option)}"
    return words, ahead


def _wealth(result: Timing) -> Iterator[str]:
    best = result.by_wealth[0]
    totals = result.options[best.option].totals
    assert totals is not None
    words, ahead = _lead(result, result.by_wealth)
    yield (
        f"By age {result.question.to_age} the most is left by {words}: {pounds(best.amount)} after tax, "
        f"{pounds(totals.wealth_in_todays_prices)} in today's prices{f'; {ahead}' if ahead else ''}."
    )


def _income_tax(result: Timing) -> Iterator[str]:
    least, most = result.by_income_tax[0], result.by_income_tax[-1]
    if least.amount == most.amount:
        if len(result.by_income_tax) > 1:
            yield f"All options pay the same income tax over these years, {pounds(least.amount)}."
        return
    yield (
        f"Income tax over these years is least with {_named(result, least.option)}, {pounds(least.amount)}, and most with "
        f"{_named(result, most.option)}, {pounds(most.amount)}."
    )


def _heirs(result: Timing) -> Iterator[str]:
    for k, order in enumerate(result.by_heirs):
        if not order:
            continue
        found = result.options[order[0].option].deaths[k]
        words, ahead = _lead(result, order)
        yield (
            f"If {_who_dies(result, found)}, heirs receive the most with {words}: {pounds(order[0].amount)} after all "
            f"taxes{f'; {ahead}' if ahead else ''}."
        )


def _who_dies(result: Timing, found: DeathResult) -> str:
    assert found.outcome is not None
    first, *second = found.outcome.deaths
    if not second:
        return f"this person dies at {first.age}"
    names = ("the first person", "the second person")
    return f"{names[first.person]} dies at {first.age} and {names[second[0].person]} at {second[0].age}"


def _changes(result: Timing) -> Iterator[str]:
    """Where the two best options change places."""
    if len(result.by_wealth) < 2:
        return
    best, second = result.by_wealth[0].option, result.by_wealth[1].option
    pair = next(one for one in result.break_evens if set(one.options) == {best, second})
    names = f"{_named(result, best)} and {_named(result, second)}"
    if pair.growth is not None:
        yield _start(f"{names} {_growth(result, pair)}")
    if pair.ages:
        born = result.question.household.people[0].date_of_birth
        last = pair.ages[-1]
        leads = _named(result, pair.options[last.leader])
        yield (
            f"From {last.day.isoformat()}, at age {age_on(born, last.day)}, {leads} is ahead of the other of these two to "
            "the end."
        )


def _growth(result: Timing, pair: PairBreakEvens) -> str:
    assert pair.growth is not None
    low, high = (_percent(Decimal(end)) for end in result.question.growth_range)
    if not pair.growth:
        return f"never change places within the range: not at any pension growth from {low} to {high} a year."
    own = Decimal(result.question.household.assumptions.pension_growth.numerator) / Decimal(
        result.question.household.assumptions.pension_growth.denominator
    )
    rates = [_percent(own + Decimal(found.shift) / PARTS) for found in pair.growth]
    return f"change places at a pension growth of {_listed(rates)} a year; {_percent(own)} is assumed."


def _percent(basis_points: Decimal) -> str:
    return f"{basis_points / _PERCENT:.2f}%"


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _scenarios(result: Timing) -> Iterator[str]:
    best = result.by_wealth[0].option
    for name, order in result.by_scenario.items():
        if not order:
            yield f"In the {name} scenario none of the options can be carried out."
        elif order[0].option != best:
            words, ahead = _lead(result, order)
            yield f"In the {name} scenario the most is left by {words}{f', {ahead}' if ahead else ''}."
    orders = [order for order in result.by_scenario.values() if order]
    if orders and all(order[0].option == best for order in orders):
        yield "The option that leaves the most is the same in each scenario asked for."


def _impossible(result: Timing) -> Iterator[str]:
    for i, found in enumerate(result.options):
        if found.course is None:
            yield f"Not possible: {_named(result, i)}. {found.reason}"
