"""One period of a plan after another, to the penny: what comes in, what is taxed, what is subscribed, what is left.

``opened`` grows what the household holds; ``settle`` then moves the money on the period's last day, as a ``Choice`` says.
Nothing is decided here. All amounts are pence; opening + growth + in - out = closing for every balance of every person.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import le
from typing import NamedTuple

from service.law import lump_sums
from service.law.income_tax import Liability, MarriageAllowance
from service.law.lump_sums import Allowances, LumpSumRules, Payment, Pension
from service.law.rounding import half_up, years_tax_to_the_penny
from service.law.units import Pence
from service.law.value import Value
from service.planning.household import HALVES_NOT_GROWN, NOTHING_PAID_IN
from service.planning.projection.pots import (
    NO_POTS,
    Drawn,
    Funds,
    drawn,
    grown,
    of_slower,
    pots_of,
    together,
)
from service.planning.projection.remaining_pension import tax_on_remaining
from service.planning.projection.timeline import Period, PersonPeriod, Timeline
from service.planning.projection.within_the_year import (
    ALL_GROWN,
    NotGrown,
    Rate,
    from_cash,
    missed,
    missed_rate,
    missed_rates,
    most_out,
)

WITH_TAX_FREE_PART = ("with_each_withdrawal", "separately")
"""The ways of taking lump sums in which a withdrawal from uncrystallised funds has its tax-free part."""

_NOTHING = Payment(0, 0, 0)
_NOBODY_MISSES = ((0, 0), (0, 0))
_NOTHING_LOCKED = Funds()


class Holdings(Value, frozen=True):
    """What one person holds between two periods. ``lump_sum_taken``: the one lump sum of "all_now" has been taken.
    ``cash_for_early``: what of the cash is to be spent before the next period's last day, None where cash is spent first.
    ``pots`` are those that ``pension`` adds up, of somebody whose pensions do not count as one."""

    pension: Pension
    isa: Pence
    cash: Pence
    lump_sum_taken: bool = False
    cash_for_early: Pence | None = None
    pots: tuple[Funds, ...] = ()


class Draw(NamedTuple):
    """What one person takes from the pension in a period, gross: from uncrystallised funds and from drawdown funds."""

    uncrystallised: Pence = 0
    drawdown: Pence = 0


NO_DRAW = Draw()
"""Nothing is taken."""


class Choice(Value, frozen=True):
    """What a household does on the last day of a period.

    ``subscribe`` is what goes into ISAs in all, None for as much as the allowances and the money reach. ``from_isas`` is taken
    out of ISAs towards spending even where cash would do. ``cash_of_first`` is how much of the cash left over the first
    person holds, None where it stays with whoever has it.

    The rest says what is spent before a last day, and misses growth: ``early_draws`` and ``early_from_isas`` of this period's
    draws and ISAs, ``cash_for_early`` of the cash that each person holds over, in the next period. None: cash first, then what
    grows the least, of two people in proportion.
    """

    draws: tuple[Draw, ...]
    subscribe: Pence | None = None
    from_isas: Pence = 0
    cash_of_first: Pence | None = None
    early_draws: tuple[Draw, ...] | None = None
    early_from_isas: Pence = 0
    cash_for_early: tuple[Pence, ...] | None = None


class Early(NamedTuple):
    """What one person's pension and ISAs pay before the last day of a period: of uncrystallised funds, drawdown funds, ISAs."""

    uncrystallised: Pence = 0
    drawdown: Pence = 0
    isa: Pence = 0


NOTHING_EARLY = Early()
"""Nothing leaves before the last day."""


class Opened(Value, frozen=True):
    """One person on the last day of a period, grown, before any money moves but the lump sum of "all_now". Pension and ISAs
    have the growth of the whole period; ``interest`` is without that of cash which is spent before.

    ``early_cash`` is what of the opening cash is spent before the last day. ``uncharged`` is what the lifetime allowance
    leaves in a year in which more bears a charge; None in other years. ``isa_allowance_left`` is what may still be
    subscribed on the last day. ``pots`` are those that ``pension`` adds up, ``pot_growth`` what each grew by, and ``locked``
    what of them may not be drawn.
    """

    year: PersonPeriod
    before: Holdings
    pension: Pension
    pension_growth: Pence
    lump_sum: Payment | None
    left: Allowances
    uncharged: Pence | None
    isa_growth: Pence
    interest: Pence
    isa_allowance_left: Pence
    early_cash: Pence = 0
    pots: tuple[Funds, ...] = ()
    pot_growth: tuple[Pence, ...] = ()
    locked: Funds = _NOTHING_LOCKED

    def taxed(self, withdrawal: Pence, marriage_allowance: MarriageAllowance | None = None) -> Liability:
        """The tax year's liability with the period's interest and a taxable withdrawal, pence; None is the standing claim."""
        return self.year.liability(self.interest, withdrawal, marriage_allowance=marriage_allowance)

    @property
    def most_uncrystallised(self) -> Pence:
        """The most that may be drawn from uncrystallised funds: a lifetime allowance with a charge is not exceeded."""
        if not self.year.may_draw:
            return 0
        most = self.pension.uncrystallised - self.locked.uncrystallised
        return most if self.uncharged is None else min(most, self.uncharged)

    @property
    def most_drawdown(self) -> Pence:
        """The most that may be drawn from drawdown funds."""
        return self.pension.drawdown - self.locked.drawdown if self.year.may_draw else 0


class PersonRecord(Value, frozen=True):
    """One person's period, settled. ``moved`` is what came from the partner, negative for what went there; ``early`` is what of
    the pension and the ISAs is spent before the last day, and ``not_grown`` what they lack for it of the growth that ``opened``
    counts; ``pots_not_grown`` of each pot."""

    opened: Opened
    gross: Pence
    tax_free: Pence
    taxable: Pence
    liability: Liability
    income_tax: Pence
    spent: Pence
    subscribed: Pence
    from_isa: Pence
    moved: Pence
    after: Holdings
    tax_free_left: Pence
    not_grown: NotGrown = ALL_GROWN
    early: Early = NOTHING_EARLY
    pots_not_grown: tuple[Funds, ...] = ()

    @property
    def chosen_claim(self) -> MarriageAllowance | None:
        """What the person does with the marriage allowance in this tax year where that was chosen; None where it was not, or
        nothing is claimed."""
        if self.opened.year.taxpayer.marriage_allowance != "none":
            return None
        if self.liability.marriage_allowance_given:
            return "gives"
        return "receives" if self.liability.marriage_allowance_reduction else None

    @property
    def pension_growth(self) -> Pence:
        """What the pension grew by."""
        return self.opened.pension_growth - self.not_grown.pension

    @property
    def isa_growth(self) -> Pence:
        """What the ISAs grew by."""
        return self.opened.isa_growth - self.not_grown.isa

    def tax_free_available(self, period: Period) -> Pence:
        """The most that what is left uncrystallised may still pay tax free at the end of the period; pence."""
        pension = self.after.pension
        rules = period.rules.lump_sums
        return lump_sums.tax_free_cash_left(pension, rules, lump_sums.available(pension, rules))


class Settled(Value, frozen=True):
    """A period settled for the household. ``short`` is the spending that could not be met."""

    people: tuple[PersonRecord, ...]
    short: Pence

    @property
    def holdings(self) -> tuple[Holdings, ...]:
        """What everybody holds at the end."""
        return tuple([record.after for record in self.people])


def first_holdings(timeline: Timeline) -> tuple[Holdings, ...]:
    """What the household holds at the start of a plan."""
    return tuple(
        Holdings(member.pension, member.isa.value, member.cash, pots=pots_of(member))
        for member in timeline.household.people
    )


def opened(
    timeline: Timeline, position: int, holdings: Sequence[Holdings], subscribed: Sequence[Pence] | None = None
) -> tuple[Opened, ...]:
    """Everybody on the last day of a period: balances grown, and the lump sum of "all_now" taken when it first can be.
    ``subscribed`` is what of everybody's ISA allowance has been used on the first day."""
    period, household = timeline.periods[position], timeline.household
    assumed, rules = household.assumptions, period.rules.lump_sums
    (pension_growth, whole), (isa_growth, isa_whole), (interest, cash_whole) = period.shares(
        assumed.pension_growth, assumed.isa_growth, assumed.cash_interest
    )
    lump_sum_now, charged = household.lump_sums == "all_now", rules.regime == "lifetime_allowance_charge"
    found, covered, cash = [], 0, 0
    for i, (years, held) in enumerate(zip(timeline.people, holdings, strict=True)):
        year, pension = years[position], held.pension
        pots = NO_POTS
        if held.pots:
            pots = grown(period, year, held.pots, assumed.growths_of(i, len(held.pots)))
            growth = sum(pots.growth)
            pension = pension.holding(*together(pots.funds))
        else:
            if assumed.pension_growths:
                pension_growth, whole = period.share(assumed.pension_growths[i])
            of_uncrystallised = half_up(pension.uncrystallised * pension_growth, whole) if pension.uncrystallised else 0
            of_drawdown = half_up(pension.drawdown * pension_growth, whole) if pension.drawdown else 0
            paid_in = 0
            if year.paid_in is not NOTHING_PAID_IN and year.paid_in.amount:
                paid_in = year.paid_in.amount
                of_uncrystallised += period.growth_of(year.paid_in, assumed.growth_of(i))
            growth = of_uncrystallised + of_drawdown
            if growth or paid_in:
                pension = pension.holding(
                    pension.uncrystallised + paid_in + of_uncrystallised, pension.drawdown + of_drawdown
                )
        left = lump_sums.available(pension, rules)
        lump_sum = None
        if lump_sum_now and year.may_withdraw and not held.lump_sum_taken:
            most = lump_sums.most_permitted("pcls", pension, rules, left)
            lump_sum = lump_sums.take("pcls", most, pension, rules, left)
            pension = lump_sums.then(pension, lump_sum, rules)
            left = lump_sums.available(pension, rules)
            covered += lump_sum.gross
            if held.pots:
                pots = pots.after_lump_sum(year, lump_sum.gross, lump_sum.crystallised)
        covered += year.received
        cash += held.cash
        found.append(
            Opened(
                year,
                held,
                pension,
                growth,
                lump_sum,
                left,
                left.lifetime_allowance if charged else None,
                half_up(held.isa * isa_growth, isa_whole) if held.isa else 0,
                half_up(held.cash * interest, cash_whole) if held.cash else 0,
                year.isa_allowance_left - subscribed[i] if subscribed else year.isa_allowance_left,
                0,
                pots.funds,
                pots.growth,
                pots.locked,
            )
        )
    halves = HALVES_NOT_GROWN[assumed.spending_met]
    if not cash or not halves or timeline.spending[position] <= covered:
        return tuple(found)
    spent = _early_cash(timeline, position, holdings, covered)
    return tuple(
        person._replace(
            early_cash=out, interest=half_up((2 * person.before.cash - halves * out) * interest, 2 * cash_whole)
        )
        for person, out in zip(found, spent, strict=True)
    )


def _early_cash(timeline: Timeline, position: int, holdings: Sequence[Holdings], covered: Pence) -> Sequence[Pence]:
    """What of each person's cash is spent before the last day: as was chosen, and no more than is needed or there is."""
    cash = [held.cash for held in holdings]
    most = from_cash(timeline, position, covered, sum(cash))
    chosen = [most if held.cash_for_early is None else held.cash_for_early for held in holdings]
    if sum(chosen) <= most and all(out <= has for out, has in zip(chosen, cash, strict=True)):
        return chosen
    return shared(min(most, sum(chosen)), cash)


def payments(day: LastDay, person: Opened, draw: Draw) -> tuple[Payment, Pension, int]:
    """What a draw and a lump sum pay together, the pension after it, and what may still be taken tax free."""
    pension, left = person.pension, person.left
    payment = _NOTHING
    if person.lump_sum is not None:
        payment = Payment(person.lump_sum.gross, person.lump_sum.gross, 0)
    uncrystallised, drawdown = draw
    if not uncrystallised and not drawdown:
        return payment, pension, left.tax_free
    rules = day.rules
    if uncrystallised:
        if day.way == "ufpls":
            paid = lump_sums.take("ufpls", uncrystallised, pension, rules, left)
        else:
            paid = lump_sums.without_lump_sum(uncrystallised)
        payment = paid if payment is _NOTHING else _both(payment, paid)
        pension = lump_sums.then(pension, paid, rules)
    if drawdown:
        paid = lump_sums.take("drawdown", drawdown, pension, rules, left)
        payment = paid if payment is _NOTHING else _both(payment, paid)
        pension = lump_sums.then(pension, paid, rules)
    if uncrystallised:
        left = lump_sums.available(pension, rules)
    return payment, pension, left.tax_free


def _both(one: Payment, other: Payment) -> Payment:
    """What two payments come to."""
    return Payment(one.gross + other.gross, one.tax_free + other.tax_free, one.taxable + other.taxable)


class LastDay(Value, frozen=True):
    """What all settlements of one period have in common, whatever is chosen. Pence.

    ``caps`` is empty where nobody has one. ``way`` is how uncrystallised funds are drawn, and ``divide`` says how a draw of
    each person's divides. ``isas`` and ``in_hand`` are what each person has in ISAs, and in cash and of income before any draw
    and tax. ``due`` is the spending and the minimum of cash. ``given`` is who gives the marriage allowance to whom, and ``pots``
    whether anybody has several. ``to_find_before`` is what draws and ISAs pay before the last day, if anything; the rates are
    those of the growth that it misses, and ``isas_first`` says whether ISAs pay it before each person's pensions do.
    """

    timeline: Timeline
    position: int
    people: tuple[Opened, ...]
    rules: LumpSumRules
    way: lump_sums.Method
    caps: Sequence[Pence | None]
    divide: Sequence[Callable[[Pence], lump_sums.Split]]
    isas: Sequence[Pence]
    all_isas: Pence
    isa_allowances: Sequence[Pence]
    in_hand: Sequence[Pence]
    due: Pence
    given: Sequence[tuple[int, int]]
    pots: bool
    to_find_before: Pence
    of_pensions: Sequence[Rate]
    of_isas: Rate
    isas_first: Sequence[bool]


class AfterTax(Value, frozen=True):
    """A choice, its draws within the caps, and its tax: what of each person's draws is taxable, and what of cash and income is in
    hand then, of each and together. Pence."""

    day: LastDay
    choice: Choice
    taxable: list[Pence]
    liabilities: list[Liability]
    in_hand: list[Pence]
    together: Pence

    @property
    def left_over_if_all_grows(self) -> Pence:
        """What cash and ISAs are above what is due where nothing misses growth; below nothing, what is missing."""
        return self.together + self.day.all_isas - self.day.due


class Funded(Value, frozen=True):
    """How a choice pays for a period, before anything moves: ``after_tax`` is what can be carried out of it. ``from_isas`` is
    taken out of ISAs, and ``left_over`` what cash and ISAs are above what is due; below nothing, what is missing. ``before`` is
    what is spent before the last day, None where nothing is to be found for it, and ``missing`` the growth that draws miss.
    """

    after_tax: AfterTax
    from_isas: Pence
    left_over: Pence
    before: _FoundBefore | None = None
    missing: Sequence[tuple[Pence, Pence]] = _NOBODY_MISSES
    of_pots: Sequence[Drawn | None] = ()


def last_day(timeline: Timeline, position: int, people: tuple[Opened, ...]) -> LastDay:
    """What all settlements of a period have in common."""
    household, rules = timeline.household, timeline.periods[position].rules.lump_sums
    # Without a lump sum, what is uncrystallised is designated to drawdown and drawn at once.
    way: lump_sums.Method = "ufpls" if household.lump_sums in WITH_TAX_FREE_PART else "drawdown"
    due = timeline.spending[position] + household.minimum_cash
    to_find = timeline.spending[position]
    isas, isa_allowances, in_hand, divide = [], [], [], []
    all_isas, pots = 0, False
    for person in people:
        year, held = person.year, person.before
        income = year.received if person.lump_sum is None else year.received + person.lump_sum.gross
        to_find -= income + person.early_cash
        isa = held.isa + person.isa_growth
        all_isas += isa
        isas.append(isa)
        isa_allowances.append(person.isa_allowance_left)
        in_hand.append(held.cash + person.interest + income + year.tax_outside)
        pension = person.pension
        divide.append(lump_sums.splitter(way, pension, rules, person.left) if pension.uncrystallised else _nothing)
        if person.pots:
            pots = True
    caps = household.caps_in(position)
    given = () if len(people) == 1 else _given(people)
    of_pensions: Sequence[Rate] = ()
    of_isas, isas_first = (0, 1), []
    if to_find <= 0 or not HALVES_NOT_GROWN[household.assumptions.spending_met]:
        to_find = 0
    else:
        of_pensions, of_isas = missed_rates(timeline, position)
        assumed = household.assumptions
        isas_first = [assumed.isa_growth < assumed.growth_of(i) for i in range(len(people))]
    # By position, in the order of the fields: every period has one.
    return LastDay(
        timeline,
        position,
        people,
        rules,
        way,
        caps,
        divide,
        isas,
        all_isas,
        isa_allowances,
        in_hand,
        due,
        given,
        pots,
        to_find,
        of_pensions,
        of_isas,
        isas_first,
    )


def _nothing(_: Pence) -> lump_sums.Split:
    """How nothing divides, which is all that can be drawn of uncrystallised funds where there are none."""
    return 0, 0, 0, 0


def _given(people: Sequence[Opened]) -> Sequence[tuple[int, int]]:
    """Who of two gives the marriage allowance, and who receives it."""
    first = people[0].year.taxpayer.marriage_allowance
    if first == "none":
        return ()
    second = people[1].year.taxpayer.marriage_allowance
    if first == "gives" and second == "receives":
        return ((0, 1),)
    return ((1, 0),) if second == "gives" and first == "receives" else ()


def after_tax(day: LastDay, choice: Choice) -> AfterTax:
    """A choice within the caps, and its tax. Draws above a person's cap are draws up to it."""
    for cap, draw in zip(day.caps, choice.draws, strict=False):
        if cap is not None and draw.uncrystallised + draw.drawdown > cap:
            choice = _within_caps(day, choice)
            break
    draws = choice.draws
    taxable = []
    for divide, (uncrystallised, drawdown) in zip(day.divide, draws, strict=True):
        taxable.append(divide(uncrystallised)[0] + drawdown if uncrystallised else drawdown)
    liabilities = _liabilities(day, taxable)
    in_hand, together = [], 0
    for before, (uncrystallised, drawdown), liability in zip(day.in_hand, draws, liabilities, strict=True):
        after = before + uncrystallised + drawdown - liability.total
        in_hand.append(after)
        together += after
    return AfterTax(day, choice, taxable, liabilities, in_hand, together)


def funded(found: AfterTax) -> Funded:
    """How a choice pays for a period.

    What is due comes from the cash of both, then from ISAs. Whoever draws more than there is, once growth missed is taken off,
    draws all there is.
    """
    day, choice, together = found.day, found.choice, found.together
    wanted = max(day.due - together, 0)
    if choice.from_isas:
        most = day.timeline.spending[day.position] + sum([person.year.paid_in.own for person in day.people])
        wanted = max(wanted, min(choice.from_isas, most))
    if not day.to_find_before:
        return Funded(found, min(wanted, day.all_isas), found.left_over_if_all_grows)
    before = _found_before(day, choice, min(wanted, most_out(day.all_isas, day.all_isas, day.of_isas)) if wanted else 0)
    if before.lacking > 0:
        others = _with_more_early_cash(day.timeline, day.position, day.people, before.lacking)
        if others is not None:
            return funded(after_tax(last_day(day.timeline, day.position, others), choice))
    of_pots = _of_pots(day, choice.draws, before.draws) if day.pots else ()
    if of_pots:
        possible = tuple([Draw(*one.drawn) if one else draw for draw, one in zip(choice.draws, of_pots, strict=True)])
        if possible != choice.draws:
            return funded(after_tax(day, choice._replace(draws=possible)))
    missing, misses = [], False
    for (uncrystallised, drawdown), rate in zip(before.draws, day.of_pensions, strict=True):
        of_uncrystallised = missed(uncrystallised, rate) if uncrystallised else 0
        of_drawdown = missed(drawdown, rate) if drawdown else 0
        missing.append((of_uncrystallised, of_drawdown))
        if of_uncrystallised or of_drawdown:
            misses = True
    if of_pots:
        missing = [one.missed if one else funds for funds, one in zip(missing, of_pots, strict=True)]
        misses = any(map(any, missing))
    if misses:
        fitting = _within_what_is_left(day, missing, choice.draws)
        if fitting is not None:
            return funded(after_tax(day, choice._replace(draws=fitting)))
    most = most_out(day.all_isas, before.isas, day.of_isas) if day.all_isas else 0
    return Funded(found, min(wanted, most), together + most - day.due, before, missing, of_pots)


class LeftOver:
    """What choices leave over in a period; below nothing, what is missing: as ``funded`` says, but without working out what is
    spent before the last day where that cannot change it."""

    def __init__(self, day: LastDay) -> None:
        """For the choices of one period."""
        self.day = day
        self._fitting: Sequence[Draw] | None = None

    def of(self, found: AfterTax) -> Pence:
        """What a choice leaves over, pence."""
        return found.left_over_if_all_grows if self.needs_no_more(found) else funded(found).left_over

    def needs_no_more(self, found: AfterTax) -> bool:
        """Whether what is spent before the last day surely cannot change it: the ISAs are too small to miss a penny, no more
        cash could be spent then, and every draw leaves enough in the pension for all the growth that it could miss."""
        if not self.day.to_find_before:
            return True
        if self._fitting is None:
            self._fitting = self._most_draws()
        for (uncrystallised, drawdown), most in zip(found.choice.draws, self._fitting, strict=False):
            if uncrystallised > most.uncrystallised or drawdown > most.drawdown:
                return False
        return bool(self._fitting)

    def _most_draws(self) -> Sequence[Draw]:
        """The most of each person's draws that needs no more; nobody's where ISAs or cash do whatever is drawn."""
        day = self.day
        more_cash = _with_more_early_cash(day.timeline, day.position, day.people, day.to_find_before)
        if more_cash is not None or missed(day.all_isas, day.of_isas):
            return ()
        return [_surely_fits(person, rate) for person, rate in zip(day.people, day.of_pensions, strict=True)]


def _surely_fits(person: Opened, rate: Rate) -> Draw:
    """The most that a person may draw and surely leave enough for the growth that it misses; nothing of several pots."""
    if person.pots:
        return Draw(-1, -1)
    numerator, denominator = rate
    whole = denominator + max(numerator, 0)
    return Draw(person.pension.uncrystallised * denominator // whole, person.pension.drawdown * denominator // whole)


def settle(timeline: Timeline, position: int, people: tuple[Opened, ...], choice: Choice) -> Settled:
    """Move a period's money as a choice says.

    What is due comes first (``funded``): of two people from the cash of both in proportion to what each has, and so from their
    ISAs. What is left is subscribed, each person's own money first and then within the partner's ISA allowance, and the rest is
    held as cash. The minimum of cash is kept as if it were spent.
    """
    return carried_out(funded(after_tax(last_day(timeline, position, people), choice)))


def carried_out(found: Funded) -> Settled:
    """The period settled, once it is known what pays for it."""
    paid = found.after_tax
    day, choice, liabilities, in_hand = paid.day, paid.choice, paid.liabilities, paid.in_hand
    wanted, before = found.from_isas, found.before
    people, isas, draws = day.people, day.isas, choice.draws
    spending, kept = day.timeline.spending[day.position], day.timeline.household.minimum_cash
    from_isas = shared(wanted, isas) if wanted else [0] * len(people)
    of_pots: Sequence[Drawn | None] = found.of_pots
    not_grown, spent_early = [ALL_GROWN] * len(people), [NOTHING_EARLY] * len(people)
    if before is None:
        if day.pots:
            of_pots = _of_pots(day, draws, [NO_DRAW] * len(people))
    else:
        out_before = shared(min(before.isas, wanted), from_isas)
        for i, (draw, funds, out) in enumerate(zip(before.draws, found.missing, out_before, strict=False)):
            of_isa = min(missed(out, day.of_isas), isas[i] - from_isas[i]) if out else 0
            not_grown[i] = NotGrown(funds[0], funds[1], of_isa)
            spent_early[i] = Early(draw[0], draw[1], out)
    own = [cash + taken for cash, taken in zip(in_hand, from_isas, strict=True)] if wanted else in_hand
    left = _debts_covered(own)
    spent = [0] * len(people)
    if spending:
        spent = shared(min(spending, sum(left)), left)
        left = [have - share for have, share in zip(left, spent, strict=True)]
    limit = choice.subscribe
    if kept:
        spare = max(0, sum(left) - kept)
        limit = spare if limit is None else min(limit, spare)
    subscribed = subscriptions(left, day.isa_allowances, limit)
    cash = cash_left(left, subscribed, choice.cash_of_first)
    for_early = choice.cash_for_early
    records = []
    for i, person in enumerate(people):
        payment, pension, tax_free_left = payments(day, person, draws[i])
        held, liability, unearned, kept_as_cash = person.before, liabilities[i], not_grown[i], cash[i]
        into, out, share = subscribed[i], from_isas[i], spent[i]
        if unearned is not ALL_GROWN and (unearned[0] or unearned[1]):
            pension = pension.holding(pension.uncrystallised - unearned[0], pension.drawdown - unearned[1])
        pots = of_pots[i] if of_pots else None
        # By position, in the order of the fields: a comparison makes tens of thousands of these.
        records.append(
            PersonRecord(
                person,
                payment.gross,
                payment.tax_free,
                payment.taxable,
                liability,
                liability.total - person.year.tax_outside,
                share,
                into,
                out,
                kept_as_cash - in_hand[i] - out + share + into,
                Holdings(
                    pension,
                    isas[i] - unearned[2] - out + into,
                    kept_as_cash,
                    held.lump_sum_taken or person.lump_sum is not None,
                    for_early[i] if for_early else None,
                    () if pots is None else pots.after,
                ),
                tax_free_left,
                unearned,
                spent_early[i],
                () if pots is None else pots.not_grown,
            )
        )
    return Settled(tuple(records), max(0, -found.left_over))


def _of_pots(day: LastDay, draws: Sequence[Draw], early: Sequence[Draw]) -> list[Drawn | None]:
    """Everybody's draws carried out pot by pot, None for a person without pots; empty where nobody has any."""
    people = day.people
    if not people[0].pots and not people[-1].pots:
        return []
    found: list[Drawn | None] = []
    for i, (person, draw, before) in enumerate(zip(people, draws, early, strict=True)):
        if person.pots:
            growths = day.timeline.household.assumptions.growths_of(i, len(person.pots))
            rates = [missed_rate(day.timeline, day.position, yearly) for yearly in growths]
            found.append(drawn(person.year.order, person.pots, draw, before, rates))
        else:
            found.append(None)
    return found


def _within_caps(day: LastDay, choice: Choice) -> Choice:
    """A choice that draws no more than the caps, less of the funds that a plan draws last."""
    uncrystallised_first = day.timeline.household.lump_sums == "with_each_withdrawal"
    draws = []
    for cap, draw in zip(day.caps, choice.draws, strict=True):
        most = sum(draw) if cap is None else cap
        if uncrystallised_first:
            uncrystallised = min(draw.uncrystallised, most)
            draws.append(Draw(uncrystallised, min(draw.drawdown, most - uncrystallised)))
        else:
            drawdown = min(draw.drawdown, most)
            draws.append(Draw(min(draw.uncrystallised, most - drawdown), drawdown))
    return choice._replace(draws=tuple(draws))


class _FoundBefore(NamedTuple):
    """What is spent before the last day: of everybody's draws, and of the ISAs; and what they are ``lacking`` for it. Pence."""

    draws: Sequence[Draw]
    isas: Pence
    lacking: Pence = 0


def _found_before(day: LastDay, choice: Choice, from_isas: Pence) -> _FoundBefore:
    """What of the amount to find comes from the period's draws and from what is taken out of ISAs: as was chosen, and the rest,
    or all, first from what grows less; of two people in proportion."""
    amount, isas = day.to_find_before, 0
    chosen: Sequence[Draw] = ()
    left: Sequence[Draw] = choice.draws
    if choice.early_draws is not None:
        isas = min(choice.early_from_isas, from_isas, amount)
        chosen = _no_more_than(amount - isas, choice.early_draws, choice.draws)
        amount -= isas + sum([uncrystallised + drawdown for uncrystallised, drawdown in chosen])
        if not amount:
            return _FoundBefore(chosen, isas)
        left = [Draw(whole[0] - early[0], whole[1] - early[1]) for whole, early in zip(left, chosen, strict=True)]
    wanted, first = [], []
    for (uncrystallised, drawdown), isas_first in zip(left, day.isas_first, strict=True):
        each = uncrystallised + drawdown
        wanted.append(each)
        first.append(0 if isas_first else each)
    if day.pots:
        assumed = day.timeline.household.assumptions
        for i, person in enumerate(day.people):
            if person.pots:
                growths = assumed.growths_of(i, len(person.pots))
                first[i] = of_slower(person.year.order, person.pots, left[i], growths, assumed.isa_growth)
    of_first = min(amount, sum(first))
    parts = shared(of_first, first)
    more = min(amount - of_first, from_isas - isas)
    still = amount - of_first - more
    if still and first != wanted:
        then = [each - slower for each, slower in zip(wanted, first, strict=True)]
        of_then = min(still, sum(then))
        parts = [one + other for one, other in zip(parts, shared(of_then, then), strict=True)]
        still -= of_then
    draws = [Draw(*shared(part, rest)) if rest[0] else Draw(0, part) for part, rest in zip(parts, left, strict=True)]
    if chosen:
        draws = [Draw(one[0] + two[0], one[1] + two[1]) for one, two in zip(chosen, draws, strict=True)]
    return _FoundBefore(draws, isas + more, still)


def _no_more_than(amount: Pence, early: Sequence[Draw], draws: Sequence[Draw]) -> tuple[Draw, ...]:
    """What is chosen of the draws, up to an amount in all."""
    found = []
    for one, draw in zip(early, draws, strict=True):
        uncrystallised = min(one.uncrystallised, draw.uncrystallised, amount)
        drawdown = min(one.drawdown, draw.drawdown, amount - uncrystallised)
        amount -= uncrystallised + drawdown
        found.append(Draw(uncrystallised, drawdown))
    return tuple(found)


def _with_more_early_cash(
    timeline: Timeline, position: int, people: Sequence[Opened], lacking: Pence
) -> tuple[Opened, ...] | None:
    """The same people with more of their cash spent before the last day, where a choice left too little for it; None where
    all of the cash that may be spent is."""
    unspent = [person.before.cash + person.interest - person.early_cash for person in people]
    most = sum(unspent) - timeline.household.minimum_cash
    if most <= 0:
        return None
    rate = missed_rate(timeline, position, timeline.household.assumptions.cash_interest)
    more = min(lacking, most_out(most, most, rate))
    if more <= 0:
        return None
    return tuple(
        person._replace(early_cash=person.early_cash + part, interest=person.interest - missed(part, rate))
        for person, part in zip(people, shared(more, unspent), strict=True)
    )


def _within_what_is_left(
    day: LastDay, missing: Sequence[tuple[Pence, Pence]], draws: Sequence[Draw]
) -> tuple[Draw, ...] | None:
    """Smaller draws, where what they leave does not suffice for the growth that they miss; None where it does."""
    for person, draw, (uncrystallised, drawdown) in zip(day.people, draws, missing, strict=True):
        pension = person.pension
        if draw[0] + uncrystallised > pension.uncrystallised or draw[1] + drawdown > pension.drawdown:
            break
    else:
        return None
    lacking = [
        (
            draw.uncrystallised + uncrystallised - person.pension.uncrystallised,
            draw.drawdown + drawdown - person.pension.drawdown,
        )
        for person, draw, (uncrystallised, drawdown) in zip(day.people, draws, missing, strict=True)
    ]

    def less(lacking: Pence, rate: Rate) -> Pence:
        numerator, denominator = rate
        return max(1, lacking * denominator // (denominator + numerator)) if lacking > 0 else 0

    return tuple(
        Draw(draw.uncrystallised - less(uncrystallised, rate), draw.drawdown - less(drawdown, rate))
        for draw, (uncrystallised, drawdown), rate in zip(draws, lacking, day.of_pensions, strict=True)
    )


def wealth_after_tax(timeline: Timeline, holdings: Sequence[Holdings], position: int = -1) -> Pence:
    """What the household has after tax at the end of a period: ISAs, cash, and each pension's remaining tax-free part and
    the rest less the tax assumed on it."""
    rules, assumed = timeline.periods[position].rules.lump_sums, timeline.household.assumptions
    total = 0
    for years, held in zip(timeline.people, holdings, strict=True):
        pension = held.pension
        tax = tax_on_remaining(assumed, years[position], taxed_if_drawn(pension, rules))
        total += held.isa + held.cash + pension.uncrystallised + pension.drawdown - tax
    return total


def taxed_if_drawn(pension: Pension, rules: LumpSumRules) -> Pence:
    """What a pension holds beyond the part that may still be taken tax free."""
    left = lump_sums.available(pension, rules).tax_free
    return pension.uncrystallised + pension.drawdown - min(lump_sums.quarter(pension.uncrystallised, rules), left)


def _liabilities(day: LastDay, taxable: Sequence[Pence]) -> list[Liability]:
    """Everybody's liability. Where one gives the marriage allowance and may not, the other does not receive it."""
    people = day.people
    found = [person.year.liability(person.interest, amount) for person, amount in zip(people, taxable, strict=True)]
    if day.timeline.household.claims_as_best:
        return _with_the_best_claim(people, taxable, found)
    for giver, receiver in day.given:
        if not found[giver].marriage_allowance_open:
            person = people[receiver]
            found[receiver] = person.year.liability(person.interest, taxable[receiver], marriage_allowance="none")
    return found


def _with_the_best_claim(
    people: Sequence[Opened], taxable: Sequence[Pence], unclaimed: list[Liability]
) -> list[Liability]:
    """The liabilities of two people with the claim to the marriage allowance that leaves them the least tax together. Of claims
    that leave the same: none, and then the one in which the first person gives."""
    least = unclaimed
    for giver, receiver in ((0, 1), (1, 0)):
        rules = people[receiver].year.rules
        reduction = years_tax_to_the_penny(rules.marriage_allowance * rules.basic_rate)
        most_saved = min(unclaimed[receiver].total, reduction)
        if not most_saved:
            continue
        gives = people[giver].taxed(taxable[giver], "gives")
        # Whoever would pay more than the basic rates may not give (ITA 2007 s.55C(1)(c)).
        if not gives.marriage_allowance_open or gives.total - unclaimed[giver].total >= most_saved:
            continue
        found = [gives, gives]
        found[receiver] = people[receiver].taxed(taxable[receiver], "receives")
        if found[0].total + found[1].total < least[0].total + least[1].total:
            least = found
    return least


def _debts_covered(own: list[Pence]) -> list[Pence]:
    """Whoever owes more tax than they hold gets it from the partner, as far as the partner has it."""
    if len(own) == 1:
        return [max(0, own[0])]
    first, second = own
    if first < 0:
        return [0, max(0, second + first)]
    if second < 0:
        return [max(0, first + second), 0]
    return own


def shared(amount: Pence, holdings: Sequence[Pence]) -> list[Pence]:
    """An amount shared in proportion to what each has, to the penny; nobody gives more than they have."""
    if len(holdings) == 1:
        return [amount]
    if amount == 0:
        return [0, 0]
    has, other = holdings
    total = has + other
    first = amount * has // total if total else 0
    return [first, amount - first]


def subscriptions(left: Sequence[Pence], allowances: Sequence[Pence], limit: Pence | None = None) -> list[Pence]:
    """What goes into each person's ISAs: own money first, then the partner's."""
    spare = sum(left)
    if spare == 0 or limit == 0:
        return [0] * len(left)
    if (limit is None or limit >= spare) and all(map(le, left, allowances)):
        return list(left)
    if limit is not None and limit < spare:
        spare = limit
    amounts = []
    for have, allowance in zip(left, allowances, strict=True):
        own = min(have, allowance, spare)
        amounts.append(own)
        spare -= own
    if spare:
        for i, allowance in enumerate(allowances):
            more = min(allowance - amounts[i], spare)
            amounts[i] += more
            spare -= more
    return amounts


def cash_left(left: list[Pence], subscribed: list[Pence], of_first: Pence | None = None) -> list[Pence]:
    """What each holds as cash after the subscriptions; whoever lacks money for theirs gets it from the partner."""
    if left == subscribed:
        return [0] * len(left)
    total = sum(left) - sum(subscribed)
    if len(left) == 1:
        return [total]
    first = min(max(left[0] - subscribed[0] if of_first is None else of_first, 0), total)
    return [first, total - first]
