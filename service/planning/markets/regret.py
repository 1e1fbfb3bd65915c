"""What is told alike of plans and of options that are carried out on the same paths: which is best, and the worst path of one.

Outcomes are compared in money: what is left at the end, less all spending that was not met, both in prices of the start. A loss
(regret) is how far one is behind the best on the same path.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from service.law.units import Pence
from service.planning.markets.percentiles import Percentiles, percentiles
from service.planning.markets.returns import MarketPath
from service.planning.projection.settlement import Settled
from service.planning.projection.timeline import Timeline, deflated


class Regret(NamedTuple):
    """One of several over all paths. ``best_in``: on how many paths none has a better outcome; ``loss_when_not_best`` is what it
    is behind the best on the others, None where there are none."""

    best_in: int
    loss_when_not_best: Percentiles | None
    largest_loss: Pence


class WorstPath(NamedTuple):
    """The path on which spending fails first; of several the one on which most is missing, and where none fails the one that
    leaves the least. ``fails`` is the position of the first period in which spending is not met."""

    place: int
    fails: int | None
    years_not_met: int
    not_met: Pence
    wealth_after_tax: Pence
    wealth_in_prices_of_start: Pence
    path: MarketPath


def not_met(whole: Timeline, years: Iterable[Settled], levels: Iterable[Fraction]) -> Pence:
    """What of the spending of some periods is not met, in prices of the start from the price levels at their ends; a minimum of
    cash that is not kept is no spending."""
    return sum(_not_met(whole, year, level) for year, level in zip(years, levels, strict=True))


def _not_met(whole: Timeline, year: Settled, level: Fraction) -> Pence:
    missing = max(0, year.short - whole.household.minimum_cash)
    return deflated(missing, level) if missing else 0


def ends(
    place: int, path: MarketPath, settled: Sequence[Settled], missing: Pence, wealth: Pence, real: Pence
) -> WorstPath:
    """How a path ends, as the worst of all would be told."""
    failed = [position for position, year in enumerate(settled) if year.short]
    return WorstPath(place, failed[0] if failed else None, len(failed), missing, wealth, real, path)


def worse(one: WorstPath | None, other: WorstPath) -> WorstPath:
    """The worse of two; the first where both are as bad."""
    return other if one is None or _badness(other) < _badness(one) else one


def _badness(found: WorstPath) -> tuple[int, Pence, Pence]:
    """The less, the worse: the first period that fails, then what is missing, then what is left."""
    never = 1 << 30
    return (never if found.fails is None else found.fails, -found.not_met, found.wealth_in_prices_of_start)


def regrets(outcomes: Sequence[Sequence[Pence]]) -> tuple[Regret, ...]:
    """Those of several by their outcomes on each path."""
    best = array("q", (max(of_path) for of_path in zip(*outcomes, strict=True)))
    found = []
    for own in outcomes:
        losses = sorted(most - outcome for most, outcome in zip(best, own, strict=True) if outcome < most)
        found.append(
            Regret(len(own) - len(losses), percentiles(losses) if losses else None, losses[-1] if losses else 0)
        )
    return tuple(found)


def least_regret(found: Sequence[Regret]) -> int:
    """The place of the one with the least largest loss, the first of several."""
    return min(range(len(found)), key=lambda place: found[place].largest_loss)
