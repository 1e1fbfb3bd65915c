"""A plan over tax years: what to draw and subscribe in each, what it leaves, and how that compares with plainer plans."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

from service.figures import tax_years
from service.figures.loader import Standing, TaxYearFigures
from service.law import isa
from service.law.ages import age_on
from service.law.income_tax import basic_rate_band_unused, taxpayer_year
from service.law.rulebook import RuleBook
from service.law.units import POUND, BasisPoints, Pence, Years
from service.planning.cases import Cases
from service.planning.disclosure import Caveat
from service.planning.estates import BENEFICIARIES_TAX_RATE, EstateFacts, estate_faults
from service.planning.faults import Fault, RuleViolation
from service.planning.household import Assumptions, Household, Member, yearly_charge
from service.planning.markets.faults import markets_faults, too_many_paths
from service.planning.markets.markets import Markets, OverPaths, over_paths, person_years
from service.planning.optimiser.branch_and_bound import (
    SmallPotsToChoose,
    StoppedBy,
    most_after_tax,
    plain_plans,
)
from service.planning.optimiser.last_day import AFTER_TAX, LastDay
from service.planning.optimiser.relaxation import Surfaces
from service.planning.optimiser.ties import AS_GOOD_POUNDS_A_PERIOD, Tie
from service.planning.optimiser.work import LIMITS, PERSON_YEAR_COMPARED, Effort, Work
from service.planning.projection.balances import (
    Balance,
    MoneyPurchaseAllowance,
    Withdrawal,
    cash_held,
    isa_held,
    lump_sum,
    money_purchase_allowance,
    pension_held,
    withdrawal,
)
from service.planning.projection.faults import (
    contribution_faults,
    different_growth,
    growth_of_two,
    household_faults,
    one_lump_sum,
    open_small_pot_faults,
    small_pot_faults,
    small_pots_asked,
)
from service.planning.projection.policies import (
    BANDS,
    COMPARED_PLANS,
    Band,
    PlainPlan,
    PlainPlans,
    Projection,
)
from service.planning.projection.settlement import Holdings, PersonRecord, wealth_after_tax
from service.planning.projection.small_pots import (
    OpenSmallPot,
    first_allowed,
    open_small_pots,
    settled_household,
)
from service.planning.projection.state_pensions import state_pension_caveats
from service.planning.projection.timeline import (
    Period,
    Timeline,
    deflated,
    timeline,
)
from service.planning.schedule.estate import EstateAtTheEnd, estate_at_the_end, estate_of
from service.planning.schedule.small_pots import (
    IN_THE_FIRST_YEAR,
    SmallPotsChosen,
    told_of,
    ways_to_take,
)
from service.planning.schedule.step_margin import kept_clear
from service.planning.schedule.to_beneficiaries import (
    ToBeneficiaries,
    beneficiaries_faults,
    leaves_out_of_the_bound,
    to_beneficiaries,
    two_estates,
)
from service.planning.schedule.wishes import SteadyIncome, steadiest, with_nearest
from service.planning.wording import counted

MOST_AFTER_TAX: Literal["most_after_tax"] = "most_after_tax"

STEADY_INCOME: Literal["steady_income"] = "steady_income"

MOST_TO_BENEFICIARIES: Literal["most_to_beneficiaries"] = "most_to_beneficiaries"

Goal = Band | Literal["most_after_tax", "steady_income", "most_to_beneficiaries"]

SEARCHED_FOR: tuple[Goal, ...] = (MOST_AFTER_TAX, STEADY_INCOME, MOST_TO_BENEFICIARIES)
"""The goals for which a plan is searched."""

GOALS: tuple[Goal, ...] = (*BANDS, *SEARCHED_FOR)
"""What a plan can aim at: fill a band each year, leave the most after tax, pay the highest level income throughout, or leave the
most to beneficiaries."""

FLAT_RATES: tuple[BasisPoints, ...] = (0, 2_000, 4_000, 4_500)
"""Flat rates of tax on what is left in pensions at which a plan is valued beside the one that is assumed: none, and the UK
rates."""

SCENARIOS = ("low", "middle", "high")

_PLANS_OWN_WORK = 0.6
"""Of the work of a request with scenarios, what the plan itself may take; they share the rest."""

_PART_FOR_THE_HOUSEHOLD = 0.25
"""Of the work for the most to beneficiaries, where two estates are taxed, what looks for the most for the household."""

_LEVELS_WORK = 0.7
"""Of the work of a plan for a steady income, what the search for its level may take; the rest is for what it leaves."""

LEAVES_OUT = "The bound leaves out plans that would bear a lifetime allowance charge before 6 April 2023."
"""What the bound on plans that leave the most leaves out."""


@dataclass(frozen=True, slots=True)
class ScheduleQuestion:
    """A whole request. ``goal`` is one of GOALS; ``scenarios`` are whole assumptions by name, planned anew under each;
    ``effort`` is how much work the search for the best plan may take, scenarios included. ``estate`` is what the household
    owns besides, where ``estate_given``; None then where it is not clear. ``markets`` are courses of markets on which a plain
    aim is carried out besides."""

    household: Household
    goal: Goal
    scenarios: Mapping[str, Assumptions] = field(default_factory=dict)
    effort: Effort = "standard"
    cases: Cases | None = None
    """One assumption changed at a time (``sensitivity.py``)."""
    estate: EstateFacts | None = None
    estate_given: bool = False
    beneficiary_tax_rate: BasisPoints = BENEFICIARIES_TAX_RATE
    markets: Markets | None = None

    @property
    def band(self) -> Band | None:
        """The band that each fills every year; None where the plan is searched for."""
        return next((band for band in BANDS if band == self.goal), None)

    @property
    def is_for_beneficiaries(self) -> bool:
        """Whether plans are compared by what beneficiaries would receive."""
        return self.goal == MOST_TO_BENEFICIARIES

    def estate_left(self, plan: Projection) -> EstateAtTheEnd:
        """What a plan leaves to others, by the estate given."""
        return estate_at_the_end(plan, self.estate, self.beneficiary_tax_rate)


class Proof(NamedTuple):
    """How good the plan that was searched for is: its ``worth`` by the aim, which is its wealth after tax or what beneficiaries
    receive, and a bound on that of any plan, pence; and what ended the search. ``leaves_out`` says what the bound does not count.

    ``proven`` is False where the search found its own relaxation at fault, which its proof rules out. The bound is then what
    the household has in all, and the gap wide. ``given_up_at_steps`` is the wealth given up to stay 50 pounds below steps of the
    tax; ``at_a_step`` says that this would have cost too much, see ``step_margin``. ``tie`` is the choice there was among plans
    that are as good, None where that is not known.
    """

    worth: Pence
    bound: Pence
    proven: bool
    stopped_by: StoppedBy
    leaves_out: str
    given_up_at_steps: Pence = 0
    at_a_step: bool = False
    tie: Tie | None = None

    @property
    def gap(self) -> Pence:
        """How much more another plan might come to."""
        return self.bound - self.worth


class Found(NamedTuple):
    """A plan by its goal; with its ``proof`` where it was searched for, the ``steady_income`` that it pays where that is
    the goal, and what became of small pots whose tax year was left open. ``plain`` are the plain plans of its timeline, if
    that is another than was asked for and they are known."""

    plan: Projection
    proof: Proof | None = None
    steady_income: SteadyIncome | None = None
    small_pots: SmallPotsChosen | None = None
    plain: PlainPlans | None = None


class Comparison(NamedTuple):
    """Another plan for the same household; ``projection`` is None where it cannot be carried out, for a ``reason``."""

    plan: str
    projection: Projection | None
    reason: str = ""


class Scenario(NamedTuple):
    """The goal planned for anew under other assumptions; ``projection`` is None where that cannot be, for a ``reason``."""

    name: str
    projection: Projection | None
    reason: str = ""
    steady_income: SteadyIncome | None = None
    small_pots: SmallPotsChosen | None = None


class Totals(NamedTuple):
    """A whole plan in sums. Pence; the balances and the wealth are those of the last day."""

    withdrawn: Pence
    tax_free: Pence
    taxable: Pence
    income_tax: Pence
    isa_subscriptions: Pence
    spent: Pence
    in_pensions: Pence
    in_isas: Pence
    in_cash: Pence
    tax_assumed_on_remaining_pension: Pence
    wealth_after_tax: Pence
    wealth_after_tax_in_prices_of_start: Pence


class SchedulePerson(NamedTuple):
    """One person's period as an answer tells it. Pence; see ``PersonRecord``, whose gross and tax-free amounts include the
    lump sum of "all_now"; those of the withdrawal do not. Neither counts small pots, which the balance of ``pension`` does.
    ``age`` is that of the last day. What allowances are used and left is of the whole tax year."""

    record: PersonRecord
    age: Years
    lump_sum: Pence
    withdrawal: Withdrawal
    personal_allowance_used: Pence
    personal_allowance_unused: Pence
    basic_rate_band_unused: Pence
    isa_limit: Pence
    isa_used: Pence
    isa_unused: Pence
    money_purchase_allowance: MoneyPurchaseAllowance
    pension: Balance
    isa: Balance
    cash: Balance


class HouseholdPeriod(NamedTuple):
    """Everybody's period in sums. Pence; the balances and the wealth, before any tax still to come, are those of its last
    day."""

    withdrawn: Pence
    income_tax: Pence
    income_tax_so_far: Pence
    isa_subscriptions: Pence
    in_pensions: Pence
    in_isas: Pence
    in_cash: Pence
    wealth_before_tax: Pence
    wealth_before_tax_in_prices_of_start: Pence


class ScheduleYear(NamedTuple):
    """One period of a plan as an answer tells it."""

    period: Period
    spending: Pence
    people: tuple[SchedulePerson, ...]
    household: HouseholdPeriod


class Schedule(NamedTuple):
    """The whole answer. ``state_pension_caveats`` are those on State Pension age. The question's household also spends the
    ``steady_income``, where there is one."""

    question: ScheduleQuestion
    projection: Projection
    years: tuple[ScheduleYear, ...]
    totals: Totals
    comparisons: tuple[Comparison, ...]
    scenarios: tuple[Scenario, ...]
    proof: Proof | None
    state_pension_caveats: tuple[Caveat, ...]
    steady_income: SteadyIncome | None = None
    over_paths: OverPaths | None = None
    small_pots: SmallPotsChosen | None = None

    @property
    def timeline(self) -> Timeline:
        """The plan's tax years."""
        return self.projection.timeline

    def worth(self, held: Sequence[Holdings]) -> Pence:
        """What holdings on the last day are worth by the aim: after tax to the household, or to beneficiaries."""
        asked = self.question
        if asked.is_for_beneficiaries:
            return estate_of(self.timeline, held, asked.estate, asked.beneficiary_tax_rate).beneficiaries_receive
        return wealth_after_tax(self.timeline, held)

    @property
    def state_pensions(self) -> tuple[tuple[Pence, ...], ...]:
        """The State Pension of each person in each whole tax year, pence."""
        return self.timeline.state_pensions

    @property
    def standing(self) -> Standing:
        """How firm the figures of the weakest tax year are."""
        return self.timeline.standing

    @property
    def first_not_law(self) -> TaxYearFigures | None:
        """The figures of the first tax year that are not all law."""
        return self.timeline.first_not_law


def schedule(question: ScheduleQuestion, book: RuleBook) -> Schedule:
    """Answer a question. RuleViolation, with all faults, where it asks for what cannot be; also where spending cannot be
    met."""
    household = question.household
    ways = (
        household.lump_sums,
        *(option.lump_sums for option in (question.markets.compare if question.markets else ())),
    )
    faults = (
        *household_faults(household, book),
        *one_lump_sum(household, ways),
        *small_pots_asked(household),
        *_markets_faults(question),
        *_beneficiaries_faults(question),
    )
    if faults:
        raise RuleViolation(faults)
    years = timeline(household, book)
    faults = (*contribution_faults(years), *small_pot_faults(years), *open_small_pot_faults(years))
    if faults:
        raise RuleViolation(faults)
    # The plan and each scenario are set out and compared with plain plans whatever is searched for.
    person_years = len(household.people) * len(years.periods)
    budget = LIMITS[question.effort] - PERSON_YEAR_COMPARED * person_years * (1 + len(question.scenarios))
    work = Work(budget * (_PLANS_OWN_WORK if question.scenarios else 1.0))
    surfaces: Surfaces = {}
    plain = PlainPlans(years)
    try:
        found = _planned(plain, question, book, work, surfaces)
    except RuleViolation as error:
        raise with_nearest(error, years, question.goal, work) from error
    plan = found.plan
    if plan.timeline is not years:
        plain = found.plain or PlainPlans(plan.timeline)
    scenarios = []
    for number, (name, assumed) in enumerate(question.scenarios.items()):
        # What one leaves of its share is for those that follow.
        work.limit = work.done + max(0.0, budget - work.done) / (len(question.scenarios) - number)
        scenarios.append(_scenario(name, replace(household, assumptions=assumed), question, book, work, surfaces))
    return Schedule(
        question=replace(question, household=plan.timeline.household),
        projection=plan,
        years=tuple(_years(plan)),
        totals=totals(plan),
        comparisons=tuple(_compared(name, plain, plan) for plan, name in COMPARED_PLANS.items()),
        scenarios=tuple(scenarios),
        proof=found.proof,
        # One comparison rests on everybody's.
        state_pension_caveats=tuple(dict.fromkeys(state_pension_caveats(household.people, book))),
        steady_income=found.steady_income,
        over_paths=_over_paths(question, years, book),
        small_pots=found.small_pots,
    )


def _markets_faults(question: ScheduleQuestion) -> Iterator[Fault]:
    """What in a request with courses of markets cannot be."""
    if question.markets is None:
        return
    if question.band is None:
        yield Fault(
            ("aim", "goal"),
            "markets-need-a-plain-aim",
            f"With `markets`, the aim is applied anew each year on every path. The goal `{question.goal}` is searched for over "
            f"all years, not on each path. Give one of: {', '.join(BANDS)}.",
        )
    household = question.household
    if any(member.small_pots or member.open_small_pots for member in household.people):
        yield Fault(
            ("markets",),
            "small-pots-with-markets",
            "With `markets`, a pension grows differently on each path, and a small pot could be above its limit. Leave "
            "`small_pot_in` or `markets` out.",
        )
    if household.end >= household.start:
        count = tax_years.between(tax_years.of(household.start), tax_years.of(household.end)) + 1
        source, plans = question.markets.source, 1 + len(question.markets.compare)
        yield from different_growth(household.people)
        yield from growth_of_two(household.assumptions)
        yield from markets_faults(household, source, count, "`end_date`")
        yield from too_many_paths(
            source,
            count,
            person_years(household, question.markets, count),
            (
                counted(count, "tax year", "tax years"),
                counted(len(household.people), "person", "people"),
                counted(plans, "plan", "plans"),
            ),
        )


def _beneficiaries_faults(question: ScheduleQuestion) -> Iterator[Fault]:
    """What in a request for the most to beneficiaries cannot be."""
    if not question.is_for_beneficiaries:
        return
    household = question.household
    yield from beneficiaries_faults(household, estate_given=question.estate_given)
    if question.estate is not None:
        yield from estate_faults(question.estate, couple=len(household.people) > 1)


def last_day_of(question: ScheduleQuestion, years: Timeline) -> LastDay:
    """What the last day of a plan is worth by its aim."""
    if not question.is_for_beneficiaries or question.estate is None:
        return AFTER_TAX
    return to_beneficiaries(years, question.estate, question.beneficiary_tax_rate)


def _over_paths(question: ScheduleQuestion, years: Timeline, book: RuleBook) -> OverPaths | None:
    """The plan on every path, with the estate at the end of each tax year where one is given."""
    band = question.band
    if question.markets is None or band is None:
        return None
    charge = yearly_charge(question.household.people)
    estate = question.estate if question.estate_given else None

    def beneficiaries(plan: Projection) -> Pence | None:
        found = question.estate_left(plan)
        return found.beneficiaries_receive if found.deaths else None

    return over_paths(years, band, question.markets, charge, book, beneficiaries if estate is not None else None)


def totals(plan: Projection) -> Totals:
    """A whole plan in sums."""
    records = [record for year in plan.years for record in year.people]
    last = plan.years[-1]
    small_pots = [pot for record in records for pot in record.opened.year.small_pots]
    wealth, held = plan.wealth, (pension_held(last), isa_held(last), cash_held(last))
    return Totals(
        withdrawn=sum(record.gross for record in records) + sum(pot.gross for pot in small_pots),
        tax_free=sum(record.tax_free for record in records) + sum(pot.tax_free for pot in small_pots),
        taxable=sum(record.taxable for record in records) + sum(pot.taxable for pot in small_pots),
        income_tax=plan.income_tax,
        isa_subscriptions=sum(record.subscribed for record in records),
        spent=sum(record.spent for record in records),
        in_pensions=held[0],
        in_isas=held[1],
        in_cash=held[2],
        tax_assumed_on_remaining_pension=sum(held) - wealth,
        wealth_after_tax=wealth,
        wealth_after_tax_in_prices_of_start=plan.in_prices_of_start(wealth),
    )


def wealth_at_flat_rates(plan: Projection) -> tuple[tuple[BasisPoints, Pence], ...]:
    """What a plan leaves after tax at the end at some flat rates on what is left in pensions: rate and pence."""
    household, last = plan.timeline.household, plan.years[-1].holdings

    def at(rate: BasisPoints) -> Timeline:
        assumed = replace(household.assumptions, tax_rate_on_remaining_pension=rate)
        return replace(plan.timeline, household=replace(household, assumptions=assumed))

    return tuple((rate, wealth_after_tax(at(rate), last)) for rate in FLAT_RATES)


def _planned(plain: PlainPlans, question: ScheduleQuestion, book: RuleBook, work: Work, surfaces: Surfaces) -> Found:
    """The plan by its goal; with as much work as is given where it has to be searched for. Where the tax years of small pots are
    left open, a plan that leaves the most chooses them; others take each in the first year in which it may be taken. ``surfaces``
    are those known by searches with the same work."""
    years = plain.timeline
    pots = open_small_pots(years)
    if not pots:
        return _by_goal(plain, question, work, surfaces)
    if question.goal in (MOST_AFTER_TAX, MOST_TO_BENEFICIARIES):
        return _with_small_pots(plain, pots, question, book, work)
    first = timeline(settled_household(years, pots, first_allowed(years, pots)), book)
    found = _by_goal(PlainPlans(first), question, work, surfaces)
    proof = found.proof and found.proof._replace(leaves_out=f"{found.proof.leaves_out} {IN_THE_FIRST_YEAR}")
    return found._replace(proof=proof, small_pots=SmallPotsChosen(told_of(pots, first.household), is_best=False))


def _with_small_pots(
    plain: PlainPlans, pots: tuple[OpenSmallPot, ...], question: ScheduleQuestion, book: RuleBook, work: Work
) -> Found:
    """The best plan over all tax years in which small pots may be taken, and over taking none. ``plain`` are the plans that draw
    them as any other pension.

    One search looks for it. Another, if there is as much work left as that took, looks for what it is compared with. Where that
    takes small pots and is as good, it is the plan: a small pot uses no allowance and is no flexible access.
    """
    ways = ways_to_take(plain.timeline, pots, book, work)
    own = Work(work.left)
    found = _by_goal(plain, question, own, {}, ways.any_way.to_choose)
    work.add(own.done)
    taken = found.plan.timeline is not plain.timeline
    other = None
    if work.left >= own.done:
        rest = Work(work.left)
        try:
            if taken:
                other = _by_goal(plain, question, rest, {})
            elif ways.as_small_pots is not None:
                way = ways.as_small_pots
                other = _by_goal(PlainPlans(way.timeline), question, rest, {}, way.to_choose)
        except RuleViolation:
            other = None  # What it is compared with cannot be carried out.
        work.add(rest.done)
    return _chosen(found, other, pots, takes_small_pots=taken)


def _chosen(found: Found, other: Found | None, pots: Sequence[OpenSmallPot], *, takes_small_pots: bool) -> Found:
    """Of the best plan over all choices and what it is compared with, the one to be taken, with the bound of the former: of two
    that are as good the one that ``takes_small_pots``, if it is the former, or else the latter."""
    chosen, gain = found, None
    assert found.proof is not None
    proof = found.proof
    if other is not None and other.proof is not None:
        gain = found.proof.worth - other.proof.worth
        as_good = round(AS_GOOD_POUNDS_A_PERIOD * POUND) * len(found.plan.years)
        if gain < (-as_good if takes_small_pots else as_good):
            chosen, gain = other, -gain
            proof = other.proof._replace(
                bound=max(found.proof.bound, other.proof.worth),
                proven=found.proof.proven and other.proof.proven,
                stopped_by=found.proof.stopped_by,
            )
    told = told_of(pots, chosen.plan.timeline.household)
    return chosen._replace(proof=proof, small_pots=SmallPotsChosen(told, is_best=True, gain=gain))


def _by_goal(
    plain: PlainPlans,
    question: ScheduleQuestion,
    work: Work,
    surfaces: Surfaces,
    to_choose: SmallPotsToChoose | None = None,
) -> Found:
    """The plan by its goal, over the small pots ``to_choose`` where there are any; ``surfaces`` as in ``_planned``."""
    goal, last_day = question.goal, last_day_of(question, plain.timeline)
    if goal == STEADY_INCOME:
        limit = work.limit
        work.limit = work.done + _LEVELS_WORK * (limit - work.done)
        known, income = steadiest(plain.timeline, work, surfaces)
        work.limit = limit
        plain = PlainPlans(known.timeline)
        return _best(plain, work, last_day, surfaces, known)._replace(steady_income=income, plain=plain)
    if goal == MOST_AFTER_TAX:
        return _best(plain, work, last_day, surfaces, to_choose=to_choose)
    if goal == MOST_TO_BENEFICIARIES:
        found = _best(plain, work, last_day, surfaces, to_choose=to_choose)
        leaves_out = leaves_out_of_the_bound(plain.timeline.household, question.estate)
        return found._replace(proof=found.proof and found.proof._replace(leaves_out=leaves_out))
    return Found(plain.plan(goal))


def _best(
    plain: PlainPlans,
    work: Work,
    last_day: LastDay,
    surfaces: Surfaces,
    known: Projection | None = None,
    to_choose: SmallPotsToChoose | None = None,
) -> Found:
    """The plan whose last day is worth the most; ``known`` is one to begin from, and ``plain`` are those of one choice of the
    small pots ``to_choose``."""
    household = plain.timeline.household
    if known is None and isinstance(last_day, ToBeneficiaries) and two_estates(household, last_day.facts):
        # The bound is loose there, and the plan that leaves the household the most may be better than what is found without it.
        part = Work(_PART_FOR_THE_HOUSEHOLD * work.left)
        known = most_after_tax(plain.timeline, part, plain).projection
        work.add(part.done)
    found = most_after_tax(plain.timeline, work, plain, known, last_day, to_choose, surfaces)
    # The search rounds to the penny; where nothing is to be gained a plain plan may be pennies better.
    untried = () if found.plain_plans_tried else plain_plans(plain, work)
    best = max((found.projection, *untried), key=last_day.worth)
    tie = found.tie if best is found.projection else None
    clear = kept_clear(best if tie is None else tie.plan, last_day.worth)
    return Found(
        clear.plan,
        Proof(
            last_day.worth(clear.plan),
            max(found.bound, last_day.worth(best)),
            found.agreed,
            found.stopped_by,
            LEAVES_OUT,
            clear.given_up,
            clear.at_a_step,
            tie,
        ),
    )


def _compared(name: str, plain: PlainPlans, plan: PlainPlan) -> Comparison:
    try:
        return Comparison(name, plain.plan(plan))
    except RuleViolation as error:
        return Comparison(name, None, _reason(error))


def _scenario(
    name: str, household: Household, question: ScheduleQuestion, book: RuleBook, work: Work, surfaces: Surfaces
) -> Scenario:
    try:
        years = timeline(household, book)
        faults = tuple(small_pot_faults(years))
        if faults:
            raise RuleViolation(faults)
        found = _planned(PlainPlans(years), question, book, work, surfaces)
    except RuleViolation as error:
        return Scenario(name, None, _reason(error))
    return Scenario(name, found.plan, steady_income=found.steady_income, small_pots=found.small_pots)


def _reason(error: RuleViolation) -> str:
    return " ".join(fault.detail for fault in error.faults)


def household_periods(plan: Projection) -> Iterator[HouseholdPeriod]:
    """Everybody's periods in sums."""
    tax_so_far = 0
    for year, level in zip(plan.years, plan.timeline.price_levels(), strict=True):
        held = (pension_held(year), isa_held(year), cash_held(year))
        income_tax = sum(record.income_tax for record in year.people)
        tax_so_far += income_tax
        yield HouseholdPeriod(
            sum(record.gross + record.opened.year.from_small_pots for record in year.people),
            income_tax,
            tax_so_far,
            sum(record.subscribed for record in year.people),
            *held,
            sum(held),
            deflated(sum(held), level),
        )


def _years(plan: Projection) -> Iterator[ScheduleYear]:
    timeline = plan.timeline
    for period, spending, year, household in zip(
        timeline.periods, timeline.spending, plan.years, household_periods(plan), strict=True
    ):
        people = tuple(
            _person_year(member, period, record)
            for member, record in zip(timeline.household.people, year.people, strict=True)
        )
        yield ScheduleYear(period, spending, people, household)


def _person_year(member: Member, period: Period, record: PersonRecord) -> SchedulePerson:
    opened, before, after = record.opened, record.opened.before, record.after
    found, year = record.liability, record.opened.year
    subscribed_before = member.isa.subscribed_this_year if period.position == 0 else 0
    limit = isa.subscription_limit(period.rules.figures, member.date_of_birth, cash=member.isa.cash_isa)
    small_pots = year.small_pots
    return SchedulePerson(
        record=record,
        age=age_on(member.date_of_birth, period.last),
        lump_sum=lump_sum(record),
        withdrawal=withdrawal(record),
        personal_allowance_used=min(found.allowances, found.net_income),
        personal_allowance_unused=max(0, found.allowances - found.net_income),
        basic_rate_band_unused=basic_rate_band_unused(taxpayer_year(year.taxpayer, year.rules), found),
        isa_limit=limit,
        isa_used=subscribed_before + record.subscribed,
        isa_unused=year.isa_allowance_left - record.subscribed,
        money_purchase_allowance=money_purchase_allowance(period, before.pension, after.pension),
        pension=Balance(
            before.pension.uncrystallised + before.pension.drawdown + sum(pot.opening for pot in small_pots),
            record.pension_growth + sum(pot.growth for pot in small_pots),
            year.paid_in.amount,
            record.gross + year.from_small_pots,
            after.pension.uncrystallised + after.pension.drawdown + sum(pot.closing for pot in small_pots),
        ),
        isa=Balance(before.isa, record.isa_growth, record.subscribed, record.from_isa, after.isa),
        cash=Balance(
            before.cash,
            opened.interest,
            year.income_inside + year.from_small_pots + record.gross + record.from_isa + max(0, record.moved),
            year.paid_in.own + record.income_tax + record.spent + record.subscribed + max(0, -record.moved),
            after.cash,
        ),
    )
