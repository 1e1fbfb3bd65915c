"""The figures assumed for tax years after the last file, for plans that run longer than the figures do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType

from service.figures import tax_years
from service.figures.loader import Figure, TaxYearFigures
from service.figures.reading import STANDINGS, Authority
from service.figures.tables import Rise, RisingWithPrices
from service.figures.values import Band, Value

PriceIndex = Fraction
"""The level of prices as a share of an earlier one, exact."""

_POUND = 100
_STANDS_BY_ITSELF = ("enacted", "proposed")
"""What is said of a figure of these standings is not said of one year: neither is carried on from another."""


def raised_with_prices(
    year: TaxYearFigures, last: TaxYearFigures, rise: PriceIndex, rising: RisingWithPrices
) -> TaxYearFigures:
    """A later year's figures, of which those that rise with prices are raised. ``year`` is what ``carried_forward`` has made of
    ``last``, and ``rise`` the price index at the start of the year, 1 in ``last``. Prices that fall lower nothing: the Acts index
    upwards only. ValueError if ``rise`` is not above 0."""
    if rise <= 0:
        raise ValueError(f"a price index is above 0, and {rise} is not")
    raised = {
        key: _with_prices(last.figures[key], value, rising.rises[key], year.name, last.name)
        for key, value in _raised(last, rise, rising).items()
    }
    return replace(year, figures=MappingProxyType({**year.figures, **raised}))


def carried_forward(last: TaxYearFigures, name: str, rising: RisingWithPrices) -> TaxYearFigures:
    """The figures of tax year ``name``, such as "2034-35", assumed from those of ``last``, the last that has a file, where prices
    raise none.

    What is enacted and stands until changed keeps its standing; everything else is "assumed", with a caveat that says so, before
    what was not certain of it already where it was law. A proposed figure goes the way of the known one, and stays "proposed".
    The year's version is that of ``last``, as its figures follow from it. ValueError if ``name`` is not a tax year after
    ``last``.
    """
    if tax_years.between(last.name, name) < 1:
        raise ValueError(f"{name} is not after {last.name}")
    figures = {
        key: figure
        if key in rising.stands and figure.standing in _STANDS_BY_ITSELF
        else _carried_forward(figure, name, last.name)
        for key, figure in last.figures.items()
    }
    return TaxYearFigures(
        name=name,
        figures=MappingProxyType(figures),
        start=tax_years.first_day(name),
        end=tax_years.last_day(name),
        standing=max("assumed", last.standing, key=STANDINGS.index),
        version=last.version,
    )


def _raised(last: TaxYearFigures, rise: Fraction, rising: RisingWithPrices) -> Mapping[str, Value]:
    """The new values of the figures that rise and that ``last`` has."""
    raised: dict[str, Value] = {}
    for key, how in rising.rises.items():
        if not last.has(key):
            continue
        if how.limits:
            raised[key] = _raised_limits(last.bands(key), rise, how)
        elif how.tenth_of is None:
            raised[key] = _raised_amount(last.money(key), rise, how.up_to_next)
        else:
            whole = _raised_amount(last.money(how.tenth_of), rise, rising.rises[how.tenth_of].up_to_next)
            raised[key] = _up_to_next(whole, 10, how.up_to_next)
    return raised


def _raised_amount(pence: int, rise: Fraction, up_to_next: int) -> int:
    """An amount raised by a price index and rounded up; untouched, rounding too, if prices have not risen."""
    return _up_to_next(pence * rise.numerator, rise.denominator, up_to_next) if rise > 1 else pence


def _raised_limits(bands: Sequence[Band], rise: Fraction, how: Rise) -> tuple[Band, ...]:
    """The bands with the limits that rise raised, each at least a pound below the limit of the band above it."""
    raised: list[Band] = []
    ceiling: int | None = None
    for band in reversed(bands):
        up_to = band.up_to
        if up_to is not None and band.name in how.limits:
            wanted = _raised_amount(up_to, rise, how.up_to_next)
            # Never lowered: a limit that already stands closer than a pound to the next stays where it is.
            up_to = wanted if ceiling is None else max(up_to, min(wanted, ceiling - _POUND))
        raised.append(replace(band, up_to=up_to))
        ceiling = up_to
    return tuple(reversed(raised))


def _up_to_next(pence: int, parts: int, multiple: int) -> int:
    """So many pence, of which so many parts are one, up to the next multiple, in whole pence."""
    return -(-pence // (parts * multiple)) * multiple


def _with_prices(figure: Figure, value: Value, how: Rise, name: str, last: str) -> Figure:
    held = ", but not past the limit of the next band" if how.limits else ""
    return _assumed(
        replace(figure, value=value),
        f"{last} raised with prices{held}: {how.authority.source}",
        f"Rates and limits for {name} are not yet set; those of {last} are raised with assumed prices.",
        how.authority,
    )


def _carried_forward(figure: Figure, name: str, last: str) -> Figure:
    caveat = f"Rates and limits for {name} are not yet set; those of {last} are used."
    return _assumed(figure, f"carried forward from {last}", caveat)


def _assumed(figure: Figure, source: str, not_set: str, how: Authority | None = None) -> Figure:
    """The figure with what is not set said of it. A caveat of what was not law itself said the same of an earlier year."""
    kept = figure.caveat if figure.standing in _STANDS_BY_ITSELF else None
    caveats = (not_set, None if how is None else how.caveat, kept)
    evidence = (figure.evidence, None if how is None else how.evidence)
    standing = max("assumed", figure.standing, key=STANDINGS.index)
    return replace(figure, source=source, standing=standing, evidence=_together(evidence), caveat=_together(caveats))


def _together(sentences: Iterable[str | None]) -> str | None:
    """The sentences that there are, as one text; None where there is none."""
    return " ".join(sentence for sentence in sentences if sentence is not None) or None
