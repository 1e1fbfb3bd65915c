"""Measure the service on this machine and say which of its goals it meets.

    python -m tests.benchmarks [--part http|rules|plans|timing|markets|costly|bulk|crowd|slow|greedy|start|load|soak|all]
                               [--rounds 7] [--seconds 2] [--records 100000] [--couples 200]
                               [--requests 1000000] [--minutes 60] [--smallest]

Run it from the top of the repository with the service's dependencies installed, on Linux, on a machine that does
nothing else. Nothing leaves the machine: servers listen on the loopback address, on free ports, and are stopped again.

http    The service as shipped, with two workers, against the least that Flask can do on the same server: one route
        that reads nothing and returns the very bytes and headers of the service's answer. A load generator keeps 32
        requests under way, each on a new connection, as the server closes every connection. The two take turns, so
        that whatever else the machine does meets both. Every reply is compared with the expected one: one wrong reply
        stops the measurement. The generator shares the processors with the servers, which brings the two rates a
        little closer to each other; the processor time that the workers spend on a request is free of that.
rules   Processor time of one evaluation of the rules (liability), of a tax curve (tax_curve) and of a whole quote
        (quote), for the example requests and for invented households, the same ones every time. And how often a
        gross-up asks the rules until it has found the gross amount.
plans   The plain aims for a couple over forty years, in withdrawal quotes; and for 200 invented couples over forty years
        the processor milliseconds of the best plan by each effort, those of them in the solver alone, and the gap to its
        bound; the same where cash earns nothing; and how much less a quick plan leaves than the thorough one. ``--couples``
        of them: all take most of an hour, twenty a few minutes.
timing  Lump sum timing for 40 invented couples over forty years, six options and two deaths, beside six schedules that fill
        the personal allowance for the same couple.
markets Processor seconds for a plain aim on 1,000 courses of markets, for 8 invented couples over thirty years, as they are and
        where spending needs more than the aim draws in nearly every year; and the memory that this takes.
costly  Processor time of the costliest requests that were ever found (tests/costliest.py), each alone.
bulk    Processor time for each record of an invented book, beside what a general JSON library takes for the same bytes,
        which is the limit; where the time goes; an all-bad book. Then over HTTP, with one worker more than processors:
        ``--records`` of them in chunks, two clients beside one, the memory that workers gain, and the waiting time of
        single quotes while a bulk is under way.
crowd   Quotes and health checks, one after the other, alone and while 3 and 10 clients ask again and again for plans that take
        long, with three workers; who is told to come again does so after a hundredth of a second.
slow    The same beside clients that connect and send nothing, send a head or a body by a byte a second, or do not read their
        answer: 3, 30 and 200 of each kind, with three workers and no proxy.
greedy  The same beside 3 and 10 clients that ask for costly things as fast as they are answered: plans of which one kept a
        worker for minutes once, the costliest quote known, bodies of blank lines, packed and as they are.
start   Seconds from starting the process to the end of its first answer, and the memory each worker shares with no
        other process (Private_Clean and Private_Dirty of smaps_rollup; 1 MB is 1,000,000 bytes).
load    Quotes by a general tool (wrk) with 1, 8, 32 and 128 connections, bare and through the proxy (nginx), with three
        workers: throughput, p50, p99, and every answer that was not a 200. Without the tools it cannot be measured.
soak    Not among ``all``: ``--requests`` of all kinds, bad ones among them, half bare and half through the proxy over connections
        that stay open. What came of each, each answer compared with the first of its kind, and the workers' private memory.

``--seconds`` is the length of a round of http on each server; each measure of rules takes a tenth of it in a round.
``--smallest`` runs each part with the least it can have, to see that it runs; what it prints says nothing about the service.

Only ratios and counts mean the same on another machine; rates and times do not.

Exit status: 0 when everything was measured, goals met or missed; 1 when a server did not do what it was asked.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
from collections.abc import Callable
from dataclasses import replace
from importlib.metadata import version

from tests.benchmarks import (
    answering,
    beside,
    bulk,
    costly,
    crowd,
    markets,
    options,
    plans,
    rules,
    soak,
    starting,
    throughput,
)
from tests.benchmarks.processes import MeasurementError
from tests.benchmarks.report import Goal, Part, say, table
from tests.benchmarks.sizes import SMALLEST, Sizes

PARTS: dict[str, Callable[[Sizes], Part]] = {
    "http": answering.measure,
    "rules": rules.measure,
    "plans": plans.measure,
    "timing": options.measure,
    "markets": markets.measure,
    "costly": costly.measure,
    "bulk": bulk.measure,
    "crowd": crowd.measure,
    "slow": beside.measure_slow,
    "greedy": beside.measure_greedy,
    "start": starting.measure,
    "load": throughput.measure,
    "soak": soak.measure,
}
NOT_AMONG_ALL = ("soak",)


def main() -> int:
    """Measure the parts asked for, print each as it is done, then the goals; returns the exit status."""
    arguments = _arguments()
    asked = replace(
        Sizes(),
        rounds=arguments.rounds,
        seconds=arguments.seconds,
        records=arguments.records,
        planning_couples=arguments.couples,
        soak=arguments.requests,
        soak_minutes=arguments.minutes,
    )
    sizes = SMALLEST if arguments.smallest else asked
    say(_machine())
    goals: list[Goal] = []
    try:
        all_parts = [part for part in PARTS if part not in NOT_AMONG_ALL]
        for part in all_parts if arguments.part == "all" else (arguments.part,):
            found = PARTS[part](sizes)
            say(found.text)
            goals.extend(found.goals)
    except MeasurementError as error:
        sys.stderr.write(f"Nothing can be said: {error}.\n")
        return 1
    say("Goals\n\n" + table(("verdict", "what", "measured", "goal"), [goal.row() for goal in goals], left=4))
    return 0


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description="Measure the service.")
    parser.add_argument("--part", choices=(*PARTS, "all"), default="all", help="what to measure")
    parser.add_argument("--rounds", type=_rounds, default=7, help="rounds of which the median counts")
    parser.add_argument("--seconds", type=_seconds, default=2.0, help="length of a round, at most 60")
    parser.add_argument("--records", type=_records, default=100_000, help="records sent in bulk over HTTP")
    parser.add_argument("--couples", type=_couples, default=200, help="couples whose best plans are looked for")
    parser.add_argument("--requests", type=_requests, default=1_000_000, help="requests of the soak")
    parser.add_argument("--minutes", type=_minutes, default=60.0, help="after which the soak ends even so")
    parser.add_argument("--smallest", action="store_true", help="only see that every part runs")
    return parser.parse_args()


def _rounds(text: str) -> int:
    rounds = int(text)
    if not 1 <= rounds <= 100:
        raise argparse.ArgumentTypeError("must be a whole number from 1 to 100")
    return rounds


def _records(text: str) -> int:
    records = int(text)
    if not 10_000 <= records <= 10_000_000:
        raise argparse.ArgumentTypeError("must be a whole number from 10,000 to 10,000,000")
    return records


def _couples(text: str) -> int:
    couples = int(text)
    if not 1 <= couples <= 1_000:
        raise argparse.ArgumentTypeError("must be a whole number from 1 to 1,000")
    return couples


def _requests(text: str) -> int:
    requests = int(text)
    if not 1_000 <= requests <= 100_000_000:
        raise argparse.ArgumentTypeError("must be a whole number from 1,000 to 100,000,000")
    return requests


def _minutes(text: str) -> float:
    minutes = float(text)
    if not 0 < minutes <= 1_440:
        raise argparse.ArgumentTypeError("must be more than 0 and at most 1,440")
    return minutes


def _seconds(text: str) -> float:
    seconds = float(text)
    if not 0 < seconds <= 60:
        raise argparse.ArgumentTypeError("must be more than 0 and at most 60")
    return seconds


def _machine() -> str:
    packages = ", ".join(f"{name} {version(name)}" for name in ("flask", "gunicorn", "marshmallow", "msgspec"))
    busy = os.getloadavg()[0]
    return (
        f"Python {platform.python_version()}, {packages}; {os.cpu_count()} processors, load {busy:.1f} before the "
        "measurement."
    )


if __name__ == "__main__":
    sys.exit(main())
