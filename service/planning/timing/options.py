"""One way of taking tax-free cash, carried out over the tax years of a household, to the penny.

Lump sums are taken, and cash that waits is subscribed, on a period's first day; then everything grows; then the income of
the option is drawn on 5 April (``projection.settle``). In a part of a tax year that ends before 5 April, because somebody
dies or the years end, only what spending needs is drawn.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, get_args

from service.law import lump_sums
from service.law.ages import age_on
from service.law.pension_age import may_take_benefits
from service.law.units import Pence, Years
from service.law.value import Value
from service.planning.household import LumpSums, YearlyRate
from service.planning.markets.path import in_a_year, met_as_far_as_possible
from service.planning.markets.returns import MarketPath
from service.planning.projection.policies import Band, draw_filling, with_spending_met
from service.planning.projection.pots import after_lump_sum
from service.planning.projection.settlement import (
    NO_DRAW,
    Choice,
    Holdings,
    Opened,
    PersonRecord,
    Settled,
    cash_left,
    first_holdings,
    opened,
    settle,
    shared,
    subscriptions,
    wealth_after_tax,
)
from service.planning.projection.timeline import Timeline
from service.planning.projection.within_the_year import missed, missed_rate, most_out

Way = Literal["all_now", "phased", "with_each_withdrawal", "at_age", "never"]

WAYS: tuple[Way, ...] = get_args(Way)
"""The ways to take tax-free cash."""

ISA_ALLOWANCE = "isa_allowance"
"""In stages as large as the household's ISA allowances."""

SPENDING_ONLY: Literal["spending_only"] = "spending_only"
"""The income plan that draws only what spending needs beyond cash and ISAs."""

_HELD_AS: Mapping[Way, LumpSums] = {"with_each_withdrawal": "with_each_withdrawal", "never": "never"}


@dataclass(frozen=True, slots=True)
class Option:
    """One of ``WAYS`` with what is drawn besides: ``goal`` is a band or SPENDING_ONLY. ``yearly`` is for "phased": pence for the
    household, or ISA_ALLOWANCE, which None also means; ``age`` is for "at_age"."""

    lump_sums: Way
    goal: Band | Literal["spending_only"]
    yearly: Pence | str | None = None
    age: Years | None = None


class FirstDay(Value, frozen=True):
    """One person on the first day of a period: the lump sum taken, what went into ISAs, what came from the partner (negative
    for what went there)."""

    before: Holdings
    lump_sum: Pence
    subscribed: Pence
    moved: Pence
    after: Holdings


class CoursePeriod(Value, frozen=True):
    """A period of an option: its first day, and its last."""

    begun: tuple[FirstDay, ...]
    settled: Settled

    def people(self) -> Iterator[tuple[FirstDay, PersonRecord]]:
        """Everybody's first day with their last."""
        return zip(self.begun, self.settled.people, strict=True)


class Inherited(NamedTuple):
    """Pension money inherited free of income tax, pence, and what it grows by a year: None where that is what the heir's own
    pensions grow by."""

    amount: Pence
    growth: YearlyRate | None = None


class Course(NamedTuple):
    """An option carried out. ``inherited`` is what is left of pension money inherited free of income tax."""

    timeline: Timeline
    option: Option
    years: tuple[CoursePeriod, ...]
    inherited: tuple[Inherited, ...] = ()

    @property
    def holdings(self) -> tuple[Holdings, ...]:
        """What everybody holds at the end."""
        return self.years[-1].settled.holdings

    @property
    def wealth(self) -> Pence:
        """Wealth after tax at the end, pence of that day."""
        return self.wealth_at(len(self.years) - 1)

    @property
    def income_tax(self) -> Pence:
        """All income tax, pence."""
        return sum(record.income_tax for year in self.years for record in year.settled.people)

    def wealth_at(self, position: int) -> Pence:
        """Wealth after tax at the end of a period, pence of that day."""
        return wealth_after_tax(self.timeline, self.years[position].settled.holdings, position)


def option_timeline(timeline: Timeline, option: Option) -> Timeline:
    """The same tax years, with lump sums taken as the option takes them."""
    return with_lump_sums(timeline, _HELD_AS.get(option.lump_sums, "separately"))


def with_lump_sums(timeline: Timeline, how: LumpSums) -> Timeline:
    """The same tax years with another way of taking lump sums."""
    return replace(timeline, household=replace(timeline.household, lump_sums=how))


def carried_out(
    timeline: Timeline,
    option: Option,
    start: Sequence[Holdings] | None = None,
    *,
    begins: int = 0,
    inherited: tuple[Inherited, ...] = (),
    path: MarketPath | None = None,
) -> Course:
    """An option over the periods from ``begins`` on, from given holdings. RuleViolation where spending cannot be met.

    ``inherited`` is pension money inherited free of income tax by the one person there is. It is drawn only for spending that
    cash and ISAs do not cover, before any more of the person's own pension, and in the order in which it is given. With a
    ``path``, its rates for each period hold and not those assumed, and spending that cannot be met ends nothing: it is met as far
    as there is money.
    """
    timeline = option_timeline(timeline, option)
    years = []
    for period, left in _periods(timeline, option, _held(timeline, start), begins, inherited, path):
        years.append(period)
        inherited = left
    return Course(timeline, option, tuple(years), inherited)


def wealth_left(
    timeline: Timeline, option: Option, start: Sequence[Holdings] | None = None, *, begins: int = 0
) -> Pence:
    """Wealth after tax at the end of an option carried out, pence of that day; the same as ``carried_out(...).wealth``."""
    timeline = option_timeline(timeline, option)
    *_, (last, _) = _periods(timeline, option, _held(timeline, start), begins, (), None)
    return wealth_after_tax(timeline, last.settled.holdings)


def _held(timeline: Timeline, start: Sequence[Holdings] | None) -> tuple[Holdings, ...]:
    return tuple(first_holdings(timeline) if start is None else start)


def _periods(
    whole: Timeline,
    option: Option,
    holdings: tuple[Holdings, ...],
    begins: int,
    inherited: tuple[Inherited, ...],
    path: MarketPath | None,
) -> Iterator[tuple[CoursePeriod, tuple[Inherited, ...]]]:
    """Each period of an option, with what is left of inherited pension money at its end."""
    settle_it = with_spending_met if path is None else met_as_far_as_possible
    for position in range(begins, len(whole.periods)):
        timeline = whole if path is None else in_a_year(whole, path[position])
        begun = first_day(timeline, position, holdings, option)
        people = opened(timeline, position, [one.after for one in begun], [one.subscribed for one in begun])
        choice = _drawn(timeline, position, people, option)
        if inherited and any(one.amount for one in inherited):
            short = settle(timeline, position, people, choice).short
            drawn, inherited = _from_inherited(timeline, position, inherited, short)
            if drawn:
                people = (_receiving(people[0], drawn), *people[1:])
        settled = settle_it(timeline, position, people, choice)
        yield CoursePeriod(begun, settled), inherited
        holdings = settled.holdings


def _from_inherited(
    timeline: Timeline, position: int, inherited: Sequence[Inherited], short: Pence
) -> tuple[Pence, tuple[Inherited, ...]]:
    """What inherited pension money pays of what spending is short of, and what is left of it, grown."""
    paid, left = 0, []
    for one in inherited:
        yearly = timeline.household.assumptions.pension_growth if one.growth is None else one.growth
        grown = one.amount + timeline.periods[position].growth(one.amount, yearly)
        rate = missed_rate(timeline, position, yearly)
        drawn = min(short - paid, most_out(grown, short - paid, rate))
        paid += drawn
        left.append(one._replace(amount=grown - drawn - missed(drawn, rate)))
    return paid, tuple(left)


def first_day(timeline: Timeline, position: int, holdings: Sequence[Holdings], option: Option) -> tuple[FirstDay, ...]:
    """Everybody's first day of a period: the lump sums of the option, then cash into ISAs as far as the allowances go."""
    open_pots = [_open_pots(timeline, position, i) if held.pots else () for i, held in enumerate(holdings)]
    taken = _lump_sums(timeline, position, holdings, option, open_pots)
    in_hand = [held.cash + lump_sum for held, lump_sum in zip(holdings, taken, strict=True)]
    if not any(in_hand):
        return tuple([FirstDay(held, 0, 0, 0, held) for held in holdings])
    rules = timeline.periods[position].rules.lump_sums
    spare = max(0, sum(in_hand) - timeline.household.minimum_cash)
    subscribed = subscriptions(in_hand, _isa_allowances_left(timeline, position), spare)
    left = cash_left(in_hand, subscribed)
    return tuple(
        [
            FirstDay(
                held,
                lump_sum,
                into,
                cash + into - before,
                _after(held, lump_sum, held.isa + into, cash, rules, pots),
            )
            for held, lump_sum, into, cash, before, pots in zip(
                holdings, taken, subscribed, left, in_hand, open_pots, strict=True
            )
        ]
    )


def _isa_allowances_left(timeline: Timeline, position: int) -> list[Pence]:
    return [people[position].isa_allowance_left for people in timeline.people]


def _open_pots(timeline: Timeline, position: int, i: int) -> tuple[int, ...]:
    """Those of a person's pots from which a lump sum may be taken on the first day, in the order of draws: on the last day there
    may be more."""
    year = timeline.people[i][position]
    return tuple(k for k in year.order if year.pots[k].from_first_day)


def _lump_sums(
    timeline: Timeline,
    position: int,
    holdings: Sequence[Holdings],
    option: Option,
    open_pots: Sequence[tuple[int, ...]],
) -> list[Pence]:
    """What each person takes. In stages, the household's amount is shared in proportion to what each could take."""
    if option.lump_sums in ("with_each_withdrawal", "never"):
        return [0] * len(holdings)
    most = [_most(timeline, position, i, held, option, open_pots[i]) for i, held in enumerate(holdings)]
    if option.lump_sums != "phased" or not any(most):
        return most
    if isinstance(option.yearly, int):
        wanted = option.yearly
    else:
        spare = max(0, sum(held.cash for held in holdings) - timeline.household.minimum_cash)
        wanted = max(0, sum(_isa_allowances_left(timeline, position)) - spare)
    return shared(min(wanted, sum(most)), most)


def _most(timeline: Timeline, position: int, i: int, held: Holdings, option: Option, open_pots: Sequence[int]) -> Pence:
    """The largest lump sum a person may take on the first day: nothing before the age that the law or the option asks, and of
    several pots only from those that are open."""
    uncrystallised = held.pension.uncrystallised
    if held.pots:
        uncrystallised = sum(held.pots[k].uncrystallised for k in open_pots)
    if uncrystallised == 0:
        return 0
    period = timeline.periods[position]
    rules = period.rules.lump_sums
    quarter = lump_sums.quarter(uncrystallised, rules)
    if quarter == 0:
        return 0
    most = min(quarter, lump_sums.available(held.pension, rules).tax_free)
    if most == 0 or not (held.pots or _may_take(timeline, position, i)):
        return 0
    if option.age is not None and age_on(timeline.household.people[i].date_of_birth, period.first) < option.age:
        return 0
    return most


def _may_take(timeline: Timeline, position: int, i: int) -> bool:
    """Whether a person is old enough on the first day."""
    period, member = timeline.periods[position], timeline.household.people[i]
    return may_take_benefits(
        member.date_of_birth, period.first, period.rules.minimum_pension_age, member.pension.protected_pension_age
    )


def _after(
    held: Holdings,
    lump_sum: Pence,
    isa: Pence,
    cash: Pence,
    rules: lump_sums.LumpSumRules,
    open_pots: Sequence[int],
) -> Holdings:
    """What a person holds once a lump sum is taken, with these ISAs and this cash; of several pots it comes first from the one
    that is drawn first."""
    if lump_sum == 0:
        return Holdings(held.pension, isa, cash, pots=held.pots)
    left = lump_sums.available(held.pension, rules)
    payment = lump_sums.take("pcls", lump_sum, held.pension, rules, left)
    pots = after_lump_sum(open_pots, held.pots, lump_sum, payment.crystallised) if held.pots else ()
    return Holdings(lump_sums.then(held.pension, payment, rules), isa, cash, pots=pots)


def _receiving(person: Opened, amount: Pence) -> Opened:
    """A person who also receives money that is not taxed."""
    return person._replace(year=replace(person.year, received=person.year.received + amount))


def _drawn(timeline: Timeline, position: int, people: tuple[Opened, ...], option: Option) -> Choice:
    """The income of the option: a band filled on 5 April, nothing on another last day."""
    period = timeline.periods[position]
    if option.goal == SPENDING_ONLY or period.last < period.rules.figures.end:
        return Choice((NO_DRAW,) * len(people))
    return Choice(tuple([draw_filling(timeline, person, option.goal) for person in people]))
