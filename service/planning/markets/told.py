"""What many courses of markets come to, in a few sentences for a client."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from service.law.dates import day_month_year
from service.law.units import POUND
from service.planning.markets.markets import Compared, OverPaths
from service.planning.projection.policies import PlainPlan
from service.planning.wording import inside, lump_sums_in_words, rounded_pounds, who

_PLANS: Mapping[PlainPlan, str] = {
    "personal_allowance": "filling the personal allowance",
    "basic_rate_band": "filling the basic rate band",
    "higher_rate_band": "filling the higher rate band",
    "evenly": "equal shares up to age 90, from State Pension age at the earliest",
}
WHOSE = (
    "The courses of markets come from assumptions that were given with the request. They are not a forecast, and what really "
    "happens will differ."
)


def told(found: OverPaths) -> tuple[str, ...]:
    """The sentences, most important first."""
    return (*_spending(found), *_wealth(found), *_first_year(found), *_compared(found), WHOSE)


def _spending(found: OverPaths) -> Iterator[str]:
    last, worst = found.years[-1].period.last, found.worst
    throughout = found.met_throughout
    if throughout == found.paths:
        yield f"Spending is met until {day_month_year(last)} on all {found.paths:,} courses of markets."
        return
    share = f"{throughout:,} of {found.paths:,}" if throughout else f"none of {found.paths:,}"
    yield f"Spending is met until {day_month_year(last)} on {share} courses of markets."
    if worst.fails is not None:
        year = found.years[worst.fails].period.name
        yield f"On the worst course, the money first falls short of spending in {year}."


def _wealth(found: OverPaths) -> Iterator[str]:
    wealth = found.wealth_after_tax_in_prices_of_start
    yield f"At the end, half of them leave {rounded_pounds(wealth.p50)} or less after tax, in prices of the start."
    least = f"{rounded_pounds(wealth.p5)} or less" if wealth.p5 >= POUND else "nothing"
    yield f"At least one in twenty leaves {least}, and one in twenty more than {rounded_pounds(wealth.p95)}."


def _first_year(found: OverPaths) -> Iterator[str]:
    name, people = found.years[0].period.name, found.first_years[0]
    for place, person in enumerate(people):
        whose = f" by {inside(who(place, len(people), found.names[place]))}" if len(people) > 1 else ""
        lowest, highest = rounded_pounds(person.withdrawn.lowest), rounded_pounds(person.withdrawn.highest)
        if person.withdrawn.highest == 0:
            yield f"In {name}, nothing is drawn from pensions{whose}."
        elif person.withdrawn.lowest == person.withdrawn.highest:
            yield f"In {name}, {lowest} is drawn from pensions{whose}, the same on all courses."
        else:
            yield f"In {name}, from {lowest} to {highest} is drawn from pensions{whose}."


def _compared(found: OverPaths) -> Iterator[str]:
    if not found.compared:
        return
    least = found.compared[found.least_regret]
    yield (
        f"Of the {len(found.compared)} plans compared, {named(least)} is never further behind the best than "
        f"{rounded_pounds(least.regret.largest_loss)}, in prices of the start. The others can be."
    )


def named(compared: Compared) -> str:
    """An option in words."""
    option = compared.option
    return _PLANS[option.plan] + ("" if option.lump_sums is None else f" with {lump_sums_in_words(option.lump_sums)}")
