"""The client of examples/python_client, against the service, and against servers that fail in each way it has to live with."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from xml.etree import ElementTree

import pytest

import invent
from client import Client, InvalidRequestError, NoAnswerError, RefusedError, RuleViolationError

from .conftest import TOP, Service
from .failing import Said, failing

FOLDER = TOP / "examples" / "python_client"
REQUESTS = TOP / "examples" / "requests"
QUOTE: Any = json.loads((REQUESTS / "first-ufpls.json").read_text("utf-8"))
BUSY = json.dumps(
    {"type": "/problems/busy", "title": "Busy", "status": 503, "detail": "", "code": "busy", "errors": []}
)
END = '{"end": true, "records": 1}'


def run(script: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """A script of the folder, run to its end."""
    return subprocess.run(
        [sys.executable, str(FOLDER / script), *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
    )


PROBLEM = {"Content-Type": "application/problem+json"}
GIVEN = Said(200, '{"net_after_tax": 1.0}')


def test_every_question_is_answered_as_the_service_answers_it(service: Service) -> None:
    client = Client(service.url)
    asked = {
        "first-ufpls": client.withdrawal_tax,
        "plan-personal-allowance": client.allowance_schedule,
        "timing-before-and-after-april-2027": client.lump_sum_timing,
        "warnings-saves-and-withdraws": client.warnings,
    }
    for name, ask in asked.items():
        answer = ask(json.loads((REQUESTS / f"{name}.json").read_text("utf-8")))
        assert answer["notice"]
    assert client.withdrawal_tax(QUOTE)["net_after_tax"] == 32054.0
    assert {"working", "charts"} <= set(client.withdrawal_tax(QUOTE, "working", "charts"))
    assert any(figure["name"] == "isa.subscription_limit" for figure in client.figures("2026-27"))


def test_a_refusal_is_an_exception_with_each_fault(service: Service) -> None:
    client = Client(service.url)
    with pytest.raises(InvalidRequestError, match="Must be one of") as wrong:
        client.withdrawal_tax({**QUOTE, "tax_year": "2026-27", "withdrawal": {"method": "sale", "amount": 1}})
    assert [fault["pointer"] for fault in wrong.value.faults] == ["#/withdrawal/method"]
    with pytest.raises(RuleViolationError) as refused:
        client.withdrawal_tax({**QUOTE, "withdrawal": {"method": "ufpls", "amount": 500000, "date": "2026-12-01"}})
    assert refused.value.permitted == 400000.0
    with pytest.raises(RefusedError) as unknown:
        client.figures("1999-00")
    assert unknown.value.problem["status"] == 404


def test_many_are_asked_at_once(service: Service) -> None:
    faulty = {**QUOTE, "tax_year": "next year"}
    found = Client(service.url).in_bulk("withdrawal-tax", {"one": QUOTE, "two": faulty}, "net_after_tax")
    assert list(found) == ["one", "two"]
    one, two = found.values()
    assert not isinstance(one, RefusedError)
    assert one["net_after_tax"] == 32054.0
    assert isinstance(two, InvalidRequestError)
    assert two.faults[0]["pointer"] == "#/tax_year"


@pytest.mark.parametrize("status", [408, 429, 500, 502, 503, 504, None])
def test_what_may_pass_is_sent_again(status: int | None) -> None:
    with failing(Said(status, BUSY, PROBLEM), GIVEN) as (url, asked):
        assert Client(url).withdrawal_tax(QUOTE)["net_after_tax"] == 1.0
        assert len(asked) == 2


@pytest.mark.parametrize("status", [429, 503])
def test_the_time_that_the_service_names_is_waited_for(status: int) -> None:
    with failing(Said(status, BUSY, {**PROBLEM, "Retry-After": "1"}), GIVEN) as (url, asked):
        Client(url).withdrawal_tax(QUOTE)
        first, second = asked
        assert 1 <= second - first < 3


def test_a_fault_of_the_service_is_asked_once_more_and_no_more() -> None:
    with failing(Said(500, BUSY, PROBLEM)) as (url, asked), pytest.raises(RefusedError):
        Client(url).withdrawal_tax(QUOTE)
    assert len(asked) == 2


@pytest.mark.parametrize("status", [400, 401, 403, 404, 413, 422])
def test_what_will_stay_refused_is_asked_once(status: int) -> None:
    """Also where a proxy says so, in a page and not as a problem."""
    with failing(Said(status, "<p>No.</p>", {"Content-Type": "text/html"})) as (url, asked):
        with pytest.raises(RefusedError, match=f"Status {status}"):
            Client(url).withdrawal_tax(QUOTE)
        assert len(asked) == 1


def test_the_deadline_holds_for_all_tries_together() -> None:
    with failing(Said(503, BUSY, {**PROBLEM, "Retry-After": "30"})) as (url, asked):
        started = time.monotonic()
        with pytest.raises(NoAnswerError, match="within 2 seconds: status 503"):
            Client(url, deadline=2).withdrawal_tax(QUOTE)
        assert time.monotonic() - started < 1  # it sees at once that the time does not suffice
        assert len(asked) == 1
    with failing(Said(None)) as (url, asked):
        started = time.monotonic()
        with pytest.raises(NoAnswerError, match="the connection failed"):
            Client(url, deadline=1.5).withdrawal_tax(QUOTE)
        assert time.monotonic() - started < 1.6
        assert len(asked) > 1


def test_a_pause_that_takes_too_long_is_no_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    now = iter([0.0, 0.1, 0.2, 99.0, 99.0])
    monkeypatch.setattr("client.time", SimpleNamespace(monotonic=lambda: next(now), sleep=lambda _: None))
    with pytest.raises(NoAnswerError, match="the connection failed"):
        Client("http://127.0.0.1:1", deadline=5).withdrawal_tax(QUOTE)


def test_an_answer_in_bulk_that_was_cut_is_asked_again() -> None:
    line = '{"id": "one", "status": 200, "result": {"net_after_tax": 1.0}}'
    with failing(Said(200, line), Said(200, ""), Said(200, f"{line}\n{END}\n")) as (url, asked):
        assert Client(url).in_bulk("withdrawal-tax", {"one": QUOTE}) == {"one": {"net_after_tax": 1.0}}
        assert len(asked) == 3


def test_a_key_is_sent() -> None:
    assert Client("http://127.0.0.1:1", key="secret")._session.headers["Authorization"] == "Bearer secret"


def test_the_example_says_what_it_should(service: Service) -> None:
    done = run("try_it.py", service.url)
    assert done.returncode == 0, done.stderr
    assert "Of £20,000, £12,000.00 is kept. Each of the next £100 taxed costs £60." in done.stdout
    assert "£500,000 cannot be taken:" in done.stdout
    assert done.stdout.count("is kept.") == 6
    nobody = run("try_it.py", "http://127.0.0.1:1")
    assert (nobody.returncode, nobody.stderr.count("\n")) == (1, 1)


def test_a_book_becomes_a_table_and_three_pictures(service: Service, tmp_path: Path) -> None:
    book, out = tmp_path / "book.ndjson", tmp_path / "report"
    invent.write(book, invent.rows(300, 0.05, "2026-27", 4))
    done = run("book_report.py", book, out, service.url)
    assert done.returncode == 0, done.stderr
    [counted] = [line for line in done.stdout.splitlines() if "records answered" in line]
    header, *rows = (out / "nations.csv").read_text("utf-8").splitlines()
    clients = header.split(",").index("clients")
    assert 200 < sum(int(row.split(",")[clients]) for row in rows) == int(counted.split()[0]) < 300
    for name in ("tax_share", "next_pound", "deducted"):
        words = "".join(ElementTree.parse(out / f"{name}.svg").getroot().itertext())
        assert "An illustration, not advice." in words
