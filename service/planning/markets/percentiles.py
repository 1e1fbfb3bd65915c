"""Percentiles of amounts over paths, by nearest rank.

The p-th percentile of n amounts is the k-th smallest, with k = p * n / 100 rounded up: the least amount that at least p in a
hundred of the paths do not exceed. So it is always an amount of one of the paths, to the penny, and never between two.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from service.law.units import Pence

PERCENTILES = (5, 25, 50, 75, 95)


class Percentiles(NamedTuple):
    """Amounts in pence that a share of the paths, in per cent, does not exceed."""

    p5: Pence
    p25: Pence
    p50: Pence
    p75: Pence
    p95: Pence


def percentile(ordered: list[Pence], per_cent: int) -> Pence:
    """One percentile of amounts in rising order."""
    return ordered[-(-per_cent * len(ordered) // 100) - 1]


def percentiles(amounts: Iterable[Pence]) -> Percentiles:
    """All five."""
    ordered = sorted(amounts)
    return Percentiles(*(percentile(ordered, per_cent) for per_cent in PERCENTILES))


class Spread(NamedTuple):
    """The least, the middle and the largest of amounts in pence."""

    lowest: Pence
    middle: Pence
    highest: Pence


def spread(amounts: Iterable[Pence]) -> Spread:
    """Of these amounts."""
    ordered = sorted(amounts)
    return Spread(ordered[0], percentile(ordered, 50), ordered[-1])
