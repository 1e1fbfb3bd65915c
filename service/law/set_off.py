"""Setting the allowances against the kinds of income, and taxing the stack that remains.

Taxable income is a stack (ITA 2007 s.16): other income at the bottom, savings above it, dividends on top. Four heights
describe it, in pence:

    floor      income that leaves no choice (from 2027-28: other income that is not property)
    lower      top of everything below the savings
    savings    top of the savings
    total      top of the dividends: all taxable income

Allowances lower the total by a fixed amount; which layers they thin is settled by moving ``lower`` and ``savings``.
To 2026-27 the taxpayer has whatever set-off reduces the liability most (ITA 2007 s.25(2)), a marriage allowance
received included; from 2027-28 the allowances go to other income first and the choice is between what is left (s.25(3A),
inserted by Finance Act 2026 s.6).

For a given total the tax is piecewise linear in the two heights. Between the lines where its slope rises it is concave,
so the least tax lies where two of those lines, or the limits of what may be chosen, cross. Trying each crossing is exact.
Of several stacks that bear the least tax the lowest is taken, so a crossing need not be tried from which lower heights are
in reach that bear no more.
"""

from __future__ import annotations

from service.law.scale import Scale
from service.law.units import Pence, TaxUnits
from service.law.value import Value


class Scales(Value, frozen=True):
    """What one taxpayer's stack is taxed with: scales with their limits already extended for reliefs, and the nil rates.

    ``lower`` taxes other income by the taxpayer's own nation; ``property`` is None where property income is taxed as
    other income. ``savings_allowances`` are pence, one for each UK band in which the whole stack may end.
    ``plain_order_is_best`` says, for each UK band, whether a stack that starts and ends within the band is taxed least
    when other income is relieved first and savings down to the nil rates next. ``last_basic_band`` is the
    last band of ``lower`` that leaves the marriage allowance open, and ``reduction`` the tax reduction it gives this
    taxpayer, in ten-thousandths of a penny.
    """

    lower: Scale
    property: Scale | None
    savings: Scale
    dividends: Scale
    starting_rate_limit: Pence
    savings_allowances: tuple[Pence, ...]
    dividend_allowance: Pence
    plain_order_is_best: tuple[bool, ...]
    last_basic_band: int
    reduction: TaxUnits = 0


Stack = tuple[TaxUnits, Pence, Pence, Pence, Pence, Pence, Pence, TaxUnits, TaxUnits, TaxUnits, TaxUnits]
"""Taxable income and what it bears: the tax after the taxpayer's reduction; floor, lower, savings and total as heights; the
height up to which savings are taxed at a nil rate, and the savings allowance in it; the tax on what is below the savings, on
savings and on dividends; the reduction. Pence, and ten-thousandths of a penny for tax and reduction.

The least of several stacks bears the least tax, and of those that bear the same relieves most of the lower layers. Plain
tuples, because dozens are made and compared for one answer.
"""


def charged_above_basic(scales: Scales, lower: Pence, savings: Pence, total: Pence, savings_nil_to: Pence) -> bool:
    """Whether any income is charged at a rate that rules the marriage allowance out (ITA 2007 ss.55B(3), 55C).

    Savings and dividends inside their nil rates are not charged at such a rate, however high they lie.
    """
    uk_limit = scales.savings.limits[0]
    return (
        lower > scales.lower.limits[scales.last_basic_band]
        or (savings > uk_limit and savings > savings_nil_to)
        or (total > uk_limit and total > savings + scales.dividend_allowance)
    )


def taxed(scales: Scales, floor: Pence, lower: Pence, savings: Pence, total: Pence, savings_allowance: Pence) -> Stack:
    """The stack of these heights, all pence, with the tax on each layer at its rates."""
    # ITA 2007 ss.10, 11A; from 2027-28 property above the floor has rates of its own (s.11CA).
    if scales.property is None or lower == floor:
        on_lower = scales.lower.tax(lower)
    else:
        on_lower = scales.lower.tax(floor) + scales.property.tax_between(floor, lower)
    # ITA 2007 ss.7, 12, 12A, 12B: savings are taxed above what is left of the starting rate and then their allowance.
    start = scales.starting_rate_limit
    nil_to = (lower if lower > start else start) + savings_allowance
    on_savings = scales.savings.tax_between(nil_to, savings) if savings > nil_to else 0
    # ITA 2007 ss.8, 13, 13A: dividends are taxed above their nil rate.
    nil_dividends_to = savings + scales.dividend_allowance
    on_dividends = scales.dividends.tax_between(nil_dividends_to, total) if total > nil_dividends_to else 0
    tax = on_lower + on_savings + on_dividends
    reduction = 0
    if scales.reduction and not charged_above_basic(scales, lower, savings, total, nil_to):
        reduction = min(scales.reduction, tax)
    return (
        tax - reduction,
        floor,
        lower,
        savings,
        total,
        nil_to,
        savings_allowance,
        on_lower,
        on_savings,
        on_dividends,
        reduction,
    )


def plain_order_is_best(
    scales: Scales, band: int, lower: Pence, lower_income: Pence, savings: Pence, dividends: Pence
) -> bool:
    """Whether nothing beats relieving what is below the savings first, then savings down to their nil rates.

    So it is where savings and dividends fit into their nil rates, and where the stack from ``lower`` to its top, which is
    in the UK band ``band``, stays within that band (with nothing below the savings to choose, for any rates). It may be so
    elsewhere too.
    """
    if savings <= scales.savings_allowances[band] and dividends <= scales.dividend_allowance:
        return True
    return lower >= scales.savings.floors[band] and (lower_income == 0 or scales.plain_order_is_best[band])


def set_off(
    scales: Scales, floor: Pence, lower_income: Pence, savings: Pence, dividends: Pence, allowance: Pence
) -> Stack:
    """The stack that bears the least tax once ``allowance`` is set against the three layers above ``floor``; all pence."""
    total = floor + lower_income + savings + dividends - allowance
    if total < floor:
        total = floor
    # ITA 2007 s.12B: the allowance follows the highest UK band that any income reaches, Scottish taxpayers included.
    band = scales.savings.band(total)
    savings_allowance = scales.savings_allowances[band]
    if allowance <= lower_income:
        lower = floor + lower_income - allowance
        height = lower + savings
    else:
        lower = floor
        lowest = floor + savings - allowance if savings > allowance else floor
        if lowest < total - dividends:
            lowest = total - dividends
        highest = total - dividends + allowance if dividends > allowance else total
        if highest > floor + savings:
            highest = floor + savings
        start = scales.starting_rate_limit
        height = (floor if floor > start else start) + savings_allowance
        if height < lowest:
            height = lowest
        if height > highest:
            height = highest
    if allowance == 0 or plain_order_is_best(scales, band, lower, lower_income, savings, dividends):
        return taxed(scales, floor, lower, height, total, savings_allowance)
    pairs = _crossings(scales, floor, lower_income, savings, dividends, allowance, savings_allowance, total)
    return min([taxed(scales, floor, low, high, total, savings_allowance) for low, high in pairs])


def _crossings(
    scales: Scales,
    floor: Pence,
    lower_income: Pence,
    savings: Pence,
    dividends: Pence,
    allowance: Pence,
    savings_allowance: Pence,
    total: Pence,
) -> list[tuple[Pence, Pence]]:
    """Every permitted pair of heights at which the least tax can lie (see the module's opening).

    Dividends inside their nil rate are not relieved, nor savings inside theirs, as long as anything else can be: lower
    heights are then in reach that bear no more. With a reduction they are, since where it leaves no tax many stacks bear
    the same and a lower one might be taken. Where the starting rate for savings ends, the slope falls as ``lower`` rises, so
    no least tax lies on that line alone; nor, without savings, on a line of theirs.
    """
    lower_most, layer_most = floor + lower_income, savings
    lower_least = lower_most - allowance if lower_income > allowance else floor
    layer_least = savings - allowance if savings > allowance else 0
    height_least = lower_least + layer_least
    if height_least < total - dividends:
        height_least = total - dividends
    height_most = total - dividends + allowance if dividends > allowance else total
    nil_dividends_from = total - scales.dividend_allowance
    if not scales.reduction:
        layer_least = max(layer_least, min(savings_allowance, layer_most))
        height_most = min(height_most, max(height_least, nil_dividends_from))
    limits = [x for x in (scales.property or scales.lower).limits if lower_least < x < lower_most]
    heights = [height_least]
    pairs = []
    if height_most > height_least:
        levels = [height_most]
        if height_most > nil_dividends_from:
            levels.append(nil_dividends_from)
        if savings:
            levels += (*scales.savings.limits, scales.starting_rate_limit + savings_allowance)
        heights += [x for x in levels if height_least < x <= height_most]
        layers = {layer_least, layer_most}
        if layer_least < savings_allowance < layer_most:
            layers.add(savings_allowance)
        for low in (lower_least, lower_most, *limits):
            for layer in layers:
                if height_least < low + layer < height_most and low + layer not in heights:
                    pairs.append((low, low + layer))
    for high in heights:
        least = high - layer_most if high - layer_most > lower_least else lower_least
        most = high - layer_least if high - layer_least < lower_most else lower_most
        pairs.append((least, high))
        if least < most:
            pairs.append((most, high))
            for low in (*limits, high - savings_allowance):
                if least < low < most:
                    pairs.append((low, high))
    return pairs
