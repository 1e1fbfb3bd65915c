"""The same book on a Dask cluster, by the service's own functions: nothing lost, whichever worker dies."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from service import calculator
from tests.examples.conftest import CLIENTS, SCRIPTS, TOP, Expected, command, run

PATIENCE = 60
PIECES = CLIENTS // 40
FILES = {"lock", "run.json", "summary.json", "results.ndjson", "failures.ndjson"}


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": f"{TOP}{os.pathsep}{SCRIPTS}"}


@contextmanager
def cluster(folder: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler and two workers, each a process that can be killed: the scheduler's address, and the workers."""
    told = folder / "scheduler.json"
    here = [sys.executable, "-m", "dask"]
    options = ["--scheduler-file", str(told), "--no-dashboard"]
    scheduler = [*here, "scheduler", "--host", "127.0.0.1", "--port", "0", *options]
    worker = [*here, "worker", "--no-nanny", "--nthreads", "1", "--local-directory", str(folder), *options]
    processes = [
        subprocess.Popen(words, cwd=TOP, env=environment(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for words in (scheduler, worker, worker)
    ]
    try:
        wait_for(lambda: address_in(told))
        yield address_in(told), processes[1:]
    finally:
        for process in reversed(processes):
            process.kill()
            process.wait()


def address_in(told: Path) -> str:
    """The scheduler's address from its file; nothing until that is there and written."""
    try:
        return str(json.loads(told.read_bytes())["address"])
    except (FileNotFoundError, ValueError):
        return ""


def wait_for(condition: object) -> None:
    assert callable(condition)
    end = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


def saved(out: Path) -> list[Path]:
    return sorted(path for path in (out / "parts").glob("*") if path.name.isdigit())


def test_a_worker_killed_outright_half_way_loses_nothing(folder: Path, tmp_path: Path, expected: Expected) -> None:
    out = tmp_path / "out"
    with cluster(tmp_path) as (address, workers):
        arguments = (folder / "book.ndjson", "--out", out, "--scheduler", address, "--piece", "40")
        script = command("on_dask.py", *arguments)

        def begun() -> subprocess.Popen[bytes]:
            return subprocess.Popen(script, cwd=TOP, env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE)

        process = begun()
        wait_for(lambda: len(saved(out)) >= PIECES // 4)
        process.kill()
        process.communicate(timeout=PATIENCE)
        # A mark in what was saved: it would be gone if those records were calculated again.
        there = saved(out)
        assert len(there) < PIECES
        for part in there:
            with (part / "results.ndjson").open("ab") as file:
                file.write(b"saved before\n")

        process = begun()
        wait_for(lambda: len(saved(out)) >= PIECES // 2)
        workers[0].send_signal(signal.SIGKILL)
        assert len(saved(out)) < PIECES
        told, said = process.communicate(timeout=PATIENCE)
        assert process.returncode == 3, said.decode()
        assert workers[1].poll() is None
    lines = (out / "results.ndjson").read_bytes().splitlines(True)
    assert lines.count(b"saved before\n") == len(there)
    assert [line for line in lines if line != b"saved before\n"] == expected.results
    assert {path.name for path in out.iterdir()} == FILES
    summary = json.loads((out / "summary.json").read_bytes())
    assert summary["answers"][0]["succeeded"] == len(expected.results)
    assert f"{CLIENTS:,} records, all accounted for" in told.decode()
    again = run("on_dask.py", *arguments)
    assert (again.returncode, again.stdout) == (3, told.decode())


def test_workers_of_its_own_and_tables(folder: Path, tmp_path: Path, expected: Expected) -> None:
    rows, out = pq.read_table(folder / "book.parquet").slice(0, 90), tmp_path / "out"
    pq.write_table(rows, tmp_path / "book.parquet", row_group_size=30)
    ran = run("on_dask.py", tmp_path / "book.parquet", "--out", out)
    assert ran.returncode in (0, 3), ran.stderr
    found = pq.read_table(out / "results.parquet")["id"].to_pylist()
    ids = [json.loads(line)["id"] for line in expected.results]
    assert found == ids[: len(found)]
    assert len(found) + pq.read_table(out / "failures.parquet").num_rows == 90


def test_a_book_from_a_spreadsheet(folder: Path, tmp_path: Path) -> None:
    book, out = tmp_path / "book.csv", tmp_path / "out"
    rows = [line.split(",") for line in (folder / "book.csv").read_text().splitlines()[:31]]
    place = rows[0].index("date_of_birth")
    for row in rows[1:]:
        row[place] = "/".join(reversed(row[place].split("-")))
    book.write_text("".join(";".join(row) + "\r\n" for row in rows), "utf-16", newline="")
    ran = run("on_dask.py", book, "--out", out, "--piece", "7", "--encoding", "utf-16", "--uk-dates")
    assert ran.returncode in (0, 3), ran.stderr
    summary = json.loads((out / "summary.json").read_bytes())
    assert summary["records"] == 30
    assert summary["answers"][0]["succeeded"] >= 25


@pytest.mark.parametrize(("operation", "name"), [("allowance-schedule", "plan"), ("lump-sum-timing", "timing")])
def test_plans_and_comparisons_on_many_courses(tmp_path: Path, operation: str, name: str) -> None:
    """Byte for byte the answers of bulk, in the order of the book."""
    request = json.loads((TOP / "examples" / "requests" / f"{name}-couple-many-markets.json").read_bytes())
    request["markets"]["number_of_paths"] = 3
    book, out = tmp_path / "book.ndjson", tmp_path / "out"
    with book.open("wb") as file:
        for seed in range(3):
            request["markets"]["seed"] = seed
            file.write(json.dumps({"id": str(seed), "request": request}).encode() + b"\n")
    ran = run("on_dask.py", book, "--out", out, "--operation", operation, "--piece", "1")
    assert ran.returncode == 0, ran.stderr
    *lines, _ = calculator(operation).answers(book.read_bytes())
    assert (out / "results.ndjson").read_bytes() == b"".join(lines)


def test_a_run_that_cannot_begin_says_why(folder: Path, tmp_path: Path) -> None:
    for arguments, told in (
        (["--piece", "0"], "'0' is not a whole number from 1 on"),
        (["--compare-tax-years", "2025", "2026-27"], "'2025' is not a tax year"),
    ):
        refused = run("on_dask.py", folder / "book.csv", "--out", tmp_path / "out", *arguments)
        assert refused.returncode == 2
        assert told in refused.stderr
        assert not (tmp_path / "out").exists()
