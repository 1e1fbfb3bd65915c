"""A piece of the tax curve. Tax is in ten-thousandths of a penny, amounts in pence."""

from __future__ import annotations

from service.law.units import PENNY, POUND, BasisPoints, Pence, TaxUnits
from service.law.value import Value

STAIR = 2 * POUND  # two pounds of income take one pound of personal allowance (ITA 2007 s.35(2))
CHARGE_STEP = ("child_benefit_charge",)
"""The reason of a step of the child benefit charge."""


class Stairs(Value, frozen=True):
    """Jumps of the tax at even distances.

    A stair begins at ``foot`` and every ``width`` before and after it, and as it begins the tax jumps by ``height``. Where
    the statute rounds, ``height`` is what the stairs are on average, and from ``foot`` on they add up to a multiple of
    ``whole``.
    """

    foot: Pence
    width: Pence
    height: TaxUnits
    whole: TaxUnits = 1

    def climbed(self, amount: Pence) -> TaxUnits:
        """What the stairs after ``foot`` have added up to at an amount; one that begins there is counted."""
        return (amount - self.foot) // self.width * self.height // self.whole * self.whole

    @property
    def least_height(self) -> Pence:
        """How high a stair is at the least: in pence, or in whole pounds where each is."""
        unit = max(self.whole, PENNY)
        return self.height // unit * unit // PENNY


class Piece(Value, frozen=True):
    """A straight piece of the curve, a staircase, or (``start`` = ``end``) a step.

    ``rate`` is basis points, None for a step. On a staircase it is the rate between the jumps. ``exact`` is False on a
    stair that holds a bend, where only the ends are the rules' own.
    """

    start: Pence
    end: Pence
    tax_start: TaxUnits
    tax_end: TaxUnits
    rate: BasisPoints | None
    because: tuple[str, ...]
    stairs: Stairs | None = None
    exact: bool = True

    @property
    def is_charge_step(self) -> bool:
        """Whether this is a step of the child benefit charge, which is there once its amount is reached; every other
        step comes only after its amount."""
        return self.because == CHARGE_STEP

    def tax_at(self, amount: Pence) -> TaxUnits:
        """Tax at an amount within the piece, in ten-thousandths of a penny."""
        return self.tax_end if amount == self.end else self._on_line(amount)

    def _on_line(self, amount: Pence) -> TaxUnits:
        tax = self.tax_start + (amount - self.start) * (self.rate or 0)
        if self.stairs is None:
            return tax
        return tax + self.stairs.climbed(amount) - self.stairs.climbed(self.start)

    def continues_through(self, before: Piece, after: Piece) -> bool:
        """Whether this staircase, laid over two neighbouring pieces, agrees with both at their ends and last pennies."""
        checks = (before.end - 1, before.end, after.end - 1)
        return self._on_line(self.end) == self.tax_end and all(
            self.tax_at(at) == (before if at < before.end else after).tax_at(at) for at in checks if at >= self.start
        )

    def cut_at(self, amount: Pence) -> tuple[Piece, ...]:
        """The piece in two at an amount, or as it is where that is not inside."""
        if not self.start < amount < self.end:
            return (self,)
        tax = self.tax_at(amount)
        return self._replace(end=amount, tax_end=tax), self._replace(start=amount, tax_start=tax)
