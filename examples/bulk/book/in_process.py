"""The same answers without a server: the service's own functions in this process, for engines that spread work.

Kept apart, because it needs the service installed where it runs, and nothing else here does.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from book.comparing import Comparison
from book.parts import Run
from book.reading import FileKind, Notation, Piece, chunk_of
from book.recalculation import Recalculation, plan_of
from book.sending import Answers, Line, checked
from service import calculator


class InProcess:
    """Answers the lines of one operation exactly as ``POST /v1/bulk/{operation}`` would, with the same ``fields``."""

    def __init__(self, operation: str, fields: tuple[str, ...] = (), figures: Path | None = None) -> None:
        self._calculator = calculator(operation, fields, figures)

    def send(self, lines: Sequence[Line]) -> Answers:
        """The answers to lines, checked as those that come over a network are."""
        body = b"".join(line.bytes + b"\n" for line in lines)
        return Answers(checked(b"".join(self._calculator.answers(body)), lines), self._calculator.rules_version)


@dataclass(frozen=True, slots=True)
class Job:
    """What every piece of a run has in common; small, since it goes to the workers with each of them."""

    book: Path
    notation: Notation
    out: Path
    operation: str
    kind: FileKind
    comparison: Comparison | None
    tax_year: str | None
    figures: Path | None


_service = functools.cache(InProcess)
"""Once in each process: the figures are read and checked when it is made."""


def calculate(job: Job, piece: Piece) -> dict[str, Any]:
    """Read a piece of a book, answer it, save it; its counts. Doing it twice does no harm."""
    plan = plan_of(job.kind, job.comparison, job.tax_year)
    service = _service(job.operation, plan.fields, job.figures)
    return Recalculation(plan, Run(job.out, {}), service).finish(chunk_of(job.book, piece, job.notation))
