"""Where the choice of set-off bends the tax between the points that the figures tell.

That choice makes the tax, as the withdrawal grows, the least of many lines. The points at which such a line itself can get
steeper follow from the figures too; between them rates only fall. So one amount more on the line from end to end, or the
same set-off at both ends, shows that a piece is straight; and where the lines from both ends meet on the curve, there
is its only bend.
"""

from __future__ import annotations

from service.law.income_tax import Liability, TaxpayerYear
from service.law.set_off import Scales, plain_order_is_best
from service.law.units import Pence, TaxUnits
from service.planning.curve.tax_function import TaxFunction


def bends(rules: TaxFunction, start: Pence, end: Pence) -> list[Pence]:
    """Where the choice of set-off bends the line strictly between two neighbouring points."""
    before, after = rules(start), rules(end)
    if not _choice_may_bend(rules.year, before, after):
        return _where_tax_begins(rules.year, start, end, before, after)
    steeper = _may_get_steeper(rules.year, before, after)
    if steeper is None:
        return _found_bends(rules, start, end, falling=False)
    if not steeper:
        return _found_bends(rules, start, end, falling=True)
    cuts = [start]
    for at in (*steeper, end):
        cuts += _found_bends(rules, cuts[-1], at, falling=True)
        cuts.append(at)
    return [
        at
        for last, at, following in zip(cuts, cuts[1:], cuts[2:], strict=False)
        if not _in_line(rules, last, at, following, rules(last).income_tax, rules(following).income_tax)
    ]


def _found_bends(rules: TaxFunction, start: Pence, end: Pence, *, falling: bool) -> list[Pence]:
    """The bends strictly between two points: where the lines from both ends meet, and so on with what is left on either
    side until it is straight. ``falling``: the rate is known only to fall from one point to the other."""
    length, before, after = end - start, rules(start), rules(end)
    if length == 1 or (
        _on_one_course(rules.year.scales, before, after) if falling else not set_off_may_bend(rules.year, before, after)
    ):
        return []
    probes = (rules.asked_between(start, end),) if falling else (start + 1, start + length * 5 // 13, end - 1)
    if all(_in_line(rules, start, probe, end, before.income_tax, after.income_tax) for probe in probes):
        return []
    bend = _bend(rules, start, end)
    return [
        *_found_bends(rules, start, bend, falling=falling),
        bend,
        *_found_bends(rules, bend, end, falling=falling),
    ]


def _in_line(
    rules: TaxFunction, start: Pence, between: Pence, end: Pence, tax_start: TaxUnits, tax_end: TaxUnits
) -> bool:
    """Whether the tax at an amount lies on the line between two others."""
    tax = rules(between).income_tax
    return (tax - tax_start) * (end - between) == (tax_end - tax) * (between - start)


def _on_one_course(scales: Scales, before: Liability, after: Liability) -> bool:
    """Whether one and the same set-off is best at both ends of a stretch of falling rates: then it is so all along.

    It is the same where each height of the stack stands still or moves with the withdrawal. What it costs between the ends
    is never above their line, as long as no nil rate comes past a limit; and the least tax, whose rates fall, never below.
    """
    stands_or_moves = (0, after.net_income - before.net_income)
    uk, nil_dividends = scales.savings, scales.dividend_allowance
    return (
        after.other_to - before.other_to in stands_or_moves
        and after.savings_to - before.savings_to in stands_or_moves
        and after.savings_nil_to - before.savings_nil_to in stands_or_moves
        and uk.band(after.savings_nil_to) == uk.band(before.savings_nil_to)
        and uk.band(after.savings_to + nil_dividends) == uk.band(before.savings_to + nil_dividends)
    )


def _may_get_steeper(year: TaxpayerYear, before: Liability, after: Liability) -> list[Pence] | None:
    """Where the choice of set-off may make the line steeper strictly between two neighbouring points; None if not known.

    As the withdrawal grows, the limits of what may be chosen stand still or move with it, and so do the lines on which a
    stack costs more to one side than to the other (see ``set_off``). As long as the best stack can keep to those it lies
    on, forward and back, the rate does not rise. So it rises only where a height held by a limit meets one that moves: a
    limit, the layer of savings above it (all of them, what is in their allowance, or what no allowance can reach) and the
    dividends above that (likewise) just make up the total. It is not known where a reduction leaves no tax.
    """
    taxpayer, its_rules, scales = year.taxpayer, year.rules, year.scales
    if before.marriage_allowance_open and before.marriage_allowance_reduction < scales.reduction:
        return None
    savings, dividends = taxpayer.savings, taxpayer.dividends
    below, allowances = before.net_income - savings - dividends, before.allowances
    free_savings = min(savings, after.savings_allowance)
    free_dividends = min(dividends, scales.dividend_allowance)
    limits = {*(scales.property or scales.lower).limits}
    layers, tops = {savings, free_savings}, {dividends, free_dividends}
    if its_rules.other_income_first:
        held = taxpayer.property_income
        if below - held >= allowances:
            return []
        limits.update((0, held))
    else:
        if below < allowances:
            limits.add(0)
        layers.add(max(savings - allowances, free_savings))
        tops.add(max(dividends - allowances, free_dividends))
    widths = {layer + top for layer in layers for top in tops}
    if not its_rules.other_income_first:
        widths.add(savings + dividends - allowances)
    lowest, highest, moved = before.taxable, after.taxable, after.net_income - after.taxable - taxpayer.income
    found = set()
    for limit in limits:
        for width in widths:
            if lowest < limit + width < highest:
                found.add(limit + width + moved)
    if savings > free_savings:
        for limit in scales.savings.limits:
            for top in tops:
                if lowest < limit + top < highest:
                    found.add(limit + top + moved)
    return sorted(found)


def set_off_may_bend(year: TaxpayerYear, before: Liability, after: Liability) -> bool:
    """Whether the choice of set-off may bend the line between two neighbouring points, or the marriage allowance reduction,
    limited to the tax there is, where it is not the same at both."""
    return before.marriage_allowance_reduction != after.marriage_allowance_reduction or _choice_may_bend(
        year, before, after
    )


def _where_tax_begins(year: TaxpayerYear, start: Pence, end: Pence, before: Liability, after: Liability) -> list[Pence]:
    """Where a marriage allowance reduction leaves tax for the first time strictly between two points, where nothing else bends
    the line: the penny, or both pennies between which that is."""
    reduction = year.scales.reduction
    tax_start, tax_end = (each.other_tax + each.savings_tax + each.dividend_tax for each in (before, after))
    if not tax_start < reduction < tax_end:
        return []
    last, beyond = divmod((reduction - tax_start) * (end - start), tax_end - tax_start)
    return [at for at in ((start + last, start + last + 1) if beyond else (start + last,)) if start < at < end]


def _choice_may_bend(year: TaxpayerYear, before: Liability, after: Liability) -> bool:
    """Whether the choice of set-off may bend the line between two neighbouring points. Without savings and dividends there is
    no choice; where the plain order is best its bends are among the points."""
    taxpayer, its_rules, scales = year.taxpayer, year.rules, year.scales
    savings, dividends = taxpayer.savings, taxpayer.dividends
    if savings == 0 and dividends == 0:
        return False
    below_savings = before.net_income - savings - dividends - before.allowances
    return not plain_order_is_best(
        scales,
        scales.savings.band(after.taxable),
        below_savings if below_savings > 0 else 0,
        taxpayer.property_income if its_rules.other_income_first else after.net_income - savings - dividends,
        savings,
        dividends,
    )


def _bend(rules: TaxFunction, start: Pence, end: Pence) -> Pence:
    """A point strictly between at which to cut: where the lines from both ends meet, or the middle if they do not."""
    meeting, _ = where_lines_meet(rules, start, end, 1)
    return meeting if start < meeting < end else (start + end) // 2


def where_lines_meet(rules: TaxFunction, start: Pence, end: Pence, step: Pence) -> tuple[int, bool]:
    """Where the line from ``start`` through its first ``step`` and the line through the last one into ``end`` meet, in whole
    steps, and whether that is strictly between and the curve is on the first line there. ``start`` for lines side by side."""
    tax_start, tax_end = rules(start).income_tax, rules(end).income_tax
    from_start = rules(start + step).income_tax - tax_start
    into_end = tax_end - rules(end - step).income_tax
    if from_start == into_end:
        return start, False
    length = (end - start) // step
    meeting = (tax_end - tax_start - into_end * length) // (from_start - into_end)
    for steps in (meeting, meeting + 1):
        at = start + steps * step
        if 0 < steps < length and rules(at).income_tax == tax_start + from_start * steps:
            return at, True
    return start + meeting * step, False
