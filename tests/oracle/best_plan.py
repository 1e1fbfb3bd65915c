"""The best plan of a small household by trying: corners of the tax first, then steps of a thousand pounds down to one.

Nothing here knows how the service looks for its plan. A plan is a table of choices, one a tax year; it is worth what
the service's own projection says it leaves, and a plan is better when that is more. All amounts are pence.

Two ways of trying:

- ``best_of_two_years``: one person, two tax years, no interest. Every pound about every corner of the first year's tax,
  and about every corner of the second's, carried back to the first; and for each of those every pound about every
  corner of the second year's tax. Between the corners wealth is a straight line, so nothing better lies there.
- ``best_plan``: any household. From several plain plans, one or two amounts at a time are changed for as long as that
  helps, and then again after several amounts are thrown somewhere else. It may stop at a plan that only two such
  changes at once would better, so that it can be too low, but never too high.
"""

from __future__ import annotations

import random
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from functools import cache, lru_cache
from itertools import accumulate, pairwise, zip_longest
from typing import NamedTuple

from service.law.income_tax import MarriageAllowance
from service.planning.faults import RuleViolation
from service.planning.projection.policies import Policy, Projection, projected, with_spending_met
from service.planning.projection.settlement import (
    Choice,
    Draw,
    Holdings,
    Opened,
    Settled,
    first_holdings,
    opened,
    wealth_after_tax,
)
from service.planning.projection.timeline import PersonPeriod, Timeline

POUND = 100
FAR = 20_000_000
"""Corners of the tax are looked for up to this taxable withdrawal, 200,000 pounds: above the last band's start."""

CLOSE = 70
"""A tax within 70 pence of a straight line counts as straight: the allowance's taper moves by a pound every two."""

FIRST_STRETCH, STRETCH = 39_100, 100_000
"""The tax is searched a thousand pounds at a time, from a sum at whose thousands nothing in the law happens."""

STEPS = tuple(POUND * size for size in (10_000, 2_000, 500, 100, 25, 5, 1))
"""How much is moved at a time, largest first."""

Plan = tuple[Choice, ...]
"""What to do each year. A draw larger than there are funds for means all there are."""


class Found(NamedTuple):
    """The best plan found, and what it leaves after tax."""

    plan: Plan
    wealth: int


def policy_of(plan: Plan) -> Policy:
    """The plan as the service's projection carries it out."""

    def choose(position: int, people: tuple[Opened, ...]) -> Choice:
        return within(plan[position], people)

    return choose


def within(choice: Choice, people: Sequence[Opened]) -> Choice:
    """A choice that draws no more than there is."""
    draws = tuple(
        Draw(min(draw.uncrystallised, person.most_uncrystallised), min(draw.drawdown, person.most_drawdown))
        for draw, person in zip(choice.draws, people, strict=True)
    )
    return choice._replace(draws=draws)


def worth(timeline: Timeline, plan: Plan) -> int | None:
    """What a plan leaves after tax, None where it cannot meet the spending."""
    try:
        return projected(timeline, policy_of(plan)).wealth
    except RuleViolation:
        return None


def as_table(timeline: Timeline, policy: Policy) -> Plan | None:
    """What a policy does each year, spending met; None where it cannot be met."""
    plan: list[Choice] = []

    def noted(position: int, people: tuple[Opened, ...]) -> Choice:
        plan.append(policy(position, people))
        return plan[-1]

    try:
        carried_out = projected(timeline, noted)
    except RuleViolation:
        return None
    return tuple(choice._replace(draws=draws_of(year)) for choice, year in zip(plan, carried_out.years, strict=True))


def draws_of(year: Settled) -> tuple[Draw, ...]:
    """The draws that were really made in a year, whatever was chosen."""
    both = ((record.opened.pension, record.not_grown, record.after.pension) for record in year.people)
    return tuple(
        Draw(
            start.uncrystallised - unearned.uncrystallised - end.uncrystallised,
            start.drawdown - unearned.drawdown - end.drawdown,
        )
        for start, unearned, end in both
    )


def table_of(carried_out: Projection) -> Plan:
    """Everything that was done in each year, as a table that does the same again."""
    years = carried_out.years
    return tuple(
        Choice(
            draws_of(year),
            sum(record.subscribed for record in year.people),
            sum(record.from_isa for record in year.people),
            year.people[0].after.cash,
            tuple(Draw(record.early.uncrystallised, record.early.drawdown) for record in year.people),
            sum(record.early.isa for record in year.people),
            None if after is None else tuple(record.opened.early_cash for record in after.people),
        )
        for year, after in zip(years, (*years[1:], None), strict=True)
    )


@lru_cache(maxsize=10_000)
def corners(year: PersonPeriod, *, claims: bool = False) -> tuple[int, ...]:
    """The taxable withdrawals at which a person's tax bends or jumps, whole pounds, from sampled tax alone; with ``claims``, also
    under a claim to the marriage allowance."""
    under: tuple[MarriageAllowance | None, ...] = (None, "gives", "receives") if claims else (None,)
    return tuple(sorted({corner for claim in under for corner in _corners_under(year, claim)}))


def _corners_under(year: PersonPeriod, claim: MarriageAllowance | None) -> set[int]:
    found = {0}

    @cache
    def tax(amount: int) -> int:
        return year.liability(0, amount, marriage_allowance=claim).total

    def off_the_line(low: int, high: int, at: int) -> int:
        return abs(tax(at) - tax(low) - (tax(high) - tax(low)) * (at - low) // (high - low))

    def straight(low: int, high: int) -> bool:
        inside = {low + (high - low) * eighth // 8 // POUND * POUND for eighth in range(1, 8)}
        return all(off_the_line(low, high, at) <= CLOSE for at in inside)

    def search(low: int, high: int) -> None:
        middle = (low + high) // 2 // POUND * POUND
        if high - low <= POUND:
            if tax(high) - tax(low) > POUND:  # more than the whole pound: a jump
                found.update((low, high))
        elif not straight(low, high):
            if straight(low, middle) and straight(middle, high):
                found.add(max(range(low, high, POUND), key=lambda at: off_the_line(low, high, at)))
            else:
                search(low, middle)
                search(middle, high)

    edges = (0, *range(FIRST_STRETCH, FAR, STRETCH))
    for low, high in pairwise(edges):
        search(low, high)
    return found


class Judge:
    """What plans leave, one after another. Years that two plans begin alike are carried out once."""

    def __init__(self, timeline: Timeline) -> None:
        """No plan has been judged yet."""
        self.timeline = timeline
        self.judged = 0
        self._carried_out: dict[tuple[int, tuple[Holdings, ...], Choice], Settled | None] = {}

    def years(self, plan: Plan) -> list[Settled] | None:
        """A plan carried out, None where it cannot meet the spending."""
        holdings = first_holdings(self.timeline)
        years = []
        for position, choice in enumerate(plan):
            key = position, holdings, choice
            if key not in self._carried_out:
                self._carried_out[key] = self._year(*key)
            year = self._carried_out[key]
            if year is None:
                return None
            years.append(year)
            holdings = year.holdings
        return years

    def wealth(self, plan: Plan) -> int:
        """What a plan leaves after tax; less than nothing where it cannot meet the spending."""
        self.judged += 1
        years = self.years(plan)
        return wealth_after_tax(self.timeline, years[-1].holdings) if years else -1

    def _year(self, position: int, holdings: tuple[Holdings, ...], choice: Choice) -> Settled | None:
        people = opened(self.timeline, position, holdings)
        try:
            return with_spending_met(self.timeline, position, people, within(choice, people))
        except RuleViolation:
            return None


Cell = tuple[int, int, int]
"""An amount of a plan: the year, then the person and one of ``AMOUNTS_OF_ONE``. In place of the person ``TOGETHER`` stands for
what both do together, one of ``AMOUNTS_OF_BOTH``."""

TOGETHER = -1
AMOUNTS_OF_ONE = UNCRYSTALLISED, DRAWDOWN, EARLY_UNCRYSTALLISED, EARLY_DRAWDOWN, CASH_FOR_EARLY = range(5)
AMOUNTS_OF_BOTH = SUBSCRIBED, FROM_ISAS, CASH_OF_FIRST, EARLY_FROM_ISAS = range(4)
OF_BOTH = ("subscribe", "from_isas", "cash_of_first", "early_from_isas")
NEVER_NIL = (FROM_ISAS, EARLY_FROM_ISAS)


def amount_at(plan: Plan, cell: Cell) -> int | None:
    """One amount of a plan."""
    position, person, which = cell
    choice = plan[position]
    if person == TOGETHER:
        amount: int | None = getattr(choice, OF_BOTH[which])
        return amount
    if which == CASH_FOR_EARLY:
        return None if choice.cash_for_early is None else choice.cash_for_early[person]
    if which in (EARLY_UNCRYSTALLISED, EARLY_DRAWDOWN):
        return 0 if choice.early_draws is None else choice.early_draws[person][which - EARLY_UNCRYSTALLISED]
    return choice.draws[person][which]


def with_amount(plan: Plan, cell: Cell, amount: int | None) -> Plan:
    """The plan with another amount; less than nothing is nothing."""
    position, person, which = cell
    choice = plan[position]
    if amount is not None:
        amount = max(0, amount)
    if person == TOGETHER:
        choice = choice._replace(**{OF_BOTH[which]: amount or 0 if which in NEVER_NIL else amount})
    elif which == CASH_FOR_EARLY:
        cash = list(choice.cash_for_early or (100 * FAR,) * len(choice.draws))
        cash[person] = 100 * FAR if amount is None else amount
        choice = choice._replace(cash_for_early=tuple(cash))
    else:
        early = which in (EARLY_UNCRYSTALLISED, EARLY_DRAWDOWN)
        draws = list((choice.early_draws or (Draw(),) * len(choice.draws)) if early else choice.draws)
        name = "uncrystallised" if which in (UNCRYSTALLISED, EARLY_UNCRYSTALLISED) else "drawdown"
        draws[person] = draws[person]._replace(**{name: amount or 0})
        choice = choice._replace(**{"early_draws" if early else "draws": tuple(draws)})
    return (*plan[:position], choice, *plan[position + 1 :])


class Shift(NamedTuple):
    """One draw raised by an amount (lowered, where it is below nothing), and another lowered by ``ratio`` of it."""

    cell: Cell
    amount: int
    other: Cell | None
    ratio: float


class ToCorner(NamedTuple):
    """One draw changed by ``rate`` of what the taxable part lacks to a corner of the year's tax, and another against it.

    ``beside``: interest on the plan's cash counts towards the corner, as it does where the band is one of all income.
    """

    cell: Cell
    corner: int
    beside: bool
    rate: float
    other: Cell | None
    ratio: float


class EachYear(NamedTuple):
    """One draw to the same amount in every year from one to another."""

    cell: Cell
    last: int
    amount: int


class Set(NamedTuple):
    """An amount put to a value."""

    cell: Cell
    amount: int | None


class Search:
    """One search: the judge, chance, and the amounts that may be changed."""

    def __init__(self, timeline: Timeline, seed: int) -> None:
        """Find the amounts that can matter in this household."""
        self.timeline, self.judge, self.chance = timeline, Judge(timeline), random.Random(seed)
        assumed = timeline.household.assumptions
        periods, members = range(len(timeline.periods)), timeline.household.people
        self.draws: list[Cell] = [
            (position, person, fund)
            for position in periods
            for person, member in enumerate(members)
            for fund in (UNCRYSTALLISED, DRAWDOWN)
            if timeline.people[person][position].may_withdraw
            and (fund == UNCRYSTALLISED or member.pension.drawdown or timeline.household.lump_sums == "all_now")
        ]
        # Where cash grows no faster than ISAs and is not spent early there is no reason to keep it out of them; last year's
        # cash earns nothing.
        early = assumed.spending_met != "end" and any(timeline.spending)
        self.money: list[Cell] = []
        for position in periods[:-1]:
            if early or assumed.cash_interest > assumed.isa_growth or assumed.isa_growth < 0:
                self.money += [(position, TOGETHER, SUBSCRIBED), (position, TOGETHER, FROM_ISAS)]
            if assumed.cash_interest and len(members) > 1:
                self.money.append((position, TOGETHER, CASH_OF_FIRST))
        for position in periods if early else ():
            self.money.append((position, TOGETHER, EARLY_FROM_ISAS))
            self.money += [(position, person, CASH_FOR_EARLY) for person in range(len(members))]
            self.money += [
                (position, person, EARLY_DRAWDOWN if fund == DRAWDOWN else EARLY_UNCRYSTALLISED)
                for at, person, fund in self.draws
                if at == position
            ]

    def settled(self, plan: Plan) -> Plan:
        """The same plan with the draws that are really made."""
        return as_table(self.timeline, policy_of(plan)) or plan

    def climb(self, plan: Plan, most: int) -> Found:
        """The plan bettered by one or two amounts at a time until nothing helps, or ``most`` more plans were tried."""
        best = Found(self.settled(plan), self.judge.wealth(plan))
        last = self.judge.judged + most
        before = -1
        while best.wealth > before and self.judge.judged < last:
            before = best.wealth
            for moves in (self._alone(), self._by(STEPS[0]), self._to_corners(), *map(self._by, STEPS)):
                helped = True
                while helped and self.judge.judged < last:
                    helped = False
                    self.chance.shuffle(moves)
                    years = self.judge.years(best.plan)
                    for move in moves:
                        other = self._after(best.plan, years, move)
                        wealth = self.judge.wealth(other) if other != best.plan else best.wealth
                        if wealth > best.wealth:
                            best, helped = Found(self.settled(other), wealth), True
                            years = self.judge.years(best.plan)
                        if self.judge.judged >= last:
                            break
        return best

    def thrown(self, plan: Plan) -> Plan:
        """The plan with one to four of its amounts somewhere else altogether."""
        for cell in self.chance.sample(self.draws, min(len(self.draws), self.chance.randint(1, 4))):
            edge = self.chance.choice(self._corners(cell))
            amount = self.chance.choice((0, edge, edge * 4 // 3, self.chance.randint(0, FAR)))
            plan = with_amount(plan, cell, amount)
        if self.money and self.chance.random() < 0.5:
            cell = self.chance.choice(self.money)
            plan = with_amount(plan, cell, self.chance.choice((None, 0, FAR, self.chance.randint(0, FAR))))
        return plan

    def changed(self, plan: Plan) -> Plan:
        """The plan with one draw changed and, nearly always, another against it."""
        cell = self.chance.choice(self.draws)
        have = amount_at(plan, cell) or 0
        size = self.chance.choice((POUND, 10 * POUND, 500 * POUND, 5_000 * POUND, 30_000 * POUND))
        change = self.chance.choice((-have, self.chance.randint(-min(have, size), size)))
        other, ratio = self.chance.choice(list(self._against(cell)))
        return self._after(plan, None, Shift(cell, change, other, ratio))

    def _corners(self, cell: Cell) -> tuple[int, ...]:
        return corners(self.timeline.people[cell[1]][cell[0]], claims=self.timeline.household.claims_as_best)

    def _growth(self, start: int, end: int) -> float:
        """What a pound in a pension becomes from one year's last day to another's; backwards, what was a pound."""
        if end < start:
            return 1 / self._growth(end, start)
        rate, factor = self.timeline.household.assumptions.pension_growth, 1.0
        for period in self.timeline.periods[start + 1 : end + 1]:
            factor *= period.factor(rate)
        return factor

    def _against(self, cell: Cell) -> Iterator[tuple[Cell | None, float]]:
        """The draws that can make good a change of one, and at what ratio: the same money, or the same taxable part."""
        yield None, 0
        for other in self.draws:
            if other != cell:
                growth = self._growth(cell[0], other[0]) if cell[1] == other[1] else 1.0
                yield other, growth
                if cell[2] != other[2]:
                    yield other, growth * (4 / 3 if other[2] == 0 else 3 / 4)

    def _alone(self) -> list[Move]:
        """Every draw, for a year or some years running, to a corner (thirty at most), to nothing or to all there is."""
        moves: list[Move] = [Set(cell, amount) for cell in self.draws for amount in (0, 100 * FAR)]
        moves += [Set(cell, amount) for cell in self.money for amount in (None, 0, FAR)]
        for cell in self.draws:
            edges = self._corners(cell)
            for corner in self.chance.sample(edges, min(30, len(edges))):
                moves += [ToCorner(cell, corner, beside, 4 / 3, None, 0) for beside in (False, True)]
                for last in range(cell[0] + 1, len(self.timeline.periods)):
                    moves.append(EachYear(cell, last, corner * 4 // 3 if cell[2] == 0 else corner))
        return moves

    def _to_corners(self) -> list[Move]:
        """Every draw to corners of the year's tax (thirty at most), alone or made good elsewhere."""
        moves: list[Move] = []
        for cell in self.draws:
            edges = self._corners(cell)
            for corner in self.chance.sample(edges, min(30, len(edges))):
                for other, ratio in self._against(cell):
                    for rate in (4 / 3, 1) if cell[2] == 0 else (1,):
                        moves.append(ToCorner(cell, corner, self.chance.random() < 0.5, rate, other, ratio))
        return moves

    def _by(self, step: int) -> list[Move]:
        """Every change by one step."""
        moves: list[Move] = [
            Shift(cell, amount, other, ratio)
            for cell in self.draws
            for other, ratio in self._against(cell)
            for amount in (step, -step)
        ]
        moves += [Shift(cell, amount, None, 0) for cell in self.money for amount in (step, -step)]
        return moves

    def _after(self, plan: Plan, years: list[Settled] | None, move: Move) -> Plan:
        """The plan with a move made."""
        have = amount_at(plan, move.cell) or 0
        if isinstance(move, Set):
            return with_amount(plan, move.cell, move.amount)
        if isinstance(move, EachYear):
            first, person, fund = move.cell
            for position in range(first, move.last + 1):
                plan = with_amount(plan, (position, person, fund), move.amount)
            return plan
        if isinstance(move, Shift):
            change = move.amount
        else:
            position, person, _ = move.cell
            taxable = years[position].people[person].taxable if years else 0
            interest = years[position].people[person].opened.interest if years else 0
            change = round((move.corner - (interest if move.beside else 0) - taxable) * move.rate)
        change = max(change, -have)
        plan = with_amount(plan, move.cell, have + change)
        if move.other is not None:
            plan = with_amount(plan, move.other, (amount_at(plan, move.other) or 0) - round(change * move.ratio))
        return plan


Move = Shift | ToCorner | EachYear | Set


def starts(timeline: Timeline) -> Iterator[Plan]:
    """Plain plans to begin with: nothing drawn, everything at once, and every corner of the first year's tax each year."""
    nobody = Choice(tuple(Draw() for _ in timeline.people))
    years = len(timeline.periods)
    yield (nobody,) * years
    everything = Choice(tuple(Draw(FAR * 100, FAR * 100) for _ in timeline.people))
    yield (everything,) * years
    yield (nobody,) * (years - 1) + (everything,)
    claims = timeline.household.claims_as_best
    for edges in zip_longest(*(corners(people[0], claims=claims)[:12] for people in timeline.people), fillvalue=FAR):
        yield (Choice(tuple(Draw(edge * 4 // 3) for edge in edges)),) * years
        yield (Choice(tuple(Draw(0, edge) for edge in edges)),) * years
        yield (Choice(tuple(Draw(edge * 4 // 3) for edge in edges)),) * (years - 1) + (everything,)


def best_plan(timeline: Timeline, *, seed: int = 0, tries: int = 3_000, also: Iterable[Plan] = ()) -> Found:
    """The best plan that some thousands of tries find, from plain plans and any others given; worth -1 if none is possible."""
    search = Search(timeline, seed)
    first = sorted((*starts(timeline), *also), key=search.judge.wealth, reverse=True)
    best = max((search.climb(plan, tries // 3) for plan in first[:2]), key=lambda found: found.wealth)
    while search.judge.judged < tries:
        other = search.climb(search.thrown(best.plan), tries // 6)
        best = max(best, other, key=lambda found: found.wealth)
    carried_out = worth(timeline, best.plan)
    assert carried_out is None or carried_out == best.wealth, "the judge and the projection say the same"
    return best


def best_of_two_years(timeline: Timeline) -> Found:
    """The best plan of one person without drawdown funds for two tax years in which cash bears no interest.

    Last year's choice shifts nothing but last year's tax, so for each first draw only the corners of last year's tax
    and all that is left can be best. The first draw is at a corner of its own year's tax, or leaves just what a corner
    of the last year's takes, or just fills the year's ISA allowance, or just uses up the tax-free allowance or one of several
    pensions. Each is tried with every pound beside it.
    """
    judge = Judge(timeline)
    (person,) = opened(timeline, 0, first_holdings(timeline))
    first_corners, last_corners = (corners(year) for year in timeline.people[0])
    from_drawdown = timeline.household.lump_sums == "all_now"
    with_tax_free_part = timeline.household.lump_sums == "with_each_withdrawal"
    most = person.most_drawdown if from_drawdown else person.most_uncrystallised

    def drawing(amount: int) -> Choice:
        return Choice((Draw(0, amount) if from_drawdown else Draw(amount),))

    def gross(taxable: int, tax_free_left: int) -> int:
        return min(taxable * 4 // 3, taxable + tax_free_left) if with_tax_free_part else taxable

    def subscribed(amount: int) -> int:
        years = judge.years((drawing(amount),))
        return years[0].people[0].subscribed if years else 0

    def short_of(last: int) -> int:
        """The first draw after which no more than so much may be drawn in the last year."""

        def leaves_no_more(amount: int) -> bool:
            years = judge.years((drawing(amount),))
            if years is None:
                return True
            (after,) = opened(timeline, 1, years[0].holdings)
            return (after.most_drawdown if from_drawdown else after.most_uncrystallised) <= last

        return bisect_left(range(most), True, key=leaves_no_more)

    firsts = {
        0,
        *accumulate(person.pots[k].uncrystallised for k in person.year.order),
        most,
        4 * person.left.tax_free,
        bisect_left(range(most), person.year.isa_allowance_left, key=subscribed),
    }
    firsts |= {gross(corner, person.left.tax_free) for corner in first_corners}
    firsts |= {short_of(last) for corner in last_corners for last in (corner, corner * 4 // 3)}
    best = Found((), -1)
    for first in sorted({max(0, amount + pounds * POUND) for amount in firsts for pounds in range(-4, 5)}):
        choice = drawing(first)
        years = judge.years((choice,))
        if years is None:
            continue
        (after,) = opened(timeline, 1, years[0].holdings)
        lasts = {100 * FAR}
        for corner in last_corners:
            lasts |= {max(0, gross(corner, after.left.tax_free) + pounds * POUND) for pounds in (-1, 0, 1)}
        for last in lasts:
            plan = choice, drawing(last)
            best = max(best, Found(plan, judge.wealth(plan)), key=lambda found: found.wealth)
    return best
