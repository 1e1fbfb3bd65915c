"""The program that makes and checks records, against a service that runs."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from .conftest import TOP, Service

EXAMPLES = TOP / "examples"


def run(*arguments: str | Path) -> tuple[int, str]:
    """The program's exit status, and what it prints."""
    done = subprocess.run(
        [sys.executable, str(EXAMPLES / "record.py"), *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(TOP)},
    )
    return done.returncode, (done.stdout + done.stderr).strip()


@pytest.mark.parametrize("name", ["first-ufpls", "plan-personal-allowance", "warnings-saves-and-withdraws"])
def test_a_record_is_made_and_checked(service: Service, tmp_path: Path, name: str) -> None:
    out = tmp_path / "record.html"
    assert run(EXAMPLES / "requests" / f"{name}.json", out, service.url) == (0, "")
    assert run("--check", out, service.url) == (0, "The record is sound.")
    assert run("--check", out) == (0, "The record is sound.")
    out.write_text(out.read_text("utf-8").replace("advice", "a promise"), "utf-8")
    status, said = run("--check", out)
    assert status == 1
    assert "The page is not what" in said


def test_it_says_what_is_wrong(service: Service, tmp_path: Path) -> None:
    out, broken = tmp_path / "record.html", tmp_path / "broken.json"
    broken.write_text("{", "utf-8")
    assert run(tmp_path / "none.json", out, service.url) == (1, f"{tmp_path / 'none.json'}: No such file or directory.")
    assert run(broken, out, service.url) == (1, f"{broken} is not JSON.")
    status, said = run(EXAMPLES / "requests" / "plan-spending-too-high.json", out, service.url)
    assert status == 1
    assert "#/" in said
    assert not out.exists()
    nobody = "No service answers at http://127.0.0.1:1. Start it first; README.md says how."
    assert run(EXAMPLES / "requests" / "first-ufpls.json", out, "http://127.0.0.1:1") == (1, nobody)
