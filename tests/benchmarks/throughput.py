"""Quotes by a general load generator at several numbers of connections, bare and through the proxy."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile

from tests.benchmarks.crowd import WORKERS
from tests.benchmarks.processes import HOST, TOP, MeasurementError, service
from tests.benchmarks.proxy import NGINX, before
from tests.benchmarks.report import Goal, Part, progress, table
from tests.benchmarks.sizes import Sizes

WRK = shutil.which("wrk")
_QUOTE = TOP / "examples" / "requests" / "first-ufpls.json"
_PATIENCE_SECONDS = 60
# wrk tells the rest by itself; of statuses it has only how many were not 2xx or 3xx.
_SCRIPT = """
wrk.method = "POST"
wrk.headers["Content-Type"] = "application/json"
local file = io.open("{quote}", "rb")
wrk.body = file:read("*a")
file:close()
local threads = {{}}
function setup(thread) table.insert(threads, thread) end
function init(args) busy = 0; other = 0 end
function response(status, headers, body)
  if status == 503 then busy = busy + 1 elseif status ~= 200 then other = other + 1 end
end
function done(summary, latency, requests)
  local busy, other = 0, 0
  for _, thread in ipairs(threads) do busy = busy + thread:get("busy"); other = other + thread:get("other") end
  local errors = summary.errors
  io.write(string.format("FOUND %d %d %d %d %d %d %d\\n", summary.requests, summary.duration, latency:percentile(50),
    latency:percentile(99), busy, other, errors.connect + errors.read + errors.write + errors.timeout))
end
"""
_FOUND = re.compile(r"^FOUND (\d+) (\d+) (\d+) (\d+) (\d+) (\d+) (\d+)$", re.MULTILINE)


def measure(sizes: Sizes) -> Part:
    """Bare and through the proxy in turns for each number of connections."""
    if WRK is None or NGINX is None:
        return Part(
            "Quotes by wrk: not measured, because wrk or nginx is not here (apt-get install wrk nginx-light)", ()
        )
    rows, lost = [], 0
    with (
        service(WORKERS) as server,
        before(server.port) as proxy,
        tempfile.NamedTemporaryFile("w", suffix=".lua") as script,
    ):
        server.await_workers()
        script.write(_SCRIPT.format(quote=_QUOTE))
        script.flush()
        for port in (server.port, proxy):
            _ran(port, 8, sizes.seconds / 2, script.name)
        for connections in sizes.connections:
            for way, port in (("bare", server.port), ("through the proxy", proxy)):
                progress(f"load: {connections} connections, {way}")
                count, microseconds, p50, p99, busy, other, broken = _ran(
                    port, connections, 3 * sizes.seconds, script.name
                )
                rows.append(
                    (
                        way, str(connections), f"{(count - busy - other) / microseconds * 1e6:,.0f}", f"{p50 / 1e3:.1f}",
                        f"{p99 / 1e3:.1f}", str(busy), str(other), str(broken),
                    )
                )  # fmt: skip
                lost += other + broken
    heads = ("way", "connections", "answers a second", "p50, ms", "p99, ms", "told 503", "other statuses", "broken")
    return Part(
        f"Quotes by wrk, {WORKERS} workers\n\n" + table(heads, rows),
        (Goal("load: answers that were neither 200 nor 503, and broken connections", lost, 0),),
    )


def _ran(port: int, connections: int, seconds: float, script: str) -> tuple[int, ...]:
    """What wrk found: requests, microseconds, p50 and p99 in microseconds, and how many answers were 503 or something else, and
    how many connections broke."""
    assert WRK is not None
    done = subprocess.run(
        [WRK, "-t", "1", "-c", str(connections), "-d", f"{max(1, round(seconds))}s", "-s", script, "--timeout", "20s",
         f"http://{HOST}:{port}/v1/withdrawal-tax"],
        capture_output=True, text=True, timeout=seconds + _PATIENCE_SECONDS, check=False,
    )  # fmt: skip
    found = _FOUND.search(done.stdout)
    if found is None:
        raise MeasurementError(f"wrk failed: {done.stderr or done.stdout}")
    return tuple(map(int, found.groups()))
