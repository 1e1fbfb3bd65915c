"""What is told of each request: an id for it, a line in the log, and numbers for Prometheus. Never what was sent.

The id is that of ``X-Request-ID`` where the caller or a proxy sent a usable one, otherwise a new one, and goes back with the
answer. So does ``traceparent`` (W3C Trace Context), of which the log tells the trace.
"""

from __future__ import annotations

import logging
import re
import time
import uuid
from collections.abc import Iterable, Iterator
from typing import Any

from flask import Flask, Response, g, request

from service.http.metrics import Metrics

REQUESTS = "service.requests"
"""The log that has a line for each request."""
_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_TRACE = re.compile(r"[0-9a-f]{2}-(?P<trace>[0-9a-f]{32})-[0-9a-f]{16}-[0-9a-f]{2}")
_HEALTH = "/health/"


class Watch:
    """Watches the requests of an application; ``metrics`` is None where no numbers are kept."""

    def __init__(self, rules_version: str, metrics: Metrics | None) -> None:
        self._rules_version, self._metrics = rules_version, metrics
        self._log = logging.getLogger(REQUESTS)

    def register(self, app: Flask) -> None:
        """Watch all requests of the application."""
        app.before_request(self._begin)
        app.after_request(self._answered)

    def _begin(self) -> None:
        environ = request.environ
        g.began = time.perf_counter()
        sent = environ.get("HTTP_X_REQUEST_ID", "")
        g.request_id = sent if _ID.fullmatch(sent) else uuid.uuid4().hex
        trace = environ.get("HTTP_TRACEPARENT", "")
        g.trace = trace if _TRACE.fullmatch(trace) else None

    def _answered(self, response: Response) -> Response:
        response.headers["X-Request-ID"] = g.request_id
        if g.trace is not None:
            response.headers["traceparent"] = g.trace
        is_logged = self._log.isEnabledFor(logging.INFO)
        if is_logged or self._metrics is not None:
            self._tell_at_the_end(response, is_logged=is_logged)
        return response

    def _tell_at_the_end(self, response: Response, *, is_logged: bool) -> None:
        """Tell of the request when the last byte of its answer is sent; by then the request itself is gone."""
        told, began = self._about(response), g.began
        sent = _Counted(response.response) if response.is_streamed else None
        if sent is not None:
            response.response = sent
        length = response.content_length or 0

        def tell() -> None:
            seconds = time.perf_counter() - began
            if self._metrics is not None:
                self._metrics.request(told["operation"], response.status_code, seconds)
            if is_logged:
                counted = {"milliseconds": round(seconds * 1000, 3), "bytes": sent.bytes if sent else length}
                level = logging.DEBUG if told["operation"] == "health" else logging.INFO
                self._log.log(level, "request", extra={**told, **counted})

        response.call_on_close(tell)

    def _about(self, response: Response) -> dict[str, Any]:
        """What the log tells of a request: the path's form, and not the path, in which anything may have been sent."""
        rule = request.url_rule.rule if request.url_rule is not None else None
        key = g.get("key")
        return {
            "request_id": g.request_id,
            "trace_id": None if g.trace is None else g.trace.split("-")[1],
            "method": request.method if rule is not None else None,
            "route": rule,
            "operation": operation_of(rule, request.view_args),
            "status": response.status_code,
            "key": None if key is None else key.name,
            "rules_version": self._rules_version,
        }


def operation_of(rule: str | None, view_args: dict[str, Any] | None) -> str:
    """What was asked for, as one of few words: a calculation, ``bulk-`` and a calculation, or the first part of the path."""
    if rule is None:
        return "none"
    parts = rule.strip("/").split("/")
    if rule == "/v1/bulk/<operation>":
        return "bulk"
    return parts[1] if parts[0] == "v1" else parts[0]


class _Counted:
    """The parts of an answer, with the number of bytes that were taken."""

    def __init__(self, parts: Iterable[Any]) -> None:
        self._parts, self.bytes = parts, 0

    def __iter__(self) -> Iterator[Any]:
        for part in self._parts:
            self.bytes += len(part)
            yield part
