"""Pages of another origin call the service from a browser, with a key: the one that is listed may, the other may not."""

from __future__ import annotations

import json
import subprocess
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from tests.test_access import QUOTE, SECRETS, entry, file_of
from tests.test_server import running_service

from . import tools

DRIVER = Path(__file__).with_name("drivers") / "other_origin.py"


class _Empty(BaseHTTPRequestHandler):
    """A page with nothing on it."""

    def do_GET(self) -> None:
        body = b"<!DOCTYPE html><title>A page</title>"
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


@contextmanager
def page() -> Iterator[str]:
    """A page on an origin of its own: its URL."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Empty)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        server.server_close()


def test_the_origin_listed_may_call_and_no_other(tmp_path: Path) -> None:
    browser, python = tools.chromium(), tools.pip_program("python")
    keys = file_of(tmp_path, entry("portal"))
    with ExitStack() as open_pages:
        listed, other = (open_pages.enter_context(page()) for _ in range(2))
        with running_service(SERVICE_CORS_ORIGINS=listed, SERVICE_KEYS_FILE=str(keys)) as (_, _, port):
            url = f"http://127.0.0.1:{port}/v1/withdrawal-tax"
            command = [python, str(DRIVER), browser, url, SECRETS["portal"], listed, other]
            done = subprocess.run(command, input=json.dumps(QUOTE), capture_output=True, text=True, timeout=200)
    assert done.returncode == 0, done.stderr[-4000:]
    allowed, refused = json.loads(done.stdout)
    assert (allowed["status"], allowed["tax_year"]) == (200, QUOTE["tax_year"])
    assert allowed["version"].startswith("r")
    assert "refused" in refused
