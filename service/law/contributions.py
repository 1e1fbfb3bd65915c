"""Income tax relief on what members pay into pensions (Finance Act 2004 ss.188-191). All amounts are pence.

The limit is applied before the year's tax is worked out: what has no relief extends no band and lowers no adjusted net income.
"""

from __future__ import annotations

from typing import NamedTuple

from service.figures.loader import TaxYearFigures
from service.law.units import Pence, Years


class ReliefRules(NamedTuple):
    """One tax year's limits: the ``basic_amount`` that has relief whatever the earnings (s.190(2), (4)), and the age at which
    relief ends (s.188(3)(a))."""

    basic_amount: Pence
    ends_at_age: Years


def rules_for(figures: TaxYearFigures) -> ReliefRules:
    """The limits of one year, from that year's figures."""
    return ReliefRules(figures.money("pension.relief_basic_amount"), figures.count("pension.relief_ends_at_age"))


def relieved_at_source(paid: Pence, net_pay: Pence, earnings: Pence, rules: ReliefRules) -> Pence:
    """What of the contributions paid with relief at source in a tax year has relief; both kinds are those of before the age.

    All contributions together have relief up to the relevant UK earnings (s.190(1)), or the basic amount if that is more
    (s.190(2)). ``earnings`` are taken after net pay contributions, which come off pay and so never exceed it. What they leave
    of the limit is for relief at source, and the basic amount is for it alone: our reading of s.191(7).
    """
    return min(paid, max(earnings, rules.basic_amount - net_pay))
