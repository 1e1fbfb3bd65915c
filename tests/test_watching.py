"""What the log and the numbers say of requests, and that neither repeats anything that was sent."""

from __future__ import annotations

import copy
import http.client
import json
import os
import re
import signal
import socket
import struct
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import requests
from flask.testing import FlaskClient

from service.http.metrics import Metrics
from service.logs import places
from tests.contract.full_bodies import QUESTIONS
from tests.test_access import QUOTE, bearer, entry, file_of, lines
from tests.test_server import START, TOP, environment

MARK = "Zebedee"
NUMBER = 7_654_321.87
TRACE = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"
"""The example of W3C Trace Context, section 3.2."""


class Watched:
    """A running service, and afterwards what it has written."""

    def __init__(self, process: subprocess.Popen[bytes], port: int, out: Path, errors: Path) -> None:
        self.process, self.port, self._out, self._errors = process, port, out, errors
        self.url = f"http://127.0.0.1:{port}"

    @property
    def written(self) -> str:
        """All that is on its two outputs so far."""
        return self._out.read_text("utf-8") + self._errors.read_text("utf-8")

    def told(self, route: str | None = None) -> list[dict[str, Any]]:
        """The lines of requests in a log that is JSON."""
        found = [json.loads(line) for line in self._out.read_text("utf-8").splitlines()]
        return [line for line in found if line["message"] == "request" and route in (None, line.get("route"))]


@contextmanager
def watched(folder: Path, **settings: str) -> Iterator[Watched]:
    """A service whose outputs go to files."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    out, errors = folder / "out", folder / "errors"
    with out.open("wb") as out_file, errors.open("wb") as error_file:
        process = subprocess.Popen(
            START,
            cwd=TOP,
            env=environment(SERVICE_BIND=f"127.0.0.1:{port}", SERVICE_WORKERS="2", **settings),
            stdout=out_file,
            stderr=error_file,
        )
    try:
        ends = time.monotonic() + 60
        while not answers(port):
            assert process.poll() is None, errors.read_text("utf-8")
            assert time.monotonic() < ends
            time.sleep(0.05)
        yield Watched(process, port, out, errors)
    finally:
        process.terminate()
        process.wait(timeout=30)


def answers(port: int) -> bool:
    """Whether the service is up."""
    try:
        return requests.get(f"http://127.0.0.1:{port}/health/live", timeout=5).status_code == 200
    except requests.ConnectionError:
        return False


def marked(node: Any) -> Any:
    """A body of the same shape with a mark in every value and, in an extra field, as a name."""
    if isinstance(node, dict):
        return {**{key: marked(value) for key, value in node.items()}, f"{MARK}_field": 1}
    if isinstance(node, list):
        return [marked(value) for value in node]
    return f"{MARK}-{node}" if isinstance(node, str) else NUMBER


def named(body: dict[str, Any]) -> dict[str, Any]:
    """A good body whose people are called by the mark."""
    changed = copy.deepcopy(body)
    for person in changed["household"]["people"]:
        person["name"] = MARK
    return changed


def raw(port: int, sent: bytes) -> None:
    """Send bytes as they are, and read what comes."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as connection:
        connection.sendall(sent)
        connection.shutdown(socket.SHUT_WR)
        while connection.recv(65_536):
            pass


@pytest.mark.parametrize("form", ["text", "json"])
def test_nothing_that_was_sent_is_in_the_log_at_the_level_debug(tmp_path: Path, form: str) -> None:
    with watched(tmp_path, SERVICE_LOG_FORMAT=form, SERVICE_LOG_LEVEL="debug", SERVICE_METRICS="yes") as service:
        everywhere = {
            "X-Request-ID": f"{MARK} of the wrong form",
            "traceparent": MARK,
            "User-Agent": MARK,
            "Cookie": MARK,
        }
        statuses = set()
        for question in QUESTIONS:
            for body in (named(question.full), marked(question.full)):
                answer = requests.post(service.url + question.url, json=body, headers=everywhere, timeout=60)
                statuses.add(answer.status_code)
                record = json.dumps({"id": MARK, "request": body}).encode()
                bulk = question.url.replace("/v1/", "/v1/bulk/")
                kind = {"Content-Type": "application/x-ndjson", **everywhere}
                requests.post(
                    service.url + bulk, data=record + b"\n{" + MARK.encode() + b"\n", headers=kind, timeout=60
                )
        assert {200, 422} <= statuses
        for path in (
            f"/v1/tax-years/{MARK}",
            f"/{MARK}",
            f"/v1/bulk/{MARK}",
            f"/health/live?{MARK}={MARK}",
            f"/docs/{MARK}",
        ):
            requests.get(service.url + path, headers=everywhere, timeout=20)
        requests.post(f"{service.url}/v1/withdrawal-tax", data=MARK, headers={"Content-Type": MARK}, timeout=20)
        for sent in (
            f"GET / HTTP/1.1\r\n{MARK} {MARK}: 1\r\n\r\n",
            f"{MARK} / HTTP/1.1\r\n\r\n",
            f"{MARK}\r\n\r\n",
            f"GET /{MARK} HTTP/9.{MARK}\r\n\r\n",
            f"POST /v1/withdrawal-tax HTTP/1.1\r\nContent-Length: {MARK}\r\n\r\n",
            f"POST /v1/withdrawal-tax HTTP/1.1\r\nTransfer-Encoding: {MARK}\r\n\r\n",
            f"POST /v1/withdrawal-tax HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n{MARK}\r\n",
            f"GET /{MARK * 2_000} HTTP/1.1\r\n\r\n",
        ):
            raw(service.port, sent.encode())
        numbers = requests.get(f"{service.url}/metrics", timeout=20).text
    assert service.written.count("\n") > 20
    for text in (service.written, numbers):
        assert MARK.lower() not in text.lower()
        assert "7654321" not in text
        assert "127.0.0.1:" not in re.sub(r"http://127\.0\.0\.1:\d+", "", text)


def test_a_log_that_is_json_has_nothing_else_and_a_line_for_each_request(tmp_path: Path) -> None:
    path = file_of(tmp_path, entry("portal"))
    plan = json.loads((TOP / "examples" / "requests" / "plan-couple-most-after-tax.json").read_text("utf-8"))
    with watched(tmp_path, SERVICE_LOG_FORMAT="json", SERVICE_KEYS_FILE=str(path)) as service:
        sent = {**bearer("portal"), "X-Request-ID": "ticket-17", "traceparent": TRACE}
        quote = requests.post(f"{service.url}/v1/withdrawal-tax", json=QUOTE, headers=sent, timeout=20)
        assert quote.headers["X-Request-ID"] == "ticket-17"
        assert quote.headers["traceparent"] == TRACE
        # The solver says something about itself when it is first used, and must not say it here.
        best = {**plan, "aim": {"goal": "most_after_tax"}}
        requests.post(f"{service.url}/v1/allowance-schedule", json=best, headers=bearer("portal"), timeout=60)
        kind = {**bearer("portal"), "Content-Type": "application/x-ndjson", "Accept-Encoding": "identity"}
        book = requests.post(f"{service.url}/v1/bulk/withdrawal-tax", data=lines(40), headers=kind, timeout=60).content
    assert service.written.splitlines()
    for line in service.written.splitlines():
        assert {"time", "level", "message", "process"} <= set(json.loads(line))
    (told,) = service.told("/v1/withdrawal-tax")
    assert told["request_id"] == "ticket-17"
    assert told["trace_id"] == TRACE.split("-")[1]
    assert (told["operation"], told["status"], told["key"], told["bytes"]) == (
        "withdrawal-tax",
        200,
        "portal",
        len(quote.content),
    )
    assert told["milliseconds"] > 0
    assert told["rules_version"] == quote.headers["Rules-Version"]
    (bulk,) = service.told("/v1/bulk/<operation>")
    assert bulk["bytes"] == len(book)
    assert not service.told("/health/live"), "health checks are told at the level debug alone"


def test_an_unusable_id_is_replaced_and_every_answer_has_one(client: FlaskClient) -> None:
    for sent in ("", "with a space", "x" * 65, "é"):
        given = client.get("/health/live", headers={"X-Request-ID": sent}).headers["X-Request-ID"]
        assert re.fullmatch(r"[0-9a-f]{32}", given)
    assert "X-Request-ID" in client.get("/nothing").headers
    assert "traceparent" not in client.get("/health/live", headers={"traceparent": "00-wrong"}).headers


def counted(text: str, name: str, **labels: str) -> float:
    """The sum of all samples of that name with these labels."""
    total = 0.0
    for line in text.splitlines():
        found = re.fullmatch(r"([a-z_]+)(?:\{(.*)\})? (\S+)", line)
        if found and found[1] == name:
            has = dict(re.findall(r'(\w+)="([^"]*)"', found[2] or ""))
            if labels.items() <= has.items():
                total += float(found[3])
    return total


def test_numbers_are_right_over_workers_and_after_a_death(tmp_path: Path) -> None:
    with watched(tmp_path, SERVICE_METRICS="yes") as service:
        for _ in range(20):
            requests.post(f"{service.url}/v1/withdrawal-tax", json=QUOTE, timeout=20)
        requests.post(f"{service.url}/v1/withdrawal-tax", json={}, timeout=20)
        kind = {"Content-Type": "application/x-ndjson"}
        requests.post(f"{service.url}/v1/bulk/withdrawal-tax", data=lines(7) + b"{}\n", headers=kind, timeout=60)
        plan = json.loads((TOP / "examples" / "requests" / "plan-couple-most-after-tax.json").read_text("utf-8"))
        requests.post(
            f"{service.url}/v1/allowance-schedule", json={**plan, "aim": {"goal": "most_after_tax"}}, timeout=60
        )
        for worker in children_of(service.process.pid):
            os.kill(worker, signal.SIGKILL)
        ends = time.monotonic() + 30
        while not answers(service.port):
            assert time.monotonic() < ends
        for _ in range(5):
            requests.post(f"{service.url}/v1/withdrawal-tax", json=QUOTE, timeout=20)
        said = requests.get(f"{service.url}/metrics", timeout=20)
        assert said.headers["Content-Type"].startswith("text/plain")
        text = said.text
    assert counted(text, "service_requests_total", operation="withdrawal-tax", status="200") == 25
    assert counted(text, "service_requests_total", operation="withdrawal-tax", status="422") == 1
    assert counted(text, "service_request_seconds_count", operation="withdrawal-tax") == 26
    assert counted(text, "service_bulk_records_total", operation="withdrawal-tax", outcome="answered") == 7
    assert counted(text, "service_bulk_records_total", operation="withdrawal-tax", outcome="refused") == 1
    assert counted(text, "service_plan_searches_total") == 1
    assert counted(text, "service_heavy_in_use") == 0
    assert counted(text, "service_heavy_places") == 1
    assert counted(text, "service_build") == 1


def test_numbers_of_many_dead_workers_take_no_more_files(tmp_path: Path) -> None:
    """A new worker counts on in the files of a dead one: as many files as two workers have, four while they are replaced, and the
    parent's."""
    with watched(tmp_path, SERVICE_METRICS="yes", TMPDIR=str(tmp_path)) as service:
        asked = 0

        def quotes_counted() -> float:
            text = requests.get(f"{service.url}/metrics", timeout=20).text
            return counted(text, "service_requests_total", operation="withdrawal-tax", status="200")

        for blow in range(6):
            for _ in range(3):
                requests.post(f"{service.url}/v1/withdrawal-tax", json=QUOTE, timeout=20)
                asked += 1
            ends = time.monotonic() + 30
            while quotes_counted() < asked:  # a request is counted after its answer has been sent
                assert time.monotonic() < ends
            before = set(children_of(service.process.pid))
            if blow % 3 == 2:
                service.process.send_signal(signal.SIGHUP)
            else:
                for worker in before:
                    os.kill(worker, signal.SIGKILL)
            while not (len(there := children_of(service.process.pid)) == 2 and not before & set(there)):
                assert time.monotonic() < ends
                time.sleep(0.02)
            while not answers(service.port):
                assert time.monotonic() < ends
        assert quotes_counted() == asked
        (folder,) = tmp_path.glob("service-metrics-*")
        counting = {file.stem.rpartition("_")[2] for file in folder.glob("counter_*.db")}
    assert counting <= {f"worker-{place}" for place in range(1, 5)} | {str(service.process.pid)}
    assert not folder.exists()


def children_of(process: int) -> list[int]:
    """The processes that a process has started."""
    return [int(child) for child in Path(f"/proc/{process}/task/{process}/children").read_text("utf-8").split()]


def test_no_numbers_unless_they_are_asked_for(client: FlaskClient) -> None:
    assert client.get("/metrics").status_code == 404


def test_of_an_exception_only_kind_and_places_are_told() -> None:
    try:
        raise ValueError(MARK)
    except ValueError as error:
        said = places(type(error), error.__traceback__)
    assert said.endswith("builtins.ValueError")
    assert __file__ in said
    assert MARK not in said


def test_the_server_says_nothing_of_its_software(tmp_path: Path) -> None:
    with watched(tmp_path) as service:
        connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=20)
        connection.request("GET", "/health/live")
        answer = connection.getresponse()
        answer.read()
        connection.close()
    assert answer.getheader("Server") == "service"
    assert answer.getheader("X-Content-Type-Options") == "nosniff"
    assert answer.getheader("Content-Security-Policy") == "default-src 'none'; frame-ancestors 'none'"


def test_the_page_runs_its_own_scripts_alone(client: FlaskClient) -> None:
    policy = client.get("/docs").headers["Content-Security-Policy"]
    assert "script-src 'self' 'sha256-" in policy
    assert "unsafe-inline" not in policy.split("style-src")[0]
    assert "frame-ancestors 'none'" in policy


def test_a_file_of_numbers_that_is_just_being_made_is_read_again(monkeypatch: pytest.MonkeyPatch) -> None:
    tries: list[int] = []

    def page(_: Metrics) -> bytes:
        tries.append(1)
        if len(tries) < 3:
            raise struct.error("unpack_from requires a buffer of at least 4 bytes")
        return b"numbers"

    monkeypatch.setattr(Metrics, "_page", page)
    assert Metrics.page(Metrics.__new__(Metrics)) == b"numbers"
    monkeypatch.setattr(Metrics, "_page", lambda _: b""[:1].decode().index("x"))
    with pytest.raises(ValueError, match="not found"):
        Metrics.page(Metrics.__new__(Metrics))
