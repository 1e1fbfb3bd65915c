"""Facts that several answers take from a household in the same way."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from service.law import isa, lump_sums
from service.law.ages import age_on, birthday
from service.law.lump_sums import LumpSumRules, Method, Payment, Pension
from service.law.rulebook import TaxYearRules
from service.law.units import Pence
from service.planning.household import EARNINGS, PEOPLE, DatedIncome, Income, Member, SavingFacts
from service.planning.projection.balances import Balance
from service.planning.projection.settlement import PersonRecord
from service.planning.projection.small_pots import is_personal
from service.planning.projection.timeline import Period
from service.planning.warnings.circumstances import Facts, PaidIn, Partner, PersonFacts, YearFacts
from service.planning.wording import who


def works(incomes: Iterable[Income | DatedIncome]) -> bool:
    """Whether there is any income from work."""
    return any(income.kind in EARNINGS and income.amount for income in incomes)


def person_facts(
    person: Member,
    i: int,
    of: int,
    state_pension_from: date | None,
    facts: Facts | None = None,
    partner: Partner | None = None,
    saving: SavingFacts | None = None,
) -> PersonFacts:
    """Person ``i`` of a household of one or two people."""
    several = len(person.pensions) > 1
    return PersonFacts(
        who=who(i, of, person.name),
        path=(*PEOPLE, i),
        pension_path=(*PEOPLE, i, "pensions") if several else (*PEOPLE, i, "pensions", 0),
        place=i,
        pension=None if several else 0,
        earlier_access_matters=person.earlier_access_matters,
        protected_tax_free_share=person.protected_tax_free_share,
        tax_free_received=person.tax_free_received_before_6_april_2024,
        small_pots_taken=person.small_pots_taken,
        born=person.date_of_birth,
        nation=person.tax_residence,
        marriage_allowance=person.standing_claim,
        saving=saving,
        lives_abroad=person.uk_resident is False,
        works=works(person.income),
        has_state_pension_age=True,
        state_pension_from=state_pension_from,
        facts=facts,
        partner=partner,
    )


def partner_in(people: Sequence[Member], i: int, state_pension_from: Sequence[date | None]) -> Partner | None:
    """The other of a couple, as person ``i`` has them; None where there is one person alone."""
    return None if len(people) == 1 else Partner(people[1 - i].date_of_birth, state_pension_from[1 - i])


def settled_year(
    person: PersonFacts,
    member: Member,
    period: Period,
    record: PersonRecord,
    pension: Balance,
    state_pension: Pence,
    *,
    lump_sums_wanted: bool,
) -> YearFacts:
    """One member's period of a plan as it was settled on its last day; a lump sum of its first day is not in it."""
    opened, rules = record.opened, period.rules
    taxpayer = opened.year.taxpayer
    if opened.interest:
        taxpayer = taxpayer._replace(savings=taxpayer.savings + opened.interest)
    chosen = record.chosen_claim
    if chosen is not None:
        taxpayer = taxpayer._replace(marriage_allowance=chosen)
    return YearFacts(
        person=person,
        rules=rules,
        path=person.pension_path,
        taxpayer=taxpayer,
        without=opened.taxed(0, chosen),
        with_it=record.liability,
        gross=record.gross,
        tax_free=record.tax_free,
        taxable=record.taxable,
        before=from_the_first_age(opened.before.pension, member, rules),
        after=record.after.pension,
        left_before=opened.left,
        left_after=lump_sums.available(record.after.pension, rules.lump_sums),
        held_before=pension.opening
        + pension.growth
        + pension.paid_in
        - sum(pot.opening + pot.growth for pot in opened.year.small_pots),
        last_day=period.last,
        age=age_on(person.born, period.last),
        state_pension=state_pension,
        lump_sums_wanted=lump_sums_wanted,
        small_pots=sum(
            told.gross > 0 and is_personal(pot.pension)
            for told, pot in zip(opened.year.small_pots, member.small_pots, strict=True)
        ),
        paid_at_source=opened.year.paid_at_source,
        taxed_pay=opened.year.taxed_pay,
        saved=_saved(member, period) if member.pays_in else (),
        cash_isa_limit=(isa.subscription_limit(rules.figures, person.born, cash=True) if member.isa.cash_isa else None),
    )


def _saved(member: Member, period: Period) -> tuple[PaidIn, ...]:
    """What a period's tax year counts as saving of somebody whose contributions a plan pays in: from the age at which relief
    ends, what a person pays in themselves is no relievable contribution (Finance Act 2004 ss.188(3)(a), 233(1))."""
    figures = period.rules.figures
    eve = birthday(member.date_of_birth, period.rules.relief.ends_at_age) - timedelta(days=1)
    found = []
    for one in member.contributions:
        own = one.payer != "employer" and one.saving == "money_purchase"
        counts = one.within(figures.start, eve) if own else one
        amount = counts.between(figures.start, figures.end)
        if amount:
            found.append(PaidIn(amount, period.last, one.payer, one.saving, one.relief))
    return tuple(found)


def from_the_first_age(pension: Pension, member: Member, rules: TaxYearRules) -> Pension:
    """A person's pensions, with the age from which the first of them may be drawn."""
    ages = [pot.protected_pension_age for pot in member.pots]
    if not ages:
        return pension
    earliest = min(ages, key=lambda age: age or rules.minimum_pension_age)
    return pension._replace(protected_pension_age=earliest)


def pension_left(method: Method, pension: Pension, payment: Payment, rules: LumpSumRules) -> Pension:
    """The pension after a payment of any method: a small pot uses no allowance and is no flexible access."""
    if lump_sums.uses_allowances(method):
        return lump_sums.then(pension, payment, rules)
    uncrystallised, drawdown = lump_sums.pension_after(pension, payment)
    return pension.holding(uncrystallised, drawdown)
