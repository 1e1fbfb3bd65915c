"""The year's tax as a function of one variable, the taxable withdrawal.

Everything else about the person's year is fixed, so the tax is made of straight pieces with a few steps. The curve is
read off the one implementation of the rules (``liability``): the points where a piece may end follow from the figures
(``curve/points.py``), the rules are asked at those points, and where savings or dividends leave a choice of set-off they
are asked where lines from both sides meet (``curve/bends.py``).

Two things the statute does are kept exactly. Where the personal allowance is withdrawn it falls by whole pounds, so the
tax is a fine staircase (``curve/stairs.py``): such a piece knows its stairs. The child benefit charge moves in whole
percentage points (``curve/child_benefit.py``): a staircase too, or a step at each.

Tax is in ten-thousandths of a penny here (pence times basis points), amounts in pence.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from service.law.income_tax import IncomeTaxRules, Liability, Taxpayer, TaxpayerYear, taxpayer_year
from service.law.kept import kept
from service.law.units import POUND, Pence, TaxUnits
from service.law.value import Value
from service.planning.curve.bends import bends, set_off_may_bend
from service.planning.curve.child_benefit import with_charge_stairs, with_charge_steps
from service.planning.curve.gift_aid import at_least
from service.planning.curve.piece import Piece
from service.planning.curve.points import BEYOND, points, taper_of
from service.planning.curve.reasons import last_before_loss, reasons, reliefs_lost
from service.planning.curve.stairs import staircase
from service.planning.curve.tax_function import TaxFunction

_SHARED_TO = 100_000_000_000 * POUND  # above the top rate's limit it is one piece, however far it goes
_SHARED_CURVES = 256


class TaxCurve(Value, frozen=True):
    """The pieces in order, from a taxable withdrawal of nothing. Tax includes the child benefit charge."""

    pieces: tuple[Piece, ...]

    def tax_at(self, amount: Pence) -> TaxUnits:
        """Tax at an amount, in ten-thousandths of a penny. A step that begins after ``amount`` is left out."""
        tax = self.pieces[0].tax_start
        for piece in self.pieces:
            if piece.start > amount or (piece.start == piece.end == amount and not piece.is_charge_step):
                break
            tax = piece.tax_at(min(amount, piece.end))
        return tax


def corners(rules: TaxFunction, to: Pence) -> list[Pence]:
    """Where the curve may bend, from 0 to beyond ``to``: taxable withdrawals in pence, without the bends that only the
    choice of set-off makes. A step comes right after a corner; those of the child benefit charge are not among them."""
    return points(rules.year, rules, taper_of(rules.year, rules), to)


def tax_curve(rules: TaxFunction, to: Pence, *, every_point: bool = True) -> TaxCurve:
    """The curve over taxable withdrawals from 0 to at least ``to`` pence, as it is shown: the child benefit charge as a
    staircase. Without ``every_point``, neighbouring pieces that are taxed alike may be one."""
    pieces = _income_tax_pieces(rules, to, every_point=every_point)
    return TaxCurve(tuple(with_charge_stairs(rules, pieces) if rules.year.taxpayer.child_benefit else pieces))


def pieces_to(rules: TaxFunction, to: Pence) -> Iterator[Piece]:
    """The curve's pieces, as they are searched: the child benefit charge in its steps. Each is made only when it is asked
    for."""
    pieces = _income_tax_pieces(rules, to, every_point=False)
    return with_charge_steps(rules, pieces) if rules.year.taxpayer.child_benefit else pieces


def _income_tax_pieces(rules: TaxFunction, to: Pence, *, every_point: bool) -> Iterator[Piece]:
    """The pieces without the child benefit charge."""
    taxpayer = rules.year.taxpayer
    end = taxpayer.income + to + BEYOND
    if end <= _SHARED_TO and _has_no_more_than_savings(taxpayer, rules.year.rules):
        free = taxpayer.savings
        if not free or (not every_point and _savings_are_free(rules, end)):
            return _stretch(_shared_pieces(rules.year.rules, taxpayer.blind), taxpayer.income - free, end - free)
    covered = rules.year.treated_as_deducted
    if covered:
        # The pieces of the income's own tax are read off a year in which nothing has to be covered.
        return at_least(covered, _own_pieces(rules.uncovered, to))
    return _own_pieces(rules, to)


def has_other_income_only(taxpayer: Taxpayer, rules: IncomeTaxRules) -> bool:
    """Whether other income and the withdrawal, which count alike, are all there is, but for child benefit. To 2026-27 property
    income counts like them."""
    return not taxpayer.savings and _has_no_more_than_savings(taxpayer, rules)


def _has_no_more_than_savings(taxpayer: Taxpayer, rules: IncomeTaxRules) -> bool:
    """The same, but for savings."""
    property_is_apart = rules.other_income_first or rules.scales.property is not None
    return (
        not (taxpayer.property_income and property_is_apart)
        and not taxpayer.dividends
        and not taxpayer.relief_at_source
        and not taxpayer.gift_aid
        and taxpayer.marriage_allowance == "none"
    )


def _savings_are_free(rules: TaxFunction, income: Pence) -> bool:
    """Whether savings change no tax up to an income with the withdrawal: they fit into their allowance where it is least, and the
    personal allowance is used by other income and not withdrawn."""
    taxpayer, scales, allowances = rules.year.taxpayer, rules.year.scales, rules(0).allowances
    return (
        taxpayer.savings <= scales.savings_allowances[scales.savings.band(income - allowances)]
        and taxpayer.income - taxpayer.savings >= allowances
        and income <= rules.year.rules.taper_threshold
    )


@kept(_SHARED_CURVES)
def _shared_pieces(rules: IncomeTaxRules, blind: bool) -> tuple[Piece, ...]:
    """The curve of someone without any income: that of everybody with other income only is a stretch of it."""
    nobody = Taxpayer(rules.nation, blind=blind)
    return tuple(_own_pieces(TaxFunction(taxpayer_year(nobody, rules)), _SHARED_TO))


def _stretch(pieces: tuple[Piece, ...], start: Pence, end: Pence) -> Iterator[Piece]:
    """The pieces from ``start`` to ``end``, counted from ``start`` on."""
    for piece in pieces:
        if piece.start >= end:
            return
        if piece.end > start:
            first, last = max(piece.start, start), min(piece.end, end)
            yield Piece(
                start=first - start,
                end=last - start,
                tax_start=piece.tax_start if first == piece.start else piece.tax_at(first),
                tax_end=piece.tax_at(last),
                rate=piece.rate,
                because=piece.because,
                stairs=piece.stairs and piece.stairs._replace(foot=piece.stairs.foot - start),
                exact=piece.exact,
            )


def _own_pieces(rules: TaxFunction, to: Pence) -> Iterator[Piece]:
    """The pieces read off the rules for this taxpayer alone."""
    taper = taper_of(rules.year, rules)
    start, before = 0, rules(0)
    for end in points(rules.year, rules, taper, to)[1:]:
        after = rules(end)
        yield from _between(rules, start, end, before, after, taper)
        start, before = end, after


def _between(
    rules: TaxFunction, start: Pence, end: Pence, before: Liability, after: Liability, taper: tuple[Pence, Pence]
) -> Iterable[Piece]:
    """The pieces from one point, where the tax is ``before``, to the next, where it is ``after``: steps right after ``start``
    first, then straight pieces."""
    first, last = taper
    if first <= start < last:
        return staircase(rules, start, end, first)
    lost = reliefs_lost(before, after)
    if lost:
        return _with_step(rules, start, end, before, after, taper, lost)
    return _straight(rules, start, end, before, after)


def _with_step(
    rules: TaxFunction,
    start: Pence,
    end: Pence,
    before: Liability,
    after: Liability,
    taper: tuple[Pence, Pence],
    lost: tuple[str, ...],
) -> Iterator[Piece]:
    """The pieces between two points where reliefs are ``lost``: just past ``start``, or else where halving finds it."""
    tax_start, tax_end = before.income_tax, after.income_tax
    if end - start == 1:
        yield Piece(start, start, tax_start, tax_end, None, lost)
        yield Piece(start, end, tax_end, tax_end, 0, reasons(before, after, rules.year, False))
        return
    just_after = rules(start + 1)
    if reliefs_lost(just_after, after):
        middle = last_before_loss(rules, start + 1, end)
        between = rules(middle)
        yield from _between(rules, start, middle, before, between, taper)
        yield from _between(rules, middle, end, between, after, taper)
        return
    rest = _straight(rules, start + 1, end, just_after, after)
    tax_after = just_after.income_tax - (rest[0].rate or 0)
    if tax_after != tax_start:
        yield Piece(start, start, tax_start, tax_after, None, lost)
    yield rest[0]._replace(start=start, tax_start=tax_after)
    yield from rest[1:]


def _straight(rules: TaxFunction, start: Pence, end: Pence, before: Liability, after: Liability) -> list[Piece]:
    """Straight pieces from ``start`` to ``end``, where the tax is ``before`` and ``after``, cut where the set-off bends the line
    between."""
    may_bend = end - start > 1 and set_off_may_bend(rules.year, before, after)
    found = bends(rules, start, end) if may_bend else ()
    if not found:
        return [_line(rules.year, start, end, before, after)]
    return [_line(rules.year, at, to, rules(at), rules(to)) for at, to in pairwise((start, *found, end))]


def _line(year: TaxpayerYear, start: Pence, end: Pence, before: Liability, after: Liability) -> Piece:
    """A straight piece from one point to another."""
    rate = (after.income_tax - before.income_tax) // (end - start)
    return Piece(start, end, before.income_tax, after.income_tax, rate, reasons(before, after, year, False))
