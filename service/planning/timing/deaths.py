"""A death asked about, and a couple's second: who is left, and how the survivor's years go.

A couple's first death passes to the spouse or to beneficiaries; the survivor goes on with the same option until the second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import NamedTuple

from service.law.ages import birthday
from service.law.rulebook import RuleBook
from service.law.units import WHOLE, BasisPoints, Pence, Years
from service.planning.estates import TO_SPOUSE, Died, EstateFacts, Left, after_inheriting, left_by, owned, shares
from service.planning.household import (
    NOTHING_YET,
    DatedIncome,
    Household,
    Isa,
    Member,
    PensionHeld,
    Terms,
    after_charge,
    terms_of,
)
from service.planning.markets.returns import MarketPath
from service.planning.projection.pots import Funds, together
from service.planning.projection.settlement import Holdings
from service.planning.projection.timeline import Period, Timeline, deflated, shortened, timeline, with_first_year
from service.planning.timing.options import Course, CoursePeriod, Inherited, carried_out


@dataclass(frozen=True, slots=True)
class Death:
    """A death asked about: of which person, at which age; for a couple the age at which the other then dies, None where
    the other lives to the end."""

    person: int
    age: Years
    survivor_age: Years | None = None


class Outcome(NamedTuple):
    """One death asked about, to the end: ``deaths`` are the one or two of it; ``survivor`` is how the survivor's years went, and
    ``last_year`` the period that ends with the first death."""

    last_year: CoursePeriod
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
    course: Course,
    years: DeathYears,
    facts: EstateFacts,
    beneficiary_rate: BasisPoints,
    book: RuleBook,
    path: MarketPath | None = None,
) -> Outcome:
    """What beneficiaries receive if a person dies as asked; ``beneficiary_rate`` is their income tax rate in basis points, and
    ``path`` that on which the option is carried out, None where the rates assumed hold.

    RuleViolation where the survivor's spending cannot be met, or where a lifetime allowance charge on death benefits would
    have to be computed.
    """
    household, death, until = course.timeline.household, years.death, years.until
    last_year = _last_year(course, until, path)
    held = last_year.settled.holdings
    couple = len(held) > 1
    passes_on = couple and facts.first_death == TO_SPOUSE
    own_share = shares(facts)[death.person] if couple else WHOLE
    left = left_by(
        Died(
            person=death.person,
            member=household.people[death.person],
            period=until.periods[-1],
            held=held[death.person],
            owned=owned(facts, until, own_share),
            own_share=own_share,
            to_spouse=passes_on,
        ),
        facts,
        beneficiary_rate,
    )
    if not couple:
        return Outcome(last_year, (left,), None, left.net, deflated(left.net, years.levels[0]))
    return _to_second_death(course, years, left, last_year, facts, beneficiary_rate, book, path)


def _to_second_death(
    course: Course,
    years: DeathYears,
    first: Left,
    last_year: CoursePeriod,
    facts: EstateFacts,
    beneficiary_rate: BasisPoints,
    book: RuleBook,
    path: MarketPath | None,
) -> Outcome:
    household = course.timeline.household
    survivor = 1 - years.death.person
    holdings, died = last_year.settled.holdings, years.death.person
    held, free_of_tax = after_inheriting(holdings, died, first)
    inherited = _free_of_tax(household, died, holdings[died]) if free_of_tax else ()
    alone = None
    if years.after is not None:
        heir = years.after.household.people[0]
        if heir.pots:
            held = held._replace(pots=_pots_of(heir, household, died, holdings))
        after = _with_year_of_death(years.after, course, years.until.periods[-1], last_year, survivor, book)
        on = None if path is None else path[after.periods[0].rises :]
        alone = carried_out(after, course.option, [held], inherited=inherited, path=on)
        (held,), inherited = alone.holdings, alone.inherited
    at_end = alone.timeline if alone else years.until
    share = WHOLE if first.to_spouse else shares(facts)[survivor]
    second = left_by(
        Died(
            person=survivor,
            member=household.people[survivor],
            period=at_end.periods[-1],
            held=held,
            inherited=sum(one.amount for one in inherited),
            owned=owned(facts, at_end, share),
            own_share=shares(facts)[survivor],
            nil_rate_band=first.tax.nil_rate_band_unused if facts.spouses else 0,
            residence_band=first.tax.residence_band_unused if facts.spouses else 0,
        ),
        facts,
        beneficiary_rate,
    )
    net = first.net + second.net
    return Outcome(last_year, (first, second), alone, net, deflated(net, years.levels[1]))


def _ending_with_death(household: Household, person: int, day: date) -> Household:
    """The household to the day of a death, with the incomes of the one who dies ended by it."""
    people = list(household.people)
    dying = people[person]
    people[person] = dying._replace(
        income=tuple(_ended(income, day) for income in dying.income),
        contributions=tuple(one if one.pension is None else one.within(date.min, day) for one in dying.contributions),
    )
    return replace(household, end=day, people=tuple(people))


def _ended(income: DatedIncome, day: date) -> DatedIncome:
    return income if income.last is not None and income.last <= day else income._replace(last=day)


def _last_year(course: Course, until: Timeline, path: MarketPath | None) -> CoursePeriod:
    """The period that ends with a death; those before it went as in the whole course."""
    position = until.periods[-1].position
    start = course.years[position - 1].settled.holdings if position else None
    return carried_out(until, course.option, start, begins=position, path=path).years[0]


def _alone(household: Household, death: Death, until: Timeline, facts: EstateFacts) -> Household:
    """The survivor's household from the day after the death."""
    survivor = 1 - death.person
    member = household.people[survivor]
    rules = until.periods[-1].rules
    if facts.first_death == TO_SPOUSE and death.age >= rules.death_benefits.taxed_from_age:
        member = _with_pensions_of(household.people[death.person], member, rules.minimum_pension_age)
    growths = tuple(after_charge(pot.growth, pot.yearly_charge) for pot in member.pots)
    return replace(
        household,
        assumptions=replace(
            household.assumptions,
            pension_growth=household.assumptions.growth_of(survivor),
            pension_growths=(),
            pot_growths=(growths,) if len(set(growths)) > 1 else (),
        ),
        start=until.periods[-1].last + timedelta(days=1),
        end=survivors_death_day(household, death),
        money_of=household.money_of or household.start,
        people=(
            member._replace(isa=Isa(cash_isa=member.isa.cash_isa), marriage_allowance="none", already=NOTHING_YET),
        ),
        spending=tuple(
            item._replace(amount=item.amount * facts.survivor_spending // WHOLE) for item in household.spending
        ),
    )


def _with_pensions_of(died: Member, heir: Member, minimum_pension_age: Years) -> Member:
    """A survivor with the pensions of who died as drawdown funds that go on growing as they did; they may be drawn as early as
    any of the survivor's own. What they hold is known only once the death is worked out."""
    ages = [held.protected_pension_age for held in heir.counting] or [heir.pension.protected_pension_age]
    age = min(ages, key=lambda age: age or minimum_pension_age)
    inherited = tuple(
        PensionHeld(0, drawdown=1, protected_pension_age=age, growth=held.growth, yearly_charge=held.yearly_charge)
        for held in died.counting
    )
    return heir._replace(pensions=(*heir.pensions, *inherited))


def _pots_of(heir: Member, household: Household, died: int, holdings: Sequence[Holdings]) -> tuple[Funds, ...]:
    """What a survivor's pots hold after a death: their own funds, and in drawdown those of who died that have joined them."""
    own, other = household.people[1 - died], household.people[died]
    found = {terms_of(pot): Funds() for pot in heir.pots}
    for terms, funds in _by_terms(own, holdings[1 - died]):
        found[terms] = together([found[terms], funds])
    if len(heir.pensions) > len(own.pensions):
        for (_, growth, charge), funds in _by_terms(other, holdings[died]):
            terms = heir.pensions[-1].protected_pension_age, growth, charge
            found[terms] = together([found[terms], Funds(drawdown=sum(funds))])
    return tuple(found.values())


def _by_terms(member: Member, held: Holdings) -> list[tuple[Terms, Funds]]:
    """What a person holds in pensions, by the terms on which it is held."""
    if member.pots:
        return list(zip(map(terms_of, member.pots), held.pots, strict=True))
    return [(terms_of(one), Funds(held.pension.uncrystallised, held.pension.drawdown)) for one in member.counting[:1]]


def _free_of_tax(household: Household, died: int, held: Holdings) -> tuple[Inherited, ...]:
    """Pension money inherited free of income tax, which goes on growing as it did: what grows the least comes first."""
    assumed = household.assumptions
    pots = held.pots or (Funds(held.pension.uncrystallised, held.pension.drawdown),)
    if not assumed.growths_differ:
        return (Inherited(sum(together(pots))),)
    growths = assumed.growths_of(died, len(pots))
    both = sorted(zip(growths, map(sum, pots), strict=True))
    return tuple(Inherited(amount, growth) for growth, amount in both)


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
        before = course.timeline.household.people[survivor]
        subscribed += before.isa.subscribed_this_year
        member = member._replace(already=before.already)
    income = member.income
    if record.taxable:
        a_year = record.taxable * period.days_in_year
        income = (*income, DatedIncome("other_taxable", a_year, first=period.last, last=period.last))
    known = member._replace(income=income, isa=member.isa._replace(subscribed_this_year=subscribed))
    return with_first_year(after, replace(after.household, people=(known,)), book)
