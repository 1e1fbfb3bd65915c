"""What a client should know beside a plan's amounts, at most two points: the summary tells them in a short sentence each.

They stand in the order of what they may cost: benefits that fall, which are told before all else, a limit on later saving, the
child benefit charge, inheritance tax, and cash beyond what is protected. The order and the number are our choice. A warning
beside the plan says more.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from service.law.dates import day_month_year
from service.planning.household import EARNINGS
from service.planning.schedule.schedule import Schedule, ScheduleYear
from service.planning.wording import inside, rounded_pounds, starting, who

_MOST = 2

_ANNUITY_YEARS = 20

_CAPITAL = "benefits.universal_credit_upper_capital"
_MPAA = "pension.money_purchase_annual_allowance"
_NRB = "inheritance_tax.nil_rate_band"
_PROTECTED = "deposit_protection.limit"


def to_know(result: Schedule) -> list[str]:
    """The points that matter most, in sentences."""
    return [*_until_the_pension(result), *islice(_points(result), _MOST - len(list(benefits(result))))]


def _points(result: Schedule) -> Iterator[str]:
    yield from _contributions_limited(result)
    yield from _child_benefit(result)
    yield from _inheritance_tax(result)
    yield from _cash(result)


def _until_the_pension(result: Schedule) -> Iterator[str]:
    """How far ISAs carry a household that lives on them until a pension can be drawn. What is taken out and paid in stays the
    same if they fall at the start, so what is left falls by that part of what they would have grown to alone."""
    locked = 0
    for year in result.years:
        pensions = [one.record.opened for one in year.people if one.pension.opening]
        if not pensions or any(one.year.may_withdraw for one in pensions):
            break
        locked += 1
    years = result.years[:locked]
    if not years or locked == len(result.years) or not any(one.record.from_isa for one in years[-1].people):
        return
    growth = result.question.household.assumptions.isa_growth
    grown = float(sum(one.isa.opening for one in years[0].people))
    parts = []
    for year in years:
        grown *= year.period.factor(growth)
        parts.append(year.household.in_isas / grown if grown else 0.0)
    left, part = years[-1].household.in_isas, int(100 * min(parts))
    if part:
        yield (
            f"When the pension can first be drawn, {rounded_pounds(left)} would be left in ISAs. They would last until then "
            f"even if they fell by {part}% on the first day."
        )


def benefits(result: Schedule) -> Iterator[str]:
    """Benefits that depend on means, where other income and capital are low. That a pension counts as a twentieth of it in income
    from State Pension age on, and not before, is our choice: an annuity pays about that."""
    people, first = result.question.household.people, _first_drawn(result)
    if first is None or all(one.uk_resident is False for one in people):
        return
    figures, income, capital = first.period.rules.figures, 0, 0
    for one, reached in zip(first.people, result.timeline.state_pension_from, strict=True):
        income += one.record.opened.year.taxpayer.income
        capital += one.cash.opening + one.isa.opening
        if reached is None or reached <= first.period.first:
            income += one.pension.opening // _ANNUITY_YEARS
    allowances = len(people) * figures.money("income_tax.personal_allowance")
    if income < allowances and capital <= figures.money(_CAPITAL):
        yield (
            "Money drawn, and money saved, can reduce or end means-tested benefits and help with council tax. The amounts below "
            "leave that out."
        )


def _first_drawn(result: Schedule) -> ScheduleYear | None:
    return next((year for year in result.years if year.household.withdrawn), None)


def _contributions_limited(result: Schedule) -> Iterator[str]:
    """The money purchase annual allowance, for somebody who works or pays in when income is first taken flexibly."""
    people = result.question.household.people
    limited: dict[str, list[str]] = {}
    for place, member in enumerate(people):
        year = next((one for one in result.years if one.people[place].money_purchase_allowance.triggered), None)
        if year is None:
            continue
        first, last = year.period.first, result.years[-1].period.last
        works = any(
            one.kind in EARNINGS and one.amount and (one.last is None or one.last > first) for one in member.income
        )
        if works or any(paid.between(first, last) for paid in member.contributions_in_plans):
            limited.setdefault(year.period.name, []).append(who(place, len(people), member.name))
    for name, those in limited.items():
        limit = rounded_pounds(result.years[0].period.rules.figures.money(_MPAA))
        if len(people) == 1:
            takes, whose = "You first take", "your"
        elif len(those) == 1:
            takes, whose = f"{starting(those[0])} first takes", f"{inside(those[0])}'s"
        else:
            takes, whose = "Both people first take", "either person's"
        yield (
            f"{takes} income flexibly in {name}. From then on, more than {limit} a year paid into {whose} money purchase "
            "pensions brings a tax charge."
        )


def _child_benefit(result: Schedule) -> Iterator[str]:
    """The child benefit charge of all years, and how much of it the withdrawals bring."""
    charge = own = 0
    for year in result.years:
        for one in year.people:
            charge += one.record.liability.child_benefit_charge
            own += one.record.opened.taxed(0).child_benefit_charge
    if charge:
        added = charge - own
        by = f"withdrawals bring {rounded_pounds(added)} of it" if added > 0 else "withdrawals add nothing to it"
        yield f"The high income child benefit charge comes to {rounded_pounds(charge)} in all, and {by}."


def _inheritance_tax(result: Schedule) -> Iterator[str]:
    """Pensions, ISAs and cash above the nil-rate bands, once unused pensions count in the estate; silent where the estate is
    given, of which the summary tells by itself."""
    if result.question.estate_given:
        return
    counting = next(
        (i for i, one in enumerate(result.years) if one.period.rules.inheritance_tax.unused_pensions_in_estate), None
    )
    if counting is None:
        return
    year, count = result.years[counting], len(result.years[counting].people)
    held = sum(one.pension.opening + one.isa.opening + one.cash.opening for one in year.people)
    bands = count * year.period.rules.figures.money(_NRB)
    if held <= bands:
        return
    measured = "the nil-rate band of" if count == 1 else "two nil-rate bands, together"
    first = year.period.first
    since, then = (
        ("Unused pensions are", "")
        if counting == 0
        else (f"From {day_month_year(first)}, unused pensions are", "then ")
    )
    yield (
        f"{since} included in the estate for inheritance tax. Pensions, ISAs and cash of {rounded_pounds(held)} are {then}above "
        f"{measured} {rounded_pounds(bands)}, not counting a home or other allowances."
    )


def _cash(result: Schedule) -> Iterator[str]:
    """Cash beyond what is protected at one firm for each person, in the year in which it is most."""
    year = max(result.years, key=lambda one: one.household.in_cash)
    limit = year.period.rules.figures.money(_PROTECTED)
    if year.household.in_cash > limit * len(year.people):
        yield (
            f"Cash is {rounded_pounds(year.household.in_cash)} at the end of {year.period.name}. {rounded_pounds(limit)} is "
            "protected for each person at each authorised firm."
        )
