"""Serve the portal page, and ask the service for it with a key that the browser never sees.

    SERVICE_KEY=... python examples/portal/serve.py [--service http://127.0.0.1:8000] [--port 8080]

Without SERVICE_KEY no key is sent. It listens on this machine alone; a real portal signs its people in before it asks.
"""

from __future__ import annotations

import argparse
import os
import sys
import urllib.error
import urllib.request
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

PAGE = Path(__file__).with_name("page")
KINDS = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
FILES = {f"/{path.relative_to(PAGE).as_posix()}": path for path in PAGE.rglob("*") if path.suffix in KINDS}
FILES["/"] = PAGE / "index.html"
QUESTIONS = {
    "/ask/withdrawal-tax": "/v1/withdrawal-tax?include=charts",
    "/ask/allowance-schedule": "/v1/allowance-schedule?include=charts",
    "/ask/lump-sum-timing": "/v1/lump-sum-timing?include=charts",
    "/ask/warnings": "/v1/warnings",
}
MOST_BYTES = 100_000
SECONDS = 60
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
"""The content security policy: nothing from elsewhere, no code and no style written into the page."""
HEADERS = {
    "Content-Security-Policy": POLICY,
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}
UNREACHABLE = b'{"title": "No answer", "detail": "The service cannot be reached. Try again in a minute."}'


class Handler(BaseHTTPRequestHandler):
    """The files of the page, and the four questions. Nothing is kept or logged."""

    service = ""
    key: str | None = None

    def do_GET(self) -> None:
        file = FILES.get(self.path)
        if file is None:
            self.reply(404, b"There is no such page.", "text/plain")
        else:
            self.reply(200, file.read_bytes(), KINDS[file.suffix])

    def do_POST(self) -> None:
        length = self.headers.get("Content-Length", "")
        # What another site's page may send without asking has neither this content type nor this origin.
        ours = self.headers.get("Origin") in (None, f"http://{self.headers.get('Host')}")
        if self.path not in QUESTIONS or not ours or self.headers.get("Content-Type") != "application/json":
            self.reply(404, b"There is no such question.", "text/plain")
        elif not length.isdigit() or int(length) > MOST_BYTES:
            self.reply(413, b"That is too long.", "text/plain")
        else:
            self.reply(*self.asked(QUESTIONS[self.path], self.rfile.read(int(length))))

    def asked(self, path: str, body: bytes) -> tuple[int, bytes, str]:
        """The service's answer: its status, its body and its kind."""
        headers = {"Content-Type": "application/json"} | ({"Authorization": f"Bearer {self.key}"} if self.key else {})
        request = urllib.request.Request(self.service + path, body, headers)
        try:
            with urllib.request.urlopen(request, timeout=SECONDS) as answer:
                return answer.status, answer.read(), answer.headers["Content-Type"]
        except urllib.error.HTTPError as refused:
            with refused:
                return refused.code, refused.read(), refused.headers["Content-Type"]
        except OSError:
            return 502, UNREACHABLE, "application/problem+json"

    def reply(self, status: int, body: bytes, kind: str) -> None:
        """Send an answer."""
        self.send_response(status)
        for name, value in {**HEADERS, "Content-Type": kind, "Content-Length": str(len(body))}.items():
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing: a request may hold what nobody else should read."""


def main(arguments: list[str]) -> int:
    """Serve until it is stopped."""
    parser = argparse.ArgumentParser(description="Serve the portal page.")
    parser.add_argument("--service", default="http://127.0.0.1:8000", help="the address of the service")
    parser.add_argument("--port", type=int, default=8080, help="the port of the page; 0 takes a free one")
    given = parser.parse_args(arguments)
    Handler.service, Handler.key = given.service.rstrip("/"), os.environ.get("SERVICE_KEY")
    with ThreadingHTTPServer(("127.0.0.1", given.port), Handler) as server:
        print(f"Open http://127.0.0.1:{server.server_port}", flush=True)
        server.serve_forever()
    return 0


if __name__ == "__main__":
    try:
        sys.exit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        sys.exit(130)
