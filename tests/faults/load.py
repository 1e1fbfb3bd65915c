"""Clients that ask for one quote again and again and compare each answer, and a service to ask."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

TOP = Path(__file__).parents[2]
HOST = "127.0.0.1"
WORKERS = 3
PATIENCE = 30
QUOTE = (TOP / "examples" / "requests" / "first-ufpls.json").read_bytes()
REQUEST = (
    f"POST /v1/withdrawal-tax HTTP/1.1\r\nHost: x\r\nConnection: close\r\nContent-Type: application/json\r\n"
    f"Content-Length: {len(QUOTE)}\r\n\r\n"
).encode() + QUOTE
_PAUSE_AFTER_REFUSAL = 0.02


@dataclass(slots=True)
class Service:
    """A running service: its process, its port, and all it has written to standard error so far."""

    process: subprocess.Popen[str]
    port: int
    log: list[str] = field(default_factory=list)

    def workers(self) -> list[int]:
        number = self.process.pid
        return [int(each) for each in Path(f"/proc/{number}/task/{number}/children").read_text().split()]

    def await_workers(self) -> None:
        await_true(lambda: len(self.workers()) == WORKERS)


def await_true(condition: Callable[[], bool]) -> None:
    """Wait for it; AssertionError where it does not come."""
    until = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < until, "it did not come"
        time.sleep(0.01)


def command(before: Sequence[str] = ()) -> list[str]:
    """What starts the service, after other programs that prepare its surroundings and then become it."""
    return [*before, sys.executable, "-m", "service"]


def surroundings(**more: str) -> dict[str, str]:
    """The environment of a service on a free port."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SERVICE_")}
    return {
        **kept, "SERVICE_BIND": f"{HOST}:0", "SERVICE_WORKERS": str(WORKERS), "PYTHONDONTWRITEBYTECODE": "1", **more,
    }  # fmt: skip


@contextmanager
def service(before: Sequence[str] = (), **environment: str) -> Iterator[Service]:
    """A service that answers; it is stopped in the end, if it has not been."""
    with subprocess.Popen(
        command(before),
        cwd=TOP,
        env=surroundings(**environment),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        line = process.stdout.readline()
        if not line:
            raise AssertionError(f"the service did not start: {process.stderr.read()}")
        found = Service(process, int(line.split(",")[0].rpartition(":")[2]))
        reader = threading.Thread(target=found.log.extend, args=(process.stderr,))
        reader.start()
        try:
            found.await_workers()
            yield found
        finally:
            if process.poll() is None:
                process.terminate()
            process.wait(timeout=PATIENCE)
            reader.join(timeout=PATIENCE)


def ask(port: int, request: bytes = REQUEST) -> tuple[str, bytes]:
    """What came of a request: ``refused`` before it was sent, ``lost`` after, or the status; and the body."""
    try:
        connection = socket.create_connection((HOST, port), timeout=PATIENCE)
    except OSError:
        return "refused", b""
    reply = b""
    with connection:
        try:
            connection.sendall(request)
            while some := connection.recv(65_536):
                reply += some
        except OSError:
            return "lost", b""
    head, end, body = reply.partition(b"\r\n\r\n")
    length = next((int(line[15:]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:")), None)
    if not end or length is None or len(body) != length:
        return "lost", b""
    return head[9:12].decode(), body


@dataclass(slots=True)
class Load:
    """Clients under way. ``counts`` has ``right`` and ``wrong`` answers, and what else came of requests."""

    port: int
    expected: bytes
    counts: Counter[str] = field(default_factory=Counter)
    _stop: threading.Event = field(default_factory=threading.Event)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def run(self) -> None:
        """Ask until told to stop."""
        while not self._stop.is_set():
            outcome, body = ask(self.port)
            if outcome == "200":
                outcome = "right" if body == self.expected else "wrong"
            with self._lock:
                self.counts[outcome] += 1
            if outcome != "right":
                time.sleep(_PAUSE_AFTER_REFUSAL)

    def stop(self) -> None:
        """Begin no more requests."""
        self._stop.set()

    def answered(self, more: int) -> None:
        """Wait until so many more have been answered rightly."""
        target = self.counts["right"] + more
        await_true(lambda: self.counts["right"] >= target)


@contextmanager
def load(port: int, clients: int) -> Iterator[Load]:
    """So many clients; they have ended when this does."""
    outcome, expected = ask(port)
    assert outcome == "200", outcome
    found = Load(port, expected)
    threads = [threading.Thread(target=found.run) for _ in range(clients)]
    for thread in threads:
        thread.start()
    try:
        yield found
    finally:
        found.stop()
        for thread in threads:
            thread.join()
