"""Every rounding the law names, each once, with its source. All amounts are pence unless a name says otherwise."""

from __future__ import annotations

from service.law.units import PENNY, POUND, Pence, TaxUnits


def up_to_the_pound(pence: Pence) -> Pence:
    """Up to the next whole pound: the tapered personal allowance (ITA 2007 s.35(3))."""
    return -(-pence // POUND) * POUND


def down_to_the_pound(pence: Pence) -> Pence:
    """Down to the whole pound: child benefit and its charge (ITEPA 2003 s.681C); PAYE taxable pay (HMRC routine 4.3.2)."""
    return pence // POUND * POUND


def half_up(numerator: int, denominator: int) -> int:
    """A quotient to the nearest whole number, a half up: no law's, but ours for growth and for parts of a year."""
    return (2 * numerator + denominator) // (2 * denominator)


def years_tax_to_the_penny(tax: TaxUnits) -> Pence:
    """The year's tax to the nearest penny, half a penny up: our choice. Tax returns work to the penny (common practice)."""
    return (tax + PENNY // 2) // PENNY


def down_to_the_penny(tax: TaxUnits) -> Pence:
    """Down to the penny: PAYE tax (HMRC routine 4.4), and a quarter that must not exceed 25% (FA 2004 Sch.29)."""
    return tax // PENNY
