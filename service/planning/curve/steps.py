"""Steps of the tax that lie a little above an amount: reliefs that a little more income loses all at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from service.law.income_tax import Liability
from service.law.units import POUND, Pence
from service.planning.curve.reasons import reliefs_lost
from service.planning.search import first_where

NEAR: Pence = 50 * POUND
"""So near to a step of the tax, and for so much tax at least, it is told: our choice."""


class Step(NamedTuple):
    """A step of the tax: the first at which ``lost`` reliefs are gone. ``room`` is how much more income there can be before it,
    and ``tax`` what is due at once beyond that; pence."""

    room: Pence
    tax: Pence
    lost: tuple[str, ...]


def step_above(tax: Callable[[Pence], Liability], amount: Pence, within: Pence = NEAR) -> Step | None:
    """The first step above a taxable withdrawal, if it begins ``within`` that much more and costs at least ``NEAR``; pence."""
    here, beyond = tax(amount), tax(amount + within + 1)
    if not reliefs_lost(here, beyond):
        return None
    first = first_where(lambda more: bool(reliefs_lost(here, tax(amount + more))), 0, within + 1)
    before, after = tax(amount + first - 1), tax(amount + first)
    cost = after.total - before.total
    return Step(first - 1, cost, reliefs_lost(before, after)) if cost >= NEAR else None
