"""Every measurement runs to its end, at its smallest; what it measures then says nothing."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.benchmarks.__main__ import PARTS
from tests.benchmarks.processes import TOP
from tests.benchmarks.proxy import NGINX
from tests.benchmarks.throughput import WRK


def output_of(*arguments: str) -> str:
    """What a program of this folder prints; it has to end well."""
    done = subprocess.run(
        [sys.executable, "-m", *arguments], cwd=TOP, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


HERE = [part for part in PARTS if part != "load" or (WRK is not None and NGINX is not None)]
"""The parts that can be measured here: load needs tools that are no packages of Python's."""


@pytest.mark.parametrize("part", HERE)
def test_a_part(part: str) -> None:
    measured, _, goals = output_of("tests.benchmarks", "--smallest", "--part", part).partition("\nGoals\n")
    assert measured.count("\n|") > 2
    assert goals.count("| met ") + goals.count("| MISSED ") > 0


def test_side_by_side() -> None:
    printed = output_of("tests.benchmarks.side_by_side", str(TOP), str(TOP), "--smallest")
    assert "The answers are the same. Requests refused and left out: 0." in printed
    assert printed.count("\n| ") == 12
