"""The proxy's own configuration under a real nginx: what it buffers, limits, logs, says and never sends twice.

Only the port, where the service is, and (where a test says so) a time are put in; all else is ``docker/proxy/nginx.conf`` as it
is.
Skipped where there is no nginx. The expected values are this project's own decisions, or RFC 9110 and RFC 9457.
"""

from __future__ import annotations

import gzip
import http.client
import json
import os
import shutil
import signal
import socket
import socketserver
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from service.http.heavy import RETRY_AFTER_SECONDS
from service.http.problems import KINDS, document
from tests.test_under_load import HEAD, NDJSON, QUOTE, Reply, Service, await_true, records, reply_of, reply_to, running

PROXY = Path(__file__).parents[1] / "docker" / "proxy"
NGINX = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
PATIENCE = 20
JSON = {"Content-Type": "application/json"}

pytestmark = pytest.mark.skipif(NGINX is None, reason="there is no nginx here")


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as holder:
        port: int = holder.getsockname()[1]
        return port


@dataclass(frozen=True, slots=True)
class Proxy:
    """A running proxy."""

    port: int
    folder: Path

    def ask(self, method: str, path: str, body: bytes | None = None, headers: dict[str, str] | None = None) -> Reply:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE)
        connection.request(method, path, body, headers or {})
        return reply_to(connection)

    def quote(self, **headers: str) -> Reply:
        """The reply to a quote; an underscore in a header's name stands for a hyphen."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return self.ask("POST", "/v1/withdrawal-tax", json.dumps(QUOTE).encode(), {**JSON, **named})

    def raw(self, sent: bytes) -> Reply:
        with self.connected(sent) as connection, closing(http.client.HTTPResponse(connection)) as response:
            response.begin()
            return reply_of(response)

    def connected(self, sent: bytes) -> socket.socket:
        connection = socket.create_connection(("127.0.0.1", self.port), timeout=PATIENCE)
        connection.sendall(sent)
        return connection

    def log(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in (self.folder / "out").read_text("utf-8").splitlines()]

    def logged(self, request_id: str) -> dict[str, Any]:
        """The line of a request; it comes soon after the answer."""
        await_true(lambda: any(line["request_id"] == request_id for line in self.log()))
        (line,) = [line for line in self.log() if line["request_id"] == request_id]
        return line


@contextmanager
def proxy_before(*ports: int, read_timeout: str = "40s") -> Iterator[Proxy]:
    """The proxy before services on these ports."""
    assert NGINX is not None
    folder, port = Path(tempfile.mkdtemp()), free_port()
    folder.chmod(0o755)
    text = (PROXY / "nginx.conf").read_text("utf-8")
    for written, instead in (
        ("listen 8080;", f"listen 127.0.0.1:{port};"),
        ("proxy_read_timeout 40s;", f"proxy_read_timeout {read_timeout};"),
    ):
        assert text.count(written) == 1
        text = text.replace(written, instead)
    (folder / "nginx.conf").write_text(text, "utf-8")
    servers = "".join(f"server 127.0.0.1:{each} max_fails=0;" for each in ports)
    (folder / "upstream.conf").write_text(f"upstream service {{ {servers} }}", "utf-8")
    command = [NGINX, "-e", "stderr", "-p", f"{folder}/", "-c", str(folder / "nginx.conf"), "-g", "daemon off;"]
    with (folder / "out").open("wb") as out, (folder / "err").open("wb") as err:
        process = subprocess.Popen(command, stdout=out, stderr=err)
    try:
        await_true(lambda: process.poll() is not None or accepts(port))
        assert process.poll() is None, (folder / "err").read_text("utf-8")
        yield Proxy(port, folder)
    finally:
        process.terminate()
        process.wait(timeout=PATIENCE)
        shutil.rmtree(folder)


def accepts(port: int) -> bool:
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=1):
            return True
    except OSError:
        return False


@dataclass(slots=True)
class Stand:
    """What stands in for the service, and remembers whole requests; ``answers`` makes an answer of one, or ends without."""

    answers: Callable[[bytes], bytes]
    port: int = 0
    begun: int = 0
    heard: list[bytes] = field(default_factory=list)
    sent: list[float] = field(default_factory=list)


PLAIN = b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nConnection: close\r\nContent-Length: 2\r\n\r\n{}"


@contextmanager
def stand(answers: Callable[[bytes], bytes] = lambda request: PLAIN) -> Iterator[Stand]:
    found = Stand(answers)

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            found.begun += 1
            head = b""
            while line := self.rfile.readline():
                head += line
                if line == b"\r\n":
                    break
            lengths = [line for line in head.lower().split(b"\r\n") if line.startswith(b"content-length:")]
            body = self.rfile.read(int(lengths[0][15:])) if lengths else b""
            found.heard.append(head + body)
            self.wfile.write(found.answers(head))
            found.sent.append(time.monotonic())

    class Server(socketserver.ThreadingTCPServer):
        daemon_threads = True

    with Server(("127.0.0.1", 0), Handler) as server:
        found.port = server.server_address[1]
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        try:
            yield found
        finally:
            server.shutdown()
            thread.join()


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    with running(SERVICE_WORKERS="2") as found:
        yield found


@pytest.fixture(scope="module")
def proxy(service: Service) -> Iterator[Proxy]:
    with proxy_before(service.port) as found:
        yield found


# ---------------------------------------------------------------------------------------------- passing on


def test_answers_are_those_of_the_service(proxy: Proxy, service: Service) -> None:
    assert proxy.quote().body == service.post("/v1/withdrawal-tax", QUOTE).body
    sent = records(*[QUOTE] * 50)
    through = proxy.ask("POST", "/v1/bulk/withdrawal-tax?fields=net_after_tax", sent, {"Content-Type": NDJSON})
    direct = service.post("/v1/bulk/withdrawal-tax?fields=net_after_tax", sent, media_type=NDJSON)
    assert (through.status, through.body) == (200, direct.body)
    for path in ("/v1/tax-years/", "//health/live", "/health//live", "/problems/%62usy", "/v1/tax-years/2026-27/../x"):
        assert (proxy.ask("GET", path).status, path) == (service.get(path).status, path)


def test_a_request_has_one_id_everywhere() -> None:
    with stand() as behind, proxy_before(behind.port) as proxy:
        for given, kept in (("order-7.A_b", True), ("x" * 64, True), ("x" * 65, False), ("a b", False), ('"', False)):
            reply = proxy.quote(X_Request_ID=given)
            got = reply.headers["X-Request-ID"]
            assert (got == given) is kept
            assert f"\r\nX-Request-ID: {got}\r\n".encode() in behind.heard[-1]
            assert proxy.logged(got)["status"] == 200
        made = [proxy.quote().headers["X-Request-ID"] for _ in range(3)]
        assert len(set(made)) == 3
        assert all(len(each) == 32 for each in made)


def test_a_service_that_tells_the_id_as_well_does_not_make_two() -> None:
    answer = PLAIN.replace(b"Connection", b"X-Request-ID: of-the-service\r\nConnection")
    with stand(lambda request: answer) as behind, proxy_before(behind.port) as proxy:
        connection = http.client.HTTPConnection("127.0.0.1", proxy.port, timeout=PATIENCE)
        connection.request("GET", "/", headers={"X-Request-ID": "mine"})
        with closing(connection):
            assert connection.getresponse().headers.get_all("X-Request-ID") == ["mine"]


def test_traces_are_passed_on_and_logged() -> None:
    parent = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01"
    with stand() as behind, proxy_before(behind.port) as proxy:
        got = proxy.quote(traceparent=parent, tracestate="a=1").headers["X-Request-ID"]
        assert f"\r\ntraceparent: {parent}\r\n".encode() in behind.heard[-1]
        assert b"\r\ntracestate: a=1\r\n" in behind.heard[-1]
        assert proxy.logged(got)["traceparent"] == parent


def test_the_log_has_the_path_and_nothing_about_a_person(proxy: Proxy) -> None:
    marked = b'{"Wrenfield-Body": 1}'
    headers = {
        **JSON,
        "X-Request-ID": "marked",
        "User-Agent": "Wrenfield-Agent",
        "Referer": "http://wrenfield.example/",
    }
    reply = proxy.ask("POST", "/v1/withdrawal-tax?include=Wrenfield-Query", marked, headers)
    line = proxy.logged("marked")
    assert (line["method"], line["path"], line["status"]) == ("POST", "/v1/withdrawal-tax", reply.status)
    assert line["service"]["status"] == "422"
    assert line["seconds"] >= 0
    proxy.raw(b"GET /Wrenfield-" + b"x" * 9_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n")
    for name in ("out", "err"):
        written = (proxy.folder / name).read_text("utf-8").lower()
        assert "127.0.0.1" not in written
        assert "wrenfield" not in written.replace("/wrenfield-xxx", "")


def test_answers_are_packed_for_who_asks(proxy: Proxy) -> None:
    plain, packed = proxy.quote(), proxy.quote(Accept_Encoding="gzip")
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert gzip.decompress(packed.body) == plain.body
    assert len(packed.body) < len(plain.body) / 2


# ------------------------------------------------------------------------------------------- what it says itself


def said_by_the_proxy(reply: Reply, code: str) -> None:
    problem = json.loads(reply.body)
    assert (reply.status, reply.code) == (KINDS[code].status, code)
    assert problem == document(code, problem["detail"])
    assert reply.headers["Cache-Control"] == "no-store"
    assert len(reply.headers["X-Request-ID"]) >= 1
    assert reply.headers.get("Retry-After") == (str(RETRY_AFTER_SECONDS) if code == "busy" else None)


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        (HEAD + b"Content-Length: 65537\r\n\r\n", "body-too-large"),
        (HEAD.replace(b"/v1/", b"/v1/bulk/") + b"Content-Length: 16777217\r\n\r\n", "body-too-large"),
        (b"GET /" + b"x" * 9_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n", "uri-too-long"),
        (b"GET / HTTP/1.1\r\nHost: x\r\nA: " + b"x" * 9_000 + b"\r\n\r\n", "headers-too-large"),
        (b"GET / HTTP/1.1\r\n\r\n", "bad-request"),
        (b"GET / HTTP/1.1\r\nHost: x\r\nContent-Length: 1\r\nContent-Length: 1\r\n\r\n", "bad-request"),
        (b"P\xffST / HTTP/1.1\r\nHost: x\r\n\r\n", "bad-request"),
        (b"TRACE / HTTP/1.1\r\nHost: x\r\n\r\n", "method-not-allowed"),
        (HEAD + b"Transfer-Encoding: pigeon\r\n\r\n", "not-implemented"),
        (b"GET /metrics HTTP/1.1\r\nHost: x\r\n\r\n", "not-found"),
        (b"GET /problem-of-the-proxy HTTP/1.1\r\nHost: x\r\n\r\n", "not-found"),
    ],
)
def test_what_it_refuses_is_a_problem(proxy: Proxy, sent: bytes, code: str) -> None:
    said_by_the_proxy(proxy.raw(sent), code)


def test_bodies_in_chunks_have_the_same_limit(proxy: Proxy) -> None:
    chunk = b"2710\r\n" + b"x" * 10_000 + b"\r\n"
    said_by_the_proxy(proxy.raw(HEAD + b"Transfer-Encoding: chunked\r\n\r\n" + 7 * chunk), "body-too-large")


def test_where_no_service_is_there_it_says_so() -> None:
    with proxy_before(free_port()) as proxy:
        for method, path in (
            ("POST", "/v1/withdrawal-tax"),
            ("POST", "/v1/bulk/withdrawal-tax"),
            ("GET", "/health/live"),
        ):
            said_by_the_proxy(proxy.ask(method, path, b"{}", JSON), "busy")


def test_where_the_service_does_not_answer_in_time_it_says_so() -> None:
    waiting = threading.Event()
    with stand(lambda request: bytes(waiting.wait(PATIENCE) * 0)) as behind:
        with proxy_before(behind.port, read_timeout="1s") as proxy:
            said_by_the_proxy(proxy.quote(), "took-too-long")
            waiting.set()
        assert len(behind.heard) == 1


def test_what_the_service_says_is_left_as_it_is(proxy: Proxy, service: Service) -> None:
    with service.working():
        refused = proxy.ask("POST", "/v1/waiting", b'{"milliseconds": 500}', JSON)
        assert (refused.code, refused.headers["Retry-After"]) == ("busy", str(RETRY_AFTER_SECONDS))
        assert json.loads(refused.body)["instance"] == "/v1/waiting"
    assert json.loads(proxy.ask("GET", "/nowhere").body)["instance"] == "/nowhere"


# ------------------------------------------------------------------------------------------------- sending again


def test_what_may_have_ended_a_worker_is_never_sent_again() -> None:
    with (
        stand(lambda request: b"") as one,
        stand(lambda request: b"") as two,
        proxy_before(one.port, two.port) as proxy,
    ):
        for path in ("/v1/allowance-schedule", "/v1/bulk/withdrawal-tax"):
            before = len(one.heard) + len(two.heard)
            said_by_the_proxy(proxy.ask("POST", path, b"{}", JSON), "busy")
            assert len(one.heard) + len(two.heard) == before + 1


def test_another_replica_is_tried_where_one_is_gone() -> None:
    with stand() as there, proxy_before(free_port(), there.port, free_port()) as proxy:
        for count in range(1, 7):
            assert proxy.ask("POST", "/v1/withdrawal-tax", b"{}", JSON).body == b"{}"
            assert len(there.heard) == count


def test_a_worker_that_is_killed_loses_its_request_and_no_other(proxy: Proxy, service: Service) -> None:
    said_by_the_proxy(proxy.ask("POST", "/v1/waiting", b'{"milliseconds": 1, "dies": true}', JSON), "busy")
    assert proxy.quote().status == 200


# ------------------------------------------------------------------------------------------- slow clients


def test_a_request_reaches_the_service_when_it_is_whole() -> None:
    body = json.dumps(QUOTE).encode()
    with stand() as behind, proxy_before(behind.port) as proxy:
        with proxy.connected(HEAD + b"Content-Length: %d\r\n\r\n" % len(body) + body[:100]) as client:
            time.sleep(0.3)
            assert behind.begun == 0
            client.sendall(body[100:])
            assert client.recv(1_000).startswith(b"HTTP/1.1 200 ")
        assert behind.heard[0].endswith(body)


def test_a_slow_reader_does_not_hold_the_service() -> None:
    """An answer of the size of the largest single ones: the service has sent it before the client has read any."""
    size = 1_700_000
    head = b"HTTP/1.1 200 OK\r\nContent-Type: text/plain\r\nConnection: close\r\nContent-Length: %d\r\n\r\n" % size
    with stand(lambda request: head + b"x" * size) as behind, proxy_before(behind.port) as proxy:
        with socket.socket() as client:
            client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
            client.settimeout(PATIENCE)
            client.connect(("127.0.0.1", proxy.port))
            client.sendall(b"GET / HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
            await_true(lambda: len(behind.sent) == 1)
            received = b""
            while some := client.recv(65_536):
                received += some
        assert len(received.partition(b"\r\n\r\n")[2]) == size


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"POST /v1/withdrawal-tax HTTP/1.1\r\nHost:",
        HEAD + b"Content-Length: 1000\r\n\r\n{",
        HEAD.replace(b"/v1/", b"/v1/bulk/") + b"Content-Length: 1000000\r\n\r\n{",
    ],
)
def test_two_hundred_slow_clients_stop_nobody(proxy: Proxy, sent: bytes) -> None:
    with ExitStack() as held:
        for _ in range(200):
            held.enter_context(proxy.connected(sent))
        for _ in range(20):
            assert proxy.quote().status == 200
            assert proxy.ask("GET", "/health/ready").status == 200


def test_one_caller_has_so_many_connections_and_no_more(proxy: Proxy) -> None:
    """Those count that have begun a request; one caller too many is told, and everybody else is answered."""
    with ExitStack() as held:
        sent = HEAD + b"Content-Length: 1000\r\n\r\n{"
        begun = [held.enter_context(proxy.connected(sent)) for _ in range(256)]

        def is_too_many() -> bool:
            """A request that sends nothing for ten seconds is let go, however busy the machine is, so each sends on."""
            for one in begun:
                one.sendall(b" ")
            return proxy.quote().status == 503

        await_true(is_too_many)
        said_by_the_proxy(proxy.quote(), "busy")
    await_true(lambda: proxy.quote().status == 200)


# ------------------------------------------------------------------------------------------------- stopping


def test_a_proxy_that_is_told_to_stop_finishes_what_it_has_begun(service: Service) -> None:
    """With compose the proxy stops first, by SIGQUIT."""
    with proxy_before(service.port) as proxy:
        number = 4_711
        body = json.dumps({"milliseconds": 20_000, "until": number}).encode()
        with closing(http.client.HTTPConnection("127.0.0.1", proxy.port, timeout=PATIENCE)) as under_way:
            under_way.request("POST", "/v1/waiting", body, JSON)
            await_true(service.folder.joinpath(f"{number}.begun").exists)
            os.kill(int((proxy.folder / "nginx.pid").read_text()), signal.SIGQUIT)
            await_true(lambda: not accepts(proxy.port))
            service.folder.joinpath(f"{number}.end").touch()
            assert reply_of(under_way.getresponse()).status == 200
