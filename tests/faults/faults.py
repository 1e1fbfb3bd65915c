"""Each fault: what is done to a service under load, and how many requests may be lost by it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from service.server import DESCRIPTORS_BESIDE_WORKERS
from tests.benchmarks.proxy import NGINX, Proxy, started
from tests.faults.load import HOST, PATIENCE, QUOTE, TOP, WORKERS, ask, await_true, command, load, service, surroundings


@dataclass(frozen=True, slots=True)
class Scale:
    """How many clients ask, how many answers they get before and after each blow, how many blows there are, how many silent
    connections stand beside, and how many records a bulk has."""

    clients: int = 16
    answers: int = 500
    blows: int = 6
    silent: int = 200
    records: int = 10_000


SMALLEST = Scale(clients=4, answers=30, blows=2, silent=60, records=200)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What was counted, and the most requests that may have been lost: connected and sent, and not answered. No answer may ever
    be wrong."""

    counts: Counter[str]
    most_lost: int

    @property
    def is_good(self) -> bool:
        return self.counts["wrong"] == 0 and self.counts["right"] > 0 and self.counts["lost"] <= self.most_lost


_YEAR = 365 * 86_400  # seconds


class NotPossibleError(Exception):
    """This machine does not let the fault be brought about; the message says why."""


def stopped_after_a_pause(scale: Scale) -> Outcome:
    """SIGTERM when no new requests have come for a moment, as after the pause before a pod is stopped; some are still there."""
    with service() as there, load(there.port, scale.clients) as clients:
        clients.answered(scale.answers)
        clients.stop()  # those under way are
        there.process.send_signal(signal.SIGTERM)
        assert there.process.wait(timeout=PATIENCE) == 0
    return Outcome(clients.counts, 0)


def stopped_while_requests_come(scale: Scale) -> Outcome:
    """SIGTERM while clients go on: one that comes through the door just when the last worker leaves is told to come again. What
    is lost is who comes in the instant in which the door is closed."""
    with service() as there, load(there.port, scale.clients) as clients:
        clients.answered(scale.answers)
        there.process.send_signal(signal.SIGTERM)
        assert there.process.wait(timeout=PATIENCE) == 0
        time.sleep(0.1)
    return Outcome(clients.counts, WORKERS)


def stopped_behind_the_proxy(scale: Scale) -> Outcome:
    """SIGTERM to the service alone while clients go on, as where a replica is replaced: the proxy tells them to come again, or
    has another replica for them."""
    with service() as there, _proxy_before(there.port) as proxy, load(proxy.port, scale.clients) as clients:
        clients.answered(scale.answers)
        there.process.send_signal(signal.SIGTERM)
        assert there.process.wait(timeout=PATIENCE) == 0
        time.sleep(0.1)
    return Outcome(clients.counts, 0)


def stopped_with_the_proxy(scale: Scale) -> Outcome:
    """As compose stops both while clients go on: the proxy first, which ends what it has begun, then the service. What is lost is
    who has just come through the proxy's door and was not taken in by it."""
    with service() as there, _proxy_before(there.port) as proxy, load(proxy.port, scale.clients) as clients:
        clients.answered(scale.answers)
        proxy.process.send_signal(signal.SIGQUIT)
        assert proxy.process.wait(timeout=PATIENCE) == 0
        there.process.send_signal(signal.SIGTERM)
        assert there.process.wait(timeout=PATIENCE) == 0
    return Outcome(clients.counts, scale.clients)


@contextmanager
def _proxy_before(port: int) -> Iterator[Proxy]:
    if NGINX is None:
        raise NotPossibleError("there is no nginx here")
    with started(port) as proxy:
        yield proxy


def reloaded(scale: Scale) -> Outcome:
    """SIGHUP again and again: new workers come, old ones go."""
    with service() as there, load(there.port, scale.clients) as clients:
        for _ in range(scale.blows):
            before = set(there.workers())
            there.process.send_signal(signal.SIGHUP)
            clients.answered(scale.answers)
            await_true(lambda before=before: not before & set(there.workers()))
            there.await_workers()
        clients.answered(scale.answers)
    return Outcome(clients.counts, 0)


def worker_killed(scale: Scale) -> Outcome:
    """kill -9 of one worker after the other: each may take the requests with it that it held."""
    with service() as there, load(there.port, scale.clients) as clients:
        for _ in range(scale.blows):
            clients.answered(scale.answers)
            os.kill(there.workers()[0], signal.SIGKILL)
            there.await_workers()
        clients.answered(scale.answers)
    return Outcome(clients.counts, 2 * scale.blows)


def master_killed(scale: Scale) -> Outcome:
    """kill -9 of the process that started the workers: they answer what has come, and leave."""
    with service() as there, load(there.port, scale.clients) as clients:
        clients.answered(scale.answers)
        there.process.kill()
        await_true(lambda: ask(there.port)[0] == "refused")
    return Outcome(clients.counts, WORKERS)


def few_descriptors(scale: Scale) -> Outcome:
    """As few descriptors for each process as the service starts with, more silent connections than that, and a reload."""
    fewest = DESCRIPTORS_BESIDE_WORKERS + 2 * WORKERS
    limited = ("sh", "-c", f'ulimit -n {fewest}; exec "$@"', "sh")
    with service(limited, SERVICE_METRICS="yes") as there, ExitStack() as held:
        for _ in range(scale.silent):
            silent = held.enter_context(socket.create_connection((HOST, there.port), timeout=PATIENCE))
            silent.sendall(b"GET / HTTP/1.1\r\n")
        with load(there.port, scale.clients) as clients:
            clients.answered(scale.answers)
            before = set(there.workers())
            there.process.send_signal(signal.SIGHUP)
            await_true(lambda: not before & set(there.workers()))
            there.await_workers()
            clients.answered(scale.answers)
        assert len(there.workers()) == WORKERS
    return Outcome(clients.counts, 0)


def little_memory(scale: Scale) -> Outcome:
    """No more than 700 MB of addresses for each process, and a bulk of 16 MB that is answered beside the quotes."""
    record = json.dumps({"id": "x", "request": json.loads(QUOTE)}).encode() + b"\n"
    body = record * scale.records + b" " * (16_000_000 - scale.records * len(record))
    head = "POST /v1/bulk/withdrawal-tax?fields=net_after_tax HTTP/1.0\r\nContent-Type: application/x-ndjson\r\n"
    request = f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body
    with (
        service(("sh", "-c", 'ulimit -v 700000; exec "$@"', "sh")) as there,
        load(there.port, scale.clients) as clients,
    ):
        with socket.create_connection((HOST, there.port), timeout=PATIENCE) as connection:
            connection.sendall(request)
            answer = b""
            while some := connection.recv(65_536):
                answer += some
        assert json.loads(answer.splitlines()[-1])["succeeded"] == scale.records
        clients.answered(scale.answers)
    return Outcome(clients.counts, 0)


def full_disk(scale: Scale) -> Outcome:
    """Not a byte is left in /dev/shm and the temporary folder, before the service starts and while it answers."""
    fill = "for at in /dev/shm /mnt; do mount -t tmpfs -o size=4k none $at; cat /dev/zero >$at/full 2>/dev/null; done; "
    with service(_in_a_room_of_its_own(fill), TMPDIR="/mnt") as there, load(there.port, scale.clients) as clients:
        clients.answered(scale.answers)
        os.kill(there.workers()[0], signal.SIGKILL)
        there.await_workers()
        clients.answered(scale.answers)
    return Outcome(clients.counts, 2)


_READ_ONLY = (
    "mount --bind / /mnt && mount -o remount,bind,ro /mnt && for at in proc dev; do mount --rbind /$at /mnt/$at; done; "
)


def all_but_shared_memory_read_only(scale: Scale) -> Outcome:
    """Nothing can be written but /dev/shm, where the numbers are kept as well."""
    room = _in_a_room_of_its_own(f"{_READ_ONLY} mount -t tmpfs none /mnt/dev/shm; ", inside="chroot /mnt ")
    with service(room, TMPDIR="/tmp", SERVICE_METRICS="yes") as there, load(there.port, scale.clients) as clients:
        clients.answered(scale.answers)
        os.kill(there.workers()[0], signal.SIGKILL)
        there.await_workers()
        clients.answered(scale.answers)
    return Outcome(clients.counts, 2)


def all_read_only(scale: Scale) -> Outcome:
    """Nothing can be written at all: the service does not start, and says so in one line."""
    room = _in_a_room_of_its_own(f"{_READ_ONLY} mount -t tmpfs -o ro none /mnt/dev/shm; ", inside="chroot /mnt ")
    done = subprocess.run(
        command(room),
        cwd=TOP,
        env=surroundings(TMPDIR="/tmp"),
        capture_output=True,
        text=True,
        timeout=PATIENCE,
        check=False,
    )
    told = done.stderr.splitlines()
    as_it_should = done.returncode == 1 and len(told) == 1 and "can be written" in told[0]
    return Outcome(Counter({"right" if as_it_should else "wrong": 1}), 0)


def clock_jumps(scale: Scale) -> Outcome:
    """The clock goes a year forward and two back, again and again: no answer changes, and no worker is taken for dead."""
    with TemporaryDirectory() as folder:
        clock = Path(folder) / "clock"
        clock.write_text("0")
        faked = {"LD_PRELOAD": _clock_library(folder), "CLOCK_FILE": str(clock), "SERVICE_TIMEOUT": "5"}
        with service(**faked) as there, load(there.port, scale.clients) as clients:
            before = there.workers()
            years = set()
            for blow in range(scale.blows):
                clock.write_text(str((1, -1)[blow % 2] * _YEAR))
                clients.answered(scale.answers)
                years.add(_year_told(there.port))
            time.sleep(1)
            assert len(years) == 2, "the clock did not jump"
            assert there.workers() == before
        assert not [line for line in there.log if "TIMEOUT" in line]
    return Outcome(clients.counts, 0)


def _year_told(port: int) -> bytes:
    """The year of the Date header of an answer."""
    with socket.create_connection((HOST, port), timeout=PATIENCE) as connection:
        connection.sendall(b"GET /health/live HTTP/1.0\r\n\r\n")
        reply = connection.recv(65_536)
    (line,) = [line for line in reply.split(b"\r\n") if line.startswith(b"Date:")]
    return line.split()[4]


def _clock_library(folder: str) -> str:
    """clock.c, compiled into the folder."""
    compiler, built = shutil.which("cc"), f"{folder}/clock.so"
    if compiler is None:
        raise NotPossibleError("there is no C compiler here")
    subprocess.run([compiler, "-shared", "-fPIC", "-o", built, Path(__file__).with_name("clock.c")], check=True)
    return built


@cache
def _has_rooms() -> bool:
    if shutil.which("unshare") is None:
        return False
    tried = subprocess.run(
        ["unshare", "--mount", "sh", "-c", "mount -t tmpfs none /mnt"], capture_output=True, check=False
    )
    return tried.returncode == 0


def _in_a_room_of_its_own(prepare: str, inside: str = "") -> tuple[str, ...]:
    """What starts a program where it alone sees what is mounted."""
    if not _has_rooms():
        raise NotPossibleError("file systems cannot be mounted apart here (unshare --mount)")
    enter = f'cd {TOP}; exec "$@"'
    script = f"{prepare} exec {inside}sh -c '{enter}' sh \"$@\""
    return ("unshare", "--mount", "sh", "-c", script, "sh")


FAULTS: dict[str, Callable[[Scale], Outcome]] = {
    each.__name__.replace("_", "-"): each
    for each in (
        stopped_after_a_pause,
        stopped_while_requests_come,
        stopped_behind_the_proxy,
        stopped_with_the_proxy,
        reloaded,
        worker_killed,
        master_killed,
        few_descriptors,
        little_memory,
        full_disk,
        all_but_shared_memory_read_only,
        all_read_only,
        clock_jumps,
    )
}
