"""Pay As You Earn on one payment, recomputed slowly in exact fractions from HMRC's published routine.

The routine is HMRC's "Specification for PAYE Tax Table Routines"; paragraph numbers are those of v24.0
(February 2026). For K codes the addition to pay is found exactly as free pay is, with the 9 added; published
accounts of the routine differ there. Then what is too much and too little of it over the year.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from math import ceil, floor

from .figures import Band, Figures, bands, value

TABLES = {"": "bands_england", "S": "bands_scotland", "C": "bands_wales"}

CODE = re.compile(r"(?P<prefix>[SC]?)(?:(?P<free>\d+)[LMNT]|K(?P<add>\d+)|(?P<flat>0T|BR|D[0-3])|(?P<nil>NT))")


def to_places_down(amount: Fraction, places: int) -> Fraction:
    """Cut off after so many decimal places."""
    scale = 10**places
    return Fraction(floor(amount * scale), scale)


def free_pay_of_a_month(number: int) -> Fraction:
    """Free pay of one month for the number in the code, in pounds (para 4.3.1)."""
    if number == 0:
        return Fraction(0)
    blocks, remainder = (number - 1) // 500, (number - 1) % 500 + 1
    rest = Fraction(ceil(Fraction(remainder * 10 + 9, 12) * 100), 100)
    return blocks * Fraction("416.67") + rest


def tax_by_bands(table: list[Band], unrounded_pay: Fraction, months: int) -> Fraction:
    """Tax to date on taxable pay to date (paras 4.4.1 to 4.4.9)."""
    if unrounded_pay <= 0:
        return Fraction(0)
    whole = Fraction(floor(unrounded_pay))
    below_limit = below_tax = Fraction(0)
    yearly_limit = yearly_tax = Fraction(0)
    for _, rate, limit in table:
        share = None if limit is None else to_places_down(limit * months / 12, 4)
        if limit is None or share is None or unrounded_pay <= ceil(share):
            product = to_places_down((whole - below_limit) * rate, 4)
            return to_places_down(below_tax + product, 2)
        yearly_tax += (limit - yearly_limit) * rate
        yearly_limit = limit
        below_limit, below_tax = share, to_places_down(yearly_tax * months / 12, 4)
    raise ValueError("the last band must have no limit")


def tax_to_date(figures: Figures, code: str, pay: Fraction, months: int, table: list[Band] | None) -> Fraction:
    """Tax due on all pay of so many months under one code, in pounds."""
    match = CODE.fullmatch(code)
    if match is None:
        raise ValueError(f"not a tax code: {code}")
    if match["nil"]:
        return Fraction(0)
    flat = match["flat"]
    if flat and flat != "0T":
        rate = Fraction(value(figures, "payroll.flat_rate_codes")[code])
        return to_places_down(Fraction(max(0, floor(pay))) * rate, 2)
    if table is None:
        table = bands(figures, f"income_tax.{TABLES[match['prefix']]}")
    if flat:
        return tax_by_bands(table, pay, months)
    if match["add"]:
        return tax_by_bands(table, pay + months * free_pay_of_a_month(int(match["add"])), months)
    return tax_by_bands(table, pay - months * free_pay_of_a_month(int(match["free"])), months)


def deduction(
    figures: Figures,
    code: str,
    basis: str,
    pay: Fraction,
    month: int = 1,
    pay_to_date: Fraction = Fraction(0),
    already_deducted: Fraction = Fraction(0),
    table: list[Band] | None = None,
) -> Fraction:
    """Tax deducted from one payment, in pounds; negative for a refund.

    `basis` is "month_1" (the payment alone, as if in the first month; section 8) or "cumulative". `table`
    replaces the year's bands. Never more than half the payment is deducted (SI 2003/2682 reg.23; para 4.5.2).
    """
    if basis == "month_1":
        due = tax_to_date(figures, code, pay, 1, table)
    else:
        due = tax_to_date(figures, code, pay_to_date + pay, month, table) - already_deducted
    return min(due, to_places_down(pay / 2, 2))


def too_much_and_too_little(
    code: str,
    basis: str,
    deducted: Fraction,
    payment: Fraction,
    tax_of_year: Callable[[Fraction], Fraction],
    non_savings: Fraction,
    from_payers: Fraction = Fraction(0),
    pay_to_date: Fraction = Fraction(0),
    already_deducted: Fraction = Fraction(0),
) -> tuple[Fraction, Fraction]:
    """What has been deducted beyond the tax due, and what is due beyond what has been deducted, in pounds.

    On a cumulative code payer and HMRC look at the tax year so far (SI 2003/2682 reg.23), otherwise at the payment. The tax
    due is what that pay adds to the year's tax, as the last income of the year. `tax_of_year` is the year's tax where so
    much of its income is not savings, dividends or property; `non_savings` is how much that is without the payment, of
    which `from_payers` may be pay under this code. Code NT asks for no tax at all. A K code asks for tax of other income
    too, so that nothing is too much that the year's whole tax still contains.
    """
    if code == "NT" or payment == 0:
        return Fraction(0), Fraction(0)
    pay, taken, elsewhere = payment, deducted, non_savings
    if basis == "cumulative":
        pay += pay_to_date
        taken += already_deducted
        elsewhere -= min(pay_to_date, from_payers)
    whole = tax_of_year(elsewhere + pay)
    due = whole - tax_of_year(elsewhere)
    most = max(whole, due) if "K" in code else due
    return max(Fraction(0), taken - most), max(Fraction(0), due - taken)
