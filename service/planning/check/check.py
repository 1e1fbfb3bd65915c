"""POST /v1/warnings: from what a planner knows and intends to the circumstances that the rules look at.

Withdrawals are carried out in the order of their days, and on one day lump sums first, whatever their order in the request.
Nothing grows, and other income is the same in every tax year.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from service.figures import tax_years
from service.law import annual_allowance, lump_sums, state_pension
from service.law.ages import age_on
from service.law.income_tax import Liability, Taxpayer, liability, taxpayer_year
from service.law.lump_sums import METHODS, Method, Pension
from service.law.rulebook import RuleBook, TaxYearRules
from service.law.units import Pence
from service.planning.faults import Fault, RuleViolation, no_such_allowance_yet
from service.planning.household import Person
from service.planning.payroll import PayrollOutcome, payroll_outcome
from service.planning.warnings.circumstances import (
    Circumstances,
    Estate,
    Facts,
    PersonCase,
    PersonFacts,
    Taken,
    YearFacts,
)
from service.planning.warnings.household_facts import pension_left, person_facts
from service.planning.warnings.registry import all_found
from service.planning.warnings.warning import ClientWarning, Path, in_order
from service.planning.wording import pounds

_IN_THE_ESTATE = "inheritance_tax.unused_pensions_in_estate"


@dataclass(frozen=True, slots=True)
class Planned:
    """A withdrawal intended: gross pence on a day."""

    method: Method
    amount: Pence
    day: date


@dataclass(frozen=True, slots=True)
class PersonAsked:
    """A person of a request, with the pension as it is on the request's date."""

    person: Person
    pension: Pension
    facts: Facts
    withdrawals: tuple[Planned, ...] = ()


@dataclass(frozen=True, slots=True)
class WarningsQuestion:
    """A whole request. ``today`` is the day on which everything held is as given."""

    today: date
    people: tuple[PersonAsked, ...]
    estate: Estate | None = None


def warnings_asked(question: WarningsQuestion, book: RuleBook) -> tuple[Circumstances, list[ClientWarning]]:
    """The circumstances of a request and their warnings in order. RuleViolation, with all faults, where it cannot be."""
    case = circumstances_of(question, book)
    return case, in_order(all_found(case))


def circumstances_of(question: WarningsQuestion, book: RuleBook) -> Circumstances:
    """What a request tells, with every withdrawal carried out. RuleViolation as above."""
    faults = tuple(_faults(question, book))
    if faults:
        raise RuleViolation(faults)
    counts_from = next(
        (rules.figures.start for rules in book.years.values() if rules.figures.text(_IN_THE_ESTATE) == "yes"), None
    )
    people, more_than_held = [], []
    names = sorted({name for asked in question.people for name in _tax_years(asked, question.today)})
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


def _tax_years(asked: PersonAsked, today: date) -> Iterator[str]:
    """The tax years of everything that is still to happen, and that of today."""
    yield tax_years.of(today)
    yield from (tax_years.of(planned.day) for planned in asked.withdrawals)
    yield from (tax_years.of(one.day) for one in asked.facts.isas.subscriptions)
    yield from (tax_years.of(one.day) for one in asked.facts.contributions or () if one.day >= today)


def _person_case(
    asked: PersonAsked, i: int, question: WarningsQuestion, names: list[str], book: RuleBook
) -> PersonCase:
    reached = state_pension.reached_on(asked.person.date_of_birth, book.state_pension_ages)
    person = person_facts(asked.person, i, len(question.people), reached, asked.facts)
    in_order_of_days = sorted(
        enumerate(asked.withdrawals),
        key=lambda found: (found[1].day, METHODS.index(found[1].method), found[1].amount),
    )
    pension, years, paid_before = asked.pension, [], asked.pension.flexibly_accessed
    for name in names:
        planned = [(j, one) for j, one in in_order_of_days if tax_years.of(one.day) == name]
        year = _year_facts(person, asked.person, pension, planned, book.years[name], first_payment=not paid_before)
        paid_before = paid_before or any(_is_taxed_by_a_code(taken) for taken in year.taken)
        pension = year.after
        years.append(year)
    return PersonCase(person, tuple(years))


def _year_facts(
    person: PersonFacts,
    asked: Person,
    pension: Pension,
    planned: list[tuple[int, Planned]],
    rules: TaxYearRules,
    *,
    first_payment: bool,
) -> YearFacts:
    """One tax year, its withdrawals carried out. ``first_payment``: no taxable payment came before, so no code is known."""
    taxpayer = asked.taxpayer()
    year = taxpayer_year(taxpayer, rules.income_tax[person.nation])
    without = with_it = liability(year)
    taken: list[Taken] = []
    before, taxable = pension, 0
    for j, one in planned:
        done = _carried_out(one, person, before, rules, (*person.path, "withdrawals", j))
        taken.append(done)
        before = done.after
    for k, done in enumerate(taken):
        taxable += done.payment.taxable
        so_far, with_it = with_it, liability(year, taxable)
        if first_payment and done.payment.taxable:
            # Of small pots each is paid by a scheme of its own, which has no code either.
            first_payment = not _is_taxed_by_a_code(done)
            more = any(_is_taxed_by_a_code(later) for later in taken[k + 1 :])
            outcome = _emergency_payroll(done, person, asked, rules, so_far, with_it, more_payments=more)
            taken[k] = done._replace(payroll=outcome, payroll_path=done.path)
    return YearFacts(
        person=person,
        rules=rules,
        path=taken[0].path if taken else person.path,
        taxpayer=taxpayer,
        without=without,
        with_it=with_it,
        gross=sum(one.payment.gross for one in taken),
        tax_free=sum(one.payment.tax_free for one in taken),
        taxable=taxable,
        before=pension,
        after=before,
        left_before=lump_sums.available(pension, rules.lump_sums),
        left_after=lump_sums.available(before, rules.lump_sums),
        held_before=pension.uncrystallised + pension.drawdown,
        last_day=rules.figures.end,
        age=age_on(person.born, rules.figures.end),
        state_pension=asked.income_of("state_pension"),
        taken=tuple(taken),
        earned=_earned(taxpayer, asked),
        known_year=year,
    )


def _earned(taxpayer: Taxpayer, asked: Person) -> Pence:
    return min(taxpayer.income, asked.income_of("employment") + asked.income_of("self_employment"))


def _carried_out(planned: Planned, person: PersonFacts, pension: Pension, rules: TaxYearRules, path: Path) -> Taken:
    """A withdrawal as far as its method permits. RuleViolation where the pension does not hold as much."""
    method = planned.method
    left = lump_sums.available(pension, rules.lump_sums)
    held = {
        "drawdown": pension.drawdown,
        "small_pot": pension.uncrystallised + pension.drawdown,
    }.get(method, pension.uncrystallised)
    if planned.amount > held:
        raise RuleViolation(
            (
                Fault(
                    (*path, "amount"),
                    "more-than-the-pot",
                    f"On {planned.day.isoformat()}, after the withdrawals before it, at most {pounds(held)} can be taken "
                    "by this method."
                    if held
                    else f"On {planned.day.isoformat()}, after the withdrawals before it, nothing is left that this method could "
                    "pay. Use another one.",
                ),
            ),
            held or None,
        )
    most = lump_sums.most_permitted(method, pension, rules.lump_sums, left)
    payment = lump_sums.take(method, min(planned.amount, most), pension, rules.lump_sums, left)
    after = pension_left(method, pension, payment, rules.lump_sums)
    triggers = payment.gross > 0 and annual_allowance.triggered_by(method, payment.taxable)
    return Taken(
        method=method,
        day=planned.day,
        age=age_on(person.born, planned.day),
        minimum_age=pension.minimum_pension_age or rules.minimum_pension_age,
        asked=planned.amount,
        permitted=most,
        payment=payment,
        path=path,
        before=pension,
        after=after,
        left_before=left,
        left_after=lump_sums.available(after, rules.lump_sums),
        triggers=triggers and not pension.flexibly_accessed,
    )


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
        uk_resident=person.facts is None or person.facts.uk_resident is not False,
    )


def _faults(question: WarningsQuestion, book: RuleBook) -> Iterator[Fault]:
    """Everything in a request that cannot be, in the request's order, but for taking more than there is."""
    today = question.today
    first = book.years.get(tax_years.of(today))
    if first is None:
        yield _no_figures(("date",), today, book)
    for i, asked in enumerate(question.people):
        path = ("people", i)
        if asked.person.date_of_birth > today:
            yield Fault(
                (*path, "date_of_birth"),
                "not-yet-born",
                f"`date_of_birth`, {asked.person.date_of_birth.isoformat()}, is after `date`, {today.isoformat()}.",
            )
        if first is not None:
            yield from no_such_allowance_yet(asked.pension, first, (*path, "pension"))
        for j, planned in enumerate(asked.withdrawals):
            yield from _day_faults((*path, "withdrawals", j, "date"), planned.day, today, book)
        for j, one in enumerate(asked.facts.isas.subscriptions):
            yield from _day_faults((*path, "isa", "subscriptions", j, "date"), one.day, today, book)
        for j, contribution in enumerate(asked.facts.contributions or ()):
            if contribution.day >= today and tax_years.of(contribution.day) not in book.years:
                yield _no_figures((*path, "contributions", j, "date"), contribution.day, book)
        inherited, reviewed = asked.facts.inherited, asked.facts.features.nomination_reviewed_on
        if inherited is not None and inherited.scheme_knew_on > today:
            yield _in_the_future((*path, "inherited_pension", "scheme_knew_on"), inherited.scheme_knew_on, today)
        if reviewed is not None and reviewed > today:
            yield _in_the_future((*path, "pension", "nomination_reviewed_on"), reviewed, today)


def _day_faults(path: Path, day: date, today: date, book: RuleBook) -> Iterator[Fault]:
    if day < today:
        yield Fault(
            path,
            "before-the-date",
            f"{day.isoformat()} is before `date`, {today.isoformat()}, on which everything is taken to be as given.",
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
