"""A later tax year's figures in one step, as the rule book makes them in two."""

from __future__ import annotations

from service.figures.later_years import PriceIndex, carried_forward, raised_with_prices
from service.figures.loader import TaxYearFigures
from service.figures.tables import RisingWithPrices


def later_year(last: TaxYearFigures, name: str, rise: PriceIndex | None, rising: RisingWithPrices) -> TaxYearFigures:
    """The figures of a tax year after the last; ``rise`` is the price index at its start, None where nothing rises."""
    year = carried_forward(last, name, rising)
    return year if rise is None else raised_with_prices(year, last, rise, rising)
