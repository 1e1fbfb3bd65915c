"""Benefits, support and care that depend on income or capital, before and after the withdrawals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from typing import NamedTuple

from service.law import winter_fuel
from service.law.ages import age_on
from service.law.income_tax import Nation
from service.law.lump_sums import Method
from service.law.units import WHOLE, Pence
from service.planning.warnings.circumstances import Benefits, Circumstances, PersonCase, PersonFacts, Taken, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with
from service.planning.warnings.warning import Found
from service.planning.wording import pounds

TOPIC: Topic = Topic()

_MONTHS, _WEEKS, _DAYS = 12, 52, 7

_UC_LOWER, _UC_UPPER = "benefits.universal_credit_lower_capital", "benefits.universal_credit_upper_capital"


class Capital(NamedTuple):
    """A household's cash and ISAs before the withdrawals, and with what they leave after tax; pence."""

    year: YearFacts
    before: Pence
    after: Pence

    @property
    def money(self) -> dict[str, Pence]:
        """The amounts by name."""
        return {"cash_and_isas_before": self.before, "cash_and_isas_after": self.after}


def _capital(case: Circumstances) -> Capital:
    held = case.cash_and_isas
    return Capital(case.last_year, held, held + case.drawn_after_tax)


def _received(case: Circumstances) -> Benefits | None:
    """What anybody in the household receives; None where it was given of nobody."""
    given = [
        one.person.facts.benefits
        for one in case.people
        if one.person.facts is not None and one.person.facts.benefits is not None
    ]
    if not given:
        return None
    return Benefits(
        universal_credit=any(one.universal_credit for one in given),
        pension_credit=any(one.pension_credit for one in given),
        housing_benefit=any(one.housing_benefit for one in given),
        council_tax_support=any(one.council_tax_support for one in given),
        care_support=any(one.care_support for one in given),
        new_style_employment_and_support_allowance=any(one.new_style_employment_and_support_allowance for one in given),
        new_style_jobseekers_allowance=any(one.new_style_jobseekers_allowance for one in given),
    )


def _where(case: Circumstances) -> tuple[str | int, ...]:
    """The first person of whom benefits were given."""
    given = (
        one.person for one in case.people if one.person.facts is not None and one.person.facts.benefits is not None
    )
    return (*next(given).path, "circumstances", "benefits")


def _steps(capital: Pence, lower: Pence, step: int) -> int:
    """Steps, or parts of one, above the lower limit."""
    return -(-max(0, capital - lower) // step)


@TOPIC.of_the_household(
    "universal_credit_reduced",
    "costs",
    "Universal Credit is reduced",
    "Universal Credit is received, and withdrawals raise cash and ISAs above the lower capital limit.",
    facts=("circumstances.benefits.universal_credit", "cash", "isa.value", "withdrawals.amount"),
    sources=("Universal Credit Regulations 2013 regs 18, 72",),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "universal_credit_lost_a_month": "pounds",
        "universal_credit_lost_a_year": "pounds",
        "universal_credit_lower_capital": "pounds",
    },
    only="with_facts",
    severity="support",
)
def universal_credit_reduced(case: Circumstances, entry: Entry) -> Found:
    """Capital above the lower limit reduces Universal Credit."""
    received = _received(case)
    if received is None or not received.universal_credit:
        return ()
    capital = _capital(case)
    figures = capital.year.figures
    lower, step = figures.money(_UC_LOWER), figures.money("benefits.universal_credit_capital_step")
    more = _steps(capital.after, lower, step) - _steps(capital.before, lower, step)
    if more <= 0 or capital.after > figures.money(_UC_UPPER):
        return ()
    monthly = more * figures.money("benefits.universal_credit_monthly_income")
    yearly = monthly * _MONTHS
    return entry.warn(
        f"With the withdrawals, cash and ISAs come to {pounds(capital.after)}, above {pounds(lower)}. Universal Credit falls "
        f"by {pounds(monthly)} a month, {pounds(yearly)} a year, or by more where the money counts as income. A benefits "
        "adviser can check this before the money is taken.",
        _where(case),
        figures=figures,
        rests_on=(_UC_LOWER,),
        money={
            **capital.money,
            "universal_credit_lost_a_month": monthly,
            "universal_credit_lost_a_year": yearly,
        },
        cost=yearly,
    )


@TOPIC.of_the_household(
    "universal_credit_ends",
    "costs",
    "Universal Credit ends",
    "Universal Credit is received, and withdrawals raise cash and ISAs above the upper capital limit.",
    facts=("circumstances.benefits.universal_credit", "cash", "isa.value", "withdrawals.amount"),
    sources=("Universal Credit Regulations 2013 reg.18",),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "universal_credit_upper_capital": "pounds",
    },
    only="with_facts",
    severity="support",
)
def universal_credit_ends(case: Circumstances, entry: Entry) -> Found:
    """Capital above the upper limit ends Universal Credit."""
    received = _received(case)
    if received is None or not received.universal_credit:
        return ()
    capital = _capital(case)
    upper = capital.year.figures.money(_UC_UPPER)
    if not capital.before <= upper < capital.after:
        return ()
    return entry.warn(
        f"With the withdrawals, cash and ISAs come to {pounds(capital.after)}, above {pounds(upper)}. Universal Credit then "
        "ends. Money in an ISA counts; a benefits adviser can check this before the money is taken.",
        _where(case),
        figures=capital.year.figures,
        rests_on=(_UC_UPPER,),
        money=capital.money,
    )


@TOPIC.of_the_household(
    "pension_credit_reduced",
    "costs",
    "Pension Credit is reduced",
    "Pension Credit is received, and withdrawals raise cash and ISAs above what is disregarded.",
    facts=("circumstances.benefits.pension_credit", "cash", "isa.value", "withdrawals.amount"),
    sources=("State Pension Credit Regulations 2002 reg.15",),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "pension_credit_lost_a_week": "pounds",
        "pension_credit_lost_a_year": "pounds",
        "pension_credit_lower_capital": "pounds",
    },
    only="with_facts",
    severity="support",
)
def pension_credit_reduced(case: Circumstances, entry: Entry) -> Found:
    """Capital above the lower limit reduces Pension Credit; there is no upper limit."""
    received = _received(case)
    if received is None or not received.pension_credit:
        return ()
    capital = _capital(case)
    figures = capital.year.figures
    lower, step = (
        figures.money("benefits.pension_credit_lower_capital"),
        figures.money("benefits.pension_credit_capital_step"),
    )
    more = _steps(capital.after, lower, step) - _steps(capital.before, lower, step)
    if more <= 0:
        return ()
    weekly = more * figures.money("benefits.pension_credit_weekly_income")
    yearly = weekly * _WEEKS
    housing = (
        " Housing Benefit can then fall or end too, if the guarantee part of Pension Credit ends."
        if received.housing_benefit
        else ""
    )
    return entry.warn(
        f"With the withdrawals, cash and ISAs come to {pounds(capital.after)}, above {pounds(lower)}. Pension Credit falls "
        f"by {pounds(weekly)} a week, {pounds(yearly)} a year. An award of no more than that ends.{housing} A benefits adviser "
        "can check this before the money is taken.",
        _where(case),
        figures=figures,
        rests_on=("benefits.pension_credit_lower_capital",),
        money={**capital.money, "pension_credit_lost_a_week": weekly, "pension_credit_lost_a_year": yearly},
        cost=yearly,
    )


_HB_UPPER = "benefits.housing_benefit_upper_capital"


def _of_pension_age(case: Circumstances) -> bool:
    """Whether all have reached State Pension age when the last withdrawal is made. For couples on either side of it the rules
    below pension age are used (our choice)."""
    day = max(
        (taken.day for one in case.people for year in one.years for taken in year.taken if taken.day is not None),
        default=case.last_year.last_day,
    )
    return all(_reached_state_pension_age(one.person, day) for one in case.people)


def _housing_benefit_by_capital(case: Circumstances) -> bool:
    """Whether Housing Benefit is received and looks at capital. The guarantee part of Pension Credit spares it (SI 2006/214
    reg.26); whoever receives Pension Credit is taken to have that part, and is told by its own warning (our choice)."""
    received = _received(case)
    return received is not None and received.housing_benefit and not received.pension_credit


@TOPIC.of_the_household(
    "housing_benefit_reduced",
    "costs",
    "Housing Benefit is reduced",
    "Housing Benefit is received without Pension Credit, and withdrawals raise cash and ISAs above the lower capital limit.",
    facts=("circumstances.benefits.housing_benefit", "cash", "isa.value", "withdrawals.amount", "date_of_birth"),
    sources=("SI 2006/213 regs 52, 71", "SI 2006/214 regs 29, 51"),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "housing_benefit_lost_a_week": "pounds",
        "housing_benefit_lost_a_year": "pounds",
        "housing_benefit_lower_capital": "pounds",
        "housing_benefit_lower_capital_pension_age": "pounds",
    },
    only="with_facts",
    severity="support",
)
def housing_benefit_reduced(case: Circumstances, entry: Entry) -> Found:
    """Capital above the lower limit counts as income, and 65p of each pound of that comes off Housing Benefit."""
    if not _housing_benefit_by_capital(case):
        return ()
    capital = _capital(case)
    figures = capital.year.figures
    of_age = "_pension_age" if _of_pension_age(case) else ""
    name = f"benefits.housing_benefit_lower_capital{of_age}"
    lower, step = figures.money(name), figures.money(f"benefits.housing_benefit_capital_step{of_age}")
    more = _steps(capital.after, lower, step) - _steps(capital.before, lower, step)
    if more <= 0 or capital.after > figures.money(_HB_UPPER):
        return ()
    counted = more * figures.money("benefits.housing_benefit_weekly_income")
    weekly = counted * figures.rate("benefits.housing_benefit_reduction_share") // WHOLE
    yearly = weekly * _WEEKS
    return entry.warn(
        f"With the withdrawals, cash and ISAs come to {pounds(capital.after)}, above {pounds(lower)}. Housing Benefit falls "
        f"by up to {pounds(weekly)} a week, {pounds(yearly)} a year, or by more where the money counts as income. A benefits "
        "adviser can check this before the money is taken.",
        _where(case),
        figures=figures,
        rests_on=(name,),
        money={**capital.money, "housing_benefit_lost_a_week": weekly, "housing_benefit_lost_a_year": yearly},
        cost=yearly,
    )


@TOPIC.of_the_household(
    "housing_benefit_ends",
    "costs",
    "Housing Benefit ends",
    "Housing Benefit is received without Pension Credit, and withdrawals raise cash and ISAs above the upper capital limit.",
    facts=("circumstances.benefits.housing_benefit", "cash", "isa.value", "withdrawals.amount"),
    sources=("SI 2006/213 reg.43", "SI 2006/214 regs 26, 43"),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "housing_benefit_upper_capital": "pounds",
    },
    only="with_facts",
    severity="support",
)
def housing_benefit_ends(case: Circumstances, entry: Entry) -> Found:
    """Capital above the upper limit ends Housing Benefit."""
    if not _housing_benefit_by_capital(case):
        return ()
    capital = _capital(case)
    upper = capital.year.figures.money(_HB_UPPER)
    if not capital.before <= upper < capital.after:
        return ()
    return entry.warn(
        f"With the withdrawals, cash and ISAs come to {pounds(capital.after)}, above {pounds(upper)}. Housing Benefit then "
        "ends. Money in an ISA counts; a benefits adviser can check this before the money is taken.",
        _where(case),
        figures=capital.year.figures,
        rests_on=(_HB_UPPER,),
        money=capital.money,
    )


def _reached_state_pension_age(person: PersonFacts, day: date) -> bool:
    """On a day; those without a day in the table reached it before 6 April 2019."""
    return person.has_state_pension_age and (person.state_pension_from is None or person.state_pension_from <= day)


_PAYS_AN_INCOME: frozenset[Method] = frozenset(("drawdown", "ufpls"))
"""The methods whose payments, if they are regular, are a pension of which contributory benefits take account."""


def _a_week(paid: Sequence[Taken]) -> Pence:
    """What payments come to in a week of the time for which they are made: several on different days, each for the average
    time from one to the next; others for the year. The Department for Work and Pensions decides on the time of a payment, so
    that this is our choice."""
    drawn, days = (
        sum(taken.payment.gross for taken in paid),
        sorted(taken.day for taken in paid if taken.day is not None),
    )
    over_the_year = drawn // _WEEKS
    if len(days) < len(paid) or len(set(days)) < 2:
        return over_the_year
    return max(over_the_year, drawn * _DAYS * (len(days) - 1) // ((days[-1] - days[0]).days * len(days)))


@TOPIC.of_a_year(
    "contributory_benefit_reduced",
    "check",
    "A contributory benefit may fall",
    "New-style Employment and Support Allowance or Jobseeker's Allowance is received, and what is drawn is above its limit "
    "for pension income.",
    facts=(
        "circumstances.benefits.new_style_employment_and_support_allowance",
        "circumstances.benefits.new_style_jobseekers_allowance",
        "withdrawals.amount",
    ),
    sources=("SI 2008/794 reg.74", "Jobseeker's Allowance Regulations 2013 reg.51"),
    figures={
        "drawn_as_income": "pounds",
        "drawn_as_income_a_week": "pounds",
        "contributory_benefit_lost_a_week": "pounds",
        "employment_and_support_allowance_pension_limit": "pounds",
        "jobseekers_allowance_pension_limit": "pounds",
    },
    only="with_facts",
    severity="support",
)
def contributory_benefit_reduced(year: YearFacts, entry: Entry) -> Found:
    """A pension in payment above a weekly limit reduces contributory benefits: by half of the excess, or by all of it, for
    each week for which it is paid. Pensions in payment already are not looked at (our choice)."""
    facts = year.person.facts
    if facts is None or facts.benefits is None:
        return ()
    received, figures = facts.benefits, year.figures
    paid = [taken for taken in year.taken if taken.method in _PAYS_AN_INCOME]
    drawn, weekly = sum(taken.payment.gross for taken in paid), _a_week(paid)
    if received.new_style_employment_and_support_allowance:
        name, benefit = "benefits.employment_and_support_allowance_pension_limit", "Employment and Support Allowance"
        share, part = figures.rate("benefits.employment_and_support_allowance_pension_share"), "half"
    elif received.new_style_jobseekers_allowance:
        name, benefit = "benefits.jobseekers_allowance_pension_limit", "Jobseeker's Allowance"
        share, part = WHOLE, "all"
    else:
        return ()
    limit = figures.money(name)
    lost = max(0, weekly - limit) * share // WHOLE
    if not lost:
        return ()
    return entry.warn(
        f"The {pounds(drawn)} drawn as income in {year.name} is about {pounds(weekly)} a week. New-style {benefit} falls by "
        f"{part} of pension income above {pounds(limit)} a week, here by {pounds(lost)}, or ends. Regular drawdown counts; ask "
        "the Jobcentre about a single payment.",
        (*year.person.path, "circumstances", "benefits"),
        about=year.person,
        figures=figures,
        rests_on=(name,),
        money={
            "drawn_as_income": drawn,
            "drawn_as_income_a_week": weekly,
            "contributory_benefit_lost_a_week": lost,
        },
    )


@TOPIC.of_a_person(
    "notional_income",
    "check",
    "The pension counts even if untouched",
    "A means-tested benefit, council tax support or help with care is received, State Pension age is reached, and funds "
    "remain.",
    facts=("circumstances.benefits", "date_of_birth", "income", "pensions.uncrystallised", "pensions.drawdown"),
    sources=(
        "Universal Credit Regulations 2013 reg.74(3)-(4)",
        "State Pension Credit Regulations 2002 reg.18",
        "SI 2006/214 reg.41(4)",
        "SSI 2012/319 reg.38(4)",
        "Care and Support (Charging and Assessment of Resources) Regulations 2014 reg.17",
    ),
    figures={"pension_left": "pounds"},
    only="with_facts",
    severity="support",
)
def notional_income(case: PersonCase, entry: Entry) -> Found:
    """From pension credit age on, a pot left alone counts as if it paid an income, for benefits and for care (Care and Support
    statutory guidance, Annex C). A State Pension put off counts for Universal Credit and Pension Credit alone (SI 2006/214
    reg.41(2))."""
    facts = case.person.facts
    if facts is None or facts.benefits is None or not case.years[-1].held_after:
        return ()
    received, year, person = facts.benefits, case.years[-1], case.person
    counts_deferred = received.universal_credit or received.pension_credit
    benefits = counts_deferred or received.housing_benefit or received.council_tax_support
    if not (benefits or received.care_support) or not _reached_state_pension_age(person, year.last_day):
        return ()
    left = f"the {pounds(year.held_after)} left in {person.your} pension"
    council = "council" if benefits else _CARE_PAID_BY[person.nation][0]
    if benefits:
        said = (
            f"From State Pension age, {left} counts as if it paid an income, about what an annuity would. This is so even if "
            "nothing is drawn."
        )
    else:
        said = f"The {council} may count the income that {left} could pay, even if nothing is drawn."
    deferred = " A State Pension that is put off counts too." if counts_deferred and not year.state_pension else ""
    asks = f"the {council}"
    if counts_deferred:
        by_council = received.care_support or received.council_tax_support
        asks = f"the benefit office and {asks}" if by_council else "the benefit office"
    return entry.warn(
        f"{said}{deferred} Ask {asks} what income is assumed.",
        (*person.path, "circumstances", "benefits"),
        about=person,
        figures=year.figures,
        money={"pension_left": year.held_after},
    )


@TOPIC.of_a_person(
    "deprivation_of_capital",
    "check",
    "Money given away may still count",
    "Benefits or care that depend on capital are received, money is withdrawn, and gifts are planned or not given.",
    facts=("circumstances.benefits", "circumstances.gifts_planned", "withdrawals.amount"),
    sources=(
        "Universal Credit Regulations 2013 reg.50",
        "State Pension Credit Regulations 2002 reg.21",
        "Care and Support (Charging and Assessment of Resources) Regulations 2014 reg.22",
    ),
    figures={"gifts_planned": "pounds"},
    only="with_facts",
)
def deprivation_of_capital(case: PersonCase, entry: Entry) -> Found:
    """Money given away or spent to have more benefit counts as still held."""
    facts = case.person.facts
    if facts is None or facts.benefits is None or not facts.benefits.depends_on_capital or facts.gifts_planned == 0:
        return ()
    year = next((year for year in case.years if year.gross), None)
    if year is None:
        return ()
    given = facts.gifts_planned
    detail = (
        "Money given away or spent to get more benefit or help with care may be treated as still held. We were not told "
        "whether gifts are planned."
        if given is None
        else f"{pounds(given)} is to be given away. If a reason is to get more benefit or help with care, it may be treated "
        "as still held. Keep a record of the reasons."
    )
    return entry.warn(
        detail,
        (*case.person.path, "circumstances", "gifts_planned"),
        about=case.person,
        figures=year.figures,
        not_given=given is None,
        money={} if given is None else {"gifts_planned": given},
    )


_WINTER_PAYMENTS = (
    "payment",
    "payment_from_higher_age",
    "shared_payment",
    "shared_payment_older_of_two",
    "shared_payment_from_higher_age",
    "scottish_payment",
    "scottish_payment_from_higher_age",
    "scottish_shared_payment",
    "scottish_shared_payment_from_higher_age",
)


def _winter_payment(person: PersonFacts, week_ends: date, higher_age: int) -> str | None:
    """The figure with the person's amount, None where it is not held; a partner who qualifies too makes it smaller."""
    partner = person.partner
    of_partner = (
        age_on(partner.born, week_ends) >= higher_age
        if partner is not None and winter_fuel.qualifies(partner.state_pension_from, week_ends)
        else None
    )
    return winter_fuel.payment_named(
        age_on(person.born, week_ends) >= higher_age, of_partner, person.nation == "scotland"
    )


@TOPIC.of_a_year(
    "winter_fuel_payment_repaid",
    "costs",
    "The winter fuel payment is repaid",
    "State Pension age is reached in or before the qualifying week of September, and no benefit spares the payment. "
    "Withdrawals take total income above the limit.",
    facts=("date_of_birth", "income", "circumstances.benefits", "withdrawals.amount", "tax_residence"),
    sources=(
        "Income Tax (Earnings and Pensions) Act 2003 s.681I",
        "Finance Act 2026 Sch.10",
        "SI 2025/969",
        "SI 2024/869 regs 1-2",
    ),
    figures={
        "total_income_before": "pounds",
        "total_income_after": "pounds",
        "winter_fuel_income_limit": "pounds",
        **{f"winter_fuel_{payment}": "pounds" for payment in _WINTER_PAYMENTS},
    },
    since=first_day_with("winter_fuel.income_limit"),
    severity="support",
)
def winter_fuel_payment_repaid(year: YearFacts, entry: Entry) -> Found:
    """Income over the limit takes the winter fuel payment back. A partner lives in the same home (our choice); others who
    share it are not known. Whoever lives abroad is taken to have none: it is for people ordinarily resident here
    (SI 2025/969)."""
    person, figures = year.person, year.figures
    if not year.taxable or not person.has_state_pension_age or not figures.has("winter_fuel.income_limit"):
        return ()
    if person.lives_abroad:
        return ()
    limit, before = figures.money("winter_fuel.income_limit"), year.taxpayer.income
    income = before + year.taxable
    if not before <= limit < income:
        return ()
    benefits = None if person.facts is None else person.facts.benefits
    if benefits is not None and benefits.spares_winter_fuel:
        return ()
    if person.partner is not None and person.partner.spares_winter_fuel:
        return ()
    week_ends = winter_fuel.qualifying_week_ends(figures.start.year)
    if not winter_fuel.qualifies(person.state_pension_from, week_ends):
        return ()
    name = _winter_payment(person, week_ends, figures.count("winter_fuel.higher_age"))
    amount = 0 if name is None else figures.money(name)
    if entry.in_codes:
        return entry.code_alone(amount)
    payment = "Pension Age Winter Heating Payment" if person.nation == "scotland" else "a winter fuel payment"
    of_amount = "" if name is None else f" of {pounds(amount)}"
    spared = "" if benefits is not None else " People who get certain means-tested benefits keep it."
    return entry.warn(
        f"The withdrawals of {year.name} take {person.your} total income from {pounds(before)} to {pounds(income)}, above "
        f"{pounds(limit)}. If {person.you} {person.does('receive', 'receives')} {payment}{of_amount}, all of it is repaid "
        f"through tax.{spared} Tax-free cash and ISA withdrawals do not count.",
        year.path,
        about=year.person,
        figures=figures,
        rests_on=("winter_fuel.income_limit",) if name is None else ("winter_fuel.income_limit", name),
        money={"total_income_before": before, "total_income_after": income},
        cost=amount,
    )


_COUNCIL_TAX_LIMITS: tuple[str, ...] = (
    "benefits.council_tax_support_lower_capital",
    "benefits.council_tax_support_upper_capital",
)


@TOPIC.of_a_person(
    "council_tax_support_may_fall",
    "check",
    "Council tax support may fall",
    "Council tax support is received and money is withdrawn.",
    facts=("circumstances.benefits.council_tax_support", "withdrawals.amount", "date_of_birth", "tax_residence"),
    sources=("SI 2012/2885", "SI 2012/2886 para 71", "WSI 2012/3144", "SSI 2012/319"),
    figures={
        "withdrawals_in_the_year": "pounds",
        "council_tax_support_lower_capital": "pounds",
        "council_tax_support_upper_capital": "pounds",
    },
    only="with_facts",
    severity="support",
)
def council_tax_support_may_fall(case: PersonCase, entry: Entry) -> Found:
    """Council tax support looks at income and capital. In England a limit is prescribed from pension age, and each council has
    its own rules below it; in the other nations the rules are the nation's."""
    facts = case.person.facts
    year = next((year for year in case.years if year.gross), None)
    if facts is None or facts.benefits is None or not facts.benefits.council_tax_support or year is None:
        return ()
    figures, limits = year.figures, _COUNCIL_TAX_LIMITS
    if case.person.nation == "england" and _reached_state_pension_age(case.person, year.last_day):
        lower, upper = (figures.money(name) for name in limits)
        rule = (
            f"Savings above {pounds(lower)} count towards council tax support. Above {pounds(upper)} it usually ends, "
            "unless the guarantee part of Pension Credit is received."
        )
    else:
        local = " under each council's own rules" if case.person.nation == "england" else ""
        rule, limits = f"Council tax support depends on income and savings{local}.", ()
    return entry.warn(
        f"{rule} The {pounds(year.gross)} drawn in {year.name} may reduce or end it. Ask the council how it would treat this "
        "money.",
        (*case.person.path, "circumstances", "benefits"),
        about=case.person,
        figures=figures,
        rests_on=limits,
        money={"withdrawals_in_the_year": year.gross},
    )


_NATIONS: dict[Nation, str] = {
    "england": "England",
    "northern_ireland": "Northern Ireland",
    "scotland": "Scotland",
    "wales": "Wales",
}

_CARE_LIMITS: dict[Nation, tuple[str, str]] = {
    "england": ("care.lower_capital", "care.upper_capital"),
    "northern_ireland": ("care.northern_ireland_lower_capital", "care.northern_ireland_upper_capital"),
    "scotland": ("care.scotland_lower_capital", "care.scotland_upper_capital"),
    "wales": ("care.wales_home_upper_capital", "care.wales_residential_upper_capital"),
}
"""By nation, the limit from which savings raise what is paid for care, and that above which help ends. The Scottish limits are
for care homes. Wales has one limit for care at home and another for care homes, and assumes no income between them."""

_CARE_PAID_BY: dict[Nation, tuple[str, str, str]] = {
    "england": ("council", "care costs", ""),
    "northern_ireland": ("health and social care trust", "care costs", ""),
    "scotland": ("council", "the cost of a care home", " Personal care stays free."),
    "wales": ("council", "the cost of a care home", ""),
}
"""Who helps, with what, and what else is to be said."""


class Care(NamedTuple):
    """A person with help with care, and their own cash and ISAs before and after the withdrawals; pence."""

    one: PersonCase
    before: Pence
    after: Pence

    @property
    def money(self) -> dict[str, Pence]:
        """The amounts by name."""
        return {"cash_and_isas_before": self.before, "cash_and_isas_after": self.after}


def _in_care(case: Circumstances) -> Iterator[Care]:
    for one in case.people:
        facts = one.person.facts
        if facts is None or facts.benefits is None or not facts.benefits.care_support:
            continue
        drawn = sum(year.drawn_after_tax for year in one.years)
        if drawn:
            yield Care(one, facts.cash + facts.isas.value, facts.cash + facts.isas.value + drawn)


_CARE_SOURCES = (
    "LAC(DHSC)(2024)1",
    "Scotland: SSI 2025/31",
    "Wales: WSI 2017/214 reg.3, WSI 2019/234, WSI 2020/131",
)


@TOPIC.of_the_household(
    "care_support_ends",
    "costs",
    "Help with care costs ends",
    "Help with care is received, and withdrawals raise cash and ISAs above the upper capital limit of the nation.",
    facts=("circumstances.benefits.care_support", "cash", "isa.value", "withdrawals.amount", "tax_residence"),
    sources=("Care and Support (Charging and Assessment of Resources) Regulations 2014 reg.12", *_CARE_SOURCES),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "care_upper_capital": "pounds",
        "care_northern_ireland_upper_capital": "pounds",
        "care_scotland_upper_capital": "pounds",
        "care_wales_residential_upper_capital": "pounds",
    },
    only="with_facts",
    severity="support",
)
def care_support_ends(case: Circumstances, entry: Entry) -> Found:
    """Capital above the nation's upper limit ends help with care; in Scotland and Wales, with the cost of a care home."""
    told: Found = ()
    for found in _in_care(case):
        person, figures = found.one.person, found.one.years[-1].figures
        _, name = _CARE_LIMITS[person.nation]
        if not figures.has(name):
            continue
        upper = figures.money(name)
        if not found.before <= upper < found.after:
            continue
        helper, costs, more = _CARE_PAID_BY[person.nation]
        told += entry.warn(
            f"With the withdrawals, {person.your} cash and ISAs come to {pounds(found.after)}, above {pounds(upper)}. The "
            f"{helper} then no longer helps with {costs} until they fall to that limit.{more}",
            (*person.path, "circumstances", "benefits"),
            about=person,
            figures=figures,
            rests_on=(name,),
            money=found.money,
        )
    return told


@TOPIC.of_the_household(
    "care_contribution_rises",
    "costs",
    "The contribution to care rises",
    "Help with care is received, and withdrawals raise cash and ISAs above the nation's lower capital limit. In Wales "
    "it is the limit for care at home.",
    facts=("circumstances.benefits.care_support", "cash", "isa.value", "withdrawals.amount", "tax_residence"),
    sources=("Care and Support (Charging and Assessment of Resources) Regulations 2014 reg.25", *_CARE_SOURCES),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "care_contribution_rise_a_week": "pounds",
        "care_contribution_rise_a_year": "pounds",
        "care_lower_capital": "pounds",
        "care_northern_ireland_lower_capital": "pounds",
        "care_scotland_lower_capital": "pounds",
        "care_wales_home_upper_capital": "pounds",
        "care_wales_home_weekly_limit": "pounds",
        "care_wales_residential_upper_capital": "pounds",
    },
    only="with_facts",
    severity="support",
)
def care_contribution_rises(case: Circumstances, entry: Entry) -> Found:
    """Capital above the nation's lower limit raises the contribution to care."""
    told: Found = ()
    for found in _in_care(case):
        figures = found.one.years[-1].figures
        if figures.has(_CARE_LIMITS[found.one.person.nation][0]):
            told += (_welsh_contribution if found.one.person.nation == "wales" else _contribution)(found, entry)
    return told


def _contribution(found: Care, entry: Entry) -> Found:
    """A pound a week for each step above the lower limit; the step is the same in all three nations (SSI 2018/43)."""
    person, figures = found.one.person, found.one.years[-1].figures
    name, upper = _CARE_LIMITS[person.nation]
    lower, step = figures.money(name), figures.money("care.capital_step")
    more = _steps(found.after, lower, step) - _steps(found.before, lower, step)
    if more <= 0 or found.after > figures.money(upper):
        return ()
    weekly = more * figures.money("care.weekly_income")
    yearly = weekly * _WEEKS
    of_what = "the cost of a care home" if person.nation == "scotland" else "care"
    return entry.warn(
        f"With the withdrawals, {person.your} cash and ISAs come to {pounds(found.after)}, above {pounds(lower)}. The "
        f"contribution to {of_what} rises by {pounds(weekly)} a week, {pounds(yearly)} a year.",
        (*person.path, "circumstances", "benefits"),
        about=person,
        figures=figures,
        rests_on=(name,),
        money={**found.money, "care_contribution_rise_a_week": weekly, "care_contribution_rise_a_year": yearly},
        cost=yearly,
    )


def _welsh_contribution(found: Care, entry: Entry) -> Found:
    """In Wales: above the limit for care at home its whole cost is charged, up to the most there is a week. Where the care is
    given is not asked."""
    person, figures = found.one.person, found.one.years[-1].figures
    name, residential = _CARE_LIMITS["wales"]
    limit, most = figures.money(name), "care.wales_home_weekly_limit"
    if not found.before <= limit < found.after:
        return ()
    return entry.warn(
        f"With the withdrawals, {person.your} cash and ISAs come to {pounds(found.after)}, above {pounds(limit)}. In Wales, care "
        f"at home can then cost up to {pounds(figures.money(most))} a week. In a care home the limit is "
        f"{pounds(figures.money(residential))}. We were not told where the care is given.",
        (*person.path, "circumstances", "benefits"),
        about=person,
        figures=figures,
        rests_on=(name, most, residential),
        money=found.money,
    )


@TOPIC.of_the_household(
    "care_limits_of_the_nation_not_held",
    "check",
    "Savings affect help with care",
    "Help with care is received in a nation whose limits are not held for the tax year, and money is withdrawn.",
    facts=("circumstances.benefits.care_support", "tax_residence", "withdrawals.amount"),
    sources=("the charging rules of each nation",),
    figures={"cash_and_isas_before": "pounds", "cash_and_isas_after": "pounds"},
    only="with_facts",
    severity="support",
)
def care_limits_of_the_nation_not_held(case: Circumstances, entry: Entry) -> Found:
    """The limits of the nation for the tax year are not held."""
    told: Found = ()
    for found in _in_care(case):
        person, year = found.one.person, found.one.years[-1]
        if year.figures.has(_CARE_LIMITS[person.nation][1]):
            continue
        told += entry.warn(
            f"The withdrawals raise {person.your} cash and ISAs from {pounds(found.before)} to {pounds(found.after)}. These "
            f"savings affect help with care. This service does not have the limits of {_NATIONS[person.nation]} for "
            f"{year.name}; ask the council for them.",
            (*person.path, "circumstances", "benefits"),
            about=person,
            figures=year.figures,
            money=found.money,
        )
    return told


@TOPIC.of_the_household(
    "benefits_not_given",
    "check",
    "Benefits may be affected",
    "Benefits are not given. Some other income, cash or ISAs are, the income below the personal allowances and the "
    "capital within Universal Credit's upper limit. Somebody may live in the United Kingdom.",
    facts=("circumstances.benefits", "income", "cash", "isa.value", "circumstances.uk_resident"),
    sources=("Universal Credit Regulations 2013 regs 18, 72", "State Pension Credit Regulations 2002"),
    figures={"other_income": "pounds", "cash_and_isas_before": "pounds", "universal_credit_upper_capital": "pounds"},
    only="with_facts",
    severity="support",
)
def benefits_not_given(case: Circumstances, entry: Entry) -> Found:
    """What was said of income and capital is so low that benefits may be in payment, and which was not given. Where nothing was
    said of either, the notice of every answer tells of benefits (our choice)."""
    first = case.people[0]
    if first.person.facts is None or _received(case) is not None:
        return ()
    if all(one.person.facts is not None and one.person.facts.uk_resident is False for one in case.people):
        return ()
    drawn = [year for one in case.people for year in one.years if year.gross]
    if not drawn:
        return ()
    year = min(drawn, key=lambda one: one.last_day)
    figures = year.figures
    income = sum(found.taxpayer.income for one in case.people for found in one.years if found.name == year.name)
    allowance = figures.money("income_tax.personal_allowance")
    capital = _capital(case)
    limit = figures.money("benefits.universal_credit_upper_capital")
    if not (income or capital.before) or income >= allowance * len(case.people) or capital.before > limit:
        return ()
    return entry.warn(
        "The withdrawals may reduce means-tested benefits, council tax support or help with care. We were not told whether "
        f"any is received. {_given(income, capital.before, year.name)}",
        (*first.person.path, "circumstances", "benefits"),
        figures=figures,
        not_given=True,
        in_notice="We were not told whether any such benefit or help is received.",
        rests_on=("benefits.universal_credit_upper_capital",),
        money={"other_income": income, "cash_and_isas_before": capital.before},
    )


def _given(income: Pence, capital: Pence, name: str) -> str:
    """How little other income and capital was given, as a sentence."""
    of_income = (
        f"Other income given for {name} is {pounds(income)}" if income else f"No other income was given for {name}"
    )
    of_capital = f"cash and ISAs come to {pounds(capital)}" if capital else "no cash or ISAs were given"
    return f"{of_income}, and {of_capital}."


@TOPIC.of_a_year(
    "maintenance_loan_may_fall",
    "check",
    "A child's maintenance loan may fall",
    "A child has a student maintenance loan that depends on income, and there are taxable withdrawals.",
    facts=("circumstances.child_has_maintenance_loan", "withdrawals.amount"),
    sources=("Education (Student Support) Regulations 2011 (SI 2011/1986) Sch.4",),
    figures={"taxable_withdrawals": "pounds"},
    only="with_facts",
    severity="support",
)
def maintenance_loan_may_fall(year: YearFacts, entry: Entry) -> Found:
    """A student's maintenance loan goes by the parents' taxable income of the tax year that ends a year and a half before the
    academic year begins."""
    facts = year.person.facts
    if facts is None or not facts.child_has_maintenance_loan or not year.taxable:
        return ()
    academic_year = year.figures.end.year + 1
    return entry.warn(
        f"A child's maintenance loan depends on the parents' income. The {pounds(year.taxable)} of taxable withdrawals in "
        f"{year.name} may lower the loan, usually for the academic year that starts in {academic_year}.",
        (*year.person.path, "circumstances", "child_has_maintenance_loan"),
        about=year.person,
        figures=year.figures,
        money={"taxable_withdrawals": year.taxable},
    )
