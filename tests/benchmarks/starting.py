"""How soon the service gives its first reply, and the memory its workers keep to themselves."""

from __future__ import annotations

import time
from statistics import median

from tests.benchmarks.processes import EXAMPLES, Server, ask, post, put_load, service
from tests.benchmarks.report import Goal, Part, progress, table
from tests.benchmarks.sizes import Sizes

LONGEST_START_SECONDS = 0.5
MOST_PRIVATE_MB = 15
_BYTES_IN_MB = 1_000_000


def measure(sizes: Sizes) -> Part:
    """The median of some starts, after one that does not count, and the workers' private memory after some requests."""
    progress("start")
    seconds = [_first_reply() for _ in range(1 + sizes.starts)][1:]
    with service() as server:
        server.await_workers()
        _answer_many(server, sizes.requests)
        private = [each / _BYTES_IN_MB for each in server.private_bytes()]
    rows = [
        ("first reply, seconds", f"{median(seconds):.3f}", ", ".join(f"{each:.3f}" for each in seconds)),
        (
            f"private memory of a worker after {sizes.requests:,} requests, MB",
            f"{max(private):.1f}",
            ", ".join(f"{each:.1f}" for each in private),
        ),
    ]
    goals = (
        Goal("start to first reply", median(seconds), LONGEST_START_SECONDS, " s"),
        Goal("private memory of the largest worker", max(private), MOST_PRIVATE_MB, " MB"),
    )
    return Part("Start\n\n" + table(("measure", "value", "each"), rows), goals)


def _first_reply() -> float:
    """Seconds from starting the process to the end of its first reply, a quote."""
    request = post(EXAMPLES[0].read_bytes())
    begun = time.perf_counter()
    with service() as server:
        ask(server.port, request)
        return time.perf_counter() - begun


def _answer_many(server: Server, requests: int) -> None:
    """Have every example request answered equally often, so many times in all or just over."""
    for example in EXAMPLES:
        request = post(example.read_bytes())
        reply = ask(server.port, request)
        put_load(server.port, request, reply, seconds=60, most=-(-requests // len(EXAMPLES)))
