"""The annual allowance for pension saving: its taper, and the money purchase annual allowance once income is flexible.

Finance Act 2004 ss.227-228ZA. All amounts are pence.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

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
    """What is left for all other saving once the money purchase annual allowance applies (s.227B(2)); the annual allowance is
    the person's own, after its taper and with what is carried forward."""
    return max(0, annual_allowance - money_purchase_annual_allowance)


class Saving(NamedTuple):
    """The pension saving of a tax year; pence. ``money_purchase`` is the money purchase input sub-total, which has only what is
    paid after the day of the first flexible access; everything else is in the ``defined_benefit`` input sub-total, money
    purchase saving of up to that day included (s.227F(3)-(4))."""

    money_purchase: Pence
    defined_benefit: Pence

    @property
    def total(self) -> Pence:
        """All saving of the year."""
        return self.money_purchase + self.defined_benefit


class Excess(NamedTuple):
    """By how much a year's saving is above its allowances; pence. ``chargeable`` is the one chargeable amount (s.227ZA), and
    ``alternative`` says that it is the alternative one: ``above_money_purchase`` and ``above_alternative`` together."""

    chargeable: Pence
    alternative: bool
    above_money_purchase: Pence
    above_alternative: Pence


def excess(saved: Saving, annual_allowance: Pence, money_purchase_annual_allowance: Pence) -> Excess:
    """What of a year's saving is charged, where the annual allowance is the person's own with what is carried forward.

    The default chargeable amount is all saving above the annual allowance (s.227ZA(3)). The alternative one is money purchase
    saving above its allowance and all other saving above the alternative allowance (s.227B(1)). It takes the place of the
    default where the money purchase allowance is exceeded and it is the larger (s.227ZA(1)-(2)).
    """
    default = max(0, saved.total - annual_allowance)
    above_money_purchase = max(0, saved.money_purchase - money_purchase_annual_allowance)
    if above_money_purchase == 0:
        return Excess(default, False, 0, 0)
    rest = alternative(annual_allowance, money_purchase_annual_allowance)
    above_alternative = max(0, saved.defined_benefit - rest)
    both = above_money_purchase + above_alternative
    return Excess(max(default, both), both > default, above_money_purchase, above_alternative)


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
