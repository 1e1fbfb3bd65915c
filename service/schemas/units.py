"""From the whole numbers that everything is computed with to the numbers of an answer.

Inside, money is pence and a rate is basis points; in an answer money is pounds and a rate a fraction (0.2 is 20%). Every
answer's numbers are made here. Each is the nearest to the exact quotient, so JSON writes it with the decimals it has.
"""

from __future__ import annotations

from collections.abc import Iterable

from service.law.inheritance_tax import WHOLE_BAND
from service.law.rounding import half_up
from service.law.units import WHOLE, BasisPoints, MillionthShare, Pence, TaxUnits
from service.planning.household import YearlyRate


def pounds(pence: Pence) -> float:
    """Money."""
    return pence / 100


def in_pounds(amounts: Iterable[Pence], keys: Iterable[str]) -> dict[str, float]:
    """Amounts in pence, each under its key: of a NamedTuple that holds nothing else, ``_fields`` where its names will do.

    ValueError unless there is one key for each amount.
    """
    return {key: pence / 100 for key, pence in zip(keys, amounts, strict=True)}


def fraction(basis_points: BasisPoints) -> float:
    """A rate or share."""
    return basis_points / WHOLE


def yearly_rate(basis_points: YearlyRate) -> float:
    """A rate that need not be a whole number of basis points."""
    return float(basis_points / WHOLE)


def share_of_band(millionths: MillionthShare) -> float:
    """A share of a band of inheritance tax."""
    return millionths / WHOLE_BAND


def average_rate(tax: TaxUnits, amount: Pence) -> float:
    """What an amount bears, as a fraction to four decimals, half up."""
    return fraction(half_up(tax, amount))


def part_of(part: Pence, whole: Pence) -> float:
    """A part of an amount as a fraction to four decimals, half up; 0 of nothing."""
    return fraction(half_up(part * WHOLE, whole)) if whole else 0.0
