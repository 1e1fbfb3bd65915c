"""Servers and load generators as processes of their own, and what the system says of them."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tests.benchmarks.constant import PATH
from tests.benchmarks.load import HOST, Outcome, Plan

TOP = Path(__file__).parents[2]
EXAMPLES = tuple(
    path
    for path in sorted((TOP / "examples" / "requests").glob("*.json"))
    if "withdrawal" in json.loads(path.read_text("utf-8"))
)
"""The example requests that ask for the tax on one withdrawal."""
WORKERS = 2
CONNECTIONS = 32
MOST_REQUESTS = 200_000
_PATIENCE_SECONDS = 30


class MeasurementError(Exception):
    """The measurement is worth nothing: a server did not do what it was asked. The message is for people."""


@dataclass(frozen=True, slots=True)
class Server:
    """A running server: its process and its port."""

    process: subprocess.Popen[str]
    port: int
    worker_count: int

    def workers(self) -> tuple[int, ...]:
        """The process ids of its workers. MeasurementError unless there are as many as there should be."""
        own = self.process.pid
        found = tuple(map(int, Path(f"/proc/{own}/task/{own}/children").read_text().split()))
        if len(found) != self.worker_count:
            raise MeasurementError(f"a server has {len(found)} workers, not {self.worker_count}")
        return found

    def await_workers(self) -> None:
        """Wait until all its workers are there: it says where it listens before they are. MeasurementError if they never are."""
        until = time.perf_counter() + _PATIENCE_SECONDS
        while True:
            try:
                self.workers()
                return
            except MeasurementError:
                if time.perf_counter() > until:
                    raise
                time.sleep(0.01)

    def cpu_seconds(self) -> float:
        """Processor time its workers have used, theirs and the system's for them."""
        ticks = 0
        for worker in self.workers():
            # The command's name stands in parentheses and may hold anything; utime and stime are 12 and 13 after it.
            fields = Path(f"/proc/{worker}/stat").read_text().rpartition(")")[2].split()
            ticks += int(fields[11]) + int(fields[12])
        return ticks / os.sysconf("SC_CLK_TCK")

    def private_bytes(self) -> tuple[int, ...]:
        """For each worker, the memory that is its own and shared with no other process."""
        return tuple(_memory_of(worker, "Private_Clean:", "Private_Dirty:") for worker in self.workers())

    def resident_bytes(self) -> tuple[int, ...]:
        """For each worker, the memory that it uses, shared or not."""
        return tuple(_memory_of(worker, "Rss:") for worker in self.workers())


def _memory_of(process: int, *kinds: str) -> int:
    lines = Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()
    return 1_024 * sum(int(line.split()[1]) for line in lines if line.startswith(kinds))


@contextmanager
def service(workers: int = WORKERS) -> Iterator[Server]:
    """The service as shipped, on a free port."""
    with _server(["-m", "service"], None, workers) as server:
        yield server


@contextmanager
def constant(headers: dict[str, str], body: bytes) -> Iterator[Server]:
    """The constant reply on a free port."""
    reply = json.dumps({"headers": headers, "body": body.decode("latin-1")})
    with _server(["-m", "tests.benchmarks.constant"], reply) as server:
        yield server


@contextmanager
def _server(arguments: list[str], to_stdin: str | None, workers: int = WORKERS) -> Iterator[Server]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SERVICE_")}
    settings = {"SERVICE_BIND": f"{HOST}:0", "SERVICE_WORKERS": str(workers), "SERVICE_LOG_LEVEL": "warning"}
    process = subprocess.Popen(
        [sys.executable, *arguments],
        cwd=TOP,
        env={**kept, **settings},
        stdin=subprocess.DEVNULL if to_stdin is None else subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        if to_stdin is not None:
            assert process.stdin is not None
            with process.stdin:
                process.stdin.write(to_stdin)
        assert process.stdout is not None
        line = process.stdout.readline()
        if not line:
            raise MeasurementError(f"{arguments[-1]} did not start")
        yield Server(process, int(line.split(",")[0].rpartition(":")[2]), workers)
    finally:
        process.terminate()
        try:
            process.wait(timeout=_PATIENCE_SECONDS)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        if process.stdout is not None:
            process.stdout.close()


def post(body: bytes) -> bytes:
    """A whole HTTP request that posts a JSON body."""
    head = (
        f"POST {PATH} HTTP/1.1\r\nHost: {HOST}\r\nContent-Type: application/json\r\nAccept: application/json\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    return head.encode("ascii") + body


@dataclass(frozen=True, slots=True)
class Reply:
    """One reply: all of it, its headers but for those the server adds to any reply, and its body."""

    whole: bytes
    headers: dict[str, str]
    body: bytes

    @property
    def header_names(self) -> list[str]:
        """The names of all headers as sent."""
        lines = self.whole.partition(b"\r\n\r\n")[0].decode("ascii").split("\r\n")[1:]
        return sorted(line.partition(":")[0].lower() for line in lines)


def ask(port: int, request: bytes) -> Reply:
    """Send one request and read its reply. MeasurementError unless it is a 200."""
    with socket.create_connection((HOST, port), timeout=_PATIENCE_SECONDS) as connection:
        connection.sendall(request)
        whole = b""
        while chunk := connection.recv(65_536):
            whole += chunk
    head, _, body = whole.partition(b"\r\n\r\n")
    status, *lines = head.decode("ascii").split("\r\n")
    if not status.startswith("HTTP/1.1 200 "):
        raise MeasurementError(f"the reply was {status!r}: {body[:300]!r}")
    pairs = (line.partition(": ") for line in lines)
    added = ("server", "date", "connection", "content-length")
    return Reply(whole, {name: value for name, _, value in pairs if name.lower() not in added}, body)


def put_load(
    port: int,
    request: bytes,
    reply: Reply,
    *,
    seconds: float,
    most: int = MOST_REQUESTS,
    connections: int = CONNECTIONS,
) -> Outcome:
    """Load one server and return what came of it. MeasurementError if any reply was not ``reply``."""
    text = request.decode("latin-1"), len(reply.whole), reply.body.decode("latin-1")
    plan = Plan(port, *text, connections, seconds, most)
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.load"],
        cwd=TOP,
        input=json.dumps(asdict(plan)),
        stdout=subprocess.PIPE,
        text=True,
        timeout=seconds + 2 * _PATIENCE_SECONDS,
        check=True,
    )
    answer: dict[str, Any] = json.loads(done.stdout)
    outcome = Outcome(**answer)
    if outcome.failures or not outcome.requests:
        raise MeasurementError(f"replies were not as expected: {'; '.join(outcome.failures) or 'none came'}")
    return outcome
