"""Where to cut a scene in two, so that the hull of a person's tax comes nearer to the tax."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import NamedTuple

from service.planning.optimiser.relaxation import Box, Ground, Role, TaxPoint

_POUND = 100  # pence
_PENNY = 0.01
_STEP = 1.0  # pounds of tax on a penny that are a step
_NEAR = 0.05  # pounds: two points this near are on the same side
_WITHIN = 1e-6


class _Edge(NamedTuple):
    """A line across the surface: where the income (``of_income``), the savings (``of_savings``) or both come to an
    amount, pounds."""

    of_income: int
    of_savings: int
    amount: float

    def measured(self, point: TaxPoint) -> float:
        """What a point has of that which the edge bounds."""
        return self.of_income * point.income + self.of_savings * point.savings / _POUND

    def parts(self, box: Box, *, step: bool) -> tuple[Box, Box]:
        """A box cut at the edge; a step belongs to the lower part, and the other begins a penny on."""
        more = self.amount + (_PENNY if step else 0.0)
        if not self.of_income:
            savings = round(self.amount * _POUND)
            return box._replace(savings_high=savings), box._replace(savings_low=savings)
        if self.of_savings:
            return box._replace(total_high=self.amount), box._replace(total_low=more)
        return box._replace(high=self.amount), box._replace(low=more)


class _Corner(NamedTuple):
    """An edge, by how much the tax at it is above the hull, and whether the tax steps there."""

    edge: _Edge
    error: float
    step: bool


def cut(ground: Ground, box: Box, role: Role) -> tuple[Box, Box] | None:
    """The two boxes: cut at the corner of the tax that is highest above the hull, or where the answer is."""
    corner = max(_corners(ground, role), key=lambda one: one.error, default=None)
    if corner is not None and corner.error >= role.error / 2:
        parts = corner.edge.parts(box, step=corner.step)
        if box not in parts:
            return parts
    return _cut_here(ground, box, role)


def _corners(ground: Ground, role: Role) -> Iterator[_Corner]:
    """Where edges cross the segments between the points that make up the tax."""
    surface = ground.surface
    for first, second in combinations(role.points, 2):
        for edge in _edges(ground, first, second):
            start, end = edge.measured(first), edge.measured(second)
            if abs(end - start) < _NEAR:
                continue
            share = (edge.amount - start) / (end - start)
            if _WITHIN < share < 1 - _WITHIN:
                income = round((first.income + share * (second.income - first.income)) * _POUND)
                savings = round(first.savings + share * (second.savings - first.savings))
                below, above = (surface.tax(income + penny, savings) for penny in (-1, 1))
                hull = first.tax + share * (second.tax - first.tax)
                yield _Corner(edge, max(below, above) - hull, abs(above - below) > _STEP)


def _edges(ground: Ground, first: TaxPoint, second: TaxPoint) -> list[_Edge]:
    """The corners of the tax at savings from one point's to another's, and the levels between."""
    low, high = sorted((first.savings, second.savings))
    if low == high:
        return [_Edge(1, 0, income) for income in ground.surface.level(low).corners(upward=False)]
    levels = [level for level in ground.levels if low < level < high]
    found = {_Edge(0, 1, level / _POUND) for level in levels}
    for below, above in pairwise((low, *levels, high)):
        for line in ground.surface.moving(below, above, upward=False):
            if line.speed in (0.0, 1.0):
                found.add(_Edge(1, int(line.speed), round(line.without, 2)))
    return sorted(found)


def _cut_here(ground: Ground, box: Box, role: Role) -> tuple[Box, Box] | None:
    """A box cut where the answer is, by savings or by income, whichever bends the surface more; None at its border."""
    line = ground.surface.level(role.savings)
    low, high = ground.reach(box, role.savings)
    along_income = line.at(role.income) - line.hull(low, high).at(role.income) if low < high else 0.0
    income = round(role.income, 2)
    inside = ground.free and low + _PENNY < income < high - _PENNY
    least = max(ground.savings, box.savings_low)
    between = ground.earns and least < role.savings and (box.savings_high is None or role.savings < box.savings_high)
    if between and (role.error > 2 * along_income or not inside):
        return _Edge(0, 1, role.savings / _POUND).parts(box, step=False)
    return _Edge(1, 0, income).parts(box, step=False) if inside else None
