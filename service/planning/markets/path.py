"""One plan on one course of markets, to the penny: the plain aim applied each year to what there is."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from service.law.rulebook import RuleBook
from service.planning.faults import RuleViolation
from service.planning.markets.returns import MarketPath, YearReturns
from service.planning.projection.policies import (
    PlainPlan,
    Policy,
    evenly_from_state_pension_age,
    filling,
    with_spending_met,
)
from service.planning.projection.settlement import (
    Choice,
    Draw,
    Holdings,
    Opened,
    Settled,
    first_holdings,
    opened,
    settle,
)
from service.planning.projection.timeline import Timeline, timeline


class PathYears(NamedTuple):
    """The tax years of one path. ``whole`` has its prices; ``each`` has for every period the rates of its year."""

    whole: Timeline
    each: tuple[Timeline, ...]


def years_of(base: Timeline, path: MarketPath, book: RuleBook) -> PathYears:
    """The tax years of a plan on a path. What prices do not move is the plan's own, and what it remembers of the rules."""
    assumed = base.household.assumptions
    whole = base
    if any(year.prices != assumed.price_inflation for year in path):
        assumed = replace(assumed, price_rises=tuple(year.prices for year in path))
        whole = timeline(replace(base.household, assumptions=assumed), book)
    return PathYears(whole, tuple(in_a_year(whole, year) for year in path))


def in_a_year(whole: Timeline, year: YearReturns) -> Timeline:
    """The same tax years with the rates of one of them, but for those of prices."""
    assumed = whole.household.assumptions
    if (year.pension, year.isa, year.cash) == (assumed.pension_growth, assumed.isa_growth, assumed.cash_interest):
        return whole
    household = whole.household.assuming(assumed.with_rates(year.pension, year.isa, year.cash))
    return Timeline(household, whole.periods, whole.people, whole.spending, whole.state_pension_from)


def carried_out(years: PathYears, plan: PlainPlan) -> Iterator[Settled]:
    """Each period settled. Where the spending of one cannot be met, all that may be drawn is drawn, what there is is spent, and
    the plan goes on with what is left."""
    policy = policy_of(years.whole, plan)
    holdings: tuple[Holdings, ...] = first_holdings(years.whole)
    for position, year in enumerate(years.each):
        people = opened(year, position, holdings)
        settled = met_as_far_as_possible(year, position, people, policy(position, people))
        yield settled
        holdings = settled.holdings


def policy_of(whole: Timeline, plan: PlainPlan) -> Policy:
    """The policy of a plain plan."""
    return evenly_from_state_pension_age(whole) if plan == "evenly" else filling(whole, plan)


def met_as_far_as_possible(year: Timeline, position: int, people: tuple[Opened, ...], choice: Choice) -> Settled:
    """The period settled. Where its spending cannot be met, all that may be drawn is drawn and what there is is spent."""
    try:
        return with_spending_met(year, position, people, choice)
    except RuleViolation:
        everything = tuple(Draw(person.most_uncrystallised, person.most_drawdown) for person in people)
        return settle(year, position, people, Choice(everything))
