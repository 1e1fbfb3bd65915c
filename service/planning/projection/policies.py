"""The plain ways to draw a pension: fill a band each year, leave it alone and draw evenly, and more where spending needs it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from functools import partial
from typing import Literal, NamedTuple, get_args

from service.law.ages import birthday
from service.law.dates import day_month_year
from service.law.income_tax import Liability, TaxpayerYear, allowances, taxable_income
from service.law.rulebook import TaxYearRules
from service.law.set_off import Scales
from service.law.units import WHOLE, Pence
from service.planning.curve.reasons import reliefs_lost
from service.planning.curve.tax_curve import has_other_income_only, pieces_to
from service.planning.curve.tax_function import TaxFunction
from service.planning.faults import Fault, RuleViolation
from service.planning.projection.pots import access, first_access
from service.planning.projection.settlement import (
    NO_DRAW,
    WITH_TAX_FREE_PART,
    AfterTax,
    Choice,
    Draw,
    Holdings,
    LastDay,
    LeftOver,
    Opened,
    Settled,
    after_tax,
    carried_out,
    first_holdings,
    funded,
    last_day,
    opened,
    wealth_after_tax,
)
from service.planning.projection.timeline import Timeline, deflated
from service.planning.search import first_where, least_near
from service.planning.wording import inside, pounds, who

Band = Literal["personal_allowance", "basic_rate_band", "higher_rate_band"]

BANDS: tuple[Band, ...] = get_args(Band)
"""The bands a plan can fill, lowest first."""

PlainPlan = Band | Literal["evenly"]

PLAIN_PLANS: tuple[PlainPlan, ...] = (*BANDS, "evenly")
"""A band filled each year, or the pension left until State Pension age and then drawn evenly."""

COMPARED_PLANS: Mapping[PlainPlan, str] = {
    "evenly": "pension_left_until_state_pension_age",
    "personal_allowance": "personal_allowance_filled",
}
"""Those of them that every answer compares its plan with, and what it calls them."""

SPREAD_TO_AGE = 90
"""How long a pension is spread that is left alone until State Pension age: our choice, no rule."""

Policy = Callable[[int, tuple[Opened, ...]], Choice]
"""What to do in a period, from its position and everybody on its last day."""


class Projection(NamedTuple):
    """A whole plan, settled."""

    timeline: Timeline
    years: tuple[Settled, ...]

    @property
    def income_tax(self) -> Pence:
        """All income tax inside the plan, pence."""
        return sum(record.income_tax for year in self.years for record in year.people)

    @property
    def wealth(self) -> Pence:
        """Wealth after tax at the end, pence of that day."""
        return wealth_after_tax(self.timeline, self.years[-1].holdings)

    def in_prices_of_start(self, amount: Pence) -> Pence:
        """An amount at the end of the plan in prices of its start, pence, half up."""
        *_, level = self.timeline.price_levels()
        return deflated(amount, level)


def projected(timeline: Timeline, policy: Policy, start: Sequence[Holdings] | None = None) -> Projection:
    """A plan by a policy. RuleViolation, with the tax year and the shortfall, where spending cannot be met."""

    def met(position: int, people: tuple[Opened, ...]) -> Settled:
        return with_spending_met(timeline, position, people, policy(position, people))

    return settled_by(timeline, met, start)


def settled_by(
    timeline: Timeline,
    settling: Callable[[int, tuple[Opened, ...]], Settled],
    start: Sequence[Holdings] | None = None,
) -> Projection:
    """A plan whose periods are settled one after the other, each from its position and everybody on its last day."""
    holdings: Sequence[Holdings] = first_holdings(timeline) if start is None else start
    years = []
    for position in range(len(timeline.periods)):
        year = settling(position, opened(timeline, position, holdings))
        years.append(year)
        holdings = year.holdings
    return Projection(timeline, tuple(years))


class PlainPlans:
    """The plans of one timeline that need no search, each carried out once: the search tries them, and answers compare with
    them."""

    def __init__(self, timeline: Timeline) -> None:
        """None is carried out yet."""
        self.timeline = timeline
        self._found: dict[PlainPlan, Projection | tuple[Fault, ...]] = {}
        self.years_made_up: dict[PlainPlan, int] = {}
        """In how many periods of each plan more had to be drawn for spending than it would have been."""

    def plan(self, name: PlainPlan) -> Projection:
        """A plan. RuleViolation, with the tax year and the shortfall, where spending cannot be met."""
        found = self._found.get(name)
        if found is None:
            found = self._found[name] = self._carried_out(name)
        if not isinstance(found, Projection):
            raise RuleViolation(found)
        return found

    def _carried_out(self, name: PlainPlan) -> Projection | tuple[Fault, ...]:
        years = self.timeline
        policy = evenly_from_state_pension_age(years) if name == "evenly" else filling(years, name)
        self.years_made_up[name] = 0

        def met(position: int, people: tuple[Opened, ...]) -> Settled:
            choice = policy(position, people)
            self.years_made_up[name] += 1  # also where it cannot be made up
            year = with_spending_met(years, position, people, choice)
            lump_sums = sum(one.lump_sum.gross for one in people if one.lump_sum is not None)
            if sum(record.gross for record in year.people) - lump_sums <= sum(map(sum, choice.draws)):
                self.years_made_up[name] -= 1
            return year

        try:
            return settled_by(years, met)
        except RuleViolation as error:
            return tuple(error.faults)


def filling(timeline: Timeline, band: Band) -> Policy:
    """Each person fills a band each year."""

    def choose(position: int, people: tuple[Opened, ...]) -> Choice:
        return Choice(tuple([draw_filling(timeline, person, band) for person in people]))

    return choose


def evenly_from_state_pension_age(timeline: Timeline) -> Policy:
    """Nobody draws before State Pension age; then an equal share of what is left for each day to age 90, or to the end of
    the plan if that is later: a short plan is no reason to empty a pension at a stroke."""
    periods = timeline.periods
    until = [
        max(periods[-1].last, birthday(member.date_of_birth, SPREAD_TO_AGE)) for member in timeline.household.people
    ]

    def choose(position: int, people: tuple[Opened, ...]) -> Choice:
        period = periods[position]
        draws = []
        for person, reached, last in zip(people, timeline.state_pension_from, until, strict=True):
            pot = person.most_uncrystallised + person.most_drawdown
            days_left = (last - period.first).days + 1
            if reached is not None and reached > period.last:
                draws.append(Draw())
            elif days_left <= period.days:
                draws.append(Draw(person.most_uncrystallised, person.most_drawdown))
            else:
                draws.append(_gross_draw(timeline, person, pot * period.days // days_left))
        return Choice(tuple(draws))

    return choose


def draw_filling(timeline: Timeline, person: Opened, band: Band) -> Draw:
    """The draw that fills a band, or all there is."""
    if not person.pension.uncrystallised and not person.pension.drawdown:
        return NO_DRAW
    return draw_for(timeline, person, target(person, band))


def target(person: Opened, band: Band) -> Pence:
    """The taxable withdrawal that just fills a band, pence.

    "personal_allowance": the most that adds no tax. "basic_rate_band" and "higher_rate_band": to the top of the band
    of the nation's own rates for pension income; for Scotland the basic rate band ends where the higher rate begins.
    """
    if not person.year.may_draw:
        return 0
    return person.year.target(band, person.interest, lambda: _target(person, band))


def _target(person: Opened, band: Band) -> Pence:
    if not person.interest and has_other_income_only(person.year.taxpayer, person.year.rules):
        known = _target_of_other_income(person, band)
        if known is not None:
            return known
    if band == "personal_allowance":
        return _most_without_tax(person)
    year = _taxed(person)
    taxpayer, limit = year.taxpayer, _limit(year.scales, band)
    scottish, gives = taxpayer.nation == "scotland", taxpayer.marriage_allowance == "gives"

    def asked(withdrawal: Pence) -> Pence:
        found = person.taxed(withdrawal)
        return found.other_to if scottish else found.taxable

    height: Callable[[Pence], Pence] = asked
    if not gives and not (scottish and (taxpayer.savings or taxpayer.dividends)):
        height = partial(taxable_income, year)
    before_allowances = taxpayer.other_income + taxpayer.property_income if scottish else taxpayer.income
    # What cannot be above the limit before any allowance need not be asked about.
    if before_allowances > limit and height(0) > limit:
        return 0
    full, given = allowances(year, taxpayer.income), 0
    if gives:
        start = person.taxed(0)
        full, given = start.allowances, start.marriage_allowance_given
    room = limit - before_allowances
    # With all allowances, past the taper with none, or where the marriage allowance can no longer be given.
    for guess in (room + full, room, room + full + given):
        if guess >= 0 and height(guess) <= limit < height(guess + 1):
            return guess
    return _largest(lambda amount: height(amount) <= limit, room + full)


def _limit(scales: Scales, band: Literal["basic_rate_band", "higher_rate_band"]) -> Pence:
    """The taxable income at which a band ends."""
    index = scales.last_basic_band if band == "basic_rate_band" else scales.lower.names.index("higher_rate")
    return scales.lower.limits[index]


def _target_of_other_income(person: Opened, band: Band) -> Pence | None:
    """The same where the tax follows from one sum, of other income and the withdrawal: no rules have to be asked. None where the
    band ends while the personal allowance is being withdrawn."""
    taxpayer, rules = person.year.taxpayer, person.year.rules
    blind = rules.blind_persons_allowance if taxpayer.blind else 0
    limit = 0 if band == "personal_allowance" else _limit(rules.scales, band)
    if limit + blind + rules.personal_allowance <= rules.taper_threshold:
        allowances = blind + rules.personal_allowance
    elif limit + blind >= rules.taper_threshold + 2 * rules.personal_allowance:
        allowances = blind
    else:
        return None
    return max(0, limit + allowances - taxpayer.other_income - taxpayer.property_income)


def draw_for(timeline: Timeline, person: Opened, taxable: Pence) -> Draw:
    """The draw whose taxable part is the given amount, or all there is: uncrystallised funds first where each withdrawal
    has its tax-free part, drawdown funds first otherwise."""
    if not taxable:
        return NO_DRAW
    most_drawdown, how = person.most_drawdown, timeline.household.lump_sums
    if how == "with_each_withdrawal":
        return _with_tax_free_part(timeline, person, taxable, person.most_uncrystallised, most_drawdown)
    if taxable <= most_drawdown:
        return Draw(0, taxable)
    more, most = taxable - most_drawdown, person.most_uncrystallised
    if how == "separately":
        return Draw(_with_tax_free_part(timeline, person, more, most, 0).uncrystallised, most_drawdown)
    return Draw(min(more, most), most_drawdown)


def draw_with_tax_free_part(timeline: Timeline, person: Opened, taxable: Pence, most: Pence) -> Draw:
    """The same with at most ``most`` from uncrystallised funds."""
    return _with_tax_free_part(timeline, person, taxable, most, person.most_drawdown)


def _with_tax_free_part(timeline: Timeline, person: Opened, taxable: Pence, most: Pence, most_drawdown: Pence) -> Draw:
    if most == 0:
        return Draw(0, min(taxable, most_drawdown))
    rate = timeline.periods[0].rules.lump_sums.tax_free_rate
    tax_free = person.left.tax_free
    gross = min(taxable * WHOLE // (WHOLE - rate), taxable + tax_free, most)
    rest = taxable - gross + min(gross * rate // WHOLE, tax_free)
    return Draw(gross, min(rest, most_drawdown) if rest > 0 else 0)


def with_spending_met(timeline: Timeline, position: int, people: tuple[Opened, ...], choice: Choice) -> Settled:
    """The period settled; where cash and ISAs do not cover the spending, more is drawn from the pensions, band by band."""
    day = last_day(timeline, position, people)
    aimed, left_over = after_tax(day, choice), None
    missing = aimed.left_over_if_all_grows
    if missing < 0:
        left_over = LeftOver(day)
    if left_over is None or not left_over.needs_no_more(aimed):
        found = funded(aimed)
        if found.left_over >= 0:
            return carried_out(found)
        aimed, missing = found.after_tax, found.left_over
    return _with_more_drawn(day, choice, aimed.taxable, left_over or LeftOver(day), missing)


def _with_more_drawn(
    day: LastDay, choice: Choice, first: Sequence[Pence], left_over: LeftOver, missing: Pence
) -> Settled:
    """The period settled with the least more drawn than a choice draws, of which ``first`` is taxable, so that nothing is
    ``missing`` (below nothing) any more."""
    timeline, position, people = day.timeline, day.position, day.people
    lower = first

    def drawing(taxable: Sequence[Pence]) -> AfterTax:
        draws = [
            draw_for(timeline, person, amount) if amount > start else draw
            for person, amount, start, draw in zip(people, taxable, first, choice.draws, strict=True)
        ]
        return after_tax(day, choice._replace(draws=tuple(draws)))

    for band in (*BANDS, None):
        upper = [
            max(start, _everything(person) if band is None else target(person, band))
            for start, person in zip(lower, people, strict=True)
        ]
        if upper == lower:
            continue
        rise = _Rise(lower, upper)
        guess = _guess(timeline, people, rise, missing)
        if guess is None:
            least, missing = _least_rise(rise, drawing, left_over, missing, -missing, timeline.household.minimum_cash)
        else:
            least, missing = _least_rise(rise, drawing, left_over, missing, guess, 0)
        if least is not None:
            return carried_out(funded(least))
        lower = upper
    period = timeline.periods[position]
    beside = _beside(timeline, position)
    locked = "".join(f" {sentence}" for sentence in _locked(timeline, position, people))
    raise RuleViolation(
        (
            Fault(
                ("household", "spending"),
                "spending-cannot-be-met",
                f"In {period.name}, {_to_be_paid(timeline.spending[position])} cannot be met{beside}. After all "
                f"{_OTHER * bool(timeline.household.minimum_cash)}cash, ISAs and permitted withdrawals, {pounds(-missing)} is "
                f"missing.{locked}",
            ),
        )
    )


_OTHER = "other "


def _beside(timeline: Timeline, position: int) -> str:
    """What else was asked for that stands in the way of spending."""
    household = timeline.household
    asked = [f"{pounds(household.minimum_cash)} kept in cash"] if household.minimum_cash else []
    caps = [pounds(cap) for member in household.people if (cap := member.cap_in(position)) is not None]
    own = sum(years[position].paid_in.own for years in timeline.people)
    asked += [f"{pounds(own)} paid into pensions"] if own else []
    asked += [f"withdrawals of at most {' and '.join(caps)} a tax year"] if caps else []
    return f" beside {' and '.join(asked)}" if asked else ""


def _locked(timeline: Timeline, position: int, people: Sequence[Opened]) -> Iterator[str]:
    """Whose pension cannot be drawn in a period yet, and from when it can."""
    rules, members = timeline.periods[position].rules, timeline.household.people
    for place, (person, member) in enumerate(zip(people, members, strict=True)):
        if not person.pension.uncrystallised + person.pension.drawdown:
            continue
        whose = "The pension" if len(members) == 1 else f"The pension of {inside(who(place, len(members)))}"
        if person.year.may_draw:
            if any(person.locked):
                ages = access(member, rules)
                day = min(ages[k][1] for k, pot in enumerate(person.year.pots) if not pot.may_withdraw)
                yield f"Part of {whose[0].lower()}{whose[1:]} cannot be drawn before {day_month_year(day)}."
            continue
        if person.year.may_withdraw and person.year.waits_until is not None:
            yield f"{whose} is not drawn before {waits_for(person.year.waits_until, rules)}."
            continue
        age, day = first_access(member, rules)
        yield f"{whose} cannot be drawn before {day_month_year(day)}, at age {age}."


def waits_for(day: date, rules: TaxYearRules) -> str:
    """The day before which no income is drawn for the sake of contributions, and why."""
    allowance = pounds(rules.money_purchase_annual_allowance)
    return (
        f"{day_month_year(day)}, because contributions of that tax year are above {allowance}. "
        "That is all that could be paid in without a charge once income is drawn"
    )


def _to_be_paid(spending: Pence) -> str:
    """What is left unpaid: the spending, or where there is none the tax on income that is not received as money here."""
    return f"the spending of {pounds(spending)}" if spending else "the income tax"


class _Rise:
    """A rise of everybody's taxable withdrawals from where they fall short to where a band ends, shared in proportion to what
    each can rise; pence."""

    def __init__(self, lower: Sequence[Pence], upper: Sequence[Pence]) -> None:
        self.lower, self.upper = lower, upper
        self.rises = [end - start for start, end in zip(lower, upper, strict=True)]
        self.whole = sum(self.rises)

    def by(self, extra: Pence) -> list[Pence]:
        """The withdrawals risen by so much in all, each up to the next penny."""
        return [start - (-rise * extra // self.whole) for start, rise in zip(self.lower, self.rises, strict=True)]


def _least_rise(
    rise: _Rise,
    drawing: Callable[[Sequence[Pence]], AfterTax],
    left_over: LeftOver,
    missing: Pence,
    guess: Pence,
    kept: Pence,
) -> tuple[AfterTax | None, Pence]:
    """The least rise that meets the spending, of which so much is ``missing`` before it; None where not even all of it does.
    And what the last rise that was tried leaves over."""
    tried: dict[Pence, AfterTax] = {}
    last = missing

    def rising(extra: Pence) -> Pence:
        nonlocal last
        tried[extra] = drawing(rise.by(extra))
        last = left_over.of(tried[extra])
        return last if last < 0 else last + kept

    least = least_near(rising, 0, (0, missing), rise.whole, guess)
    return (None if least is None else tried[least]), last


def _guess(timeline: Timeline, people: Sequence[Opened], rise: _Rise, missing: Pence) -> Pence | None:
    """About the least rise that meets the spending, where more drawn always leaves more, so that one amount is the least from
    wherever it is looked for: nobody's tax has a step up to the end of the band. It rises nearly evenly there. None elsewhere."""
    if timeline.household.claims_as_best:
        return None
    more_tax = 0
    for person, start, end in zip(people, rise.lower, rise.upper, strict=True):
        if end > start:
            before, after = person.taxed(start), person.taxed(end)
            if person.year.taxpayer.marriage_allowance != "none" or _may_have_steps(before, after):
                return None
            more_tax += after.total - before.total
    more_drawn = rise.whole
    if timeline.household.lump_sums in WITH_TAX_FREE_PART:
        more_drawn = more_drawn * WHOLE // (WHOLE - timeline.periods[0].rules.lump_sums.tax_free_rate)
    return missing * rise.whole // (more_tax - more_drawn) if more_tax < more_drawn else None


def _may_have_steps(before: Liability, after: Liability) -> bool:
    """Whether the tax may have steps between two withdrawals: where a relief is lost, or the personal allowance is withdrawn or
    child benefit charged, both of which go in stairs."""
    return (
        after.personal_allowance != before.personal_allowance
        or after.child_benefit_charge != before.child_benefit_charge
        or bool(reliefs_lost(before, after))
    )


def _everything(person: Opened) -> Pence:
    """The taxable part of all that may be drawn, at the least; a bound is enough."""
    return person.most_uncrystallised + person.most_drawdown


def _gross_draw(timeline: Timeline, person: Opened, gross: Pence) -> Draw:
    """A draw of a gross amount from the funds that a plan draws on first."""
    if timeline.household.lump_sums == "with_each_withdrawal":
        uncrystallised = min(gross, person.most_uncrystallised)
        return Draw(uncrystallised, min(gross - uncrystallised, person.most_drawdown))
    drawdown = min(gross, person.most_drawdown)
    return Draw(min(gross - drawdown, person.most_uncrystallised), drawdown)


def _taxed(person: Opened) -> TaxpayerYear:
    """The person's tax year with the interest of the period."""
    return person.year.taxpayer_year(person.interest)


def _most_without_tax(person: Opened) -> Pence:
    """The most that can be withdrawn before any of it adds tax: the end of the tax curve's first flat run."""
    year = _taxed(person)
    taxpayer = year.taxpayer
    bears_its_own_tax = taxpayer.marriage_allowance == "none" and not year.treated_as_deducted
    if bears_its_own_tax and taxpayer.other_income >= allowances(year, taxpayer.income):
        # However the allowances are set off, some of the other income is taxed once there is a penny more of it.
        return 0
    start = person.taxed(0)
    ends = [start.allowances - start.net_income]
    if taxpayer.marriage_allowance == "none" and taxpayer.dividends <= person.year.rules.scales.dividend_allowance:
        # All of the allowances may be for other income, where savings and dividends bear nil rates. More income never bears less
        # tax here, as it may where a marriage allowance can no longer be given, so both ends say what lies between.
        ends.append(start.allowances - taxpayer.other_income - taxpayer.property_income)
    for end in sorted({max(0, end) for end in ends}, reverse=True):
        if person.taxed(end).total == start.total and person.taxed(end + 1).income_tax > start.income_tax:
            return end
    reach = start.allowances + year.scales.starting_rate_limit + year.scales.savings_allowances[0]
    most = 0
    function = TaxFunction(year)
    for piece in pieces_to(function, reach):
        if piece.tax_end > piece.tax_start:
            break
        most = piece.end
    person.year.asked_besides(function.evaluations)
    return most


def _largest(within: Callable[[Pence], bool], guess: Pence) -> Pence:
    """The largest amount that is still within, from a guess that is nearly always it; ``within`` holds at nothing."""
    low = max(0, guess)
    if within(low):
        step = 1
        while within(low + step):
            low, step = low + step, step * 2
        return first_where(lambda amount: not within(amount), low, low + step) - 1
    return first_where(lambda amount: not within(amount), 0, low) - 1
