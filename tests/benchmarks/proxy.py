"""The proxy of the project before a service, for measurements: its own configuration, without the limits by address."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.processes import HOST, TOP, MeasurementError

NGINX = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
_PATIENCE_SECONDS = 20
_LISTEN = "listen 8080;"
_BY_ADDRESS = ("limit_conn callers 256;", "limit_req zone=requests burst=1000 nodelay;")
"""All that measures comes from one address, which would meet these limits before the service has enough to do."""


@contextmanager
def before(port: int) -> Iterator[int]:
    """The port of a proxy before the service on a port. MeasurementError where there is no nginx, or it does not start."""
    with started(port) as proxy:
        yield proxy.port


@dataclass(frozen=True, slots=True)
class Proxy:
    """A running proxy."""

    process: subprocess.Popen[bytes]
    port: int


@contextmanager
def started(port: int) -> Iterator[Proxy]:
    """A proxy before the service on a port, with its process. MeasurementError as above."""
    if NGINX is None:
        raise MeasurementError("there is no nginx here")
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o755)
    with socket.create_server((HOST, 0)) as holder:
        own: int = holder.getsockname()[1]
    text = (TOP / "docker" / "proxy" / "nginx.conf").read_text("utf-8")
    for written, instead in ((_LISTEN, f"listen {HOST}:{own};"), *((limit, "") for limit in _BY_ADDRESS)):
        if text.count(written) != 1:
            raise MeasurementError(f"the proxy's configuration has not one {written!r}")
        text = text.replace(written, instead)
    (folder / "nginx.conf").write_text(text, "utf-8")
    (folder / "upstream.conf").write_text(f"upstream service {{ server {HOST}:{port} max_fails=0; }}", "utf-8")
    command = [NGINX, "-e", "stderr", "-p", f"{folder}/", "-c", str(folder / "nginx.conf"), "-g", "daemon off;"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    try:
        _await(process, own)
        yield Proxy(process, own)
    finally:
        process.terminate()
        process.wait(timeout=_PATIENCE_SECONDS)
        shutil.rmtree(folder)


def _await(process: subprocess.Popen[bytes], port: int) -> None:
    until = time.monotonic() + _PATIENCE_SECONDS
    while process.poll() is None and time.monotonic() < until:
        try:
            with socket.create_connection((HOST, port), timeout=1):
                return
        except OSError:
            time.sleep(0.05)
    raise MeasurementError("the proxy did not start")
