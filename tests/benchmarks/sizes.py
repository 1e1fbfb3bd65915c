"""How much is measured: whole, or the least with which every part runs to its end."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sizes:
    """``rounds`` and the ``seconds`` of each are those of http and, for a tenth of the time, of rules; ``records`` go in bulk
    over HTTP, in chunks of ``chunk``. Then, part by part: examples of http and requests before it counts; households of rules
    that are timed, and whose evaluations are counted; couples of plans and of timing; couples of markets and their paths; records
    timed without HTTP; costliest requests; clients with plans, slow ones and greedy ones beside quotes; starts that count and
    requests before a worker's memory is looked at; requests of the soak, and the
    minutes after which it ends even so; connections of load."""

    rounds: int = 7
    seconds: float = 2.0
    records: int = 100_000
    examples: int = 4
    warm_up_requests: int = 500
    timed_households: int = 200
    counted_households: int = 2_000
    planning_couples: int = 200
    timing_couples: int = 40
    market_couples: int = 8
    market_paths: int = 1_000
    timed_records: int = 3_000
    chunk: int = 10_000
    costly: int = 1_000
    crowds: tuple[int, ...] = (0, 3, 10)
    slow: tuple[int, ...] = (3, 30, 200)
    greedy: tuple[int, ...] = (3, 10)
    starts: int = 5
    requests: int = 1_000
    soak: int = 1_000_000
    soak_minutes: float = 60
    connections: tuple[int, ...] = (1, 8, 32, 128)


SMALLEST = Sizes(
    rounds=1,
    seconds=0.2,
    records=200,
    examples=1,
    warm_up_requests=20,
    timed_households=5,
    counted_households=20,
    planning_couples=2,
    timing_couples=1,
    market_couples=1,
    market_paths=4,
    timed_records=50,
    chunk=100,
    costly=1,
    crowds=(0, 1),
    slow=(3,),
    greedy=(1,),
    starts=1,
    requests=30,
    soak=400,
    soak_minutes=2,
    connections=(2,),
)
"""Too little to say anything about the service; enough to see that the measurements work."""
