"""Connections that take their time: a request is whole wherever its bytes are cut, and who waits holds nobody up.

The framing is that of RFC 9112 (sections 6 and 7); how many wait, and how long, are this project's own decisions.
"""

from __future__ import annotations

import http.client
import json
import select
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service import connections
from service.connections import (
    ANSWER_KEPT,
    LONGEST_CHUNK_LINE,
    LONGEST_HEAD,
    LONGEST_HELD_SECONDS,
    Arrival,
    Connection,
    Hall,
    Pace,
)
from service.http.heavy import RETRY_AFTER_SECONDS
from tests.test_under_load import HEAD, QUOTE, Service, await_true, reply_of, running

LONGEST = 1_000
GET = b"GET /health/live HTTP/1.1\r\nHost: x\r\n\r\n"


def arrival() -> Arrival:
    return Arrival(lambda first_line: LONGEST)


def whole_at(sent: bytes) -> int | None:
    """How many bytes had come, one by one, when the request counted as whole; None where it never did."""
    coming = arrival()
    for count, byte in enumerate(sent, start=1):
        coming.data.append(byte)
        if coming.is_whole():
            return count
    return None


WHOLE = {
    "no body": GET,
    "a length": HEAD + b"Content-Length: 5\r\n\r\n{...}",
    "no bytes": HEAD + b"Content-Length: 0\r\n\r\n",
    "the longest": HEAD + b"Content-Length: 1000\r\n\r\n" + b"x" * LONGEST,
    "in capitals, with space": HEAD + b"CONTENT-LENGTH: \t2 \r\n\r\n{}",
    "last header": b"POST / HTTP/1.1\r\nA: 1\r\nContent-Length: 2\r\n\r\n{}",
    "chunks": HEAD + b"Transfer-Encoding: chunked\r\n\r\n2\r\n{}\r\nA;x=1\r\n0123456789\r\n0\r\n\r\n",
    "chunks with trailers": HEAD + b"Transfer-Encoding: Chunked\r\n\r\n1\r\nx\r\n00\r\nA: b\r\nC: d\r\n\r\n",
    "no chunk": HEAD + b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    "a line end in a chunk": HEAD + b"Transfer-Encoding: chunked\r\n\r\n7\r\n\r\n0\r\n\r\n\r\n0\r\n\r\n",
}


@pytest.mark.parametrize("sent", WHOLE.values(), ids=WHOLE)
def test_a_request_is_whole_with_its_last_byte_and_not_before(sent: bytes) -> None:
    assert whole_at(sent) == len(sent)
    at_once = arrival()
    at_once.data += sent
    assert at_once.is_whole()


HEADS_TO_REFUSE = {
    "too long": HEAD + b"Content-Length: 1001\r\n\r\n",
    "two lengths": HEAD + b"Content-Length: 1\r\nContent-Length: 2\r\n\r\n",
    "length and chunks": HEAD + b"Content-Length: 1\r\nTransfer-Encoding: chunked\r\n\r\n",
    "no number": HEAD + b"Content-Length: +5\r\n\r\n",
    "digits without end": HEAD + b"Content-Length: " + b"9" * 5_000 + b"\r\n\r\n",
    "another coding": HEAD + b"Transfer-Encoding: pigeon\r\n\r\n",
    "two codings": HEAD + b"Transfer-Encoding: gzip, chunked\r\n\r\n",
    "no size": HEAD + b"Transfer-Encoding: chunked\r\n\r\n\r\n",
    "a size below none": HEAD + b"Transfer-Encoding: chunked\r\n\r\n-5\r\n",
}


@pytest.mark.parametrize("sent", HEADS_TO_REFUSE.values(), ids=HEADS_TO_REFUSE)
def test_what_the_server_refuses_is_not_waited_for(sent: bytes) -> None:
    assert whole_at(sent) == len(sent)


def test_heads_and_lines_without_end_are_not_waited_for() -> None:
    assert whole_at(b"x" * (LONGEST_HEAD + 10)) == LONGEST_HEAD + 1
    head = HEAD + b"Transfer-Encoding: chunked\r\n\r\n"
    assert whole_at(head + b"1" * (LONGEST_CHUNK_LINE + 10)) == len(head) + LONGEST_CHUNK_LINE + 1


def test_chunks_without_end_are_not_waited_for() -> None:
    head = HEAD + b"Transfer-Encoding: chunked\r\n\r\n"
    stopped = whole_at(head + b"1\r\nx\r\n" * 20_000)
    assert stopped is not None
    assert stopped > len(head) + 2 * LONGEST


@given(st.lists(st.binary(min_size=1, max_size=40), max_size=6), st.lists(st.integers(1, 60), min_size=1, max_size=40))
def test_wherever_chunks_are_cut(chunks: list[bytes], cuts: list[int]) -> None:
    body = b"".join(b"%x\r\n%b\r\n" % (len(each), each) for each in chunks) + b"0\r\n\r\n"
    sent = HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + body
    coming, at = arrival(), 0
    for cut in cuts:
        coming.data += sent[at : at + cut]
        at = min(at + cut, len(sent))
        assert coming.is_whole() == (at == len(sent))


def test_a_client_that_asks_whether_to_go_on_is_to_be_told_where_its_body_has_not_come() -> None:
    for sent, expected in (
        (HEAD + b"Expect: 100-continue\r\nContent-Length: 2\r\n\r\n", True),
        (HEAD + b"Content-Length: 2\r\nexpect: 100-Continue\r\n\r\n", True),
        (HEAD + b"Expect: 100-continue\r\nContent-Length: 2\r\n\r\n{}", False),
        (HEAD + b"Expect: 100-continue\r\nContent-Length: 2000\r\n\r\n", False),
        (HEAD + b"Content-Length: 2\r\n\r\n", False),
    ):
        coming = arrival()
        coming.data += sent
        coming.is_whole()
        assert coming.wants_to_be_told_to_go_on is expected, sent


# --------------------------------------------------------------------------------------------------- the hall


class Room:
    """A hall, with the other ends of its connections."""

    def __init__(self, most_bytes: int = 10**9, seconds: float = 60) -> None:
        self.refused: list[tuple[Connection, int]] = []
        self.hall = Hall(most_bytes, seconds, lambda *refused: self.refused.append(refused))
        self.pace: Pace | None = None
        self._open = ExitStack()

    def pair(self) -> tuple[Connection, socket.socket]:
        """A connection and its client."""
        ours, theirs = socket.socketpair()
        self._open.enter_context(ours)
        self._open.enter_context(theirs)
        theirs.settimeout(10)
        return Connection(ours, "", arrival(), 60, lambda: None, self.pace), theirs

    def waits(self) -> tuple[Connection, socket.socket]:
        connection, theirs = self.pair()
        self.hall.await_rest(connection)
        return connection, theirs


@pytest.fixture
def room() -> Iterator[Room]:
    found = Room()
    with found._open:
        yield found


def test_who_has_waited_longest_goes_when_there_are_too_many(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "MOST_CONNECTIONS", 3)
    waiting = [room.waits() for _ in range(5)]
    assert room.refused == [(connection, 503) for connection, _ in waiting[:2]]
    assert len(room.hall) == 3
    assert [theirs.recv(1) for _, theirs in waiting[:2]] == [b"", b""]
    waiting[3][1].sendall(GET)
    assert room.hall.ready(10) == [waiting[3][0]]
    assert len(room.hall) == 2


def test_who_has_waited_longest_goes_when_all_hold_too_much() -> None:
    room = Room(most_bytes=300)
    with room._open:
        waiting = [room.waits() for _ in range(3)]
        for _, theirs in waiting:
            theirs.sendall(HEAD + b"Content-Length: 500\r\n\r\n" + b"x" * 100)
            room.hall.ready(10)
        assert room.refused == [(waiting[0][0], 503), (waiting[1][0], 503)]
        waiting[2][1].sendall(b"x" * 400)
        assert room.hall.ready(10) == [waiting[2][0]]


def test_who_does_not_send_in_time_goes() -> None:
    room = Room(seconds=0.05)
    with room._open:
        connection, _ = room.waits()
        time.sleep(0.06)
        assert room.hall.ready(0) == []
        assert (room.refused, len(room.hall)) == ([(connection, 408)], 0)


def test_what_a_reader_does_not_take_waits_for_it_and_is_whole(room: Room) -> None:
    connection, theirs = room.pair()
    theirs.sendall(GET)
    connection.take_in()
    assert connection.is_ready()
    assert connection.recv(10) + connection.recv(10_000) == GET
    assert connection.recv(10_000) == b""
    assert connection.size == 0
    answer = bytes(range(256)) * 6_000
    assert len(answer) < ANSWER_KEPT
    for begin in range(0, len(answer), 50_000):
        connection.sendall(answer[begin : begin + 50_000])
    room.hall.see_off(connection)
    assert len(room.hall) == 1
    received = b""
    while some := _received(theirs, room.hall):
        received += some
    assert received == answer
    assert (room.refused, len(room.hall)) == ([], 0)


def _received(theirs: socket.socket, hall: Hall) -> bytes:
    hall.ready(0)
    return theirs.recv(30_000)


def test_a_reader_that_leaves_ends_the_answer(room: Room) -> None:
    connection, theirs = room.pair()
    theirs.close()
    with pytest.raises(ConnectionError):
        connection.sendall(b"x" * 100)


def test_who_still_sends_after_its_answer_is_read_for_a_while(room: Room) -> None:
    connection, theirs = room.pair()
    theirs.sendall(HEAD + b"Content-Length: 2000\r\n\r\n")
    connection.take_in()
    assert connection.is_ready()
    connection.recv(10_000)
    connection.sendall(b"too long")
    room.hall.see_off(connection)
    for _ in range(20):
        theirs.sendall(b"x" * 100)
        room.hall.ready(1)
    assert theirs.recv(100) == b"too long"
    theirs.close()
    await_true(lambda: not room.hall.ready(0) and not room.hall)


def asked(room: Room) -> tuple[Connection, socket.socket]:
    """A connection whose request the application has read."""
    connection, theirs = room.pair()
    theirs.sendall(GET)
    connection.take_in()
    assert connection.is_ready()
    assert connection.recv(10_000) == GET
    return connection, theirs


def test_refusals_go_out_at_once_while_they_are_few() -> None:
    pace = Pace(a_second=10, at_once=3)
    assert [round(pace.seconds(100.0), 6) for _ in range(5)] == [0, 0, 0, 0.1, 0.2]
    assert [round(pace.seconds(100.25), 6) for _ in range(2)] == [0.05, 0.15]
    assert [pace.seconds(200.0) for _ in range(3)] == [0, 0, 0]
    assert max(pace.seconds(300.0) for _ in range(100)) == LONGEST_HELD_SECONDS
    assert pace.seconds(303.0) == 0


@pytest.mark.parametrize("status", [b"503 Service Unavailable", b"429 Too Many Requests", b"413 Content Too Large"])
def test_a_refusal_that_is_held_goes_out_whole_in_its_time(room: Room, status: bytes) -> None:
    room.pace = Pace(a_second=20, at_once=1)
    refusal = b"HTTP/1.1 " + status + b"\r\n\r\n"
    first, second = asked(room), asked(room)
    for connection, _ in (first, second):
        connection.sendall(refusal)
        connection.sendall(b"words")
        room.hall.see_off(connection)
    begun = time.monotonic()
    assert first[1].recv(1_000) + first[1].recv(1_000) == refusal + b"words"
    assert len(room.hall) == 1
    await_true(lambda: not room.hall.ready(1) and not room.hall)
    assert time.monotonic() - begun >= 0.04
    assert second[1].recv(1_000) == refusal + b"words"
    assert second[1].recv(1_000) == b""


def test_answers_are_never_held(room: Room) -> None:
    room.pace = Pace(a_second=0.1, at_once=0)
    connection, theirs = asked(room)
    connection.sendall(b"HTTP/1.1 200 OK\r\n\r\n")
    assert theirs.recv(1_000) == b"HTTP/1.1 200 OK\r\n\r\n"


def put_off(room: Room, may_go: Callable[[], bool], seconds: float = 60) -> tuple[Connection, socket.socket]:
    connection, theirs = asked(room)
    assert connection.put_off(may_go, seconds)
    room.hall.see_off(connection)
    return connection, theirs


def test_requests_put_off_begin_again_one_after_the_other_from_their_start(room: Room) -> None:
    places = [False]
    one, two = (put_off(room, lambda: places[0])[0] for _ in range(2))
    assert room.hall.ready(0.01) == []
    places[0] = True
    assert room.hall.ready(0.01) == [one]
    assert one.recv(10_000) == GET
    assert room.hall.ready(0.01) == [two]
    assert len(room.hall) == 0


def test_a_request_put_off_goes_on_without_a_place_when_its_time_has_passed(room: Room) -> None:
    connection, _ = put_off(room, lambda: False, seconds=0.05)
    begun = time.monotonic()
    while not (found := room.hall.ready(1)):
        assert time.monotonic() < begun + 10
    assert found == [connection]
    assert time.monotonic() >= begun + 0.04
    connection.recv(10_000)
    assert not connection.put_off(lambda: True, 0.05)


def test_who_leaves_meanwhile_is_not_begun_again_and_who_stops_makes_all_go_on(room: Room) -> None:
    _, gone = put_off(room, lambda: True)
    gone.close()
    assert room.hall.ready(0.01) == []
    assert len(room.hall) == 0
    connection, _ = put_off(room, lambda: False)
    room.hall.hurry()
    assert room.hall.ready(0.01) == [connection]
    connection.recv(10_000)
    assert not connection.put_off(lambda: True, 60)


def test_what_is_too_long_to_be_kept_is_not_put_off(room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "LONGEST_PUT_OFF", len(GET) - 1)
    connection, _ = asked(room)
    assert not connection.put_off(lambda: True, 60)


# ----------------------------------------------------------------------------------------------- real services


def nothing(client: socket.socket) -> None:
    """A connection alone."""


def a_head_that_stops(client: socket.socket) -> None:
    client.sendall(b"POST /v1/withdrawal-tax HTTP/1.1\r\nHost:")


def a_body_that_stops(client: socket.socket) -> None:
    client.sendall(HEAD + b"Content-Length: 1000\r\n\r\n{")


def chunks_that_stop(client: socket.socket) -> None:
    client.sendall(HEAD + b"Transfer-Encoding: chunked\r\n\r\n100\r\n{")


def an_answer_that_is_not_read(client: socket.socket) -> None:
    client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
    client.sendall(b"GET /docs/swagger-ui-bundle.js HTTP/1.1\r\nHost: x\r\n\r\n")


KINDS: tuple[Callable[[socket.socket], None], ...] = (
    nothing, a_head_that_stops, a_body_that_stops, chunks_that_stop, an_answer_that_is_not_read,
)  # fmt: skip


@contextmanager
def slow_clients(service: Service, count: int, begin: Callable[[socket.socket], None]) -> Iterator[list[socket.socket]]:
    """So many clients that have begun, and do no more."""
    with ExitStack() as held:
        found = []
        for _ in range(count):
            client = socket.socket()
            held.enter_context(client)
            if begin is an_answer_that_is_not_read:
                client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
            client.settimeout(20)
            client.connect(("127.0.0.1", service.port))
            begin(client)
            found.append(client)
        yield found


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    with running(SERVICE_WORKERS="2") as found:
        await_true(lambda: len(found.workers()) == 2)
        yield found


@pytest.mark.parametrize("begin", KINDS)
def test_slow_clients_stop_nobody(service: Service, begin: Callable[[socket.socket], None]) -> None:
    before = service.workers()
    with slow_clients(service, 60, begin):
        for _ in range(40):
            assert service.post("/v1/withdrawal-tax", QUOTE).status == 200
            assert service.get("/health/ready").status == 200
        assert service.workers() == before


def test_a_request_that_comes_in_pieces_is_answered(service: Service) -> None:
    body = json.dumps(QUOTE).encode()
    for request in (
        HEAD + b"Content-Length: %d\r\n\r\n" % len(body) + body,
        HEAD + b"Transfer-Encoding: chunked\r\n\r\n%x\r\n%b\r\n0\r\n\r\n" % (len(body), body),
    ):
        with socket.create_connection(("127.0.0.1", service.port), timeout=20) as client:
            for begin in range(0, len(request), 97):
                client.sendall(request[begin : begin + 97])
                time.sleep(0.01)
            assert client.recv(100).startswith(b"HTTP/1.1 200 ")


def test_a_client_that_waits_to_be_told_is_told_once(service: Service) -> None:
    body = json.dumps(QUOTE).encode()
    with socket.create_connection(("127.0.0.1", service.port), timeout=20) as client:
        client.sendall(HEAD + b"Expect: 100-continue\r\nContent-Length: %d\r\n\r\n" % len(body))
        assert client.recv(1_000) == b"HTTP/1.1 100 Continue\r\n\r\n"
        client.sendall(body)
        assert client.recv(1_000).startswith(b"HTTP/1.1 200 ")


def test_a_slow_reader_gets_its_whole_answer(service: Service) -> None:
    expected = service.get("/docs/swagger-ui-bundle.js").body
    with slow_clients(service, 1, an_answer_that_is_not_read) as (client,):
        time.sleep(0.3)
        answer = b""
        while some := client.recv(65_536):
            answer += some
    assert answer.partition(b"\r\n\r\n")[2] == expected


def test_a_body_far_too_long_is_refused_and_its_sender_hears_it(service: Service) -> None:
    """The client sends all of it before it reads: nothing may break while it does."""
    sent = b"x" * 8_000_000
    with socket.create_connection(("127.0.0.1", service.port), timeout=20) as client:
        client.sendall(HEAD + b"Content-Length: %d\r\n\r\n" % len(sent) + sent)
        assert client.recv(1_000).startswith(b"HTTP/1.1 413 ")


def test_who_has_to_make_room_is_told_to_come_again(service: Service) -> None:
    """Ten bodies as long as bulk ones may be are more than two workers have room for, whichever of them takes which."""
    head = b"POST /v1/bulk/withdrawal-tax HTTP/1.1\r\nHost: x\r\nContent-Length: 16000000\r\n\r\n"
    with slow_clients(service, 10, nothing) as clients:
        for client in clients:
            client.sendall(head + b"x" * 15_900_000)
        await_true(lambda: bool(select.select(clients, [], [], 0)[0]))
        turned_out = [client for client in clients if select.select([client], [], [], 0)[0]]
        assert turned_out
        for client in turned_out:
            with closing(http.client.HTTPResponse(client)) as response:
                response.begin()
                reply = reply_of(response)
            assert (reply.code, reply.headers["Retry-After"]) == ("busy", str(RETRY_AFTER_SECONDS))
        assert service.post("/v1/withdrawal-tax", QUOTE).status == 200


def test_a_head_that_does_not_end_is_refused(service: Service) -> None:
    reply = service.raw(b"GET / HTTP/1.1\r\n" + b"A: Wrenfield\r\n" * 6_000)
    assert (reply.status, reply.code) == (431, "headers-too-large")
