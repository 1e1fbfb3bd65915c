"""Requests answered one after the other in a process of its own, each within a limit of processor time.

    python -m tests.asking LIMIT

reads requests from standard input, a JSON object {path, body} a line, and writes a line {seconds, status, bytes} for each:
processor time of the application without a server, the least of three tries where one is short. A request that needs more
than LIMIT seconds of processor time ends the process, whatever code it is in. ``Asker`` notices, and begins another.
"""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Any, NamedTuple, Self

TOP = Path(__file__).parents[1]
_SHORT = 0.1
_TRIES = 3
_START_SECONDS = 60
_WALL_SECONDS_FOR_ONE = 30  # of a machine that others use as well


class Asked(NamedTuple):
    """What a request cost: processor seconds and the length of its answer. ``status`` is None where it was ended; then
    ``seconds`` is the limit."""

    seconds: float
    status: int | None
    bytes: int


class Asker:
    """Asks in a process of its own; ``limit`` is the processor time that one request may take, in seconds."""

    def __init__(self, limit: float) -> None:
        self._limit = limit
        self._process: subprocess.Popen[str] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._end()

    def ask(self, path: str, body: Any) -> Asked:
        """What a POST of a body, as JSON, costs."""
        process = self._process or self._begun()
        assert process.stdin is not None
        process.stdin.write(json.dumps({"path": path, "body": body}) + "\n")
        process.stdin.flush()
        line = self._line(process, _START_SECONDS + _WALL_SECONDS_FOR_ONE * self._limit)
        if not line:
            self._end()
            return Asked(self._limit, None, 0)
        return Asked(**json.loads(line))

    def _begun(self) -> subprocess.Popen[str]:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.asking", str(self._limit)],
            cwd=TOP,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        return self._process

    def _line(self, process: subprocess.Popen[str], seconds: float) -> str:
        """The next line; nothing where the process has ended, or the time has passed."""
        assert process.stdout is not None
        ready, _, _ = select.select([process.stdout], [], [], seconds)
        return process.stdout.readline() if ready else ""

    def _end(self) -> None:
        if self._process is None:
            return
        self._process.kill()
        self._process.communicate()
        self._process = None


def main(limit: float) -> None:
    """Answer until the input ends."""
    # What the solver says about itself goes nowhere; the lines go where standard output was.
    with os.fdopen(os.dup(1), "w") as out:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        from service import create_app
        from service.settings import Settings

        client = create_app(Settings.for_tests()).test_client()
        for line in sys.stdin:
            asked = json.loads(line)
            out.write(json.dumps(_cost(client, asked["path"], json.dumps(asked["body"]).encode(), limit)) + "\n")
            out.flush()


def _cost(client: Any, path: str, body: bytes, limit: float) -> dict[str, Any]:
    least, status, length = limit, 0, 0
    for _ in range(_TRIES):
        # Left to itself, the signal that comes at the end ends the process.
        signal.setitimer(signal.ITIMER_PROF, limit)
        begun = time.process_time()
        with client.post(path, data=body, content_type="application/json") as response:
            length = len(response.get_data())
            status = response.status_code
        seconds = time.process_time() - begun
        signal.setitimer(signal.ITIMER_PROF, 0)
        least = min(least, seconds)
        if seconds > _SHORT or status != 200:
            break
    return {"seconds": round(least, 6), "status": status, "bytes": length}


if __name__ == "__main__":
    main(float(sys.argv[1]))
