"""The form by which tax taken in excess by payroll is claimed back within the year.

HMRC guidance: PAYE94055, SAM110271 and the gov.uk pages of the forms. The forms of each tax year differ; without a
claim HMRC settles the difference after 5 April.
"""

from __future__ import annotations

from typing import NamedTuple


class Reclaim(NamedTuple):
    """A form's name, or "none", and why it fits."""

    form: str
    reason: str


def form_for(
    method: str, *, over_deducted: int, cumulative: bool, emptied: bool, income_kinds: frozenset[str]
) -> Reclaim:
    """The form that fits. ``income_kinds`` are the kinds of the person's other income this year with an amount."""
    if over_deducted <= 0:
        return Reclaim("none", "Payroll does not take more than the year's tax on this payment.")
    if cumulative:
        return Reclaim(
            "none",
            "A cumulative code evens out over the year: later payments from the same payer, or HMRC after 5 April, put it "
            "right.",
        )
    if method == "small_pot":
        return Reclaim("P53", "Tax on a small pension taken as a lump sum is claimed on form P53.")
    if not emptied:
        return Reclaim(
            "P55",
            "The pension is not emptied, so form P55 fits, provided no further payment from it is due this tax year and "
            "the payer does not refund the tax.",
        )
    if income_kinds & {
        "employment",
        "self_employment",
        "defined_benefit_pension",
        "annuity",
        "other_taxable",
    }:
        return Reclaim("P53Z", "The pension is emptied and there is other taxable income, so form P53Z fits.")
    return Reclaim(
        "P50Z",
        "The pension is emptied and there is no other earned or pension income but the State Pension, so form P50Z fits, "
        "provided work has stopped and no taxable benefit is claimed.",
    )
