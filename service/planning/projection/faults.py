"""What in a household over years cannot be."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from datetime import date

from service.figures import tax_years
from service.law import annual_allowance
from service.law.dates import day_month_year
from service.law.rulebook import RuleBook
from service.law.units import Pence, Years
from service.planning.faults import Fault, no_such_allowance_yet
from service.planning.household import AS_BEST, PEOPLE, Assumptions, Household, LumpSums, Member
from service.planning.incomes import record_faults, spending_faults
from service.planning.marriage_claims import chosen_by_both
from service.planning.projection.small_pots import (
    first_access_to,
    is_personal,
    most_small_pots,
    open_small_pots,
    room_for,
)
from service.planning.projection.timeline import (
    MOST_TAX_YEARS,
    Period,
    PersonPeriod,
    Timeline,
    money_purchase_saving,
)
from service.planning.wording import pounds


def household_faults(
    household: Household, book: RuleBook, end_path: tuple[str, ...] = ("end_date",)
) -> Iterator[Fault]:
    """Everything in a household that cannot be, in the request's order; ``end_path`` is where its last day comes from."""
    start, end = household.start, household.end
    first = book.years.get(tax_years.of(start))
    if first is None:
        known = list(book.years)
        yield Fault(
            ("start_date",),
            "no-figures",
            f"`start_date`, {start.isoformat()}, is in {tax_years.of(start)}, for which there are no figures. A plan can start "
            f"in tax years from {known[0]} to {known[-1]}.",
        )
    if end < start:
        yield Fault(
            end_path,
            "end-before-start",
            f"The last day, {end.isoformat()}, is before `start_date`, {start.isoformat()}.",
        )
    elif (count := tax_years.between(tax_years.of(start), tax_years.of(end)) + 1) > MOST_TAX_YEARS:
        yield Fault(
            end_path,
            "plan-too-long",
            f"The plan touches {count} tax years; at most {MOST_TAX_YEARS} can be planned.",
        )
    for i, member in enumerate(household.people):
        path = (*PEOPLE, i)
        if member.date_of_birth > start:
            yield Fault(
                (*path, "date_of_birth"),
                "not-yet-born",
                f"`date_of_birth`, {member.date_of_birth.isoformat()}, is after `start_date`, {start.isoformat()}.",
            )
        yield from record_faults(member, path, book.state_pension_ages)
        if not member.already.is_nothing and first is not None and start == first.figures.start:
            yield Fault(
                (*path, "already_this_tax_year"),
                "nothing-before-start",
                f"`start_date`, {start.isoformat()}, is the first day of the tax year, so nothing was had in it before. "
                "Leave `already_this_tax_year` out, or give the day from which on the balances are.",
            )
        if first is not None:
            yield from no_such_allowance_yet(member.pension, first, path, ", where the plan starts")
    yield from chosen_by_both(household.people)
    yield from spending_faults(household.spending, ("household", "spending"))


def contribution_faults(years: Timeline) -> Iterator[Fault]:
    """Contributions that a plan pays in, and that an annual allowance charge would be due on: a plan does not work that out."""
    for i, (member, own) in enumerate(zip(years.household.people, years.people, strict=True)):
        if not member.pays_in:
            continue
        for period, year in zip(years.periods, own, strict=True):
            found = _above_allowance(member, period, year)
            if found is not None:
                yield Fault((*PEOPLE, i, "contributions"), "contributions-above-allowance", found)
                break


def _above_allowance(member: Member, period: Period, year: PersonPeriod) -> str | None:
    """What is said where contributions of a tax year are above an allowance."""
    figures = period.rules.figures
    saved = sum(one.between(figures.start, figures.end) for one in member.contributions)
    # Employers' contributions add to adjusted income, and those by net pay, which income is without (s.228ZA(4)).
    added = sum(
        one.between(figures.start, figures.end)
        for one in member.contributions
        if one.payer == "employer" or one.relief == "net_pay"
    )
    income = year.taxpayer.income
    allowance = annual_allowance.tapered(
        figures.money("pension.annual_allowance"),
        figures.money("pension.annual_allowance_tapered_minimum"),
        figures.money("pension.annual_allowance_threshold_income"),
        figures.money("pension.annual_allowance_adjusted_income"),
        max(0, income - year.taxpayer.relief_at_source),
        income + added,
    )
    if period.position == 0:
        allowance += member.carry_forward
    which = "annual allowance"
    if member.pension.flexibly_accessed and saved <= allowance:
        saved, which = money_purchase_saving(member, period), "money purchase annual allowance"
        allowance = period.rules.money_purchase_annual_allowance
    if saved <= allowance:
        return None
    return (
        f"In {period.name}, contributions of {pounds(saved)} are above the {which} of {pounds(allowance)}. A plan does not work "
        "out the charge on them. Give smaller contributions, or leave out `pension`, so that they count for tax alone."
    )


def small_pots_asked(household: Household) -> Iterator[Fault]:
    """Small pots that cannot be whenever they are taken: with drawdown funds, with contributions, or left open where all tax-free
    cash is taken at once."""
    for i, member in enumerate(household.people):
        paid_into = {one.pension for one in member.contributions}
        asked = [(pot.place, pot.pension) for pot in member.small_pots]
        asked += [(place, member.pensions[place]) for place in member.open_small_pots]
        for place, pension in asked:
            path = _small_pot_in(i, place)
            if pension.drawdown:
                yield Fault(
                    path,
                    "small-pot-in-drawdown",
                    "A plan takes a small pot only from a pension with nothing in drawdown. This one holds "
                    f"{pounds(pension.drawdown)} in drawdown. Leave `small_pot_in` out.",
                )
            if place in paid_into:
                yield Fault(
                    path,
                    "small-pot-paid-into",
                    "Contributions go into this pension. A plan takes a small pot only from one into which nothing is paid. "
                    "Leave `small_pot_in` out, or the contribution's `pension`.",
                )
            if household.lump_sums == "all_now" and place in member.open_small_pots:
                yield Fault(
                    path,
                    "small-pot-left-open-with-all-now",
                    "With `all_now`, all tax-free cash is taken on one day. A small pot is no part of it, so a plan does not "
                    "choose when it is taken. Give a tax year, or another of `lump_sums`.",
                )


def _small_pot_in(person: int, place: int) -> tuple[str | int, ...]:
    """Where a request says when a pension is taken as a small pot."""
    return (*PEOPLE, person, "pensions", place, "small_pot_in")


def small_pot_faults(years: Timeline) -> Iterator[Fault]:
    """Small pots that cannot be taken in the tax year asked for (SI 2009/1171 regs 11, 11A and 12; Finance Act 2004 s.165)."""
    for i, member in enumerate(years.household.people):
        of_a_lifetime = member.small_pots_taken or 0
        for k, pot in enumerate(member.small_pots):
            path = _small_pot_in(i, pot.place)
            period = next((one for one in years.periods if one.name == pot.tax_year), None)
            if period is None:
                yield Fault(
                    path,
                    "small-pot-outside-the-plan",
                    f"{pot.tax_year} is not in the plan. Give a tax year from {years.periods[0].name} to "
                    f"{years.periods[-1].name}, or `{AS_BEST}`.",
                )
                continue
            held, limit = years.people[i][period.position].small_pots[k].gross, period.rules.lump_sums.small_pot_limit
            if held > limit:
                yield Fault(
                    path,
                    "small-pot-over-limit",
                    f"{_too_much(held, period)} Give an earlier tax year, or leave `small_pot_in` out.",
                )
            age, day = first_access_to(member, pot.pension, period)
            if day > period.last:
                yield Fault(
                    path, "small-pot-too-early", f"{_too_early(day, age)} Give {tax_years.of(day)} or a later tax year."
                )
            if is_personal(pot.pension):
                of_a_lifetime += 1
                if of_a_lifetime > most_small_pots(years):
                    yield Fault(path, "too-many-small-pots", _too_many(of_a_lifetime, years))


def open_small_pot_faults(years: Timeline) -> Iterator[Fault]:
    """Small pots whose tax year is left open, and that can be taken in none of the plan."""
    for pot in open_small_pots(years):
        if pot.periods:
            continue
        member, path = years.household.people[pot.person], _small_pot_in(pot.person, pot.place)
        pension = member.pensions[pot.place]
        access = [first_access_to(member, pension, period) for period in years.periods]
        old_enough = [period for period, (_, day) in zip(years.periods, access, strict=True) if day <= period.last]
        if pot.is_personal and room_for(member, years) < 1:
            named = sum(is_personal(one.pension) for one in member.small_pots)
            yield Fault(path, "too-many-small-pots", _too_many((member.small_pots_taken or 0) + named + 1, years))
        elif old_enough:
            held = _too_much(pot.holds[old_enough[0].position], old_enough[0])
            yield Fault(path, "small-pot-over-limit", f"{held} Leave `small_pot_in` out.")
        else:
            age, day = access[-1]
            yield Fault(
                path, "small-pot-too-early", f"{_too_early(day, age)} The plan ends before. Leave `small_pot_in` out."
            )


def _too_much(held: Pence, period: Period) -> str:
    return (
        f"This pension would hold {pounds(held)} at the end of {period.name}, more than the "
        f"{pounds(period.rules.lump_sums.small_pot_limit)} that a small pot may hold."
    )


def _too_early(day: date, age: Years) -> str:
    return f"This pension cannot be taken before {day_month_year(day)}, at age {age}."


def _too_many(number: int, years: Timeline) -> str:
    return (
        f"At most {most_small_pots(years)} small pots can be taken from personal schemes in a lifetime. With this one there "
        f"would be {number}. Leave `small_pot_in` out. If the scheme is an occupational one, give `scheme_kind` as "
        "`occupational`."
    )


def different_growth(people: Sequence[Member]) -> Iterator[Fault]:
    """Pensions of one person that grow differently, or bear different charges, where many courses of markets move all alike. A
    pension with nothing in it, into which nothing is paid, has no say."""
    for i, member in enumerate(people):
        if len({(held.growth, held.yearly_charge) for held in member.counting}) > 1:
            yield Fault(
                (*PEOPLE, i, "pensions"),
                "pensions-on-different-terms",
                "With `markets`, all pensions move alike on each course, so those of one person need the same `growth` and the "
                "same `yearly_charge`. Leave `markets` out, or ask for each pension by itself.",
            )


def one_lump_sum(household: Household, ways: Collection[LumpSums | None]) -> Iterator[Fault]:
    """Pensions of one person that may be drawn from different ages, where one of the ``ways`` of lump sums takes all tax-free
    cash at once."""
    for i, member in enumerate(household.people):
        if "all_now" in ways and _ages_differ(member):
            yield Fault(
                (*PEOPLE, i, "pensions"),
                "pensions-on-different-terms",
                "With `all_now`, all tax-free cash is taken on one day, so the pensions of one person need the same "
                "`protected_pension_age`. Give another of `lump_sums`, or ask for each pension by itself.",
            )


def _ages_differ(member: Member) -> bool:
    return len({held.protected_pension_age for held in member.counting}) > 1


def growth_of_two(assumed: Assumptions) -> Iterator[Fault]:
    """Pensions of two people that grow differently, where many courses of markets move all alike."""
    if assumed.pension_growths:
        yield Fault(
            PEOPLE,
            "pensions-on-different-terms",
            "With `markets`, all pensions move alike on each course, so those of both people need the same `growth` and the same "
            "`yearly_charge`. Leave `markets` out.",
        )
