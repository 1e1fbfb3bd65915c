"""The charges on the member for payments that a scheme may not make (Finance Act 2004 ss.208-213). All amounts are pence."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from service.law.ages import birthday
from service.law.rounding import down_to_the_penny
from service.law.units import WHOLE, BasisPoints, Pence


class UnauthorisedPayment(NamedTuple):
    """A payment by one scheme, with the value of the member's rights in that scheme when it is made. ``day`` is None where it is
    the only one and its day is not known."""

    day: date | None
    amount: Pence
    rights: Pence


class ReferencePeriod(NamedTuple):
    """The payments of one reference period in order, and whether they are surchargeable."""

    payments: tuple[UnauthorisedPayment, ...]
    surcharged: bool

    def charges(self, charge: BasisPoints, surcharge: BasisPoints) -> Pence:
        """The unauthorised payments charge (s.208), and the surcharge where it is due (s.209); of each payment to the penny."""
        rate = charge + surcharge if self.surcharged else charge
        return sum(down_to_the_penny(payment.amount * rate) for payment in self.payments)


def reference_periods(payments: Sequence[UnauthorisedPayment], share: BasisPoints) -> tuple[ReferencePeriod, ...]:
    """Payments of one scheme, in the order of their days, by their reference periods (s.210).

    A period begins with a payment and has twelve months. Each payment counts as a share of the rights as they then are. Once
    the shares of a period together reach the threshold, all its payments are surchargeable, and with that day it ends; the
    next payment begins another.
    """
    periods: list[ReferencePeriod] = []
    for payment in payments:
        last = periods[-1] if periods else None
        if last is None or not _belongs(payment, last):
            last = ReferencePeriod((), False)
            periods.append(last)
        together = (*last.payments, payment)
        periods[-1] = ReferencePeriod(together, _reaches(together, share))
    return tuple(periods)


def _reaches(payments: Sequence[UnauthorisedPayment], share: BasisPoints) -> bool:
    """Whether the payments, each as a share of the rights when it is made, together reach a share; exact."""
    numerator, denominator = 0, 1
    for payment in payments:
        numerator = numerator * payment.rights + payment.amount * denominator
        denominator *= payment.rights
    return numerator * WHOLE >= share * denominator


def _belongs(payment: UnauthorisedPayment, period: ReferencePeriod) -> bool:
    first, latest = period.payments[0].day, period.payments[-1].day
    if payment.day is None or first is None or latest is None:
        return False
    return payment.day == latest or (not period.surcharged and payment.day < birthday(first, 1))
