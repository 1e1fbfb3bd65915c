"""A server that fails in the ways that a client has to live with."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from types import MappingProxyType
from typing import Any, NamedTuple


class Said(NamedTuple):
    """An answer of a server that fails; without a status, the connection is closed."""

    status: int | None = None
    body: str = "{}"
    headers: Mapping[str, str] = MappingProxyType({})


@contextmanager
def failing(*answers: Said) -> Iterator[tuple[str, list[float]]]:
    """A server that gives these answers in turn, the last one for ever: its URL, and when it was asked."""
    asked: list[float] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.rfile.read(int(self.headers["Content-Length"]))
            said = answers[min(len(asked), len(answers) - 1)]
            asked.append(time.monotonic())
            self.close_connection = True
            if said.status is None:
                return
            self.send_response(said.status)
            for name, value in said.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(said.body)))
            self.end_headers()
            self.wfile.write(said.body.encode())

        def log_message(self, *said: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}", asked
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
