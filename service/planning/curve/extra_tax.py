"""What a withdrawal in each of several like years adds to the year's tax, as a convex line.

It is the lower convex hull of the tax curve, and above its last bend the top rate. So it is never above the tax, but for the
whole pounds of stairs. It is below the tax where the personal allowance is withdrawn and beyond: by what the allowance
is worth there (some 3,800 pounds a year), and by a few pounds at the steps of other reliefs. A convex line is what the
linear model of the best plan can hold exactly.
"""

from __future__ import annotations

from itertools import pairwise

from service.law.rounding import half_up
from service.law.units import PENNY, WHOLE, BasisPoints, Pence, TaxUnits, Years
from service.law.value import Value
from service.planning.curve.tax_curve import tax_curve
from service.planning.curve.tax_function import TaxFunction

_Point = tuple[Pence, TaxUnits]


class ExtraTax(Value, frozen=True):
    """What a taxable amount a year adds to the tax, as a convex line through points: amounts in pence, from nothing on, and the
    tax in ten-thousandths of a penny. Beyond the last point it is taxed at ``last_rate``."""

    amounts: tuple[Pence, ...]
    taxes: tuple[TaxUnits, ...]
    last_rate: BasisPoints

    def over(self, years: Years, amount: Pence) -> Pence:
        """The tax on an amount in all that is drawn evenly over so many years; half a penny up."""
        last = sum(at * years <= amount for at in self.amounts) - 1
        start, tax, beyond = self.amounts[last], self.taxes[last], amount - years * self.amounts[last]
        if last + 1 == len(self.amounts):
            return half_up(years * tax + beyond * self.last_rate, PENNY)
        width, rise = self.amounts[last + 1] - start, self.taxes[last + 1] - tax
        return half_up(years * tax * width + beyond * rise, PENNY * width)

    def stretches(self) -> list[tuple[float, float]]:
        """The line in stretches: the width in pence, and the tax on each penny. The last has no end."""
        ends = list(zip(self.amounts, self.taxes, strict=True))
        found = [
            (float(there - here), (more - tax) / (there - here) / WHOLE)
            for (here, tax), (there, more) in pairwise(ends)
        ]
        return [*found, (float("inf"), self.last_rate / WHOLE)]


def extra_tax(rules: TaxFunction) -> ExtraTax:
    """What withdrawals add to the tax of a taxpayer's year, the child benefit charge included."""
    lower = rules.year.scales.lower
    # Once other income fills all bands, a pound more bears the top rate whatever is stacked upon it.
    pieces = tax_curve(rules, lower.limits[-1] + rules.year.rules.personal_allowance).pieces
    start = pieces[0].tax_start
    lowest: dict[Pence, TaxUnits] = {}  # at a step, its lower end
    for piece in pieces:
        lowest[piece.end] = min(piece.tax_end, lowest.get(piece.end, piece.tax_end))
    hull: list[_Point] = [(0, 0)]
    for amount, tax in sorted(lowest.items()):
        point = amount, tax - start
        while len(hull) > 1 and _is_not_below(hull[-1], hull[-2], point):
            hull.pop()
        hull.append(point)
    top = lower.rates[-1]
    while len(hull) > 1 and hull[-1][1] - hull[-2][1] >= top * (hull[-1][0] - hull[-2][0]):
        hull.pop()
    return ExtraTax(tuple(amount for amount, _ in hull), tuple(tax for _, tax in hull), top)


def _is_not_below(point: _Point, before: _Point, after: _Point) -> bool:
    """Whether a point is not below the chord of its neighbours."""
    (left, low), (at, tax), (right, high) = before, point, after
    return (tax - low) * (right - at) >= (high - tax) * (at - left)
