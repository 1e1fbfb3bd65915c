"""Connections that take their time, and a worker that waits for all of them together and for none alone.

A worker answers one request at a time. So that a client that sends nothing, sends byte by byte, or reads its answer slowly does
not hold it, a connection gets the worker only when its request has arrived whole, and leaves it when the answer is made. In
between it waits in the worker's hall, which costs memory and nothing else. The hall holds so many connections and so many bytes;
where it is full, whoever has waited longest goes.

Two more wait there, so that those who ask without a pause leave the workers to the others: a request that the application puts
off until there is a place for its work, and a refusal, where there have been many in a short time.
"""

from __future__ import annotations

import errno
import math
import os
import re
import select
import selectors
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from http import HTTPStatus
from typing import Any, NamedTuple, cast

from gunicorn.http.errors import LimitRequestHeaders
from gunicorn.workers.sync import SyncWorker

LONGEST_HEAD = 65_536
LONGEST_CHUNK_LINE = 8_192
MOST_CONNECTIONS = 512
MOST_BYTES = 67_108_864
"""In one worker's hall. There is room for three of the largest bodies at least."""
HEAD_SECONDS = 10
LINGER_SECONDS = 2
"""How long a client that still sends may go on after its answer, unread: to close at once could take the answer from it."""
GRACE_SECONDS = 0.005
FEW_CONNECTIONS = 8
"""With so few in the hall a worker waits for the rest of a request that has just begun to arrive, for a moment: in the hall it
would have to wait until the worker is free again."""
ANSWER_KEPT = 2_097_152
"""Bytes of an answer that are kept for a slow reader; only then does the worker wait for it. All answers but bulk ones are
smaller."""
LONGEST_PUT_OFF = 131_072
"""Bytes of a request that can be begun again."""
REFUSALS_A_SECOND = 10
REFUSALS_AT_ONCE = 10
LONGEST_HELD_SECONDS = 2.0
"""A worker's refusals go out at once while they are few. Whoever asks again as soon as it is refused soon waits for each; so a
few such clients cannot keep a worker busy with refusing them. Nobody waits longer than a refusal asks for anyhow."""
_REFUSALS = (b"HTTP/1.1 413", b"HTTP/1.1 429", b"HTTP/1.1 503")
_LOOK_SECONDS = 1.0
_LOOK_FOR_A_PLACE_SECONDS = 0.002
_WITHOUT_DESCRIPTORS_SECONDS = 0.05
_AT_ONCE = 262_144
_FRAMING = re.compile(rb"\r\n(content-length|transfer-encoding):[ \t]*(.*?)[ \t]*(?=\r\n)", re.IGNORECASE)
_LENGTH = re.compile(rb"[0-9]{1,18}")
_CONTINUE = re.compile(rb"\r\nexpect:[ \t]*100-continue[ \t]*(?=\r\n)", re.IGNORECASE)
_CHUNK = re.compile(rb"([0-9a-f]{1,15})[ \t]*(?:;.*)?", re.IGNORECASE | re.DOTALL)
_NO_MORE_DESCRIPTORS = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)
_NOBODY_THERE = (errno.EAGAIN, errno.EWOULDBLOCK, errno.ECONNABORTED)
_GONE = select.POLLRDHUP | select.POLLHUP | select.POLLERR


class Arrival:
    """The bytes of a request as they come, and whether they are all there. Of HTTP it reads the framing alone; what it does not
    understand is for the server to refuse, and counts as whole.

    ``longest_body`` has the most bytes of a body by the first line of the request.
    """

    def __init__(self, longest_body: Callable[[bytes], int]) -> None:
        self.data = bytearray()
        self.has_head = False
        self.wants_to_be_told_to_go_on = False  # RFC 9110 section 10.1.1
        self.is_given_up = False
        """Whether it counts as whole although more may come."""
        self._longest_body = longest_body
        self._looked = 0  # where the head has not ended yet
        self._end = 0  # of all without chunks; then of the last chunk whose size is known
        self._in_chunks = False
        self._most = 0

    def is_whole(self) -> bool:
        """Whether nothing more has to come, or nothing more would be read."""
        if not self.has_head:
            end = self.data.find(b"\r\n\r\n", max(0, self._looked - 3))
            self._looked = len(self.data)
            if end < 0:
                return self._give_up(self.has_too_long_a_head)
            self._read_head(bytes(self.data[: end + 4]))
        return self._has_all_chunks() if self._in_chunks else len(self.data) >= self._end

    def _give_up(self, does: bool) -> bool:
        self.is_given_up = does
        return does

    @property
    def has_too_long_a_head(self) -> bool:
        """Whether more has come than a head may have, and it has not ended."""
        return not self.has_head and len(self.data) > LONGEST_HEAD

    def _read_head(self, head: bytes) -> None:
        self.has_head = True
        self._end = len(head)
        longest = self._longest_body(head[: head.index(b"\r\n")])
        framing = [(name.lower(), value.lower()) for name, value in _FRAMING.findall(head)]
        self._in_chunks = framing == [(b"transfer-encoding", b"chunked")]
        if framing and not self._in_chunks:
            (name, value), *others = framing
            has_length = name == b"content-length" and _LENGTH.fullmatch(value) is not None and not others
            # What is too long is refused by its announcement, unread.
            if not self._give_up(not has_length or int(value) > longest):
                self._end += int(value)
        self._most = self._end + 2 * longest + LONGEST_CHUNK_LINE  # chunks have more than the body between them
        has_a_body = self._in_chunks or self._end > len(self.data)
        self.wants_to_be_told_to_go_on = has_a_body and _CONTINUE.search(head) is not None

    def _has_all_chunks(self) -> bool:
        """Go past every chunk whose size is known, to the end of the last (RFC 9112 section 7.1)."""
        while self._end <= len(self.data):
            line_end = self.data.find(b"\r\n", self._end)
            if line_end < 0:
                return self._give_up(len(self.data) - self._end > LONGEST_CHUNK_LINE)
            chunk = _CHUNK.fullmatch(self.data, self._end, line_end)
            if chunk is None:
                return self._give_up(True)
            size = int(chunk[1], 16)
            if size == 0:
                has_ended = self.data.find(b"\r\n\r\n", line_end) >= 0
                return has_ended or self._give_up(len(self.data) - line_end > LONGEST_HEAD)
            self._end = line_end + 2 + size + 2
        return self._give_up(len(self.data) > self._most)


class Pace:
    """When refusals go out: ``at_once`` of them together, then so many a second."""

    def __init__(self, a_second: float = REFUSALS_A_SECOND, at_once: int = REFUSALS_AT_ONCE) -> None:
        self._apart, self._ahead = 1 / a_second, at_once / a_second
        self._next = 0.0

    def seconds(self, now: float) -> float:
        """How long the next one waits."""
        self._next = min(max(self._next, now - self._ahead) + self._apart, now + LONGEST_HELD_SECONDS)
        return max(0.0, self._next - now)


class Parked(NamedTuple):
    """Until when a connection waits for nothing that its client does; it goes on before that where ``may_go`` says so."""

    until: float
    may_go: Callable[[], bool] | None = None


class Connection:
    """A client's connection, which the server has in place of its socket: reads give what has arrived, and what of an answer the
    client does not take at once is kept, to go out later.

    ``patience`` is for how many seconds a worker waits for a reader of whom too much is kept; ``still_waiting`` is called all the
    while. ``pace`` says how long refusals are held.
    """

    def __init__(
        self,
        client: socket.socket,
        address: Any,
        arrival: Arrival,
        patience: float,
        still_waiting: Callable[[], None],
        pace: Pace | None = None,
    ) -> None:
        self.address, self.arrival = address, arrival
        self.begun = time.monotonic()
        self.is_answered = False
        self.kept = bytearray()
        self.parked: Parked | None = None
        """Where it is to wait for nothing that its client does."""
        self.may_be_put_off_until = 0.0
        self._client, self._patience, self._still_waiting, self._pace = client, patience, still_waiting, pace
        self._read = 0
        self._taken: bytearray | None = None
        self._has_begun_to_answer = False
        self._may_send = True
        self._has_ended = self._is_lost = False
        client.setblocking(False)

    @property
    def size(self) -> int:
        """Bytes that it holds."""
        return len(self.arrival.data) + len(self.kept)

    def is_ready(self) -> bool:
        """Whether the request is there, as whole as it will ever be."""
        return not self._is_lost and (self.arrival.is_whole() or (self._has_ended and self.arrival.data != b""))

    def is_over(self) -> bool:
        """Whether the client is gone: its connection is broken, or it has closed its side and waits for nothing."""
        return self._is_lost or (self._has_ended and not self.kept)

    def take_in(self) -> None:
        """Take what has arrived; after the answer it is not kept."""
        try:
            some = self._client.recv(_AT_ONCE)
        except BlockingIOError:
            return
        except OSError:
            self._is_lost = True
            return
        self._has_ended = not some
        if not self.is_answered:
            self.arrival.data += some

    def has_left(self) -> bool:
        """Whether the client has closed the connection, or its side of it."""
        poll = select.poll()
        poll.register(self._client, _GONE)
        return bool(poll.poll(0))

    def wait_a_moment(self, seconds: float) -> None:
        """Wait for the rest of the request here and now, for so long at most."""
        until = time.monotonic() + seconds
        while not (self.is_ready() or self.is_over()) and (left := until - time.monotonic()) > 0:
            _await(self._client, select.POLLIN, left)
            self.take_in()

    def tell_to_go_on(self) -> None:
        """Where the client sends its body only when told to, tell it, once."""
        if self.arrival.wants_to_be_told_to_go_on:
            self.arrival.wants_to_be_told_to_go_on = False
            self._send(b"HTTP/1.1 100 Continue\r\n\r\n")

    def send_kept(self) -> None:
        """As much of the answer as the client takes now."""
        del self.kept[: self._send(self.kept)]

    def end_reading(self) -> None:
        """Forget the request, which is answered."""
        self.is_answered = True
        self._may_send = self.arrival.is_given_up or self._read < len(self.arrival.data)
        self.arrival.data.clear()

    def end_answer(self) -> bool:
        """Tell the client that nothing more comes; whether it sends nothing more either, as far as is known. To close while
        something comes could take the answer from it."""
        try:
            self._client.shutdown(socket.SHUT_WR)
        except OSError:
            return True
        return not self._may_send or self._has_ended

    def let_go(self) -> None:
        """Close it."""
        self._client.close()

    def _send(self, data: bytes | bytearray) -> int:
        try:
            return self._client.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._is_lost = True
            return len(data)

    # What the server and the application ask of a socket.

    def recv(self, size: int) -> bytes:
        """Bytes of the request; none where no more have arrived, whatever the client may still send."""
        some = bytes(memoryview(self.arrival.data)[self._read : self._read + size])
        self._read += len(some)
        if self._read == len(self.arrival.data) != 0:
            self._taken = self.arrival.data if self._read <= LONGEST_PUT_OFF else None
            self.arrival.data, self._read = bytearray(), 0  # a book is not held twice while it is worked on
        return some

    def send(self, data: bytes) -> int:
        """The server uses it only to tell the client to go on, which has been done or was not needed."""
        return len(data)

    def sendall(self, data: bytes) -> None:
        """Send it, or keep it. ConnectionError where the client is gone, or has long read too little."""
        if not self._has_begun_to_answer:
            self._has_begun_to_answer = True
            if self._pace is not None and data.startswith(_REFUSALS):
                now = time.monotonic()
                if (seconds := self._pace.seconds(now)) > 0:
                    self.parked = Parked(now + seconds)
        sent = 0 if self.kept or self.parked else self._send(data)
        self.kept += memoryview(data)[sent:]
        until = time.monotonic() + self._patience
        while len(self.kept) > ANSWER_KEPT and not self._is_lost:
            if time.monotonic() > until:
                raise ConnectionResetError(errno.ECONNRESET, "the client does not read its answer")
            self._still_waiting()
            _await(self._client, select.POLLOUT, _LOOK_SECONDS)
            self.send_kept()
        if self._is_lost:
            raise ConnectionResetError(errno.ECONNRESET, "the client is gone")

    def put_off(self, may_go: Callable[[], bool], seconds: float) -> bool:
        """For the application, which then leaves the request alone: begin it again from its start as soon as ``may_go`` says so,
        or so many seconds after it was first put off. False where they have passed, or it is too long to be kept."""
        now = time.monotonic()
        if self.may_be_put_off_until == 0:
            self.may_be_put_off_until = now + seconds
        if now >= self.may_be_put_off_until or self._taken is None or self.arrival.data:
            return False
        self.arrival.data, self._read, self._taken = self._taken, 0, None
        self.parked = Parked(self.may_be_put_off_until, may_go)
        return True

    def fileno(self) -> int:
        """The socket's descriptor."""
        return self._client.fileno()

    def settimeout(self, seconds: float | None) -> None:
        """Nothing here waits but as said above."""

    def shutdown(self, how: int) -> None:
        """Left to the hall, since a part of the answer may have to go out yet. OSError tells the server that there is nothing for
        it to wait for."""
        raise OSError

    def close(self) -> None:
        """Left to the hall."""


def close_door(listener: socket.socket) -> None:
    """Let hardly anybody in who has not yet come: closed at once, the socket would throw out those who wait to be accepted."""
    with suppress(OSError):
        listener.listen(0)


def _await(client: socket.socket, event: int, seconds: float) -> None:
    poll = select.poll()
    poll.register(client, event)
    poll.poll(1_000 * seconds)


class Hall:
    """Where connections wait, for the rest of their requests or until their answers are read.

    ``most_bytes`` is what all of them may hold, ``seconds`` how long a request may take to arrive, and a reader may take nothing;
    ``refuse`` answers a client whose request has not arrived with a status: 408 after its time, 503 where there is no room.
    """

    def __init__(self, most_bytes: int, seconds: float, refuse: Callable[[Connection, int], None]) -> None:
        self._most_bytes, self._seconds, self._refuse = most_bytes, seconds, refuse
        self._selector = selectors.DefaultSelector()
        self._waiting: dict[Connection, float] = {}  # until when, from the oldest
        self._parked: dict[Connection, Parked] = {}  # those of them whom nothing but time or a place moves
        self._held = 0
        self._next_look = 0.0

    def __len__(self) -> int:
        return len(self._waiting)

    def watch(self, source: Any) -> None:
        """Let ``ready`` return when there is something to read here as well."""
        self._selector.register(source, selectors.EVENT_READ)

    def unwatch(self, source: Any) -> None:
        """Leave it alone again."""
        self._selector.unregister(source)

    def await_rest(self, connection: Connection) -> None:
        """Let a connection wait for the rest of its request."""
        connection.tell_to_go_on()
        seconds = self._seconds if connection.arrival.has_head else min(HEAD_SECONDS, self._seconds)
        self._enter(connection, selectors.EVENT_READ, connection.begun + seconds)

    def see_off(self, connection: Connection) -> None:
        """Close a connection when its answer has gone out; until then, and while it may still send, it waits here. One that was
        put off waits to be begun again."""
        if connection.parked is not None and not connection.kept:
            self._park(connection)
            return
        if not connection.is_answered:
            connection.end_reading()
        if connection.parked is not None:
            self._park(connection)
        elif connection.kept:
            self._enter(connection, selectors.EVENT_WRITE, time.monotonic() + self._seconds)
        elif connection.end_answer():
            connection.let_go()
        else:
            self._enter(connection, selectors.EVENT_READ, time.monotonic() + LINGER_SECONDS)

    def ready(self, seconds: float) -> list[Connection]:
        """The connections whose requests have arrived, which leave the hall; after so many seconds at most, or when there is
        something else to be read."""
        events = self._selector.select(self._longest_wait(seconds))
        seen = [(key.data, event) for key, event in events if isinstance(key.data, Connection)]
        # One that is seen may have to go while another is looked at.
        found = [each for each, event in seen if each in self._waiting and self._has_become_ready(each, event)]
        now = time.monotonic()
        if self._waiting and now >= self._next_look:
            self._next_look = now + _LOOK_SECONDS
            for connection in [each for each, until in self._waiting.items() if until < now]:
                self._turn_out(connection, HTTPStatus.REQUEST_TIMEOUT)
        return found + self._go_on(now) if self._parked else found

    def hurry(self) -> None:
        """Let nobody wait for time or a place any longer."""
        for connection in self._parked:
            self._parked[connection] = Parked(0)
            connection.may_be_put_off_until = -1

    def _longest_wait(self, seconds: float) -> float:
        if not self._waiting:
            return seconds
        for until, may_go in self._parked.values():
            left = until - time.monotonic() if may_go is None else _LOOK_FOR_A_PLACE_SECONDS
            seconds = min(seconds, max(0.0, left))
        return min(seconds, _LOOK_SECONDS)

    def _go_on(self, now: float) -> list[Connection]:
        """Those that were put off and whose turn it is; an answer that was held goes out. For a place only the first asks."""
        found, has_asked = [], False
        for connection, (until, may_go) in tuple(self._parked.items()):
            goes = now >= until
            if not goes and may_go is not None and not has_asked:
                has_asked, goes = True, may_go()
            if not goes:
                continue
            self._leave(connection)
            connection.parked = None
            if connection.is_answered:
                connection.send_kept()
                self.see_off(connection)
            elif connection.has_left():
                connection.let_go()
            else:
                found.append(connection)
        return found

    def _park(self, connection: Connection) -> None:
        assert connection.parked is not None
        self._parked[connection] = connection.parked
        self._wait(connection, math.inf)

    def turn_out_oldest(self) -> bool:
        """Let the one go that has waited longest; False where there is none."""
        for connection in self._waiting:
            self._turn_out(connection, HTTPStatus.SERVICE_UNAVAILABLE)
            return True
        return False

    def turn_out_silent(self) -> None:
        """Let those go who have sent nothing, or have their answers."""
        for connection in [each for each in self._waiting if each.size == 0]:
            self._leave(connection)
            connection.let_go()

    def _has_become_ready(self, connection: Connection, event: int) -> bool:
        before, had_head = connection.size, connection.arrival.has_head
        if event & selectors.EVENT_WRITE:
            connection.send_kept()
        else:
            connection.take_in()
        self._held += connection.size - before
        if connection.is_answered:
            self._go_on_sending(connection)
            return False
        if connection.is_ready():
            self._leave(connection)
            return True
        if connection.is_over():
            self._leave(connection)
            connection.let_go()
            return False
        if connection.arrival.has_head and not had_head:
            connection.tell_to_go_on()
            self._waiting[connection] = connection.begun + self._seconds
        self._make_room(connection)
        return False

    def _go_on_sending(self, connection: Connection) -> None:
        if connection.is_over():
            self._leave(connection)
            connection.let_go()
        elif connection.kept:
            self._waiting[connection] = time.monotonic() + self._seconds
        elif self._selector.get_key(connection).events & selectors.EVENT_WRITE:
            self._leave(connection)
            self.see_off(connection)

    def _enter(self, connection: Connection, event: int, until: float) -> None:
        self._selector.register(connection, event, connection)
        self._wait(connection, until)

    def _wait(self, connection: Connection, until: float) -> None:
        self._waiting[connection] = until
        self._held += connection.size
        self._make_room(connection)

    def _make_room(self, newest: Connection) -> None:
        while len(self._waiting) > MOST_CONNECTIONS or self._held > self._most_bytes:
            oldest = next((each for each in self._waiting if each is not newest), None)
            if oldest is None:
                return
            self._turn_out(oldest, HTTPStatus.SERVICE_UNAVAILABLE)

    def _turn_out(self, connection: Connection, status: int) -> None:
        self._leave(connection)
        if connection.is_answered:
            connection.send_kept()
        else:
            self._refuse(connection, status)
        connection.let_go()

    def _leave(self, connection: Connection) -> None:
        if self._parked.pop(connection, None) is None:
            self._selector.unregister(connection)
        del self._waiting[connection]
        self._held -= connection.size


class PatientWorker(SyncWorker):
    """A worker that answers one request after the other, while all that are not yet there wait in its hall."""

    longest_single_body = longest_bulk_body = 65_536
    """Bytes that are waited for; what is longer by its announcement is handed on unread, to be refused."""

    def refuse(self, connection: Connection, status: int) -> None:
        """Answer a client whose request has not arrived: 408 after its time, 503 where there is no room. The connection is
        closed after it."""

    def run_for_one(self, timeout: float) -> None:
        """Answer until told to stop, or until the parent process is gone; then what has come until now."""
        (listener,) = self.sockets
        self._pace = Pace()
        self._hall = Hall(max(MOST_BYTES, 3 * self.longest_bulk_body), float(self.cfg.timeout), self.refuse)
        for source in self.wait_fds:
            self._hall.watch(source)
        while self.alive:
            if not self.is_parent_alive():
                close_door(listener)
                break
            if self._hall:
                self._answer_ready(listener, 0)
            # Whoever is at the door comes in before the worker sits down to wait.
            if not self._take_in_next(listener):
                self._answer_ready(listener, timeout)
        self._finish(listener)

    def _finish(self, listener: socket.socket) -> None:
        """Answer those who were at the door, and let those in the hall finish, in the time there is."""
        until = time.monotonic() + max(0, self.cfg.graceful_timeout - 1)
        while self._take_in_next(listener) and time.monotonic() < until:
            pass
        self._hall.unwatch(listener)
        self._hall.turn_out_silent()
        self._hall.hurry()
        while self._hall and (left := until - time.monotonic()) > 0:
            self._answer_ready(listener, left)

    def _answer_ready(self, listener: socket.socket, seconds: float) -> None:
        self.notify()
        for connection in self._hall.ready(seconds):
            self._answer(listener, connection)
        with suppress(BlockingIOError):
            os.read(self.PIPE[0], 4_096)  # signals write here, to end the wait

    def _take_in_next(self, listener: socket.socket) -> bool:
        """Accept a connection, and answer it if its request is there; False where nobody is at the door."""
        try:
            client, address = listener.accept()
        except OSError as error:
            if error.errno in _NOBODY_THERE:
                return False
            if error.errno not in _NO_MORE_DESCRIPTORS:
                raise
            if not self._hall.turn_out_oldest():
                time.sleep(_WITHOUT_DESCRIPTORS_SECONDS)
            return False
        self.notify()
        arrival = Arrival(self._longest_body)
        connection = Connection(client, address, arrival, float(self.cfg.timeout), self.notify, self._pace)
        connection.take_in()
        if len(self._hall) < FEW_CONNECTIONS:
            connection.wait_a_moment(GRACE_SECONDS)
        if connection.is_ready():
            self._answer(listener, connection)
        elif connection.is_over():
            connection.let_go()
        else:
            self._hall.await_rest(connection)
        return True

    def _answer(self, listener: socket.socket, connection: Connection) -> None:
        self.notify()
        client = cast(socket.socket, connection)  # it has all that the server asks of one
        if connection.arrival.has_too_long_a_head:
            self.handle_error(None, client, connection.address, LimitRequestHeaders("too long"))
        else:
            self.handle(listener, client, connection.address)
        self._hall.see_off(connection)

    def _longest_body(self, first_line: bytes) -> int:
        return self.longest_bulk_body if b"/v1/bulk/" in first_line else self.longest_single_body
