"""Why a plan draws what it draws and pays in what it pays in: for each person and tax year, a few codes with a sentence.

Nothing here decides. Each reason is read off the settled year and the tax around its withdrawal, whoever chose it, and is given
only where it holds there: a plan is said to stop where the tax rises only if the next 100 pounds are taxed more than the last.
So the reasons of a plain plan and of one that was searched for are found in the same way.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from functools import partial
from math import prod
from typing import NamedTuple

from service.figures import tax_years
from service.law.dates import day_month_year
from service.law.income_tax import Liability
from service.law.lump_sums import quarter
from service.law.units import POUND, WHOLE, BasisPoints, Pence, Years
from service.planning.curve.reasons import reasons as rules_at_work
from service.planning.curve.steps import NEAR, Step, step_above
from service.planning.household import Assumptions, YearlyRate
from service.planning.once import Once
from service.planning.projection.policies import target, waits_for
from service.planning.projection.pots import access, next_pound
from service.planning.projection.settlement import WITH_TAX_FREE_PART, Opened, PersonRecord
from service.planning.schedule.chosen_claims import chosen_claim
from service.planning.schedule.schedule import Schedule, SchedulePerson, ScheduleYear
from service.planning.schedule.step_margin import MOST_GIVEN_UP
from service.planning.wording import inside, rounded_pounds, who

_PART: Pence = 100 * POUND
"""What is asked of the tax on either side of a withdrawal: the last and the next 100 pounds."""

_SAME: Pence = 50
"""Within so much two uses of 100 pounds come to the same by the end: our choice."""

_RISES: Pence = POUND
"""By so much at least the tax on 100 pounds has to rise for a plan to be said to stop there: our choice."""

_BANDS = {
    "basic_rate": "basic rate",
    "intermediate_rate": "intermediate rate",
    "higher_rate": "higher rate",
    "advanced_rate": "advanced rate",
    "additional_rate": "additional rate",
    "top_rate": "top rate",
}

_BAND_GOALS = {
    "personal_allowance": "the personal allowance",
    "basic_rate_band": "the basic rate band",
    "higher_rate_band": "the higher rate band",
}

_LOST = {
    "personal_savings_allowance": "part of the savings allowance",
    "marriage_allowance": "the marriage allowance",
}


_EITHER_WAY = "same_either_way"
_AS_BEFORE = "As in the year before, drawing £100 or leaving it comes to much the same."


class Reason(NamedTuple):
    """A reason: a code of an open list, and the sentences that a client may read."""

    code: str
    detail: str


class _Case(NamedTuple):
    """One person's year of a plan, with what stands around it."""

    result: Schedule
    position: int
    place: int
    everybodys: tuple[Once[_Uses], ...] = ()

    @property
    def year(self) -> ScheduleYear:
        return self.result.years[self.position]

    @property
    def person(self) -> SchedulePerson:
        return self.year.people[self.place]

    @property
    def record(self) -> PersonRecord:
        return self.person.record

    @property
    def of_two(self) -> bool:
        return len(self.year.people) > 1

    @property
    def cap(self) -> Pence | None:
        """The most that the person wants drawn in a tax year."""
        return self.result.question.household.people[self.place].cap_in(self.position)

    @property
    def spare_cash(self) -> Pence:
        """The household's cash at the end of the year beyond the minimum that is kept."""
        return max(0, self.year.household.in_cash - self.result.question.household.minimum_cash)

    def at(self, position: int) -> _Case:
        """The same person in another year."""
        return self._replace(position=position)

    def tax(self, taxable: Pence) -> Liability:
        """The year's tax with another taxable withdrawal, the marriage allowance as it was settled."""
        record = self.record
        opened, chosen = record.opened, record.chosen_claim
        if opened.taxed(record.taxable, chosen) == record.liability:
            return opened.taxed(taxable, chosen)
        return opened.taxed(taxable, "none")

    def tax_between(self, low: Pence, high: Pence) -> Pence:
        """The tax that is added from one taxable withdrawal to another."""
        return self.tax(high).total - self.tax(low).total

    @property
    def last_part(self) -> Pence:
        """The tax on the last 100 pounds of the taxable withdrawal; where it is smaller, 100 pounds at its average rate. Its last
        pound is left out, since a plan may go pennies beyond the point where it stops."""
        taxable = self.record.taxable
        end = taxable - POUND if taxable > _PART + POUND else taxable
        part = min(end, _PART)
        return self.tax_between(end - part, end) * _PART // part if part else 0

    @property
    def step(self) -> Step | None:
        """A step of the tax just above the withdrawal."""
        return step_above(self.tax, self.record.taxable) if self.record.taxable else None


def reasons(result: Schedule) -> tuple[tuple[tuple[Reason, ...], ...], ...]:
    """For each tax year and person of a plan, why it does what it does, the withdrawal first."""
    people = range(len(result.question.household.people))
    everybodys = tuple(Once(partial(_uses, result, place)) for place in people)
    told: list[tuple[tuple[Reason, ...], ...]] = []
    for position in range(len(result.years)):
        found = [tuple(_because(_Case(result, position, place, everybodys))) for place in people]
        before = told[-1] if told else [()] * len(found)
        told.append(tuple(_told_once(*pair) for pair in zip(found, before, strict=True)))
    return tuple(told)


def _told_once(found: tuple[Reason, ...], before: tuple[Reason, ...]) -> tuple[Reason, ...]:
    """Reasons with that of the year before not told again in full, where it says no more than that it is all the same."""
    again = any(reason.code == _EITHER_WAY for reason in before)
    return tuple(
        Reason(_EITHER_WAY, _AS_BEFORE) if again and reason.code == _EITHER_WAY else reason for reason in found
    )


def _because(case: _Case) -> Iterator[Reason]:
    yield from _lump_sum(case)
    yield from _small_pots(case)
    if case.record.gross - case.person.lump_sum:
        yield from _of_a_withdrawal(case)
    elif case.cap == 0:
        yield Reason("reaches_the_cap", "You want nothing drawn from this pension.")
    else:
        yield from _of_none(case)
    yield from _of_the_isa(case)
    yield from _of_the_marriage_allowance(case)


# The withdrawal


def _lump_sum(case: _Case) -> Iterator[Reason]:
    if case.person.lump_sum:
        yield Reason(
            "takes_all_tax_free_cash",
            f"All tax-free cash is taken at the first chance, {rounded_pounds(case.person.lump_sum)}. Three times as much moves "
            "to drawdown, where later withdrawals are taxed in full.",
        )


def _small_pots(case: _Case) -> Iterator[Reason]:
    chosen = case.result.small_pots
    left_open = {(pot.person, pot.place) for pot in chosen.pots} if chosen else set()
    for pot in case.record.opened.year.small_pots:
        if not pot.gross:
            continue
        if (case.place, pot.place) not in left_open:
            why = "You asked for this tax year."
        elif chosen is not None and chosen.is_best:
            why = "Of all possible tax years, the plan chose this one."
        else:
            why = "This is the first possible tax year."
        yield Reason(
            "takes_a_small_pot",
            f"A small pot of {rounded_pounds(pot.gross)} is taken whole. {why} {rounded_pounds(pot.tax_free)} is tax free and "
            f"uses no lump sum allowance. {rounded_pounds(pot.taxable)} is taxable income.",
        )


def _of_a_withdrawal(case: _Case) -> Iterator[Reason]:
    gross = rounded_pounds(case.record.gross - case.person.lump_sum)
    found = False
    if _used_up(case):
        found = True
        yield Reason("uses_up_the_pension", f"{gross} is all that is left, so this uses up the pension.")
    elif _uses_up_what_is_unlocked(case):
        found = True
        age, day = _unlocked_from(case)
        yield Reason(
            "uses_up_what_is_unlocked",
            f"{gross} is all that may be drawn yet. The rest can be drawn from {day_month_year(day)} at the earliest, at {age}.",
        )
    if _needed_for_spending(case):
        found = True
        yield Reason(
            "draws_for_spending",
            f"Spending of {rounded_pounds(case.year.spending)} takes all income, cash and ISAs of the year"
            f"{_but_the_minimum(case)}. {gross} is drawn {'towards' if case.of_two else 'to pay'} the rest.",
        )
    capped = case.cap == case.record.gross - case.person.lump_sum
    if capped:
        found = True
        yield Reason("reaches_the_cap", f"{gross} is the most that you want drawn in a tax year.")
    if not _used_up(case) and not _uses_up_what_is_unlocked(case) and not capped:
        stop = _stops(case)
        if stop is not None:
            found = True
            yield stop
    step = case.step
    if step is not None:
        found = True
        yield _below_a_step(case, step)
    if not found and _fits_the_isa_allowance(case):
        found = True
        yield Reason(
            "fits_the_isa_allowance",
            f"{gross} is drawn, as much as this year's ISA allowance can take after tax. More would be held as cash.",
        )
    if not found:
        yield _against_later(case)


def _but_the_minimum(case: _Case) -> str:
    kept = case.result.question.household.minimum_cash
    return f", but for {rounded_pounds(kept)} that you keep in cash" if kept else ""


def _used_up(case: _Case) -> bool:
    after = case.record.after.pension
    return after.uncrystallised + after.drawdown < POUND


def _uses_up_what_is_unlocked(case: _Case) -> bool:
    opened, after = case.record.opened, case.record.after.pension
    return any(opened.locked) and (after.uncrystallised, after.drawdown) == opened.locked


def _needed_for_spending(case: _Case) -> bool:
    """Whether nothing but pensions is left, so that with less drawn the spending could not be paid."""
    return case.year.spending > 0 and case.year.household.in_isas + case.spare_cash < POUND


def _fits_the_isa_allowance(case: _Case) -> bool:
    return all(one.isa_unused == 0 for one in case.year.people) and case.spare_cash < POUND


def _stops(case: _Case) -> Reason | None:
    """Where the tax rises right above the withdrawal."""
    taxable = case.record.taxable
    # Pounds are left where a withdrawal is whole, and more just below a step.
    start = taxable + POUND + (NEAR if case.step is not None else 0)
    here, first, then = case.tax(taxable), case.tax(start), case.tax(start + _PART)
    last, following = case.last_part, then.total - first.total
    if following - last < _RISES:
        return None
    rises = f"The next £100 of taxable income would bring {rounded_pounds(following)} of tax"
    last_bore = f"The last £100 brought {rounded_pounds(last)}." if last else "The last £100 brought none."
    if taxable and here.total == case.tax(0).total:
        used = case.person.personal_allowance_used
        blind = case.record.opened.year.taxpayer.blind
        allowances = "personal and blind person's allowances" if blind else "personal allowance"
        if here.allowances - here.net_income < POUND:
            return Reason(
                "fills_personal_allowance",
                f"With this withdrawal, taxable income uses all of the {allowances} of {rounded_pounds(used)}. {rises}.",
            )
        return Reason("adds_no_tax", f"This is the most that adds no tax this year. {rises}.")
    year = case.record.opened.year.taxpayer_year(case.record.opened.interest, case.record.chosen_claim)
    threshold = year.rules.taper_threshold
    below = case.tax(max(0, taxable - POUND - _PART)), case.tax(max(0, taxable - POUND))
    tapers = then.personal_allowance < first.personal_allowance
    if tapers and below[0].personal_allowance == below[1].personal_allowance:
        return Reason(
            "stops_where_the_personal_allowance_falls",
            f"Above {rounded_pounds(threshold)} of income, the personal allowance is reduced. {rises}. {last_bore}",
        )
    if then.child_benefit_charge > 0 and here.child_benefit_charge == 0:
        return Reason(
            "stops_at_the_child_benefit_charge",
            f"Any more income would start the child benefit charge. {rises}. {last_bore}",
        )
    new = [rule for rule in rules_at_work(first, then, year, tapers) if rule not in rules_at_work(*below, year, tapers)]
    for band, words in _BANDS.items():
        if band in new:
            return Reason(f"stops_at_{band}", f"The withdrawal stops where the {words} begins. {rises}. {last_bore}")
    if then.dividend_tax - first.dividend_tax > below[1].dividend_tax - below[0].dividend_tax:
        return Reason(
            "stops_where_dividends_are_taxed_more",
            f"More withdrawals would use allowances or lower bands that dividends use now. {rises}. {last_bore}",
        )
    if then.savings_tax - first.savings_tax > below[1].savings_tax - below[0].savings_tax:
        return Reason(
            "stops_where_interest_is_taxed_more",
            f"More withdrawals would use allowances or lower rates that interest uses now. {rises}. {last_bore}",
        )
    if year.scales.property is not None and year.taxpayer.property_income and then.other_to > then.fixed_to:
        return Reason(
            "stops_where_rent_is_taxed_more",
            f"More withdrawals would use allowances or lower bands that rent uses now. {rises}. {last_bore}",
        )
    return Reason("stops_where_tax_rises", f"The withdrawal stops where tax rises. {rises}. {last_bore}")


def _below_a_step(case: _Case, step: Step) -> Reason:
    lost = " and ".join(_LOST[relief] for relief in step.lost)
    near = f"ends only {rounded_pounds(step.room)} below"
    if step.room >= NEAR:
        near = f"stays {rounded_pounds(step.room)} below"
    elif step.room < POUND:
        near = "ends right at"
    proof = case.result.proof
    kept = ""
    if proof is not None and proof.at_a_step and step.room < NEAR:
        kept = (
            f" Staying {rounded_pounds(NEAR)} below it would cost more than {rounded_pounds(MOST_GIVEN_UP)} by the end."
        )
    return Reason(
        "stays_below_a_tax_step" if step.room >= NEAR else "just_below_a_tax_step",
        f"Income {near} the point at which {lost} is lost. Passing it would bring {rounded_pounds(step.tax)} of tax at "
        f"once.{kept}",
    )


# No withdrawal


def _of_none(case: _Case) -> Iterator[Reason]:
    record = case.record
    opened = record.opened
    held = opened.pension.uncrystallised + opened.pension.drawdown
    if held < POUND:
        first = case.at(0).record.opened.before.pension
        if case.position and first.uncrystallised + first.drawdown >= POUND:
            yield Reason("pension_used_up", "Nothing is left in the pension.")
    elif not opened.year.may_withdraw or _all_locked(opened):
        age, day = _unlocked_from(case)
        yield Reason(
            "pension_locked",
            f"Nothing can be drawn before {day_month_year(day)}, when the minimum pension age of {age} is reached.",
        )
    elif opened.year.waits_until is not None:
        until = waits_for(opened.year.waits_until, case.year.period.rules)
        yield Reason("waits_for_contributions", f"No income is drawn before {until}.")
    elif not opened.most_uncrystallised and not opened.most_drawdown:
        yield Reason(
            "lifetime_allowance_used", "Nothing is drawn, because more would bring a lifetime allowance charge."
        )
    elif case.person.lump_sum:
        return
    elif case.result.question.band is not None:
        yield from _band_already_filled(case)
    else:
        yield _against_later(case)


def _all_locked(opened: Opened) -> bool:
    """Whether nothing is left in the pensions that may be drawn, and something in others."""
    return any(opened.locked) and opened.pension.holding(*opened.locked) == opened.pension


def _unlocked_from(case: _Case) -> tuple[Years, date]:
    """The age and the day from which the next of the pensions may be drawn that may not be drawn yet."""
    ages = access(case.result.question.household.people[case.place], case.year.period.rules)
    pots = case.record.opened.year.pots
    return min(
        (both for both, pot in zip(ages, pots, strict=True) if not pot.may_withdraw) if pots else ages,
        key=lambda both: both[1],
    )


def _band_already_filled(case: _Case) -> Iterator[Reason]:
    band = case.result.question.band
    if band is None or target(case.record.opened, band):
        return
    yield Reason(
        "other_income_fills_the_band",
        f"Other income of {rounded_pounds(case.record.liability.net_income)} already uses {_BAND_GOALS[band]}, so nothing is "
        "drawn.",
    )


# One year against another


class _Use(NamedTuple):
    """What 100 pounds of a pension come to at the end of a plan, by what is done with them; pence. ``pension_factor`` is what a
    pound left in the pension grows to from this year to the end, ``year_factor`` over this year alone. ``drawn_next`` and
    ``drawn_last`` are the next 100 pounds drawn in this year and the last of those that are drawn, after tax and with what they
    earn outside the pension."""

    pension_factor: float
    year_factor: float
    drawn_next: float
    drawn_last: float | None


class _Uses(NamedTuple):
    """The uses of 100 pounds of one person's pension by tax year, and what 100 pounds left on the last day come to, pence: the
    next that were left, and the last of those that are."""

    years: tuple[_Use, ...]
    left_next: Pence
    left_last: Pence

    def next_to_the_end(self, position: int) -> float:
        """What 100 pounds more come to that were left from a year to the end."""
        return self.years[position].pension_factor * self.left_next

    def last_to_the_end(self, position: int) -> float:
        """What the last 100 pounds come to that are left from a year to the end."""
        return self.years[position].pension_factor * self.left_last

    def grown(self, position: int, later: int) -> float:
        """What a pound left in the pension grows to from one year to another."""
        return prod([year.year_factor for year in self.years[position + 1 : later + 1]])


def _uses(result: Schedule, place: int) -> _Uses:
    """What 100 pounds come to, by the year in which they are drawn."""
    assumed = result.question.household.assumptions
    pension_factor = 1.0
    # A pound in an ISA, and one held as cash until the next year's last day and then used as best it can be.
    isa_factor = waiting = _worth_outside(result, place)
    uses: list[_Use] = []
    for position in reversed(range(len(result.years))):
        case = _Case(result, position, place)
        in_isa = any(one.isa_unused > 0 for one in case.year.people)
        kept = max(isa_factor, waiting) if in_isa else waiting
        taxed = _PART * _taxed_share(case) // WHOLE
        taxable = case.record.taxable
        drawn_last = None
        if taxable >= taxed:
            drawn_last = (_PART - case.tax_between(taxable - taxed, taxable)) * kept
        period = case.year.period
        year_factor = period.factor(_growth_of_next_pound(case, assumed))
        drawn_next = (_PART - case.tax_between(taxable, taxable + taxed)) * kept
        uses.append(_Use(pension_factor, year_factor, drawn_next, drawn_last))
        pension_factor *= year_factor
        isa_factor *= period.factor(assumed.isa_growth)
        waiting = kept * period.factor(assumed.cash_interest)
    return _Uses(
        tuple(reversed(uses)), _left_at_the_end(result, place, _PART), -_left_at_the_end(result, place, -_PART)
    )


def _growth_of_next_pound(case: _Case, assumed: Assumptions) -> YearlyRate:
    """The growth over a year of a pound that was left in the pension in the year before; of several pots, in the one that it
    would have come from."""
    held = case.record.opened.before.pots
    if not held:
        return assumed.growth_of(case.place)
    years = case.result.timeline.people[case.place]
    return assumed.growths_of(case.place, len(held))[next_pound(years[max(0, case.position - 1)], held)]


def _taxed_share(case: _Case) -> BasisPoints:
    """What part of another withdrawal would be taxed, basis points. Where the allowance for tax-free money runs short before the
    end, what is tax free now is not later, so all of it counts as taxed."""
    household, record = case.result.question.household, case.record
    uncrystallised = record.after.pension.uncrystallised or case.person.withdrawal.from_uncrystallised
    if household.lump_sums not in WITH_TAX_FREE_PART or not uncrystallised or not record.tax_free_left:
        return WHOLE
    rules = case.year.period.rules.lump_sums
    end = case.at(len(case.result.years) - 1).record
    if end.tax_free_left < quarter(end.after.pension.uncrystallised, rules) or not end.tax_free_left:
        return WHOLE
    return WHOLE - rules.tax_free_rate


def _left_at_the_end(result: Schedule, place: int, more: Pence) -> Pence:
    """What so much more in a pension on the last day comes to after the tax assumed on it; ``more`` may be below nothing."""
    holdings = result.projection.years[-1].holdings
    pension = holdings[place].pension
    if pension.drawdown and not pension.uncrystallised:
        other = pension.holding(0, max(0, pension.drawdown + more))
    else:
        other = pension.holding(max(0, pension.uncrystallised + more), pension.drawdown)
    changed = [*holdings]
    changed[place] = holdings[place]._replace(pension=other)
    return result.worth(changed) - result.worth(holdings)


def _worth_outside(result: Schedule, place: int) -> float:
    """What a pound more in an ISA on the last day is worth by the aim: to beneficiaries less than a pound where it is taxed."""
    holdings = result.projection.years[-1].holdings
    changed = [*holdings]
    changed[place] = holdings[place]._replace(isa=holdings[place].isa + _PART)
    return (result.worth(changed) - result.worth(holdings)) / _PART


def _against_later(case: _Case) -> Reason:
    """Why this is drawn now already, or why no more is: 100 pounds now against the same 100 pounds later."""
    return (
        _drawn_ahead(case)
        or _drawn_now(case)
        or _left_for_later(case)
        or Reason(
            "found_by_search",
            f"{'No single limit sets this amount. It' if case.record.taxable else 'Nothing is drawn this year. That'} comes from "
            "searching all tax years of the plan together.",
        )
    )


def _needed_next(case: _Case) -> int | None:
    """The next year in which nothing but pensions is left: what is drawn until then is needed by then."""
    later = range(case.position + 1, len(case.result.years))
    return next((position for position in later if _needed_for_spending(case.at(position))), None)


def _drawn_ahead(case: _Case) -> Reason | None:
    """A withdrawal for spending of a later year, in which more would be taxed at a higher rate."""
    needed = _needed_next(case)
    if needed is None or not case.record.taxable:
        return None
    then = case.at(needed)
    taxable = then.record.taxable + POUND
    tax_then = then.tax_between(taxable, taxable + _PART)
    if tax_then - case.last_part < _RISES:
        return None
    return Reason(
        "drawn_ahead_of_spending",
        f"The spending of {then.year.period.name} will take all cash and ISAs. {_tax_now(case.last_part)}, and another £100 then "
        f"would bring {rounded_pounds(tax_then)}.",
    )


def _tax_now(tax: Pence) -> str:
    return f"The last £100 of taxable income brings {rounded_pounds(tax) if tax else 'no tax'} now"


def _drawn_now(case: _Case) -> Reason | None:
    """A withdrawal that comes to more, by the end, than the same left for later."""
    uses = case.everybodys[case.place]()
    drawn = uses.years[case.position].drawn_last
    if drawn is None or not case.record.taxable:
        return None
    needed = _needed_next(case)
    last = len(uses.years) if needed is None else needed + 1
    instead = [(uses.next_to_the_end(case.position), "")] if needed is None else []
    for position in range(case.position + 1, last):
        grown = uses.grown(case.position, position)
        instead.append((grown * uses.years[position].drawn_next, case.at(position).year.period.name))
    most, year = _most(instead)
    if drawn < most - _SAME:
        return None
    now = f"The last £100 drawn comes to {_in_pounds(drawn)} {_by_the_end(case)}"
    if drawn <= most + _SAME:
        return Reason(_EITHER_WAY, f"{now}. {_instead(case, year)}, it would come to much the same.")
    return Reason("drawn_now_comes_to_more", f"{now}. {_instead(case, year)}, it would come to {_in_pounds(most)}.")


def _left_for_later(case: _Case) -> Reason | None:
    """What is not drawn, and comes to more by the end than if it were."""
    uses = case.everybodys[case.place]()
    own = uses.years[case.position]
    instead = [(uses.last_to_the_end(case.position), "")] if _is_left(case) else []
    for position in range(case.position + 1, len(uses.years)):
        drawn = uses.years[position].drawn_last
        if drawn is not None and case.at(position).record.taxable:
            instead.append((uses.grown(case.position, position) * drawn, case.at(position).year.period.name))
    if not instead:
        return None
    most, year = _most(instead)
    if most < own.drawn_next - _SAME:
        return None
    now = f"£100 more drawn now would come to {_in_pounds(own.drawn_next)} {_by_the_end(case)}"
    if most <= own.drawn_next + _SAME:
        return Reason(_EITHER_WAY, f"{now}. {_instead(case, year)}, it comes to much the same.")
    code = "left_for_later" if year else "left_in_the_pension"
    return Reason(code, f"{now}. {_instead(case, year)}, it comes to {_in_pounds(most)}.")


def _most(uses: Sequence[tuple[float, str]]) -> tuple[float, str]:
    """The use that comes to most, and of those that come to the same the first."""
    most = max(amount for amount, _ in uses)
    return next((amount, year) for amount, year in uses if amount > most - 1)


def _is_left(case: _Case) -> bool:
    """Whether something stays in the pension to the end."""
    return case.at(len(case.result.years) - 1).person.pension.closing > 0


def _instead(case: _Case, year: str) -> str:
    if year:
        return f"Drawn in {year} instead"
    ahead = "" if case.result.question.is_for_beneficiaries else ", with the tax assumed at the end"
    return f"Left in the pension{ahead}"


def _by_the_end(case: _Case) -> str:
    """For whom and when an amount is worked out."""
    grown = "with growth " if case.position + 1 < len(case.result.years) else ""
    if case.result.question.is_for_beneficiaries:
        return f"for beneficiaries {grown}by the end of the plan, after all taxes"
    return f"{grown}by the end of the plan, after tax"


def _in_pounds(amount: float) -> str:
    return rounded_pounds(round(amount))


# The ISA


def _of_the_isa(case: _Case) -> Iterator[Reason]:
    record, years = case.record, case.result.years
    if record.from_isa >= POUND:
        taken = f"{rounded_pounds(record.from_isa)} is taken from ISAs"
        if case.spare_cash >= record.from_isa:
            # Cash would have covered it: it earns as much or more, so the money waits there.
            yield Reason("isa_pays_for_spending", f"{taken} and not needed for spending yet: it is kept as cash.")
        else:
            yield Reason("isa_pays_for_spending", f"{taken} for spending, after cash.")
    if record.subscribed and not case.person.isa_unused:
        yield Reason(
            "uses_the_isa_allowance",
            f"{rounded_pounds(record.subscribed)} is paid into ISAs. This uses the ISA allowance of {case.year.period.name}.",
        )
    waits = min(record.after.cash, case.spare_cash) >= POUND and not any(one.isa_unused for one in case.year.people)
    if waits and case.position + 1 < len(years) and years[case.position + 1].household.isa_subscriptions:
        next_day = tax_years.first_day(tax_years.following(case.year.period.name))
        yield Reason(
            "waits_for_the_isa_allowance",
            f"{rounded_pounds(record.after.cash)} stays in cash. A new ISA allowance starts on {day_month_year(next_day)}.",
        )


# The marriage allowance


def _of_the_marriage_allowance(case: _Case) -> Iterator[Reason]:
    """Why whoever gives the marriage allowance does so, where the plan chose it."""
    claim = chosen_claim(case.year)
    if claim is None or claim.giver != case.place:
        return
    people = case.result.question.household.people
    giver, receiver = (inside(who(place, len(people), people[place].name)) for place in (claim.giver, claim.receiver))
    added = f" It adds {rounded_pounds(claim.added)} to the tax of {giver}." if claim.added else ""
    yield Reason(
        "gives_marriage_allowance",
        f"{rounded_pounds(claim.given)} of this personal allowance is given to {receiver}. That takes "
        f"{rounded_pounds(claim.taken_off)} off the tax of {receiver}.{added}",
    )
