"""What a process keeps of answers to the same question, from one request to the next.

Nothing of it belongs to a person, each has a bound, and all of it can be forgotten at once. A process that answers for
months needs that: what is kept while much memory is in use lies between what is given back, and holds it in the process.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any, TypeVar, cast
from weakref import WeakSet

Function = TypeVar("Function", bound=Callable[..., Any])

_ALL: WeakSet[Any] = WeakSet()


def kept(most: int) -> Callable[[Function], Function]:
    """Decorates a function without effects, whose arguments can be hashed: so many of its latest answers are kept."""

    def keep(function: Function) -> Function:
        keeping = lru_cache(maxsize=most)(function)
        _ALL.add(keeping)
        return cast(Function, keeping)

    return keep


def forget() -> None:
    """Forget all that is kept. It is found again when it is asked for."""
    for each in tuple(_ALL):
        each.cache_clear()
