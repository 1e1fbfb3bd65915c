"""How what is due is collected: by tax return, through payroll, and beside a State Pension that is paid without tax."""

from __future__ import annotations

from service.law.rounding import down_to_the_penny
from service.law.units import WHOLE, Pence
from service.planning.warnings.circumstances import Taken, YearFacts
from service.planning.warnings.topic import Entry, Topic
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds

TOPIC: Topic = Topic()

_LOANS = ("plan_1", "plan_2", "plan_4", "plan_5")


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
    "More of a student loan is repaid",
    "There is a student loan, unearned income is over its limit, and income over the threshold rises.",
    facts=("student_loans", "income", "withdrawals.amount"),
    sources=("SI 2009/470 reg.29(4)(c)", "HMRC CSLM16035"),
    only="with_facts",
)
def student_loan_repayment(year: YearFacts, entry: Entry) -> Found:
    """Pension income of someone who files a return counts for student loans."""
    facts = year.person.facts
    if facts is None or not facts.student_loans or not year.taxable:
        return ()
    earned = year.earned
    unearned = year.taxpayer.income - earned
    before = _repayment(year, unearned, earned, facts.student_loans)
    after = _repayment(year, unearned + year.taxable, earned, facts.student_loans)
    if after <= before:
        return ()
    names = [f"student_loan.{plan}_threshold" for plan in facts.student_loans]
    return entry.warn(
        f"In {year.name} pension income counts towards the student loan of whoever files a tax return: "
        f"{pounds(after - before)} more is repaid on {pounds(year.taxable)} of taxable withdrawals. Keep that much back.",
        (*year.person.path, "student_loans"),
        figures=year.figures,
        rests_on=("student_loan.unearned_income_limit", *(name for name in names if year.figures.has(name))),
        money={"taxable_withdrawals": year.taxable, "repayment": after - before},
        cost=after - before,
    )


@TOPIC.of_a_year(
    "payments_on_account",
    "check",
    "Payments on account are due",
    "A return is filed, payroll takes less than is due by more than the limit, and too little of the year's tax is "
    "deducted at source.",
    facts=("self_assessment", "withdrawals.amount", "income"),
    sources=("Taxes Management Act 1970 s.59A (from memory)", "SI 1996/1654 (from memory)"),
    only="with_facts",
)
def payments_on_account(year: YearFacts, entry: Entry) -> Found:
    """Tax not deducted at source leads to payments on account for the next year."""
    facts = year.person.facts
    if facts is None or facts.self_assessment is not True:
        return ()
    under = sum(taken.payroll.under_deducted for taken in year.taken if taken.payroll is not None)
    figures = year.figures
    limit = figures.money("self_assessment.payments_on_account_limit")
    share = figures.rate("self_assessment.payments_on_account_share")
    if under <= limit or under * WHOLE <= year.with_it.total * (WHOLE - share):
        return ()
    return entry.warn(
        f"Payroll takes {pounds(under)} less in {year.name} than the withdrawals add to the tax: more than "
        f"{pounds(limit)}, and less than {per_cent(share)} of the year's tax is deducted at source, so half as much "
        "again is due on account by 31 January and the other half by 31 July (days from memory). Claim to reduce it if "
        "the withdrawals do not come again.",
        (*year.person.path, "self_assessment"),
        figures=figures,
        rests_on=("self_assessment.payments_on_account_limit", "self_assessment.payments_on_account_share"),
        money={"under_deducted": under},
    )


@TOPIC.of_a_year(
    "tax_return_needed",
    "check",
    "HMRC has to be told",
    "The withdrawals bring the child benefit charge for the first time, and no return is filed, or that is not given.",
    facts=("self_assessment", "child_benefit", "income", "withdrawals.amount"),
    sources=("Taxes Management Act 1970 s.7 (from memory)", "Income Tax (Earnings and Pensions) Act 2003 s.681B"),
    only="with_facts",
)
def tax_return_needed(year: YearFacts, entry: Entry) -> Found:
    """The child benefit charge has to be told to HMRC."""
    facts = year.person.facts
    if facts is None or facts.self_assessment or not year.with_it.child_benefit_charge or not year.taxable:
        return ()
    if year.without.child_benefit_charge:
        return ()
    return entry.warn(
        f"The child benefit charge of {pounds(year.with_it.child_benefit_charge)} for {year.name} has to be told to "
        "HMRC: by a tax return, or by asking that it be collected through the tax code. Register by 5 October after the "
        "tax year.",
        (*year.person.path, "self_assessment"),
        figures=year.figures,
        money={"child_benefit_charge": year.with_it.child_benefit_charge},
    )


@TOPIC.of_a_withdrawal(
    "payroll_takes_more_than_is_due",
    "check",
    "Payroll takes more than is due",
    "Payroll deducts more from a payment than it adds to the year's tax, and a form claims it back.",
    facts=("withdrawals.method", "withdrawals.amount", "income"),
    sources=("PAYE Regulations 2003 reg.58", "HMRC PAYE manual PAYE94055"),
)
def payroll_takes_more_than_is_due(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """The first payment is taxed as if it came every month."""
    payroll = taken.payroll
    if payroll is None or payroll.over_deducted == 0 or payroll.reclaim.form == "none":
        return ()
    return entry.warn(
        f"Payroll takes {pounds(payroll.deduction.tax)}, which is {pounds(payroll.over_deducted)} more than this "
        f"withdrawal adds to the year's tax. Claim it back with form {payroll.reclaim.form}, or wait until HMRC settles "
        "the year. Check the form with HMRC before a second payment.",
        taken.payroll_path,
        figures=year.figures,
        money={"over_deducted": payroll.over_deducted, "deducted": payroll.deduction.tax},
    )


@TOPIC.of_a_withdrawal(
    "payroll_takes_less_than_is_due",
    "check",
    "More tax will be due later",
    "Payroll deducts less from a payment than it adds to the year's tax.",
    facts=("withdrawals.method", "withdrawals.amount", "income"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 s.684",),
)
def payroll_takes_less_than_is_due(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Payroll takes too little, so a bill follows."""
    payroll = taken.payroll
    if payroll is None or payroll.under_deducted == 0:
        return ()
    return entry.warn(
        f"Payroll takes {pounds(payroll.under_deducted)} less than this withdrawal adds to the year's tax. Keep that "
        "much back: HMRC collects it by a changed code, by Simple Assessment or through a tax return.",
        taken.payroll_path,
        figures=year.figures,
        money={"under_deducted": payroll.under_deducted},
    )


@TOPIC.of_a_year(
    "second_payment_in_the_year",
    "check",
    "Wait for the code before a second payment",
    "Two or more taxable payments are planned in one tax year.",
    facts=("withdrawals.date", "withdrawals.method", "withdrawals.amount"),
    sources=("PAYE Regulations 2003 regs 55-58", "HMRC PAYE manual PAYE94045, PAYE94055"),
    only="with_facts",
)
def second_payment_in_the_year(year: YearFacts, entry: Entry) -> Found:
    """A second taxable payment: the code may have changed, and the form for a single payment does not fit."""
    paid = [taken for taken in year.taken if taken.payment.taxable]
    if len(paid) < 2:
        return ()
    return entry.warn(
        f"{len(paid)} taxable payments are planned in {year.name}. After the first, HMRC may give the payer a code that "
        "settles the year at once, and form P55 fits only where no more payments follow. Wait for that code before the second.",
        paid[1].path,
        figures=year.figures,
        counts={"payments": len(paid)},
    )


@TOPIC.of_a_year(
    "state_pension_uses_personal_allowance",
    "check",
    "The State Pension uses the whole personal allowance",
    "The State Pension of a tax year is more than the personal allowance.",
    facts=("income",),
    sources=("Income Tax (Earnings and Pensions) Act 2003 s.577", "Income Tax Act 2007 s.35"),
)
def state_pension_uses_personal_allowance(year: YearFacts, entry: Entry) -> Found:
    """The State Pension alone is more than the personal allowance, so that every pound drawn is taxed."""
    allowance = year.tax_rules.personal_allowance
    if year.state_pension <= allowance:
        return ()
    return entry.warn(
        f"From {year.name} the State Pension of {year.person.whose}, {pounds(year.state_pension)} in that tax year, is "
        f"more than the personal allowance of {pounds(allowance)}: whatever is drawn then is taxed from the first pound. "
        "Drawing more before that year may use allowances that would otherwise be lost.",
        (*year.person.path, "income"),
        figures=year.figures,
        rests_on=("income_tax.personal_allowance",),
        status=year.figures.status,
        money={"state_pension": year.state_pension},
    )


@TOPIC.of_a_year(
    "state_pension_untaxed_at_source",
    "check",
    "The State Pension is taxed through the other pension",
    "There is a State Pension, the emergency code is assumed for a taxable payment, and the year bears tax.",
    facts=("income", "withdrawals.amount"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.577, 684",),
)
def state_pension_untaxed_at_source(year: YearFacts, entry: Entry) -> Found:
    """The State Pension uses the allowance that an emergency code gives to the payment."""
    if not year.state_pension or year.with_it.total == 0:
        return ()
    first = next((taken for taken in year.taken if taken.payment.taxable), None)
    if first is None or first.payroll is None or not first.payroll.assumed:
        return ()
    return entry.warn(
        f"The State Pension of {pounds(year.state_pension)} is taxable but paid without tax, and uses that much of the "
        f"allowance in {year.name}; the emergency code gives the allowance again. HMRC takes the tax through the code of "
        "this pension or asks for it afterwards. Keep it back.",
        (*year.person.path, "income"),
        figures=year.figures,
        money={"state_pension": year.state_pension},
    )


@TOPIC.of_a_withdrawal(
    "k_code_adjustment",
    "check",
    "The deduction under a K code may differ by pennies",
    "In a quote, the payer operates a K code on a taxable payment.",
    facts=("payroll.code",),
    sources=("HMRC Specification for PAYE Tax Table Routines v24.0 para 4.3.1",),
)
def k_code_adjustment(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """HMRC's routine for K codes was not read in the original."""
    if taken.payroll is None or not taken.payment.taxable or "K" not in taken.payroll.facts.code:
        return ()
    return entry.warn(
        "The pay adjustment of a K code is worked out as that of a suffix code; HMRC's own text was not read for it. "
        "The payer's payroll decides.",
        (*taken.payroll_path, "code"),
        figures=year.figures,
    )
