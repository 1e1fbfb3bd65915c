"""One period of a plan after another, to the penny: what comes in, what is taxed, what is subscribed, what is left.

``opened`` grows what the household holds; ``settle`` then moves the money on the period's last day, as a ``Choice`` says.
Nothing is decided here. All amounts are pence; opening + growth + in - out = closing for every balance of every person.
"""

from __future__ import annotations

from collections.abc import Sequence
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


_NO_DRAW = Draw()


class Choice(NamedTuple):
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
        return tuple(record.after for record in self.people)


def first_holdings(timeline: Timeline) -> tuple[Holdings, ...]:
    """What the household holds at the start of a plan."""
    return tuple(
        Holdings(member.pension, member.isa.value, member.cash, pots=pots_of(member))
        for member in timeline.household.people
    )


def opened(timeline: Timeline, position: int, holdings: Sequence[Holdings]) -> tuple[Opened, ...]:
    """Everybody on the last day of a period: balances grown, and the lump sum of "all_now" taken when it first can be."""
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
            of_uncrystallised = half_up(pension.uncrystallised * pension_growth, whole)
            of_drawdown = half_up(pension.drawdown * pension_growth, whole)
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
                half_up(held.isa * isa_growth, isa_whole),
                half_up(held.cash * interest, cash_whole),
                year.isa_allowance_left,
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


def payments(timeline: Timeline, position: int, person: Opened, draw: Draw) -> tuple[Payment, Pension, int]:
    """A draw's two payments in one, the pension after it, and what may still be taken tax free."""
    pension, left = person.pension, person.left
    if person.lump_sum is None and not draw.uncrystallised and not draw.drawdown:
        return _NOTHING, pension, left.tax_free
    rules = timeline.periods[position].rules.lump_sums
    gross = tax_free = taxable = 0
    if person.lump_sum is not None:
        gross = tax_free = person.lump_sum.gross
    if draw.uncrystallised:
        if timeline.household.lump_sums in WITH_TAX_FREE_PART:
            payment = lump_sums.take("ufpls", draw.uncrystallised, pension, rules, left)
        else:
            payment = lump_sums.without_lump_sum(draw.uncrystallised)
        gross, tax_free, taxable = gross + payment.gross, tax_free + payment.tax_free, taxable + payment.taxable
        pension = lump_sums.then(pension, payment, rules)
    if draw.drawdown:
        payment = lump_sums.take("drawdown", draw.drawdown, pension, rules, left)
        gross, taxable = gross + payment.gross, taxable + payment.taxable
        pension = lump_sums.then(pension, payment, rules)
    if draw.uncrystallised:
        left = lump_sums.available(pension, rules)
    return Payment(gross, tax_free, taxable), pension, left.tax_free


def settle(timeline: Timeline, position: int, people: Sequence[Opened], choice: Choice) -> Settled:
    """Move a period's money as a choice says.

    Tax and spending come first, from the cash of both in proportion to what each has, then from ISAs. What is left is
    subscribed, each person's own money first and then within the partner's ISA allowance, and the rest is held as cash. The
    minimum of cash is kept as if it were spent. Draws above a person's cap are draws up to it.

    Whoever draws more than there is, once growth missed is taken off, draws all there is.
    """
    for member, draw in zip(timeline.household.people, choice.draws, strict=True):
        cap = member.cap_in(position)
        if cap is not None and draw.uncrystallised + draw.drawdown > cap:
            choice = _within_caps(timeline, position, choice)
            break
    paid = [payments(timeline, position, person, draw) for person, draw in zip(people, choice.draws, strict=True)]
    liabilities = _liabilities(timeline, people, [payment.taxable for payment, _, _ in paid])
    taxes, isas, in_hand = [], [], []
    for person, liability, (payment, _, _) in zip(people, liabilities, paid, strict=True):
        year, held = person.year, person.before
        tax = liability.total - year.tax_outside
        taxes.append(tax)
        isas.append(held.isa + person.isa_growth)
        in_hand.append(held.cash + person.interest + year.received + payment.gross - tax)
    spending, kept = timeline.spending[position], timeline.household.minimum_cash
    wanted = max(spending + kept - sum(in_hand), 0)
    if choice.from_isas:
        most = spending + sum([person.year.paid_in.own for person in people])
        wanted = max(wanted, min(choice.from_isas, most))
    before = _to_find_before_the_last_day(timeline, position, people)
    if before > 0:
        of_pensions, rate = missed_rates(timeline, position)
        early = _found_before(timeline, people, before, choice, min(wanted, most_out(sum(isas), sum(isas), rate)))
        lacking = before - sum(early.draws_together) - early.isas
        if lacking > 0:
            others = _with_more_early_cash(timeline, position, people, lacking)
            if others is not None:
                return settle(timeline, position, others, choice)
        of_pots = _of_pots(timeline, position, people, choice.draws, early.draws)
        if of_pots:
            possible = [Draw(*one.drawn) if one else draw for draw, one in zip(choice.draws, of_pots, strict=True)]
            if tuple(possible) != choice.draws:
                return settle(timeline, position, people, choice._replace(draws=tuple(possible)))
        missing: Sequence[tuple[Pence, Pence]] = _NOBODY_MISSES
        if any(early.draws_together) and (of_pots or any(numerator for numerator, _ in of_pensions)):
            missing = [
                (missed(uncrystallised, of_pension), missed(drawdown, of_pension))
                for (uncrystallised, drawdown), of_pension in zip(early.draws, of_pensions, strict=True)
            ]
            if of_pots:
                missing = [one.missed if one else funds for funds, one in zip(missing, of_pots, strict=True)]
            fitting = _within_what_is_left(of_pensions, [pension for _, pension, _ in paid], missing, choice.draws)
            if fitting is not None:
                return settle(timeline, position, people, choice._replace(draws=fitting))
        wanted = min(wanted, most_out(sum(isas), early.isas, rate)) if wanted else 0
        from_isas = shared(wanted, isas)
        out_before = shared(min(early.isas, wanted), from_isas)
        not_grown = [
            NotGrown(*funds, min(missed(out, rate), isa - taken))
            for funds, out, isa, taken in zip(missing, out_before, isas, from_isas, strict=False)
        ]
        spent_early = [Early(*draw, out) for draw, out in zip(early.draws, out_before, strict=True)]
    else:
        from_isas = shared(min(wanted, sum(isas)), isas) if wanted else [0] * len(people)
        not_grown = [ALL_GROWN] * len(people)
        spent_early = [NOTHING_EARLY] * len(people)
        of_pots = _of_pots(timeline, position, people, choice.draws, [_NO_DRAW] * len(people))
    own = [cash + taken for cash, taken in zip(in_hand, from_isas, strict=True)] if wanted else in_hand
    short = max(0, spending + kept - sum(own))
    left = _debts_covered(own)
    spent = [0] * len(people)
    if spending:
        spent = shared(min(spending, sum(left)), left)
        left = [have - share for have, share in zip(left, spent, strict=True)]
    limit = choice.subscribe
    if kept:
        spare = max(0, sum(left) - kept)
        limit = spare if limit is None else min(limit, spare)
    subscribed = subscriptions(left, [person.isa_allowance_left for person in people], limit)
    cash = cash_left(left, subscribed, choice.cash_of_first)
    for_early: Sequence[Pence | None] = choice.cash_for_early or [None] * len(people)
    records = []
    for i, person in enumerate(people):
        payment, pension, tax_free_left = paid[i]
        held, into, out, unearned, kept_as_cash = person.before, subscribed[i], from_isas[i], not_grown[i], cash[i]
        if unearned is not ALL_GROWN and unearned.pension:
            pension = pension.holding(
                pension.uncrystallised - unearned.uncrystallised, pension.drawdown - unearned.drawdown
            )
        pots = of_pots[i] if of_pots else None
        # By position, in the order of the fields: a comparison makes tens of thousands of these.
        records.append(
            PersonRecord(
                person,
                payment.gross,
                payment.tax_free,
                payment.taxable,
                liabilities[i],
                taxes[i],
                spent[i],
                into,
                out,
                kept_as_cash - (in_hand[i] + out - spent[i] - into),
                Holdings(
                    pension,
                    isas[i] - unearned.isa - out + into,
                    kept_as_cash,
                    held.lump_sum_taken or person.lump_sum is not None,
                    for_early[i],
                    () if pots is None else pots.after,
                ),
                tax_free_left,
                unearned,
                spent_early[i],
                () if pots is None else pots.not_grown,
            )
        )
    return Settled(tuple(records), short)


def _of_pots(
    timeline: Timeline, position: int, people: Sequence[Opened], draws: Sequence[Draw], early: Sequence[Draw]
) -> list[Drawn | None]:
    """Everybody's draws carried out pot by pot, None for a person without pots; empty where nobody has any."""
    if not people[0].pots and not people[-1].pots:
        return []
    found: list[Drawn | None] = []
    for i, (person, draw, before) in enumerate(zip(people, draws, early, strict=True)):
        if person.pots:
            growths = timeline.household.assumptions.growths_of(i, len(person.pots))
            rates = [missed_rate(timeline, position, yearly) for yearly in growths]
            found.append(drawn(person.year.order, person.pots, draw, before, rates))
        else:
            found.append(None)
    return found


def _within_caps(timeline: Timeline, position: int, choice: Choice) -> Choice:
    """A choice that draws no more than the caps, less of the funds that a plan draws last."""
    caps = [member.cap_in(position) for member in timeline.household.people]
    uncrystallised_first = timeline.household.lump_sums == "with_each_withdrawal"
    draws = []
    for cap, draw in zip(caps, choice.draws, strict=True):
        most = sum(draw) if cap is None else cap
        if uncrystallised_first:
            uncrystallised = min(draw.uncrystallised, most)
            draws.append(Draw(uncrystallised, min(draw.drawdown, most - uncrystallised)))
        else:
            drawdown = min(draw.drawdown, most)
            draws.append(Draw(min(draw.uncrystallised, most - drawdown), drawdown))
    return choice._replace(draws=tuple(draws))


def _to_find_before_the_last_day(timeline: Timeline, position: int, people: Sequence[Opened]) -> Pence:
    """What of the spending, and of what is paid into pensions, is met before the last day, and not from income, cash or the one
    lump sum of "all_now"."""
    spending = timeline.spending[position]
    if not HALVES_NOT_GROWN[timeline.household.assumptions.spending_met]:
        return 0
    for person in people:
        spending -= person.year.received + person.early_cash
        if person.lump_sum is not None:
            spending -= person.lump_sum.gross
    return spending


class _FoundBefore(NamedTuple):
    """What is spent before the last day: of everybody's draws, and of the ISAs."""

    draws: tuple[Draw, ...]
    isas: Pence

    @property
    def draws_together(self) -> list[Pence]:
        """What each person's draws come to."""
        return [uncrystallised + drawdown for uncrystallised, drawdown in self.draws]


def _found_before(
    timeline: Timeline, people: Sequence[Opened], amount: Pence, choice: Choice, from_isas: Pence
) -> _FoundBefore:
    """What of an amount comes from the period's draws and from what is taken out of ISAs: as was chosen, and the rest, or
    all, first from what grows less; of two people in proportion."""
    chosen, isas = tuple(Draw() for _ in choice.draws), 0
    if choice.early_draws is not None:
        isas = min(choice.early_from_isas, from_isas, amount)
        chosen = _no_more_than(amount - isas, choice.early_draws, choice.draws)
        amount -= isas + sum(uncrystallised + drawdown for uncrystallised, drawdown in chosen)
        if not amount:
            return _FoundBefore(chosen, isas)
    left = [Draw(whole[0] - early[0], whole[1] - early[1]) for whole, early in zip(choice.draws, chosen, strict=True)]
    wanted = [uncrystallised + drawdown for uncrystallised, drawdown in left]
    assumed = timeline.household.assumptions
    after_isas = [assumed.isa_growth < assumed.growth_of(i) for i in range(len(wanted))]
    first = [0 if later else each for each, later in zip(wanted, after_isas, strict=True)]
    for i, person in enumerate(people):
        if person.pots:
            growths = assumed.growths_of(i, len(person.pots))
            first[i] = of_slower(person.year.order, person.pots, left[i], growths, assumed.isa_growth)
    then = [each - slower for each, slower in zip(wanted, first, strict=True)]
    of_first = min(amount, sum(first))
    more = min(amount - of_first, from_isas - isas)
    of_then = min(amount - of_first - more, sum(then))
    draws = []
    shares = zip(shared(of_first, first), shared(of_then, then), strict=True)
    for early, rest, (one, other) in zip(chosen, left, shares, strict=True):
        each = one + other
        uncrystallised, drawdown = shared(each, rest)
        draws.append(Draw(early.uncrystallised + uncrystallised, early.drawdown + drawdown))
    return _FoundBefore(tuple(draws), isas + more)


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
    rate = missed_rate(timeline, position, timeline.household.assumptions.cash_interest)
    unspent = [person.before.cash + person.interest - person.early_cash for person in people]
    most = sum(unspent) - timeline.household.minimum_cash
    more = min(lacking, most_out(most, most, rate))
    if more <= 0:
        return None
    return tuple(
        person._replace(early_cash=person.early_cash + part, interest=person.interest - missed(part, rate))
        for person, part in zip(people, shared(more, unspent), strict=True)
    )


def _within_what_is_left(
    rates: Sequence[Rate],
    pensions: Sequence[Pension],
    missing: Sequence[tuple[Pence, Pence]],
    draws: Sequence[Draw],
) -> tuple[Draw, ...] | None:
    """Smaller draws, where what they leave does not suffice for the growth that they miss; None where it does."""
    if all(
        pension.uncrystallised >= uncrystallised and pension.drawdown >= drawdown
        for pension, (uncrystallised, drawdown) in zip(pensions, missing, strict=True)
    ):
        return None

    def less(lacking: Pence, rate: Rate) -> Pence:
        numerator, denominator = rate
        return max(1, lacking * denominator // (denominator + numerator)) if lacking > 0 else 0

    return tuple(
        Draw(
            draw.uncrystallised - less(uncrystallised - pension.uncrystallised, rate),
            draw.drawdown - less(drawdown - pension.drawdown, rate),
        )
        for draw, pension, (uncrystallised, drawdown), rate in zip(draws, pensions, missing, rates, strict=True)
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


def _liabilities(timeline: Timeline, people: Sequence[Opened], taxable: Sequence[Pence]) -> list[Liability]:
    """Everybody's liability. Where one gives the marriage allowance and may not, the other does not receive it."""
    found = [person.year.liability(person.interest, amount) for person, amount in zip(people, taxable, strict=True)]
    if timeline.household.claims_as_best:
        return _with_the_best_claim(people, taxable, found)
    for giver, receiver in ((0, 1), (1, 0)) if len(people) > 1 else ():
        if people[giver].year.taxpayer.marriage_allowance != "gives":
            continue
        person = people[receiver]
        receives = person.year.taxpayer.marriage_allowance == "receives"
        if receives and not found[giver].marriage_allowance_open:
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
    total = sum(holdings)
    first = amount * holdings[0] // total if total else 0
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


def cash_left(left: Sequence[Pence], subscribed: Sequence[Pence], of_first: Pence | None = None) -> list[Pence]:
    """What each holds as cash after the subscriptions; whoever lacks money for theirs gets it from the partner."""
    total = sum(left) - sum(subscribed)
    if total == 0:
        return [0] * len(left)
    if len(left) == 1:
        return [total]
    first = min(max(left[0] - subscribed[0] if of_first is None else of_first, 0), total)
    return [first, total - first]
