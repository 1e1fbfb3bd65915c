"""A warning, and the order in which warnings are told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

_ORDER = {"not_permitted": 0, "costs": 1, "check": 2}


@dataclass(frozen=True, slots=True)
class Warning:
    """One consequence: ``effect`` is "not_permitted", "costs" or "check"; ``figures`` pence or whole numbers by name;
    ``cost`` orders those that cost; ``path`` points into the request."""

    code: str
    effect: str
    title: str
    detail: str
    path: tuple[str | int, ...]
    sources: tuple[str, ...]
    status: str = "enacted"
    money: Mapping[str, int] = field(default_factory=dict)
    counts: Mapping[str, int] = field(default_factory=dict)
    cost: int = 0


def in_order(found: Iterable[Warning]) -> list[Warning]:
    """What is not permitted first, then costs by amount, then what to check."""
    return sorted(found, key=lambda warning: (_ORDER[warning.effect], -warning.cost))
