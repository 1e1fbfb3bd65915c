"""How what is due is collected: by tax return, through payroll, and beside a State Pension that is paid without tax."""

from __future__ import annotations

from collections.abc import Mapping

from service.law.dates import day_month_year
from service.law.income_tax import Nation, liability, taxpayer_year
from service.law.payroll import CodePrefix, parse_code, tax_month
from service.law.rounding import down_to_the_penny
from service.law.units import POUND, WHOLE, Pence
from service.planning.payroll import PayrollOutcome
from service.planning.warnings.circumstances import PersonCase, Taken, YearFacts
from service.planning.warnings.topic import Entry, Topic
from service.planning.warnings.warning import Found
from service.planning.wording import pounds

TOPIC: Topic = Topic()

_LOANS = ("plan_1", "plan_2", "plan_4", "plan_5")

_WORTH_TELLING: Pence = POUND
"""So much too much or too little deducted, at least, is told: our choice."""


def _repayment(year: YearFacts, unearned: Pence, earned: Pence, plans: tuple[str, ...]) -> Pence:
    """What is repaid in the year; pence. Of several plans of one rate the lowest threshold counts."""
    figures = year.figures
    counted = earned + (unearned if unearned > figures.money("student_loan.unearned_income_limit") else 0)
    repaid = 0
    thresholds = [
        figures.money(f"student_loan.{plan}_threshold")
        for plan in _LOANS
        if plan in plans and figures.has(f"student_loan.{plan}_threshold")
    ]
    if thresholds:
        repaid += max(0, counted - min(thresholds)) * figures.rate("student_loan.rate")
    if "postgraduate" in plans:
        over = counted - figures.money("student_loan.postgraduate_threshold")
        repaid += max(0, over) * figures.rate("student_loan.postgraduate_rate")
    return down_to_the_penny(repaid)


@TOPIC.of_a_year(
    "student_loan_repayment",
    "costs",
    "More student loan is repaid",
    "A tax return is filed, or may be, there is a student loan, and pension income raises the repayment.",
    facts=("circumstances.student_loans", "circumstances.self_assessment", "income", "withdrawals.amount"),
    sources=("SI 2009/470 reg.29", "HMRC CSLM16035"),
    figures={
        "taxable_withdrawals": "pounds",
        "student_loan_repayment_rise": "pounds",
        "student_loan_unearned_income_limit": "pounds",
        "student_loan_plan_1_threshold": "pounds",
        "student_loan_plan_2_threshold": "pounds",
        "student_loan_plan_4_threshold": "pounds",
        "student_loan_plan_5_threshold": "pounds",
        "student_loan_postgraduate_threshold": "pounds",
    },
    only="with_facts",
)
def student_loan_repayment(year: YearFacts, entry: Entry) -> Found:
    """Pension income of someone who files a return counts for student loans (reg.29(1)(b) needs the return)."""
    facts = year.person.facts
    if facts is None or not facts.student_loans or not year.taxable or facts.self_assessment is False:
        return ()
    earned = year.earned
    unearned = year.taxpayer.income - earned
    before = _repayment(year, unearned, earned, facts.student_loans)
    after = _repayment(year, unearned + year.taxable, earned, facts.student_loans)
    if after <= before:
        return ()
    names = [f"student_loan.{plan}_threshold" for plan in facts.student_loans]
    if facts.self_assessment:
        detail = (
            "Pension income counts towards student loan repayments in a tax return. About "
            f"{pounds(after - before)} more would be due for {year.name} on {pounds(year.taxable)} of taxable withdrawals."
        )
    else:
        detail = (
            f"If a tax return is filed for {year.name}, pension income counts towards student loan repayments. About "
            f"{pounds(after - before)} more would be due on {pounds(year.taxable)} of taxable withdrawals. We were not told "
            "whether one is filed."
        )
    return entry.warn(
        detail,
        (*year.person.path, "circumstances", "student_loans"),
        about=year.person,
        figures=year.figures,
        rests_on=("student_loan.unearned_income_limit", *(name for name in names if year.figures.has(name))),
        money={"taxable_withdrawals": year.taxable, "student_loan_repayment_rise": after - before},
        cost=after - before,
    )


@TOPIC.of_a_year(
    "payments_on_account",
    "check",
    "Payments on account will be due",
    "A return is filed, and some tax is not deducted at source. It is at least the limit, and at least the share of the "
    "year's tax that has one.",
    facts=("circumstances.self_assessment", "withdrawals.amount", "income"),
    sources=("Taxes Management Act 1970 s.59A", "SI 1996/1654"),
    figures={
        "not_deducted_at_source": "pounds",
        "self_assessment_payments_on_account_limit": "pounds",
        "self_assessment_payments_on_account_share": "fraction",
    },
    only="with_facts",
)
def payments_on_account(year: YearFacts, entry: Entry) -> Found:
    """Tax not deducted at source, less what is deducted too much, leads to payments on account for the next year, unless it is
    less than either limit."""
    facts = year.person.facts
    if facts is None or facts.self_assessment is not True:
        return ()
    under = -sum(_too_much(year, taken) for taken in year.taken)
    figures = year.figures
    limit = figures.money("self_assessment.payments_on_account_limit")
    share = figures.rate("self_assessment.payments_on_account_share")
    if under < limit or under * WHOLE < year.with_it.total * (WHOLE - share):
        return ()
    after = figures.end.year + 1
    return entry.warn(
        f"{pounds(under)} of the tax on the withdrawals of {year.name} is not deducted at source. Two payments towards the next "
        f"year's tax, each half of what is not deducted, are due by 31 January {after} and 31 July {after}. If income will be "
        "lower, a claim to reduce them is possible.",
        (*year.person.path, "circumstances", "self_assessment"),
        about=year.person,
        figures=figures,
        rests_on=("self_assessment.payments_on_account_limit", "self_assessment.payments_on_account_share"),
        money={"not_deducted_at_source": under},
    )


def _too_much(year: YearFacts, taken: Taken) -> Pence:
    """What is deducted too much over the year because of a payment, negative where too little; pence.

    Nil of a payment that is not permitted. Where too much is deducted from one payment of the year and too little from
    another, the payment that is furthest out tells of what remains, and the others of nothing.
    """
    if taken.payroll is None or year.too_early(taken):
        return 0
    own = taken.payroll.over_deducted - taken.payroll.under_deducted
    if len(year.taken) == 1:
        return own
    of_all = {
        one.path: one.payroll.over_deducted - one.payroll.under_deducted
        for one in year.taken
        if one.payroll is not None and not year.too_early(one)
    }
    if min(of_all.values()) >= 0 or max(of_all.values()) <= 0:
        return own
    total = sum(of_all.values())
    furthest = max(of_all, key=lambda path: of_all[path] if total > 0 else -of_all[path])
    return total if taken.path == furthest else 0


@TOPIC.of_a_withdrawal(
    "payroll_takes_more_than_is_due",
    "check",
    "Too much tax is deducted at first",
    "What payroll has deducted, less refunds, is at least 1 pound more than the year's tax on the income it has to tax.",
    facts=("withdrawals.method", "withdrawals.amount", "income"),
    sources=("PAYE Regulations 2003 reg.58", "HMRC PAYE manual PAYE94055"),
    figures={"over_deducted": "pounds", "tax_deducted": "pounds", "refund": "pounds"},
    of_one_pension=True,
)
def payroll_takes_more_than_is_due(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """The first payment is taxed as if it came every month."""
    payroll = taken.payroll
    too_much = _too_much(year, taken)
    if payroll is None or too_much < _WORTH_TELLING:
        return ()
    if entry.in_codes:
        return entry.code_alone()
    over, deducted = pounds(too_much), payroll.deduction.tax
    if payroll.refund:
        detail = (
            f"This payment includes a refund of {pounds(payroll.refund)}. Over the year, {over} too much tax would still "
            "have been paid."
        )
    else:
        code = "On an emergency code, the" if _on_an_emergency_code(taken) else "The"
        not_due = (
            "No part of it is due over the year."
            if too_much == deducted
            else f"Over the year, {over} too much tax would then be paid."
        )
        detail = f"{code} provider will deduct {pounds(deducted)} from {year.person.your} payment. {not_due}"
    files = year.person.facts is not None and year.person.facts.self_assessment is True
    return entry.warn(
        f"{detail} {_how_it_comes_back(year, payroll)}{' A tax return also corrects it.' if files else ''}",
        taken.payroll_path,
        about=year.person,
        figures=year.figures,
        money={
            "over_deducted": too_much,
            **({"refund": payroll.refund} if payroll.refund else {"tax_deducted": deducted}),
        },
    )


def _how_it_comes_back(year: YearFacts, payroll: PayrollOutcome) -> str:
    """What settles an excess, by form, by later payments, or after the tax year."""
    way, form = payroll.reclaim.way, payroll.reclaim.form
    after = f"after 5 April {year.figures.end.year}"
    if form == "P55":
        return (
            "Form P55 reclaims it in the tax year if no more payments are due and the provider cannot refund it. Otherwise "
            f"HMRC works it out {after}."
        )
    if way == "form":
        return f"It can be reclaimed in the tax year with form {form}, or HMRC works it out {after}."
    if way == "later_payments":
        return f"Later payments in {year.name} normally correct it. Otherwise HMRC works it out {after}."
    if way == "treaty":
        return "The reclaim forms are for UK residents. A claim may be possible under a double taxation agreement."
    return f"HMRC works it out {after}."


@TOPIC.of_a_withdrawal(
    "payroll_takes_less_than_is_due",
    "check",
    "More tax will be due later",
    "What payroll has deducted, less refunds, is at least 1 pound less than the year's tax on the income it has to tax. "
    "It is not because of a State Pension.",
    facts=("withdrawals.method", "withdrawals.amount", "income"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 s.684",),
    figures={"under_deducted": "pounds", "refund": "pounds"},
    of_one_pension=True,
)
def payroll_takes_less_than_is_due(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Payroll takes too little, so a bill follows."""
    payroll = taken.payroll
    too_little = -_too_much(year, taken)
    if payroll is None or too_little < _WORTH_TELLING:
        return ()
    if _state_pension_uses_the_allowance(year) and _on_an_emergency_code(taken):
        return ()
    if entry.in_codes:
        return entry.code_alone()
    refunded, money = "", {"under_deducted": too_little}
    if payroll.refund:
        refunded = f"The refund of {pounds(payroll.refund)} in this payment is more than is owed over the year. "
        money["refund"] = payroll.refund
    return entry.warn(
        f"{refunded}About {pounds(too_little)} more tax will be due for {year.name} than is deducted from "
        f"{year.person.your} payment. HMRC "
        "collects it by a new tax code, by Simple Assessment or through a tax return.",
        taken.payroll_path,
        about=year.person,
        figures=year.figures,
        money=money,
    )


@TOPIC.of_a_withdrawal(
    "pay_to_date_above_income",
    "check",
    "Pay to date is more than the income",
    "In a quote, the pay to date of a cumulative code is more than the income given that a payer can have paid.",
    facts=("payroll.pay_to_date", "income"),
    sources=("PAYE Regulations 2003 reg.23",),
    figures={"pay_to_date": "pounds", "pay_to_date_not_in_income": "pounds"},
    of_one_pension=True,
)
def pay_to_date_above_income(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Earlier payments are income of the year, and the tax of the year is too low without them."""
    payroll = taken.payroll
    if payroll is None or not taken.pay_not_in_the_income:
        return ()
    pay = payroll.facts.pay_to_date
    return entry.warn(
        f"The pay to date is {pounds(pay)}, of which {pounds(taken.pay_not_in_the_income)} is not in the income given. "
        "Earlier payments belong in the income as well, otherwise the year's tax is too low. Check both amounts.",
        (*taken.payroll_path, "pay_to_date"),
        about=year.person,
        figures=year.figures,
        money={"pay_to_date": pay, "pay_to_date_not_in_income": taken.pay_not_in_the_income},
    )


@TOPIC.of_a_withdrawal(
    "payroll_month_differs_from_the_date",
    "check",
    "The tax month does not fit the date",
    "In a quote, the tax month given for a cumulative code is not the one that the date of payment is in.",
    facts=("payroll.month", "withdrawals.date"),
    sources=("PAYE Regulations 2003 reg.23",),
    figures={"tax_month_given": "month", "tax_month_of_the_date": "month"},
    of_one_pension=True,
)
def payroll_month_differs_from_the_date(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """The month decides how much of the allowance and the bands a cumulative code has given so far."""
    if taken.payroll is None or taken.payroll.assumed or taken.day is None or not taken.payment.taxable:
        return ()
    facts, month = taken.payroll.facts, tax_month(taken.day)
    if facts.basis != "cumulative" or facts.month == month:
        return ()
    return entry.warn(
        f"A payment on {day_month_year(taken.day)} is in tax month {month}, but month {facts.month} was given. The tax month "
        "decides how much a cumulative code leaves free of tax, so the deduction may be wrong. Check the month and the date.",
        (*taken.payroll_path, "month"),
        about=year.person,
        figures=year.figures,
        counts={"tax_month_given": facts.month, "tax_month_of_the_date": month},
    )


@TOPIC.of_a_year(
    "not_uk_resident_tax",
    "check",
    "Tax may be due in another country",
    "Taxable withdrawals are planned by somebody who is not UK resident.",
    facts=("circumstances.uk_resident", "withdrawals.amount"),
    sources=(
        "Income Tax (Earnings and Pensions) Act 2003 s.576A",
        "HMRC PAYE manual PAYE94055",
        "gov.uk, Tax on your UK income if you live abroad",
    ),
    figures={"taxable_withdrawals": "pounds"},
)
def not_uk_resident_tax(year: YearFacts, entry: Entry) -> Found:
    """Another country may tax the pension, the United Kingdom may not, and a return brings some withdrawals back."""
    if not year.person.lives_abroad or not year.taxable:
        return ()
    return entry.warn(
        f"{year.person.who} {year.person.does('are', 'is')} not UK resident. Tax on the {pounds(year.taxable)} of {year.name} "
        "may be due in the country of residence, and a treaty may free it from UK tax. The provider deducts UK tax until HMRC "
        "sends a code for this. After a return within about five years, large flexible withdrawals can be taxed in the UK for "
        "the year of return.",
        (*year.person.path, "circumstances", "uk_resident"),
        about=year.person,
        figures=year.figures,
        money={"taxable_withdrawals": year.taxable},
    )


_PREFIXES: Mapping[Nation, CodePrefix] = {"england": "", "northern_ireland": "", "scotland": "S", "wales": "C"}
_TAXPAYERS: Mapping[CodePrefix, str] = {
    "": "taxpayers in England or Northern Ireland",
    "S": "Scottish taxpayers",
    "C": "Welsh taxpayers",
}


@TOPIC.of_a_withdrawal(
    "tax_code_of_another_nation",
    "check",
    "The tax code is for another nation",
    "In a quote, the tax code given, other than NT, does not have the letter of the nation. It is S for Scotland and C "
    "for Wales, and none elsewhere.",
    facts=("payroll.code", "tax_residence"),
    sources=("gov.uk, Tax codes: what your tax code means",),
    of_one_pension=True,
)
def tax_code_of_another_nation(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Payroll deducts by the rates of one nation, and the year's tax is that of another."""
    if taken.payroll is None or taken.payroll.assumed or not taken.payment.taxable:
        return ()
    code, wanted = parse_code(taken.payroll.facts.code), _PREFIXES[year.person.nation]
    if code.kind == "no_tax" or code.prefix == wanted:
        return ()
    if wanted and not code.prefix:
        right = f"The code is right only until HMRC sends one that begins with {wanted}."
    else:
        right = "Check the code, and in which nation income tax is due."
    return entry.warn(
        f"Code {code.text} is for {_TAXPAYERS[code.prefix]}, but the tax of {year.name} is worked out for "
        f"{_TAXPAYERS[wanted]}. {right}",
        (*taken.payroll_path, "code"),
        about=year.person,
        figures=year.figures,
    )


@TOPIC.of_a_year(
    "second_payment_in_the_year",
    "check",
    "Tax on a second payment may differ",
    "A first taxable payment from a pension, for which the emergency code is assumed, is followed by another in the same tax "
    "year. Small pots are no such payments.",
    facts=("withdrawals.date", "withdrawals.method", "withdrawals.amount", "flexibly_accessed"),
    sources=("PAYE Regulations 2003 regs 55-58", "HMRC PAYE manual PAYE94045, PAYE94055"),
    figures={"taxable_payments": "count"},
    of_one_pension=True,
    only="with_facts",
)
def second_payment_in_the_year(year: YearFacts, entry: Entry) -> Found:
    """A second taxable payment: the code may have changed, and the form for a single payment does not fit."""
    paid = [taken for taken in year.taken if taken.payment.taxable and taken.method != "small_pot"]
    if len(paid) < 2 or not _on_an_emergency_code(paid[0]):
        return ()
    return entry.warn(
        f"{len(paid)} taxable payments are planned in {year.name}. HMRC normally sends the provider a new code after the "
        "first, and only later payments use it. Form P55 is not available while more payments are due.",
        paid[1].path,
        about=year.person,
        figures=year.figures,
        counts={"taxable_payments": len(paid)},
    )


@TOPIC.of_a_person(
    "state_pension_uses_personal_allowance",
    "check",
    "The State Pension uses the personal allowance",
    "The State Pension of a tax year is more than the personal allowance.",
    facts=("income",),
    sources=("Income Tax (Earnings and Pensions) Act 2003 s.577", "Income Tax Act 2007 s.35"),
    figures={"state_pension": "pounds", "standard_personal_allowance": "pounds"},
)
def state_pension_uses_personal_allowance(case: PersonCase, entry: Entry) -> Found:
    """The State Pension alone is more than the personal allowance, so that every pound drawn is taxed."""
    years = [
        year for year in case.years if year.state_pension and year.state_pension > year.tax_rules.personal_allowance
    ]
    if not years:
        return ()
    year = years[0]
    if entry.in_codes:
        return entry.code_alone()
    pension, allowance = _state_pension(year), pounds(year.tax_rules.personal_allowance)
    if year is case.years[0]:
        detail = (
            f"{pension[0].upper()}{pension[1:]} is more than the personal allowance of {allowance}. Every taxable pound of "
            f"the pension payments in {year.name} is taxed."
        )
    else:
        detail = (
            f"From {year.name}, {pension} is more than the personal allowance of {allowance}. All "
            "taxable pension payments are then taxed."
        )
    return entry.warn(
        detail,
        (*case.person.path, "income"),
        about=case.person,
        figures=year.figures,
        rests_on=("income_tax.personal_allowance",),
        standing=year.figures.standing,
        money={"state_pension": year.state_pension},
    )


@TOPIC.of_a_year(
    "state_pension_untaxed_at_source",
    "check",
    "No tax is deducted from the State Pension",
    "There is a State Pension, and other pay and pensions do not use the whole allowance. The emergency code is assumed "
    "for a taxable payment, and tax is left to pay. Too little is deducted from the payment, or the State Pension alone "
    "is more than the allowance.",
    facts=("income", "withdrawals.amount"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.577, 684",),
    figures={"state_pension": "pounds", "under_deducted": "pounds", "tax_on_state_pension": "pounds"},
)
def state_pension_untaxed_at_source(year: YearFacts, entry: Entry) -> Found:
    """The State Pension uses the allowance that an emergency code gives to the payment."""
    if not _state_pension_uses_the_allowance(year):
        return ()
    paid = [taken for taken in year.taken if _on_an_emergency_code(taken) and not year.too_early(taken)]
    if not paid or any(_too_much(year, taken) > 0 for taken in year.taken):
        return ()
    under = next((-found for taken in paid if (found := _too_much(year, taken)) < 0), 0)
    own = _tax_of_a_state_pension_alone(year)
    pension = _state_pension(year)
    if year.taxpayer.other_income > year.state_pension:
        uses = "part"
    else:
        uses = "all" if year.state_pension >= year.tax_rules.personal_allowance else "that much"
    money = {"state_pension": year.state_pension}
    if under:
        detail = (
            f"No tax is deducted from {pension}, but it uses {uses} of the allowance. About "
            f"{pounds(under)} more tax will be due for {year.name} on this payment than is deducted."
        )
        money["under_deducted"] = under
        if own:
            detail += f" A further {pounds(own)} is due on the State Pension itself."
    elif own:
        detail = (
            f"No tax is deducted from {pension}, which is more than the allowance. {pounds(own)} of tax "
            f"is due on it for {year.name}."
        )
    else:
        return ()
    if own:
        money["tax_on_state_pension"] = own
    return entry.warn(
        f"{detail} HMRC collects it by a new code or afterwards.",
        (*year.person.path, "income"),
        about=year.person,
        figures=year.figures,
        money=money,
    )


def _state_pension(year: YearFacts) -> str:
    """The State Pension inside a sentence, with whose it is."""
    return f"{year.person.your} State Pension of {pounds(year.state_pension)}"


def _state_pension_uses_the_allowance(year: YearFacts) -> bool:
    """Whether a State Pension uses allowance that other pay and pensions leave; what these use is in their payers' codes."""
    others = year.taxpayer.other_income - year.state_pension
    return year.state_pension > 0 and others < year.tax_rules.personal_allowance


def _on_an_emergency_code(taken: Taken) -> bool:
    """Whether the emergency code is assumed for a taxable payment; a small pot is taxed at the basic rate instead."""
    payroll = taken.payroll
    return payroll is not None and payroll.assumed and taken.payment.taxable > 0 and taken.method != "small_pot"


def _tax_of_a_state_pension_alone(year: YearFacts) -> Pence:
    """The tax of the State Pension without any other income; pence.

    Nil where there is other pay or pension, whose payer's code collects it.
    """
    if year.taxpayer.other_income != year.state_pension:
        return 0
    alone = year.taxpayer._replace(property_income=0, savings=0, dividends=0)
    return liability(taxpayer_year(alone, year.tax_rules)).total
