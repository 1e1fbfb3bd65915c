"""A service that runs, a book of invented clients, and the answers it must lead to."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

import invent
from book.reading import Record, records
from service import calculator

TOP = Path(__file__).parents[2]
SCRIPTS = TOP / "examples" / "bulk"
CLIENTS = 2_000


@dataclass(frozen=True, slots=True)
class Service:
    """A service in processes of its own."""

    process: subprocess.Popen[str]
    url: str

    def workers(self) -> list[int]:
        """The process ids of its workers."""
        number = self.process.pid
        return [int(word) for word in Path(f"/proc/{number}/task/{number}/children").read_text().split()]


@contextmanager
def running_service(*module: str, **settings: str) -> Iterator[Service]:
    """A service on a free port, with its settings and none of this process's: the service itself, or a module with arguments
    that starts one."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SERVICE_")}
    process = subprocess.Popen(
        [sys.executable, "-m", *(module or ("service",))],
        cwd=TOP,
        env={
            **kept,
            "SERVICE_BIND": "127.0.0.1:0",
            "SERVICE_WORKERS": "3",
            "SERVICE_LOG_LEVEL": "critical",
            **settings,
        },
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        yield Service(process, line.split(",")[0].removeprefix("Listening on "))
    finally:
        process.send_signal(signal.SIGTERM)
        process.communicate(timeout=20)


@pytest.fixture(scope="session")
def service() -> Iterator[Service]:
    """One service for all tests that do it no harm."""
    with running_service() as running:
        yield running


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same book as CSV, NDJSON and Parquet."""
    made = tmp_path_factory.mktemp("books")
    for kind in ("csv", "ndjson", "parquet"):
        invent.write(made / f"book.{kind}", invent.rows(CLIENTS, 0.03, "2026-27", 7))
    return made


@dataclass(frozen=True, slots=True)
class Expected:
    """What a book must lead to: the lines of the answer of each kind, in order."""

    results: list[bytes]
    failures: list[bytes]


@pytest.fixture(scope="session")
def expected(folder: Path) -> Expected:
    """The answers to the book, by the service's own functions."""
    return expected_of(list(records(folder / "book.ndjson")))


def expected_of(found: list[Record]) -> Expected:
    """The answers to NDJSON records, by the service's own functions."""
    *lines, _ = calculator("withdrawal-tax").answers(b"\n".join(record.line or b"" for record in found))
    results = [line for line in lines if json.loads(line)["status"] == 200]
    return Expected(results, [line for line in lines if line not in set(results)])


def command(script: str, *arguments: str | Path) -> list[str]:
    """A command that runs one of the scripts."""
    return [sys.executable, str(SCRIPTS / script), *map(str, arguments)]


def run(script: str, *arguments: str | Path, seconds: float = 60) -> subprocess.CompletedProcess[str]:
    """A script, run to its end from the top folder."""
    return subprocess.run(
        command(script, *arguments),
        cwd=TOP,
        env={**os.environ, "PYTHONPATH": str(TOP)},
        capture_output=True,
        text=True,
        timeout=seconds,
        check=False,
    )
