"""One person's tax in one period in the form the search for the best plan needs: pounds, as straight segments.

The tax depends on two amounts, the taxable withdrawal and the interest on the plan's cash. It is kept as

    tax = base + on_income(withdrawal + interest) - relief(interest)

``on_income`` is the tax curve and ``relief`` what the savings allowance spares the interest. Both are read off the rules
along two lines that cross at an expected plan: exact on them, and nearly so around. While other income is so low that the
starting rate for savings runs, a withdrawal displaces interest from it, and there it is

    tax = base + on_withdrawal(withdrawal) + on_income(withdrawal + interest)

with both read off the rules along the lines without interest and without withdrawal.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from service.law import rounding
from service.law.income_tax import IncomeTaxRules, Taxpayer, year_of
from service.planning.tax_curve import TaxedYear, corners, tax_curve

_JUMP = 100 * rounding.PENNY  # a pound of tax on one penny is a step; the stairs of the taper are smaller
_REACH = 20_000_000  # pence: past every band's limit
_TEN_THOUSANDTHS = 1_000_000.0  # of a penny in a pound
_FLAT = 1e-9
_NO_BEND = 1e-5
_FURTHER = 200_000  # pence
SOME_INTEREST = 100_000  # pence
"""An interest to read a shape at where none is expected yet but some may come."""
_PENNY = 0.01

Point = tuple[float, float]
"""Pounds of income and of tax."""


@dataclass(frozen=True, slots=True)
class LowIncome:
    """The shape for withdrawals up to ``most`` pounds, where the starting rate for savings runs."""

    most: float
    base: float
    on_withdrawal: tuple[Point, ...]
    on_income: tuple[Point, ...]
    top_rate: float


@dataclass(frozen=True, slots=True)
class TaxShape:
    """``on_income`` and ``relief`` are lines through points from nothing, with the rate beyond the last (``relief`` goes on
    as it ends). ``base`` is the tax at nothing, in pounds. ``low`` is the shape of small withdrawals where that differs."""

    base: float
    on_income: tuple[Point, ...]
    top_rate: float
    relief: tuple[Point, ...]
    low: LowIncome | None = None

    def tax(self, income: float, interest: float) -> float:
        """Tax on pounds of withdrawal and interest together, of which some is interest."""
        low = self.low
        if low is not None and income - interest <= low.most:
            on_withdrawal = along(low.on_withdrawal, 0.0, income - interest)
            return low.base + on_withdrawal + along(low.on_income, low.top_rate, income)
        return (
            self.base
            + along(self.on_income, self.top_rate, income)
            - along(self.relief, last_slope(self.relief), interest)
        )


def along(points: Sequence[Point], top_rate: float, amount: float) -> float:
    """The height at an amount of a line through points, and on from the last."""
    index = bisect_right(points, amount, key=lambda point: point[0])
    start, height = points[index - 1]
    if index == len(points):
        return height + (amount - start) * top_rate
    end, above = points[index]
    return height + (above - height) * (amount - start) / (end - start)


def first_shape(
    taxpayer: Taxpayer, rules: IncomeTaxRules, *, cash_is_better: bool = False, tied: bool = False
) -> TaxShape:
    """The shape before anything of the plan is known: interest relieved as a basic-rate taxpayer's is.

    Where income may be low that would relieve what is not taxed at all. Then no relief is counted, which can only matter
    if cash is held for its own sake: ``cash_is_better`` than ISAs. ``tied``: what a partner loses where this person may
    not give the marriage allowance is counted in.
    """
    low = _low_income(taxpayer, rules)
    if low is not None and cash_is_better:
        return shape_at(taxpayer, rules, SOME_INTEREST, 0, tied=tied)
    base, points, top = _curve(taxpayer, rules, tied)
    width = max(0, rules.savings_allowances[0] - taxpayer.savings) / rounding.POUND
    most = width * rules.scales.savings.rates[0] / 10_000
    relief = ((0.0, 0.0), (width, most), (2 * width, most)) if width and low is None else ((0.0, 0.0),)
    return TaxShape(base, points, top, relief)


def shape_at(
    taxpayer: Taxpayer,
    rules: IncomeTaxRules,
    interest: int,
    withdrawal: int,
    *,
    tied: bool = False,
    small_withdrawals: bool = True,
) -> TaxShape:
    """The shape read off the rules at an expected interest and taxable withdrawal, both pence.

    Up to the expected interest ``on_income`` is the plain curve; from there it is that of someone with so much interest.
    ``relief`` is then what makes the shape exact along the expected withdrawal.
    """
    low = _low_income(taxpayer, rules) if interest and small_withdrawals else None
    if low is not None:
        withdrawal = max(withdrawal, round(low.most * rounding.POUND))
    base, plain, top = _curve(taxpayer, rules, tied)
    on_income = plain
    if interest:
        # The plain curve up to the smallest withdrawal this shape is for, and from there that of someone with the interest.
        expected, least = interest / rounding.POUND, low.most if low is not None else 0.0
        _, raised, top_raised = _curve(replace(taxpayer, savings=taxpayer.savings + interest), rules, tied)
        lift = along(plain, top, least + expected) - along(raised, top_raised, least)
        on_income = (
            *(point for point in plain if point[0] < least + expected - _PENNY),
            (least + expected, along(plain, top, least + expected)),
            *((expected + amount, lift + tax) for amount, tax in raised if amount > least + _PENNY),
        )
        top = top_raised
    drawn = withdrawal / rounding.POUND

    def spared(amount: int) -> int:
        """Ten-thousandths of a penny that the shape without relief would overcharge."""
        more = replace(taxpayer, savings=taxpayer.savings + amount)
        found = TaxedYear(year_of(more, rules))(withdrawal)
        tax = found.income_tax + found.child_benefit_charge * rounding.PENNY
        height = base + along(on_income, top, drawn + amount / rounding.POUND)
        return round(height * _TEN_THOUSANDTHS) - tax

    at_nothing = spared(0) / _TEN_THOUSANDTHS
    relief_corners = _relief_corners(taxpayer, rules, interest, withdrawal, on_income)
    points = [
        (amount / rounding.POUND, value / _TEN_THOUSANDTHS - at_nothing)
        # A step up here only makes good one of the curve's that the interest does not meet; as a line it tempts nobody.
        for amount, value in _line(spared, relief_corners, both_ways=False)
    ]
    return TaxShape(base - at_nothing, on_income, top, tuple(_without_straight(points)), low)


@lru_cache(maxsize=4_096)
def _low_income(taxpayer: Taxpayer, rules: IncomeTaxRules) -> LowIncome | None:
    """The shape while the starting rate for savings runs; None where other income alone is past it."""
    others = taxpayer.other_income + taxpayer.property_income
    allowance = rules.personal_allowance + (rules.blind_persons_allowance if taxpayer.blind else 0)
    most = allowance + rules.scales.starting_rate_limit - others
    if most <= 0:
        return None
    base, plain, _ = _curve(taxpayer, rules, False)

    def on_interest(amount: int) -> int:
        more = replace(taxpayer, savings=taxpayer.savings + amount)
        found = TaxedYear(year_of(more, rules))(0)
        tax = found.income_tax + found.child_benefit_charge * rounding.PENNY
        return tax - round(base * _TEN_THOUSANDTHS)

    amounts = _relief_corners(taxpayer, rules, _REACH, 0, plain)
    line = [(amount / rounding.POUND, tax / _TEN_THOUSANDTHS) for amount, tax in _line(on_interest, amounts)]
    end = most / rounding.POUND
    corners_below = {point[0] for point in (*plain, *line) if point[0] < end} | {end}
    own = [
        (amount, along(plain, 0.0, amount) - on_interest(round(amount * rounding.POUND)) / _TEN_THOUSANDTHS)
        for amount in sorted(corners_below)
    ]
    top_rate = _slope(line[-2], line[-1])
    return LowIncome(end, base, tuple(_without_straight(own)), tuple(_without_straight(line)), top_rate)


def lower_hull(points: Sequence[Point], top_rate: float) -> list[Point]:
    """The convex line below all points, and below the rate that goes on from the last."""
    hull: list[Point] = []
    for point in points:
        while len(hull) > 1 and _slope(hull[-2], hull[-1]) >= _slope(hull[-1], point) - _FLAT:
            hull.pop()
        hull.append(point)
    while len(hull) > 1 and _slope(hull[-2], hull[-1]) >= top_rate - _FLAT:
        hull.pop()
    return hull


def convex_runs(points: Sequence[Point], top_rate: float) -> list[list[tuple[float, float]]]:
    """The segments (width, rate) of the line through points, cut into runs of rising rates; the last is endless."""
    runs: list[list[tuple[float, float]]] = [[]]
    rates = [(second[0] - first[0], _slope(first, second)) for first, second in pairwise(points)]
    for width, rate in (*rates, (float("inf"), top_rate)):
        if runs[-1] and rate < runs[-1][-1][1] - _FLAT:
            runs.append([])
        if runs[-1] and abs(rate - runs[-1][-1][1]) <= _FLAT:
            runs[-1][-1] = (runs[-1][-1][0] + width, rate)
        else:
            runs[-1].append((width, rate))
    return runs


def upside_down(points: Sequence[Point]) -> list[Point]:
    """A line turned upside down: relief, to be kept low as tax is."""
    return [(amount, -height) for amount, height in points]


def last_slope(points: Sequence[Point]) -> float:
    """The rate at which a line through points ends; level where it is one point."""
    return _slope(points[-2], points[-1]) if len(points) > 1 else 0.0


def _slope(first: Point, second: Point) -> float:
    return (second[1] - first[1]) / (second[0] - first[0])


@lru_cache(maxsize=4_096)
def _curve(taxpayer: Taxpayer, rules: IncomeTaxRules, tied: bool) -> tuple[float, tuple[Point, ...], float]:
    """The tax at nothing, the points of the curve above it, and the rate beyond; pounds."""
    taxed = TaxedYear(year_of(taxpayer, rules))
    partners_loss = rules.marriage_allowance * rules.basic_rate if tied else 0

    def tax(amount: int) -> int:
        found = taxed(amount)
        lost = 0 if found.marriage_allowance_open else partners_loss
        return found.income_tax + found.child_benefit_charge * rounding.PENNY + lost

    start = tax(0)
    at = _bends(taxpayer, rules)
    if taxpayer.child_benefit:
        at = sorted({*at, *_charge_corners(taxed)})
    found = list(_line(tax, at))
    last = found[-1]
    top = (tax(last[0] + _REACH) - last[1]) / (_REACH * rounding.PENNY)
    points = tuple((amount / rounding.POUND, (height - start) / _TEN_THOUSANDTHS) for amount, height in found)
    return start / _TEN_THOUSANDTHS, points, top


def _bends(taxpayer: Taxpayer, rules: IncomeTaxRules) -> list[int]:
    """Where the curve bends, pence. Where there is no choice of set-off its corners are all."""
    plain = TaxedYear(year_of(replace(taxpayer, child_benefit=0), rules))
    if not taxpayer.savings and not taxpayer.dividends and taxpayer.marriage_allowance != "receives":
        return corners(plain, _REACH)
    return sorted({0, *(piece.end for piece in tax_curve(plain, _REACH).pieces)})


def _charge_corners(taxed: TaxedYear) -> list[int]:
    """The lowest line below the steps of the child benefit charge: just before the first, the last, and at the last."""
    rules, taxpayer = taxed.year.rules, taxed.year.taxpayer
    adjusted = taxed(0).net_income - taxpayer.relief_at_source - taxpayer.gift_aid
    threshold, step = rules.child_benefit_threshold - adjusted, rules.child_benefit_step
    amounts = (threshold + step - 1, threshold + 100 * step - 1)
    return [amount for amount in amounts if amount > 0]


def _relief_corners(
    taxpayer: Taxpayer, rules: IncomeTaxRules, interest: int, withdrawal: int, on_income: Sequence[Point]
) -> list[int]:
    """Where the relief may bend, pence of interest: the levels of the savings allowances and the starting rate, counted
    from nothing and from where the personal allowance ends, and the corners of the curve."""
    start = rules.scales.starting_rate_limit
    levels = {0, *(allowance + begin for allowance in rules.savings_allowances for begin in (0, start))}
    unused = max(0, rules.personal_allowance - taxpayer.income - withdrawal)
    corners_of_curve = {round(point[0] * rounding.POUND) - withdrawal for point in on_income}
    amounts = {level - taxpayer.savings for level in levels} | {level + unused for level in levels} | corners_of_curve
    # The line ends not far from what is expected: the convex line below it must be near it where the plan is.
    most = 2 * interest + _FURTHER
    found = {0, *(amount for amount in amounts if 0 < amount < most), interest, most}
    return sorted(amount for amount in found if amount - 1 not in found)


def _line(height: Callable[[int], int], amounts: Sequence[int], *, both_ways: bool = True) -> Iterator[tuple[int, int]]:
    """The points of a line at amounts, and a penny on wherever there is a step, or only where there is one down."""
    last = -1
    for amount in amounts:
        if amount == last:
            continue
        at, after = height(amount), height(amount + 1)
        last = amount
        yield amount, at
        if after - at < -_JUMP or (both_ways and after - at > _JUMP):
            last = amount + 1
            yield last, after


def _without_straight(points: Sequence[Point]) -> list[Point]:
    """The points of a line without those at which it does not bend."""
    kept: list[Point] = []
    for point in points:
        while len(kept) > 1 and abs(_slope(kept[-2], kept[-1]) - _slope(kept[-1], point)) < _NO_BEND:
            kept.pop()
        kept.append(point)
    return kept
