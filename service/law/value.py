"""What the values of law and planning are made of: classes with named fields that are never changed.

The fields stand in the class with their types and defaults, and are given by name or in their order. By name takes hardly
longer up to fifteen names; of more, Python makes a dictionary first, which takes several times as long as the value. So where
very many are made of a class with more fields, the first go by position, each two counting as one name. Two values are equal if
they are of one class and all their fields are. They are made by the thousand, and nothing that Python has is made as fast;
the compiled wheel turns them into plain classes (``docker/compiled_wheel.py``), which are faster still.
"""

from __future__ import annotations

from typing import Any, Self

from msgspec import Struct
from msgspec.structs import replace


class Value(Struct, frozen=True, gc=False):
    """The base of them all. A class says ``frozen=True`` again, for the type checker."""

    def _replace(self, **changes: Any) -> Self:
        """The same value with some fields changed."""
        return replace(self, **changes)
