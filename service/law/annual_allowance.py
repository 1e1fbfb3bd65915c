"""The annual allowance for pension saving: its taper, and the money purchase annual allowance once income is flexible.

Finance Act 2004 ss.227-228ZA. All amounts are pence.
"""

from __future__ import annotations

from datetime import date, timedelta

from service.law.lump_sums import Method, Payment
from service.law.rounding import down_to_the_pound, years_tax_to_the_penny
from service.law.scale import Scale
from service.law.units import Pence


def tapered(
    allowance: Pence,
    least: Pence,
    threshold_limit: Pence,
    adjusted_limit: Pence,
    threshold_income: Pence,
    adjusted_income: Pence,
) -> Pence:
    """The annual allowance after its taper (s.228ZA): one pound off for every two of adjusted income over its limit.

    Both incomes must be more than their limits. The reduction is rounded down to a multiple of £1 (s.228ZA(2)).
    """
    if threshold_income <= threshold_limit or adjusted_income <= adjusted_limit:
        return allowance
    return max(least, allowance - down_to_the_pound((adjusted_income - adjusted_limit) // 2))


def alternative(annual_allowance: Pence, money_purchase_annual_allowance: Pence) -> Pence:
    """What is left for defined benefit saving once the money purchase annual allowance applies (s.227B)."""
    return max(0, annual_allowance - money_purchase_annual_allowance)


def triggered_by(method: Method, payment: Payment) -> bool:
    """Whether a payment is the first flexible access that brings in the money purchase annual allowance (s.227G).

    A UFPLS and income from a drawdown fund do; a tax-free lump sum alone, a small pot and a lifetime allowance excess lump
    sum do not.
    """
    return method != "small_pot" and payment.gives_income


def applies_from(first_access: date) -> date:
    """The day from which contributions count against the money purchase annual allowance: the one after the first flexible
    access; what is paid in on that day itself is not tested against it (ss.227ZA, 227B, 227F(3)-(4))."""
    return first_access + timedelta(days=1)


def charge(excess: Pence, taxable_income: Pence, scale: Scale) -> Pence:
    """The annual allowance charge on an excess, as if it were the top slice of income (s.227(4)-(5)); to the penny."""
    return years_tax_to_the_penny(scale.tax(taxable_income + excess) - scale.tax(taxable_income))
