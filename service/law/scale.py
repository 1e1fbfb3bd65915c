"""A scale of rates: the bands of ITA 2007 ss.10-13 as cumulative tax, exact in ten-thousandths of a penny."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable

from service.figures.loader import Band
from service.law.units import BasisPoints, Pence, TaxUnits
from service.law.value import Value


class Scale(Value, frozen=True):
    """Progressive bands. ``limits`` are the upper limits in pence of all bands but the last; ``rates`` basis points."""

    names: tuple[str, ...]
    rates: tuple[BasisPoints, ...]
    limits: tuple[Pence, ...]
    floors: tuple[Pence, ...]
    tax_below: tuple[TaxUnits, ...]

    @classmethod
    def of(cls, names: Iterable[str], rates: Iterable[BasisPoints], limits: Iterable[Pence]) -> Scale:
        """A scale from names, rates (basis points) and upper limits (pence; one fewer than the rates)."""
        rates, limits = tuple(rates), tuple(limits)
        floors = (0, *limits)
        tax_below = [0]
        for floor, limit, rate in zip(floors, limits, rates, strict=False):
            tax_below.append(tax_below[-1] + (limit - floor) * rate)
        return cls(tuple(names), rates, limits, floors, tuple(tax_below))

    @classmethod
    def of_bands(cls, bands: Iterable[Band]) -> Scale:
        """A scale from a tax year's bands, as the figures give them."""
        bands = tuple(bands)
        return cls.of(
            (band.name for band in bands),
            (band.rate for band in bands),
            (band.up_to for band in bands if band.up_to is not None),
        )

    def tax(self, amount: Pence) -> TaxUnits:
        """Tax on the first ``amount`` pence, in ten-thousandths of a penny."""
        band = bisect_left(self.limits, amount)
        return self.tax_below[band] + (amount - self.floors[band]) * self.rates[band]

    def tax_between(self, floor: Pence, amount: Pence) -> TaxUnits:
        """Tax on what of ``amount`` pence lies above the first ``floor`` pence; nothing where that is no less."""
        if amount <= floor:
            return 0
        limits = self.limits
        first, band = bisect_left(limits, floor), bisect_left(limits, amount)
        if first == band:
            return (amount - floor) * self.rates[band]
        below, floors, rates = self.tax_below, self.floors, self.rates
        return (
            below[band] - below[first] + (amount - floors[band]) * rates[band] - (floor - floors[first]) * rates[first]
        )

    def band(self, amount: Pence) -> int:
        """The index of the band in which the last penny of ``amount`` falls."""
        return bisect_left(self.limits, amount)

    def extended(self, by: Pence, first: int = 0) -> Scale:
        """The same scale with every limit from index ``first`` on raised by ``by`` pence (FA 2004 s.192, ITA 2007 s.414): that
        band is longer by as much, and those above it begin later."""
        limits = (*self.limits[:first], *[limit + by for limit in self.limits[first:]])
        more = by * self.rates[first]
        tax_below = (*self.tax_below[: first + 1], *[tax + more for tax in self.tax_below[first + 1 :]])
        return Scale(self.names, self.rates, limits, (0, *limits), tax_below)
