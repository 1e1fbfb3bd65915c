"""Heavy work: how many requests of it are answered at the same time, and within which bounds each is.

A worker answers one request at a time. Bulk requests, and single ones that their calculation takes for heavy, need a place
first; there are fewer places than workers, so that one worker is left for everything else. One more is told to come again.

Work that has begun cannot be broken off when its client leaves, since nothing looks at the connection while a calculation
runs. So the client is looked for before heavy work begins, and between the records of a bulk request; and each piece of heavy
work has a limit of time, well within which the calculations end by themselves.
"""

from __future__ import annotations

import select
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType
from typing import Any, TypeVar

from flask import Flask

from service.http.problems import ProblemError
from service.http.slots import Slots

HOST = "host"
"""The key among the application's extensions of the Host, where a server has put one."""
RETRY_AFTER_SECONDS = 2
_GONE = select.POLLRDHUP | select.POLLHUP | select.POLLERR

Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Host:
    """What the server that runs the application does for it in each worker.

    ``still_working`` tells it that the worker is alive; ``retire`` has the worker replaced after this request; ``seconds`` is
    how long one piece of work may take. The worker calls from its main thread, and ``end_by_signal`` has been called there.
    """

    still_working: Callable[[], None]
    retire: Callable[[], None]
    seconds: float


class Places:
    """Places for heavy work, shared by all workers; the first ``for_bulk`` of them may be taken by bulk requests."""

    def __init__(self, count: int, for_bulk: int) -> None:
        self._slots = Slots()
        # From either end, so that neither takes what only the other may have while there is something else.
        self._for_bulk, self._for_single = range(for_bulk), range(count - 1, -1, -1)

    @contextmanager
    def bulk(self) -> Iterator[None]:
        """A place for a bulk request. ProblemError 503 where there is none."""
        with self._place(self._for_bulk):
            yield

    @contextmanager
    def single(self) -> Iterator[None]:
        """A place for a single request. ProblemError 503 where there is none."""
        with self._place(self._for_single):
            yield

    @contextmanager
    def _place(self, wanted: range) -> Iterator[None]:
        slot = self._slots.take(wanted)
        if slot is None:
            raise ProblemError(
                "busy",
                "As many requests that take long as this service answers at the same time are under way. Send this one "
                "again later.",
                retry_after=RETRY_AFTER_SECONDS,
            )
        try:
            yield
        finally:
            self._slots.give_back(slot)


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


def end_by_signal() -> None:
    """Let the alarm signal end the work of this process that has a limit."""
    signal.signal(signal.SIGALRM, _time_has_passed)


def _time_has_passed(number: int, frame: FrameType | None) -> None:
    raise _TookTooLongError


def within_limits(host: Host | None, work: Callable[[], Answer]) -> Answer:
    """Do a piece of heavy work within the host's limit. ProblemError where it takes too long.

    The limit is for what should not happen: the calculations are bounded by counting their work. The exception may come
    anywhere in them, so the worker is replaced afterwards. The alarm rings once: when it has, nothing is left to ring later.
    """
    if host is None:
        return work()
    host.still_working()
    try:
        try:
            signal.setitimer(signal.ITIMER_REAL, host.seconds)
            return work()
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
    except _TookTooLongError:
        host.retire()
        raise ProblemError(
            "took-too-long", "The answer was not ready within the time that this service allows for one request."
        ) from None
