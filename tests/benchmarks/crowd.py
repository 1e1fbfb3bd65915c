"""Quotes and health checks alone, and while clients ask again and again for plans that take long."""

from __future__ import annotations

import http.client
import json
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from tests.benchmarks.processes import HOST, TOP, Server, service
from tests.benchmarks.report import Goal, Part, table
from tests.benchmarks.sizes import Sizes

WORKERS = 3
CROWDS = (0, 3, 10)
_QUOTE = (TOP / "examples" / "requests" / "first-ufpls.json").read_bytes()
_PLAN = json.dumps(
    {
        "start_date": "2026-10-01",
        "end_date": "2056-04-05",
        "people": [
            {
                "date_of_birth": "1961-08-19",
                "tax_residence": "england",
                "income": [{"kind": "dividends", "amount": 92_000}, {"kind": "employment", "amount": 14_000}],
                "pension": {"uncrystallised": 640_000},
                "isa": {"value": 25_000},
                "cash": 30_000,
            }
        ],
        "aim": {"fill": "least_tax"},
        "search": {"effort": "thorough"},
        "spending": [{"amount": 31_000, "increases": "prices"}],
        "assumptions": {"pension_growth": 0.045, "isa_growth": 0.04, "cash_interest": 0.035, "price_inflation": 0.02},
    }
).encode()
_PATIENCE_SECONDS = 60
_PAUSE_SECONDS = 0.01
"""Between a refusal and the next try: far less than the service asks for."""
_P99_GOAL, _HEALTH_GOAL = 50.0, 1_000.0  # milliseconds


@dataclass(slots=True)
class Crowd:
    """Clients that ask for plans, and what they were told, by status."""

    stop: threading.Event = field(default_factory=threading.Event)
    told: dict[int, int] = field(default_factory=dict)
    longest: float = 0.0


def measure(sizes: Sizes) -> Part:
    """Quotes one after the other, each on a connection of its own, and a health check after every hundredth."""
    rows, goals = [], []
    with service(WORKERS) as server:
        server.await_workers()
        _quotes(server, sizes.seconds / 4)
        for count in CROWDS:
            with _crowd(server, count) as crowd:
                quotes, health = _quotes(server, 5 * sizes.seconds)
            p50, p99, worst = _at(quotes, 0.5), _at(quotes, 0.99), quotes[-1]
            told = (crowd.told.get(200, 0), crowd.told.get(503, 0), sum(crowd.told.values()))
            others = told[2] - told[0] - told[1]
            rows.append(
                (
                    str(count),
                    *(f"{each:.1f}" for each in (p50, p99, worst, health[-1])),
                    *(str(each) for each in (told[0], told[1], others)),
                    f"{crowd.longest:.1f}",
                )
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
def _crowd(server: Server, count: int) -> Iterator[Crowd]:
    crowd = Crowd()
    lock = threading.Lock()

    def ask_again() -> None:
        while not crowd.stop.is_set():
            status, seconds = _asked(server, "POST", "/v1/allowance-schedule", _PLAN)
            with lock:
                crowd.told[status] = crowd.told.get(status, 0) + 1
                crowd.longest = max(crowd.longest, seconds)
            if status != 200:
                time.sleep(_PAUSE_SECONDS)

    threads = [threading.Thread(target=ask_again) for _ in range(count)]
    for thread in threads:
        thread.start()
    time.sleep(0.3 if count else 0)
    try:
        yield crowd
    finally:
        crowd.stop.set()
        for thread in threads:
            thread.join()


def _quotes(server: Server, seconds: float) -> tuple[list[float], list[float]]:
    """Milliseconds of quotes and of health checks, from the shortest."""
    quotes: list[float] = []
    health: list[float] = []
    until = time.perf_counter() + seconds
    while time.perf_counter() < until:
        if len(quotes) % 100 == 0:
            health.append(1e3 * _right(server, "GET", "/health/ready", None))
        quotes.append(1e3 * _right(server, "POST", "/v1/withdrawal-tax", _QUOTE))
    return sorted(quotes), sorted(health)


def _right(server: Server, method: str, path: str, body: bytes | None) -> float:
    status, seconds = _asked(server, method, path, body)
    assert status == 200, f"{path} was answered {status}"
    return seconds


def _asked(server: Server, method: str, path: str, body: bytes | None) -> tuple[int, float]:
    """Status and seconds of one request."""
    begun = time.perf_counter()
    connection = http.client.HTTPConnection(HOST, server.port, timeout=_PATIENCE_SECONDS)
    try:
        connection.request(method, path, body, {"Content-Type": "application/json"} if body else {})
        response = connection.getresponse()
        response.read()
        return response.status, time.perf_counter() - begun
    finally:
        connection.close()


def _at(ordered: list[float], share: float) -> float:
    return ordered[int(share * (len(ordered) - 1))]
