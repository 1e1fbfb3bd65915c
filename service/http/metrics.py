"""Numbers for Prometheus, counted over all workers and after a worker's death.

Each worker counts in files of its own in a folder that the master has made (prometheus_client's multiprocess mode), and any
worker reads them all. So the folder's name is in the environment before the package is loaded.

The files bear the number of the worker's place, and not of its process: a new worker takes the place of a dead one, and counts on
where that one has stopped. So there are no more files than workers have been alive at the same time, however many have died.
"""

from __future__ import annotations

import atexit
import os
import shutil
import struct
import tempfile
import time
from collections.abc import Iterable, Mapping
from itertools import count
from typing import Any

from flask import Blueprint, Response

from service.http.negotiation import refuse_query

FOLDER = "PROMETHEUS_MULTIPROC_DIR"
_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30)
_PREFIX, _SHARED_MEMORY = "service-metrics-", "/dev/shm"
_TRIES, _PAUSE_SECONDS = 5, 0.01
_COUNTS_AS = [""]
"""What the files of this process are called by, where it is the worker of a place."""
_POUNDS = (0.01, 1, 10, 100, 1_000, 10_000, 100_000)


class Metrics:
    """The numbers of one service. ``heavy_places``: how many requests that take long are answered at the same time."""

    def __init__(self, software_version: str, rules_version: str, figures_version: str, *, heavy_places: int) -> None:
        _make_the_folder()
        import prometheus_client as prometheus
        from prometheus_client import values

        counted_by: Any = values.MultiProcessValue  # the package has no types
        vars(values)["ValueClass"] = counted_by(lambda: _COUNTS_AS[0] or os.getpid())

        self._prometheus = prometheus
        self._requests = prometheus.Counter("service_requests", "Requests answered.", ("operation", "status"))
        self._seconds = prometheus.Histogram(
            "service_request_seconds",
            "Time from the request's head to the last byte.",
            ("operation",),
            buckets=_SECONDS,
        )
        self._records = prometheus.Counter(
            "service_bulk_records", "Records of bulk requests.", ("operation", "outcome")
        )
        self._searches = prometheus.Counter(
            "service_plan_searches", "Searches for the best plan, by what ended them.", ("stopped_by",)
        )
        self._gaps = prometheus.Histogram(
            "service_plan_gap_pounds", "By how much a better plan could still be better.", buckets=_POUNDS
        )
        self._heavy = prometheus.Gauge(
            "service_heavy_in_use", "Requests that take long and are under way.", multiprocess_mode="livesum"
        )
        places = prometheus.Gauge("service_heavy_places", "Places for them.", multiprocess_mode="max")
        places.set(heavy_places)
        build = prometheus.Gauge(
            "service_build", "Which software and rules run.", ("software", "rules", "figures"), multiprocess_mode="max"
        )
        build.labels(software_version, rules_version, figures_version).set(1)

    def request(self, operation: str, status: int, seconds: float) -> None:
        """Count a request that was answered."""
        self._requests.labels(operation, str(status)).inc()
        self._seconds.labels(operation).observe(seconds)

    def records(self, operation: str, succeeded: int, failed: int) -> None:
        """Count the records of a bulk request."""
        self._records.labels(operation, "answered").inc(succeeded)
        self._records.labels(operation, "refused").inc(failed)

    def answer(self, document: Mapping[str, Any]) -> None:
        """Count what an answer tells of the search for the best plan, if there was one."""
        proof = document.get("proof")
        if proof is not None:
            self._searches.labels(proof["stopped_by"]).inc()
            self._gaps.observe(proof["gap"])

    def heavy_begins(self) -> None:
        """A request that takes long has a place."""
        self._heavy.inc()

    def heavy_ends(self) -> None:
        """It has given it back."""
        self._heavy.dec()

    def page(self) -> bytes:
        """All numbers in Prometheus' text format. A file that another worker is just making cannot be read yet: then again."""
        for _ in range(_TRIES):
            try:
                return self._page()
            except (struct.error, RuntimeError, ValueError, OSError):
                time.sleep(_PAUSE_SECONDS)
        return self._page()

    def _page(self) -> bytes:
        registry = self._prometheus.CollectorRegistry()
        from prometheus_client import multiprocess

        collected_from_all: Any = multiprocess.MultiProcessCollector  # the package has no types
        collected_from_all(registry)
        return bytes(self._prometheus.generate_latest(registry))

    def blueprint(self) -> Blueprint:
        """``GET /metrics``."""
        routes = Blueprint("metrics", __name__)

        @routes.get("/metrics")
        def metrics() -> Response:
            refuse_query()
            return Response(
                self.page(), headers={"Cache-Control": "no-store"}, content_type=self._prometheus.CONTENT_TYPE_LATEST
            )

        return routes


def free_place(taken: Iterable[int]) -> int:
    """The first place that no worker has that is alive, from 1."""
    there = set(taken)
    return next(place for place in count(1) if place not in there)


def worker_begins(place: int) -> None:
    """Count from now on as the worker of a place, which no other process may do as long as this one is alive."""
    _COUNTS_AS[0] = _named(place)


def worker_died(place: int) -> None:
    """Forget what a dead worker had under way; what it has counted stays."""
    if FOLDER in os.environ:
        from prometheus_client import multiprocess

        mark_dead: Any = multiprocess.mark_process_dead  # the package has no types
        mark_dead(_named(place))


def _named(place: int) -> str:
    return f"worker-{place}"


def _make_the_folder() -> None:
    """The folder of the numbers, which the process that makes it removes when it ends."""
    if FOLDER in os.environ:
        return
    try:
        folder = tempfile.mkdtemp(prefix=_PREFIX)
    except FileNotFoundError:  # no temporary folder can be written
        folder = tempfile.mkdtemp(prefix=_PREFIX, dir=_SHARED_MEMORY)
    os.environ[FOLDER] = folder
    maker = os.getpid()

    def remove() -> None:
        if os.getpid() == maker:
            shutil.rmtree(folder, ignore_errors=True)

    atexit.register(remove)
