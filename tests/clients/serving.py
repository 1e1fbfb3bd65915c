"""The service as it is run, and two servers in front of it: a later version of it, and a proxy with a path prefix."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, NamedTuple

TOP = Path(__file__).parents[2]
SECONDS = 60
HOP = {"connection", "transfer-encoding", "content-length", "date", "server"}
"""Headers that a proxy writes for itself."""

LATER_KEY = "added_later"
LATER_YEAR = "2031-32"
LATER_WARNING = "found_out_later"
LATER_PROBLEM = "refused-later"


class Reply(NamedTuple):
    """Status, headers and body of an answer."""

    status: int
    headers: dict[str, str]
    body: bytes


def ask(url: str, method: str = "GET", body: bytes | None = None, headers: dict[str, str] | None = None) -> Reply:
    """Make one request; a refusal is a reply too."""
    request = urllib.request.Request(url, data=body, headers=headers or {}, method=method)
    try:
        with urllib.request.urlopen(request, timeout=SECONDS) as found:
            return Reply(found.status, dict(found.headers), found.read())
    except urllib.error.HTTPError as refused:
        with refused:
            return Reply(refused.code, dict(refused.headers), refused.read())


@contextmanager
def service() -> Iterator[str]:
    """The service on a free port: its URL."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("SERVICE_")}
    process = subprocess.Popen(
        [sys.executable, "-m", "service"],
        cwd=TOP,
        env={**kept, "SERVICE_BIND": "127.0.0.1:0", "SERVICE_WORKERS": "3"},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        assert process.stdout is not None
        port = int(process.stdout.readline().split(",")[0].rpartition(":")[2])
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.communicate(timeout=20)


@contextmanager
def later_version(answer_of: Callable[[str, Any], Reply]) -> Iterator[str]:
    """A server whose answers are given ones with what a later version may add: its URL. `answer_of` has the answer to a path,
    with its query, and a body."""

    def answer(request: BaseHTTPRequestHandler, body: bytes | None) -> Reply:
        reply = answer_of(request.path, json.loads(body) if body else None)
        return reply._replace(body=json.dumps(later(json.loads(reply.body))).encode())

    with _server(answer) as found:
        yield found


@contextmanager
def behind_prefix(url: str, prefix: str) -> Iterator[str]:
    """A proxy that passes on what is under a path prefix, without it, and knows nothing else: its URL with the prefix."""

    def answer(request: BaseHTTPRequestHandler, body: bytes | None) -> Reply:
        if not request.path.startswith(prefix + "/"):
            return Reply(404, {"Content-Type": "text/plain"}, b"Only what is under the prefix.")
        return _passed_on(request, body, url + request.path.removeprefix(prefix))

    with _server(answer) as found:
        yield found + prefix


def later(document: Any) -> Any:
    """An answer with a new key in the answer and in each object of a list, a new warning code, tax year and problem code."""
    if not isinstance(document, dict):
        return document
    added = {**{key: _later_inside(key, value) for key, value in document.items()}, LATER_KEY: {"how": ["so"]}}
    if "problem" in document.get("type", ""):
        return {**added, "code": LATER_PROBLEM, "type": f"/problems/{LATER_PROBLEM}"}
    return added


def _later_inside(key: str, value: Any) -> Any:
    if key == "tax_year":
        return LATER_YEAR
    if isinstance(value, dict):
        return {inner: _later_inside(inner, held) for inner, held in value.items()}
    if isinstance(value, list):
        items = [later(item) for item in value]
        if key in ("warnings", "warning_codes"):
            return [{**item, "code": LATER_WARNING} for item in items]
        return items
    return value


def _passed_on(request: BaseHTTPRequestHandler, body: bytes | None, url: str) -> Reply:
    sent = {
        name: value for name, value in request.headers.items() if name.lower() not in {*HOP, "host", "accept-encoding"}
    }
    return ask(url, request.command, body, sent)


@contextmanager
def _server(answer: Callable[[BaseHTTPRequestHandler, bytes | None], Reply]) -> Iterator[str]:
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            length = int(self.headers.get("Content-Length", 0))
            reply = answer(self, self.rfile.read(length) if length else None)
            self.send_response(reply.status)
            for name, value in reply.headers.items():
                if name.lower() not in HOP:
                    self.send_header(name, value)
            self.send_header("Content-Length", str(len(reply.body)))
            self.end_headers()
            self.wfile.write(reply.body)

        do_POST = do_GET

        def log_message(self, *said: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
