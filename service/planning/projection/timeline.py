"""A plan's tax years: what each person receives in each, and what limits what they may do.

Everything here follows from the request and the figures alone, before anything is decided. Within a period all growth
comes first and all money moves on the last day, so the interest of a year is known before its withdrawals are chosen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from fractions import Fraction
from math import prod
from typing import NamedTuple

from service.figures import tax_years
from service.figures.loader import STANDINGS, Standing, TaxYearFigures
from service.law import isa, lump_sums, pension_age, state_pension
from service.law.income_tax import (
    IncomeTaxRules,
    Liability,
    MarriageAllowance,
    Taxpayer,
    TaxpayerYear,
    liability,
    taxpayer_year,
)
from service.law.lump_sums import Pension
from service.law.rounding import half_up
from service.law.rulebook import RuleBook, TaxYearRules
from service.law.units import WHOLE, BasisPoints, Pence, Years
from service.planning.curve.extra_tax import ExtraTax
from service.planning.household import (
    NOTHING_PAID_IN,
    WITH_PRICES,
    Assumptions,
    DatedIncome,
    Household,
    Member,
    PaidIn,
    Pot,
    Spending,
    YearlyRate,
    paid_in,
    relief_of,
    taxed_pay_between,
    taxpayer_of,
)
from service.planning.incomes import amount_between, settled

MOST_TAX_YEARS = 60
_MOST_REMEMBERED = 64  # answers kept for one person's year; a search asks for thousands and none twice


@dataclass(frozen=True, slots=True)
class Period:
    """One tax year of a plan, or the part of it inside the plan. ``rises`` is how many times yearly amounts have risen, and
    ``prices`` what a pound that rises with prices has come to, as numerator and denominator. ``days`` of the tax year's
    ``days_in_year`` are inside the plan: counted once, because every growth asks for them."""

    position: int
    rises: int
    rules: TaxYearRules
    first: date
    last: date
    prices: tuple[int, int] = (1, 1)
    days: int = field(init=False, compare=False)
    days_in_year: int = field(init=False, compare=False)

    def __post_init__(self) -> None:
        """Count the days."""
        figures = self.rules.figures
        object.__setattr__(self, "days", (self.last - self.first).days + 1)
        object.__setattr__(self, "days_in_year", (figures.end - figures.start).days + 1)

    @property
    def name(self) -> str:
        """The tax year, such as "2026-27"."""
        return self.rules.figures.name

    def growth(self, amount: Pence, rate: YearlyRate) -> Pence:
        """What an amount grows by in the period, pence, half up: a yearly rate (basis points) for its share of the days."""
        if amount == 0:
            return 0
        numerator, denominator = self.share(rate)
        return half_up(amount * numerator, denominator)

    def growth_of(self, paid: PaidIn, rate: YearlyRate) -> Pence:
        """What contributions grow by until the last day, pence, half up: a yearly rate for the share of the year's days."""
        numerator, denominator = rate.numerator, 2 * WHOLE * rate.denominator * self.days_in_year
        return half_up(paid.half_days * numerator, denominator)

    def share(self, rate: YearlyRate) -> tuple[int, int]:
        """A yearly rate for its share of the days, as numerator and denominator: for one who asks for the growth of many."""
        return rate.numerator * self.days, WHOLE * rate.denominator * self.days_in_year

    def shares(self, *rates: YearlyRate) -> list[tuple[int, int]]:
        """Several yearly rates, each as ``share`` gives it: the days are counted once."""
        days, whole = self.days, WHOLE * self.days_in_year
        return [(rate.numerator * days, rate.denominator * whole) for rate in rates]

    def factor(self, rate: YearlyRate) -> float:
        """One plus the growth of a pound, for the model that looks for the best plan; money itself uses ``growth``."""
        return float(1 + rate * self.days / (WHOLE * self.days_in_year))


class Remembered(NamedTuple):
    """Answers already found for one person's year: liabilities by interest, withdrawal and marriage allowance, the
    withdrawals that fill a band by band and interest, and the taxpayer's year by interest and marriage allowance. ``asked`` is
    one number: how often the rules had to be asked; ``extra_tax`` is what withdrawals add to the tax, once it is known."""

    liabilities: dict[tuple[int, int, MarriageAllowance | None], Liability]
    targets: dict[tuple[str, int], int]
    years: dict[tuple[int, MarriageAllowance | None], TaxpayerYear]
    asked: list[int]
    extra_tax: list[ExtraTax]


class PotPeriod(NamedTuple):
    """One of a person's pots in a period: whether it may be drawn on the last day and already ``from_first_day`` on, and what is
    paid in."""

    may_withdraw: bool
    from_first_day: bool
    paid_in: PaidIn


class SmallPotPeriod(NamedTuple):
    """A small pot in a period: its ``place`` among the person's pensions, what it holds at first and what it grows by, and how
    its payment divides on the last day of the period in which it is ``taken``. Pence."""

    place: int
    opening: Pence
    growth: Pence
    taken: bool = False
    tax_free: Pence = 0
    taxable: Pence = 0

    @property
    def gross(self) -> Pence:
        """What is paid out."""
        return self.tax_free + self.taxable

    @property
    def closing(self) -> Pence:
        """What is left: all, or nothing."""
        return self.opening + self.growth - self.gross


@dataclass(frozen=True, slots=True)
class PersonPeriod:
    """One person in one period, before any withdrawal or interest on the plan's cash. Pence.

    ``taxpayer`` holds the income of the whole tax year, ``state_pension`` what of it is State Pension. ``received`` is the
    income inside the plan, and ``taxed_inside`` that with pay which goes into a pension without relief, ``taxed_pay`` in the
    whole year; ``tax_outside`` is the share of the year's tax that the income outside the plan bears.
    ``received`` is less by what of ``paid_in``, which goes into pensions inside the plan, is the household's own. Income is not
    drawn while that ``waits_until`` after a later tax year, so that contributions keep within an allowance.
    ``pots`` are those of somebody whose pensions do not count as one; ``order`` has the places of those that may be drawn, in
    the order in which they are. ``small_pots`` are known before anything is decided: what they pay is in ``received``, and its
    taxable part in ``taxpayer`` and ``taxed_inside``.
    ``remembered`` is what ``liability`` and ``target`` have found before: the plans that are compared ask the same of a year
    over and over. It never passes to a copy with another taxpayer.
    """

    taxpayer: Taxpayer
    rules: IncomeTaxRules
    received: Pence
    tax_outside: Pence
    may_withdraw: bool
    isa_allowance_left: Pence
    state_pension: Pence
    taxed_inside: Pence
    paid_at_source: Pence = 0
    taxed_pay: Pence = 0
    paid_in: PaidIn = NOTHING_PAID_IN
    waits_until: date | None = None
    pots: tuple[PotPeriod, ...] = ()
    order: tuple[int, ...] = ()
    small_pots: tuple[SmallPotPeriod, ...] = ()
    remembered: Remembered = field(
        default_factory=lambda: Remembered({}, {}, {}, [0], []), init=False, compare=False, repr=False
    )

    def liability(
        self, interest: Pence = 0, withdrawal: Pence = 0, *, marriage_allowance: MarriageAllowance | None = None
    ) -> Liability:
        """The tax year's liability with the interest on the plan's cash and a taxable withdrawal."""
        asked = (interest, withdrawal, marriage_allowance)
        known = self.remembered.liabilities
        found = known.get(asked)
        if found is None:
            if len(known) >= _MOST_REMEMBERED:
                known.clear()
            found = known[asked] = liability(self.taxpayer_year(interest, marriage_allowance), withdrawal)
            self.remembered.asked[0] += 1
        return found

    @property
    def may_draw(self) -> bool:
        """Whether income may be drawn on the last day."""
        return self.may_withdraw and self.waits_until is None

    @property
    def income_inside(self) -> Pence:
        """The income inside the plan, before anything of it is paid into a pension, and without small pots."""
        return self.received + self.paid_in.own - self.from_small_pots

    @property
    def from_small_pots(self) -> Pence:
        """What small pots pay on the last day, before tax."""
        return sum(pot.gross for pot in self.small_pots)

    @property
    def without_small_pots(self) -> Taxpayer:
        """The person's tax year without what small pots pay."""
        taxable = sum(pot.taxable for pot in self.small_pots)
        return self.taxpayer._replace(other_income=self.taxpayer.other_income - taxable) if taxable else self.taxpayer

    @property
    def questions(self) -> int:
        """How often the rules had to be asked so far."""
        return self.remembered.asked[0]

    def asked_besides(self, times: int) -> None:
        """Count questions to the rules about this year that went another way."""
        self.remembered.asked[0] += times

    def target(self, band: str, interest: Pence, find: Callable[[], int]) -> Pence:
        """The taxable withdrawal that fills a band beside some interest, found at most once."""
        known = self.remembered.targets
        found = known.get((band, interest))
        if found is None:
            if len(known) >= _MOST_REMEMBERED:
                known.clear()
            found = known[band, interest] = find()
        return found

    def taxpayer_year(self, interest: Pence = 0, marriage_allowance: MarriageAllowance | None = None) -> TaxpayerYear:
        """The tax year with the interest on the plan's cash: several withdrawals are asked about beside the same interest."""
        known = self.remembered.years
        found = known.get((interest, marriage_allowance))
        if found is None:
            if len(known) >= _MOST_REMEMBERED:
                known.clear()
            found = known[interest, marriage_allowance] = self._taxpayer_year(interest, marriage_allowance)
        return found

    def _taxpayer_year(self, interest: Pence, marriage_allowance: MarriageAllowance | None) -> TaxpayerYear:
        taxpayer = self.taxpayer
        if interest or marriage_allowance is not None:
            taxpayer = taxpayer._replace(
                savings=taxpayer.savings + interest,
                marriage_allowance=marriage_allowance or taxpayer.marriage_allowance,
            )
        return taxpayer_year(taxpayer, self.rules)


@dataclass(frozen=True, slots=True)
class Timeline:
    """A household's periods. ``people[i][t]`` is person i in period t; ``spending[t]`` is pence."""

    household: Household
    periods: tuple[Period, ...]
    people: tuple[tuple[PersonPeriod, ...], ...]
    spending: tuple[Pence, ...]
    state_pension_from: tuple[date | None, ...]

    @property
    def state_pensions(self) -> tuple[tuple[Pence, ...], ...]:
        """The State Pension of each person in each whole tax year, pence."""
        return tuple(tuple(year.state_pension for year in years) for years in self.people)

    def price_levels(self) -> Iterator[Fraction]:
        """The price level at the end of each period, 1 at the start of the plan."""
        level = Fraction(1)
        for period in self.periods:
            rise = price_rise(self.household.assumptions, period.rises)
            level *= 1 + Fraction(rise * period.days, WHOLE * period.days_in_year)
            yield level

    @property
    def standing(self) -> Standing:
        """How firm the figures of the weakest tax year are."""
        return max((period.rules.figures.standing for period in self.periods), key=STANDINGS.index)

    @property
    def first_not_law(self) -> TaxYearFigures | None:
        """The figures of the first tax year that are not all law."""
        years = (period.rules.figures for period in self.periods)
        return next((figures for figures in years if figures.standing != "enacted"), None)


def deflated(amount: Pence, level: Fraction) -> Pence:
    """An amount of some day in prices of the plan's start, from that day's price level; pence, half up."""
    return half_up(amount * level.denominator, level.numerator)


def timeline(household: Household, book: RuleBook) -> Timeline:
    """The household's periods, with the income, ISA allowances and needs of each."""
    periods = tuple(_periods(household, book))
    ages = book.state_pension_ages
    reached = tuple(state_pension.reached_on(member.date_of_birth, ages) for member in household.people)
    people = _void_claims_left_out(
        tuple(_person(place, household, periods, book, spa) for place, spa in enumerate(reached))
    )
    if any(member.small_pots for member in household.people):
        people = tuple(
            tuple(_with_small_pots(member, household.assumptions, periods, years))
            for member, years in zip(household.people, people, strict=True)
        )
    spending = tuple(_spending(household, period) for period in periods)
    return Timeline(household, periods, people, spending, reached)


def shortened(whole: Timeline, household: Household, book: RuleBook) -> Timeline:
    """The periods of ``whole`` up to the end of a household that differs from it only in its last tax year."""
    kept = [period for period in whole.periods if period.first <= household.end]
    final = replace(kept[-1], last=household.end)
    people = _void_claims_left_out(
        tuple(
            (
                *years[: final.position],
                *_as_long(years[final.position], _person(place, household, (final,), book, reached)),
            )
            for place, (years, reached) in enumerate(zip(whole.people, whole.state_pension_from, strict=True))
        )
    )
    return Timeline(
        household,
        (*kept[:-1], final),
        people,
        (*whole.spending[: final.position], _spending(household, final)),
        whole.state_pension_from,
    )


def with_first_year(whole: Timeline, household: Household, book: RuleBook) -> Timeline:
    """The periods of ``whole`` for a household that differs from it only in what counts in its first tax year."""
    people = _void_claims_left_out(
        tuple(
            (*_as_long(years[0], _person(place, household, whole.periods[:1], book, reached)), *years[1:])
            for place, (years, reached) in enumerate(zip(whole.people, whole.state_pension_from, strict=True))
        )
    )
    return replace(whole, household=household, people=people)


def _as_long(before: PersonPeriod, years: tuple[PersonPeriod, ...]) -> tuple[PersonPeriod, ...]:
    """The same years, waiting as long as one did before, and with its order of pots: both follow from later years."""
    if before.waits_until is None and not before.pots:
        return years
    return tuple(
        replace(
            year,
            waits_until=before.waits_until,
            order=tuple(k for k in before.order if year.pots[k].may_withdraw),
        )
        for year in years
    )


def growing(whole: Timeline, assumed: Assumptions) -> Timeline:
    """The same periods under other growth and interest, with the order of pots that goes with it; prices and thresholds stay."""
    members = whole.household.people
    people = tuple(
        _in_order(years, assumed.growths_of(place, len(member.pots))) if years[0].pots else years
        for place, (member, years) in enumerate(zip(members, whole.people, strict=True))
    )
    return replace(whole, household=replace(whole.household, assumptions=assumed), people=people)


def with_spending(whole: Timeline, spending: tuple[Spending, ...]) -> Timeline:
    """The same periods for a household that differs from that of ``whole`` only in what it spends."""
    household = replace(whole.household, spending=spending)
    return replace(whole, household=household, spending=tuple(_spending(household, period) for period in whole.periods))


def price_rise(assumed: Assumptions, rises: int) -> BasisPoints:
    """How much prices rise in a tax year, by how many times yearly amounts have risen until then."""
    return assumed.price_rises[rises] if assumed.price_rises else assumed.price_inflation


def risen(amount: Pence, increases: BasisPoints | str, period: Period) -> Pence:
    """What an amount in the money of the plan's first tax year has risen to in a period, pence, half up."""
    numerator, denominator = _rise(increases, period)
    return half_up(amount * numerator, denominator)


def _rise(increases: BasisPoints | str, period: Period) -> tuple[int, int]:
    """What a pound has risen to in a period, as numerator and denominator."""
    if increases == WITH_PRICES:
        return period.prices
    rate = int(increases)
    return ((WHOLE + rate) ** period.rises, WHOLE**period.rises) if rate else (1, 1)


def _periods(household: Household, book: RuleBook) -> Iterator[Period]:
    first, position = household.start, 0
    money_of = household.money_of or household.start
    rises = tax_years.between(tax_years.of(money_of), tax_years.of(household.start))
    last_known = book.last
    assumed = household.assumptions
    prices = assumed.thresholds_after_freeze == "prices"
    inflation = Fraction(WHOLE + assumed.price_inflation, WHOLE)
    level, of_level = prod(WHOLE + price_rise(assumed, year) for year in range(rises)), WHOLE**rises
    while first <= household.end:
        name = tax_years.of(first)
        rules = book.years.get(name)
        if rules is None:
            years_after = tax_years.between(last_known.name, name)
            rules = book.later(name, inflation**years_after if prices else None)
        last = min(rules.figures.end, household.end)
        yield Period(position, rises + position, rules, first, last, (level, of_level))
        level, of_level = level * (WHOLE + price_rise(assumed, rises + position)), of_level * WHOLE
        first, position = last + timedelta(days=1), position + 1


def _spending(household: Household, period: Period) -> Pence:
    return sum(_amount_in(item, item.amount, period, period.first, period.last) for item in household.spending)


def _amount_in(item: DatedIncome | Spending, amount: Pence, period: Period, first: date, last: date) -> Pence:
    """What a yearly amount comes to between two days of a period's tax year, pence."""
    return amount_between(item, amount, first, last, period.days_in_year, _rise(item.increases, period))


def _person(
    place: int, household: Household, periods: tuple[Period, ...], book: RuleBook, reached: date | None
) -> tuple[PersonPeriod, ...]:
    member = household.people[place]
    money_of = tax_years.of(household.money_of or household.start)
    figures, ages = book.years[money_of].figures, book.state_pension_ages
    incomes = [settled(income, member, figures, ages, reached) for income in member.income]
    pots = member.pots
    growths = household.assumptions.growths_of(place, len(pots))
    years = tuple(_person_year(member, incomes, period, pots) for period in periods)
    return _waiting(member, periods, _in_order(years, growths) if pots else years)


def _in_order(years: tuple[PersonPeriod, ...], growths: tuple[YearlyRate, ...]) -> tuple[PersonPeriod, ...]:
    """The same years, with the order in which the pots are drawn: what will be locked again first, then what grows the least
    (README.md)."""
    locked_later: set[int] = set()
    found = []
    for year in reversed(years):
        may = [k for k, pot in enumerate(year.pots) if pot.may_withdraw]
        may.sort(key=lambda k: (k not in locked_later, growths[k], k))
        order = tuple(may)
        found.append(year if year.order == order else replace(year, order=order))
        locked_later |= {k for k, pot in enumerate(year.pots) if not pot.may_withdraw}
    return tuple(reversed(found))


def _waiting(member: Member, periods: tuple[Period, ...], years: tuple[PersonPeriod, ...]) -> tuple[PersonPeriod, ...]:
    """The same years, with no income drawn while contributions of a later tax year would then be above the money purchase annual
    allowance (Finance Act 2004 s.227B): the first income is drawn on a last day, so those of its own tax year are not tested.
    Whoever has drawn income before has nothing to wait for."""
    if not member.pays_in or member.pension.flexibly_accessed:
        return years
    until: date | None = None
    found = []
    for period, year in zip(reversed(periods), reversed(years), strict=True):
        found.append(year if until is None else replace(year, waits_until=until))
        if until is None and money_purchase_saving(member, period) > period.rules.money_purchase_annual_allowance:
            until = period.last
    return tuple(reversed(found))


def money_purchase_saving(member: Member, period: Period) -> Pence:
    """What all payers together pay into a person's money purchase pensions in a period's tax year, gross."""
    figures = period.rules.figures
    return sum(
        one.between(figures.start, figures.end) for one in member.contributions if one.saving == "money_purchase"
    )


def _person_year(member: Member, incomes: list[DatedIncome], period: Period, pots: tuple[Pot, ...]) -> PersonPeriod:
    figures = period.rules.figures
    whole, inside = [], 0
    for income in incomes:
        assert income.amount is not None
        whole.append((income.kind, _amount_in(income, income.amount, period, figures.start, figures.end)))
        inside += _amount_in(income, income.amount, period, period.first, period.last)
    if period.position == 0:
        whole += member.already.taxed
    relief = relief_of(member, whole, figures.start, figures.end, period.rules.relief)
    taxed_inside = inside
    if relief.taxed_pay:
        whole.append(("employment", relief.taxed_pay))
        taxed_inside += taxed_pay_between(
            member, period.first, period.last, figures.start, figures.end, period.rules.relief
        )
    taxpayer = taxpayer_of(member, whole, relief.relief_at_source)
    rules = period.rules.income_tax[member.tax_residence]
    into_pensions = NOTHING_PAID_IN
    if member.pays_in:
        into_pensions = paid_in(member, relief, period.first, period.last, figures.start, figures.end, rules.basic_rate)
    of_pots: tuple[PotPeriod, ...] = ()
    if pots:
        days = period.first, period.last, figures.start, figures.end
        of_pots = tuple(
            PotPeriod(
                _may_withdraw(member, period, period.last, pot.protected_pension_age),
                _may_withdraw(member, period, period.first, pot.protected_pension_age),
                paid_in(member, relief, *days, rules.basic_rate, pot.places) if member.pays_in else NOTHING_PAID_IN,
            )
            for pot in pots
        )
    return PersonPeriod(
        taxpayer=taxpayer,
        rules=rules,
        received=inside - into_pensions.own,
        tax_outside=_tax_outside(taxpayer, rules, taxed_inside),
        may_withdraw=any(pot.may_withdraw for pot in of_pots)
        if of_pots
        else _may_withdraw(member, period, period.last, member.pension.protected_pension_age),
        isa_allowance_left=_isa_allowance_left(member, period),
        state_pension=sum(amount for kind, amount in whole if kind == "state_pension"),
        taxed_inside=taxed_inside,
        paid_at_source=relief.paid_at_source,
        taxed_pay=relief.taxed_pay,
        paid_in=into_pensions,
        pots=of_pots,
    )


def _with_small_pots(
    member: Member, assumed: Assumptions, periods: tuple[Period, ...], years: tuple[PersonPeriod, ...]
) -> Iterator[PersonPeriod]:
    """The same years with a person's small pots: each grows by itself and is paid whole on the last day of its tax year. What it
    pays is income of that year to everything that is decided (ITEPA 2003 s.637G: a quarter of it is free)."""
    held = [pot.pension.held for pot in member.small_pots]
    for period, year in zip(periods, years, strict=True):
        found = []
        for k, pot in enumerate(member.small_pots):
            one = SmallPotPeriod(pot.place, held[k], period.growth(held[k], assumed.of_small_pot(pot)))
            if pot.tax_year == period.name:
                rules, whole = period.rules.lump_sums, Pension(max(0, one.closing), 0)
                paid = lump_sums.take(
                    "small_pot", whole.uncrystallised, whole, rules, lump_sums.available(whole, rules)
                )
                one = one._replace(taken=True, tax_free=paid.tax_free, taxable=paid.taxable)
            found.append(one)
            held[k] = one.closing
        taxable = sum(one.taxable for one in found)
        yield replace(
            year,
            taxpayer=year.taxpayer._replace(other_income=year.taxpayer.other_income + taxable),
            received=year.received + sum(one.gross for one in found),
            taxed_inside=year.taxed_inside + taxable,
            small_pots=tuple(found),
        )


def _may_withdraw(member: Member, period: Period, day: date, protected: Years | None) -> bool:
    """Whether benefits may be taken on a day of a period from pensions with a protected age, if any."""
    return pension_age.may_take_benefits(member.date_of_birth, day, period.rules.minimum_pension_age, protected)


def _tax_outside(taxpayer: Taxpayer, rules: IncomeTaxRules, inside: Pence) -> Pence:
    """The share of the year's tax that the income outside the plan bears, of the income without any withdrawal."""
    outside = taxpayer.income - inside
    return half_up(liability(taxpayer_year(taxpayer, rules)).total * outside, taxpayer.income) if outside > 0 else 0


def _void_claims_left_out(people: tuple[tuple[PersonPeriod, ...], ...]) -> tuple[tuple[PersonPeriod, ...], ...]:
    """The same people, the tax outside the plan without a marriage allowance that could not be given whatever is withdrawn
    (ITA 2007 s.55C(1)(c)). One that only a withdrawal of the plan rules out is lost inside the plan."""
    if len(people) == 1:
        return people
    first, second = people
    return (
        tuple(_unless_void(year, partner) for year, partner in zip(first, second, strict=True)),
        tuple(_unless_void(year, partner) for year, partner in zip(second, first, strict=True)),
    )


def _unless_void(year: PersonPeriod, partner: PersonPeriod) -> PersonPeriod:
    receives = year.taxpayer.marriage_allowance == "receives" and partner.taxpayer.marriage_allowance == "gives"
    if not year.tax_outside or not receives:
        return year
    if liability(taxpayer_year(partner.taxpayer, partner.rules)).marriage_allowance_open:
        return year
    alone = year.taxpayer._replace(marriage_allowance="none")
    return replace(year, tax_outside=_tax_outside(alone, year.rules, year.taxed_inside))


def _isa_allowance_left(member: Member, period: Period) -> Pence:
    """What may still be subscribed in the tax year (SI 1998/1870 reg.4ZA)."""
    limit = isa.subscription_limit(period.rules.figures, member.date_of_birth, cash=member.isa.cash_isa)
    used = member.isa.subscribed_this_year if period.position == 0 else 0
    return max(0, limit - used)
