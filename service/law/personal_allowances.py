"""Adjusted net income, the personal allowance with its taper, and the allowance a marriage partner may give.

ITA 2007 ss.35, 38, 55A-55E, 58.
"""

from __future__ import annotations

from service.law.rounding import up_to_the_pound
from service.law.units import Pence


def adjusted_net_income(net_income: Pence, relief_at_source: Pence, gift_aid: Pence) -> Pence:
    """Net income less gross relief-at-source contributions and gross Gift Aid donations; pence (ITA 2007 s.58)."""
    adjusted = net_income - relief_at_source - gift_aid
    return adjusted if adjusted > 0 else 0


def personal_allowance(adjusted_net_income: Pence, full_allowance: Pence, taper_threshold: Pence) -> Pence:
    """The allowance left after half of the income above the threshold is taken off; pence (ITA 2007 s.35(2)-(3))."""
    excess = adjusted_net_income - taper_threshold
    if excess <= 0:
        return full_allowance
    # Half of the excess may end in half a penny; doubling first keeps it whole until the rounding up to the pound.
    left = up_to_the_pound(-((excess - 2 * full_allowance) // 2))
    return left if left > 0 else 0
