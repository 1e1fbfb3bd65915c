"""Quotes and health checks beside clients that are slow, and beside clients that ask for costly things without a pause."""

from __future__ import annotations

import gzip
import http.client
import json
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from tests.benchmarks.crowd import PLAN, WORKERS, at, be_clients, quotes_and_health
from tests.benchmarks.processes import HOST, TOP, MeasurementError, service
from tests.benchmarks.report import Goal, Part, progress, say, table
from tests.benchmarks.sizes import Sizes

_TIMES_GOAL, _HEALTH_GOAL = 10.0, 1_000.0
_EXPECTED = {"200", "408", "413", "503", "closed"}
_BLANK_BYTES = 15_900_000
_SMALL_WINDOW = 4_096
_HEAD = b"POST /v1/withdrawal-tax HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"

# What a client sends when it connects; after that one byte a second, where there are any.
SLOW: Mapping[str, tuple[bytes, bytes]] = {
    "connect, send nothing": (b"", b""),
    "head, a byte a second": (_HEAD, b"A"),
    "body, a byte a second": (_HEAD + b"Content-Length: 60000\r\n\r\n{", b" "),
    "do not read the answer": (b"GET /docs/swagger-ui-bundle.js HTTP/1.1\r\nHost: x\r\n\r\n", b""),
}

_COUPLE = json.loads(PLAN)
_COUPLE["household"]["people"].append(
    {
        "date_of_birth": "1964-02-11",
        "tax_residence": "england",
        "income": [{"kind": "employment", "amount": 88_000, "increases": "prices"}],
        "pensions": [{"uncrystallised": 310_000}],
    }
)
_COUPLE["assumptions"]["scenarios"] = {"low": {"pension_growth": 0.01}, "high": {"pension_growth": 0.07}}
_WORST = json.loads((Path(__file__).parent / "costly" / "withdrawal-tax-1.json").read_text("utf-8"))
_JSON, _NDJSON = {"Content-Type": "application/json"}, {"Content-Type": "application/x-ndjson"}

# What a client asks for again and again: a path, a body, headers.
GREEDY: Mapping[str, tuple[str, Callable[[], bytes], dict[str, str]]] = {
    "plans, dividends in the taper": ("/v1/allowance-schedule", lambda: PLAN, _JSON),
    "the same for a couple, scenarios": ("/v1/allowance-schedule", lambda: json.dumps(_COUPLE).encode(), _JSON),
    "the costliest quote, its working": (
        f"/v1/withdrawal-tax{_WORST['query']}", lambda: json.dumps(_WORST["request"]).encode(), _JSON,
    ),
    "16 MB of blank lines, as gzip": (
        "/v1/bulk/withdrawal-tax", lambda: gzip.compress(b"\n" * _BLANK_BYTES), {**_NDJSON, "Content-Encoding": "gzip"},
    ),
    "16 MB of blank lines": ("/v1/bulk/withdrawal-tax", lambda: b"\n" * _BLANK_BYTES, _NDJSON),
}  # fmt: skip


def measure_slow(sizes: Sizes) -> Part:
    """Quotes beside slow clients."""
    return _measured("Quotes beside slow clients", SLOW, sizes.slow, sizes.seconds)


def measure_greedy(sizes: Sizes) -> Part:
    """Quotes beside clients that ask for costly things."""
    return _measured("Quotes beside greedy clients", GREEDY, sizes.greedy, sizes.seconds)


def _measured(title: str, kinds: Mapping[str, object], counts: tuple[int, ...], seconds: float) -> Part:
    """Quotes alone and beside each kind, in turns, so that whatever else the machine does meets both."""
    rows, goals = [], []
    with service(WORKERS) as server:
        server.await_workers()
        quotes_and_health(server.port, seconds / 4)
        for kind in kinds:
            for count in counts:
                progress(f"{kind}, {count} clients")
                alone, _ = quotes_and_health(server.port, seconds)
                with _clients(server.port, kind, count) as told:
                    quotes, health = quotes_and_health(server.port, 3 * seconds)
                times = at(quotes, 0.99) / at(alone, 0.99)
                measured = (at(alone, 0.5), at(alone, 0.99), at(quotes, 0.5), at(quotes, 0.99), health[-1])
                statuses = ", ".join(f"{number} x {status}" for status, number in sorted(told.items())) or "none"
                rows.append((kind, str(count), *(f"{each:.1f}" for each in measured), f"{times:.1f}", statuses))
                goals += [
                    Goal(f"{kind}, {count}: p99 of quotes, times that alone", times, _TIMES_GOAL),
                    Goal(f"{kind}, {count}: health, worst", health[-1], _HEALTH_GOAL, " ms"),
                ]
    heads = (
        "clients that", "how many", "alone p50, ms", "p99", "beside p50", "p99", "health, worst", "p99, times", "they got",
    )  # fmt: skip
    return Part(f"{title}, {WORKERS} workers, no proxy\n\n" + table(heads, rows), tuple(goals))


@contextmanager
def _clients(port: int, kind: str, count: int) -> Iterator[dict[str, int]]:
    """Clients in a process of their own; once they are gone, how many answers of which status they had."""
    told: dict[str, int] = {}
    command = [sys.executable, "-m", "tests.benchmarks.beside", str(port), kind, str(count)]
    process = subprocess.Popen(command, cwd=TOP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    process.stdout.readline()  # they have begun
    try:
        yield told
    finally:
        told.update(json.loads(process.communicate()[0]))
        if set(told) - _EXPECTED:
            raise MeasurementError(f"{kind}: clients were answered {told}")


def main(port: int, kind: str, count: int) -> None:
    """Be so many clients until the input ends, then print how many answers of which status there were."""
    stop, told = threading.Event(), dict[str, int]()
    if kind in SLOW:
        threads = [threading.Thread(target=_be_slow, args=(port, count, *SLOW[kind], stop, told))]
    else:
        path, body, headers = GREEDY[kind]
        threads = [
            threading.Thread(target=_be_greedy, args=(port, path, body(), headers, stop, told)) for _ in range(count)
        ]
    be_clients(threads, stop)
    say(json.dumps(told))


def _be_slow(port: int, count: int, first: bytes, then: bytes, stop: threading.Event, told: dict[str, int]) -> None:
    """So many connections; one that the service closes is made anew."""
    clients = [_connected(port, first) for _ in range(count)]
    while not stop.wait(1):
        for place, client in enumerate(clients):
            try:
                if then:
                    client.send(then)
                    answer = client.recv(12)
                    _note(told, answer[9:].decode("latin-1") or "closed")
                    client.close()
                    clients[place] = _connected(port, first)
            except BlockingIOError:
                continue
            except OSError:
                _note(told, "closed")
                client.close()
                clients[place] = _connected(port, first)
    for client in clients:
        client.close()


def _connected(port: int, first: bytes) -> socket.socket:
    client = socket.socket()
    client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _SMALL_WINDOW)
    client.connect((HOST, port))
    client.setblocking(False)
    client.send(first)
    return client


def _be_greedy(
    port: int, path: str, body: bytes, headers: dict[str, str], stop: threading.Event, told: dict[str, int]
) -> None:
    while not stop.is_set():
        connection = http.client.HTTPConnection(HOST, port, timeout=120)
        try:
            connection.request("POST", path, body, headers)
            response = connection.getresponse()
            response.read()
            _note(told, str(response.status))
        except OSError:
            _note(told, "closed")
        finally:
            connection.close()


def _note(told: dict[str, int], what: str) -> None:
    told[what] = told.get(what, 0) + 1


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
