"""Tax that must cover gifts under Gift Aid (ITA 2007 ss.414, 423-425).

A gift is treated as made after deduction of tax at the basic rate, which the charity reclaims. Where the donor is charged less
income tax and capital gains tax than that, allowances are taken away until the two are equal (s.423), and where that does not
suffice the difference is charged (s.424). Either way the year's income tax comes to the tax treated as deducted, less capital
gains tax; so the larger of the two is exact. What comes after Step 6 of s.23 is not counted (s.425), such as the child benefit
charge. Capital gains are not among the facts known here and count as nothing.
"""

from __future__ import annotations

from service.law.units import BasisPoints, Pence, TaxUnits


def tax_treated_as_deducted(gifts: Pence, basic_rate: BasisPoints) -> TaxUnits:
    """The tax treated as deducted from a year's gross gifts (s.414(2)): at the basic rate of all nations but Scotland, whatever
    the donor's nation."""
    return gifts * basic_rate


def tax_made_up(tax: TaxUnits, treated_as_deducted: TaxUnits) -> TaxUnits:
    """What is to be paid besides the tax of Steps 1 to 6 so that it covers the gifts (ss.423(4), 424(4))."""
    return max(0, treated_as_deducted - tax)
