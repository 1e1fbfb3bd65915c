"""POST /v1/warnings: from what a planner knows and intends to the circumstances that the rules look at.

Withdrawals are carried out in the order of their days, and on one day lump sums first, whatever their order in the request.
Nothing grows, and yearly amounts are the same in every tax year.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import NamedTuple

from service.figures import tax_years
from service.figures.loader import TaxYearFigures
from service.law import annual_allowance, lump_sums, state_pension
from service.law.ages import age_on
from service.law.income_tax import Liability, Taxpayer, liability, taxpayer_year
from service.law.lump_sums import METHODS, Method, Pension
from service.law.rulebook import RuleBook, TaxYearRules
from service.law.units import Pence
from service.planning.faults import Fault, RuleViolation, no_such_allowance_yet
from service.planning.household import EARNINGS, PEOPLE, Contribution, Member, Path, Person
from service.planning.incomes import person_in, record_faults, saving_facts
from service.planning.marriage_claims import only_what_is_claimed
from service.planning.payroll import PayrollOutcome, payroll_outcome
from service.planning.warnings.circumstances import (
    Circumstances,
    Estate,
    Facts,
    Features,
    PaidIn,
    Partner,
    PensionCase,
    PersonCase,
    PersonFacts,
    Subscription,
    Taken,
    YearFacts,
)
from service.planning.warnings.household_facts import pension_left, person_facts
from service.planning.warnings.registry import found_and_missing
from service.planning.warnings.warning import ClientWarning, in_order
from service.planning.wording import pounds

_IN_THE_ESTATE = "inheritance_tax.unused_pensions_in_estate"


@dataclass(frozen=True, slots=True)
class Planned:
    """A withdrawal intended: gross pence on a day, from the pension at a place among those of the person at another."""

    person: int
    pension: int
    method: Method
    amount: Pence
    day: date


@dataclass(frozen=True, slots=True)
class Subscribed:
    """A planned ISA subscription of the person at a place."""

    person: int
    subscription: Subscription


@dataclass(frozen=True, slots=True)
class PersonAsked:
    """A person of a request as they are on its date. ``features`` has what each of the pensions gives; ``facts`` is without what
    is paid in, which the member's record has."""

    member: Member
    facts: Facts
    features: tuple[Features, ...]


@dataclass(frozen=True, slots=True)
class WarningsQuestion:
    """A whole request. ``today`` is the day on which everything held is as given. ``contributions_known`` says of each person
    whether it was said what is paid into pensions."""

    today: date
    people: tuple[PersonAsked, ...]
    withdrawals: tuple[Planned, ...] = ()
    subscriptions: tuple[Subscribed, ...] = ()
    contributions_known: tuple[bool, ...] = ()
    estate: Estate | None = None


class Checked(NamedTuple):
    """The circumstances of a request, their warnings in order, and each missing fact, whether a warning tells it or the
    notice."""

    case: Circumstances
    warnings: list[ClientWarning]
    missing_facts: tuple[ClientWarning, ...]


def warnings_asked(question: WarningsQuestion, book: RuleBook) -> Checked:
    """What a request hears. RuleViolation, with all faults, where it cannot be."""
    case = circumstances_of(question, book)
    found, missing = found_and_missing(case)
    return Checked(case, in_order(found), missing)


def circumstances_of(question: WarningsQuestion, book: RuleBook) -> Circumstances:
    """What a request tells, with every withdrawal carried out. RuleViolation as above."""
    faults = tuple(_faults(question, book))
    if faults:
        raise RuleViolation(faults)
    counts_from = next(
        (rules.figures.start for rules in book.years.values() if rules.figures.text(_IN_THE_ESTATE) == "yes"), None
    )
    people, more_than_held = [], []
    names = sorted(set(_tax_years(question)))
    for i, asked in enumerate(question.people):
        try:
            people.append(_person_case(asked, i, question, names, book))
        except RuleViolation as violation:
            more_than_held.append(violation)
    if more_than_held:
        raise RuleViolation(
            tuple(fault for violation in more_than_held for fault in violation.faults), more_than_held[0].permitted
        )
    return Circumstances(
        people=tuple(people),
        year_path=("date",),
        today=question.today,
        estate=question.estate,
        estate_asked=True,
        pensions_in_estate_from=counts_from,
        isa_limits={
            rules.figures.start: rules.figures.money("isa.subscription_limit") for rules in book.years.values()
        },
    )


def _tax_years(question: WarningsQuestion) -> Iterator[str]:
    """The tax years of everything that is still to happen on a day, and that of today."""
    yield tax_years.of(question.today)
    yield from (tax_years.of(planned.day) for planned in question.withdrawals)
    yield from (tax_years.of(one.subscription.day) for one in question.subscriptions)
    for asked in question.people:
        for paid in asked.member.contributions:
            if paid.day is not None and paid.day >= question.today:
                yield tax_years.of(paid.day)


def _person_case(
    asked: PersonAsked, i: int, question: WarningsQuestion, names: list[str], book: RuleBook
) -> PersonCase:
    member = asked.member
    reached = state_pension.reached_on(member.date_of_birth, book.state_pension_ages)
    facts = _facts(asked, i, question, names, book)
    saving = saving_facts(member, [book.years[name].figures for name in names])
    person = person_facts(member, i, len(question.people), reached, facts, _partner(i, question, book), saving)
    in_order_of_days = sorted(
        ((j, planned) for j, planned in enumerate(question.withdrawals) if planned.person == i),
        key=lambda found: (found[1].day, METHODS.index(found[1].method), found[1].amount),
    )
    pensions = tuple(member.one_pension(k) for k in range(len(member.pensions)))
    years: list[YearFacts] = []
    held, paid_before = [pensions], member.pension.flexibly_accessed
    for name in names:
        planned = [(j, one) for j, one in in_order_of_days if tax_years.of(one.day) == name]
        rules = book.years[name]
        year, pensions = _year_facts(
            person,
            person_in(member, rules, book.state_pension_ages, later=name != tax_years.of(question.today)),
            member.pension if not years else years[-1].after,
            pensions,
            planned,
            rules,
            first_payment=not paid_before,
        )
        paid_before = paid_before or any(_is_taxed_by_a_code(taken) for taken in year.taken)
        years.append(year)
        held.append(pensions)
    return PersonCase(
        person,
        tuple(years),
        tuple(
            PensionCase(
                person.with_pension(k),
                (*person.path, "pensions", k),
                features,
                tuple(_of_pension(k, year, held[t][k], held[t + 1][k]) for t, year in enumerate(years)),
            )
            for k, features in enumerate(asked.features)
        ),
    )


def _partner(i: int, question: WarningsQuestion, book: RuleBook) -> Partner | None:
    """The other of a couple; None where there is one person alone."""
    if len(question.people) == 1:
        return None
    other = question.people[1 - i]
    born, benefits = other.member.date_of_birth, other.facts.benefits
    return Partner(
        born,
        state_pension.reached_on(born, book.state_pension_ages),
        benefits is not None and benefits.spares_winter_fuel,
    )


def _facts(asked: PersonAsked, i: int, question: WarningsQuestion, names: list[str], book: RuleBook) -> Facts:
    """What is known of a person, with what is paid into pensions and ISAs."""
    paid_in = None
    if question.contributions_known[i]:
        years = [book.years[name].figures for name in names]
        paid_in = tuple(paid for one in asked.member.contributions for paid in _paid_in(one, years))
    this_year = book.years[tax_years.of(question.today)].figures
    return replace(
        asked.facts,
        contributions=paid_in,
        employer_contributions=sum(
            one.between(this_year.start, this_year.end)
            for one in asked.member.contributions
            if one.payer == "employer" and one.saving == "money_purchase"
        ),
        isas=replace(
            asked.facts.isas,
            subscriptions=tuple(one.subscription for one in question.subscriptions if one.person == i),
            of_tax_year=this_year.name,
        ),
    )


def _paid_in(contribution: Contribution, years: list[TaxYearFigures]) -> Iterator[PaidIn]:
    """A contribution as payments: a yearly one in equal parts on the first day of each tax month that it runs through."""
    if contribution.day is not None:
        yield PaidIn(
            contribution.amount, contribution.day, contribution.payer, contribution.saving, contribution.relief
        )
        return
    for figures in years:
        amount = contribution.between(figures.start, figures.end)
        if amount == 0:
            continue
        begins, ends = max(figures.start, contribution.first or figures.start), contribution.last or figures.end
        days = [day for day in _firsts_of_tax_months(figures) if begins <= day <= ends] or [begins]
        for k, day in enumerate(days):
            part = amount * (k + 1) // len(days) - amount * k // len(days)
            yield PaidIn(part, day, contribution.payer, contribution.saving, contribution.relief)


def _firsts_of_tax_months(figures: TaxYearFigures) -> Iterator[date]:
    """The 6th of each month of a tax year, from April."""
    for months in range(12):
        years, month = divmod(figures.start.month - 1 + months, 12)
        yield date(figures.start.year + years, month + 1, figures.start.day)


def _of_pension(place: int, year: YearFacts, before: Pension, after: Pension) -> YearFacts:
    """A tax year of one pension: its own withdrawals, and what it holds before and after them."""
    own = tuple(taken for taken in year.taken if taken.pension == place)
    return year._replace(
        taken=own,
        gross=sum(taken.payment.gross for taken in own),
        tax_free=sum(taken.payment.tax_free for taken in own),
        taxable=sum(taken.payment.taxable for taken in own),
        before=before,
        after=after,
        held_before=before.uncrystallised + before.drawdown,
    )


def _year_facts(
    person: PersonFacts,
    asked: Person,
    together: Pension,
    pensions: tuple[Pension, ...],
    planned: list[tuple[int, Planned]],
    rules: TaxYearRules,
    *,
    first_payment: bool,
) -> tuple[YearFacts, tuple[Pension, ...]]:
    """One tax year, its withdrawals carried out, and the pensions after it. ``together`` has the funds of all pensions.
    ``first_payment``: no taxable payment came before, so no code is known."""
    taxpayer = asked.taxpayer()
    year = taxpayer_year(taxpayer, rules.income_tax[person.nation])
    without = with_it = liability(year)
    taken: list[Taken] = []
    held, taxable = list(pensions), 0
    for j, one in planned:
        done = _carried_out(one, person, held[one.pension], rules, ("withdrawals", j))
        taken.append(done)
        # What a withdrawal uses of the allowances, and flexible access, are the person's: they count for every pension.
        held = [done.after if k == one.pension else _used_elsewhere(other, done.after) for k, other in enumerate(held)]
    after = _together(together, held)
    for k, done in enumerate(taken):
        taxable += done.payment.taxable
        so_far, with_it = with_it, liability(year, taxable)
        if first_payment and done.payment.taxable:
            # Of small pots each is paid by a scheme of its own, which has no code either.
            first_payment = not _is_taxed_by_a_code(done)
            more = any(_is_taxed_by_a_code(later) for later in taken[k + 1 :])
            outcome = _emergency_payroll(done, person, asked, rules, so_far, with_it, more_payments=more)
            taken[k] = done._replace(payroll=outcome, payroll_path=done.path)
    found = YearFacts(
        person=person,
        rules=rules,
        path=taken[0].path if taken else person.path,
        taxpayer=taxpayer,
        without=without,
        with_it=with_it,
        gross=sum(one.payment.gross for one in taken),
        tax_free=sum(one.payment.tax_free for one in taken),
        taxable=taxable,
        before=together,
        after=after,
        left_before=lump_sums.available(together, rules.lump_sums),
        left_after=lump_sums.available(after, rules.lump_sums),
        held_before=together.uncrystallised + together.drawdown,
        last_day=rules.figures.end,
        age=age_on(person.born, rules.figures.end),
        state_pension=asked.income_of("state_pension"),
        taken=tuple(taken),
        earned=_earned(taxpayer, asked),
        known_year=year,
        paid_at_source=asked.paid_at_source,
        taxed_pay=asked.taxed_pay,
    )
    return found, tuple(held)


def _used_elsewhere(pension: Pension, other: Pension) -> Pension:
    """A pension with what is used of its holder's allowances after a withdrawal from another."""
    return other._replace(
        uncrystallised=pension.uncrystallised,
        drawdown=pension.drawdown,
        protected_pension_age=pension.protected_pension_age,
        protected_tax_free_share=pension.protected_tax_free_share,
    )


def _together(before: Pension, held: list[Pension]) -> Pension:
    """All pensions as one; ``before`` where there are none."""
    if not held:
        return before
    return held[0]._replace(
        uncrystallised=sum(one.uncrystallised for one in held),
        drawdown=sum(one.drawdown for one in held),
        protected_pension_age=before.protected_pension_age,
        protected_tax_free_share=before.protected_tax_free_share,
    )


def _earned(taxpayer: Taxpayer, asked: Person) -> Pence:
    return min(taxpayer.income, sum(asked.income_of(kind) for kind in EARNINGS))


def _carried_out(planned: Planned, person: PersonFacts, pension: Pension, rules: TaxYearRules, path: Path) -> Taken:
    """A withdrawal as far as its method permits. RuleViolation where the pension does not hold as much."""
    method = planned.method
    age = age_on(person.born, planned.day)
    of_age = lump_sums.at_age(rules.lump_sums, age)
    left = lump_sums.available(pension, of_age)
    held = {
        "drawdown": pension.drawdown,
        "small_pot": pension.uncrystallised + pension.drawdown,
    }.get(method, pension.uncrystallised)
    where = (*path, "amount")
    if planned.amount > held == 0:
        raise RuleViolation((Fault(where, "more-than-the-pot", _nothing_left(planned.day)),))
    if planned.amount > held:
        raise RuleViolation((Fault(where, "more-than-the-pot", _only_so_much(planned.day, held)),), held)
    most = lump_sums.most_permitted(method, pension, of_age, left)
    payment = lump_sums.take(method, min(planned.amount, most), pension, of_age, left)
    after = pension_left(method, pension, payment, rules.lump_sums)
    triggers = annual_allowance.triggered_by(method, payment)
    return Taken(
        method=method,
        day=planned.day,
        age=age,
        minimum_age=pension.protected_pension_age or rules.minimum_pension_age,
        asked=planned.amount,
        permitted=most,
        payment=payment,
        path=path,
        before=pension,
        after=after,
        left_before=left,
        left_after=lump_sums.available(after, rules.lump_sums),
        pension=planned.pension,
        triggers=triggers and not pension.flexibly_accessed,
    )


def _nothing_left(day: date) -> str:
    return f"On {day.isoformat()}, after the withdrawals before it, nothing is left that this method could pay. Use another one."


def _only_so_much(day: date, held: Pence) -> str:
    return f"On {day.isoformat()}, after the withdrawals before it, at most {pounds(held)} can be taken by this method."


def _is_taxed_by_a_code(taken: Taken) -> bool:
    """Whether a payment is one after which HMRC sends the payer a code: taxable, and no small pot, which ends with it."""
    return taken.payment.taxable > 0 and taken.method != "small_pot"


def _emergency_payroll(
    taken: Taken,
    person: PersonFacts,
    asked: Person,
    rules: TaxYearRules,
    before: Liability,
    after: Liability,
    *,
    more_payments: bool,
) -> PayrollOutcome:
    """What payroll makes of a taxable payment for which it has no code."""
    return payroll_outcome(
        taken.method,
        taken.payment,
        None,
        rules,
        person=asked,
        tax_before=before.total,
        tax_after=after.total,
        emptied=taken.after.uncrystallised + taken.after.drawdown == 0,
        more_payments=more_payments,
        uk_resident=not person.lives_abroad,
    )


def _faults(question: WarningsQuestion, book: RuleBook) -> Iterator[Fault]:
    """Everything in a request that cannot be, in the request's order, but for taking more than there is."""
    today = question.today
    first = book.years.get(tax_years.of(today))
    if first is None:
        yield _no_figures(("date",), today, book)
    for i, asked in enumerate(question.people):
        member, path = asked.member, (*PEOPLE, i)
        if member.date_of_birth > today:
            yield Fault(
                (*path, "date_of_birth"),
                "not-yet-born",
                f"`date_of_birth`, {member.date_of_birth.isoformat()}, is after `date`, {today.isoformat()}.",
            )
        yield from record_faults(member, path, book.state_pension_ages)
        for j, contribution in enumerate(member.contributions):
            day = contribution.day
            if day is not None and day >= today and tax_years.of(day) not in book.years:
                yield _no_figures((*path, "contributions", j, "date"), day, book)
        for k, features in enumerate(asked.features):
            reviewed = features.nomination_reviewed_on
            if reviewed is not None and reviewed > today:
                yield _in_the_future((*path, "pensions", k, "nomination_reviewed_on"), reviewed, today)
        if first is not None:
            yield from no_such_allowance_yet(member.pension, first, path)
        inherited = asked.facts.inherited
        if inherited is not None and inherited.scheme_knew_on > today:
            yield _in_the_future(
                (*path, "circumstances", "inherited_pension", "scheme_knew_on"), inherited.scheme_knew_on, today
            )
    yield from only_what_is_claimed([asked.member for asked in question.people])
    for j, planned in enumerate(question.withdrawals):
        yield from _day_faults(("withdrawals", j, "date"), planned.day, today, book)
    for j, one in enumerate(question.subscriptions):
        yield from _day_faults(("isa_subscriptions", j, "date"), one.subscription.day, today, book)


def _day_faults(path: Path, day: date, today: date, book: RuleBook) -> Iterator[Fault]:
    if day < today:
        yield Fault(
            path,
            "before-the-date",
            f"{day.isoformat()} is before `date`, {today.isoformat()}, the day to which the household's amounts belong.",
        )
    elif tax_years.of(day) not in book.years:
        yield _no_figures(path, day, book)


def _no_figures(path: Path, day: date, book: RuleBook) -> Fault:
    known = list(book.years)
    return Fault(
        path,
        "no-figures",
        f"{day.isoformat()} is in {tax_years.of(day)}, for which there are no figures. Tax years from {known[0]} to {known[-1]} "
        "can be used.",
    )


def _in_the_future(path: Path, day: date, today: date) -> Fault:
    return Fault(path, "in-the-future", f"{day.isoformat()} is after `date`, {today.isoformat()}.")
