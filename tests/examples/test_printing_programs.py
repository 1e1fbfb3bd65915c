"""What the programs that print a plan or a comparison say where they cannot print one: a single clear line."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "examples"
REQUESTS = {"plan": "plan-personal-allowance.json", "timing": "timing-couple.json"}
PROGRAMS = pytest.mark.parametrize("name", REQUESTS)


def said(name: str, *arguments: str) -> tuple[int, list[str]]:
    """Run a program with arguments; its exit status and all lines that it prints."""
    command = [sys.executable, str(EXAMPLES / f"{name}.py"), *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return done.returncode, (done.stdout + done.stderr).splitlines()


@PROGRAMS
def test_help_says_how_to_call_it(name: str) -> None:
    use = [f"python examples/{name}.py REQUEST.json [http://127.0.0.1:8000]"]
    assert said(name, "--help") == (0, use)
    assert said(name) == (1, use)
    assert said(name, "one", "two", "three") == (1, use)


@PROGRAMS
def test_a_file_that_cannot_be_used_is_named(name: str, tmp_path: Path) -> None:
    missing, broken = tmp_path / "missing.json", tmp_path / "broken.json"
    broken.write_bytes(b"\xff{")
    assert said(name, str(missing)) == (1, [f"{missing} cannot be read: No such file or directory."])
    assert said(name, str(broken)) == (1, [f"{broken} is not JSON."])


@PROGRAMS
def test_an_address_that_cannot_be_asked_is_named(name: str) -> None:
    file = str(EXAMPLES / "requests" / REQUESTS[name])
    plain = "The address 127.0.0.1:8000 must begin with http:// or https://."
    assert said(name, file, "127.0.0.1:8000") == (1, [plain])
    # Port 1 is never listened on here.
    nobody = "No service answers at http://127.0.0.1:1. Start it first; README.md says how."
    assert said(name, file, "http://127.0.0.1:1") == (1, [nobody])
