"""The WSGI server: a socket, one application loaded once, and worker processes that share both.

A worker answers one request at a time and closes the connection, which gives calculations the steadiest
answering times. Slow clients wait outside (``connections.py``); TLS, and who may call, is for a proxy in front.
"""

from __future__ import annotations

import os
import resource
import socket
import sys
import tempfile
import time
from contextlib import suppress
from http import HTTPStatus
from pathlib import Path
from types import FrameType
from typing import Any
from urllib.parse import quote

from flask import Flask
from gunicorn.app.base import BaseApplication
from gunicorn.arbiter import Arbiter
from gunicorn.http import errors, wsgi

from service.connections import Connection, PatientWorker, close_door
from service.http import problems
from service.http.heavy import HOST, RETRY_AFTER_SECONDS, Host, PutOff
from service.http.metrics import free_place, worker_begins, worker_died
from service.http.provider import encode
from service.logs import configuration
from service.memory import give_back, settle
from service.settings import Settings

BACKLOG = 2_048
DEFER_SECONDS = 3
DESCRIPTORS_BESIDE_WORKERS = 24
# Shorter than the ten seconds that a container engine commonly waits before it kills.
GRACEFUL_TIMEOUT_SECONDS = 8
TURNING_AWAY_SECONDS, LAST_MOMENT_SECONDS = 0.5, 0.05
SHARED_MEMORY = Path("/dev/shm")
# Of the timeout: what is left of it is for reading the request and sending the answer.
SHARE_FOR_WORK = 0.9
_REFUSALS: tuple[tuple[type[Exception], int], ...] = (
    (errors.LimitRequestLine, 414),
    (errors.ExpectationFailed, 417),
    (errors.LimitRequestHeaders, 431),
    (errors.UnsupportedTransferCoding, 501),
    (errors.ParseException, 400),
)
"""What the server says, by status, of what it cannot read as HTTP; the first that fits counts."""


class NowhereToWriteError(Exception):
    """No folder can be written for the server's own files; the message is one line for the operator."""


class TooFewDescriptorsError(Exception):
    """A process may open too few files for the server; the message is one line for the operator."""


class CannotListenError(Exception):
    """The address asked for cannot be listened on; the message is one line for the operator."""


def server_options(settings: Settings, listener_fd: int) -> dict[str, Any]:
    """The server's configuration, name by name; `listener_fd` is the file descriptor of a listening socket.

    The server keeps no access log of its own; where the log is JSON, the application has a line for each request. Workers
    are not replaced after a number of requests: what is kept between requests has a bound.
    """
    return {
        "bind": f"fd://{listener_fd}",
        "workers": settings.workers,
        "worker_class": worker_class(settings),
        "preload_app": True,
        "backlog": BACKLOG,
        "timeout": settings.timeout_seconds,
        "graceful_timeout": min(settings.timeout_seconds, GRACEFUL_TIMEOUT_SECONDS),
        "worker_tmp_dir": folder_for_heartbeats(),
        # It would be a file in the home folder, which a read-only container does not have.
        "control_socket_disable": True,
        "accesslog": None,
        "errorlog": "-",
        "loglevel": settings.log_level,
        "logconfig_dict": configuration(settings.log_format, settings.log_level),
        # It would tell paths at the level debug, and anything may stand in a path.
        "pre_request": _nothing,
        "pre_fork": _give_a_place,
        "post_fork": _take_the_place,
        "child_exit": _forget,
        "proc_name": "service",
        "post_worker_init": _host_the_application,
    }


def require_descriptors(workers: int) -> None:
    """Raise TooFewDescriptorsError where a process may open fewer files than a server of so many workers needs.

    The parent process has one for each worker, twice as many while it reloads. With fewer it would start, and its workers would
    fail one after the other.
    """
    allowed, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    least = DESCRIPTORS_BESIDE_WORKERS + 2 * workers
    if allowed != resource.RLIM_INFINITY and allowed < least:
        raise TooFewDescriptorsError(
            f"a process may have only {allowed} files open here; {workers} workers need at least {least} (ulimit -n)"
        )


def folder_for_heartbeats() -> str:
    """Where workers keep a file without a name whose time says that they are alive. Raises NowhereToWriteError.

    In memory where that can be: on a slow disk it can hold a worker up until it is taken for dead.
    """
    if os.access(SHARED_MEMORY, os.W_OK):
        return str(SHARED_MEMORY)
    try:
        return tempfile.gettempdir()
    except FileNotFoundError:
        raise NowhereToWriteError(
            f"neither {SHARED_MEMORY} nor any temporary folder can be written; mount one in memory at /tmp"
        ) from None


class Worker(PatientWorker):
    """A worker all of whose own words are problems (RFC 9457), as everything else that goes wrong is. ``place`` is its number
    among those that are alive."""

    place = 0

    def refuse(self, connection: Connection, status: int) -> None:
        """Answer a client whose request has not arrived: 408 after its time, 503 where there is no room."""
        self.log.debug("A request had not arrived when it was refused: %s", status)
        with suppress(OSError):
            connection.sendall(_reply(status, None))

    def handle_error(self, req: Any, client: socket.socket, addr: Any, exc: BaseException) -> None:
        """Answer a request that did not reach the application, or that the application did not answer.

        What was sent stays out of the log: it tells the kind of the fault and, where the fault is the service's, its cause.
        """
        if isinstance(exc, PutOff):
            return
        status = _status_of(exc, has_arrived=req is not None)
        if status == 500:
            self.log.exception("A request could not be answered")
        else:
            self.log.warning("A request was refused that is not HTTP: %s, %s", status, type(exc).__name__)
        try:
            client.settimeout(1)
            client.sendall(_reply(status, None if req is None else quote(req.path)))
        except OSError:
            self.log.debug("The client of a request that is not HTTP was gone.")


def worker_class(settings: Settings) -> type[Worker]:
    """The worker that reads bodies as long as the settings say."""
    bounds = {"longest_single_body": settings.max_body_bytes, "longest_bulk_body": settings.bulk_max_bytes}
    return type("Worker", (Worker,), bounds)


def _nothing(worker: Worker, request: Any) -> None:
    """Say nothing of a request."""


def _give_a_place(arbiter: Arbiter, worker: Worker) -> None:
    """Give a worker that is about to start a place that no other has."""
    worker.place = free_place(getattr(each, "place", 0) for each in arbiter.WORKERS.values())


def _take_the_place(arbiter: Arbiter, worker: Worker) -> None:
    """Count as the worker of its place."""
    worker_begins(worker.place)


def _forget(arbiter: Arbiter, worker: Worker) -> None:
    """Take what a worker that has ended had under way out of the numbers."""
    worker_died(worker.place)


def _status_of(error: BaseException, *, has_arrived: bool) -> int:
    if has_arrived:
        return 500
    if isinstance(error, SystemExit):
        return 408  # so a worker ends that has been silent for too long: here, because its client was
    return next((status for kind, status in _REFUSALS if isinstance(error, kind)), 500)


def _reply(status: int, path: str | None) -> bytes:
    """A problem as a whole HTTP response."""
    body = encode(problems.document_of_status(status, path))
    head = (
        f"HTTP/1.1 {status} {HTTPStatus(status).phrase}\r\nConnection: close\r\nCache-Control: no-store\r\n"
        f"Content-Type: {problems.MEDIA_TYPE}\r\nContent-Length: {len(body)}\r\n"
    )
    if status == HTTPStatus.SERVICE_UNAVAILABLE:
        head += f"Retry-After: {RETRY_AFTER_SECONDS}\r\n"
    return f"{head}\r\n".encode("ascii") + body


def _host_the_application(worker: Worker) -> None:
    """Give the application what the server does for it."""
    if isinstance(worker.wsgi, Flask):
        worker.wsgi.extensions[HOST] = Host(worker.notify, SHARE_FOR_WORK * worker.cfg.timeout, give_back)


class Parent(Arbiter):
    """The server's parent process, which closes the door before it tells the workers to go: they answer those who are in."""

    def stop(self, graceful: bool = True) -> None:
        """Stop the workers, gracefully or at once. Who comes through the door just when the last of them leaves is told so."""
        doors = []
        if graceful:
            for listener in self.LISTENERS:
                close_door(listener.sock)
                doors.append(listener.sock.dup())
        super().stop(graceful)
        for door in doors:
            _turn_away(door)


def _turn_away(door: socket.socket) -> None:
    """Tell those who are still at the door to come again, until nobody has come for a moment; then close it."""
    until = time.monotonic() + TURNING_AWAY_SECONDS
    door.setblocking(False)
    with door, suppress(OSError):
        while time.monotonic() < until:
            client, _ = door.accept()
            with client, suppress(OSError):
                client.settimeout(LAST_MOMENT_SECONDS)
                client.recv(65_536)
                client.sendall(_reply(HTTPStatus.SERVICE_UNAVAILABLE, None))
                client.shutdown(socket.SHUT_WR)
                while client.recv(65_536):  # closed at once, what is unread would take the answer from it
                    pass


class Server(BaseApplication):
    """The application and its options in the form the server package wants them."""

    def __init__(self, app: Flask, options: dict[str, Any]) -> None:
        self._app = app
        self._options = options
        super().__init__()

    def load_config(self) -> None:
        """Put the options in place of the server's defaults, the environment's included."""
        for name, value in self._options.items():
            self.cfg.set(name, value)

    def run(self) -> None:
        """Serve until told to stop."""
        Parent(self).run()

    def load(self) -> Any:
        """The application, made before the workers are (a Flask object)."""
        return self._app


def listen(settings: Settings) -> socket.socket:
    """A listening socket at the settings' address.

    Raises CannotListenError when the port is taken, is not allowed, or the host is unknown.
    """
    try:
        found = socket.getaddrinfo(settings.host, settings.port, type=socket.SOCK_STREAM)
        family, _, _, _, address = found[0]
        listener = socket.create_server(address[:2], family=family, backlog=BACKLOG)
        # A connection is let through with its first bytes, so that no worker is woken for nothing (Linux).
        if hasattr(socket, "TCP_DEFER_ACCEPT"):
            listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_DEFER_ACCEPT, DEFER_SECONDS)
        return listener
    except socket.gaierror as error:
        reason = error.strerror
    except OSError as error:
        # The system's own words: the exception's repeat the address.
        reason = os.strerror(error.errno or 0)
    raise CannotListenError(f"cannot listen on {settings.host}:{settings.port} (SERVICE_BIND): {reason}")


def url_of(listener: socket.socket) -> str:
    """The address to call a listening socket by, such as http://127.0.0.1:8000."""
    host, port = listener.getsockname()[:2]
    return f"http://[{host}]:{port}" if listener.family == socket.AF_INET6 else f"http://{host}:{port}"


def stop_at_once(number: int, frame: FrameType | None) -> None:
    """Leave with status 0: the answer to a stop signal that comes before the server has begun to serve."""
    sys.exit(0)


def serve(app: Flask, settings: Settings, listener: socket.socket) -> None:
    """Serve `app` on `listener` until a stop signal, then raise SystemExit (status 0 if all went well)."""
    settle()
    vars(wsgi)["SERVER"] = "service"  # what the header Server says: nothing about the software
    Server(app, server_options(settings, listener.detach())).run()
