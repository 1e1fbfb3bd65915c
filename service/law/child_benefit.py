"""The high income child benefit charge (ITEPA 2003 ss.681B-681H)."""

from __future__ import annotations

from service.law.rounding import down_to_the_pound
from service.law.units import POUND, Pence


def charge_percentage(adjusted_net_income: Pence, threshold: Pence, step: Pence) -> int:
    """Whole percentage points of the benefit charged: one for each full step above the threshold (s.681C(2)-(3))."""
    points = (adjusted_net_income - threshold) // step
    if points < 0:
        return 0
    return points if points < 100 else 100


def charge(adjusted_net_income: Pence, benefit: Pence, threshold: Pence, step: Pence) -> Pence:
    """The charge in pence. Benefit, percentage and charge are each rounded down to a whole number (s.681C)."""
    pounds_of_benefit = down_to_the_pound(benefit) // POUND
    percentage = charge_percentage(adjusted_net_income, threshold, step)
    return pounds_of_benefit * percentage // 100 * POUND
