"""Heavy work: how many requests of it are answered at the same time, and within which bounds each is.

A worker answers one request at a time. Bulk requests, and single ones that their calculation takes for heavy, need a place
first; there are fewer places than workers, so that one worker is left for everything else. One more is told to come again.

What costs several times a common quote, and is no heavy work yet, is never refused. It gives way: while as many of its kind are
under way as there are such places, it waits for a moment where it costs nothing, and the worker answers others.

Work that has begun cannot be broken off when its client leaves, since nothing looks at the connection while a calculation
runs. So the client is looked for before heavy work begins, and between the records of a bulk request; and each piece of heavy
work has a limit of time, well within which calculations end by themselves.
"""

from __future__ import annotations

import select
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType
from typing import Any, TypeVar

from flask import Flask

from service.http.metrics import Metrics
from service.http.problems import ProblemError
from service.http.slots import Slots

HOST = "host"
"""The key among the application's extensions of the Host, where a server has put one."""
RETRY_AFTER_SECONDS = 2
LOOK_SECONDS = 0.25
LONGEST_GIVING_WAY_SECONDS = 0.5
CLOCK_FOR_PROCESSOR = 3
"""How much longer than its processor time a piece of work may take by the clock: other processes want the processors as well."""
_GONE = select.POLLRDHUP | select.POLLHUP | select.POLLERR

Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Host:
    """What the server that runs the application does for it in each worker.

    ``still_working`` tells it that the worker is alive; ``seconds`` of processor time are what one piece of work may take;
    ``tidy_up`` is called after heavy work.
    """

    still_working: Callable[[], None]
    seconds: float
    tidy_up: Callable[[], None] = lambda: None


class Places:
    """Places for heavy work, shared by all workers; the first ``for_bulk`` of them may be taken by bulk requests."""

    def __init__(self, count: int, for_bulk: int, metrics: Metrics | None = None) -> None:
        self._slots, self._metrics, self.count = Slots(), metrics, count
        # From either end, so that neither takes what only the other may have while there is something else.
        self._for_bulk, self._for_single = range(for_bulk), range(count - 1, -1, -1)

    def free(self) -> int:
        """How many places no other worker has taken."""
        return sum(self._slots.is_free(slot) for slot in range(self.count))

    @contextmanager
    def bulk(self, host: Host | None = None) -> Iterator[None]:
        """A place for a bulk request. ProblemError 503 where there is none."""
        with self._place(self._for_bulk, host):
            yield

    @contextmanager
    def single(self, host: Host | None = None) -> Iterator[None]:
        """A place for a single request. ProblemError 503 where there is none."""
        with self._place(self._for_single, host):
            yield

    @contextmanager
    def _place(self, wanted: range, host: Host | None) -> Iterator[None]:
        slot = self._slots.take(wanted)
        if slot is None:
            raise ProblemError(
                "busy",
                "As many requests that take long as this service answers at the same time are under way. Send this one "
                "again later.",
                retry_after=RETRY_AFTER_SECONDS,
            )
        if self._metrics is not None:
            self._metrics.heavy_begins()
        try:
            yield
        finally:
            if host is not None:
                host.tidy_up()
            self._slots.give_back(slot)
            if self._metrics is not None:
                self._metrics.heavy_ends()


class PutOff(BaseException):
    """Ends the work on a request that the server begins again later; nothing is told of it."""


def is_begun_again(environ: dict[str, Any]) -> bool:
    """Whether the request of this environment was put off before."""
    return bool(getattr(environ.get("gunicorn.socket"), "may_be_put_off_until", 0))


class Turns:
    """Turns for requests that cost several times a common quote, shared by all workers: so many of them at a time."""

    def __init__(self, count: int) -> None:
        self._slots, self._all = Slots(), range(count)

    @contextmanager
    def one(self, environ: dict[str, Any]) -> Iterator[None]:
        """A turn for the request of this environment. PutOff where there is none yet; who has waited long goes without."""
        slot = self._slots.take(self._all)
        if slot is None:
            put_off = getattr(environ.get("gunicorn.socket"), "put_off", None)
            if put_off is not None and put_off(self._has_one, LONGEST_GIVING_WAY_SECONDS):
                raise PutOff
        try:
            yield
        finally:
            if slot is not None:
                self._slots.give_back(slot)

    def _has_one(self) -> bool:
        return any(self._slots.is_free(slot) for slot in self._all)


def host_of(app: Flask) -> Host | None:
    """What the server does for the application; None where there is no server that does."""
    host: Host | None = app.extensions.get(HOST)
    return host


class Client:
    """The client of a request, as far as the server lets it be seen."""

    def __init__(self, environ: dict[str, Any]) -> None:
        self._ends = select.poll()
        connection = environ.get("gunicorn.socket")
        if connection is not None:
            self._ends.register(connection, _GONE)

    def has_left(self) -> bool:
        """Whether the client has closed the connection. One that has closed only its own side, which HTTP clients do not do
        while they wait, is taken to have left as well."""
        return bool(self._ends.poll(0))


def refuse_the_absent(client: Client) -> None:
    """ProblemError where the client has left, for whoever may still read it."""
    if client.has_left():
        raise ProblemError("bad-request", "The client closed the connection before the work began.")


class _TookTooLongError(Exception):
    """Raised wherever a piece of work is when its time has passed."""


def within_limits(host: Host | None, work: Callable[[], Answer]) -> Answer:
    """Do a piece of heavy work within the host's limit, and tell the host all the while that the worker is alive. ProblemError
    where the work takes too long. To be called from the main thread.

    The limit is for what should not happen: calculations count their work, and end by themselves. It is one of processor time, so
    that a machine with much to do does not end what would have been answered. The exception may come anywhere in a calculation;
    what is kept between requests is made whole and then put in its place at once, so it stays as it was.
    """
    if host is None:
        return work()
    processor, clock = time.process_time() + host.seconds, time.monotonic() + CLOCK_FOR_PROCESSOR * host.seconds

    def look(number: int, frame: FrameType | None) -> None:
        if time.process_time() > processor or time.monotonic() > clock:
            signal.setitimer(signal.ITIMER_REAL, 0)  # once is enough: nothing may be left to ring after the work
            raise _TookTooLongError
        host.still_working()

    host.still_working()
    before = signal.signal(signal.SIGALRM, look)
    try:
        try:
            signal.setitimer(signal.ITIMER_REAL, LOOK_SECONDS, LOOK_SECONDS)
            return work()
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
    except _TookTooLongError:
        raise ProblemError(
            "took-too-long", "The answer took longer than this service allows for one request."
        ) from None
    finally:
        signal.signal(signal.SIGALRM, before)
