"""Setting the allowances against the kinds of income, and taxing the stack that remains.

Taxable income is a stack (ITA 2007 s.16): other income at the bottom, savings above it, dividends on top. Four heights
describe it, in pence:

    floor      income that leaves no choice (from 2027-28: other income that is not property)
    lower      top of everything below the savings
    savings    top of the savings
    total      top of the dividends: all taxable income

Allowances lower the total by a fixed amount; which layers they thin is settled by moving ``lower`` and ``savings``.
To 2026-27 the taxpayer has whatever set-off reduces the liability most (ITA 2007 s.25(2)), a marriage allowance
received included; from 2027-28 the allowances go to
other income first and the choice is between what is left (s.25(3A), inserted by Finance Act 2026 s.6).

For a given total the tax is piecewise linear in the two heights. Between the lines where its slope rises it is concave,
so the least tax lies where two of those lines, or the limits of what may be chosen, cross. Trying each crossing is exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from service.law.scale import Scale


@dataclass(frozen=True, slots=True)
class Scales:
    """What one taxpayer's stack is taxed with: scales with their limits already extended for reliefs, and the nil rates.

    ``lower`` taxes other income by the taxpayer's own nation; ``property`` is None where property income is taxed as
    other income. ``plain_order_is_best`` says, for each UK band, whether a stack that starts and ends within the band
    is taxed least when other income is relieved first and savings down to the nil rates next. ``last_basic_band`` is the
    last band of ``lower`` that leaves the marriage allowance open, and ``reduction`` the tax reduction it gives this
    taxpayer, in ten-thousandths of a penny.
    """

    lower: Scale
    property: Scale | None
    savings: Scale
    dividends: Scale
    starting_rate_limit: int
    dividend_allowance: int
    plain_order_is_best: tuple[bool, ...]
    last_basic_band: int
    reduction: int = 0


class Stack(NamedTuple):
    """Taxable income as heights in pence, and the height up to which savings are taxed at a nil rate."""

    floor: int
    lower: int
    savings: int
    total: int
    savings_nil_to: int


def lower_tax(scales: Scales, floor: int, lower: int) -> int:
    """Tax on everything below the savings, in ten-thousandths of a penny (ITA 2007 ss.10, 11A; from 2027-28 s.11CA)."""
    if scales.property is None:
        return scales.lower.tax(lower)
    return scales.lower.tax(floor) + scales.property.tax(lower) - scales.property.tax(floor)


def savings_tax(scales: Scales, savings: int, nil_to: int) -> int:
    """Tax on savings above the nil rates (ITA 2007 ss.7, 12, 12A, 12B), in ten-thousandths of a penny."""
    return scales.savings.tax(savings) - scales.savings.tax(nil_to) if savings > nil_to else 0


def dividend_tax(scales: Scales, savings: int, total: int) -> int:
    """Tax on dividends above the dividend nil rate (ITA 2007 ss.8, 13, 13A), in ten-thousandths of a penny."""
    nil_to = savings + scales.dividend_allowance
    return scales.dividends.tax(total) - scales.dividends.tax(nil_to) if total > nil_to else 0


def savings_nil_to(scales: Scales, lower: int, savings_allowance: int) -> int:
    """Height up to which savings bear no tax: what is left of the starting rate, then the savings allowance."""
    return max(lower, scales.starting_rate_limit) + savings_allowance


def charged_above_basic(scales: Scales, stack: Stack) -> bool:
    """Whether any income is charged at a rate that rules the marriage allowance out (ITA 2007 ss.55B(3), 55C).

    Savings and dividends inside their nil rates are not charged at such a rate, however high they lie.
    """
    uk_limit = scales.savings.limits[0]
    return (
        stack.lower > scales.lower.limits[scales.last_basic_band]
        or stack.savings > max(stack.savings_nil_to, uk_limit)
        or stack.total > max(stack.savings + scales.dividend_allowance, uk_limit)
    )


def stack_tax(scales: Scales, stack: Stack) -> int:
    """The liability on the whole stack after the taxpayer's reduction, in ten-thousandths of a penny."""
    tax = (
        lower_tax(scales, stack.floor, stack.lower)
        + savings_tax(scales, stack.savings, stack.savings_nil_to)
        + dividend_tax(scales, stack.savings, stack.total)
    )
    if scales.reduction and not charged_above_basic(scales, stack):
        return max(0, tax - scales.reduction)
    return tax


def plain_order_is_best(
    scales: Scales,
    lower: int,
    total: int,
    lower_income: int,
    savings: int,
    dividends: int,
    savings_allowance: int,
) -> bool:
    """Whether nothing beats relieving what is below the savings first, then savings down to their nil rates.

    So it is where savings and dividends fit into their nil rates, and where the stack from ``lower`` to ``total`` stays
    within one UK band (with nothing below the savings to choose, for any rates). It may be so elsewhere too.
    """
    if savings <= savings_allowance and dividends <= scales.dividend_allowance:
        return True
    band = scales.savings.band(total)
    return lower >= scales.savings.floors[band] and (lower_income == 0 or scales.plain_order_is_best[band])


def set_off(
    scales: Scales,
    floor: int,
    lower_income: int,
    savings: int,
    dividends: int,
    allowance: int,
    savings_allowance: int,
) -> Stack:
    """The stack that bears the least tax once ``allowance`` is set against the three layers above ``floor``; all pence."""
    lower_top = floor + lower_income
    if allowance == 0:
        nil_to = savings_nil_to(scales, lower_top, savings_allowance)
        return Stack(floor, lower_top, lower_top + savings, lower_top + savings + dividends, nil_to)
    total = max(floor, lower_top + savings + dividends - allowance)
    lower = floor + max(0, lower_income - allowance)
    if plain_order_is_best(scales, lower, total, lower_income, savings, dividends, savings_allowance):
        lowest = max(total - dividends, lower + max(0, savings - allowance))
        highest = min(total - max(0, dividends - allowance), lower + savings)
        nil_to = savings_nil_to(scales, lower, savings_allowance)
        return Stack(floor, lower, min(max(nil_to, lowest), highest), total, nil_to)
    pairs = _crossings(scales, floor, lower_income, savings, dividends, allowance, savings_allowance, total)
    stacks = [Stack(floor, low, high, total, savings_nil_to(scales, low, savings_allowance)) for low, high in pairs]
    return min([(stack_tax(scales, stack), stack) for stack in stacks])[1]


def _crossings(
    scales: Scales,
    floor: int,
    lower_income: int,
    savings: int,
    dividends: int,
    allowance: int,
    savings_allowance: int,
    total: int,
) -> set[tuple[int, int]]:
    """Every permitted pair of heights at which the least tax can lie (see the module's opening), each once."""
    lower_least, lower_most = floor + max(0, lower_income - allowance), floor + lower_income
    height_least, height_most = total - dividends, total - max(0, dividends - allowance)
    layer_least, layer_most = max(0, savings - allowance), savings
    start = scales.starting_rate_limit
    below_savings = scales.property or scales.lower
    lowers = [lower_least, lower_most]
    lowers += [x for x in (*below_savings.limits, start) if lower_least < x < lower_most]
    heights = [height_least]
    if height_most != height_least:
        levels = (*scales.savings.limits, total - scales.dividend_allowance, start + savings_allowance)
        heights += [height_most, *[x for x in levels if height_least < x < height_most]]
    layers = [layer_least, layer_most]
    if layer_least < savings_allowance < layer_most:
        layers.append(savings_allowance)
    pairs = {(low, high) for low in lowers for high in heights if layer_least <= high - low <= layer_most}
    for layer in layers:
        pairs.update([(high - layer, high) for high in heights if lower_least <= high - layer <= lower_most])
        if height_least != height_most:
            pairs.update([(low, low + layer) for low in lowers if height_least <= low + layer <= height_most])
    return pairs
