"""Two checkouts of the service timed side by side on this machine: processor time of the same questions, asked in turns.

    python -m tests.benchmarks.side_by_side OLD_CHECKOUT NEW_CHECKOUT [--rounds 5] [--smallest]

Each checkout works in a process of its own, made ready before the first round; one at a time is at work, in short turns, and
which of the two begins changes each time, so that whatever else the machine does meets both. The first round is not counted.
What is quickly answered has several turns in a round. Single
requests are given straight to the application, without a server or a client; the book to ``calculator``. First both answer
everything once: what either refuses is not timed, and whether the answers are the same is told.

The least of the turns is the nearest to the truth, as anything else can only add to a time; the median shows how steady it is.
Only the ratios mean the same on another machine. ``--smallest`` is one round of the least that can be asked, to see that it runs.

Exit status: 0 when everything was measured; 2 when a checkout could not answer.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from statistics import median
from typing import Any

from tests.benchmarks import books
from tests.benchmarks.households import couple, timing_of
from tests.benchmarks.report import progress, say, table
from tests.invented_requests import PLAIN_AIMS
from tests.same_answers import NDJSON, PLAN, TIMING, WARNINGS, WITHDRAWAL, Asked, answers, started

_TOP = Path(__file__).parents[2]
_QUOTES = ("first-ufpls", "net-wanted-for-isa", "whole-pot-with-child-benefit")
_WARNINGS = "warnings-saves-and-withdraws"


@dataclass(frozen=True, slots=True)
class Sizes:
    """How often a single request is asked in a turn, how many records, plans and comparisons there are, and how many turns
    the quick ones have in a round."""

    quotes: int = 100
    warnings: int = 50
    plain: int = 10
    records: int = 3_000
    best_plans: int = 20
    timings: int = 5
    turns: int = 5


SMALLEST = Sizes(quotes=1, warnings=1, plain=1, records=10, best_plans=1, timings=1, turns=1)


@dataclass(frozen=True, slots=True)
class Task:
    """What is timed: requests that are asked ``repeat`` times over, or the body of a bulk request for ``calculator``; and the
    turns of it in a round."""

    asked: tuple[Asked, ...]
    repeat: int = 1
    turns: int = 1

    @property
    def count(self) -> int:
        """How many answers one run of it makes."""
        return self.repeat * sum(each.body.count("\n") if each.media_type == NDJSON else 1 for each in self.asked)

    def told(self) -> dict[str, Any]:
        """The task as the program that runs it takes it."""
        if self.asked[0].media_type == NDJSON:
            return {"book": self.asked[0].body, "operation": self.asked[0].path.rpartition("/")[2]}
        return {"requests": [each.told() for each in self.asked], "repeat": self.repeat}


def tasks(sizes: Sizes) -> dict[str, Task]:
    """Everything that is timed, by name."""
    turns = sizes.turns
    found = {f"quote {name}": Task((_example(WITHDRAWAL, name),), sizes.quotes, turns) for name in _QUOTES}
    whole = _example(WITHDRAWAL, _QUOTES[0], "include=working,curve")
    found[f"quote {_QUOTES[0]} with working and curve"] = Task((whole,), sizes.quotes, turns)
    found[_WARNINGS] = Task((_example(WARNINGS, _WARNINGS),), sizes.warnings, turns)
    book = Asked(
        "", f"/v1/bulk{WITHDRAWAL.removeprefix('/v1')}", books.lines(sizes.records).decode(), media_type=NDJSON
    )
    found["a record of a book, in bulk"] = Task((book,))
    for aim in PLAIN_AIMS:
        found[f"plan {aim}, a couple"] = Task((_plan(7, aim),), sizes.plain, turns)
    found["plan most_after_tax, couples"] = Task(
        tuple(_plan(seed, "most_after_tax") for seed in range(sizes.best_plans))
    )
    found["lump sum timing, couples"] = Task(tuple(_timing(seed) for seed in range(sizes.timings)))
    return found


def _example(path: str, name: str, query: str = "") -> Asked:
    return Asked("", path, (_TOP / "examples" / "requests" / f"{name}.json").read_text(encoding="utf-8"), query)


def _plan(seed: int, goal: str) -> Asked:
    return Asked("", PLAN, json.dumps(couple(Random(seed), goal)))


def _timing(seed: int) -> Asked:
    return Asked("", TIMING, json.dumps(timing_of(couple(Random(seed), PLAIN_AIMS[0]))))


def answered(checkouts: tuple[Path, Path], asked: dict[str, Task], folder: Path) -> tuple[dict[str, Task], int, int]:
    """The tasks without what either checkout refuses; how many requests were refused, and how many answered differently."""
    every = [each for task in asked.values() for each in task.asked]
    old, new = answers(checkouts, every, folder)
    refused = {each for each, *both in zip(every, old, new, strict=True) if any(one.status != 200 for one in both)}
    differing = sum(not one.same_as(other) for one, other in zip(old, new, strict=True))
    kept = {
        name: replace(task, asked=left)
        for name, task in asked.items()
        if (left := tuple(each for each in task.asked if each not in refused))
    }
    return kept, len(refused), differing


def measured(
    checkouts: tuple[Path, Path], timed: dict[str, Task], rounds: int, folder: Path
) -> dict[str, list[list[float]]]:
    """Processor seconds of each task in each turn, those of the old and those of the new checkout."""
    file = folder / "tasks.json"
    file.write_text(json.dumps({name: task.told() for name, task in timed.items()}), encoding="utf-8")
    found: dict[str, list[list[float]]] = {name: [[], []] for name in timed}
    with _at_work(checkouts[0], file) as old, _at_work(checkouts[1], file) as new:
        for number in range(rounds + 1):
            progress(f"round {number} of {rounds}")
            for name, task in timed.items():
                for turn in range(task.turns):
                    for which in (0, 1) if (number + turn) % 2 == 0 else (1, 0):
                        seconds = _run((old, new)[which], name)
                        if number:
                            found[name][which].append(seconds)
    return found


@contextmanager
def _at_work(checkout: Path, file: Path) -> Iterator[subprocess.Popen[str]]:
    process = started(checkout, "times", file, stdout=subprocess.PIPE)
    try:
        yield process
    finally:
        _, errors = process.communicate()
        if process.returncode != 0:
            sys.stderr.write(f"{checkout} could not answer:\n{errors[-3_000:]}\n")


def _run(process: subprocess.Popen[str], name: str) -> float:
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(name + "\n")
    process.stdin.flush()
    line = process.stdout.readline()
    if not line:
        raise SystemExit(2)
    return float(line)


def _row(name: str, task: Task, old: list[float], new: list[float]) -> tuple[str, ...]:
    each = 1_000_000 / task.count
    numbers = (min(old), min(new), median(old), median(new))
    times = [f"{each * seconds:,.0f}" for seconds in numbers]
    return name, *times[:2], f"{min(new) / min(old):.3f}", *times[2:], f"{median(new) / median(old):.3f}"


def main() -> int:
    """Measure, and print a row for each task; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.side_by_side", description="Time two checkouts.")
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--rounds", type=int, choices=range(1, 101), metavar="1..100", default=5)
    parser.add_argument("--smallest", action="store_true", help="one round of the least that can be asked")
    arguments = parser.parse_args()
    checkouts = (arguments.old.resolve(), arguments.new.resolve())
    rounds = 1 if arguments.smallest else arguments.rounds
    with tempfile.TemporaryDirectory() as name:
        timed, refused, differing = answered(checkouts, tasks(SMALLEST if arguments.smallest else Sizes()), Path(name))
        found = measured(checkouts, timed, rounds, Path(name))
    said = "The answers are the same." if not differing else f"{differing} answers differ."
    heads = ("what", "old us", "new us", "new/old", "old us, median", "new us, median", "new/old, median")
    say(
        f"Microseconds of processor time for each answer, the least and the median of all turns. Rounds: {rounds}. {said} "
        f"Requests refused and left out: {refused}."
    )
    say(table(heads, [_row(each, timed[each], *times) for each, times in found.items()]))
    return 0


if __name__ == "__main__":
    sys.exit(main())
