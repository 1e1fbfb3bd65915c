"""What payroll takes from a payment, and how the difference to the year's tax is settled."""

from __future__ import annotations

from service.law import payroll, reclaim
from service.law.income_tax import Nation, liability, taxpayer_year
from service.law.lump_sums import Method, Payment
from service.law.payroll import Basis, Deduction, TaxCode
from service.law.rulebook import TaxYearRules
from service.law.units import Pence
from service.law.value import Value
from service.planning.household import Person
from service.planning.wording import per_cent, pounds


class PayrollFacts(Value, frozen=True):
    """The code the payer operates, its basis ("month_1" or "cumulative") and, for the latter, the year so far."""

    code: str
    basis: Basis
    month: int = 1
    pay_to_date: Pence = 0
    tax_to_date: Pence = 0


class PayrollOutcome(Value, frozen=True):
    """What payroll takes from the payment and what becomes of the difference to the year's tax. Pence.

    ``deducted_in_year`` less ``due_in_year`` is ``over_deducted`` less ``under_deducted``; see ``payroll_outcome``. Both are
    None where nothing of the payment is taxable.
    """

    facts: PayrollFacts
    assumed: bool
    explanation: str
    deduction: Deduction
    paid_out: Pence
    deducted_in_year: Pence | None
    due_in_year: Pence | None
    over_deducted: Pence
    under_deducted: Pence
    reclaim: reclaim.Reclaim

    @property
    def refund(self) -> Pence:
        """Tax of earlier payments that this payment gives back; pence."""
        tax = self.deduction.tax
        return -tax if tax < 0 else 0


class Due(Value, frozen=True):
    """The tax that what payroll has taken is compared with: ``least`` is due, more than ``most`` is too much. Pence."""

    least: Pence
    most: Pence

    def nearest(self, taken: Pence) -> Pence:
        """What of it is compared with what was taken: that itself where it is neither too little nor too much."""
        if taken < self.least:
            return self.least
        return taken if taken < self.most else self.most


_NOTHING_DEDUCTED = Deduction(0, 0, 0, False)
_NOTHING_DUE = Due(0, 0)


def payroll_outcome(
    method: Method,
    payment: Payment,
    facts: PayrollFacts | None,
    rules: TaxYearRules,
    *,
    person: Person,
    tax_before: Pence,
    tax_after: Pence,
    emptied: bool,
    more_payments: bool = False,
    uk_resident: bool = True,
) -> PayrollOutcome:
    """What the payer deducts, and how the difference to the tax of the income that payroll answers for is settled.

    Without ``facts`` the code is assumed. ``person`` has the year's other income, earlier payments of this payer included;
    ``tax_before`` and ``tax_after`` are the year's tax without and with this payment. ``emptied`` says whether nothing is
    left in the pension, ``more_payments`` whether further taxable payments from it are known in the tax year.

    ``over_deducted`` and ``under_deducted`` are the difference between what payroll has taken and what is due:

    - month 1: this deduction against what this payment adds to the year's tax;
    - cumulative: tax to date and this deduction, less any refund, against what pay to date and this payment together add
      to the year's tax, on top of the other income;
    - a K code, on either basis, also collects tax on other income: nothing is too much that is within the year's whole tax;
    - code NT: nothing is due through payroll;
    - where nothing of the payment is taxable, payroll does not touch it, and both are nil.

    ``deducted_in_year`` is what payroll has taken so, and ``due_in_year`` the tax it is compared with: with a K code what was
    taken, as long as that is neither too little nor too much.
    """
    assumed = facts is None
    if facts is None:
        # PAYE Regulations 2003 reg.58A: a small pot without a code is taxed at the basic rate; otherwise reg.58.
        small_pot = method == "small_pot"
        facts = PayrollFacts("BR" if small_pot else rules.payroll.emergency_code, "month_1")
    code = payroll.parse_code(facts.code)
    cumulative = facts.basis == "cumulative"
    if payment.taxable == 0:
        deduction, taken, due = _NOTHING_DEDUCTED, 0, _NOTHING_DUE
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
        taken = deduction.tax + (facts.tax_to_date if cumulative else 0)
        due = _due(facts, code, payment.taxable, person, rules, tax_before, tax_after)
    due_in_year = due.nearest(taken)
    over, under = (taken - due_in_year, 0) if taken > due_in_year else (0, due_in_year - taken)
    return PayrollOutcome(
        facts=facts,
        assumed=assumed,
        explanation=_explain(facts, code, deduction, payment.taxable, rules, person.tax_residence, assumed=assumed),
        deduction=deduction,
        paid_out=payment.gross - payment.charge - deduction.tax,
        deducted_in_year=taken if payment.taxable else None,
        due_in_year=due_in_year if payment.taxable else None,
        over_deducted=over,
        under_deducted=under,
        reclaim=reclaim.form_for(
            method,
            over_deducted=over,
            code_kind=code.kind,
            cumulative=cumulative,
            emptied=emptied,
            more_payments=more_payments,
            # Asked for only where it is looked at: the form of an emptied pension alone turns on it.
            others=reclaim.other_income(person.income, facts.pay_to_date if cumulative else 0) if emptied else "none",
            uk_resident=uk_resident,
            year_end=rules.figures.end,
            claim_years=rules.payroll.overpayment_claim_years,
        ),
    )


def pay_not_in_the_income(facts: PayrollFacts, person: Person) -> Pence:
    """The pay to date, in pence, that cannot be among the income given, since no payer's income given is as much."""
    if facts.basis != "cumulative":
        return 0
    return max(0, facts.pay_to_date - reclaim.paid_by_payers(person.income))


def _due(
    facts: PayrollFacts,
    code: TaxCode,
    taxable: Pence,
    person: Person,
    rules: TaxYearRules,
    tax_before: Pence,
    tax_after: Pence,
) -> Due:
    """The tax of the income that payroll answers for; see ``payroll_outcome``."""
    if code.kind == "no_tax":
        return _NOTHING_DUE
    if facts.basis == "cumulative" and facts.pay_to_date:
        taxpayer = person.taxpayer()
        counted = facts.pay_to_date - pay_not_in_the_income(facts, person)
        others = taxpayer._replace(other_income=taxpayer.other_income - counted)
        year = taxpayer_year(others, rules.income_tax[person.tax_residence])
        tax_before = liability(year).total
        tax_after = liability(year, facts.pay_to_date + taxable).total
    added = tax_after - tax_before
    return Due(added, max(added, tax_after) if code.kind == "k" else added)


def _explain(
    facts: PayrollFacts,
    code: TaxCode,
    deduction: Deduction,
    taxable: Pence,
    rules: TaxYearRules,
    nation: Nation,
    *,
    assumed: bool,
) -> str:
    """Why this code takes what it takes, in a client's words."""
    if taxable == 0:
        return "No part of this payment is taxable, so no tax is deducted."
    rate = per_cent(rules.payroll.flat_rates[facts.code]) if code.kind == "flat" else ""
    if assumed and code.kind == "flat":
        return f"No tax code was given. A small pot not yet in payment is taxed at the basic rate, {rate}, with no allowance."
    if assumed:
        until_then = (
            " Until HMRC sends a code, the provider uses the UK emergency code."
            if nation in ("scotland", "wales")
            else ""
        )
        return (
            f"No tax code was given, so the emergency code {facts.code} is assumed. It taxes this payment as if the same "
            f"were paid every month.{until_then}"
        )
    sentences = []
    if code.kind == "no_tax":
        sentences.append("Code NT means that no tax is deducted. HMRC collects any tax due in another way.")
    elif code.kind == "flat":
        sentences.append(f"Code {facts.code} taxes the whole taxable part at {rate}.")
    elif facts.basis == "cumulative":
        sentences.append(
            f"Code {facts.code} is cumulative: it takes account of the pay and tax of this tax year up to month {facts.month}."
        )
    else:
        sentences.append(
            f"Code {facts.code} on a month 1 basis taxes this payment as if the same were paid every month, whatever was "
            "paid before."
        )
    if code.kind == "k":
        sentences.append(f"Code {facts.code} adds to the taxable pay, to collect tax on other income.")
    if deduction.tax < 0:
        sentences.append(f"This payment includes a refund of {pounds(-deduction.tax)} of tax already deducted.")
    if deduction.limited:
        share = per_cent(rules.payroll.overriding_limit)
        sentences.append(f"No more than {share} of the payment can be deducted.")
    return " ".join(sentences)
