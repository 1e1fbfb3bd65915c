"""When to take the tax-free lump sum: the options side by side, their order, and where they change places."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import combinations, pairwise
from typing import NamedTuple, TypeVar

from service.figures import tax_years
from service.figures.loader import TaxYearFigures
from service.law import lump_sums
from service.law.ages import age_on, birthday
from service.law.rulebook import RuleBook
from service.law.units import BasisPoints, Pence, Years
from service.planning.cases import Cases
from service.planning.disclosure import Caveat
from service.planning.estates import BENEFICIARIES_TAX_RATE, EstateFacts, estate_faults
from service.planning.faults import Fault, RuleViolation
from service.planning.household import Assumptions, Household, Member, YearlyRate, yearly_charge
from service.planning.markets.faults import markets_faults, too_many_paths
from service.planning.markets.returns import Source
from service.planning.projection.balances import (
    Balance,
    MoneyPurchaseAllowance,
    Withdrawal,
    money_purchase_allowance,
    withdrawal,
)
from service.planning.projection.faults import (
    contribution_faults,
    different_growth,
    growth_of_two,
    household_faults,
)
from service.planning.projection.pots import pots_of
from service.planning.projection.settlement import Holdings, PersonRecord
from service.planning.projection.state_pensions import state_pension_caveats
from service.planning.projection.timeline import Period, Timeline, deflated, growing, shortened, timeline
from service.planning.timing.break_even import (
    PARTS,
    AgeBreakEven,
    GrowthBreakEven,
    Wealth,
    age_break_evens,
    all_shifted,
    growth_break_evens,
    growth_on_average,
)
from service.planning.timing.deaths import (
    Death,
    DeathYears,
    Outcome,
    death_day,
    death_years,
    outcome,
    survivors_death_day,
)
from service.planning.timing.options import (
    Course,
    FirstDay,
    Option,
    carried_out,
    wealth_left,
)
from service.planning.timing.over_paths import Asked, OptionsOverPaths, over_paths
from service.planning.timing.over_paths import person_years as person_years_on_paths
from service.planning.timing.work import DAY, KEPT_BACK, LIMIT, QUESTION, Work, WorkUsedUp, person_years, questions
from service.planning.wording import counted

Found = TypeVar("Found")

WIDEST_GAP = 350
"""Basis points: between neighbouring growth rates so far apart at most one change of places is looked for."""


@dataclass(frozen=True, slots=True)
class TimingQuestion:
    """A whole request. ``household`` ends when the first person reaches ``to_age``; ``growth_range`` is of the pension's growth,
    basis points, in which options may change places; ``scenarios`` are whole assumptions by name; ``cases`` change one assumption
    each (``sensitivity.py``). ``markets`` are courses of markets on which the options are carried out besides."""

    household: Household
    to_age: Years
    options: tuple[Option, ...]
    deaths: tuple[Death, ...] = ()
    estate: EstateFacts = field(default_factory=EstateFacts)
    beneficiary_tax_rate: BasisPoints = BENEFICIARIES_TAX_RATE
    growth_range: tuple[BasisPoints, BasisPoints] = (0, 1_000)
    scenarios: Mapping[str, Assumptions] = field(default_factory=dict)
    cases: Cases | None = None
    markets: Source | None = None


class OptionPerson(NamedTuple):
    """One person's period of an option. Pence; see ``PersonRecord``. ``tax_on_interest`` is the part of the income tax that the
    interest on waiting cash adds; ``moved`` is what came from the partner on both days; ``age`` is that of the last day."""

    first: FirstDay
    record: PersonRecord
    age: Years
    lump_sum: Pence
    withdrawal: Withdrawal
    tax_free: Pence
    subscribed: Pence
    moved: Pence
    tax_on_interest: Pence
    money_purchase_allowance: MoneyPurchaseAllowance
    pension: Balance
    isa: Balance
    cash: Balance


class OptionPeriod(NamedTuple):
    """A period of an option. ``waiting`` is the cash outside ISAs at its end; ``tax_free_so_far`` all tax-free cash so far."""

    period: Period
    people: tuple[OptionPerson, ...]
    income_tax: Pence
    income_tax_so_far: Pence
    tax_free_so_far: Pence
    waiting: Pence
    wealth: Pence
    wealth_in_prices_of_start: Pence


class TaxFreeCash(NamedTuple):
    """One person's tax-free cash under an option, pence.

    ``received`` = ``in_lump_sums`` + ``with_withdrawals``. ``available`` could still be taken at the end. ``at_the_end`` is
    what there would be to take then if the pension were left alone until then, and ``forgone`` what is missing from it.
    ``above_allowance`` is what of a quarter of the money taken, and of what is uncrystallised at the end, the allowances
    cut off; ``given_up`` what withdrawals without their tax-free part did not take. ``allowance_used_up`` is the tax year
    at whose end the allowances have nothing left.
    """

    in_lump_sums: Pence
    with_withdrawals: Pence
    available: Pence
    at_the_end: Pence
    above_allowance: Pence
    given_up: Pence
    allowance_used_up: str | None

    @property
    def received(self) -> Pence:
        """All tax-free cash received."""
        return self.in_lump_sums + self.with_withdrawals

    @property
    def forgone(self) -> Pence:
        """How much less than if the pension were left alone until the end."""
        return max(0, self.at_the_end - self.received - self.available)


class PersonTotals(NamedTuple):
    """One person's years in sums."""

    tax_free_cash: TaxFreeCash
    income_tax: Pence
    interest: Pence
    tax_on_interest: Pence
    most_cash_waiting: Pence
    money_purchase_allowance: MoneyPurchaseAllowance


class OptionTotals(NamedTuple):
    """An option in sums, pence. ``cash_waits_until`` is the first tax year at whose end no cash waits any more, None where
    cash waits to the end; it is the first of all where none ever waits."""

    people: tuple[PersonTotals, ...]
    withdrawn: Pence
    income_tax: Pence
    spent: Pence
    most_cash_waiting: Pence
    cash_waits_until: str | None
    in_pensions: Pence
    in_isas: Pence
    in_cash: Pence
    wealth: Pence
    wealth_in_prices_of_start: Pence


class DeathResult(NamedTuple):
    """A death asked about under an option; ``outcome`` is None where it cannot be computed, for a ``reason``."""

    asked: Death
    outcome: Outcome | None
    reason: str = ""


class OptionResult(NamedTuple):
    """An option carried out; ``course`` is None where that cannot be, for a ``reason``, and then there is nothing else."""

    option: Option
    course: Course | None
    reason: str
    years: tuple[OptionPeriod, ...] = ()
    totals: OptionTotals | None = None
    deaths: tuple[DeathResult, ...] = ()


class Placed(NamedTuple):
    """An option's place in an order: its position in the request, and its amount in pence."""

    option: int
    amount: Pence


Ranking = tuple[Placed, ...]
"""Options from the best to the worst; those that cannot be carried out are left out."""


class PairBreakEvens(NamedTuple):
    """Where two options (positions in the request) change places. None where it cannot be computed over the whole range, or
    where the request left no work for it; then it is not ``complete``."""

    options: tuple[int, int]
    growth: tuple[GrowthBreakEven, ...] | None
    ages: tuple[AgeBreakEven, ...] | None
    complete: bool


class Timing(NamedTuple):
    """The whole answer. ``by_beneficiaries`` has one order for each death asked about; ``by_scenario`` is by wealth. For
    ``state_pension_caveats`` see ``Schedule``."""

    question: TimingQuestion
    timeline: Timeline
    options: tuple[OptionResult, ...]
    by_wealth: Ranking
    by_income_tax: Ranking
    by_beneficiaries: tuple[Ranking, ...]
    by_scenario: Mapping[str, Ranking]
    break_evens: tuple[PairBreakEvens, ...]
    state_pension_caveats: tuple[Caveat, ...]
    over_paths: OptionsOverPaths | None = None

    @property
    def state_pensions(self) -> tuple[tuple[Pence, ...], ...]:
        """The State Pension of each person in each whole tax year, pence."""
        return self.timeline.state_pensions

    @property
    def first_not_law(self) -> TaxYearFigures | None:
        """The figures of the first tax year that are not all law."""
        return self.timeline.first_not_law


def timing(question: TimingQuestion, book: RuleBook) -> Timing:
    """Answer a question. RuleViolation, with all faults, where it asks for what cannot be."""
    faults = tuple(faults_of(question, book))
    if faults:
        raise RuleViolation(faults)
    years = timeline(question.household, book)
    faults = tuple(contribution_faults(years))
    if faults:
        raise RuleViolation(faults)
    levels = tuple(years.price_levels())
    deaths = tuple(death_years(years, death, question.estate, book) for death in question.deaths)
    options = tuple(_option(years, levels, deaths, option, question, book) for option in question.options)
    courses = {i: result.course for i, result in enumerate(options) if result.course is not None}
    by_wealth = _ranked((i, course.wealth) for i, course in courses.items())
    scenarios = {name: growing(years, assumed) for name, assumed in question.scenarios.items()}
    by_scenario = {name: _ranked(_wealths(each, question.options)) for name, each in scenarios.items()}
    done = _asked_for(years, scenarios.values(), deaths, len(question.options))
    return Timing(
        question=question,
        timeline=years,
        options=options,
        by_wealth=by_wealth,
        by_income_tax=_ranked(((i, course.income_tax) for i, course in courses.items()), least_first=True),
        by_beneficiaries=tuple(
            _ranked(
                (i, found.net)
                for i, result in enumerate(options)
                if result.deaths and (found := result.deaths[k].outcome) is not None
            )
            for k in range(len(question.deaths))
        ),
        by_scenario=by_scenario,
        break_evens=tuple(_break_evens(years, courses, by_wealth, done, question, book)),
        state_pension_caveats=tuple(dict.fromkeys(state_pension_caveats(question.household.people, book))),
        over_paths=_over_paths(years, deaths, question, book),
    )


def _over_paths(
    years: Timeline, deaths: Sequence[DeathYears], question: TimingQuestion, book: RuleBook
) -> OptionsOverPaths | None:
    if question.markets is None:
        return None
    charge = yearly_charge(question.household.people)
    return over_paths(years, deaths, _carried_out_on_paths(question), question.markets, charge, book)


def _carried_out_on_paths(question: TimingQuestion) -> Asked:
    return Asked(question.options, question.deaths, question.estate, question.beneficiary_tax_rate)


def _option(
    years: Timeline,
    levels: Sequence[Fraction],
    deaths: Sequence[DeathYears],
    option: Option,
    question: TimingQuestion,
    book: RuleBook,
) -> OptionResult:
    try:
        course = carried_out(years, option)
    except RuleViolation as error:
        return OptionResult(option, None, _reason(error))
    by_year = tuple(_years(course, levels))
    return OptionResult(
        option,
        course,
        "",
        by_year,
        _totals(course, by_year),
        tuple(_death(course, death, question, book) for death in deaths),
    )


def _death(course: Course, years: DeathYears, question: TimingQuestion, book: RuleBook) -> DeathResult:
    try:
        found = outcome(course, years, question.estate, question.beneficiary_tax_rate, book)
    except RuleViolation as error:
        return DeathResult(years.death, None, _reason(error))
    return DeathResult(years.death, found)


def _reason(error: RuleViolation) -> str:
    return " ".join(fault.detail for fault in error.faults)


def _years(course: Course, levels: Sequence[Fraction]) -> Iterator[OptionPeriod]:
    tax_so_far = tax_free_so_far = 0
    for period, year, level in zip(course.timeline.periods, course.years, levels, strict=True):
        people = tuple(
            _person(member, period, first, record)
            for member, (first, record) in zip(course.timeline.household.people, year.people(), strict=True)
        )
        income_tax = sum(person.record.income_tax for person in people)
        tax_so_far += income_tax
        tax_free_so_far += sum(person.tax_free for person in people)
        wealth = course.wealth_at(period.position)
        yield OptionPeriod(
            period,
            people,
            income_tax,
            tax_so_far,
            tax_free_so_far,
            sum(person.cash.closing for person in people),
            wealth,
            deflated(wealth, level),
        )


def _person(member: Member, period: Period, first: FirstDay, record: PersonRecord) -> OptionPerson:
    begun, grown, after = first.before, record.opened, record.after
    out = max(0, -first.moved) + max(0, -record.moved)
    into = max(0, first.moved) + max(0, record.moved)
    subscribed = first.subscribed + record.subscribed
    return OptionPerson(
        first=first,
        record=record,
        age=age_on(member.date_of_birth, period.last),
        lump_sum=first.lump_sum,
        withdrawal=withdrawal(record),
        tax_free=first.lump_sum + record.tax_free,
        subscribed=subscribed,
        moved=first.moved + record.moved,
        tax_on_interest=_tax_on_interest(record),
        money_purchase_allowance=money_purchase_allowance(period, begun.pension, after.pension),
        pension=Balance(
            begun.pension.uncrystallised + begun.pension.drawdown,
            record.pension_growth,
            grown.year.paid_in.amount,
            first.lump_sum + record.gross,
            after.pension.uncrystallised + after.pension.drawdown,
        ),
        isa=Balance(begun.isa, record.isa_growth, subscribed, record.from_isa, after.isa),
        cash=Balance(
            begun.cash,
            grown.interest,
            first.lump_sum + grown.year.income_inside + record.gross + record.from_isa + into,
            grown.year.paid_in.own + record.income_tax + record.spent + subscribed + out,
            after.cash,
        ),
    )


def _tax_on_interest(record: PersonRecord) -> Pence:
    """What the interest on the plan's cash adds to the tax of the year."""
    if record.opened.interest == 0:
        return 0
    year, chosen = record.opened.year, record.chosen_claim
    with_interest = year.liability(record.opened.interest, record.taxable, marriage_allowance=chosen)
    return with_interest.total - year.liability(0, record.taxable, marriage_allowance=chosen).total


def _totals(course: Course, years: Sequence[OptionPeriod]) -> OptionTotals:
    last = years[-1]
    waiting = [year.waiting for year in years]
    still = max((i for i, amount in enumerate(waiting) if amount), default=-1)
    return OptionTotals(
        people=tuple(_person_totals(course, years, i) for i in range(len(course.timeline.people))),
        withdrawn=sum(person.pension.paid_out for year in years for person in year.people),
        income_tax=last.income_tax_so_far,
        spent=sum(person.record.spent for year in years for person in year.people),
        most_cash_waiting=max(waiting),
        cash_waits_until=years[still + 1].period.name if still + 1 < len(years) else None,
        in_pensions=sum(person.pension.closing for person in last.people),
        in_isas=sum(person.isa.closing for person in last.people),
        in_cash=last.waiting,
        wealth=last.wealth,
        wealth_in_prices_of_start=last.wealth_in_prices_of_start,
    )


def _person_totals(course: Course, years: Sequence[OptionPeriod], i: int) -> PersonTotals:
    own = [year.people[i] for year in years]
    return PersonTotals(
        tax_free_cash=_tax_free_cash(course, years, i),
        income_tax=sum(person.record.income_tax for person in own),
        interest=sum(person.record.opened.interest for person in own),
        tax_on_interest=sum(person.tax_on_interest for person in own),
        most_cash_waiting=max(person.cash.closing for person in own),
        money_purchase_allowance=_money_purchase_allowance(own),
    )


def _money_purchase_allowance(years: Sequence[OptionPerson]) -> MoneyPurchaseAllowance:
    """A person's after all their years: whether it applies then, and in which of them it was triggered."""
    for year in years:
        if year.money_purchase_allowance.triggered:
            return year.money_purchase_allowance._replace(amount=None)
    return MoneyPurchaseAllowance(years[-1].money_purchase_allowance.applies, False)


def _tax_free_cash(course: Course, years: Sequence[OptionPeriod], i: int) -> TaxFreeCash:
    own = [year.people[i] for year in years]
    untaken = given_up = 0
    for year, person in zip(years, own, strict=True):
        quarter = lump_sums.quarter(person.withdrawal.from_uncrystallised, year.period.rules.lump_sums)
        if course.option.lump_sums == "never":
            given_up += quarter
        else:
            untaken += max(0, quarter - person.record.tax_free)
    rules = years[-1].period.rules.lump_sums
    final = own[-1].record.after.pension
    quarter = lump_sums.quarter(final.uncrystallised, rules)
    available = min(quarter, lump_sums.available(final, rules).tax_free)
    used_up = (
        year.period.name
        for year, person in zip(years, own, strict=True)
        if person.record.tax_free_left == 0 and person.record.after.pension.uncrystallised
    )
    return TaxFreeCash(
        in_lump_sums=sum(person.lump_sum for person in own),
        with_withdrawals=sum(person.record.tax_free for person in own),
        available=available,
        at_the_end=_left_alone(course.timeline, i),
        above_allowance=untaken + quarter - available,
        given_up=given_up,
        allowance_used_up=next(used_up, None),
    )


def _left_alone(years: Timeline, i: int) -> Pence:
    """The tax-free cash there would be at the end if a person's pension were left alone until then."""
    member, own = years.household.people[i], years.people[i]
    pension, growths = member.pension, years.household.assumptions.growths_of(i, len(member.pots))
    pots = [pot.uncrystallised for pot in pots_of(member)] or [pension.uncrystallised]
    uncrystallised = 0
    for k, (held, rate) in enumerate(zip(pots, growths, strict=True)):
        for period, year in zip(years.periods, own, strict=True):
            paid_in = year.pots[k].paid_in if year.pots else year.paid_in
            held += period.growth(held, rate)
            if paid_in.amount:
                held += paid_in.amount + period.growth_of(paid_in, rate)
        uncrystallised += held
    rules = years.periods[-1].rules.lump_sums
    return min(lump_sums.quarter(uncrystallised, rules), lump_sums.available(pension, rules).tax_free)


def _ranked(amounts: Iterator[tuple[int, int]], *, least_first: bool = False) -> Ranking:
    """Options in order; those that are equal stay in the order of the request."""
    sign = 1 if least_first else -1
    return tuple(Placed(i, amount) for i, amount in sorted(amounts, key=lambda one: (sign * one[1], one[0])))


def _wealths(years: Timeline, options: Sequence[Option]) -> Iterator[tuple[int, int]]:
    """The wealth of each option that can be carried out."""
    for i, option in enumerate(options):
        try:
            yield i, wealth_left(years, option)
        except RuleViolation:
            continue


def _break_evens(
    years: Timeline,
    courses: Mapping[int, Course],
    by_wealth: Ranking,
    done: int,
    question: TimingQuestion,
    book: RuleBook,
) -> Iterator[PairBreakEvens]:
    """Where the options of each pair change places, as far as ``done`` leaves work for it.

    Pairs have their turn in the request's order. What is kept back is for growth, for the best options first, of those pairs
    whose turn did not come.
    """
    work = Work(max(0, LIMIT - KEPT_BACK - done))
    at_growth = {i: _wealth_by_shift(course, work) for i, course in courses.items()}
    until = _until(years, book)
    on_day = {i: _wealth_by_day(course, until, work) for i, course in courses.items()}
    places = _places(question.growth_range, growth_on_average(question.household))
    days = [period.last for period in years.periods]

    def growth(pair: tuple[int, int]) -> tuple[GrowthBreakEven, ...] | None:
        first, second = pair
        try:
            return tuple(growth_break_evens(at_growth[first], at_growth[second], places))
        except RuleViolation:
            return None

    def ages(pair: tuple[int, int]) -> tuple[AgeBreakEven, ...]:
        first, second = pair
        return tuple(age_break_evens(on_day[first], on_day[second], days))

    pairs = list(combinations(courses, 2))
    by_age, by_growth = _in_turn(pairs, ages), _in_turn(pairs, growth)
    work.add(-KEPT_BACK)
    places_in_order = {placed.option: place for place, placed in enumerate(by_wealth)}
    left = [pair for pair in pairs if pair not in by_growth]
    left.sort(key=lambda pair: sorted(places_in_order[option] for option in pair))
    by_growth |= _in_turn(left, growth)
    for pair in pairs:
        yield PairBreakEvens(pair, by_growth.get(pair), by_age.get(pair), pair in by_age and pair in by_growth)


def _in_turn(
    pairs: Sequence[tuple[int, int]], find: Callable[[tuple[int, int]], Found]
) -> dict[tuple[int, int], Found]:
    """What is found for each pair in turn, without those for which there is no work left; others may need none."""
    found = {}
    for pair in pairs:
        with suppress(WorkUsedUp):
            found[pair] = find(pair)
    return found


def _places(growth_range: tuple[BasisPoints, BasisPoints], own: YearlyRate) -> list[int]:
    """Growth rates from one end of the range to the other, at most WIDEST_GAP apart, as shifts of the assumed one in parts.
    The assumed one is among them, since it is known already."""
    low, high = map(Fraction, growth_range)
    stops = [low, Fraction(own), high] if low < own < high else [low, high]
    places: list[Fraction] = []
    for start, end in pairwise(stops):
        steps = -((start - end) // WIDEST_GAP)
        places += [start + (end - start) * k / steps for k in range(steps)]
    return [round((place - own) * PARTS) for place in (*places, high)]


def _wealth_by_shift(course: Course, work: Work) -> Wealth:
    """An option's wealth at the end, by a shift of growth in parts of a basis point."""
    household = course.timeline.household
    assumed = household.assumptions

    def find(shift: int) -> int:
        # All pensions move by the same, so the order in which they are drawn stays.
        years = replace(course.timeline, household=replace(household, assumptions=all_shifted(assumed, shift)))
        return _counted(years, course.option, work)

    return Wealth(find, {0: course.wealth})


def _wealth_by_day(course: Course, until: Callable[[date], Timeline], work: Work) -> Wealth:
    """An option's wealth on a day (its ordinal), as if all ended on it; ``until`` shortens the tax years to a day."""

    def find(ordinal: int) -> int:
        work.begin()
        work.add(DAY)
        years = until(date.fromordinal(ordinal))
        position = years.periods[-1].position
        start = course.years[position - 1].settled.holdings if position else None
        return _counted(years, course.option, work, start, begins=position)

    ends = {period.last.toordinal(): course.wealth_at(period.position) for period in course.timeline.periods}
    return Wealth(find, ends)


def _counted(
    years: Timeline, option: Option, work: Work, start: Sequence[Holdings] | None = None, *, begins: int = 0
) -> Pence:
    """The wealth that an option leaves, with the work of it counted. WorkUsedUp where there is none left."""
    work.begin()
    before = questions(years, begins)
    try:
        return wealth_left(years, option, start, begins=begins)
    finally:
        work.add(person_years(years, begins) + questions(years, begins) - before)


def _asked_for(years: Timeline, scenarios: Iterable[Timeline], deaths: Sequence[DeathYears], options: int) -> int:
    """The work of what a request asks for besides break-evens."""
    timelines = [years, *scenarios, *(death.after for death in deaths if death.after is not None)]
    # Timelines may have years in common, whose questions count once.
    asked = {id(own): own for each in timelines for person in each.people for own in person}
    return sum(person_years(each) for each in timelines) * options + QUESTION * sum(
        own.questions for own in asked.values()
    )


def _until(years: Timeline, book: RuleBook) -> Callable[[date], Timeline]:
    """The tax years as if all ended on a day, the same for every option."""
    known: dict[date, Timeline] = {}

    def until(day: date) -> Timeline:
        if day not in known:
            known[day] = shortened(years, replace(years.household, end=day), book)
        return known[day]

    return until


def faults_of(question: TimingQuestion, book: RuleBook) -> Iterator[Fault]:
    """Everything in a request that cannot be, in the request's order."""
    household = question.household
    couple = len(household.people) > 1
    born = household.people[0].date_of_birth
    if born <= household.start and household.end <= household.start:
        yield Fault(
            ("to_age",),
            "age-already-reached",
            f"The first person reaches {question.to_age} on {household.end.isoformat()}, which is not after `start_date`, "
            f"{household.start.isoformat()}.",
        )
    else:
        yield from household_faults(household, book, ("to_age",))
    low, high = question.growth_range
    if low >= high:
        yield Fault(("break_even_growth", "high"), "range-empty", "`high` must be above `low`.")
    for k, death in enumerate(question.deaths):
        yield from _death_faults(household, death, ("deaths", k), couple=couple)
    yield from estate_faults(question.estate, couple=couple)
    yield from _markets_faults(question)


def _markets_faults(question: TimingQuestion) -> Iterator[Fault]:
    """What in a request with courses of markets cannot be."""
    household, source = question.household, question.markets
    if source is None or household.end <= household.start:
        return
    years = tax_years.between(tax_years.of(household.start), tax_years.of(household.end)) + 1
    yield from different_growth(household.people)
    yield from growth_of_two(household.assumptions)
    yield from markets_faults(household, source, years, "`to_age`")
    yield from too_many_paths(
        source,
        years,
        person_years_on_paths(household, _carried_out_on_paths(question), source, years),
        (
            counted(years, "tax year", "tax years"),
            counted(len(household.people), "person", "people"),
            counted(len(question.options), "option", "options"),
            *([counted(len(question.deaths), "death", "deaths")] if question.deaths else []),
        ),
    )


def _death_faults(household: Household, death: Death, path: tuple[str | int, ...], *, couple: bool) -> Iterator[Fault]:
    if death.survivor_age is not None and not couple:
        yield Fault((*path, "survivor_age"), "no-survivor", "With one person there is no survivor.")
    if household.end <= household.start or any(member.date_of_birth > household.start for member in household.people):
        return  # a fault of its own, beside which any day would be wrong
    day = death_day(household, death)
    if not household.start <= day <= household.end:
        yield Fault(
            (*path, "age"),
            "death-outside-the-years",
            f"That age is reached on {day.isoformat()}; it must be from {household.start.isoformat()} to "
            f"{household.end.isoformat()}, when the first person reaches `to_age`. "
            + _ages_to_give(household.people[death.person], household.start, household.end, "leave this death out"),
        )
    elif couple and death.survivor_age is not None:
        after = survivors_death_day(household, death)
        if not day < after <= household.end:
            survivor = household.people[1 - death.person]
            instead = "leave this out: the survivor then dies on the last day"
            ages = _ages_to_give(survivor, day + timedelta(days=1), household.end, instead)
            yield Fault(
                (*path, "survivor_age"),
                "death-outside-the-years",
                f"The survivor reaches that age on {after.isoformat()}; it must be after {day.isoformat()}, the first "
                f"death, and not after {household.end.isoformat()}. {ages}",
            )


def _ages_to_give(member: Member, first: date, last: date, instead: str) -> str:
    """Which ages a person reaches from one day to another, as what to send, or what to do instead where there is none."""
    least = age_on(member.date_of_birth, first - timedelta(days=1)) + 1
    most = age_on(member.date_of_birth, last)
    if least > most:
        return f"There is no such birthday: {instead}."
    return f"Give {least}." if least == most else f"Give an age from {least} to {most}."


def last_day(born: date, to_age: Years) -> date:
    """The last day of the years asked about: the birthday on which the first person reaches an age."""
    return birthday(born, to_age) if born.year + to_age <= date.max.year else date.max
