"""What payroll takes from a payment, and how the difference to the year's tax is settled."""

from __future__ import annotations

from collections.abc import Iterable

from service.law import payroll, reclaim
from service.law.lump_sums import Method, Payment
from service.law.payroll import Basis, Deduction, TaxCode
from service.law.rulebook import TaxYearRules
from service.law.units import Pence
from service.law.value import Value
from service.planning.household import Income


class PayrollFacts(Value, frozen=True):
    """The code the payer operates, its basis ("month_1" or "cumulative") and, for the latter, the year so far."""

    code: str
    basis: Basis
    month: int = 1
    pay_to_date: Pence = 0
    tax_to_date: Pence = 0


class PayrollOutcome(Value, frozen=True):
    """What payroll takes from the payment and what becomes of the difference to the year's tax. Pence."""

    facts: PayrollFacts
    assumed: bool
    explanation: str
    deduction: Deduction
    paid_out: Pence
    over_deducted: Pence
    under_deducted: Pence
    reclaim: reclaim.Reclaim


_NOTHING_DEDUCTED = Deduction(0, 0, 0, False)


def payroll_outcome(
    method: Method,
    payment: Payment,
    facts: PayrollFacts | None,
    rules: TaxYearRules,
    *,
    incomes: Iterable[Income],
    due: Pence,
    emptied: bool,
) -> PayrollOutcome:
    """What the payer deducts, and how the difference to ``due``, the tax that the payment adds to the year, is settled.

    Without ``facts`` the code is assumed. ``incomes`` are the person's others in the year; ``emptied`` says whether nothing
    is left in the pension.
    """
    assumed = facts is None
    if facts is None:
        # PAYE Regulations 2003 reg.58A: a small pot without a code is taxed at the basic rate; otherwise reg.58.
        small_pot = method == "small_pot"
        facts = PayrollFacts("BR" if small_pot else rules.payroll.emergency_code, "month_1")
    code = payroll.parse_code(facts.code)
    cumulative = facts.basis == "cumulative"
    if payment.taxable == 0:
        deduction = _NOTHING_DEDUCTED
    else:
        deduction = payroll.deduction(
            rules.payroll,
            code,
            payment.taxable,
            cumulative=cumulative,
            month=facts.month,
            pay_to_date=facts.pay_to_date,
            tax_to_date=facts.tax_to_date,
        )
    over = max(0, deduction.tax - due)
    return PayrollOutcome(
        facts=facts,
        assumed=assumed,
        explanation=_explain(facts, code, assumed, payment.taxable == 0),
        deduction=deduction,
        paid_out=payment.gross - payment.charge - deduction.tax,
        over_deducted=over,
        under_deducted=max(0, due - deduction.tax),
        reclaim=reclaim.form_for(
            method,
            over_deducted=over,
            cumulative=cumulative,
            emptied=emptied,
            incomes=incomes,
        ),
    )


def _explain(facts: PayrollFacts, code: TaxCode, assumed: bool, nothing_taxable: bool) -> str:
    if nothing_taxable:
        return "Nothing of this payment is taxable, so payroll deducts nothing."
    if assumed and code.kind == "flat":
        return (
            "No code was given: a small pot without a code is taxed at the basic rate on the month 1 basis "
            "(PAYE Regulations 2003 reg.58A)."
        )
    if assumed:
        return (
            f"No code was given: the emergency code {facts.code} on the month 1 basis is assumed (PAYE Regulations 2003 "
            "reg.58). It treats this payment as one month's pay. The payer uses an S or C code only once HMRC has issued it."
        )
    if facts.basis == "cumulative":
        return f"Code {facts.code}, cumulative, month {facts.month}: pay and tax so far this tax year are counted in."
    return f"Code {facts.code} on the month 1 basis: this payment is treated as one month's pay on its own."
