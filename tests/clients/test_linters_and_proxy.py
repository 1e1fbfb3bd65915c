"""The agreement under two linters, and a proxy that checks each request and each answer against it."""

from __future__ import annotations

import json
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from . import tools
from .calls import AGREEMENT, CALLS, DOCUMENT
from .serving import Reply, ask

FOLDER = Path(__file__).parent
SECONDS_TO_START = 60
NDJSON = "application/x-ndjson"


def said_by(*command: str) -> str:
    """What a program prints; how it ends says no more."""
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False, env=tools.environment())
    assert done.stdout, done.stderr[-3000:]
    return done.stdout


def test_redocly_finds_nothing() -> None:
    program = tools.npm_program("redocly")
    rules = str(FOLDER / "redocly.yaml")
    found = json.loads(
        said_by(program, "lint", str(AGREEMENT), "--config", rules, "--format", "json", "--max-problems", "1000")
    )
    assert [
        (problem["ruleId"], problem["message"], problem["location"][0]["pointer"]) for problem in found["problems"]
    ] == []


def test_spectral_finds_nothing() -> None:
    program = tools.npm_program("spectral")
    rules = str(FOLDER / "spectral.yaml")
    found = said_by(program, "lint", str(AGREEMENT), "--ruleset", rules, "--format", "json", "--quiet")
    assert [(problem["code"], problem["message"], problem["path"]) for problem in json.loads(found)] == []


@pytest.fixture(scope="module")
def checking_url(url: str) -> Iterator[str]:
    """The URL of Prism, which passes on to the service what keeps to the agreement, and back what does."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    process = subprocess.Popen(
        [
            tools.npm_program("prism"),
            "proxy",
            str(AGREEMENT),
            url,
            "--errors",
            "--host",
            "127.0.0.1",
            "--port",
            str(port),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=tools.environment(),
    )
    try:
        until = time.monotonic() + SECONDS_TO_START
        while not listens(port):
            assert process.poll() is None, "Prism has ended."
            assert time.monotonic() < until, "Prism does not start."
            time.sleep(0.2)
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.wait(timeout=20)


def listens(port: int) -> bool:
    """Whether something takes connections on a port."""
    with socket.socket() as tried:
        return tried.connect_ex(("127.0.0.1", port)) == 0


def test_every_request_and_every_answer_keeps_to_the_agreement(checking_url: str, answers: list[Reply]) -> None:
    for call, reply in zip(CALLS, answers, strict=True):
        got = call.made(checking_url)
        # Prism writes numbers its own way: 40000 for 40000.0.
        assert (got.status, json.loads(got.body)) == (reply.status, json.loads(reply.body)), call.name
        assert "sl-violations" not in {name.lower() for name in got.headers}, call.name


def test_what_does_not_keep_to_it_is_noticed(checking_url: str) -> None:
    got = ask(f"{checking_url}/v1/withdrawal-tax", "POST", b'{"tax_year": 2026}', {"Content-Type": "application/json"})
    assert got.status == 422
    assert b"prism" in got.body


def test_bulk_passes_the_proxy(checking_url: str, url: str) -> None:
    examples = DOCUMENT["paths"]["/v1/bulk/{operation}"]["post"]["requestBody"]["content"][NDJSON]["examples"]
    for example in examples.values():
        sent = example["value"].encode()
        asked = ("/v1/bulk/withdrawal-tax", "POST", sent, {"Content-Type": NDJSON})
        assert ask(checking_url + asked[0], *asked[1:]).body == ask(url + asked[0], *asked[1:]).body
