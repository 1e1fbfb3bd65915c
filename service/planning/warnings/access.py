"""Whether the pension may be touched yet, and what it costs where it may not (Finance Act 2004 ss.164-165, 208-213, 279)."""

from __future__ import annotations

from service.law.ages import age_on, birthday
from service.law.pension_age import access_age
from service.law.rounding import down_to_the_penny
from service.law.units import WHOLE
from service.planning.warnings.circumstances import PersonCase, Taken, YearFacts
from service.planning.warnings.topic import Entry, Topic, last_day_before_change
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds

TOPIC: Topic = Topic()


@TOPIC.of_a_withdrawal(
    "below_minimum_pension_age",
    "not_permitted",
    "Too young to take this",
    "A withdrawal is dated before the minimum pension age, or a protected one, is reached.",
    facts=("date_of_birth", "withdrawals.date", "pension.minimum_pension_age"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10", "Finance Act 2004 ss.208-213"),
)
def below_minimum_pension_age(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Money taken before the minimum pension age."""
    if taken.age >= taken.minimum_age:
        return ()
    rules = year.rules
    age, reached = access_age(
        year.person.born, rules.minimum_pension_age, rules.next_minimum_pension_age, taken.before.minimum_pension_age
    )
    return entry.warn(
        f"{year.person.who} may take benefits from age {age}, which is reached on {reached.isoformat()}; only ill-health or "
        "a protected pension age allows it earlier. Do not take this before checking with the scheme: everything else here "
        "is worked out as if it were permitted.",
        taken.path,
        figures=year.figures,
        counts={"minimum_pension_age": age},
    )


@TOPIC.of_a_withdrawal(
    "minimum_pension_age_depends_on_the_day",
    "check",
    "The day of payment decides whether this is permitted",
    "The minimum pension age is reached within the tax year, and no day of payment is given.",
    facts=("date_of_birth", "withdrawals.date", "pension.minimum_pension_age"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10"),
)
def minimum_pension_age_depends_on_the_day(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """The minimum age is reached within the tax year, and no day is given."""
    least, born = taken.minimum_age, year.person.born
    # Somebody older than that on the last day was old enough on the first.
    if taken.day is not None or taken.age != least or age_on(born, year.figures.start) == least:
        return ()
    return entry.warn(
        f"Benefits may be taken from age {least}, which is reached on {birthday(born, least).isoformat()}, in this tax year. "
        "Take the money on or after that day.",
        taken.path,
        figures=year.figures,
        counts={"minimum_pension_age": least},
    )


@TOPIC.of_a_person(
    "minimum_pension_age_not_reached",
    "check",
    "Too young to draw this pension for a time",
    "In a plan, the minimum pension age is not reached on the last day of some tax year.",
    facts=("date_of_birth", "pension.minimum_pension_age"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10"),
    only="in_a_plan",
)
def minimum_pension_age_not_reached(case: PersonCase, entry: Entry) -> Found:
    """In a plan: a pension that cannot be drawn yet, or for a while."""
    person = case.person
    barred = [
        year
        for year in case.years
        if not year.taken and year.age < (year.before.minimum_pension_age or year.rules.minimum_pension_age)
    ]
    first = case.years[0]
    if not barred or person.facts is not None or first.held_before == 0:
        return ()
    last = barred[-1]
    age, day = access_age(
        person.born,
        last.rules.minimum_pension_age,
        last.rules.next_minimum_pension_age,
        last.before.minimum_pension_age,
    )
    until = f"in {barred[0].name}" if len(barred) == 1 else f"from {barred[0].name} to {last.name}"
    return entry.warn(
        f"{person.who} may take benefits from age {age}, which is reached on {day.isoformat()}, so nothing is drawn "
        f"{until}. Ill-health or a protected pension age may allow it earlier: check with the scheme.",
        (*person.path, "date_of_birth"),
        figures=last.figures,
        counts={"minimum_pension_age": age},
    )


@TOPIC.of_a_withdrawal(
    "access_closes_again",
    "check",
    "Access closes again when the minimum age rises",
    "The minimum age is reached now, but the higher one of 6 April 2028 is reached only after that day, and "
    "something is left uncrystallised.",
    facts=("date_of_birth", "withdrawals.date", "pension.minimum_pension_age"),
    sources=("Finance Act 2022 s.10",),
    until=last_day_before_change("pension.minimum_pension_age"),
)
def access_closes_again(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Old enough now, but not yet on the day the minimum age rises."""
    change = year.rules.next_minimum_pension_age
    if change is None or taken.before.minimum_pension_age is not None or taken.age < taken.minimum_age:
        return ()
    day, age = change
    if taken.age >= age or taken.after.uncrystallised == 0:
        return ()
    reopens = birthday(year.person.born, age)
    if reopens <= day:
        return ()
    return entry.warn(
        f"From {day.isoformat()} the minimum age is {age}, which {year.person.whose} reaches on {reopens.isoformat()}: "
        f"between these days the {pounds(taken.after.uncrystallised)} still uncrystallised cannot be started on. Check with "
        "the scheme whether a protected pension age is held.",
        (*year.person.path, "date_of_birth"),
        figures=year.figures,
        money={"uncrystallised_left": taken.after.uncrystallised},
        counts={"minimum_pension_age": age},
    )


@TOPIC.of_a_withdrawal(
    "unauthorised_payment_charges",
    "costs",
    "An unauthorised payment bears charges",
    "A withdrawal is dated before the minimum pension age; the surcharge is added where it is a large share of the "
    "fund.",
    facts=("date_of_birth", "withdrawals.date", "withdrawals.amount", "pension.uncrystallised", "pension.drawdown"),
    sources=("Finance Act 2004 ss.208-213", "HMRC Pensions Tax Manual PTM134100"),
)
def unauthorised_payment_charges(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """What the tax charges on money taken too early come to."""
    if taken.age >= taken.minimum_age or taken.payment.gross == 0:
        return ()
    figures = year.figures
    charge, surcharge = (
        figures.rate("pension.unauthorised_payment_charge"),
        figures.rate("pension.unauthorised_payment_surcharge"),
    )
    share = figures.rate("pension.unauthorised_payment_surcharge_share")
    held = taken.before.uncrystallised + taken.before.drawdown
    surcharged = taken.payment.gross * WHOLE >= held * share
    rate = charge + surcharge if surcharged else charge
    cost = down_to_the_penny(taken.payment.gross * rate)
    because = (
        f"{per_cent(charge)}, and {per_cent(surcharge)} more because it is at least {per_cent(share)} of the fund"
        if surcharged
        else per_cent(charge)
    )
    return entry.warn(
        f"Paid before the minimum age, {pounds(taken.payment.gross)} is an unauthorised payment: the charges on the member are "
        f"{because}, {pounds(cost)} in all, to be told in a tax return; the scheme is charged as well. Wait until the "
        "age is reached.",
        taken.path,
        figures=figures,
        rests_on=(
            "pension.unauthorised_payment_charge",
            "pension.unauthorised_payment_surcharge",
            "pension.unauthorised_payment_surcharge_share",
        ),
        money={"unauthorised_payment": taken.payment.gross, "charges": cost},
        cost=cost,
    )


_ILL_HEALTH = {
    None: "Whether ill-health has ended work for good, or leaves less than a year to live, was not given and decides: "
    "either may allow benefits before the minimum age. Ask the person, and the scheme for its medical evidence.",
    "unable_to_work": "Someone whom ill-health stops from carrying on their work may take benefits before the minimum age, "
    "once the scheme has medical evidence and work has stopped. Ask the scheme for its ill-health route.",
    "life_expectancy_under_a_year": "Someone with less than a year to live may take a serious ill-health lump sum from "
    "uncrystallised funds at any age: tax free before 75 within the lump sum and death benefit allowance. Ask the scheme "
    "what medical evidence it needs.",
}


@TOPIC.of_a_withdrawal(
    "ill_health_route",
    "check",
    "Ill-health may allow it earlier",
    "The minimum pension age is not reached, and ill-health is given, or was not said to be absent.",
    facts=("ill_health", "date_of_birth", "withdrawals.date"),
    sources=(
        "Finance Act 2004 ss.164-165 and Sch.28 para 1, Sch.29 para 4 (from memory)",
        "Income Tax (Earnings and Pensions) Act 2003 s.637C",
    ),
    only="with_facts",
)
def ill_health_route(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Too young, but ill-health may open the way."""
    facts = year.person.facts
    if facts is None or facts.ill_health == "none" or taken.age >= taken.minimum_age:
        return ()
    return entry.warn(_ILL_HEALTH[facts.ill_health], (*year.person.path, "ill_health"), figures=year.figures)
