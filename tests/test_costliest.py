"""The search for the costliest request finds valid ones, notices one that is too much, and changes requests in the same ways
each time."""

from __future__ import annotations

import json
import subprocess
import sys
from random import Random

import pytest

from tests.asking import TOP, Asker
from tests.benchmarks import costly
from tests.benchmarks.crowd import PLAN
from tests.costliest import OPERATIONS, Candidate, Changer, seeds_of

QUOTE = json.loads((TOP / "examples" / "requests" / "first-ufpls.json").read_text("utf-8"))


def test_a_request_that_takes_too_much_is_ended_and_the_next_is_answered() -> None:
    with Asker(0.1) as asker:
        assert asker.ask("/v1/allowance-schedule", json.loads(PLAN)) == (0.1, None, 0)
        quote = asker.ask("/v1/withdrawal-tax", QUOTE)
    assert quote.status == 200
    assert quote.seconds < 0.1
    assert quote.bytes > 1_000


@pytest.mark.parametrize("name", OPERATIONS)
def test_the_same_seed_makes_the_same_changes(name: str) -> None:
    operation = OPERATIONS[name]
    seeds = seeds_of(operation, [])
    assert seeds

    def changes() -> list[Candidate]:
        changer = Changer(operation, seeds, Random(3))
        made = [Candidate("", seeds[0])]
        for _ in range(60):
            made.append(changer.changed(made[-1], made))
        return made

    first = changes()
    assert first == changes()
    assert len({json.dumps(each) for each in first}) > 30


def test_the_search_prints_the_worst_first() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.costliest", "warnings", "--seconds", "4", "--keep", "3"],
        cwd=TOP,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    found = json.loads(done.stdout)
    worst = [find["seconds"] for find in found["worst"]]
    assert worst == sorted(worst, reverse=True)
    assert len(worst) == 3
    assert found["tried"] >= found["answered"] > 3
    assert (found["ended"], found["failed"]) == (0, [])
    with Asker(10) as asker:
        assert [asker.ask("/v1/warnings", find["request"]).status for find in found["worst"]] == [200, 200, 200]


def test_every_find_that_is_kept_is_valid_and_belongs_to_a_goal() -> None:
    kinds = set()
    with Asker(60) as asker:
        for path in costly.FOLDER.glob("*.json"):
            find = json.loads(path.read_text("utf-8"))
            kinds.add(costly.kind_of(find))
            if find["request"].get("search", {}).get("effort") != "thorough":
                cost = asker.ask(f"/v1/{find['operation']}{find['query']}", find["request"])
                assert cost.status == 200, path.name
    assert kinds == set(costly.LIMITS)
