"""A value that is made when it is first asked for, and then kept."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

Made = TypeVar("Made")


class Once(Generic[Made]):
    """Called, it gives what ``make`` makes, or what is already there."""

    def __init__(self, make: Callable[[], Made], made: Made | None = None) -> None:
        self._make = make
        self._made = made

    def __call__(self) -> Made:
        made = self._made
        if made is None:
            made = self._made = self._make()
        return made
