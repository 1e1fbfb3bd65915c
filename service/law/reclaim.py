"""The form by which tax taken in excess by payroll is claimed back within the year.

HMRC guidance: PAYE94055, SAM110271 and the gov.uk pages of the forms. The forms of each tax year differ; without a
claim HMRC settles the difference after 5 April.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from service.law.lump_sums import Method
from service.law.units import Pence
from service.law.value import Value

ReclaimForm = Literal["none", "P50Z", "P53", "P53Z", "P55"]


class Reclaim(Value, frozen=True):
    """A form's name, or "none", and why it fits."""

    form: ReclaimForm
    reason: str


_NOTHING_TO_CLAIM = Reclaim("none", "Payroll does not take more than the year's tax on this payment.")
_EVENS_OUT = Reclaim(
    "none",
    "A cumulative code evens out over the year: later payments from the same payer, or HMRC after 5 April, put it right.",
)
_P53 = Reclaim("P53", "Tax on a small pension taken as a lump sum is claimed on form P53.")
_P55 = Reclaim(
    "P55",
    "The pension is not emptied, so form P55 fits, provided no further payment from it is due this tax year and the payer "
    "does not refund the tax.",
)
_P53Z = Reclaim("P53Z", "The pension is emptied and there is other taxable income, so form P53Z fits.")
_P50Z = Reclaim(
    "P50Z",
    "The pension is emptied and there is no other earned or pension income but the State Pension, so form P50Z fits, "
    "provided work has stopped and no taxable benefit is claimed.",
)
_EARNED_OR_PENSION = frozenset(("employment", "self_employment", "defined_benefit_pension", "annuity", "other_taxable"))
"""Kinds of income that decide between P53Z and P50Z: earned or pension income but the State Pension."""


def form_for(
    method: Method, *, over_deducted: Pence, cumulative: bool, emptied: bool, incomes: Iterable[tuple[str, int]]
) -> Reclaim:
    """The form that fits. ``incomes`` are the person's other incomes of this year, each as its kind and pence."""
    if over_deducted <= 0:
        return _NOTHING_TO_CLAIM
    if cumulative:
        return _EVENS_OUT
    if method == "small_pot":
        return _P53
    if not emptied:
        return _P55
    if any(amount > 0 and kind in _EARNED_OR_PENSION for kind, amount in incomes):
        return _P53Z
    return _P50Z
