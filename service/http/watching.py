"""What is told of each request: an id for it, a line in the log, and numbers for Prometheus. Never what was sent.

The id is that of ``X-Request-ID`` where the caller or a proxy sent a usable one, otherwise a new one, and goes back with the
answer. So does ``traceparent`` (W3C Trace Context), of which the log tells the trace. All this is put around the application
(WSGI), where it costs a request next to nothing.
"""

from __future__ import annotations

import logging
import re
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from secrets import token_hex
from typing import Any

from flask import Flask, request

from service.http.access import KEY_NAME
from service.http.metrics import Metrics
from service.law.kept import kept

REQUESTS = "service.requests"
"""The log that has a line for each request."""
_ID = re.compile(r"[A-Za-z0-9._-]{1,64}")
_TRACE = re.compile(r"[0-9a-f]{2}-(?P<trace>[0-9a-f]{32})-[0-9a-f]{16}-[0-9a-f]{2}")
_ABOUT = "service.about"
"""The key of the environment under which the application says what a request was about."""

Environ = dict[str, Any]
Headers = list[tuple[str, str]]
Application = Callable[[Environ, Callable[..., Any]], Iterable[bytes]]
"""What answers requests (WSGI, PEP 3333)."""


class Watch:
    """Watches the requests of an application, which ``answer`` answers, and puts ``always`` among the headers of every answer
    that has not set them itself. Nothing is told where the log has no lines of requests and ``metrics`` is None."""

    def __init__(
        self,
        app: Flask,
        answer: Application,
        rules_version: str,
        always: Headers,
        *,
        logs_requests: bool,
        metrics: Metrics | None,
    ) -> None:
        self._answer, self._rules_version, self._metrics = answer, rules_version, metrics
        self._always = [(header[0].lower(), header) for header in always]
        self._log = logging.getLogger(REQUESTS) if logs_requests else None
        self._tells = logs_requests or metrics is not None
        if self._tells:
            app.before_request(_say_of_the_request)

    def __call__(self, environ: Environ, start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer as the application does (WSGI), with more headers."""
        began = time.perf_counter()
        sent, trace = environ.get("HTTP_X_REQUEST_ID", ""), environ.get("HTTP_TRACEPARENT", "")
        request_id = sent if sent and _ID.fullmatch(sent) else token_hex(16)
        traced = _TRACE.fullmatch(trace) if trace else None
        answered = [""]

        def start(status: str, headers: Headers, *rest: Any) -> Any:
            answered[0] = status
            there = {name.lower() for name, _ in headers}
            more = [header for name, header in self._always if name not in there]
            more.append(("X-Request-ID", request_id))
            if traced:
                more.append(("traceparent", trace))
            return start_response(status, headers + more, *rest)

        parts = self._answer(environ, start)
        if not self._tells:
            return parts

        def tell(count: int) -> None:
            seconds = time.perf_counter() - began
            status = int(answered[0][:3] or 500)
            about = environ.get(_ABOUT, {"operation": "none"})
            if self._metrics is not None:
                self._metrics.request(about["operation"], status, seconds)
            if self._log is not None:
                self._log.log(
                    logging.DEBUG if about["operation"] == "health" else logging.INFO,
                    "request",
                    extra={
                        "request_id": request_id,
                        "trace_id": traced["trace"] if traced else None,
                        **about,
                        "key": environ.get(KEY_NAME),
                        "status": status,
                        "milliseconds": round(seconds * 1000, 3),
                        "bytes": count,
                        "rules_version": self._rules_version,
                    },
                )

        return _Told(parts, tell)


class _Told:
    """The parts of an answer; when the server has done with them, it is told how many bytes they had."""

    def __init__(self, parts: Iterable[bytes], tell: Callable[[int], None]) -> None:
        self._parts, self._tell, self._bytes = parts, tell, 0

    def __iter__(self) -> Iterator[bytes]:
        for part in self._parts:
            self._bytes += len(part)
            yield part

    def close(self) -> None:
        """Close the answer, and tell."""
        try:
            close = getattr(self._parts, "close", None)
            if close is not None:
                close()
        finally:
            self._tell(self._bytes)


def _say_of_the_request() -> None:
    rule = request.url_rule.rule if request.url_rule is not None else None
    say_what_it_is_about(request.environ, request.method, rule)


def say_what_it_is_about(environ: Environ, method: str, rule: str | None) -> None:
    """The form of the path, and not the path, in which anything may have been sent; None where there is no such path."""
    environ[_ABOUT] = _about(method, rule)


@kept(64)
def _about(method: str, rule: str | None) -> Mapping[str, str | None]:
    return {"method": method if rule is not None else None, "route": rule, "operation": operation_of(rule)}


def operation_of(rule: str | None) -> str:
    """What was asked for, as one of few words: a calculation, ``bulk``, or the first part of the path's form."""
    if rule is None:
        return "none"
    parts = rule.strip("/").split("/")
    return parts[1] if parts[0] == "v1" else parts[0]
