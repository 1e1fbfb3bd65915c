"""Quotes and health checks alone, and while clients ask again and again for plans that take long."""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from tests.benchmarks.processes import HOST, TOP, service
from tests.benchmarks.report import Goal, Part, say, table
from tests.benchmarks.sizes import Sizes

WORKERS = 3
_QUOTE = (TOP / "examples" / "requests" / "first-ufpls.json").read_bytes()
PLAN = json.dumps(
    {
        "household": {
            "people": [
                {
                    "date_of_birth": "1961-08-19",
                    "tax_residence": "england",
                    "income": [{"kind": "dividends", "amount": 92_000}, {"kind": "employment", "amount": 14_000}],
                    "pensions": [{"uncrystallised": 640_000}],
                    "isa": {"value": 25_000},
                    "cash": 30_000,
                }
            ],
            "spending": [{"amount": 31_000, "increases": "prices"}],
        },
        "start_date": "2026-10-01",
        "end_date": "2056-04-05",
        "aim": {"goal": "most_after_tax"},
        "search": {"effort": "thorough"},
        "assumptions": {"pension_growth": 0.045, "isa_growth": 0.04, "cash_interest": 0.035, "price_inflation": 0.02},
    }
).encode()
_PATIENCE_SECONDS = 120
_PAUSE_SECONDS = 0.01
"""Between a refusal and the next try: far less than the service asks for."""
_TO_BEGIN_SECONDS = 0.5
_P99_GOAL, _HEALTH_GOAL = 50.0, 1_000.0  # milliseconds


def measure(sizes: Sizes) -> Part:
    """Quotes one after the other, each on a connection of its own, and a health check after every hundredth."""
    rows, goals = [], []
    with service(WORKERS) as server:
        server.await_workers()
        quotes_and_health(server.port, sizes.seconds / 4)
        for count in sizes.crowds:
            with _crowd(server.port, count) as told:
                quotes, health = quotes_and_health(server.port, 5 * sizes.seconds)
            p50, p99 = at(quotes, 0.5), at(quotes, 0.99)
            times = (f"{each:.1f}" for each in (p50, p99, quotes[-1], health[-1]))
            answered, refused = told.pop("200", 0), told.pop("503", 0)
            longest = told.pop("longest", 0.0)
            rows.append(
                (str(count), *times, *(f"{n:.0f}" for n in (answered, refused, sum(told.values()))), f"{longest:.1f}")
            )
            goals += [
                Goal(f"quotes beside {count} clients with plans, p99", p99, _P99_GOAL, " ms"),
                Goal(f"health beside {count} clients with plans, worst", health[-1], _HEALTH_GOAL, " ms"),
            ]
    heads = (
        "clients with plans", "quotes p50, ms", "p99", "worst", "health, worst", "plans answered", "told 503", "otherwise",
        "longest plan, s",
    )  # fmt: skip
    return Part(f"Quotes beside plans that take long, {WORKERS} workers\n\n" + table(heads, rows), tuple(goals))


@contextmanager
def _crowd(port: int, count: int) -> Iterator[dict[str, float]]:
    """Clients in a process of their own; once they are gone, how many plans had which status, and the longest in seconds."""
    told: dict[str, float] = {}
    command = [sys.executable, "-m", "tests.benchmarks.crowd", str(port), str(count)]
    process = subprocess.Popen(command, cwd=TOP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    process.stdout.readline()  # they have begun
    try:
        yield told
    finally:
        told.update(json.loads(process.communicate()[0]))


def main(port: int, count: int) -> None:
    """Ask for plans again and again, with so many clients, until the input ends."""
    stop, lock = threading.Event(), threading.Lock()
    told: dict[str, float] = {"longest": 0.0}

    def ask_again() -> None:
        while not stop.is_set():
            try:
                status, seconds = asked(port, "POST", "/v1/allowance-schedule", PLAN)
            except OSError:
                status, seconds = 0, float(_PATIENCE_SECONDS)
            with lock:
                told[str(status)] = told.get(str(status), 0) + 1
                told["longest"] = max(told["longest"], seconds)
            if status != 200:
                time.sleep(_PAUSE_SECONDS)

    be_clients([threading.Thread(target=ask_again) for _ in range(count)], stop)
    say(json.dumps(told))


def be_clients(threads: Sequence[threading.Thread], stop: threading.Event) -> None:
    """Run threads that are clients, say when they have begun, and stop them when the input ends."""
    for thread in threads:
        thread.start()
    time.sleep(_TO_BEGIN_SECONDS)
    say("begun")
    sys.stdin.read()
    stop.set()
    for thread in threads:
        thread.join()


def quotes_and_health(port: int, seconds: float) -> tuple[list[float], list[float]]:
    """Milliseconds of quotes and of health checks, from the shortest."""
    quotes: list[float] = []
    health: list[float] = []
    until = time.perf_counter() + seconds
    while time.perf_counter() < until:
        if len(quotes) % 100 == 0:
            health.append(1e3 * _right(port, "GET", "/health/ready", None))
        quotes.append(1e3 * _right(port, "POST", "/v1/withdrawal-tax", _QUOTE))
    return sorted(quotes), sorted(health)


def _right(port: int, method: str, path: str, body: bytes | None) -> float:
    status, seconds = asked(port, method, path, body)
    assert status == 200, f"{path} was answered {status}"
    return seconds


def asked(port: int, method: str, path: str, body: bytes | None) -> tuple[int, float]:
    """Status and seconds of one request."""
    begun = time.perf_counter()
    connection = http.client.HTTPConnection(HOST, port, timeout=_PATIENCE_SECONDS)
    try:
        connection.request(method, path, body, {"Content-Type": "application/json"} if body else {})
        response = connection.getresponse()
        response.read()
        return response.status, time.perf_counter() - begun
    finally:
        connection.close()


def at(ordered: list[float], share: float) -> float:
    return ordered[int(share * (len(ordered) - 1))]


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
