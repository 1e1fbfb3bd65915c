"""Very many requests of all kinds, good and bad ones, alone and over connections that stay open: does memory stay as it is, and
what failed.

Most kinds are one request, whose answer has to be the same each time. Others are invented anew each time, since a cache without a
bound would not grow by what it knows already.
"""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from random import Random
from statistics import linear_regression
from typing import NamedTuple

from tests import invented_requests as invented
from tests.benchmarks import books
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
_BYTES_IN_KB, _BYTES_IN_MB = 1_000, 1_000_000
_MOST_GROWTH_MB = 2.0
_MOST_SLOPE_KB = 100.0
_LOOKS = 40
_SETTLED_LOOKS = 20
"""After these the caches with a bound are full, and the memory has been written to that was shared before: growth and slope count
from here."""
_SHOWN_LOOKS = 4
_GLANCES, _GLANCE_SECONDS = 5, 0.2
"""A look is the least of some glances, so that a plan under way does not count."""


class Kind(NamedTuple):
    """A request, the status that it must have, and how often in a thousand it is sent; ``invent`` makes the body anew each time,
    and then the rules may refuse it as well."""

    method: str
    path: str
    body: bytes | None
    media_type: str
    status: int
    often: int
    invent: Callable[[Random], bytes] | None = None


def _example(name: str) -> bytes:
    return (_EXAMPLES / f"{name}.json").read_bytes()


def _book() -> bytes:
    quote = json.loads(_example("first-ufpls"))
    return b"".join(json.dumps({"id": number, "request": quote}).encode() + b"\n" for number in range(20))


def _plain_plan(random: Random) -> bytes:
    """With a rise in prices of its own, since the rules of later years are kept by it."""
    asked = invented.plan(random) | {"aim": {"goal": random.choice(invented.PLAIN_AIMS)}}
    if "assumptions" in asked:
        asked["assumptions"] |= {
            "price_inflation": round(random.uniform(0.01, 0.04), 4),
            "thresholds_after_freeze": "prices",
        }
    return json.dumps(asked).encode()


def _invented_book(random: Random) -> bytes:
    return books.lines(20, seed=random.randrange(1 << 30))


def _by(request: Callable[[Random], invented.JsonObject]) -> Callable[[Random], bytes]:
    return lambda random: json.dumps(request(random)).encode()


def _spoiled(random: Random) -> bytes:
    return invented.spoiled(random, invented.withdrawal(random)).encode()


def kinds() -> dict[str, Kind]:
    """All of them by name."""
    quote, tax, plan = _example("first-ufpls"), "/v1/withdrawal-tax", "/v1/allowance-schedule"
    return {
        "quote": Kind("POST", tax, quote, _JSON, 200, 180),
        "quote for a net": Kind("POST", tax, _example("net-wanted-for-isa"), _JSON, 200, 80),
        "invented quote": Kind("POST", tax, None, _JSON, 200, 270, _by(invented.withdrawal)),
        "quote with all": Kind("POST", f"{tax}?include=working,curve", _example("whole-pot-with-child-benefit"), _JSON, 200, 130),
        "warnings": Kind("POST", "/v1/warnings", _example("warnings-saves-and-withdraws"), _JSON, 200, 30),
        "invented warnings": Kind("POST", "/v1/warnings", None, _JSON, 200, 50, _by(invented.warnings)),
        "plain plan": Kind("POST", plan, _example("plan-personal-allowance"), _JSON, 200, 40),
        "invented plain plan": Kind("POST", plan, None, _JSON, 200, 20, _plain_plan),
        "best plan": Kind("POST", plan, _example("plan-couple-most-after-tax"), _JSON, 200, 5),
        "timing": Kind("POST", "/v1/lump-sum-timing", _example("timing-before-and-after-april-2027"), _JSON, 200, 10),
        "bulk": Kind("POST", "/v1/bulk/withdrawal-tax", _book(), _NDJSON, 200, 5),
        "invented bulk": Kind("POST", "/v1/bulk/withdrawal-tax", None, _NDJSON, 200, 10, _invented_book),
        "tax year": Kind("GET", "/v1/tax-years/2026-27", None, _JSON, 200, 20),
        "health": Kind("GET", "/health/live", None, _JSON, 200, 50),
        "not JSON": Kind("POST", tax, quote[:-20], _JSON, 400, 25),
        "not valid": Kind("POST", tax, quote.replace(b'"england"', b'"englnd"'), _JSON, 422, 20),
        "invented and spoiled": Kind("POST", tax, None, _JSON, 200, 20, _spoiled),
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
        looks: list[_Look] = []
        with _clients(ports, sizes.soak) as (done, told):
            for number in range(1, _LOOKS + 1):
                if done[0] >= sizes.soak and len(looks) > 1:
                    break
                share = number / _LOOKS
                _await(done, round(share * sizes.soak), begun + share * 60 * sizes.soak_minutes)
                looks.append(_look(server, done[0]))
                progress(f"soak: {done[0]:,} requests, resident MB {_in_mb(looks[-1].resident)}")
        looks.append(_look(server, done[0]))
        seconds = time.monotonic() - begun
        if server.workers() != workers:
            raise MeasurementError("a worker was replaced")
    settled, last = looks[_SETTLED_LOOKS - 1 :] or looks[-1:], looks[-1]
    memory = [
        (
            f"{look.requests:,}",
            *map(_in_mb, zip(look.private, strict=True)),
            *map(_in_mb, zip(look.resident, strict=True)),
        )
        for number, look in enumerate(looks, 1)
        if number in (1, len(looks)) or number % _SHOWN_LOOKS == 0
    ]
    growth = max(end - start for start, end in zip(settled[0].private, last.private, strict=True)) / _BYTES_IN_MB
    slopes = [
        _slope([(look.requests, look.resident[worker]) for look in settled]) * 100_000 / _BYTES_IN_KB
        for worker in range(WORKERS)
    ]
    failures = {what: number for what, number in told.items() if not what.endswith(_GOOD)}
    rows = [(what, f"{number:,}") for what, number in sorted(told.items())]
    each = range(1, WORKERS + 1)
    heads = (
        "after requests",
        *(f"private {number}, MB" for number in each),
        *(f"resident {number}" for number in each),
    )
    text = (
        f"Soak: {sum(told.values()):,} requests in {seconds:,.0f} s, {WORKERS} workers, "
        f"{'half through the proxy' if len(ports) > 1 else 'no proxy here'}\n\n"
        + table(heads, memory)
        + f"\n\nSlope of the second half, KB in 100,000 requests: {', '.join(f'{slope:.0f}' for slope in slopes)}\n\n"
        + table(("what came of a request", "how many"), rows)
    )
    goals = (
        Goal("soak: failures", sum(failures.values()), 0),
        Goal("soak: growth of the worker that grew most, in the second half", growth, _MOST_GROWTH_MB, " MB"),
        Goal("soak: growth in 100,000 requests, in the second half", max(slopes), _MOST_SLOPE_KB, " KB"),
    )
    return Part(text, goals)


class _Look(NamedTuple):
    """At the memory of each worker, after so many requests of all: bytes that are its own alone, and all that it uses. What was
    shared with the parent process and is written to becomes its own, which is no growth of the second."""

    requests: int
    private: tuple[int, ...]
    resident: tuple[int, ...]


def _look(server: Server, requests: int) -> _Look:
    private, resident = [], []
    for _ in range(_GLANCES):
        private.append(server.private_bytes())
        resident.append(server.resident_bytes())
        time.sleep(_GLANCE_SECONDS)
    return _Look(requests, tuple(map(min, zip(*private, strict=True))), tuple(map(min, zip(*resident, strict=True))))


def _in_mb(of: Sequence[int]) -> str:
    return ", ".join(f"{each / _BYTES_IN_MB:.1f}" for each in of)


def _slope(points: Sequence[tuple[int, int]]) -> float:
    """Of the line through the points by least squares; 0 where all are in one place."""
    if len({x for x, _ in points}) < 2:
        return 0.0
    return linear_regression(*zip(*points, strict=True)).slope


_RIGHT = "as it should be"
_REFUSED = (400, 422)
_GOOD = (f": {_RIGHT}", ": refused", ": told to come again")


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
            kind = there_are[name]
            outcome, body = _asked(connection, kind if kind.invent is None else kind._replace(body=kind.invent(chance)))
            if kind.invent is None and outcome == _RIGHT and body != expected.setdefault(name, body):
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
    headers = {"Content-Type": kind.media_type} if kind.body is not None else {}
    try:
        connection.request(kind.method, kind.path, kind.body, headers)
        response = connection.getresponse()
        body = response.read()
    except (OSError, http.client.HTTPException) as error:
        connection.close()
        return type(error).__name__, b""
    if response.status == kind.status:
        return _RIGHT, body
    if kind.invent is not None and response.status in _REFUSED:
        return "refused", body
    if response.status == 503:
        time.sleep(_PAUSE_SECONDS)
        return "told to come again", body
    return f"status {response.status}", body


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
