"""Whether the pension may be touched yet, and what it costs where it may not (Finance Act 2004 ss.164-165, 208-213, 279)."""

from __future__ import annotations

from service.law.ages import age_on, birthday
from service.law.dates import day_month_year
from service.law.pension_age import access_age, may_have_begun
from service.law.unauthorised_payments import ReferencePeriod, UnauthorisedPayment, reference_periods
from service.law.units import Years
from service.planning.warnings.circumstances import PensionCase, PersonCase, Taken, YearFacts
from service.planning.warnings.topic import Entry, Topic, last_day_before_change
from service.planning.warnings.warning import NO_FIGURES, Found
from service.planning.wording import per_cent, pounds

TOPIC: Topic = Topic()

_ILL_HEALTH_TAXED_FROM = "pension.serious_ill_health_lump_sum_taxed_from_age"
_IN_2010 = "When the age last rose, in 2010, payments from drawdown already begun could continue."


@TOPIC.of_a_withdrawal(
    "below_minimum_pension_age",
    "not_permitted",
    "Not old enough to take this money",
    "A withdrawal is dated before the minimum pension age, or a protected pension age, is reached, and no ill-health is given.",
    facts=("date_of_birth", "withdrawals.date", "pensions.protected_pension_age", "circumstances.ill_health"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10", "Finance Act 2004 ss.208-213"),
    figures={"access_age": "age", "amount_asked_for": "pounds"},
    of_one_pension=True,
    severity="lasting",
)
def below_minimum_pension_age(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Money taken before the minimum pension age."""
    if not year.too_early(taken):
        return ()
    rules = year.rules
    age, reached = access_age(
        year.person.born, rules.minimum_pension_age, rules.next_minimum_pension_age, taken.before.protected_pension_age
    )
    # A lump sum that a comparison puts off is asked for with no amount: nothing is assumed about it.
    assumed = " The rest of this answer assumes it is permitted; check this with the scheme." if taken.asked else ""
    # Several payments may be planned; a quote and an option have the one.
    which, money = "", NO_FIGURES
    if year.person.facts is not None and taken.day is not None:
        which = f"The payment of {pounds(taken.asked)} on {day_month_year(taken.day)} is too early. "
        money = {"amount_asked_for": taken.asked}
    return entry.warn(
        f"{which}{year.person.who} can take benefits from age {age}, which is reached on {day_month_year(reached)}. Earlier "
        f"payment is permitted only on ill-health grounds or with a protected pension age.{assumed}",
        taken.path,
        about=year.person,
        figures=year.figures,
        counts={"access_age": age},
        money=money,
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
    if year.person.ill_health_given or year.runs_on(taken):
        return ()
    return entry.warn(
        f"{year.person.who} will reach the minimum pension age of {least} on {day_month_year(birthday(born, least))}, during "
        "this tax year. A payment before that day would be unauthorised. We were not told the payment date.",
        taken.path,
        about=year.person,
        figures=year.figures,
        counts={"access_age": least},
    )


@TOPIC.of_a_withdrawal(
    "drawdown_under_new_minimum_pension_age",
    "check",
    "Drawdown under the new minimum age",
    "Income is taken from drawdown under the minimum pension age of 6 April 2028, by somebody who had reached the one before.",
    facts=("date_of_birth", "withdrawals.date", "flexibly_accessed", "pensions.protected_pension_age"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10"),
    figures={"minimum_pension_age": "age", "age_at_payment": "age"},
    of_one_pension=True,
    severity="lasting",
)
def drawdown_under_new_minimum_pension_age(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Whether drawdown that began under the lower age may go on is not settled; see ``YearFacts.runs_on``."""
    if taken.age > taken.minimum_age or not year.runs_on(taken) or year.person.ill_health_given:
        return ()
    person, least = year.person, taken.minimum_age
    without_day = taken.day is None and age_on(person.born, year.figures.start) < least
    if taken.age == least and not without_day:
        return ()
    earlier = year.rules.earlier_minimum_pension_age
    assert earlier is not None
    reaches = f"{person.you} will reach it on {day_month_year(birthday(person.born, least))}"
    if taken.before.flexibly_accessed:
        unsettled = "HMRC has not confirmed this for 2028; ask the scheme."
    else:
        unsettled = (
            "HMRC has not confirmed this for 2028, nor whether income can start from such funds. Ask the scheme."
        )
    return entry.warn(
        f"From {day_month_year(earlier[0])} the minimum pension age is {least}, and {reaches}. {_IN_2010} {unsettled}",
        taken.path,
        about=person,
        figures=year.figures,
        rests_on=("pension.minimum_pension_age",),
        counts={"age_at_payment": taken.age} if taken.day is not None else {},
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
    # A plan leaves out what is not certain to be permitted, and says so; see planning/projection/README.md.
    runs_on = [
        year
        for year in barred
        if year.before.drawdown
        and year.before.protected_pension_age is None
        and may_have_begun(person.born, year.rules.earlier_minimum_pension_age)
    ]
    unsettled = ("Whether payments from drawdown already begun can continue then is not yet confirmed by HMRC.",)
    return entry.warn(
        f"{person.who} can take benefits from age {age}, which is reached on {day_month_year(day)}. The plan takes nothing "
        f"from {person.the_pension} {until}. Ill-health or a protected pension age may allow earlier access.",
        (*person.path, "date_of_birth"),
        about=person,
        figures=last.figures,
        counts={"access_age": age},
        caveats=unsettled if runs_on else (),
    )


@TOPIC.of_a_withdrawal(
    "access_closes_again",
    "check",
    "Minimum pension age rises on 6 April 2028",
    "Benefits can be taken now, and some funds are uncrystallised or in drawdown. The higher minimum age of 6 April "
    "2028 is reached only after that day.",
    facts=("date_of_birth", "withdrawals.date", "pensions.protected_pension_age"),
    sources=("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10"),
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
    if taken.age >= age or not (taken.after.uncrystallised or taken.after.drawdown):
        return ()
    # Of several payments from a pension in a year, the last tells what stays closed.
    if taken.path != [one.path for one in year.taken if one.pension == taken.pension][-1]:
        return ()
    reopens = birthday(year.person.born, age)
    if reopens <= day:
        return ()
    running = "Whether payments from drawdown already begun can continue is not yet confirmed by HMRC."
    between = (
        f"Between these dates, benefits cannot be started from the {pounds(taken.after.uncrystallised)} not yet accessed. A "
        "protected pension age would change this."
        if taken.after.uncrystallised
        else f"{_IN_2010} Ask the scheme."
    )
    return entry.warn(
        f"The minimum pension age rises to {age} on {day_month_year(day)}, and {year.person.you} will reach it on "
        f"{day_month_year(reopens)}. {between}",
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


@TOPIC.of_a_pension(
    "protected_pension_age_lost",
    "check",
    "A protected pension age may be lost",
    "A protected pension age is below the normal minimum age, which is not reached. The pension is to be transferred, "
    "or only part of it is taken.",
    facts=("pensions.protected_pension_age", "pensions.transfer_planned", "withdrawals.amount", "date_of_birth"),
    sources=("Finance Act 2004 Sch.36 paras 21-23ZB", "Finance Act 2022 s.10"),
    figures={"protected_pension_age": "age"},
    of_one_pension=True,
    only="with_facts",
    severity="lasting",
)
def protected_pension_age_lost(case: PensionCase, entry: Entry) -> Found:
    """A transfer, and for some such ages taking only part of the benefits, ends a protected pension age."""
    protected, first = case.years[0].before.protected_pension_age, case.years[0]
    if protected is None or not first.held_before:
        return ()
    # The day decides of a withdrawal, and of a transfer the first tax year that is looked at.
    change = first.rules.next_minimum_pension_age
    normal = change[1] if change is not None else first.rules.minimum_pension_age
    if protected >= normal or age_on(case.person.born, first.figures.start) >= normal:
        return ()
    transferred = case.features.leaves
    in_part = any(
        taken.age < year.rules.minimum_pension_age and taken.payment.from_uncrystallised and taken.after.uncrystallised
        for year in case.years
        for taken in year.taken
    )
    if not transferred and not in_part:
        return ()
    how = "A transfer" if transferred else "Taking only part of the benefits"
    return entry.warn(
        f"{how} may end the protected pension age of {protected}. The normal minimum age would then apply. Some protected ages "
        "also need all benefits of the scheme to be taken on one day. Ask the scheme what would end this one.",
        (*case.path, "protected_pension_age"),
        about=case.person,
        figures=first.figures,
        counts={"protected_pension_age": protected},
    )


@TOPIC.of_a_person(
    "unauthorised_payment_charges",
    "costs",
    "Tax charges on an unauthorised payment",
    "A withdrawal is dated before the minimum pension age. A surcharge is added where unauthorised payments of twelve "
    "months reach a large share of the fund.",
    facts=(
        "date_of_birth",
        "withdrawals.date",
        "withdrawals.amount",
        "pensions.uncrystallised",
        "pensions.drawdown",
        "circumstances.ill_health",
    ),
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
        (year, taken) for year in case.years for taken in year.taken if taken.payment.gross and year.too_early(taken)
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


@TOPIC.of_a_person(
    "ill_health_route",
    "check",
    "What ill-health makes possible",
    "The minimum pension age is not reached, and ill-health is given or was not ruled out. Or a life expectancy under a "
    "year is given, and some funds are uncrystallised.",
    facts=("circumstances.ill_health", "date_of_birth", "withdrawals.date", "pensions.uncrystallised"),
    sources=(
        "Finance Act 2004 ss.164-165 and Sch.28 para 1, Sch.29 para 4",
        "Income Tax (Earnings and Pensions) Act 2003 ss.636A, 637C",
    ),
    figures={"lump_sum_and_death_benefit_allowance_left": "pounds", "lifetime_allowance_left": "pounds"},
    only="with_facts",
    severity="lasting",
)
def ill_health_route(case: PersonCase, entry: Entry) -> Found:
    """What ill-health opens to a person: a pension before the minimum age, or all that is uncrystallised in one lump sum. Whoever
    is known to be ill hears of it before all else."""
    found = _ill_health_route(case, entry)
    return tuple(one._replace(first=True) for one in found) if case.person.ill_health_given else found


def _ill_health_route(case: PersonCase, entry: Entry) -> Found:
    facts, person = case.person.facts, case.person
    if facts is None or facts.ill_health == "none":
        return ()
    early = next(
        (
            year
            for year in case.years
            for taken in year.taken
            if taken.age < taken.minimum_age and (person.ill_health_given or not year.runs_on(taken))
        ),
        None,
    )
    place = (*person.path, "circumstances", "ill_health")
    if facts.ill_health == "life_expectancy_under_a_year":
        return _of_a_life_expectancy(case, early or case.years[0], early is not None, place, entry)
    if early is None:
        return ()
    if facts.ill_health == "unable_to_work":
        detail = (
            "If ill-health has ended work for good, benefits can be taken before the minimum age. Tax is due as usual. The "
            "scheme needs medical evidence, and work must have stopped. Ask it what evidence it needs."
        )
    else:
        detail = (
            "Ill-health that has ended work, or a life expectancy under a year, may allow benefits at any age. We were not told "
            "whether either applies. Without this, the payment would be unauthorised. Ask the scheme what medical evidence it "
            "needs."
        )
    return entry.warn(detail, place, about=person, figures=early.figures)


def _of_a_life_expectancy(
    case: PersonCase, year: YearFacts, early: bool, place: tuple[str | int, ...], entry: Entry
) -> Found:
    """The serious ill-health lump sum (FA 2004 Sch.29 para 4; ITEPA 2003 s.637C): at any age, of what is uncrystallised, free of
    tax under 75 within the allowance that is left, and taxed as pension income above it and from 75 on."""
    person = case.person
    if not year.before.uncrystallised:
        if not early:
            return ()
        return entry.warn(
            "If ill-health has ended work for good, income from drawdown can be paid before the minimum age. Tax is due as "
            "usual. Ask the scheme what medical evidence it needs.",
            place,
            about=person,
            figures=year.figures,
        )
    taxed_from = year.figures.count(_ILL_HEALTH_TAXED_FROM)
    money = {}
    left, name = year.left_before.lump_sum_and_death_benefit_allowance, "lump sum and death benefit allowance"
    key = "lump_sum_and_death_benefit_allowance_left"
    if left is None:
        left, name, key = year.left_before.lifetime_allowance, "lifetime allowance", "lifetime_allowance_left"
    if age_on(person.born, year.figures.start) >= taxed_from:
        tax = f"From age {taxed_from} this lump sum is taxed as income."
    else:
        money = {key: left or 0}
        tax = f"Under {taxed_from} this lump sum is tax free up to the {name} left, {pounds(left or 0)}."
        if year.age >= taxed_from:
            tax += f" From {day_month_year(birthday(person.born, taxed_from))} it is taxed as income."
    drawdown = " Funds already in drawdown can be paid only as income." if year.before.drawdown else ""
    return entry.warn(
        "If a doctor confirms a life expectancy under a year, the scheme may pay all funds outside drawdown at any age. "
        f"{tax}{drawdown} Ask the scheme what medical evidence it needs.",
        place,
        about=person,
        figures=year.figures,
        money=money,
    )


@TOPIC.of_a_withdrawal(
    "capped_drawdown",
    "check",
    "Capped drawdown has its own limit",
    "Income is taken from drawdown that may have begun before 6 April 2015, and earlier flexible access is not given.",
    facts=("flexibly_accessed", "pensions.drawdown", "withdrawals.method", "date_of_birth"),
    sources=("Finance Act 2004 s.227G and Sch.28 paras 8-8D", "Taxation of Pensions Act 2014 Sch.1"),
    of_one_pension=True,
    only="with_facts",
)
def capped_drawdown(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Income within the limit of capped drawdown is no flexible access, and only funds of before 2015 can be in it."""
    if taken.method != "drawdown" or not taken.triggers or not year.person.earlier_access_matters:
        return ()
    first = year.figures.day("pension.flexi_access_drawdown_from")
    earlier = year.rules.earlier_minimum_pension_age
    least = year.rules.minimum_pension_age if earlier is None else earlier[1]
    if birthday(year.person.born, taken.before.protected_pension_age or least) >= first:
        return ()
    return entry.warn(
        "Income within the yearly limit of a capped drawdown arrangement does not trigger the money purchase annual allowance. "
        f"Only funds in drawdown since before {day_month_year(first)} can be capped. We were not told whether these are.",
        taken.path,
        about=year.person,
        figures=year.figures,
    )
