"""The data of the model: what is known of a household's timeline before anything is decided. README.md has their names."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from service.law import lump_sums
from service.law.income_tax import Taxpayer
from service.law.units import PENNY, POUND, Pence
from service.planning.household import YearlyRate
from service.planning.optimiser.tolerances import UNIT_POUNDS
from service.planning.projection.pots import Funds
from service.planning.projection.settlement import first_holdings, opened
from service.planning.projection.timeline import Timeline
from service.planning.projection.within_the_year import missed_rate

UNIT_PENCE = UNIT_POUNDS * POUND
"""The unit of money inside the program, in pence."""


class Missed(NamedTuple):
    """What is spent in a period before its last day: the growth it misses of a pound of each kind, of pensions by person and
    pot, and amounts in the model's unit. ``spending`` is what income does not cover, ``cash_at_first`` what known cash covers
    of it, ``of_last_day`` what a repayment of tax may."""

    pensions: tuple[tuple[float, ...], ...]
    isa: float
    cash: float
    spending: float
    cash_at_first: float
    of_last_day: float

    @property
    def counts(self) -> bool:
        """Whether anything is missed by spending before the last day."""
        return bool(any(any(pots) for pots in self.pensions) or self.isa or self.cash)


def missed_in(timeline: Timeline, t: int) -> Missed:
    """What spending before the last day of a period misses."""
    assumed = timeline.household.assumptions

    def of(yearly: YearlyRate) -> float:
        numerator, denominator = missed_rate(timeline, t, yearly)
        return numerator / denominator

    pensions = tuple(
        tuple(of(yearly) for yearly in assumed.growths_of(person, len(years[t].pots)))
        for person, years in enumerate(timeline.people)
    )
    isa, interest = of(assumed.isa_growth), of(assumed.cash_interest)
    spending = max(0, timeline.spending[t] - sum(years[t].received for years in timeline.people))
    cash = 0 if t else sum(one.early_cash for one in opened(timeline, 0, first_holdings(timeline)))
    # Whoever gives the marriage allowance and loses it by a withdrawal pays less tax than the year was taken to bear, and so
    # does whoever receives it by a claim that the plan chooses.
    of_last_day = sum(
        years[t].tax_outside for years in timeline.people if years[t].taxpayer.marriage_allowance == "gives"
    )
    if timeline.household.claims_as_best:
        of_last_day += sum(
            min(years[t].tax_outside, years[t].rules.marriage_allowance * years[t].rules.basic_rate // PENNY)
            for years in timeline.people
        )
    known = (amount / UNIT_PENCE for amount in (spending, cash, of_last_day))
    return Missed(pensions, isa, interest, *known)


class LumpSum(NamedTuple):
    """The one lump sum of "all_now": its period, its amount in the model's unit, and the pots after it, in pence."""

    position: int
    amount: float
    pots: tuple[Funds, ...]


def lump_sum_of(timeline: Timeline, person: int) -> LumpSum | None:
    """The one lump sum of "all_now"; None where there is none."""
    if timeline.household.lump_sums != "all_now":
        return None
    held = first_holdings(timeline)
    for position, year in enumerate(timeline.people[person]):
        people = opened(timeline, position, held)
        lump_sum = people[person].lump_sum
        if lump_sum is not None:
            return LumpSum(position, lump_sum.gross / UNIT_PENCE, people[person].pots)
        if not year.may_withdraw:
            held = tuple(one.before._replace(pension=one.pension, pots=one.pots) for one in people)
    return None


class PotHeld(NamedTuple):
    """A pot as it is known beforehand: what it holds at the start, what it grows by a year, and what is paid in in each period,
    grown to its last day. Pence."""

    uncrystallised: int
    drawdown: int
    growth: YearlyRate
    paid_in: list[int]


class PotGrown(NamedTuple):
    """A pot grown to the end, in the model's unit: its funds, the growth from each period's end, what is still paid in, and the
    most of uncrystallised funds that there ever is."""

    uncrystallised: float
    drawdown: float
    after: list[float]
    paid_in: list[float]
    most_uncrystallised: float

    @property
    def all_uncrystallised(self) -> float:
        """Uncrystallised funds with all that is paid in."""
        return self.uncrystallised + sum(amount * grown for amount, grown in zip(self.paid_in, self.after, strict=True))


def pots_held(timeline: Timeline, person: int) -> list[PotHeld]:
    """A person's pots; one where all pensions count as one."""
    member, years = timeline.household.people[person], timeline.people[person]
    pots = member.pots
    held = [(pot.uncrystallised, pot.drawdown) for pot in pots] or [
        (member.pension.uncrystallised, member.pension.drawdown)
    ]
    growths = timeline.household.assumptions.growths_of(person, len(pots))
    return [
        PotHeld(
            *funds,
            growth,
            [
                paid.amount + period.growth_of(paid, growth) if paid.amount else 0
                for period, paid in zip(
                    timeline.periods,
                    (year.pots[k].paid_in if pots else year.paid_in for year in years),
                    strict=True,
                )
            ],
        )
        for k, (funds, growth) in enumerate(zip(held, growths, strict=True))
    ]


def tax_free_left_at_first(timeline: Timeline, person: int) -> tuple[Pence, Pence]:
    """What is left of a person's tax-free allowance at the start: at the least, and at the most that plans can come to have. The
    lifetime allowance of another tax year may have been another, and what is taken of it before 6 April 2024 counts in
    hundredths of a per cent, of which parts are dropped: once in each period with draws, and once for the one lump sum."""
    pension = timeline.household.people[person].pension
    all_rules = [period.rules.lump_sums for period in timeline.periods]
    left = [lump_sums.available(pension, rules).tax_free for rules in all_rules]
    dropped = [
        lump_sums.most_dropped(pension, rules)
        for rules, year in zip(all_rules, timeline.people[person], strict=True)
        if year.may_draw and rules.lump_sum_allowance is None
    ]
    if dropped and timeline.household.lump_sums == "all_now":
        dropped.append(max(dropped))
    return min(left), max(left) + sum(dropped)


def dropped_of_lump_sums(timeline: Timeline) -> Pence:
    """What may be left of everybody's tax-free allowances after the one lump sum of "all_now", because parts of a hundredth of a
    per cent are dropped. In the model nothing is left then."""
    if timeline.household.lump_sums != "all_now":
        return 0
    left = (tax_free_left_at_first(timeline, person) for person in range(len(timeline.people)))
    return sum(most - least for least, most in left)


def grown_to_the_end(timeline: Timeline, pot: PotHeld, lump: LumpSum | None, k: int) -> PotGrown:
    """Pot ``k`` of a person, grown to the end, after the lump sum where there is one."""
    periods = timeline.periods
    after = [1.0] * len(periods)  # growth of the pot's money from a period's end to the plan's
    for t in range(len(periods) - 1, 0, -1):
        after[t - 1] = after[t] * periods[t].factor(pot.growth)
    to_end = after[0] * periods[0].factor(pot.growth)
    uncrystallised = pot.uncrystallised / UNIT_PENCE * to_end
    drawdown = pot.drawdown / UNIT_PENCE * to_end
    paid_in = [amount / UNIT_PENCE for amount in pot.paid_in]
    if lump is not None:
        until = lump.position + 1
        uncrystallised += sum(amount * grown for amount, grown in zip(paid_in[:until], after, strict=False))
        drawdown, uncrystallised = drawdown + uncrystallised - lump.amount * after[lump.position], 0.0
        if lump.pots:
            drawdown = sum(lump.pots[k]) / UNIT_PENCE * after[lump.position]
        paid_in[:until] = [0.0] * until
    most = pot.uncrystallised / UNIT_PENCE * max(1.0, to_end)
    most += sum(amount * max(1.0, grown) for amount, grown in zip(paid_in, after, strict=True))
    return PotGrown(uncrystallised, drawdown, after, paid_in, most)


def most_held(timeline: Timeline, pots: Sequence[PotHeld]) -> list[float]:
    """What a household with these pots has in all at most at the beginning of each period and at the end, pence: no tax, no
    spending, and everything growing at the best of the rates."""
    assumed = timeline.household.assumptions
    held = sum(
        float(member.pension.uncrystallised + member.pension.drawdown + member.isa.value + member.cash)
        for member in timeline.household.people
    )
    found = [held]
    rates = {*(pot.growth for pot in pots), assumed.isa_growth, assumed.cash_interest}
    for t, period in enumerate(timeline.periods):
        held *= max(1.0, *[period.factor(rate) for rate in rates])
        held += sum([max(0, years[t].received + years[t].tax_outside) for years in timeline.people])
        held += sum([pot.paid_in[t] for pot in pots])
        found.append(held)
    return found


def most_wealth(timeline: Timeline) -> int:
    """A bound on the wealth of any plan that needs no relaxation, pence: all that comes in, growing at the best rate."""
    pots = [pot for person in range(len(timeline.people)) for pot in pots_held(timeline, person)]
    return round(most_held(timeline, pots)[-1]) + POUND


def most_pension(timeline: Timeline, pots: Sequence[PotHeld]) -> float:
    """What a person's pots come to at most, pence."""
    found = 0.0
    for pot in pots:
        held = float(pot.uncrystallised + pot.drawdown)
        for period, paid_in in zip(timeline.periods, pot.paid_in, strict=True):
            held = held * max(1.0, period.factor(pot.growth)) + paid_in
        found += held
    return found


def from_isas_at_most(timeline: Timeline, t: int) -> int:
    """What a plan may have to take out of ISAs in a period, pence: for spending, for what is paid into pensions, for tax that has
    to cover gifts and no income has borne, and at first for the minimum of cash, which is there from then on."""
    now = [years[t] for years in timeline.people]
    minimum = 0 if t else timeline.household.minimum_cash
    cover = sum(max(0, year.liability(0, 0).total - year.tax_outside) for year in now if year.taxpayer.gift_aid)
    return timeline.spending[t] + minimum + cover + sum(year.paid_in.own for year in now)


def taxpayer_without_cash(timeline: Timeline, person: int, position: int) -> Taxpayer:
    """The person's tax year without the plan's own cash, but for the interest of the first period, which is known."""
    taxpayer = timeline.people[person][position].taxpayer
    if position:
        return taxpayer
    return taxpayer._replace(savings=taxpayer.savings + first_interest(timeline, person))


def first_interest(timeline: Timeline, person: int) -> int:
    """The interest of a person in the first period, pence: what there is to begin with is known."""
    return opened(timeline, 0, first_holdings(timeline))[person].interest


def gives_and_receives(timeline: Timeline) -> bool:
    """Whether one of the two gives the other the marriage allowance."""
    return sorted(member.marriage_allowance for member in timeline.household.people) == ["gives", "receives"]
