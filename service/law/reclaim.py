"""How tax deducted in excess by payroll comes back: by a form in the tax year, by later payments, or from HMRC.

HMRC guidance: PAYE94055, SAM110271 and the gov.uk pages of the forms. Forms P50Z, P53, P53Z and P55 claim a repayment in
the tax year itself, whatever the basis of the code. Afterwards overpaid tax is claimed from HMRC within the years of Taxes
Management Act 1970 Sch.1AB para 3(1).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Literal

from service.law.dates import day_month_year
from service.law.kept import kept
from service.law.lump_sums import Method
from service.law.payroll import CodeKind
from service.law.units import Pence, Years
from service.law.value import Value

ReclaimForm = Literal["none", "P50Z", "P53", "P53Z", "P55"]

Way = Literal["nothing", "form", "later_payments", "hmrc", "treaty"]
"""How an excess is settled: there is none, a form claims it in the tax year, later payments correct it, HMRC works out the
year, or a double taxation agreement may bring it back."""

OtherIncome = Literal["none", "taxable", "earned_or_pension"]
"""What else there is in the year: nothing but a State Pension, other taxable income, or earned or pension income."""


class Reclaim(Value, frozen=True):
    """A form's name, or "none", why it fits, and how the excess is settled."""

    form: ReclaimForm
    reason: str
    way: Way


_PAID_BY_A_PAYER = frozenset(("employment", "defined_benefit_pension", "annuity", "other_taxable"))
"""Kinds of income that can be earlier payments of the same payer."""
_NO_FORM = Reclaim("none", "The tax deducted is not more than the tax due.", "nothing")


def paid_by_payers(incomes: Iterable[tuple[str, Pence]]) -> Pence:
    """The income of the year, in pence, of which earlier payments of the same payer can be a part."""
    return sum(amount for kind, amount in incomes if kind in _PAID_BY_A_PAYER)


def other_income(incomes: Iterable[tuple[str, Pence]], pay_to_date: Pence = 0) -> OtherIncome:
    """What there is in the year beside this payer's payments, ``pay_to_date`` pence of which are among ``incomes``.

    PAYE94055: no other PAYE or pension income, or the State Pension only, takes form P50Z. The gov.uk page sends other
    taxable income to form P53Z.
    """
    given = [(kind, amount) for kind, amount in incomes if amount > 0 and kind != "state_pension"]
    if paid_by_payers(given) > pay_to_date or any(kind == "self_employment" for kind, _ in given):
        return "earned_or_pension"
    return "taxable" if any(kind not in _PAID_BY_A_PAYER for kind, _ in given) else "none"


def form_for(
    method: Method,
    *,
    over_deducted: Pence,
    code_kind: CodeKind,
    cumulative: bool,
    emptied: bool,
    more_payments: bool,
    others: OtherIncome,
    uk_resident: bool,
    year_end: date,
    claim_years: Years,
) -> Reclaim:
    """The form that fits, or what settles the excess without one.

    ``emptied`` says whether nothing is left in the pension, ``more_payments`` whether further taxable payments from it are
    known to be due in the tax year, which ends on ``year_end``. It is not known on what day this is read, so each reason
    says until when its way is open.
    """
    if over_deducted <= 0:
        return _NO_FORM
    found = _way(method, code_kind, cumulative, emptied, more_payments, others, uk_resident, year_end)
    return Reclaim(found.form, f"{found.reason} {_open_until(found.way == 'form', year_end, claim_years)}", found.way)


@kept(256)
def _open_until(by_form: bool, year_end: date, claim_years: Years) -> str:
    """Until when an excess of a tax year can be claimed, as a sentence."""
    last = day_month_year(year_end.replace(year=year_end.year + claim_years))
    if by_form:
        return f"The form is for claims up to {day_month_year(year_end)}; later ones go to HMRC, until {last}."
    return f"Overpaid tax can be claimed from HMRC until {last}."


def _way(
    method: Method,
    code_kind: CodeKind,
    cumulative: bool,
    emptied: bool,
    more_payments: bool,
    others: OtherIncome,
    uk_resident: bool,
    year_end: date,
) -> Reclaim:
    """What settles an excess, asked in the order of the guidance."""
    if not uk_resident:
        return Reclaim(
            "none",
            "The reclaim forms are for UK residents. A claim may be possible under a double taxation agreement.",
            "treaty",
        )
    if code_kind == "k":
        return Reclaim(
            "none",
            f"A K code also collects tax on other income, so HMRC works out the year after {day_month_year(year_end)}.",
            "hmrc",
        )
    if method == "small_pot":
        return Reclaim("P53", "Overpaid tax on a small pot lump sum is reclaimed with form P53.", "form")
    if emptied:
        return _of_an_emptied_pension(others)
    if cumulative or more_payments:
        why = (
            "Later payments in the year correct the tax, because the code is cumulative."
            if cumulative
            else "HMRC normally sends a new code, and later payments correct the tax."
        )
        return Reclaim("none", f"{why} Otherwise HMRC does so after {day_month_year(year_end)}.", "later_payments")
    return Reclaim(
        "P55",
        "Part of the pension remains. Form P55 applies if no more payments are due in the tax year and the provider cannot "
        "refund the tax.",
        "form",
    )


def _of_an_emptied_pension(others: OtherIncome) -> Reclaim:
    if others == "earned_or_pension":
        return Reclaim(
            "P53Z", "The pension is used up and there is other earned or pension income, so form P53Z applies.", "form"
        )
    if others == "taxable":
        return Reclaim(
            "P53Z",
            "The pension is used up and there is other taxable income, so form P53Z applies. HMRC's pages differ on this; "
            "ask HMRC which form it accepts.",
            "form",
        )
    return Reclaim(
        "P50Z",
        "The pension is used up and there is no other income except any State Pension, so form P50Z applies. Work must have "
        "stopped at least four weeks ago, and no taxable benefit may be claimed.",
        "form",
    )
