"""What can go wrong between the script and the service, made to happen by a server that fails on purpose."""

from __future__ import annotations

import json
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from book.sending import CutShortError, Gate, Line, Sender, StopError, StoppedError, checked, pause_before, retry_after

LINES = [Line(f"C{number}", f'{{"id": "C{number}", "request": {{}}}}'.encode()) for number in range(5)]

Reply = Callable[[BaseHTTPRequestHandler, bytes], None]


def right_answer(body: bytes) -> bytes:
    """An answer as the service's bulk operations give it."""
    records = [json.loads(line) for line in body.splitlines()]
    answers: list[dict[str, Any]] = [
        {"id": record["id"], "status": 200, "result": {"of": record}} for record in records
    ]
    counts = {"end": True, "records": len(records), "succeeded": len(records), "failed": 0}
    answers.append({**counts, "rules_version": "v1", "software_version": "1"})
    return "".join(json.dumps(answer) + "\n" for answer in answers).encode()


def reply(handler: BaseHTTPRequestHandler, status: int, body: bytes, **headers: str) -> None:
    handler.send_response(status)
    for name, value in headers.items():
        handler.send_header(name.replace("_", "-"), value)
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    handler.wfile.write(body)


def right(handler: BaseHTTPRequestHandler, body: bytes) -> None:
    reply(handler, 200, right_answer(body), Rules_Version="v1")


def status(number: int, **headers: str) -> Reply:
    problem = json.dumps({"title": "No", "detail": "Not now.", "status": number, "errors": []}).encode()
    return lambda handler, body: reply(handler, number, problem, **headers)


def changed(change: Callable[[bytes], bytes]) -> Reply:
    return lambda handler, body: reply(handler, 200, change(right_answer(body)))


def reset(handler: BaseHTTPRequestHandler, body: bytes) -> None:
    handler.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
    handler.connection.close()


def cut_within_its_length(handler: BaseHTTPRequestHandler, body: bytes) -> None:
    answer = right_answer(body)
    handler.send_response(200)
    handler.send_header("Content-Length", str(len(answer)))
    handler.end_headers()
    handler.wfile.write(answer[: len(answer) // 2])


def cut_without_a_length(handler: BaseHTTPRequestHandler, body: bytes) -> None:
    handler.send_response(200)
    handler.end_headers()
    handler.wfile.write(right_answer(body)[:-20])


def cut_within_a_chunk(handler: BaseHTTPRequestHandler, body: bytes) -> None:
    handler.protocol_version = "HTTP/1.1"
    handler.send_response(200)
    handler.send_header("Transfer-Encoding", "chunked")
    handler.end_headers()
    handler.wfile.write(b"ffff\r\n" + right_answer(body)[:100])
    handler.close_connection = True


def too_large_for(most: int) -> Reply:
    def answer(handler: BaseHTTPRequestHandler, body: bytes) -> None:
        if body.count(b"\n") > most:
            status(413)(handler, body)
        else:
            right(handler, body)

    return answer


class Stand:
    """A server that replies with each of some replies in turn, then with the last one for ever."""

    def __init__(self, replies: list[Reply]) -> None:
        self.is_well, self.asked_for_health = True, 0
        self.calls: list[float] = []
        self.bodies: list[bytes] = []
        self.paths: list[str] = []
        waiting, stand = list(replies), self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                stand.calls.append(time.monotonic())
                stand.bodies.append(body)
                stand.paths.append(self.path)
                (waiting.pop(0) if len(waiting) > 1 else waiting[0])(self, body)

            def do_GET(self) -> None:
                stand.asked_for_health += 1
                reply(self, 200 if stand.is_well else 503, b"{}")

            def log_message(self, *_: object) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}"


@contextmanager
def standing(*replies: Reply) -> Iterator[Stand]:
    stand = Stand(list(replies))
    thread = threading.Thread(target=stand.server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield stand
    finally:
        stand.server.shutdown()
        thread.join()
        stand.server.server_close()


@pytest.fixture(autouse=True)
def _short_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("book.sending.FIRST_PAUSE_SECONDS", 0.01)


def sender(
    url: str, fields: tuple[str, ...] = (), *, patience: float = 30, at_once: int = 2, verbose: bool = False
) -> tuple[Sender, list[str], threading.Event]:
    said: list[str] = []
    stop = threading.Event()
    return (
        Sender(
            url,
            "withdrawal-tax",
            fields,
            at_once=at_once,
            stop=stop,
            note=said.append,
            patience=patience,
            verbose=verbose,
        ),
        said,
        stop,
    )


def out_of_order(answer: bytes) -> bytes:
    *lines, end = answer.splitlines(True)
    return b"".join([*reversed(lines), end])


PASSING_FAULTS: dict[str, Reply] = {
    "500": status(500),
    "502": status(502),
    "504": status(504),
    "reset": reset,
    "cut within its length": cut_within_its_length,
    "cut without a length": cut_without_a_length,
    "cut within a chunk": cut_within_a_chunk,
    "out of order": changed(out_of_order),
    "first line lost": changed(lambda answer: b"".join(answer.splitlines(True)[1:])),
    "last line lost": changed(lambda answer: b"".join(answer.splitlines(True)[:-1])),
    "last line twice": changed(lambda answer: answer + answer.splitlines(True)[-1]),
    "wrong count": changed(lambda answer: answer.replace(b'"succeeded": 5', b'"succeeded": 4')),
    "no end": changed(lambda answer: answer.replace(b'"end": true', b'"end": false')),
    "nothing": changed(lambda answer: b""),
    "something else": changed(lambda answer: b"<html>a gateway</html>"),
}


@pytest.mark.parametrize("name", PASSING_FAULTS)
def test_a_passing_fault_is_tried_again_and_costs_nothing(name: str) -> None:
    fault = PASSING_FAULTS[name]
    with standing(fault, right) as stand:
        sending, said, _ = sender(stand.url)
        answers = sending.send(LINES)
    assert [json.loads(answer.line)["id"] for answer in answers.answers] == [line.id for line in LINES]
    assert answers.rules_version == "v1"
    assert len(stand.calls) == 2
    assert len(said) == 1
    assert stand.bodies[0] == stand.bodies[1]


@pytest.mark.parametrize("number", [429, 503])
def test_a_busy_service_is_asked_again_and_nothing_is_said_of_it(number: int) -> None:
    for verbose, sentences in ((False, 0), (True, 5)):
        with standing(*[status(number)] * 5, right) as stand:
            sending, said, _ = sender(stand.url, verbose=verbose)
            answers = sending.send(LINES)
        assert len(answers.answers) == len(LINES)
        assert (len(stand.calls), len(said), stand.asked_for_health) == (6, sentences, 0)


def test_a_service_that_stays_busy_is_told_of_in_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("book.sending.QUIET_SECONDS", 0.1)
    with standing(status(503)) as stand:
        sending, said, _ = sender(stand.url, patience=0.3)
        with pytest.raises(StopError):
            sending.send(LINES)
    assert said
    assert len(said) < len(stand.calls)


def fails_with(name: bytes, fault: Reply) -> Reply:
    """Fails as long as a record is among those sent."""
    return lambda handler, body: (fault if name in body else right)(handler, body)


@pytest.mark.parametrize("name", sorted(PASSING_FAULTS.keys() - {"out of order", "wrong count"}))  # of several alone
def test_a_record_that_is_never_answered_is_named_and_the_others_have_their_answers(name: str) -> None:
    with standing(fails_with(b'"C3"', PASSING_FAULTS[name])) as stand:
        sending, said, _ = sender(stand.url)
        answers = sending.send(LINES).answers
    assert [answer.status for answer in answers] == [200, 200, 200, 500, 200]
    problem = json.loads(bytes(answers[3].content))
    assert problem["code"] == "no-answer"
    assert [json.loads(answer.line)["id"] for answer in answers if answer.status == 200] == ["C0", "C1", "C2", "C4"]
    assert [body.count(b"\n") for body in stand.bodies] == [5, 5, 2, 3, 3, 1, 2, 2, 1, 1, 1]
    assert sum("in halves" in text for text in said) == 3


def test_a_record_that_takes_for_ever_is_named_however_short_the_patience(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("book.sending.ANSWER_SECONDS", 0.1)

    def silent(handler: BaseHTTPRequestHandler, body: bytes) -> None:
        time.sleep(0.2)
        handler.close_connection = True

    with standing(fails_with(b'"C3"', silent)) as stand:
        sending, _, _ = sender(stand.url, patience=0.05)
        answers = sending.send(LINES).answers
    assert [answer.status for answer in answers] == [200, 200, 200, 500, 200]
    assert b"no-answer" in bytes(answers[3].content)


def test_a_service_that_answers_no_record_at_all_stops_the_run() -> None:
    lines = [Line(f"C{number}", f'{{"id": "C{number}", "request": {{}}}}'.encode()) for number in range(8)]
    with standing(changed(lambda answer: b"<html>a gateway</html>")) as stand:
        sending, _, _ = sender(stand.url)
        with pytest.raises(StopError, match="5 records in a row were not answered even alone"):
            sending.send(lines)


def test_a_service_that_is_not_well_is_waited_for_and_no_record_is_blamed() -> None:
    with standing(*[cut_within_a_chunk] * 6, right) as stand:
        stand.is_well = False
        sending, _, _ = sender(stand.url)
        answers = sending.send(LINES[:1])
    assert [answer.status for answer in answers.answers] == [200]
    assert len(stand.calls) == 7


def test_a_service_that_comes_up_later_is_waited_for() -> None:
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port = holder.getsockname()[1]
    sending, said, stop = sender(f"http://127.0.0.1:{port}")
    threading.Timer(0.3, stop.set).start()
    with pytest.raises(StoppedError):
        sending.send(LINES)
    assert "ConnectionError" in said[0]


def test_retry_after_is_kept_to() -> None:
    with standing(status(503, Retry_After="1"), right) as stand:
        sending, _, _ = sender(stand.url)
        sending.send(LINES)
    assert stand.calls[1] - stand.calls[0] >= 1


def test_the_run_is_given_up_when_patience_ends() -> None:
    with standing(status(503)) as stand:
        sending, _, _ = sender(stand.url, patience=0.2)
        with pytest.raises(StopError, match="503; no answer for"):
            sending.send(LINES)
    assert len(stand.calls) > 2


@pytest.mark.parametrize("number", [400, 401, 404, 406, 415, 422, 301])
def test_a_refusal_stops_the_run_at_once_and_says_why(number: int) -> None:
    with standing(status(number)) as stand:
        sending, _, _ = sender(stand.url)
        with pytest.raises(StopError, match=rf"{number}: No\. Not now"):
            sending.send(LINES)
    assert len(stand.calls) == 1


@pytest.mark.parametrize(
    ("errors", "told"),
    [
        (
            [{"pointer": "#", "detail": "There is no such thing."}, {"detail": "Nor this."}],
            " There is no such thing. Nor this.",
        ),
        (["of a proxy"], ""),
        ("of a proxy", ""),
        ([{"message": "of a proxy"}], ""),
    ],
)
def test_what_a_refusal_says_of_its_faults_is_told(errors: Any, told: str) -> None:
    problem = json.dumps({"title": "No", "detail": "Not so.", "errors": errors}).encode()
    with standing(lambda handler, body: reply(handler, 422, problem)) as stand:
        sending, _, _ = sender(stand.url)
        with pytest.raises(StopError, match=rf"^the service answered 422: No\. Not so\.{re.escape(told)}$"):
            sending.send(LINES)


@pytest.mark.parametrize(
    ("fields", "query"), [((), ""), (("net_after_tax", "warnings.code"), "?fields=net_after_tax,warnings.code")]
)
def test_only_the_fields_that_are_named_are_asked_for(fields: tuple[str, ...], query: str) -> None:
    with standing(right) as stand:
        sending, _, _ = sender(stand.url, fields)
        sending.send(LINES)
    assert stand.paths == [f"/v1/bulk/withdrawal-tax{query}"]


def test_too_many_lines_at_once_are_sent_in_halves() -> None:
    with standing(too_large_for(2)) as stand:
        sending, _, _ = sender(stand.url)
        answers = sending.send(LINES)
    assert [json.loads(answer.line)["id"] for answer in answers.answers] == [line.id for line in LINES]
    assert sorted(body.count(b"\n") for body in stand.bodies) == [1, 2, 2, 3, 5]


def test_a_request_is_kept_within_bounds() -> None:
    large = [Line(name, json.dumps({"id": name, "request": {"x": "x" * 3_000_000}}).encode()) for name in "abcd"]
    with standing(right) as stand:
        sending, _, _ = sender(stand.url)
        answers = sending.send(large)
    assert [json.loads(bytes(answer.content))["of"]["id"] for answer in answers.answers] == list("abcd")
    assert sorted(body.count(b"\n") for body in stand.bodies) == [2, 2]


def test_a_line_that_is_too_large_alone_is_a_failure_of_its_own() -> None:
    with standing(too_large_for(0)) as stand:
        sending, _, _ = sender(stand.url)
        answers = sending.send(LINES[:2])
    assert [(answer.status, json.loads(bytes(answer.content))["title"]) for answer in answers.answers] == [
        (413, "No"),
        (413, "No"),
    ]


def test_an_answer_to_an_unreadable_line_is_known_by_the_number_of_the_line() -> None:
    lines = [LINES[0], Line(None, b"{"), LINES[2]]
    problem = {"title": "No", "detail": "", "errors": []}
    answers: list[dict[str, Any]] = [
        {"id": "C0", "status": 200, "result": {"x": 1}},
        {"line": 2, "status": 400, "problem": problem},
        {"id": "C2", "status": 422, "problem": problem},
        {"end": True, "records": 3, "succeeded": 1, "failed": 2},
    ]
    body = "".join(json.dumps(answer) + "\n" for answer in answers).encode()
    assert [answer.status for answer in checked(body, lines)] == [200, 400, 422]
    with pytest.raises(CutShortError):
        checked(body.replace(b'"line": 2', b'"line": 1'), lines)


@given(st.integers(0, 400))
def test_an_answer_cut_anywhere_is_noticed(place: int) -> None:
    body = right_answer(b"".join(line.bytes + b"\n" for line in LINES))
    assert len(checked(body, LINES)) == 5
    with pytest.raises(CutShortError):
        checked(body[: min(place, len(body) - 1)], LINES)


def test_the_gate_opens_with_answers_and_closes_when_the_service_is_busy() -> None:
    gate = Gate(3)
    assert gate.open == 1
    gate.answered()
    gate.answered()
    gate.answered()
    assert gate.open == 3
    gate.narrow()
    gate.narrow()
    gate.narrow()
    assert gate.open == 1
    for _ in range(19):
        gate.answered()
    assert gate.open == 1
    gate.answered()
    assert gate.open == 2


def test_the_gate_lets_no_more_through_than_are_allowed() -> None:
    gate = Gate(2)
    gate.answered()
    inside, most = 0, 0
    counting = threading.Lock()

    def visit() -> None:
        nonlocal inside, most
        with gate.passed():
            with counting:
                inside += 1
                most = max(most, inside)
            time.sleep(0.01)
            with counting:
                inside -= 1

    threads = [threading.Thread(target=visit) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == 2


def test_what_retry_after_may_say() -> None:
    # The two forms and the example date of RFC 9110 section 10.2.3 (from memory).
    now = datetime(1999, 12, 31, 23, 59, 0, tzinfo=UTC)
    assert retry_after("120", now) == 120
    assert retry_after("Fri, 31 Dec 1999 23:59:59 GMT", now) == 59
    assert retry_after("Fri, 31 Dec 1999 23:58:00 GMT", now) == 0
    assert retry_after("soon", now) is None
    assert retry_after(None, now) is None


def test_pauses_grow_but_not_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("book.sending.FIRST_PAUSE_SECONDS", 0.5)
    for failed, longest in ((1, 0.5), (2, 1), (3, 2), (6, 16), (7, 30), (5_000, 30)):
        assert all(longest / 2 <= pause_before(failed, None) <= longest for _ in range(50))
    assert all(7 <= pause_before(9, 7.0) <= 7.5 for _ in range(50))
