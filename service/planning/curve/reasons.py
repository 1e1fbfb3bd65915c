"""Why the tax rises as it does from one point to another."""

from __future__ import annotations

from service.law.income_tax import Liability, TaxpayerYear
from service.law.units import Pence
from service.planning.curve.tax_function import TaxFunction
from service.planning.search import first_where


def reasons(before: Liability, after: Liability, year: TaxpayerYear, tapered: bool) -> tuple[str, ...]:
    """The rules at work between two points."""
    if after.taxable == 0 and after.other_to == 0:
        return ("personal_allowance", "blind_persons_allowance") if year.taxpayer.blind else ("personal_allowance",)
    scales = year.scales
    own_rates = scales.property is not None
    found = []
    if own_rates and after.fixed_to > before.fixed_to:
        found.append(scales.lower.names[scales.lower.band(after.fixed_to)])
    elif after.other_to > before.other_to and not (own_rates and year.rules.other_income_first):
        found.append(scales.lower.names[scales.lower.band(after.other_to)])
    moved = not found
    if moved:
        found.append("personal_allowance_moved_from_other_kinds_of_income")
    if tapered:
        found.append("personal_allowance_taper")
    if not moved:
        if after.savings_tax > before.savings_tax:
            starting_rate = before.other_to < scales.starting_rate_limit
            found.append("starting_rate_for_savings_used_up" if starting_rate else "savings_taxed_higher")
        if after.dividend_tax > before.dividend_tax:
            found.append("dividends_taxed_higher")
    if after.marriage_allowance_reduction > before.marriage_allowance_reduction:
        found.append("marriage_allowance")
    return tuple(found)


def reliefs_lost(before: Liability, after: Liability) -> tuple[str, ...]:
    """Which reliefs that come and go all at once differ between two points.

    More income takes them away, but for one corner: dividends lifted into their nil rate by the choice of set-off can
    open the marriage allowance again.
    """
    savings_allowance = after.savings_allowance != before.savings_allowance
    marriage_allowance = before.marriage_allowance_open != after.marriage_allowance_open
    if savings_allowance and marriage_allowance:
        return ("personal_savings_allowance", "marriage_allowance")
    if savings_allowance:
        return ("personal_savings_allowance",)
    return ("marriage_allowance",) if marriage_allowance else ()


def last_before_loss(rules: TaxFunction, start: Pence, end: Pence) -> Pence:
    """The last penny from ``start`` on with the reliefs of ``start``, of which some are lost by ``end``."""
    before = rules(start)
    return first_where(lambda amount: bool(reliefs_lost(before, rules(amount))), start, end) - 1
