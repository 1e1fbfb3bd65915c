"""How fast the service answers, beside a constant reply from the same server."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from statistics import median

from tests.benchmarks.processes import (
    CONNECTIONS,
    EXAMPLES,
    WORKERS,
    MeasurementError,
    Reply,
    Server,
    ask,
    constant,
    post,
    put_load,
    service,
)
from tests.benchmarks.report import Goal, Part, progress, table
from tests.benchmarks.sizes import Sizes

LEAST_RATIOS = {"first-ufpls": 0.65, "net-wanted-for-isa": 0.55, "whole-pot-with-child-benefit": 0.65}
LEAST_RATIO, AIM_RATIO = 0.6, 0.8
LARGEST_SPREAD = 2.5


@dataclass(frozen=True, slots=True)
class Round:
    """One round on one server: requests a second, milliseconds, and microseconds of processor time a request."""

    rate: float
    p50: float
    p99: float
    server_cpu: float
    generator_cpu: float


def measure(sizes: Sizes) -> Part:
    """The example requests, the reply to each from the service and as a constant in turns."""
    rows: list[tuple[str, ...]] = []
    goals: list[Goal] = []
    with service() as real:
        real.await_workers()
        for example in EXAMPLES[: sizes.examples]:
            progress(f"http: {example.stem}")
            fixed_rounds, real_rounds = _in_turns(real, example, sizes)
            ratio = median(a.rate / b.rate for a, b in zip(real_rounds, fixed_rounds, strict=True))
            cpu_ratio = median(a.server_cpu / b.server_cpu for a, b in zip(fixed_rounds, real_rounds, strict=True))
            spread = median(each.p99 / each.p50 for each in real_rounds)
            rows.append(_row(f"{example.stem}: constant", fixed_rounds, 1.0, 1.0))
            rows.append(_row(f"{example.stem}: service", real_rounds, ratio, cpu_ratio))
            least = LEAST_RATIOS.get(example.stem, LEAST_RATIO)
            goals.append(Goal(f"http {example.stem}, share of constant", ratio, least, at_least=True, aim=AIM_RATIO))
            goals.append(Goal(f"http {example.stem}, p99 / p50", spread, LARGEST_SPREAD))
    headings = ("request", "req/s", "ratio", "p50 ms", "p99 ms", "p99/p50", "server us", "us ratio", "generator us")
    text = (
        f"HTTP: {CONNECTIONS} connections, {WORKERS} workers, {sizes.rounds} rounds of {sizes.seconds:g} s each in turns; "
        "medians of the rounds.\nServer and generator us are processor time for each request; us ratio is the constant's "
        "server us to the row's.\n\n"
    )
    return Part(text + table(headings, rows), tuple(goals))


def _in_turns(real: Server, example: Path, sizes: Sizes) -> tuple[list[Round], list[Round]]:
    request = post(example.read_bytes())
    reply = ask(real.port, request)
    found: tuple[list[Round], list[Round]] = ([], [])
    with constant(reply.headers, reply.body) as fixed:
        fixed.await_workers()
        copy = ask(fixed.port, request)
        if (len(copy.whole), copy.header_names, copy.body) != (len(reply.whole), reply.header_names, reply.body):
            raise MeasurementError("the constant reply differs from the service's")
        for server in (fixed, real):
            put_load(server.port, request, reply, seconds=sizes.seconds, most=sizes.warm_up_requests)
        for number in range(sizes.rounds):
            order = (0, 1) if number % 2 == 0 else (1, 0)
            for which in order:
                found[which].append(_round((fixed, real)[which], request, reply, sizes.seconds))
    return found


def _round(server: Server, request: bytes, reply: Reply, seconds: float) -> Round:
    workers, cpu_before = server.workers(), server.cpu_seconds()
    outcome = put_load(server.port, request, reply, seconds=seconds)
    cpu = server.cpu_seconds() - cpu_before
    if server.workers() != workers:
        raise MeasurementError("a worker was replaced during a round")
    count = outcome.requests
    return Round(
        rate=count / outcome.seconds,
        p50=outcome.p50 * 1_000,
        p99=outcome.p99 * 1_000,
        server_cpu=cpu * 1_000_000 / count,
        generator_cpu=outcome.cpu * 1_000_000 / count,
    )


def _row(name: str, rounds: list[Round], ratio: float, cpu_ratio: float) -> tuple[str, ...]:
    return (
        name,
        f"{median(each.rate for each in rounds):,.0f}",
        f"{ratio:.2f}",
        f"{median(each.p50 for each in rounds):.1f}",
        f"{median(each.p99 for each in rounds):.1f}",
        f"{median(each.p99 / each.p50 for each in rounds):.2f}",
        f"{median(each.server_cpu for each in rounds):.0f}",
        f"{cpu_ratio:.2f}",
        f"{median(each.generator_cpu for each in rounds):.0f}",
    )
