"""A load generator: a fixed number of requests under way, each on a connection of its own, until a time has passed.

It is a process of its own that reads a Plan from standard input and writes an Outcome to standard output, both JSON.
To leave the processors to the servers it does little: the whole request goes out in one send as soon as the connection
is made, and the kernel is asked to wake it once for each reply, at its end. Linux only; this machine only.
"""

from __future__ import annotations

import json
import select
import socket
import sys
import time
from dataclasses import asdict, dataclass, field

HOST = "127.0.0.1"
_PATIENCE_SECONDS = 10
_MOST_FAILURES = 20


@dataclass(frozen=True, slots=True)
class Plan:
    """What to send and what must come back. Bytes are written as Latin-1 text.

    A reply is right if it is a 200, ``reply_length`` bytes long with its head, and ends with the body ``reply_body``.
    Requests are begun for ``seconds``, at most ``most`` of them.
    """

    port: int
    request: str
    reply_length: int
    reply_body: str
    connections: int
    seconds: float
    most: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of it. Times in seconds; ``p50`` and ``p99`` run from connecting to the end of the reply; ``cpu`` is
    the generator's own; ``failures`` says of replies that were not right what was wrong, and must be empty."""

    requests: int
    seconds: float
    p50: float
    p99: float
    cpu: float
    failures: list[str]


@dataclass(slots=True)
class _Exchange:
    """A connection and when it was begun."""

    connection: socket.socket
    begun: float
    received: bytes = b""


@dataclass(slots=True)
class _Load:
    plan: Plan
    request: bytes
    reply_body: bytes
    poll: select.epoll = field(default_factory=select.epoll)
    under_way: dict[int, _Exchange] = field(default_factory=dict)
    times: list[float] = field(default_factory=list)
    failures: list[str] = field(default_factory=list)

    def begin(self) -> None:
        """Connect and send a request, or leave the sending until the connection is made."""
        connection = socket.socket(socket.AF_INET, socket.SOCK_STREAM | socket.SOCK_NONBLOCK)
        # More bytes than will come, so that the end of the reply is what wakes.
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVLOWAT, self.plan.reply_length + 1)
        exchange = _Exchange(connection, time.perf_counter())
        self.under_way[connection.fileno()] = exchange
        connection.connect_ex((HOST, self.plan.port))
        try:
            self._send(connection)
            self.poll.register(connection.fileno(), select.EPOLLIN)
        except BlockingIOError:
            self.poll.register(connection.fileno(), select.EPOLLOUT)
        except OSError as error:
            self._end(exchange, str(error))

    def go_on(self, descriptor: int, event: int) -> None:
        """Send what was left until the connection was made, or take in the reply."""
        exchange = self.under_way[descriptor]
        try:
            if event & select.EPOLLOUT:
                self._send(exchange.connection)
                self.poll.modify(descriptor, select.EPOLLIN)
                return
            while chunk := exchange.connection.recv(65_536):
                exchange.received += chunk
        except BlockingIOError:
            return
        except OSError as error:
            self._end(exchange, str(error))
            return
        self.times.append(time.perf_counter() - exchange.begun)
        self._end(exchange, self._fault_of(exchange.received))

    def _send(self, connection: socket.socket) -> None:
        if connection.send(self.request) != len(self.request):
            raise OSError("the request did not go out in one piece")

    def _fault_of(self, reply: bytes) -> str | None:
        if not reply.startswith(b"HTTP/1.1 200 "):
            return f"the reply begins with {reply[:40]!r}"
        if len(reply) != self.plan.reply_length:
            return f"the reply has {len(reply)} bytes, not {self.plan.reply_length}"
        return None if reply.endswith(self.reply_body) else "the reply has another body than expected"

    def _end(self, exchange: _Exchange, fault: str | None) -> None:
        # Closing takes it off the poll, too.
        del self.under_way[exchange.connection.fileno()]
        exchange.connection.close()
        if fault is not None:
            self.failures.append(fault)


def run(plan: Plan) -> Outcome:
    """Put the load on, wait for the last replies, and add up."""
    load = _Load(plan, plan.request.encode("latin-1"), plan.reply_body.encode("latin-1"))
    cpu, begun = time.process_time(), time.perf_counter()
    until, count = begun + plan.seconds, 0
    while True:
        now = time.perf_counter()
        while len(load.under_way) < plan.connections and count < plan.most and now < until:
            load.begin()
            count += 1
        if not load.under_way or len(load.failures) > _MOST_FAILURES:
            break
        events = load.poll.poll(_PATIENCE_SECONDS)
        if not events:
            load.failures.append(f"no reply for {_PATIENCE_SECONDS} seconds")
            break
        for descriptor, event in events:
            load.go_on(descriptor, event)
    ended, cpu = time.perf_counter(), time.process_time() - cpu
    times = sorted(load.times) or [0.0]
    last = len(times) - 1
    return Outcome(
        len(load.times), ended - begun, times[last // 2], times[last * 99 // 100], cpu, load.failures[:_MOST_FAILURES]
    )


if __name__ == "__main__":
    json.dump(asdict(run(Plan(**json.load(sys.stdin)))), sys.stdout)
