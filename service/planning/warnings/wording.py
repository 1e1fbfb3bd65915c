"""How sentences speak of people."""

from __future__ import annotations


def who(i: int, of: int) -> str:
    """Person ``i`` of a household as the start of a sentence names them."""
    return "This person" if of == 1 else ("The first person", "The second person")[i]
