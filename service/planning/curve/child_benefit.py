"""The high income child benefit charge on top of the pieces of income tax (ITEPA 2003 ss.681B-681H).

It moves in whole percentage points of the benefit, each down to a whole pound: a hundred jumps at even distances. Where
amounts are searched each is a step of its own. To be shown, they are one staircase along each piece of income tax; along one
that is a staircase itself, the taper of the personal allowance, they stay steps. In no tax year of the figures do the two meet.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from service.law import child_benefit
from service.law.units import PENNY, POUND, Pence, TaxUnits
from service.planning.curve.piece import CHARGE_STEP, Piece, Stairs
from service.planning.curve.tax_function import TaxFunction

_POINTS = 100


class _Charge:
    """The charge as a function of the taxable withdrawal, and the withdrawals ``first`` to ``last`` along which it rises."""

    def __init__(self, rules: TaxFunction) -> None:
        taxpayer, its_rules = rules.year.taxpayer, rules.year.rules
        self._benefit, self._width = taxpayer.child_benefit, its_rules.child_benefit_step
        self._threshold = its_rules.child_benefit_threshold
        self._adjusted = rules(0).net_income - taxpayer.relief_at_source - taxpayer.gift_aid
        self.first = self._threshold - self._adjusted
        self.last = self.first + _POINTS * self._width
        self.stairs = Stairs(self.first, self._width, self.at(self.last) // _POINTS, POUND * PENNY)

    def at(self, amount: Pence) -> TaxUnits:
        """The charge, in ten-thousandths of a penny."""
        return PENNY * child_benefit.charge(self._adjusted + amount, self._benefit, self._threshold, self._width)

    def jumps(self, start: Pence, end: Pence) -> range:
        """Where it may jump after ``start`` and up to ``end``."""
        next_one = self.first + ((start - self.first) // self._width + 1) * self._width
        return range(next_one, end + 1, self._width)


def with_charge_steps(rules: TaxFunction, pieces: Iterable[Piece]) -> Iterator[Piece]:
    """The pieces with the charge added: constant between its jumps, each jump a step."""
    charge = _Charge(rules)
    for part in _parts(charge, pieces):
        yield from _stepped(charge, part)


def with_charge_stairs(rules: TaxFunction, pieces: Iterable[Piece]) -> Iterator[Piece]:
    """The pieces with the charge added, as a staircase wherever it rises along a straight piece."""
    charge = _Charge(rules)
    for part in _parts(charge, pieces):
        rises = charge.first <= part.start < charge.last and charge.stairs.height > 0
        if part.stairs is None and part.exact and part.rate is not None and rises:
            yield part._replace(
                tax_start=part.tax_start + charge.at(part.start),
                tax_end=part.tax_end + charge.at(part.end),
                because=part.because + CHARGE_STEP,
                stairs=charge.stairs,
            )
        else:
            yield from _stepped(charge, part)


def _parts(charge: _Charge, pieces: Iterable[Piece]) -> Iterator[Piece]:
    """The pieces, cut where the charge begins and where all of the benefit is charged."""
    for piece in pieces:
        for part in piece.cut_at(charge.first):
            yield from part.cut_at(charge.last)


def _stepped(charge: _Charge, piece: Piece) -> Iterator[Piece]:
    """A piece between the places where it is cut, with the charge in steps."""
    if piece.end <= charge.first:
        yield piece  # nothing is charged yet
        return
    so_far = charge.at(piece.start)
    rest = piece
    if charge.first <= piece.start < charge.last and piece.rate is not None:
        for at in charge.jumps(piece.start, piece.end):
            before, *after = rest.cut_at(at)
            yield _raised(before, so_far)
            reached = charge.at(at)
            if reached > so_far:
                yield Piece(at, at, before.tax_end + so_far, before.tax_end + reached, None, CHARGE_STEP)
                so_far = reached
            if not after:
                return
            (rest,) = after
    yield _raised(rest, so_far)


def _raised(piece: Piece, tax: TaxUnits) -> Piece:
    return piece._replace(tax_start=piece.tax_start + tax, tax_end=piece.tax_end + tax)
