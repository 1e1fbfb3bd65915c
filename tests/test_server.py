"""The service started as its users start it, in a process of its own."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from gunicorn.workers.sync import SyncWorker

from service.server import BACKLOG, listen, server_options, url_of
from service.settings import Settings
from service.start import start

TOP = Path(__file__).parents[1]
START = [sys.executable, "-m", "service"]


def environment(**settings: str) -> dict[str, str]:
    """This process's environment without its own settings of the service, and with `settings` instead."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SERVICE_")}
    return {**kept, **settings}


@contextmanager
def running_service(**settings: str) -> Iterator[tuple[subprocess.Popen[str], str, int]]:
    """A service on a free port: its process, the line it starts with, and the port."""
    process = subprocess.Popen(
        START,
        cwd=TOP,
        env=environment(SERVICE_BIND="127.0.0.1:0", SERVICE_WORKERS="2", **settings),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        yield process, line, int(line.split(",")[0].rpartition(":")[2])
    finally:
        if process.poll() is None:
            process.terminate()
            process.communicate(timeout=20)


def ask(port: int, method: str, path: str, body: str | None = None) -> tuple[int, bytes]:
    """Status and body of one request; the body sent is said to be JSON."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    try:
        connection.request(method, path, body=body, headers={"Content-Type": "application/json"})
        response = connection.getresponse()
        return response.status, response.read()
    finally:
        connection.close()


BULK = "/v1/bulk/withdrawal-tax"
# A request that takes longer than most: the child benefit charge makes a hundred steps.
SLOW = {
    "household": {
        "people": [
            {
                "date_of_birth": "1957-03-14",
                "tax_residence": "england",
                "child_benefit": 2251.6,
                "pensions": [{"uncrystallised": 400000}],
            }
        ]
    },
    "tax_year": "2026-27",
    "withdrawal": {"method": "ufpls", "amount": 200000},
}


def records(count: int) -> bytes:
    """A bulk body of slow requests, numbered from 0."""
    return b"".join(json.dumps({"id": number, "request": SLOW}).encode() + b"\n" for number in range(count))


@contextmanager
def bulk_under_way(port: int, count: int) -> Iterator[http.client.HTTPResponse]:
    """A bulk answer that has begun and is not read, so that its worker soon waits for its reader."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        connection.request("POST", BULK, body=records(count), headers={"Content-Type": "application/x-ndjson"})
        response = connection.getresponse()
        assert response.status == 200
        yield response
    finally:
        connection.close()


def end_of(answer: bytes) -> dict[str, object]:
    """The last line of a bulk answer."""
    last: dict[str, object] = json.loads(answer.splitlines()[-1])
    return last


def workers_of(process: subprocess.Popen[str]) -> list[int]:
    """The process ids of a service's workers (Linux)."""
    return [int(each) for each in Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split()]


def refused_start(**settings: str) -> subprocess.CompletedProcess[str]:
    """The outcome of a start that should fail by itself."""
    return subprocess.run(
        START, cwd=TOP, env=environment(**settings), capture_output=True, text=True, timeout=30, check=False
    )


@pytest.mark.parametrize("stop", [signal.SIGTERM, signal.SIGINT])
def test_it_says_where_it_listens_answers_and_stops_with_status_0(stop: signal.Signals) -> None:
    with running_service() as (process, line, port):
        assert line.startswith(f"Listening on http://127.0.0.1:{port}, workers: 2, rules: ")
        assert line.endswith(", code: interpreted.\n")
        status, body = ask(port, "GET", "/health/live")
        assert status == 200
        assert b'"live"' in body
        process.send_signal(stop)
        process.communicate(timeout=20)
        assert process.returncode == 0


def test_a_reload_that_comes_before_it_serves_does_not_end_it() -> None:
    with subprocess.Popen(
        START,
        cwd=TOP,
        env=environment(SERVICE_BIND="127.0.0.1:0"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        listens = f"/proc/{process.pid}/status"
        # Bit 0 of the ignored signals is SIGHUP; from then on until it serves nothing may end it but a stop.
        ends = time.monotonic() + 20
        while not any(
            int(line.split()[1], 16) & 1
            for line in Path(listens).read_text().splitlines()
            if line.startswith("SigIgn:")
        ):
            assert time.monotonic() < ends
            time.sleep(0.01)
        process.send_signal(signal.SIGHUP)
        assert process.stdout.readline().startswith("Listening on ")
        process.terminate()
        process.communicate(timeout=20)
        assert process.returncode == 0


def test_what_is_sent_stays_out_of_the_log() -> None:
    marked = '{"tax_year": "1848-49", "household": {"people": [{"date_of_birth": "1848-01-02"}]}, "remark": "Wrenfield-Oake"}'
    with running_service(SERVICE_LOG_LEVEL="debug") as (process, _, port):
        status, _ = ask(port, "POST", "/v1/withdrawal-tax?include=Wrenfield-Query", marked)
        assert status == 422
        process.terminate()
        output, log = process.communicate(timeout=20)
    assert "Shutting down" in log
    for text in ("Wrenfield-Oake", "Wrenfield-Query", "1848"):
        assert text not in output + log


def test_a_long_bulk_answer_is_not_taken_for_a_silent_worker() -> None:
    count, seconds = 250, 0.0
    # A timeout long enough that a busy machine does not starve a worker for as long.
    with running_service(SERVICE_TIMEOUT="2", SERVICE_BULK_MAX_RECORDS="1000000") as (_, _, port):
        while seconds < 4.5:
            count *= 2
            begun = time.monotonic()
            with bulk_under_way(port, count) as response:
                answer = response.read()
            seconds = time.monotonic() - begun
            counts = {"end": True, "records": count, "succeeded": count, "failed": 0}
            assert counts.items() <= end_of(answer).items()


def test_one_bulk_more_than_are_answered_at_once_is_told_to_come_again() -> None:
    with running_service() as (_, _, port):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
        with bulk_under_way(port, 2_000):
            for _ in range(2):
                connection.request("POST", BULK, body=records(1), headers={"Content-Type": "application/x-ndjson"})
                response = connection.getresponse()
                assert (response.status, json.loads(response.read())["code"]) == (503, "busy")
                assert int(response.headers["Retry-After"]) >= 1
            assert ask(port, "POST", "/v1/withdrawal-tax", json.dumps(SLOW))[0] == 200
        # The reader is gone, so its worker soon is free again.
        for _ in range(50):
            connection.request("POST", BULK, body=records(1), headers={"Content-Type": "application/x-ndjson"})
            response = connection.getresponse()
            answer = response.read()
            if response.status == 200:
                break
            time.sleep(0.2)
        connection.close()
    assert end_of(answer)["succeeded"] == 1


def test_the_answer_of_a_worker_that_is_killed_has_no_last_line_and_the_service_goes_on() -> None:
    with running_service() as (process, _, port):
        with bulk_under_way(port, 2_000) as response:
            some = response.read(100_000)
            for worker in workers_of(process):
                os.kill(worker, signal.SIGKILL)
            with pytest.raises((http.client.IncompleteRead, ConnectionError)) as cut:
                response.read()
        partial = cut.value.partial if isinstance(cut.value, http.client.IncompleteRead) else b""
        assert b'"end":true' not in some + partial
        # What the dead worker held is free: the one bulk that may be under way is this one.
        with bulk_under_way(port, 1) as response:
            assert end_of(response.read())["succeeded"] == 1


def test_a_body_that_is_cut_short_is_no_bulk_request() -> None:
    body = records(100)
    with running_service() as (_, _, port):
        head = f"POST {BULK} HTTP/1.1\r\nHost: x\r\nContent-Type: application/x-ndjson\r\n"
        for framing, sent in (
            (f"Content-Length: {len(body)}\r\n\r\n", body[:-200]),
            ("Transfer-Encoding: chunked\r\n\r\n", b"%x\r\n%b\r\n" % (len(body), body)),
        ):
            with socket.create_connection(("127.0.0.1", port), timeout=20) as connection:
                connection.sendall((head + framing).encode() + sent)
                connection.shutdown(socket.SHUT_WR)
                reply = b""
                while some := connection.recv(65_536):
                    reply += some
            assert b'"status":200' not in reply
            assert not reply.startswith(b"HTTP/1.1 200")
        assert ask(port, "GET", "/health/live")[0] == 200


def test_settings_that_cannot_be_used_stop_the_start_with_one_line() -> None:
    outcome = refused_start(SERVICE_BIND="nowhere", SERVICE_COLOUR="red")
    assert outcome.returncode == 2
    assert outcome.stdout == ""
    assert outcome.stderr == (
        "The service cannot start: SERVICE_BIND must be HOST:PORT with a port from 0 to 65535, not 'nowhere'; "
        "SERVICE_COLOUR is not a known setting\n"
    )


def test_where_nothing_can_be_written_the_start_stops_with_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def nowhere() -> str:
        raise FileNotFoundError

    monkeypatch.setattr("os.access", lambda *_: False)
    monkeypatch.setattr("tempfile.gettempdir", nowhere)
    before = {each: signal.getsignal(each) for each in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)}
    try:
        assert start({"SERVICE_BIND": "127.0.0.1:0"}) == 1
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
    assert capsys.readouterr().err == (
        "The service cannot start: neither /dev/shm nor any temporary folder can be written; mount one in memory at /tmp\n"
    )


def test_where_too_few_files_can_be_opened_the_start_stops_with_one_line() -> None:
    """With as many as it asks for it works, also while it is reloaded: ``tests/faults`` tries that under load."""
    outcome = subprocess.run(
        ["sh", "-c", 'ulimit -n 9; exec "$@"', "sh", *START],
        cwd=TOP,
        env=environment(SERVICE_BIND="127.0.0.1:0", SERVICE_WORKERS="3"),
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert (outcome.returncode, outcome.stdout) == (1, "")
    assert outcome.stderr == (
        "The service cannot start: a process may have only 9 files open here; 3 workers need at least 30 (ulimit -n)\n"
    )


def test_without_a_proxy_no_other_machine_is_listened_to() -> None:
    outcome = refused_start(SERVICE_BIND="0.0.0.0:0")
    assert (outcome.returncode, outcome.stdout) == (2, "")
    assert outcome.stderr.count("\n") == 1
    assert "SERVICE_BEHIND_PROXY=yes" in outcome.stderr


def test_a_port_that_is_taken_stops_the_start_with_one_line() -> None:
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = holder.getsockname()[1]
        outcome = refused_start(SERVICE_BIND=f"127.0.0.1:{port}")
    assert outcome.returncode == 1
    assert outcome.stdout == ""
    assert outcome.stderr == (
        f"The service cannot start: cannot listen on 127.0.0.1:{port} (SERVICE_BIND): Address already in use\n"
    )


def test_a_listener_is_bound_to_the_address_asked_for() -> None:
    with listen(Settings.for_tests()) as listener:
        host, port = listener.getsockname()
        assert host == "127.0.0.1"
        assert port > 0
        assert url_of(listener) == f"http://127.0.0.1:{port}"
        assert listener.getsockopt(socket.IPPROTO_TCP, socket.TCP_DEFER_ACCEPT) > 0


def test_server_options() -> None:
    settings = Settings.for_tests()
    options = server_options(settings, listener_fd=7)
    assert options["bind"] == "fd://7"
    assert options["workers"] == settings.workers
    assert options["timeout"] == settings.timeout_seconds
    assert options["backlog"] == BACKLOG
    assert issubclass(options["worker_class"], SyncWorker)
    assert options["accesslog"] is None
    assert options["preload_app"] is True
    assert options["control_socket_disable"] is True
    # Shorter than the wait of a container engine before it kills, or requests would be cut off.
    assert options["graceful_timeout"] < 10
