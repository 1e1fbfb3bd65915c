"""Benefits, support and care that depend on income or capital, before and after the withdrawals."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from service.law.ages import age_on
from service.law.units import Pence
from service.planning.warnings.circumstances import Benefits, Circumstances, PersonCase, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with
from service.planning.warnings.warning import Found
from service.planning.wording import pounds

TOPIC: Topic = Topic()

_MONTHS, _WEEKS = 12, 52

_UC_LOWER, _UC_UPPER = "benefits.universal_credit_lower_capital", "benefits.universal_credit_upper_capital"


class Capital(NamedTuple):
    """A household's cash and ISAs before the withdrawals, and with what they leave after tax; pence."""

    year: YearFacts
    before: Pence
    after: Pence


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
    return entry.warn(
        f"With the withdrawals, cash and ISAs come to {pounds(capital.after)}, above {pounds(lower)}. Universal Credit falls "
        f"by {pounds(monthly)} a month, or by more where the money counts as income. A benefits adviser can check this "
        "before the money is taken.",
        _where(case),
        figures=figures,
        rests_on=(_UC_LOWER,),
        money={
            "cash_and_isas_before": capital.before,
            "cash_and_isas_after": capital.after,
            "universal_credit_lost_a_month": monthly,
        },
        cost=monthly * _MONTHS,
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
        money={"cash_and_isas_before": capital.before, "cash_and_isas_after": capital.after},
    )


@TOPIC.of_the_household(
    "pension_credit_reduced",
    "costs",
    "Pension Credit is reduced",
    "Pension Credit is received, and withdrawals raise cash and ISAs above what is disregarded.",
    facts=("circumstances.benefits.pension_credit", "cash", "isa.value", "withdrawals.amount"),
    sources=("State Pension Credit Regulations 2002",),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "pension_credit_lost_a_week": "pounds",
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
    return entry.warn(
        f"With the withdrawals, cash and ISAs come to {pounds(capital.after)}, above {pounds(lower)}. Pension Credit falls "
        f"by {pounds(weekly)} a week. A benefits adviser can check this before the money is taken.",
        _where(case),
        figures=figures,
        rests_on=("benefits.pension_credit_lower_capital",),
        money={
            "cash_and_isas_before": capital.before,
            "cash_and_isas_after": capital.after,
            "pension_credit_lost_a_week": weekly,
        },
        cost=weekly * _WEEKS,
    )


def _reached_state_pension_age(case: PersonCase, year: YearFacts) -> bool:
    """By the end of the tax year; those without a day in the table reached it before 6 April 2019."""
    if not case.person.has_state_pension_age:
        return False
    return case.person.state_pension_from is None or case.person.state_pension_from <= year.last_day


@TOPIC.of_a_person(
    "notional_income",
    "check",
    "The pension counts even if untouched",
    "A means-tested benefit is received, State Pension age is reached, and funds remain.",
    facts=("circumstances.benefits", "date_of_birth", "pensions.uncrystallised", "pensions.drawdown"),
    sources=("Universal Credit Regulations 2013 reg.74(3)-(4)", "State Pension Credit Regulations 2002 reg.18"),
    figures={"pension_left": "pounds"},
    only="with_facts",
    severity="support",
)
def notional_income(case: PersonCase, entry: Entry) -> Found:
    """From pension credit age on, a pot left alone counts as if it paid an income."""
    facts = case.person.facts
    if facts is None or facts.benefits is None or not case.years[-1].held_after:
        return ()
    received = facts.benefits
    if not (received.universal_credit or received.pension_credit or received.housing_benefit):
        return ()
    year = case.years[-1]
    if not _reached_state_pension_age(case, year):
        return ()
    return entry.warn(
        f"From State Pension age, the {pounds(year.held_after)} left in {case.person.your} pension counts as if it paid an "
        "income, about what an annuity would. This is so even if nothing is drawn. Ask the benefit office what it assumes.",
        (*case.person.path, "circumstances", "benefits"),
        about=case.person,
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
        "whether gifts are planned. Keep a record of the reasons."
        if given is None
        else f"{pounds(given)} is to be given away. If a reason is to get more benefit or help with care, it may be treated "
        "as still held. Keep a record of the reasons."
    )
    return entry.warn(
        detail,
        (*case.person.path, "circumstances", "gifts_planned"),
        about=case.person,
        figures=year.figures,
        money={} if given is None else {"gifts_planned": given},
    )


@TOPIC.of_a_year(
    "winter_fuel_payment_repaid",
    "costs",
    "The winter fuel payment is repaid",
    "State Pension age is reached, no benefit spares it, and withdrawals take total income above the limit.",
    facts=("date_of_birth", "income", "circumstances.benefits", "withdrawals.amount"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 s.681I", "Finance Act 2026 Sch.10"),
    figures={
        "total_income_before": "pounds",
        "total_income_after": "pounds",
        "winter_fuel_income_limit": "pounds",
        "winter_fuel_payment": "pounds",
        "winter_fuel_payment_from_higher_age": "pounds",
    },
    since=first_day_with("winter_fuel.income_limit"),
    severity="support",
)
def winter_fuel_payment_repaid(year: YearFacts, entry: Entry) -> Found:
    """Income over the limit takes the winter fuel payment back."""
    person, figures = year.person, year.figures
    if not year.taxable or not person.has_state_pension_age or not figures.has("winter_fuel.income_limit"):
        return ()
    limit, before = figures.money("winter_fuel.income_limit"), year.taxpayer.income
    income = before + year.taxable
    if not before <= limit < income:
        return ()
    if person.facts is not None and person.facts.benefits is not None and person.facts.benefits.spares_winter_fuel:
        return ()
    if person.state_pension_from is not None and person.state_pension_from > figures.end:
        return ()
    older = age_on(person.born, figures.end) >= figures.count("winter_fuel.higher_age")
    name = "winter_fuel.payment_from_higher_age" if older else "winter_fuel.payment"
    amount = figures.money(name)
    if entry.in_codes:
        return entry.code_alone(amount)
    return entry.warn(
        f"The withdrawals of {year.name} take {person.your} total income from {pounds(before)} to {pounds(income)}, above "
        f"{pounds(limit)}. If {person.you} {person.does('receive', 'receives')} a winter fuel payment of {pounds(amount)}, "
        "all of it is repaid through tax. Tax-free cash and ISA withdrawals do not count.",
        year.path,
        about=year.person,
        figures=figures,
        rests_on=("winter_fuel.income_limit", name),
        money={"total_income_before": before, "total_income_after": income},
        cost=amount,
    )


@TOPIC.of_a_person(
    "council_tax_support_may_fall",
    "check",
    "Council tax support may fall",
    "Council tax support is received and money is withdrawn.",
    facts=("circumstances.benefits.council_tax_support", "withdrawals.amount"),
    sources=(
        "SI 2012/2885",
        "SI 2012/2886 para 71",
    ),
    figures={"withdrawals_in_the_year": "pounds"},
    only="with_facts",
    severity="support",
)
def council_tax_support_may_fall(case: PersonCase, entry: Entry) -> Found:
    """Council tax support looks at income and capital, by local rules."""
    facts = case.person.facts
    year = next((year for year in case.years if year.gross), None)
    if facts is None or facts.benefits is None or not facts.benefits.council_tax_support or year is None:
        return ()
    return entry.warn(
        "Council tax support depends on income and savings; below pension age, councils in England have their own rules. The "
        f"{pounds(year.gross)} drawn in {year.name} may reduce or end it. Ask the council.",
        (*case.person.path, "circumstances", "benefits"),
        about=case.person,
        figures=year.figures,
        money={"withdrawals_in_the_year": year.gross},
    )


_NATIONS = {"northern_ireland": "Northern Ireland", "scotland": "Scotland", "wales": "Wales"}
"""The nations whose limits for care are not held."""


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


@TOPIC.of_the_household(
    "care_support_ends",
    "costs",
    "Help with care costs ends",
    "In England, help with care is received, and withdrawals raise cash and ISAs above the upper capital limit.",
    facts=("circumstances.benefits.care_support", "cash", "isa.value", "withdrawals.amount", "tax_residence"),
    sources=(
        "Care and Support (Charging and Assessment of Resources) Regulations 2014 reg.12",
        "LAC(DHSC)(2024)1",
    ),
    figures={"cash_and_isas_before": "pounds", "cash_and_isas_after": "pounds", "care_upper_capital": "pounds"},
    only="with_facts",
    severity="support",
)
def care_support_ends(case: Circumstances, entry: Entry) -> Found:
    """In England: capital above the upper limit ends help with care."""
    told: Found = ()
    for found in _in_care(case):
        person, figures = found.one.person, found.one.years[-1].figures
        upper = figures.money("care.upper_capital")
        if person.nation != "england" or not found.before <= upper < found.after:
            continue
        told += entry.warn(
            f"With the withdrawals, {person.your} cash and ISAs come to {pounds(found.after)}, above {pounds(upper)}. The "
            "council then no longer helps with care costs until they fall to that limit.",
            (*person.path, "circumstances", "benefits"),
            about=person,
            figures=figures,
            rests_on=("care.upper_capital",),
            money=found.money,
        )
    return told


@TOPIC.of_the_household(
    "care_contribution_rises",
    "costs",
    "The contribution to care rises",
    "In England, help with care is received, and withdrawals raise cash and ISAs above the lower capital limit.",
    facts=("circumstances.benefits.care_support", "cash", "isa.value", "withdrawals.amount", "tax_residence"),
    sources=(
        "Care and Support (Charging and Assessment of Resources) Regulations 2014 reg.25",
        "LAC(DHSC)(2024)1",
    ),
    figures={
        "cash_and_isas_before": "pounds",
        "cash_and_isas_after": "pounds",
        "care_contribution_rise_a_week": "pounds",
        "care_lower_capital": "pounds",
    },
    only="with_facts",
    severity="support",
)
def care_contribution_rises(case: Circumstances, entry: Entry) -> Found:
    """In England: capital above the lower limit raises the contribution to care."""
    told: Found = ()
    for found in _in_care(case):
        person, figures = found.one.person, found.one.years[-1].figures
        lower, step = figures.money("care.lower_capital"), figures.money("care.capital_step")
        more = _steps(found.after, lower, step) - _steps(found.before, lower, step)
        if person.nation != "england" or more <= 0 or found.after > figures.money("care.upper_capital"):
            continue
        weekly = more * figures.money("care.weekly_income")
        told += entry.warn(
            f"With the withdrawals, {person.your} cash and ISAs come to {pounds(found.after)}, above {pounds(lower)}. The "
            f"contribution to care rises by {pounds(weekly)} a week.",
            (*person.path, "circumstances", "benefits"),
            about=person,
            figures=figures,
            rests_on=("care.lower_capital",),
            money={**found.money, "care_contribution_rise_a_week": weekly},
            cost=weekly * _WEEKS,
        )
    return told


@TOPIC.of_the_household(
    "care_limits_of_the_nation_not_held",
    "check",
    "Savings affect help with care",
    "Outside England, help with care is received and money is withdrawn.",
    facts=("circumstances.benefits.care_support", "tax_residence", "withdrawals.amount"),
    sources=("the charging rules of each nation",),
    figures={"cash_and_isas_before": "pounds", "cash_and_isas_after": "pounds"},
    only="with_facts",
)
def care_limits_of_the_nation_not_held(case: Circumstances, entry: Entry) -> Found:
    """Outside England: the limits are others, and not held."""
    told: Found = ()
    for found in _in_care(case):
        person = found.one.person
        if person.nation == "england":
            continue
        told += entry.warn(
            f"The withdrawals raise {person.your} cash and ISAs from {pounds(found.before)} to {pounds(found.after)}. These "
            f"savings affect help with care. This service does not have the limits of {_NATIONS[person.nation]}; ask the "
            "council for them.",
            (*person.path, "circumstances", "benefits"),
            about=person,
            figures=found.one.years[-1].figures,
            money=found.money,
        )
    return told


@TOPIC.of_the_household(
    "benefits_not_given",
    "check",
    "Benefits may be affected",
    "Other income is below the personal allowances, cash and ISAs do not exceed Universal Credit's upper limit, "
    "and benefits are not given.",
    facts=("circumstances.benefits", "income", "cash", "isa.value"),
    sources=("Universal Credit Regulations 2013 regs 18, 72", "State Pension Credit Regulations 2002"),
    figures={"other_income": "pounds", "cash_and_isas_before": "pounds", "universal_credit_upper_capital": "pounds"},
    only="with_facts",
    severity="support",
)
def benefits_not_given(case: Circumstances, entry: Entry) -> Found:
    """Income and capital are so low that benefits may be in payment, and which was not given."""
    first = case.people[0]
    if first.person.facts is None or _received(case) is not None:
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
    if income >= allowance * len(case.people) or capital.before > limit:
        return ()
    return entry.warn(
        f"Other income in {year.name} is {pounds(income)}, below the personal allowances. Cash and ISAs come to "
        f"{pounds(capital.before)}; the limit is {pounds(limit)}. The withdrawals may reduce means-tested benefits, council "
        "tax support or help with care. We were not told whether any is received.",
        (*first.person.path, "circumstances", "benefits"),
        figures=figures,
        rests_on=("benefits.universal_credit_upper_capital",),
        money={"other_income": income, "cash_and_isas_before": capital.before},
    )
