"""What happens in the tax years of a plan, for charts and letters: ages reached, limits and laws that change, incomes that begin
and end, a pension that is used up."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import NamedTuple

from service.figures.loader import Standing
from service.law.ages import age_on
from service.law.dates import day_month_year
from service.planning.household import DatedIncome, Member
from service.planning.projection.pots import access
from service.planning.projection.timeline import Period
from service.planning.schedule.schedule import Schedule, ScheduleYear
from service.planning.wording import YOU, inside, pounds, starting, who

_CASH_LIMIT, _CASH_LIMIT_ENDS = "isa.cash_limit_under_65", "isa.cash_limit_ends_at_age"

_LATEST = "the latest known ones"
_NOT_LAW: Mapping[Standing, tuple[str, str]] = {
    "announced": ("announced, but not yet law", _LATEST),
    "assumed": ("not set yet", _LATEST),
    "proposed": ("proposed, and not law", "those proposed"),
}
"""What is said of a year's figures that are not law, and which of them a plan uses."""
_INCOMES = {
    "employment": "pay from employment",
    "self_employment": "profit from self-employment",
    "defined_benefit_pension": "defined benefit pension",
    "annuity": "annuity",
    "other_taxable": "other taxable income",
    "property_income": "rent",
    "savings_interest": "interest",
    "dividends": "dividends",
}


class Event(NamedTuple):
    """What happens on a day of a plan: a code of an open list, a sentence, and the place of the person concerned, None where it
    is the household."""

    code: str
    day: date
    detail: str
    person: int | None = None


class _Named(NamedTuple):
    """A person as sentences name them."""

    who: str

    @property
    def your(self) -> str:
        return "Your" if self.who == YOU else f"{self.who}'s"

    def does(self, verb: str, third: str) -> str:
        return f"{self.who} {verb if self.who == YOU else third}"


def events(result: Schedule) -> tuple[tuple[Event, ...], ...]:
    """For each tax year of a plan what happens in it, in order of the days."""
    before: tuple[ScheduleYear | None, ...] = (None, *result.years)
    return tuple(
        tuple(sorted(_in_a_year(result, year, earlier), key=lambda event: event.day))
        for year, earlier in zip(result.years, before, strict=False)
    )


def _in_a_year(result: Schedule, year: ScheduleYear, earlier: ScheduleYear | None) -> Iterator[Event]:
    people = result.question.household.people
    yield from _of_the_law(people, year.period, earlier)
    for place, member in enumerate(people):
        named = _Named(who(place, len(people), member.name))
        yield from _ages(result, place, named, year)
        yield from _incomes(place, named, member, year.period)
        if earlier is not None and year.people[place].isa_limit != earlier.people[place].isa_limit:
            limit, until = year.people[place].isa_limit, earlier.people[place].isa_limit
            yield Event(
                "isa_limit_changes",
                year.period.first,
                f"The most {inside(named.who)} can pay into ISAs this way changes from {pounds(until)} to {pounds(limit)} a tax "
                "year.",
                place,
            )
        for pot in year.people[place].record.opened.year.small_pots:
            if pot.gross:
                yield Event(
                    "small_pot_taken",
                    year.period.last,
                    f"{named.your} small pot of {pounds(pot.gross)} is taken whole. {pounds(pot.tax_free)} of it is tax free.",
                    place,
                )
        pension = year.people[place].pension
        if pension.opening and not pension.closing:
            yield Event("pension_used_up", year.period.last, f"{named.your} pension is used up.", place)


def _of_the_law(people: tuple[Member, ...], period: Period, earlier: ScheduleYear | None) -> Iterator[Event]:
    figures = period.rules.figures
    before = None if earlier is None else earlier.period.rules.figures
    if figures.standing != "enacted" and (before is None or before.standing != figures.standing):
        known, used = _NOT_LAW[figures.standing]
        yield Event(
            "figures_not_law",
            period.first,
            f"Some rates and limits from {period.name} are {known}. The plan uses {used}.",
        )
    if before is None or not figures.has(_CASH_LIMIT_ENDS):
        return
    limit, age = figures.money(_CASH_LIMIT), figures.count(_CASH_LIMIT_ENDS)
    was = before.money(_CASH_LIMIT) if before.has(_CASH_LIMIT_ENDS) else before.money("isa.subscription_limit")
    if limit != was and any(age_on(member.date_of_birth, figures.start) < age for member in people):
        yield Event(
            "cash_isa_limit_changes",
            period.first,
            f"From {day_month_year(figures.start)}, people under {age} can pay at most {pounds(limit)} a tax year into cash "
            "ISAs.",
        )


def _ages(result: Schedule, place: int, named: _Named, year: ScheduleYear) -> Iterator[Event]:
    member, period = result.question.household.people[place], year.period
    reached = result.timeline.state_pension_from[place]
    if reached is not None and period.first <= reached <= period.last:
        begins = any(income.kind == "state_pension" and income.first is None for income in member.income)
        yield Event(
            "state_pension_begins" if begins else "state_pension_age_reached",
            reached,
            f"{named.your} State Pension begins." if begins else f"{named.does('reach', 'reaches')} State Pension age.",
            place,
        )
    pension, pots = year.people[place].record.opened.pension, year.people[place].record.opened.pots
    if not pension.uncrystallised and not pension.drawdown:
        return
    for age, day in dict.fromkeys(access(member, period.rules)):
        if period.first <= day <= period.last:
            which = "one of the pensions" if pots else "a pension"
            yield Event(
                "minimum_pension_age_reached",
                day,
                f"{named.does('reach', 'reaches')} {age}, the minimum age for taking money from {which}.",
                place,
            )


def _incomes(place: int, named: _Named, member: Member, period: Period) -> Iterator[Event]:
    for income in member.income:
        words = _words(named, income)
        if income.first is not None and period.first <= income.first <= period.last:
            yield Event(
                "income_begins", income.first, f"{words} {'begin' if income.kind == 'dividends' else 'begins'}.", place
            )
        if income.last is not None and period.first <= income.last <= period.last:
            yield Event(
                "income_ends", income.last, f"{words} {'end' if income.kind == 'dividends' else 'ends'}.", place
            )


def _words(named: _Named, income: DatedIncome) -> str:
    kind = "State Pension" if income.kind == "state_pension" else _INCOMES[income.kind]
    return starting(f"{named.your} {kind}")
