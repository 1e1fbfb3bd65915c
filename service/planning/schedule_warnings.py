"""The warnings a plan over years carries. Each is one small function; it points at the first tax year it applies to."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from service.law.pension_age import access_age
from service.planning.faults import pounds
from service.planning.filling import target
from service.planning.schedule import LEAST_TAX, Schedule, Year
from service.planning.warning import Warning, in_order

_NOTHING_MUCH = 100
"""Pence: a pension of less than a pound has run out."""

Found = Iterator[Warning]


def schedule_warnings(result: Schedule) -> list[Warning]:
    """The warnings of a plan: costs by amount, then what to check."""
    found: list[Warning] = []
    for i in range(len(result.question.household.people)):
        for of_person in _OF_EACH_PERSON:
            found.extend(of_person(result, i))
    for rule in _OF_THE_HOUSEHOLD:
        found.extend(rule(result))
    return in_order(found)


def _who(result: Schedule, i: int) -> str:
    """The person as the start of a sentence names them."""
    if len(result.question.household.people) == 1:
        return "This person"
    return ("The first person", "The second person")[i]


def minimum_pension_age_not_reached(result: Schedule, i: int) -> Found:
    """A pension that cannot be drawn yet, or for a while: the minimum age rises on 6 April 2028."""
    member = result.question.household.people[i]
    barred = [year for year in result.years if not year.people[i].record.opened.year.may_withdraw]
    if not barred or member.pension.uncrystallised + member.pension.drawdown == 0:
        return
    period = barred[-1].period
    rules, protected = period.rules, member.pension.minimum_pension_age
    age, day = access_age(member.date_of_birth, rules.minimum_pension_age, rules.next_minimum_pension_age, protected)
    first = barred[0].period.name
    until = f"in {first}" if len(barred) == 1 else f"from {first} to {period.name}"
    yield Warning(
        "minimum_pension_age_not_reached",
        "check",
        "Too young to draw this pension for a time",
        f"{_who(result, i)} may take benefits from age {age}, which is reached on {day.isoformat()}, so nothing is drawn "
        f"{until}. Ill-health or a protected pension age may allow it earlier: check with the scheme.",
        ("people", i, "date_of_birth"),
        ("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10"),
        counts={"minimum_pension_age": age},
    )


def money_purchase_annual_allowance(result: Schedule, i: int) -> Found:
    """Flexible access cuts what may be paid into money purchase pensions from then on."""
    for year in result.years:
        record = year.people[i].record
        if record.opened.before.pension.flexibly_accessed:
            return
        if record.after.pension.flexibly_accessed:
            amount = year.period.rules.money_purchase_annual_allowance
            yield Warning(
                "money_purchase_annual_allowance_triggered",
                "costs",
                "Future pension saving is cut back",
                f"{_who(result, i)} takes income flexibly in {year.period.name}: from the next day only {pounds(amount)} a "
                "year may be paid into money purchase pensions without a charge, and unused allowance of earlier years "
                "cannot raise that. Tell every other scheme still saved in within 91 days of the scheme's statement.",
                ("people", i, "pension"),
                ("Finance Act 2004 ss.227ZA-227G", "SI 2006/567 reg.14ZB"),
                money={"money_purchase_annual_allowance": amount},
            )
            return


def tax_free_allowance_used_up(result: Schedule, i: int) -> Found:
    """Nothing more can be paid tax free, though there is still a pension."""
    if result.question.household.lump_sums == "none":
        return
    for year in result.years:
        record = year.people[i].record
        if record.tax_free_left == 0 and record.after.pension.uncrystallised >= _NOTHING_MUCH:
            left = record.after.pension.uncrystallised
            lifetime = record.opened.left.lifetime_allowance is not None
            yield Warning(
                "tax_free_allowance_used_up",
                "check",
                "The tax-free allowance is used up",
                f"By the end of {year.period.name} nothing is left of the "
                f"{'lifetime allowance' if lifetime else 'lump sum allowances'} of {_who(result, i).lower()}: the "
                f"{pounds(left)} not yet crystallised then has no tax-free part. Check what earlier benefits used, and "
                "whether any protection is held.",
                ("people", i, "pension"),
                ("Finance Act 2004 Sch.29",)
                if lifetime
                else ("Income Tax (Earnings and Pensions) Act 2003 ss.637P-637S", "Finance Act 2024 Sch.9"),
                money={"uncrystallised_left": left},
            )
            return


def pension_runs_out(result: Schedule, i: int) -> Found:
    """The pension is spent before the plan ends."""
    for year in result.years[:-1]:
        pension = year.people[i].pension
        if pension.closing < _NOTHING_MUCH <= pension.opening + pension.growth:
            yield Warning(
                "pension_runs_out",
                "check",
                "The pension runs out",
                f"The pension of {_who(result, i).lower()} is drawn to its end in {year.period.name}, before the plan "
                "ends. Check that what remains outside it is enough for the years that follow.",
                ("people", i, "pension"),
                ("Finance Act 2004 s.165",),
                money={"withdrawn": year.people[i].record.gross},
            )
            return


def cash_isa_limit(result: Schedule, i: int) -> Found:
    """The lower limit for cash ISAs below 65 is not verified in the regulations."""
    member = result.question.household.people[i]
    if not member.isa.cash_isa:
        return
    for year in result.years:
        figures = year.period.rules.figures
        limit = figures.money("isa.cash_limit_under_65")
        if year.people[i].isa_limit == limit < figures.money("isa.subscription_limit"):
            yield Warning(
                "cash_isa_limit_in_doubt",
                "check",
                "The lower limit for cash ISAs is doubtful",
                f"From {year.period.name} {_who(result, i).lower()} is taken to be limited to {pounds(limit)} a year in cash "
                "ISAs until the tax year in which age 65 is reached. How the age is tested, and how cash in other ISAs is "
                "treated, is not verified. Check with HMRC, or consider a stocks and shares ISA.",
                ("people", i, "isa", "cash_isa"),
                (figures.figures["isa.cash_limit_under_65"].source,),
                status=figures.figures["isa.cash_limit_under_65"].status,
                money={"cash_isa_limit": limit},
            )
            return


def state_pension_uses_allowance(result: Schedule, i: int) -> Found:
    """The State Pension alone is more than the personal allowance, so that every pound drawn is taxed."""
    for year, amount in zip(result.years, result.state_pensions[i], strict=True):
        allowance = year.period.rules.figures.money("income_tax.personal_allowance")
        if amount > allowance:
            yield Warning(
                "state_pension_uses_personal_allowance",
                "check",
                "The State Pension uses the whole personal allowance",
                f"From {year.period.name} the State Pension of {_who(result, i).lower()}, {pounds(amount)} in that tax year, "
                f"is more than the personal allowance of {pounds(allowance)}: whatever is drawn then is taxed from the first "
                "pound. Drawing more before that year may use allowances that would otherwise be lost.",
                ("people", i, "income"),
                ("Income Tax (Earnings and Pensions) Act 2003 s.577", "Income Tax Act 2007 s.35"),
                status=year.period.rules.figures.status,
                money={"state_pension": amount, "personal_allowance": allowance},
            )
            return


def marriage_allowance_void(result: Schedule, i: int) -> Found:
    """Income above the basic rate voids the marriage allowance on either side."""
    kind = result.question.household.people[i].marriage_allowance
    if kind == "none":
        return
    for year in result.years:
        if year.people[i].record.liability.marriage_allowance_open:
            continue
        side = (
            "received"
            if kind == "receives"
            else "given; a claim already made would be withdrawn and the partner's tax rise"
        )
        yield Warning(
            "marriage_allowance_not_available",
            "check",
            "The marriage allowance has no effect",
            f"In {year.period.name} some income of {_who(result, i).lower()} is taxed above the basic rate, so no marriage "
            f"allowance can be {side}. Check the claim with HMRC.",
            ("people", i, "marriage_allowance"),
            ("Income Tax Act 2007 ss.55B-55C",),
        )
        return


def isa_room_used_up(result: Schedule) -> Found:
    """There is more money than room in ISAs, and it waits as cash."""
    if not (waits := [year for year in result.years if _waits_for_room(year)]):
        return
    most = max(year.household.cash for year in waits)
    yield Warning(
        "isa_room_used_up",
        "check",
        "Money waits outside ISAs",
        f"In {waits[0].period.name} the ISA room of the tax year is used up and cash waits outside; the most that ever waits "
        f"is {pounds(most)}. Its interest is taxable. Check whether so much need be withdrawn so early.",
        ("people",),
        ("SI 1998/1870 reg.4ZA",),
        money={"most_cash_waiting": most},
    )


def _waits_for_room(year: Year) -> bool:
    return year.household.cash > 0 and all(person.isa_unused == 0 for person in year.people)


def spending_beyond_the_band(result: Schedule) -> Found:
    """Spending is met by drawing more than fills the band that the plan aims at."""
    fill = result.question.fill
    if fill == LEAST_TAX:
        return
    for year in result.years:
        if year.spending == 0:
            continue
        beyond = cost = 0
        for person in year.people:
            record = person.record
            within = target(record.opened, fill)
            if record.taxable > within:
                beyond += record.taxable - within
                without = record.opened.year.liability(record.opened.interest, within)
                cost += max(0, record.liability.total - without.total)
        if beyond:
            yield Warning(
                "spending_drawn_beyond_the_band",
                "check",
                "Spending takes more than the band",
                f"In {year.period.name} cash and ISAs do not cover the spending of {pounds(year.spending)}: "
                f"{pounds(beyond)} of taxable pension is drawn beyond what fills the {fill.replace('_', ' ')}, which adds "
                f"{pounds(cost)} to that tax year's tax. Check whether some of it can be drawn in an earlier year or spent "
                "later.",
                ("spending",),
                ("Income Tax Act 2007 ss.10, 23",),
                money={"beyond_the_band": beyond, "income_tax": cost},
                cost=cost,
            )
            return


def rates_not_yet_set(result: Schedule) -> Found:
    """From some year on the figures are not all law yet."""
    figures = result.first_not_law
    if figures is not None:
        yield Warning(
            "rates_not_yet_set",
            "check",
            "Later tax years' rates are not all law yet",
            f"Some of the figures from {figures.name} on are announced or carried forward from the last year that is known; "
            "rules.assumptions lists them. Plan again once they are set.",
            ("end_date",),
            ("Income Tax Act 2007 s.10", "Finance Act 2026 ss.5-10"),
            status=figures.status,
        )


_OF_EACH_PERSON: tuple[Callable[[Schedule, int], Found], ...] = (
    minimum_pension_age_not_reached,
    money_purchase_annual_allowance,
    tax_free_allowance_used_up,
    pension_runs_out,
    state_pension_uses_allowance,
    marriage_allowance_void,
    cash_isa_limit,
)
_OF_THE_HOUSEHOLD: tuple[Callable[[Schedule], Found], ...] = (
    isa_room_used_up,
    spending_beyond_the_band,
    rates_not_yet_set,
)
