"""A piece of the tax curve. Tax is in ten-thousandths of a penny, amounts in pence."""

from __future__ import annotations

from typing import NamedTuple

from service.law.units import PENNY, POUND, BasisPoints, Pence, TaxUnits

STAIR = 2 * POUND  # two pounds of income take one pound of personal allowance (ITA 2007 s.35(2))
CHARGE_STEP = ("child_benefit_charge",)
"""The reason of a step of the child benefit charge."""


class Piece(NamedTuple):
    """A straight piece of the curve, a staircase, or (``start`` = ``end``) a step.

    ``rate`` is basis points, None for a step. On a staircase ``rate`` runs along the stairs' feet, rounded down,
    ``tread_rate`` along one tread, ``rise`` is the tax of a whole stair, and ``foot`` is any amount at which a stair
    begins. ``exact`` is False on a stair that holds a bend, where only the ends are the rules' own.
    """

    start: Pence
    end: Pence
    tax_start: TaxUnits
    tax_end: TaxUnits
    rate: BasisPoints | None
    because: tuple[str, ...]
    tread_rate: BasisPoints = 0
    rise: TaxUnits = 0
    foot: Pence | None = None
    exact: bool = True

    @property
    def is_charge_step(self) -> bool:
        """Whether this is a step of the child benefit charge, which is there once its amount is reached; every other
        step comes only after its amount."""
        return self.because == CHARGE_STEP

    def tax_at(self, amount: Pence) -> TaxUnits:
        """Tax at an amount within the piece, in ten-thousandths of a penny."""
        if amount == self.end or self.rate is None:
            return self.tax_end
        if self.foot is None:
            if self.end - self.start == 1:
                return self.tax_start
            return self.tax_start + (amount - self.start) * self.rate
        return self._on_stairs(amount) - self._on_stairs(self.start) + self.tax_start

    def _on_stairs(self, amount: Pence) -> TaxUnits:
        assert self.foot is not None
        stairs, tread = divmod(amount - self.foot, STAIR)
        return stairs * self.rise + tread * self.tread_rate

    def continues_through(self, before: Piece, after: Piece) -> bool:
        """Whether this staircase, laid over two neighbouring pieces, agrees with both at their ends and last pennies."""
        assert self.foot is not None
        height = self._on_stairs(self.end) - self._on_stairs(self.start)
        checks = (before.end - 1, before.end, after.end - 1)
        return self.tax_start + height == self.tax_end and all(
            self.tax_at(at) == (before if at < before.end else after).tax_at(at) for at in checks if at >= self.start
        )

    @property
    def stair_height(self) -> Pence:
        """By how much the tax may lie below the straight line through the stairs' feet, pence, rounded up."""
        if self.foot is None:
            return 0
        height = -((self.tread_rate * STAIR - self.rise) // PENNY)
        return height if self.exact else height + POUND
