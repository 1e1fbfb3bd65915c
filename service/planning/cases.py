"""A question again with one assumption changed, to see how much turns on it."""

from __future__ import annotations

from typing import Any, Literal, NamedTuple

Change = Literal["up", "down"]


class Case(NamedTuple):
    """One assumption changed: which, which way, how far (basis points or years), and the question with it, of a plan or of a
    comparison."""

    what: str
    change: Change
    by: int
    question: Any


class Cases(NamedTuple):
    """The question as it is asked, answered as the cases are, and the cases."""

    as_assumed: Any
    changed: tuple[Case, ...]
