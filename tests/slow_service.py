"""The service with one calculation more, which takes as long as it is asked to: ``python -m tests.slow_service FOLDER``.

POST /v1/waiting answers ``{"milliseconds": 250}`` with itself after so long. It counts as heavy from 100 ms on. With a number as
``until`` it makes a file FOLDER/number.begun, and ends before its time when there is a FOLDER/number.end. With ``dies`` the
worker is killed outright; with ``busy`` the time is the processor's. With ``costly`` it is not heavy, and costly.
"""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path
from typing import Any, NamedTuple

import service
from service.http.calculation import Calculation
from service.schemas.fields import LawName, StrictBoolean, WholeNumber
from service.schemas.shared import StrictSchema
from service.start import start

HEAVY_MILLISECONDS = 100


class WaitingSchema(StrictSchema):
    """How long to wait."""

    milliseconds = WholeNumber(least=0, largest=60_000, required=True)
    until = WholeNumber(least=0, largest=1_000_000)
    dies = StrictBoolean()
    busy = StrictBoolean()
    costly = StrictBoolean()
    law = LawName()
    compare_law = LawName()


class Waiting(NamedTuple):
    """A whole request."""

    milliseconds: int
    until: int | None = None
    dies: bool = False
    busy: bool = False
    costly: bool = False


def waiting_in(folder: Path) -> Calculation[Waiting]:
    """The calculation, with the folder of its files."""

    def answer(question: Waiting, _: frozenset[str]) -> dict[str, Any]:
        if question.dies:
            os.kill(os.getpid(), signal.SIGKILL)
        end = folder / f"{question.until}.end"
        if question.until is not None:
            (folder / f"{question.until}.begun").touch()
        until = time.monotonic() + question.milliseconds / 1_000
        while time.monotonic() < until and not end.exists():
            if not question.busy:
                time.sleep(0.002)
        return {"milliseconds": question.milliseconds}

    return Calculation(
        "waiting",
        WaitingSchema(),
        lambda values: Waiting(**values),
        answer,
        is_heavy=lambda question: question.milliseconds >= HEAVY_MILLISECONDS and not question.costly,
        is_costly=lambda question, _: question.costly,
    )


if __name__ == "__main__":
    waiting = waiting_in(Path(sys.argv.pop()))
    service.CALCULATIONS = (*service.CALCULATIONS, lambda *_: waiting)
    sys.exit(start(os.environ))
