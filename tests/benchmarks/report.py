"""Plain text: tables, and goals met or missed."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Goal:
    """A value that was measured and the limit it is held to. ``at_least`` says on which side of the limit it must be;
    ``aim`` is a better value worth naming when it is reached."""

    name: str
    value: float
    limit: float
    unit: str = ""
    at_least: bool = False
    aim: float | None = None

    @property
    def met(self) -> bool:
        """Whether the value is on the right side of the limit."""
        return self._reaches(self.limit)

    def _reaches(self, limit: float) -> bool:
        return self.value >= limit if self.at_least else self.value <= limit

    def row(self) -> tuple[str, ...]:
        """Verdict, name, value and limit as text."""
        side = "at least" if self.at_least else "at most"
        limit = f"{side} {self.limit:g}{self.unit}"
        if self.aim is not None:
            reached = "reached" if self._reaches(self.aim) else "not reached"
            limit += f" (aim {self.aim:g}: {reached})"
        return "met" if self.met else "MISSED", self.name, f"{self.value:.3g}{self.unit}", limit


@dataclass(frozen=True, slots=True)
class Part:
    """What one part of the measurements found, as text and as goals."""

    text: str
    goals: tuple[Goal, ...]


def table(headings: Sequence[str], rows: Sequence[Sequence[str]], *, left: int = 1) -> str:
    """A table in Markdown with its columns lined up: the first ``left`` of them to the left."""
    widths = [max(len(cells[column]) for cells in (headings, *rows)) for column in range(len(headings))]

    def line(cells: Sequence[str]) -> str:
        padded = (
            cell.ljust(width) if column < left else cell.rjust(width)
            for column, (cell, width) in enumerate(zip(cells, widths, strict=True))
        )
        return f"| {' | '.join(padded)} |"

    rule = "|".join("-" * (width + 1) + ("-" if column < left else ":") for column, width in enumerate(widths))
    return "\n".join([line(headings), f"|{rule}|", *map(line, rows)])


def say(text: str) -> None:
    """Print a paragraph at once."""
    sys.stdout.write(text + "\n\n")
    sys.stdout.flush()


def progress(text: str) -> None:
    """Say on standard error what is being measured."""
    sys.stderr.write(text + "\n")
