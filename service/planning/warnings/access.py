"""Whether the pension may be touched yet, and what it costs where it may not (Finance Act 2004 ss.164-165, 208-213, 279)."""

from __future__ import annotations

from service.law.ages import age_on, birthday
from service.law.dates import day_month_year
from service.law.pension_age import access_age
from service.law.unauthorised_payments import ReferencePeriod, UnauthorisedPayment, reference_periods
from service.law.units import Years
from service.planning.warnings.circumstances import PersonCase, Taken, YearFacts
from service.planning.warnings.topic import Entry, Topic, last_day_before_change
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds

TOPIC: Topic = Topic()


@TOPIC.of_a_withdrawal(
    "below_minimum_pension_age",
    "not_permitted",
    "Not old enough to take this money",
    "A withdrawal is dated before the minimum pension age, or a protected pension age, is reached.",
    facts=("date_of_birth", "withdrawals.date", "pensions.protected_pension_age"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10", "Finance Act 2004 ss.208-213"),
    figures={"access_age": "age"},
    of_one_pension=True,
    severity="lasting",
)
def below_minimum_pension_age(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Money taken before the minimum pension age."""
    if taken.age >= taken.minimum_age:
        return ()
    rules = year.rules
    age, reached = access_age(
        year.person.born, rules.minimum_pension_age, rules.next_minimum_pension_age, taken.before.protected_pension_age
    )
    # A lump sum that a comparison puts off is asked for with no amount: nothing is assumed about it.
    assumed = " The rest of this answer assumes it is permitted; check this with the scheme." if taken.asked else ""
    return entry.warn(
        f"{year.person.who} can take benefits from age {age}, which is reached on {day_month_year(reached)}. Earlier payment "
        f"is permitted only on ill-health grounds or with a protected pension age.{assumed}",
        taken.path,
        about=year.person,
        figures=year.figures,
        counts={"access_age": age},
    )


@TOPIC.of_a_withdrawal(
    "minimum_pension_age_depends_on_the_day",
    "check",
    "The payment date matters",
    "The minimum pension age is reached during the tax year, and no payment date is given.",
    facts=("date_of_birth", "withdrawals.date", "pensions.protected_pension_age"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10"),
    figures={"access_age": "age"},
    of_one_pension=True,
)
def minimum_pension_age_depends_on_the_day(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """The minimum age is reached within the tax year, and no day is given."""
    least, born = taken.minimum_age, year.person.born
    # Somebody older than that on the last day was old enough on the first.
    if taken.day is not None or taken.age != least or age_on(born, year.figures.start) == least:
        return ()
    return entry.warn(
        f"{year.person.who} will reach the minimum pension age of {least} on {day_month_year(birthday(born, least))}, during "
        "this tax year. A payment before that day would be unauthorised. We were not told the payment date.",
        taken.path,
        about=year.person,
        figures=year.figures,
        counts={"access_age": least},
    )


@TOPIC.of_a_person(
    "minimum_pension_age_not_reached",
    "check",
    "This pension cannot be accessed yet",
    "In a plan, the minimum pension age is not reached on the last day of some tax year.",
    facts=("date_of_birth", "pensions.protected_pension_age"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10"),
    figures={"access_age": "age"},
    of_one_pension=True,
    only="in_a_plan",
)
def minimum_pension_age_not_reached(case: PersonCase, entry: Entry) -> Found:
    """In a plan: a pension that cannot be drawn yet, or for a while."""
    person = case.person
    barred = [
        year
        for year in case.years
        if not year.taken and year.age < (year.before.protected_pension_age or year.rules.minimum_pension_age)
    ]
    first = case.years[0]
    if not barred or person.facts is not None or first.held_before == 0:
        return ()
    last = barred[-1]
    age, day = access_age(
        person.born,
        last.rules.minimum_pension_age,
        last.rules.next_minimum_pension_age,
        last.before.protected_pension_age,
    )
    until = f"in {barred[0].name}" if len(barred) == 1 else f"from {barred[0].name} to {last.name}"
    return entry.warn(
        f"{person.who} can take benefits from age {age}, which is reached on {day_month_year(day)}. The plan takes nothing "
        f"from {person.the_pension} {until}. Ill-health or a protected pension age may allow earlier access.",
        (*person.path, "date_of_birth"),
        about=person,
        figures=last.figures,
        counts={"access_age": age},
    )


@TOPIC.of_a_withdrawal(
    "access_closes_again",
    "check",
    "Minimum pension age rises on 6 April 2028",
    "Benefits can be taken now, but the higher minimum age of 6 April 2028 is reached only after that day, and "
    "some funds are uncrystallised.",
    facts=("date_of_birth", "withdrawals.date", "pensions.protected_pension_age"),
    sources=("Finance Act 2022 s.10",),
    figures={"uncrystallised_left": "pounds", "next_minimum_pension_age": "age"},
    until=last_day_before_change("pension.minimum_pension_age"),
    of_one_pension=True,
)
def access_closes_again(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Old enough now, but not yet on the day the minimum age rises."""
    change = year.rules.next_minimum_pension_age
    if change is None or taken.before.protected_pension_age is not None or taken.age < taken.minimum_age:
        return ()
    day, age = change
    if taken.age >= age or taken.after.uncrystallised == 0:
        return ()
    reopens = birthday(year.person.born, age)
    if reopens <= day:
        return ()
    running = "Whether payments from drawdown already begun can continue is not yet confirmed by HMRC."
    return entry.warn(
        f"The minimum pension age rises to {age} on {day_month_year(day)}, and {year.person.you} will reach it on "
        f"{day_month_year(reopens)}. Between these dates, benefits cannot be started from the "
        f"{pounds(taken.after.uncrystallised)} not yet accessed. A protected pension age would change this.",
        (*year.person.path, "date_of_birth"),
        about=year.person,
        figures=year.figures,
        money={"uncrystallised_left": taken.after.uncrystallised},
        counts={"next_minimum_pension_age": age},
        caveats=(running,) if taken.after.drawdown else (),
    )


@TOPIC.of_a_person(
    "protected_pension_age_relied_on",
    "check",
    "A protected pension age is relied on",
    "Benefits are taken below the normal minimum pension age, at or above the protected pension age that is given.",
    facts=("pensions.protected_pension_age", "date_of_birth", "withdrawals.date"),
    sources=("Finance Act 2004 s.279 and Sch.36 paras 21-23", "Finance Act 2022 s.10"),
    figures={"protected_pension_age": "age", "minimum_pension_age": "age"},
    of_one_pension=True,
)
def protected_pension_age_relied_on(case: PersonCase, entry: Entry) -> Found:
    """Permitted by a protected pension age alone."""
    for year in case.years:
        for taken in year.taken:
            protected = taken.before.protected_pension_age
            if protected is not None and taken.payment.gross and _relies_on(protected, taken.age, year):
                return _told_of_it(year.of_pension(taken.pension), protected, entry)
        protected = case.given.protected_pension_age
        if protected is not None and year.gross and not year.taken and _relies_on(protected, year.age, year):
            return _told_of_it(year, protected, entry)
    return ()


def _relies_on(protected: Years, age: Years, year: YearFacts) -> bool:
    return protected <= age < year.rules.minimum_pension_age


def _told_of_it(year: YearFacts, protected: Years, entry: Entry) -> Found:
    return entry.warn(
        f"Benefits are taken in {year.name} below the normal minimum pension age of {year.rules.minimum_pension_age}. This "
        f"relies on a protected pension age of {protected}. Such an age belongs to one scheme and a transfer can end it. Ask "
        "the scheme whether it is held there.",
        (*year.person.pension_path, "protected_pension_age"),
        about=year.person,
        figures=year.figures,
        rests_on=("pension.minimum_pension_age",),
        counts={"protected_pension_age": protected},
    )


@TOPIC.of_a_person(
    "unauthorised_payment_charges",
    "costs",
    "Tax charges on an unauthorised payment",
    "A withdrawal is dated before the minimum pension age; a surcharge is added where unauthorised payments of twelve months "
    "reach a large share of the fund.",
    facts=("date_of_birth", "withdrawals.date", "withdrawals.amount", "pensions.uncrystallised", "pensions.drawdown"),
    sources=(
        "Finance Act 2004 ss.208, 209, 210 and 213",
        "HMRC Pensions Tax Manual PTM134100, PTM134400",
    ),
    figures={
        "unauthorised_payment": "pounds",
        "tax_charges": "pounds",
        "unauthorised_payments": "count",
        "unauthorised_payment_charge": "fraction",
        "unauthorised_payment_surcharge": "fraction",
        "unauthorised_payment_surcharge_share": "fraction",
    },
    of_one_pension=True,
)
def unauthorised_payment_charges(case: PersonCase, entry: Entry) -> Found:
    """What the tax charges on money taken too early come to, once for each twelve months of each pension. That one pension is
    one scheme is our reading."""
    too_early = [
        (year, taken)
        for year in case.years
        for taken in year.taken
        if taken.age < taken.minimum_age and taken.payment.gross
    ]
    if not too_early:
        return ()
    told: Found = ()
    for pension in dict.fromkeys(taken.pension for _, taken in too_early):
        of_it = [(year, taken) for year, taken in too_early if taken.pension == pension]
        payments = [
            UnauthorisedPayment(taken.day, taken.payment.gross, taken.before.uncrystallised + taken.before.drawdown)
            for _, taken in of_it
        ]
        share = of_it[0][0].figures.rate("pension.unauthorised_payment_surcharge_share")
        first = 0
        for period in reference_periods(payments, share):
            year, taken = of_it[first]
            told += _charges(year.of_pension(pension), taken, period, entry)
            first += len(period.payments)
    return told


def _charges(year: YearFacts, first: Taken, period: ReferencePeriod, entry: Entry) -> Found:
    figures = year.figures
    charge, surcharge = (
        figures.rate("pension.unauthorised_payment_charge"),
        figures.rate("pension.unauthorised_payment_surcharge"),
    )
    share = figures.rate("pension.unauthorised_payment_surcharge_share")
    cost = period.charges(charge, surcharge)
    amount, number = sum(payment.amount for payment in period.payments), len(period.payments)
    what, they_are = f"{pounds(amount)} is an unauthorised payment", "the payment is"
    if number > 1 and first.day is not None:
        what = (
            f"{pounds(amount)} is unauthorised, in {number} payments in the 12 months from {day_month_year(first.day)}"
        )
        they_are = "together they are"
    pay = (
        f"{pounds(cost)}: a {per_cent(charge)} charge and a {per_cent(surcharge)} surcharge. The surcharge applies because "
        f"{they_are} {per_cent(share)} or more of the fund. Both are reported on a tax return."
        if period.surcharged
        else f"a {per_cent(charge)} charge, {pounds(cost)}, reported on a tax return."
    )
    return entry.warn(
        f"Paid before the minimum age, {what}. {year.person.who} would pay {pay} The scheme is charged as well.",
        first.path,
        about=year.person,
        figures=figures,
        rests_on=(
            "pension.unauthorised_payment_charge",
            "pension.unauthorised_payment_surcharge",
            "pension.unauthorised_payment_surcharge_share",
        ),
        money={"unauthorised_payment": amount, "tax_charges": cost},
        counts={"unauthorised_payments": number},
        cost=cost,
    )


_ILL_HEALTH = {
    None: "Ill-health that has ended work, or a life expectancy under a year, may allow benefits at any age. We were not told "
    "whether either applies.",
    "unable_to_work": "If ill-health has ended work for good, benefits can be taken before the minimum age. Tax is due as "
    "usual.",
    "life_expectancy_under_a_year": "If a doctor confirms a life expectancy under a year, the scheme may pay all funds not "
    "yet in drawdown, at any age. Under 75 this is tax free within the lump sum and death benefit allowance.",
}
_EVIDENCE = " Without this, the payment would be unauthorised. Ask the scheme what medical evidence it needs."


@TOPIC.of_a_withdrawal(
    "ill_health_route",
    "check",
    "Ill-health may allow earlier access",
    "The minimum pension age is not reached, and ill-health is given or was not ruled out.",
    facts=("circumstances.ill_health", "date_of_birth", "withdrawals.date"),
    sources=(
        "Finance Act 2004 ss.164-165 and Sch.28 para 1, Sch.29 para 4",
        "Income Tax (Earnings and Pensions) Act 2003 s.637C",
    ),
    of_one_pension=True,
    only="with_facts",
    severity="lasting",
)
def ill_health_route(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Too young, but ill-health may open the way."""
    facts = year.person.facts
    if facts is None or facts.ill_health == "none" or taken.age >= taken.minimum_age:
        return ()
    return entry.warn(
        _ILL_HEALTH[facts.ill_health] + _EVIDENCE,
        (*year.person.path, "circumstances", "ill_health"),
        about=year.person,
        figures=year.figures,
    )
