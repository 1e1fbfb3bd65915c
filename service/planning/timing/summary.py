"""A lump sum timing answer in a few plain sentences, for a portal or a letter."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

from service.law.ages import age_on
from service.law.dates import day_month_year, month_year
from service.law.units import POUND
from service.planning.markets.told import WHOSE
from service.planning.timing.break_even import EQUAL, PARTS, growth_on_average
from service.planning.timing.comparison import DeathResult, PairBreakEvens, Ranking, Timing
from service.planning.timing.options import Option
from service.planning.timing.over_paths import OptionsOverPaths
from service.planning.wording import (
    ORDINALS,
    income_in_words,
    inside,
    listed,
    lump_sums_in_words,
    option_in_words,
    rounded_pounds,
    starting,
    who,
)

_PERCENT = 100  # basis points in one per cent

"""The places of as many options as there can be."""


def summary(result: Timing) -> list[str]:
    """What the answer comes to: what leaves most and by how much, tax, what beneficiaries receive, and what would change that."""
    if not result.by_wealth:
        return [f"None of the options can be carried out. {result.options[0].reason}"]
    return [
        *_wealth(result),
        *_income_tax(result),
        *_beneficiaries(result),
        *_changes(result),
        *_left_out(result),
        *_scenarios(result),
        *_several_pensions(result),
        *_impossible(result),
    ]


def on_many_courses(result: Timing) -> list[str]:
    """What many courses of markets come to: which option is the best on most, which is to be regretted least, what that leaves,
    how often spending is met, and whose the courses are."""
    found = result.over_paths
    return (
        [] if found is None else [*_regretted(result, found), *_left_on_courses(found), *_met_on_courses(found), WHOSE]
    )


def _regretted(result: Timing, found: OptionsOverPaths) -> Iterator[str]:
    """Which option is the best on most courses, and which loses the least at worst."""
    if len(found.options) == 1:
        return
    most = max(option.regret.best_in for option in found.options)
    first = [place for place, option in enumerate(found.options) if option.regret.best_in == most]
    yield f"{starting(_named(result, first))} {_leave(first)} the most, or as much as any, on {_courses(most, found.paths)}."
    loss = found.options[found.least_regret].regret.largest_loss
    if loss:
        yield (
            f"{starting(option_in_words(found.least_regret))} is never further behind the best than {rounded_pounds(loss)}, in "
            "prices of the start. The others can be."
        )


def _left_on_courses(found: OptionsOverPaths) -> Iterator[str]:
    """The middle and the ends of what is left, with the option that is to be regretted least."""
    left = found.options[found.least_regret].years[-1].wealth_in_prices_of_start
    half = "half of the courses leave"
    which = f"With {option_in_words(found.least_regret)}, {half}" if len(found.options) > 1 else starting(half)
    yield f"{which} {rounded_pounds(left.p50)} or less after tax at the end, in prices of the start."
    least = f"{rounded_pounds(left.p5)} or less" if left.p5 >= POUND else "nothing"
    yield f"At least one in twenty leaves {least}, and one in twenty more than {rounded_pounds(left.p95)}."


def _met_on_courses(found: OptionsOverPaths) -> Iterator[str]:
    """On how many courses spending is met."""
    met = [option.met_throughout for option in found.options]
    if min(met) == max(met):
        with_each = " with each option" if len(met) > 1 else ""
        yield f"Spending is met to the end on {_courses(met[0], found.paths)}{with_each}."
        return
    for place, paths in enumerate(met):
        yield f"With {option_in_words(place)}, spending is met to the end on {_courses(paths, found.paths)}."


def _courses(paths: int, of: int) -> str:
    """So many courses of markets."""
    count = f"all {of:,}" if paths == of else f"{paths:,} of {of:,}" if paths else f"none of {of:,}"
    return f"{count} courses of markets"


def described(option: Option) -> str:
    """An option in words."""
    return lump_sums_in_words(option.lump_sums, option.age, option.yearly if isinstance(option.yearly, int) else None)


def _in_words(result: Timing, position: int) -> str:
    """An option by its place, and what it is; with what is drawn besides where options differ in it."""
    option = result.question.options[position]
    words = f"{option_in_words(position)}, {described(option)}"
    return f"{words} and {income_in_words(option.goal)}" if _differ_in_goal(result) else words


def _differ_in_goal(result: Timing) -> bool:
    return len({option.goal for option in result.question.options}) > 1


def _leaders(order: Ranking) -> list[int]:
    """The options that come first, within a pound."""
    return [placed.option for placed in order if abs(placed.amount - order[0].amount) <= EQUAL]


def _named(result: Timing, positions: Sequence[int]) -> str:
    """Options by their places inside a sentence."""
    if len(positions) == 1:
        return option_in_words(positions[0])
    if len(positions) == len(result.options) > 2:
        return "all options"
    return f"the {listed([ORDINALS[position] for position in sorted(positions)])} options"


def _the_most(leaders: Sequence[int], order: Ranking) -> str:
    """What those that come first of an order leave, if there are others or only one."""
    return "the same" if len(leaders) == len(order) > 1 else "the most"


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
        else f"When {_person(result, 0)} is {question.to_age}"
    )
    in_prices = totals.wealth_in_prices_of_start
    as_prices_were = f", or {rounded_pounds(in_prices)} in the prices of {month_year(question.household.start)}"
    after_tax = f"{rounded_pounds(best.amount)} after tax{as_prices_were if in_prices != best.amount else ''}"
    if len(result.options) == 1:
        yield f"{when}, the only option, {described(question.options[0])}, leaves {after_tax}."
        return
    if len(first) > 1:
        leads = f"{_named(result, first)} leave {_the_most(first, result.by_wealth)}, within a pound."
    else:
        option = question.options[best.option]
        leads = f"{option_in_words(best.option)} leaves the most: {described(option)}."
        if _differ_in_goal(result):
            leads += f" With it, {income_in_words(option.goal)}."
    yield f"{when}, {leads} That is {after_tax}."
    rest = result.by_wealth[len(first) :]
    for placed in (rest[0], rest[-1]) if len(rest) > 1 else rest:
        yield f"It is {rounded_pounds(best.amount - placed.amount)} more than {_in_words(result, placed.option)}."


def _income_tax(result: Timing) -> Iterator[str]:
    least, most = result.by_income_tax[0], result.by_income_tax[-1]
    if rounded_pounds(least.amount) == rounded_pounds(most.amount):
        if len(result.by_income_tax) > 1:
            yield f"All options pay the same income tax, {rounded_pounds(least.amount)}."
        return
    paying_least = [placed.option for placed in result.by_income_tax if placed.amount == least.amount]
    paying_most = [placed.option for placed in result.by_income_tax if placed.amount == most.amount]
    yield (
        f"{starting(_named(result, paying_least))} {_pay(paying_least)} the least income tax, {rounded_pounds(least.amount)}. "
        f"{starting(_named(result, paying_most))} {_pay(paying_most)} the most, {rounded_pounds(most.amount)}."
    )


def _pay(positions: Sequence[int]) -> str:
    return "pays" if len(positions) == 1 else "pay"


def _beneficiaries(result: Timing) -> Iterator[str]:
    for k, order in enumerate(result.by_beneficiaries):
        if not order:
            continue
        found = result.options[order[0].option].deaths[k]
        first = _leaders(order)
        ahead = f", {_more(order, len(first), 'than from')}" if len(first) < len(order) else ""
        receive = f"If {_who_dies(result, found)}, beneficiaries would receive"
        amount = f"{rounded_pounds(order[0].amount)} after inheritance and income tax"
        if len(result.options) == 1:
            yield f"{receive} {amount}."
        else:
            yield f"{receive} {_the_most(first, order)} from {_named(result, first)}. That is {amount}{ahead}."


def _more(order: Ranking, leaders: int, than: str) -> str:
    """How far the first of an order are ahead of the one after them."""
    after = order[leaders]
    return f"{rounded_pounds(abs(order[0].amount - after.amount))} more {than} {option_in_words(after.option)}"


def _who_dies(result: Timing, found: DeathResult) -> str:
    assert found.outcome is not None
    first, *second = found.outcome.deaths
    if not second:
        return f"you die at {first.age}"
    return f"{_person(result, first.person)} dies at {first.age} and {_person(result, second[0].person)} at {second[0].age}"


def _person(result: Timing, place: int) -> str:
    """One of two people inside a sentence: by name, where it was given."""
    people = result.question.household.people
    return inside(who(place, len(people), people[place].name))


def _changes(result: Timing) -> Iterator[str]:
    """Where the order of the two best options changes."""
    if len(result.by_wealth) < 2:
        return
    best, second = result.by_wealth[0].option, result.by_wealth[1].option
    pair = next(one for one in result.break_evens if set(one.options) == {best, second})
    if pair.growth is not None:
        yield from _growth(result, pair)
    if pair.ages:
        born = result.question.household.people[0].date_of_birth
        last = pair.ages[-1]
        leader, other = pair.options[last.leader], pair.options[1 - last.leader]
        yield (
            f"From age {age_on(born, last.day)} ({day_month_year(last.day)}) to the end, {option_in_words(leader)} leaves more "
            f"than {option_in_words(other)}."
        )


def _left_out(result: Timing) -> Iterator[str]:
    """Break-evens for which the request left no work."""
    left = sum(not pair.complete for pair in result.break_evens)
    if left:
        yield (
            f"For {left} of {len(result.break_evens)} pairs of options, not every place where they change order is worked out. "
            "That is more work than one request may take. Ask about fewer options at a time."
        )


def _growth(result: Timing, pair: PairBreakEvens) -> Iterator[str]:
    """At which growth the two best options change places, if at any."""
    assert pair.growth is not None
    low, high = (_percent(Decimal(end)) for end in result.question.growth_range)
    best, second = result.by_wealth[0], result.by_wealth[1]
    household = result.question.household
    differ = household.assumptions.growths_differ
    on_average = " on average" if differ else ""
    if not pair.growth:
        if best.amount - second.amount > EQUAL:
            yield (
                f"Between {low} and {high} growth a year{on_average}, {option_in_words(best.option)} always leaves more than "
                f"{option_in_words(second.option)}."
            )
        return
    growth = growth_on_average(household)
    own = Decimal(growth.numerator) / Decimal(growth.denominator)
    rates = [_percent(own + Decimal(found.shift) / PARTS) for found in pair.growth]
    assumes = f"The comparison assumes {_percent(own)} a year{on_average}."
    if differ:
        assumes += " The growth of every pension is changed by as much."
    if len(rates) > 1:
        both = _named(result, (best.option, second.option))
        yield f"The order of {both} changes at growth of {listed(rates)} a year{on_average}. {assumes}"
        return
    (found,) = pair.growth
    more, less = (option_in_words(pair.options[leader]) for leader in (found.above, found.below))
    grow = "the pensions grow" if differ else "the pension grows"
    yield f"If {grow} by more than {rates[0]} a year{on_average}, {more} leaves more than {less}. {assumes}"


def _percent(basis_points: Decimal) -> str:
    return f"{basis_points / _PERCENT:.2f}%"


def _scenarios(result: Timing) -> Iterator[str]:
    leaders = _leaders(result.by_wealth)
    for name, order in result.by_scenario.items():
        if not order:
            yield f"In the {name} growth scenario, no option can be carried out."
            continue
        first = _leaders(order)
        if first != leaders:
            ahead = f", {_more(order, len(first), 'than')}" if len(first) < len(order) else ""
            yield f"In the {name} growth scenario, {_named(result, first)} {_leave(first)} {_the_most(first, order)}{ahead}."
    orders = [order for order in result.by_scenario.values() if order]
    if len(result.options) > 1 and orders and all(_leaders(order) == leaders for order in orders):
        most = _the_most(leaders, result.by_wealth)
        yield f"{starting(_named(result, leaders))} {_leave(leaders)} {most} in every growth scenario."


def _several_pensions(result: Timing) -> Iterator[str]:
    """From which of somebody's pensions money comes, where they are on different terms."""
    household = result.question.household
    if any(len(set(own)) > 1 for own in household.assumptions.pot_growths):
        yield "Of one person's pensions, the one that grows the least is used first, for lump sums and for income."
    if any(len({pot.protected_pension_age for pot in member.pots}) > 1 for member in household.people):
        yield "A pension is used only once its own minimum age is reached."


def _impossible(result: Timing) -> Iterator[str]:
    for i, found in enumerate(result.options):
        if found.course is None:
            yield f"{starting(_in_words(result, i))}, cannot be carried out. {found.reason}"
