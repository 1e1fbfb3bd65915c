"""What happens under load: heavy work keeps its place, ends in time, and whatever goes wrong is told as a problem.

Real services on free ports with a calculation more, which takes as long as it is asked to (``tests.slow_service``). The expected
values are this project's own decisions; the statuses of what is not HTTP are those of RFC 9110 and RFC 6585.
"""

from __future__ import annotations

import gzip
import http.client
import json
import os
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from itertools import count as count_from
from pathlib import Path
from typing import Any

import pytest

from service.connections import REFUSALS_A_SECOND, REFUSALS_AT_ONCE
from service.http.heavy import LONGEST_GIVING_WAY_SECONDS, RETRY_AFTER_SECONDS, Places
from service.http.problems import ProblemError
from service.schemas.parts import Parts
from tests.benchmarks.questions import CALCULATIONS, question

TOP = Path(__file__).parents[1]
EXAMPLES = TOP / "examples" / "requests"
QUOTE = json.loads((EXAMPLES / "first-ufpls.json").read_text("utf-8"))
PLAIN_PLAN = json.loads((EXAMPLES / "plan-personal-allowance.json").read_text("utf-8"))
BEST_PLAN = json.loads((EXAMPLES / "plan-couple-most-after-tax.json").read_text("utf-8"))
TIMING = json.loads((EXAMPLES / "timing-couple.json").read_text("utf-8"))
WARNINGS = json.loads((EXAMPLES / "warnings-saves-and-withdraws.json").read_text("utf-8"))
JSON, NDJSON, PROBLEM = "application/json", "application/x-ndjson", "application/problem+json"
PATIENCE = 20


@dataclass(frozen=True, slots=True)
class Reply:
    """What came back."""

    status: int
    media_type: str
    headers: dict[str, str]
    body: bytes

    @property
    def code(self) -> str:
        """The problem's code; it is a problem."""
        assert self.media_type == PROBLEM
        problem = json.loads(self.body)
        assert problem["status"] == self.status
        return str(problem["code"])


@dataclass(frozen=True, slots=True)
class Service:
    """A running service."""

    process: subprocess.Popen[str]
    port: int
    folder: Path

    def begun(self, path: str, document: Any, *, media_type: str = JSON) -> http.client.HTTPConnection:
        """A connection over which a request has been sent; the body is as it is, or a document as JSON."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        body = document if isinstance(document, bytes) else json.dumps(document).encode()
        connection.request("POST", path, body=body, headers={"Content-Type": media_type})
        return connection

    def post(self, path: str, document: Any, *, media_type: str = JSON) -> Reply:
        """The reply to a request."""
        return reply_to(self.begun(path, document, media_type=media_type))

    def get(self, path: str) -> Reply:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        connection.request("GET", path)
        return reply_to(connection)

    def raw(self, sent: bytes, *, then_closed: bool = False) -> Reply:
        """The reply to bytes, which may be no HTTP."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=PATIENCE) as connection:
            connection.sendall(sent)
            if then_closed:
                connection.shutdown(socket.SHUT_WR)
            with closing(http.client.HTTPResponse(connection)) as response:
                response.begin()
                return reply_of(response)

    @contextmanager
    def working(self, count: int = 1) -> Iterator[None]:
        """So many requests of heavy work are under way, and end well when this does."""
        with ExitStack() as held:
            found = []
            for _ in range(count):
                number = next(_NUMBERS)
                asked = {"milliseconds": 20_000, "until": number}
                connection = held.enter_context(closing(self.begun("/v1/waiting", asked)))
                await_true(self.folder.joinpath(f"{number}.begun").exists)
                found.append((number, connection))
            yield
            for number, connection in found:
                self.folder.joinpath(f"{number}.end").touch()
                assert reply_of(connection.getresponse()).status == 200

    def workers(self) -> list[int]:
        number = self.process.pid
        return [int(each) for each in Path(f"/proc/{number}/task/{number}/children").read_text().split()]

    def stopped(self) -> str:
        """The log, after the service has been told to stop."""
        self.process.terminate()
        return self.process.communicate(timeout=PATIENCE)[1]


_NUMBERS = count_from(1)


def await_true(condition: Callable[[], bool]) -> None:
    until = time.monotonic() + PATIENCE
    while not condition():
        assert time.monotonic() < until
        time.sleep(0.01)


def reply_to(connection: http.client.HTTPConnection) -> Reply:
    try:
        return reply_of(connection.getresponse())
    finally:
        connection.close()


def reply_of(response: http.client.HTTPResponse) -> Reply:
    return Reply(response.status, response.headers.get("Content-Type", ""), dict(response.headers), response.read())


@contextmanager
def running(**settings: str) -> Iterator[Service]:
    folder = tempfile.mkdtemp()
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SERVICE_")}
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.slow_service", folder],
        cwd=TOP,
        env={**kept, "SERVICE_BIND": "127.0.0.1:0", "SERVICE_WORKERS": "3", **settings},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        yield Service(process, int(line.split(",")[0].rpartition(":")[2]), Path(folder))
    finally:
        if process.poll() is None:
            process.terminate()
            process.communicate(timeout=PATIENCE)
        shutil.rmtree(folder)


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    """Three workers, so two places for heavy work; one for all tests that leave it as it was."""
    with running() as found:
        yield found


@pytest.fixture(scope="module")
def impatient() -> Iterator[Service]:
    """A service whose workers may be silent for two seconds: not so short that a busy machine starves one for as long."""
    with running(SERVICE_WORKERS="2", SERVICE_TIMEOUT="2") as found:
        yield found


def seconds_of(reply: Any) -> float:
    begun = time.monotonic()
    reply()
    return time.monotonic() - begun


def records(*requests: Any) -> bytes:
    return b"".join(json.dumps({"id": n, "request": each}).encode() + b"\n" for n, each in enumerate(requests))


def await_place(service: Service) -> None:
    """Wait until heavy work is taken again."""
    await_true(lambda: service.post("/v1/waiting", {"milliseconds": 100}).status == 200)


# ------------------------------------------------------------------------------------------------ admission


def test_heavy_work_never_takes_the_last_worker(service: Service) -> None:
    with service.working(2):
        for path, request in (
            ("/v1/waiting", {"milliseconds": 500}),
            ("/v1/allowance-schedule", BEST_PLAN),
            ("/v1/lump-sum-timing", TIMING),
        ):
            refused = service.post(path, request)
            assert (refused.status, refused.code) == (503, "busy")
            assert refused.headers["Retry-After"] == str(RETRY_AFTER_SECONDS)
        refused = service.post("/v1/bulk/withdrawal-tax", records(QUOTE), media_type=NDJSON)
        assert (refused.status, refused.code) == (503, "busy")
        for path, request in (
            ("/v1/withdrawal-tax", QUOTE),
            ("/v1/warnings", WARNINGS),
            ("/v1/allowance-schedule", PLAIN_PLAN),
            ("/v1/waiting", {"milliseconds": 50}),
        ):
            assert service.post(path, request).status == 200
        for path in ("/health/live", "/health/ready"):
            assert service.get(path).status == 200
    for path, request in (("/v1/allowance-schedule", BEST_PLAN), ("/v1/lump-sum-timing", TIMING)):
        assert service.post(path, request).status == 200


def test_what_is_wrong_with_a_request_is_told_even_where_there_is_no_place_for_it(service: Service) -> None:
    with service.working(2):
        assert service.post("/v1/allowance-schedule", BEST_PLAN).status == 503
        assert service.post("/v1/allowance-schedule", {**BEST_PLAN, "aim": {}}).code == "invalid-request"


def test_a_worker_that_is_killed_gives_its_place_back() -> None:
    with running(SERVICE_WORKERS="2") as service:
        number = next(_NUMBERS)
        with closing(service.begun("/v1/waiting", {"milliseconds": 20_000, "until": number})):
            await_true(service.folder.joinpath(f"{number}.begun").exists)
            assert service.post("/v1/waiting", {"milliseconds": 100}).status == 503
            for worker in service.workers():
                os.kill(worker, signal.SIGKILL)
            await_place(service)


def test_bulk_requests_may_be_given_fewer_places() -> None:
    with running(SERVICE_BULK_AT_ONCE="1") as service:
        number = next(_NUMBERS)
        asked = records({"milliseconds": 20_000, "until": number})
        with closing(service.begun("/v1/bulk/waiting", asked, media_type=NDJSON)) as bulk:
            await_true(service.folder.joinpath(f"{number}.begun").exists)
            assert service.post("/v1/bulk/waiting", asked, media_type=NDJSON).code == "busy"
            assert service.post("/v1/waiting", {"milliseconds": 100}).status == 200
            service.folder.joinpath(f"{number}.end").touch()
            assert reply_of(bulk.getresponse()).status == 200


def test_one_worker_takes_heavy_work_one_after_the_other() -> None:
    """With one worker nothing can be kept free: what comes waits until the worker is free, and nothing is refused."""
    with running(SERVICE_WORKERS="1") as service, ExitStack() as held:
        with service.working():
            waiting = [
                held.enter_context(closing(service.begun(path, request)))
                for path, request in (("/v1/waiting", {"milliseconds": 100}), ("/v1/withdrawal-tax", QUOTE))
            ]
            assert not select.select([each.sock for each in waiting], [], [], 0.3)[0]
        assert [reply_of(each.getresponse()).status for each in waiting] == [200, 200]


def test_a_place_is_given_back_whatever_happens_and_none_is_none() -> None:
    places = Places(1, for_bulk=1)
    for _ in range(2):
        with pytest.raises(ZeroDivisionError), places.bulk():
            raise ZeroDivisionError
    none = Places(0, for_bulk=0)
    for place in (none.single, none.bulk):
        with pytest.raises(ProblemError, match="busy"), place():
            pass


@pytest.mark.parametrize(
    ("name", "request_", "expected"),
    [
        ("allowance-schedule", BEST_PLAN, True),
        ("allowance-schedule", PLAIN_PLAN, False),
        ("allowance-schedule", {**BEST_PLAN, "aim": {"goal": "basic_rate_band"}}, False),
        ("allowance-schedule", {**BEST_PLAN, "aim": {"goal": "basic_rate_band"}, "end_date": "2084-04-05"}, True),
        ("lump-sum-timing", TIMING, True),
        ("warnings", WARNINGS, False),
        ("withdrawal-tax", QUOTE, False),
    ],
)
def test_what_is_heavy(name: str, request_: dict[str, Any], expected: bool) -> None:
    assert CALCULATIONS[name].is_heavy(question(name, request_)) is expected


DIVIDENDS = {"kind": "dividends", "amount": 90_000}


@pytest.mark.parametrize(
    ("person", "include", "expected"),
    [
        ({}, (), False),
        ({}, ("curve",), False),
        ({"income": [DIVIDENDS]}, (), False),
        ({"income": [DIVIDENDS]}, ("curve",), False),
        ({"marriage_allowance": "gives"}, ("curve",), False),
        ({"income": [DIVIDENDS], "marriage_allowance": "gives"}, (), True),
        ({"income": [{**DIVIDENDS, "amount": 10_000}], "marriage_allowance": "receives"}, (), True),
        ({"income": [{**DIVIDENDS, "amount": 9_999.99}], "marriage_allowance": "receives"}, ("curve",), False),
    ],
)
def test_what_is_costly(person: dict[str, Any], include: tuple[str, ...], expected: bool) -> None:
    request = json.loads(json.dumps(QUOTE))
    request["household"]["people"][0].update({"income": [], **person})
    calculation = CALCULATIONS["withdrawal-tax"]
    wanted = Parts(None, set(calculation.offered) - set(include))
    assert calculation.is_costly(question("withdrawal-tax", request), wanted) is expected


def test_costly_requests_give_way_and_are_told_of_once() -> None:
    with running(SERVICE_METRICS="yes") as service:
        held = [next(_NUMBERS) for _ in range(2)]
        with ExitStack() as open_:
            costly = {"milliseconds": 20_000, "costly": True}
            under_way = [
                open_.enter_context(closing(service.begun("/v1/waiting", {**costly, "until": n}))) for n in held
            ]
            await_true(lambda: all(service.folder.joinpath(f"{number}.begun").exists() for number in held))
            third = next(_NUMBERS)
            asked = time.monotonic()
            waits = open_.enter_context(
                closing(service.begun("/v1/waiting", {"milliseconds": 0, "costly": True, "until": third}))
            )
            assert max(seconds_of(lambda: service.post("/v1/withdrawal-tax", QUOTE)) for _ in range(10)) < 0.4
            assert reply_of(waits.getresponse()).status == 200
            assert time.monotonic() - asked >= LONGEST_GIVING_WAY_SECONDS, "it went before it was its turn"
            # Where a turn comes free it goes at once.
            fourth = open_.enter_context(closing(service.begun("/v1/waiting", {"milliseconds": 0, "costly": True})))
            service.folder.joinpath(f"{held[0]}.end").touch()
            assert seconds_of(lambda: reply_of(fourth.getresponse())) < LONGEST_GIVING_WAY_SECONDS
            service.folder.joinpath(f"{held[1]}.end").touch()
            assert [reply_of(each.getresponse()).status for each in under_way] == [200, 200]
        told = b'service_requests_total{operation="waiting",status="'
        await_true(lambda: told + b'200"} 4.0' in service.get("/metrics").body)
        assert service.get("/metrics").body.count(told) == 1
        after = len(service.workers())
        log = service.stopped()
        assert after == 3, "nobody died"
        assert "Traceback" not in log
        assert "could not be answered" not in log


def test_who_asks_again_without_a_pause_is_soon_answered_late(service: Service) -> None:
    with service.working(2):
        waited = [
            seconds_of(lambda: service.post("/v1/allowance-schedule", BEST_PLAN)) for _ in range(2 * REFUSALS_AT_ONCE)
        ]
        assert max(waited[: REFUSALS_AT_ONCE // 2]) < 1 / REFUSALS_A_SECOND
        # One worker refuses: the others work.
        assert sum(waited) > (REFUSALS_AT_ONCE - 1) / REFUSALS_A_SECOND * 0.9
        assert seconds_of(lambda: service.post("/v1/withdrawal-tax", QUOTE)) < 1 / REFUSALS_A_SECOND


# --------------------------------------------------------------------------------------- clients that leave


def test_what_a_client_has_left_is_not_begun() -> None:
    with running(SERVICE_WORKERS="1") as service:
        with service.working():
            numbers = [next(_NUMBERS) for _ in range(4)]
            one, two, three, four = ({"milliseconds": 20_000, "until": number} for number in numbers)
            for request in (one, two, three):
                service.begun("/v1/waiting", request).close()
            service.begun("/v1/bulk/waiting", records(four), media_type=NDJSON).close()
        # This one came after them.
        assert service.post("/v1/withdrawal-tax", QUOTE).status == 200
        assert not [number for number in numbers if service.folder.joinpath(f"{number}.begun").exists()]


def test_a_bulk_ends_when_its_client_leaves() -> None:
    with running(SERVICE_WORKERS="2") as service:
        first = next(_NUMBERS)
        requests = [{"milliseconds": 20_000, "until": first}] + [{"milliseconds": 20_000}] * 5
        with closing(service.begun("/v1/bulk/waiting", records(*requests), media_type=NDJSON)):
            await_true(service.folder.joinpath(f"{first}.begun").exists)
        service.folder.joinpath(f"{first}.end").touch()
        await_place(service)
        assert "Traceback" not in service.stopped()


# ---------------------------------------------------------------------------------------------- limits of time


def test_an_answer_that_takes_too_long_is_a_problem_and_the_service_goes_on() -> None:
    with running(SERVICE_WORKERS="2", SERVICE_TIMEOUT="2") as service:
        await_true(lambda: len(service.workers()) == 2)
        before = service.workers()
        for busy in (True, False):
            reply = service.post("/v1/waiting", {"milliseconds": 60_000, "busy": busy})
            assert (reply.status, reply.code) == (500, "took-too-long")
            assert json.loads(reply.body)["instance"] == "/v1/waiting"
        assert service.post("/v1/waiting", {"milliseconds": 300}).status == 200
        assert service.workers() == before
        log = service.stopped()
    assert "Traceback" not in log


def test_the_limit_is_of_processor_time_and_a_worker_that_works_is_alive(impatient: Service) -> None:
    """On a machine with more to do than it has processors, work takes longer by the clock."""
    assert impatient.post("/v1/waiting", {"milliseconds": 4_000}).status == 200


def test_a_record_that_takes_too_long_has_its_own_problem_and_the_others_their_answers(impatient: Service) -> None:
    asked = [{"milliseconds": each, "busy": each > 1_000} for each in (1, 60_000, 300, 0, 60_000, 200)]
    reply = impatient.post("/v1/bulk/waiting", records(*asked), media_type=NDJSON)
    lines = [json.loads(line) for line in reply.body.splitlines()]
    assert [line.get("result", line.get("problem", {}).get("code")) for line in lines[:-1]] == [
        {"milliseconds": 1},
        "took-too-long",
        {"milliseconds": 300},
        {"milliseconds": 0},
        "took-too-long",
        {"milliseconds": 200},
    ]
    assert {"end": True, "records": 6, "succeeded": 4, "failed": 2}.items() <= lines[-1].items()


def test_many_heavy_records_may_take_longer_than_the_timeout_together(impatient: Service) -> None:
    asked = [{"milliseconds": 900} for _ in range(5)]
    reply = impatient.post("/v1/bulk/waiting", records(*asked), media_type=NDJSON)
    assert json.loads(reply.body.splitlines()[-1])["succeeded"] == 5


def test_a_client_that_sends_nothing_more_is_told_in_the_end(impatient: Service) -> None:
    reply = impatient.raw(b"POST /v1/withdrawal-tax HTT")
    assert (reply.status, reply.code) == (408, "request-timeout")


# ------------------------------------------------------------------------------------------ what is not JSON

HEAD = b"POST /v1/withdrawal-tax HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"


@pytest.mark.parametrize(
    ("sent", "status", "code"),
    [
        (b"POST /v1/withdrawal-tax HTTP/1.1\r\nHost: x\r\nWrenfield Oake: 1\r\n\r\n", 400, "bad-request"),
        (b"P\xffST / HTTP/1.1\r\nHost: x\r\n\r\n", 400, "bad-request"),
        (b"GET / HTTP/7.1\r\nHost: x\r\n\r\n", 400, "bad-request"),
        (b"GET / HTTP/1.1\r\nHost: x\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\n", 400, "bad-request"),
        (b"GET /Wrenfield-" + b"x" * 9_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n", 414, "uri-too-long"),
        (b"GET / HTTP/1.1\r\nHost: x\r\nExpect: Wrenfield\r\n\r\n", 417, "expectation-failed"),
        (b"GET / HTTP/1.1\r\nHost: x\r\n" + b"A: Wrenfield\r\n" * 150 + b"\r\n", 431, "headers-too-large"),
        (HEAD + b"Transfer-Encoding: pigeon\r\n\r\n", 501, "not-implemented"),
    ],
)
def test_what_is_not_http_is_refused_with_a_problem(service: Service, sent: bytes, status: int, code: str) -> None:
    reply = service.raw(sent)
    assert (reply.status, reply.code) == (status, code)
    assert reply.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", [b"/v1/withdrawal-tax", b"/v1/bulk/withdrawal-tax"])
@pytest.mark.parametrize("chunks", [b"ZZ\r\n{}\r\n", b"-5\r\n{}\r\n", b"5\r\n{}", b"2\r\n{}XX", b"2;=\r\n{}\r\n", b""])
def test_a_broken_chunked_body_is_the_clients_fault(service: Service, path: bytes, chunks: bytes) -> None:
    media_type = NDJSON if b"bulk" in path else JSON
    head = b"POST %b HTTP/1.1\r\nHost: x\r\nContent-Type: %b\r\nTransfer-Encoding: chunked\r\n\r\n"
    reply = service.raw(head % (path, media_type.encode()) + chunks, then_closed=True)
    assert (reply.status, reply.code) == (400, "unreadable-json")


def test_nothing_of_what_is_not_http_reaches_the_log() -> None:
    with running(SERVICE_LOG_LEVEL="debug") as service:
        service.raw(b"GET / HTTP/1.1\r\nWrenfield Oake: 1\r\n\r\n")
        service.raw(b"GET /Wrenfield-" + b"x" * 9_000 + b" HTTP/1.1\r\n\r\n")
        service.raw(HEAD + b"Transfer-Encoding: chunked\r\n\r\nWrenfield\r\n", then_closed=True)
        log = service.stopped()
    assert "A request was refused that is not HTTP: 400, InvalidHeaderName" in log
    for text in ("Wrenfield", "127.0.0.1,", "ip=", "Traceback"):
        assert text not in log


@pytest.mark.parametrize("framing", [b"Content-Length: 100\r\n\r\n{", b"Transfer-Encoding: chunked\r\n\r\n5\r\n{}"])
def test_so_is_one_whose_body_does_not_arrive(impatient: Service, framing: bytes) -> None:
    before = impatient.workers()
    reply = impatient.raw(HEAD + framing)
    assert (reply.status, reply.code) == (408, "request-timeout")
    assert impatient.workers() == before


# --------------------------------------------------------------------------------------- cheap to send, dear to read


def test_packed_bodies_are_unpacked_in_a_place_only(service: Service) -> None:
    bomb = gzip.compress(b"\n" * 16_000_000)
    head = {"Content-Type": NDJSON, "Content-Encoding": "gzip"}

    def ask() -> Reply:
        connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=PATIENCE)
        connection.request("POST", "/v1/bulk/withdrawal-tax", body=bomb, headers=head)
        return reply_to(connection)

    with service.working(2):
        assert ask().code == "busy"
    assert ask().code == "body-too-large"


def test_quotes_are_answered_beside_many_such_bodies(service: Service) -> None:
    bomb = gzip.compress(b"\n" * 16_000_000)
    stop = threading.Event()

    def hammer() -> None:
        while not stop.is_set():
            connection = http.client.HTTPConnection("127.0.0.1", service.port, timeout=PATIENCE)
            connection.request(
                "POST", "/v1/bulk/withdrawal-tax", bomb, {"Content-Type": NDJSON, "Content-Encoding": "gzip"}
            )
            assert reply_to(connection).status in (413, 503)

    threads = [threading.Thread(target=hammer) for _ in range(9)]
    for thread in threads:
        thread.start()
    try:
        for _ in range(20):
            assert seconds_of(lambda: service.post("/v1/withdrawal-tax", QUOTE)) < 2
    finally:
        stop.set()
        for thread in threads:
            thread.join()
