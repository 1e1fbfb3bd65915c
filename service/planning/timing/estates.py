"""What is left on a death and what beneficiaries receive of it, after inheritance tax and their income tax.

A couple's first death passes to the spouse or to beneficiaries; the survivor goes on with the same option until the second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import NamedTuple

from service.law import lump_sums
from service.law.ages import age_on, birthday
from service.law.death_benefits import DeathBenefit, Form, Received, received
from service.law.inheritance_tax import Estate, EstateTax, FormerHome, estate_tax, gift_counts
from service.law.isa import additional_permitted_subscription
from service.law.rulebook import RuleBook
from service.law.units import WHOLE, BasisPoints, MillionthShare, Pence, Years
from service.planning.faults import Fault, RuleViolation
from service.planning.household import DatedIncome, Household, Isa, Member
from service.planning.projection.settlement import Holdings
from service.planning.projection.timeline import Period, Timeline, deflated, risen, shortened, timeline, with_first_year
from service.planning.timing.options import Course, CoursePeriod, carried_out

TO_SPOUSE, TO_BENEFICIARIES = "to_spouse", "to_beneficiaries"
_SHARES_IN_A_RATE = 100  # the law counts shares of a band in hundredths of a basis point


@dataclass(frozen=True, slots=True)
class Gift:
    """A chargeable lifetime gift, or one that death within seven years makes chargeable; ``giver`` is 0 or 1."""

    day: date
    amount: Pence
    giver: int = 0


@dataclass(frozen=True, slots=True)
class HomeGivenUp:
    """A home that was given up on or after 8 July 2015 and may earn a downsizing addition (ss.8FA-8FE): its ``value`` then, and
    the full residence nil-rate band of a death on that day, pence. ``rest_to_descendants``: whether descendants inherit what
    beneficiaries receive of the free estate besides the home there is now; without that there is no addition."""

    value: Pence
    residence_nil_rate_band: Pence
    rest_to_descendants: bool = True


@dataclass(frozen=True, slots=True)
class EstateFacts:
    """What a household owns besides pensions, ISAs and cash, and where it goes. Pence, in the money of the first tax year.

    ``increases`` is how the home and the other assets rise (basis points, or WITH_PRICES); shares are basis points.
    ``charity_share`` is of what the beneficiaries' part of the free estate is besides a home that goes to descendants.
    ``spouses`` is whether two people are married or civil partners: only then can the first death pass free of tax, and only
    then does what it leaves of the bands unused serve the second, whoever inherits (ss.8A, 8G, 18). Of a home given up each
    of two people had their share. ``pension_paid_within_two_years`` counts from when the scheme knew, or could have known, of the
    death; ``pension_to_non_qualifying_person`` is whether trustees, a company or the like receive the pension money.
    """

    home: Pence = 0
    home_to_descendants: bool = False
    other_assets: Pence = 0
    debts: Pence = 0
    increases: BasisPoints | str = 0
    first_person_share: BasisPoints = 5_000
    charity_share: BasisPoints = 0
    gifts: tuple[Gift, ...] = ()
    nil_rate_band_brought_forward: MillionthShare = 0
    residence_nil_rate_band_brought_forward: MillionthShare = 0
    spouses: bool = True
    first_death: str = TO_SPOUSE
    home_given_up: HomeGivenUp | None = None
    pension_paid_as: Form = "lump_sum"
    pension_paid_within_two_years: bool = True
    pension_to_non_qualifying_person: bool = False
    survivor_spending: BasisPoints = WHOLE


@dataclass(frozen=True, slots=True)
class Death:
    """A death asked about: of which person, at which age; for a couple the age at which the other then dies, None where
    the other lives to the end."""

    person: int
    age: Years
    survivor_age: Years | None = None


class Left(NamedTuple):
    """What one person leaves: the estate with its tax, and where no spouse takes it all what the beneficiaries receive."""

    person: int
    age: Years
    period: Period
    estate: Estate
    tax: EstateTax
    to_spouse: bool
    additional_permitted_subscription: Pence
    pension: Received | None
    to_charity: Pence
    free_estate_net: Pence

    @property
    def day(self) -> date:
        """The day of the death, the last of its period."""
        return self.period.last

    @property
    def pension_in_estate(self) -> bool:
        """Whether unused pension money counts in the estate: for deaths on or after 6 April 2027."""
        return self.period.rules.inheritance_tax.unused_pensions_in_estate

    @property
    def net(self) -> Pence:
        """What beneficiaries receive after all taxes, pence."""
        return self.free_estate_net + (self.pension.net if self.pension else 0)


class Outcome(NamedTuple):
    """One death asked about, to the end: ``deaths`` are the one or two of it; ``survivor`` is how the survivor's years went."""

    deaths: tuple[Left, ...]
    survivor: Course | None
    net: Pence
    net_in_prices_of_start: Pence

    @property
    def inheritance_tax(self) -> Pence:
        """All inheritance tax, pence."""
        return sum(left.tax.tax for left in self.deaths)

    @property
    def beneficiaries_income_tax(self) -> Pence:
        """The beneficiaries' income tax on pension money, pence."""
        return sum(left.pension.income_tax for left in self.deaths if left.pension)


def death_day(household: Household, death: Death) -> date:
    """The day of a death asked about: the birthday on which the age is reached."""
    return birthday(household.people[death.person].date_of_birth, death.age)


def survivors_death_day(household: Household, death: Death) -> date:
    """The day on which the survivor of a couple dies: the birthday asked for, or the last day of all."""
    if death.survivor_age is None:
        return household.end
    return birthday(household.people[1 - death.person].date_of_birth, death.survivor_age)


class DeathYears(NamedTuple):
    """The tax years of a death asked about, the same for every option: ``until`` the death, and ``after`` it those of the
    survivor of a couple, None where the survivor has none. ``after`` knows nothing of what is subscribed and drawn in the
    tax year of the death. ``levels`` are the price levels at the ends of the two."""

    death: Death
    until: Timeline
    after: Timeline | None
    levels: tuple[Fraction, Fraction]


def death_years(whole: Timeline, death: Death, facts: EstateFacts, book: RuleBook) -> DeathYears:
    """The tax years of a death."""
    household = whole.household
    day = death_day(household, death)
    until = shortened(whole, _ending_with_death(household, death.person, day), book)
    *_, level = until.price_levels()
    if len(household.people) == 1 or survivors_death_day(household, death) <= day:
        return DeathYears(death, until, None, (level, level))
    after = timeline(_alone(household, death, until, facts), book)
    *_, more = after.price_levels()
    return DeathYears(death, until, after, (level, level * more))


def outcome(
    course: Course, years: DeathYears, facts: EstateFacts, beneficiary_rate: BasisPoints, book: RuleBook
) -> Outcome:
    """What beneficiaries receive if a person dies as asked; ``beneficiary_rate`` is their income tax rate in basis points.

    RuleViolation where the survivor's spending cannot be met, or where a lifetime allowance charge on death benefits would
    have to be computed.
    """
    household, death, until = course.timeline.household, years.death, years.until
    last_year = _last_year(course, until)
    held = last_year.settled.holdings
    couple = len(held) > 1
    passes_on = couple and facts.first_death == TO_SPOUSE
    own_share = _shares(facts)[death.person] if couple else WHOLE
    left = _left(
        _Died(
            person=death.person,
            member=household.people[death.person],
            period=until.periods[-1],
            held=held[death.person],
            owned=_owned(facts, until, own_share),
            own_share=own_share,
            to_spouse=passes_on,
        ),
        facts,
        beneficiary_rate,
    )
    if not couple:
        return Outcome((left,), None, left.net, deflated(left.net, years.levels[0]))
    return _to_second_death(course, years, left, last_year, facts, beneficiary_rate, book)


def _to_second_death(
    course: Course,
    years: DeathYears,
    first: Left,
    last_year: CoursePeriod,
    facts: EstateFacts,
    beneficiary_rate: BasisPoints,
    book: RuleBook,
) -> Outcome:
    household = course.timeline.household
    survivor = 1 - years.death.person
    held, inherited = _after_inheriting(last_year.settled.holdings, years.death.person, first)
    alone = None
    if years.after is not None:
        after = _with_year_of_death(years.after, course, years.until.periods[-1], last_year, survivor, book)
        alone = carried_out(after, course.option, [held], inherited=inherited)
        (held,), inherited = alone.holdings, alone.inherited
    at_end = alone.timeline if alone else years.until
    share = WHOLE if first.to_spouse else _shares(facts)[survivor]
    second = _left(
        _Died(
            person=survivor,
            member=household.people[survivor],
            period=at_end.periods[-1],
            held=held,
            inherited=inherited,
            owned=_owned(facts, at_end, share),
            own_share=_shares(facts)[survivor],
            nil_rate_band=first.tax.nil_rate_band_unused if facts.spouses else 0,
            residence_band=first.tax.residence_band_unused if facts.spouses else 0,
        ),
        facts,
        beneficiary_rate,
    )
    net = first.net + second.net
    return Outcome((first, second), alone, net, deflated(net, years.levels[1]))


class _Owned(NamedTuple):
    """A person's part of what the household owns besides its money."""

    home: Pence
    other: Pence
    debts: Pence


class _Died(NamedTuple):
    """A person on the last day of a period, the day of the death, with what there is and what earlier deaths left unused.
    ``own_share`` is what they had of the household's property before any death, basis points."""

    person: int
    member: Member
    period: Period
    held: Holdings
    owned: _Owned
    own_share: BasisPoints
    inherited: Pence = 0
    nil_rate_band: Pence | None = None
    residence_band: Pence | None = None
    to_spouse: bool = False


def _left(died: _Died, facts: EstateFacts, beneficiary_rate: BasisPoints) -> Left:
    day, rules, owned, held = died.period.last, died.period.rules, died.owned, died.held
    age = age_on(died.member.date_of_birth, day)
    assets = held.isa + held.cash + owned.home + owned.other
    free = assets - min(owned.debts, assets)
    to_descendants = min(owned.home, free) if facts.home_to_descendants and not died.to_spouse else 0
    to_charity = 0 if died.to_spouse else (free - to_descendants) * facts.charity_share // WHOLE
    pension = held.pension.uncrystallised + held.pension.drawdown + died.inherited
    earlier = (facts.nil_rate_band_brought_forward, facts.residence_nil_rate_band_brought_forward)
    bands = [
        given * _SHARES_IN_A_RATE if own is None else own
        for own, given in zip((died.nil_rate_band, died.residence_band), earlier, strict=True)
    ]
    estate = Estate(
        isa=held.isa,
        cash=held.cash,
        other=owned.other,
        home=owned.home,
        liabilities=assets - free,
        pension=pension,
        home_to_descendants=to_descendants,
        to_spouse=free if died.to_spouse else 0,
        to_charity=to_charity,
        pension_to_spouse=pension if died.to_spouse else 0,
        lifetime_gifts=sum(
            gift.amount
            for gift in facts.gifts
            if gift.giver == died.person and gift_counts(gift.day, day, rules.inheritance_tax)
        ),
        nil_rate_band_brought_forward=bands[0],
        residence_nil_rate_band_brought_forward=bands[1],
        former_home=_former_home(died, facts, free - to_descendants - to_charity),
    )
    tax = estate_tax(estate, rules.inheritance_tax)
    return Left(
        person=died.person,
        age=age,
        period=died.period,
        estate=estate,
        tax=tax,
        to_spouse=died.to_spouse,
        additional_permitted_subscription=additional_permitted_subscription(rules.figures, day, held.isa)
        if died.to_spouse
        else 0,
        pension=None if died.to_spouse else _pension_received(died, pension, age, tax, facts, beneficiary_rate),
        to_charity=to_charity,
        free_estate_net=0 if died.to_spouse else free - to_charity - tax.tax_on_free_estate,
    )


def _former_home(died: _Died, facts: EstateFacts, rest: Pence) -> FormerHome | None:
    """The person's part of a home given up, as inheritance tax sees it; ``rest`` is what beneficiaries receive of the free
    estate besides a home that goes to descendants."""
    given_up = facts.home_given_up
    if given_up is None or died.to_spouse:
        return None
    return FormerHome(
        value=given_up.value * died.own_share // WHOLE,
        residence_nil_rate_band_then=given_up.residence_nil_rate_band,
        other_to_descendants=rest if given_up.rest_to_descendants else 0,
    )


def _pension_received(
    died: _Died, amount: Pence, age: Years, tax: EstateTax, facts: EstateFacts, beneficiary_rate: BasisPoints
) -> Received:
    """The pension money that beneficiaries receive."""
    rules = died.period.rules
    left = lump_sums.available(died.held.pension, rules.lump_sums)
    benefit = DeathBenefit(
        amount=amount,
        form=facts.pension_paid_as,
        member_age=age,
        within_two_years=facts.pension_paid_within_two_years,
        inheritance_tax=tax.tax_on_pension,
        qualifying=not facts.pension_to_non_qualifying_person,
        already_in_drawdown=died.held.pension.drawdown + died.inherited,
    )
    try:
        return received(benefit, beneficiary_rate, rules.death_benefits, left)
    except ValueError as error:
        raise RuleViolation(
            (Fault(("deaths",), "lifetime-allowance-on-death", f"{str(error).capitalize()}."),)
        ) from None


def _ending_with_death(household: Household, person: int, day: date) -> Household:
    """The household to the day of a death, with the incomes of the one who dies ended by it."""
    people = list(household.people)
    people[person] = people[person]._replace(income=tuple(_ended(income, day) for income in people[person].income))
    return replace(household, end=day, people=tuple(people))


def _ended(income: DatedIncome, day: date) -> DatedIncome:
    return income if income.last is not None and income.last <= day else income._replace(last=day)


def _last_year(course: Course, until: Timeline) -> CoursePeriod:
    """The period that ends with a death; those before it went as in the whole course."""
    position = until.periods[-1].position
    start = course.years[position - 1].settled.holdings if position else None
    return carried_out(until, course.option, start, begins=position).years[0]


def _after_inheriting(holdings: Sequence[Holdings], died: int, left: Left) -> tuple[Holdings, Pence]:
    """What the survivor holds, and pension money inherited free of income tax.

    ISAs pass with the additional permitted subscription and use no ISA allowance. Pension money of someone who died at 75 or
    over is drawn as the survivor's taxed income, like drawdown funds.
    """
    own, other = holdings[1 - died], holdings[died]
    if not left.to_spouse:
        return own, 0
    pot = other.pension.uncrystallised + other.pension.drawdown
    taxed = pot if left.age >= left.period.rules.death_benefits.taxed_from_age else 0
    return (
        own._replace(
            pension=own.pension._replace(drawdown=own.pension.drawdown + taxed),
            isa=own.isa + other.isa,
            cash=own.cash + other.cash,
        ),
        pot - taxed,
    )


def _alone(household: Household, death: Death, until: Timeline, facts: EstateFacts) -> Household:
    """The survivor's household from the day after the death."""
    member = household.people[1 - death.person]
    return replace(
        household,
        start=until.periods[-1].last + timedelta(days=1),
        end=survivors_death_day(household, death),
        money_of=household.money_of or household.start,
        people=(member._replace(isa=Isa(cash_isa=member.isa.cash_isa), marriage_allowance="none"),),
        spending=tuple(
            item._replace(amount=item.amount * facts.survivor_spending // WHOLE) for item in household.spending
        ),
    )


def _with_year_of_death(
    after: Timeline, course: Course, period: Period, last_year: CoursePeriod, survivor: int, book: RuleBook
) -> Timeline:
    """The survivor's tax years, where what was subscribed and drawn in the tax year of the death still counts in it."""
    if period.last == period.rules.figures.end:
        return after
    (member,) = after.household.people
    record = last_year.settled.people[survivor]
    subscribed = last_year.begun[survivor].subscribed + record.subscribed
    if period.position == 0:
        subscribed += course.timeline.household.people[survivor].isa.subscribed_this_year
    income = member.income
    if record.taxable:
        a_year = record.taxable * period.days_in_year
        income = (*income, DatedIncome("other_taxable", a_year, first=period.last, last=period.last))
    known = member._replace(income=income, isa=member.isa._replace(subscribed_this_year=subscribed))
    return with_first_year(after, replace(after.household, people=(known,)), book)


def _shares(facts: EstateFacts) -> tuple[BasisPoints, BasisPoints]:
    return facts.first_person_share, WHOLE - facts.first_person_share


def _owned(facts: EstateFacts, until: Timeline, share: BasisPoints) -> _Owned:
    """A share of the household's property on the last day, down to the penny."""
    period, inflation = until.periods[-1], until.household.assumptions.price_inflation
    home, other = (
        risen(amount, facts.increases, period, inflation) * share // WHOLE
        for amount in (facts.home, facts.other_assets)
    )
    return _Owned(home, other, facts.debts * share // WHOLE)
