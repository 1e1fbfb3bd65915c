"""The clients of examples/: their types are what the agreement makes, and the one in TypeScript asks as its page says."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.examples.failing import Said, failing

from . import tools
from .made import MADE
from .test_generated_clients import TYPESCRIPT

FOLDER = tools.TOP / "examples" / "typescript_client"


@pytest.mark.parametrize(("file", "make"), MADE.items(), ids=lambda each: getattr(each, "name", ""))
def test_the_types_are_what_the_agreement_makes(file: Path, make: Callable[[Path], None], tmp_path: Path) -> None:
    """If not: `python -m tests.clients.made`."""
    make(tmp_path / file.name)
    assert (tmp_path / file.name).read_text("utf-8") == file.read_text("utf-8")


@pytest.fixture(scope="module")
def compiled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The client and its example as the compiler leaves them."""
    out = tmp_path_factory.mktemp("typescript")
    (out / "package.json").write_text('{"type": "module"}', "utf-8")
    for file in FOLDER.glob("*.ts"):
        (out / file.name).write_bytes(file.read_bytes())
    done = node_tool(tools.npm_program("tsc"), *TYPESCRIPT, "--lib", "es2022,dom", str(out / "try_it.ts"))
    assert done.returncode == 0, done.stdout
    return out


def node_tool(*command: str) -> subprocess.CompletedProcess[str]:
    """A program, run to its end."""
    return subprocess.run(
        command, capture_output=True, text=True, timeout=120, check=False, env=tools.environment(), encoding="utf-8"
    )


def test_typescript_asks_the_service(compiled: Path, url: str) -> None:
    done = node_tool("node", str(compiled / "try_it.js"), url)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Of £20,000, £12,000.00 is kept.\n")
    assert "£500,000 cannot be taken: #/withdrawal/amount: " in done.stdout


def test_typescript_sends_again_what_may_pass(compiled: Path) -> None:
    at_once = {"Retry-After": "0"}
    answer = Said(200, json.dumps({"net_after_tax": 1, "warnings": [], "notice": "Said."}))
    with failing(Said(503, headers=at_once), Said(500), Said(429, headers=at_once), answer) as (address, asked):
        done = node_tool("node", str(compiled / "try_it.js"), address)
    assert "Said." in done.stdout, done.stderr
    assert len(asked) == 5  # the last for the second question


def test_typescript_says_that_nobody_answers(compiled: Path) -> None:
    program = (
        'import { ask, NoAnswerError } from "./client.js";'
        'try { await ask("http://127.0.0.1:1", "/v1/warnings", {}, { deadline: 600 }); }'
        "catch (error) { console.log(error instanceof NoAnswerError, error.message); }"
    )
    (compiled / "nobody.js").write_text(program, "utf-8")
    done = node_tool("node", str(compiled / "nobody.js"))
    assert done.stdout.startswith("true No answer to /v1/warnings within 600 ms: the connection failed")
