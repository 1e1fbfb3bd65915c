"""Very many requests of all kinds, good and bad ones, alone and over connections that stay open: does memory stay as it is, and
what failed."""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from random import Random
from typing import NamedTuple

from tests.benchmarks.crowd import WORKERS
from tests.benchmarks.processes import HOST, TOP, MeasurementError, Server, service
from tests.benchmarks.proxy import NGINX, before
from tests.benchmarks.report import Goal, Part, progress, say, table
from tests.benchmarks.sizes import Sizes

_EXAMPLES = TOP / "examples" / "requests"
_JSON, _NDJSON = "application/json", "application/x-ndjson"
_PATIENCE_SECONDS = 60
_TELL_EVERY = 10
_THREADS = 4
_PAUSE_SECONDS = 0.05
_BYTES_IN_MB = 1_000_000
_MOST_GROWTH_MB = 2.0
_WARM_SHARE = 0.05
"""Of the requests: after these the first look at memory is taken, when everything has been loaded that is loaded when needed."""


class Kind(NamedTuple):
    """A request, the status that it must have, and how often in a thousand it is sent."""

    method: str
    path: str
    body: bytes | None
    media_type: str
    status: int
    often: int


def _example(name: str) -> bytes:
    return (_EXAMPLES / f"{name}.json").read_bytes()


def _book() -> bytes:
    quote = json.loads(_example("first-ufpls"))
    return b"".join(json.dumps({"id": number, "request": quote}).encode() + b"\n" for number in range(20))


def kinds() -> dict[str, Kind]:
    """All of them by name."""
    quote, tax, plan = _example("first-ufpls"), "/v1/withdrawal-tax", "/v1/allowance-schedule"
    return {
        "quote": Kind("POST", tax, quote, _JSON, 200, 380),
        "quote for a net": Kind("POST", tax, _example("net-wanted-for-isa"), _JSON, 200, 150),
        "quote with all": Kind("POST", f"{tax}?include=working,curve", _example("whole-pot-with-child-benefit"), _JSON, 200, 130),
        "warnings": Kind("POST", "/v1/warnings", _example("warnings-saves-and-withdraws"), _JSON, 200, 80),
        "plain plan": Kind("POST", plan, _example("plan-personal-allowance"), _JSON, 200, 60),
        "best plan": Kind("POST", plan, _example("plan-couple-most-after-tax"), _JSON, 200, 5),
        "timing": Kind("POST", "/v1/lump-sum-timing", _example("timing-before-and-after-april-2027"), _JSON, 200, 10),
        "bulk": Kind("POST", "/v1/bulk/withdrawal-tax", _book(), _NDJSON, 200, 15),
        "tax year": Kind("GET", "/v1/tax-years/2026-27", None, _JSON, 200, 20),
        "health": Kind("GET", "/health/live", None, _JSON, 200, 50),
        "not JSON": Kind("POST", tax, quote[:-20], _JSON, 400, 25),
        "not valid": Kind("POST", tax, quote.replace(b'"england"', b'"englnd"'), _JSON, 422, 40),
        "not there": Kind("GET", "/v1/nothing", None, _JSON, 404, 15),
        "of another type": Kind("POST", tax, quote, "text/plain", 415, 10),
        "too large": Kind("POST", tax, b" " * 70_000, _JSON, 413, 2),
    }  # fmt: skip


def measure(sizes: Sizes) -> Part:
    """Half of the requests bare, each on a connection of its own; half through the proxy, over connections that stay open."""
    with ExitStack() as held:
        server = held.enter_context(service(WORKERS))
        server.await_workers()
        ports = [server.port]
        if NGINX is not None:
            ports.append(held.enter_context(before(server.port)))
        begun = time.monotonic()
        workers = server.workers()
        looks: list[tuple[int, tuple[int, ...]]] = []
        with _clients(ports, sizes.soak) as (done, told):
            for share in (_WARM_SHARE, 0.5, 1.0):
                _await(done, round(share * sizes.soak), begun + share * 60 * sizes.soak_minutes)
                looks.append((done[0], server.private_bytes()))
                progress(f"soak: {done[0]:,} requests")
        looks.append((done[0], _at_rest(server)))
        seconds = time.monotonic() - begun
        if server.workers() != workers:
            raise MeasurementError("a worker was replaced")
    memory = [
        (f"after {count:,} requests", *(f"{each / _BYTES_IN_MB:.1f}" for each in private)) for count, private in looks
    ]
    growth = max(end - start for start, end in zip(looks[0][1], looks[-1][1], strict=True)) / _BYTES_IN_MB
    failures = {what: number for what, number in told.items() if not what.endswith(_GOOD)}
    rows = [(what, f"{number:,}") for what, number in sorted(told.items())]
    text = (
        f"Soak: {sum(told.values()):,} requests in {seconds:,.0f} s, {WORKERS} workers, "
        f"{'half through the proxy' if len(ports) > 1 else 'no proxy here'}\n\n"
        + table(("private memory, MB", *(f"worker {number}" for number in range(1, WORKERS + 1))), memory)
        + "\n\n"
        + table(("what came of a request", "how many"), rows)
    )
    goals = (
        Goal("soak: failures", sum(failures.values()), 0),
        Goal("soak: growth of the worker that grew most, from the first look", growth, _MOST_GROWTH_MB, " MB"),
    )
    return Part(text, goals)


_GOOD = (": as it should be", ": told to come again")


def _at_rest(server: Server) -> tuple[int, ...]:
    time.sleep(1)
    return server.private_bytes()


def _await(done: list[int], count: int, until: float) -> None:
    while done[0] < count and time.monotonic() < until:
        time.sleep(0.05)


@contextmanager
def _clients(ports: list[int], count: int) -> Iterator[tuple[list[int], Counter[str]]]:
    """Clients in processes of their own; how many requests are done, and once they are gone what came of them."""
    done, told, lock = [0], Counter[str](), threading.Lock()
    arguments = [(str(port), str(count // len(ports)), str(seed)) for seed, port in enumerate(ports)]
    processes = [_process(*each) for each in arguments]

    def listen(process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            if line.startswith("{"):
                with lock:
                    told.update(json.loads(line))
            elif line.strip():
                with lock:
                    done[0] += int(line)

    listeners = [threading.Thread(target=listen, args=(process,)) for process in processes]
    for each in listeners:
        each.start()
    try:
        yield done, told
    finally:
        for process in processes:
            assert process.stdin is not None
            process.stdin.close()  # stop, whatever is left
        for process, listener in zip(processes, listeners, strict=True):
            process.wait(timeout=2 * _PATIENCE_SECONDS)
            listener.join()
        done[0] = sum(told.values())


def _process(*arguments: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.benchmarks.soak", *arguments]
    return subprocess.Popen(command, cwd=TOP, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def main(port: int, count: int, seed: int) -> None:
    """Send so many requests with some threads, or fewer if the input ends before; tell how many, and what came of them."""
    stop, lock, told, expected = threading.Event(), threading.Lock(), Counter[str](), dict[str, bytes]()

    def send(number: int, requests: int) -> None:
        chance, own, there_are = Random(100 * seed + number), Counter[str](), kinds()
        names, weights = list(there_are), [kind.often for kind in there_are.values()]
        connection = http.client.HTTPConnection(HOST, port, timeout=_PATIENCE_SECONDS)
        for sent in range(1, requests + 1):
            (name,) = chance.choices(names, weights)
            outcome, body = _asked(connection, there_are[name])
            if outcome == "as it should be" and body != expected.setdefault(name, body):
                outcome = "another body than before"
            own[f"{name}: {outcome}"] += 1
            if sent % _TELL_EVERY == 0:
                with lock:
                    say(str(_TELL_EVERY))
            if stop.is_set():
                break
        with lock:
            told.update(own)

    threads = [threading.Thread(target=send, args=(number, count // _THREADS)) for number in range(_THREADS)]
    for thread in threads:
        thread.start()

    def until_told() -> None:
        sys.stdin.read()
        stop.set()

    threading.Thread(target=until_told, daemon=True).start()
    for thread in threads:
        thread.join()
    say(json.dumps(told))


def _asked(connection: http.client.HTTPConnection, kind: Kind) -> tuple[str, bytes]:
    """What came of a request, and the body of the answer."""
    headers = {"Content-Type": kind.media_type} if kind.body else {}
    try:
        connection.request(kind.method, kind.path, kind.body, headers)
        response = connection.getresponse()
        body = response.read()
    except (OSError, http.client.HTTPException) as error:
        connection.close()
        return type(error).__name__, b""
    if response.status == kind.status:
        return "as it should be", body
    if response.status == 503:
        time.sleep(_PAUSE_SECONDS)
        return "told to come again", body
    return f"status {response.status}", body


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
