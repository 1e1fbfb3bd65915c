"""A quote's method for a chart: what a withdrawal of any size would leave, from nothing to the most that can be taken.

The tax bends where the tax curve does, and a payment's parts where an allowance ends. Both are turned into gross amounts, so
that between two neighbouring points everything is a straight line, or a staircase about one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

from service.law import lump_sums, rounding
from service.law.lump_sums import Split
from service.law.units import PENNY, BasisPoints, Pence, TaxUnits
from service.law.value import Value
from service.planning.curve.piece import Piece
from service.planning.curve.tax_curve import TaxCurve, tax_curve
from service.planning.curve.tax_function import TaxFunction
from service.planning.quote.quote import Quote
from service.planning.search import first_where

_OVER_LIFETIME_ALLOWANCE = "lifetime_allowance_charge"


class ChartPoint(Value, frozen=True):
    """What a withdrawal of ``gross`` pence comes to, as a quote would say it, and what holds from here to the next point.

    ``tax`` is what it adds to the year's tax, ``exact_tax`` the year's tax with it before it is rounded. ``rate`` is what each
    pound of the taxable part bears, between the jumps of a staircase; None where that is a step, where nothing more is
    taxable, and at the last point. The stairs are those of a slice.
    """

    gross: Pence
    tax_free: Pence
    taxable: Pence
    excess: Pence
    charge: Pence
    tax: Pence
    net: Pence
    exact_tax: TaxUnits
    rate: BasisPoints | None
    because: tuple[str, ...]
    stair_width: Pence = 0
    stair_height: Pence = 0


def chart(answer: Quote) -> tuple[ChartPoint, ...]:
    """The points in order of the gross amount. A step is two points a penny apart."""
    question, rules, left = answer.question, answer.lump_sum_rules, answer.left_before
    method, pension = question.withdrawal.method, question.pension
    most = lump_sums.most_permitted(method, pension, rules, left)
    of_the_whole: Split | None = None
    if lump_sums.comes_with_the_last_penny(method, pension, rules, left):
        of_the_whole = lump_sums.splitter(method, pension, rules, left)(most)
        pension, most = pension._replace(protected_tax_free_share=0), most - 1
    split = lump_sums.splitter(method, pension, rules, left)
    year = TaxFunction(answer.year)
    curve = tax_curve(year, split(most)[0])
    within = lump_sums.gross_within(method, pension, rules, left)

    def last_within(taxable: Pence) -> Pence:
        """The largest gross amount whose taxable part is at most so much."""
        if within is not None:
            return min(most, within(taxable))
        return first_where(lambda gross: split(gross)[0] > taxable, 0, most + 1) - 1

    begins = {0: curve.pieces[0], **dict(_begins(curve, split(most)[0], last_within))}
    for bend in lump_sums.bends(method, pension, rules, left):
        if 0 < bend < most and bend not in begins:
            begins[bend] = begins[max(gross for gross in begins if gross < bend)]
    begins.pop(most, None)
    without = answer.without.total
    points = [_point(gross, split(gross), begins[gross], year, without) for gross in sorted(begins)]
    points.append(_point(most, split(most), None, year, without))
    if of_the_whole is not None:
        points.append(_point(most + 1, of_the_whole, None, year, without))
    return (*(_seen_to_the_next(point, following) for point, following in pairwise(points)), points[-1])


def _begins(curve: TaxCurve, top: Pence, last_within: Callable[[Pence], Pence]) -> Iterator[tuple[Pence, Piece]]:
    """The gross amounts at which the pieces of the curve begin, up to a taxable part of ``top``."""
    begin = 0
    for piece in curve.pieces:
        if piece.rate is None:
            # A child benefit step is there once its amount is reached; every other step comes after it.
            before = piece.start - 1 if piece.is_charge_step else piece.start
            if before >= top:
                return
            at = last_within(before)
            yield at, piece
            begin = at + 1
        else:
            if piece.start >= top:
                return
            yield begin, piece
            begin = last_within(piece.end)


def _point(gross: Pence, parts: Split, piece: Piece | None, year: TaxFunction, without: Pence) -> ChartPoint:
    """A point; ``piece`` is what begins there, and ``without`` the year's tax without the withdrawal."""
    taxable, charge, tax_free, excess = parts
    exact_tax = _exact_tax(taxable, piece, year)
    tax = rounding.years_tax_to_the_penny(exact_tax) - without
    stairs = None if piece is None else piece.stairs
    return ChartPoint(
        gross=gross,
        tax_free=tax_free,
        taxable=taxable,
        excess=excess,
        charge=charge,
        tax=tax,
        net=gross - charge - tax,
        exact_tax=exact_tax,
        rate=None if piece is None else piece.rate,
        because=() if piece is None else piece.because,
        stair_width=0 if stairs is None else stairs.width,
        stair_height=0 if stairs is None else stairs.least_height,
    )


def _exact_tax(taxable: Pence, piece: Piece | None, year: TaxFunction) -> TaxUnits:
    """The year's tax before it is rounded: where a piece begins its own, and by the rules at any other amount."""
    if piece is not None and piece.exact and taxable == piece.start:
        return piece.tax_start
    found = year(taxable)
    return found.income_tax + found.child_benefit_charge * PENNY


def _seen_to_the_next(point: ChartPoint, following: ChartPoint) -> ChartPoint:
    """A point, with no rate where nothing more is taxable up to the next, and with the charge where that rises."""
    if following.taxable == point.taxable:
        point = point._replace(rate=None, because=(), stair_width=0, stair_height=0)
    if following.charge > point.charge:
        point = point._replace(because=(*point.because, _OVER_LIFETIME_ALLOWANCE))
    return point
