"""Plain single requests, answered without the framework, which costs such a request about as much as the server does.

Around the application (WSGI) stands a short way in for what nearly every caller sends: a POST of JSON to a calculation, with its
length, without a query, and whose question is light. Whatever is not just so, and whatever goes wrong on the way, is handed on
to the application with its body, as if nothing had been done. So this module refuses nothing and words no problem, and the
answer of the short way is that of the long one, byte for byte: ``tests/test_plain.py`` and the tests of the agreement ask both.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Callable, Iterable
from io import BytesIO
from typing import Any

from service.http.body import quickly
from service.http.calculation import Calculation
from service.http.fields import included
from service.http.metrics import Metrics
from service.http.provider import encode
from service.http.watching import Application, Environ, say_what_it_is_about

_LOG = logging.getLogger(__name__)
_HOST = re.compile(r"[A-Za-z0-9-]{1,63}(\.[A-Za-z0-9-]{1,63})*(:[0-9]{1,5})?")
_LENGTH = re.compile(r"[0-9]{1,9}")
_ACCEPTED = ("*/*", "application/json")


class PlainRequests:
    """A WSGI application: plain requests for one of the calculations are answered, all others are those of ``other``."""

    def __init__(
        self,
        other: Application,
        calculations: Iterable[Calculation[Any]],
        rules_version: str,
        max_body_bytes: int,
        metrics: Metrics | None,
    ) -> None:
        self._other, self._longest, self._metrics = other, max_body_bytes, metrics
        self._calculations = {each.path: (each, each.quick, included(each.offered)) for each in calculations}
        self._headers = [
            ("Cache-Control", "no-store"),
            ("Rules-Version", rules_version),
            ("Content-Type", "application/json"),
        ]

    def __call__(self, environ: Environ, start_response: Callable[..., Any]) -> Iterable[bytes]:
        """Answer a request."""
        content = self._answer(environ) if self._is_plain(environ) else None
        if content is None:
            return self._other(environ, start_response)
        start_response("200 OK", [*self._headers, ("Content-Length", str(len(content)))])
        return (content,)

    def _is_plain(self, environ: Environ) -> bool:
        """Whether everything but the body is as nearly every caller sends it."""
        length = environ.get("CONTENT_LENGTH", "")
        return (
            environ["PATH_INFO"] in self._calculations
            and environ["REQUEST_METHOD"] == "POST"
            and environ.get("CONTENT_TYPE") == "application/json"
            and environ.get("HTTP_ACCEPT", "*/*") in _ACCEPTED
            and not environ.get("QUERY_STRING")
            and "HTTP_CONTENT_ENCODING" not in environ
            and _LENGTH.fullmatch(length) is not None
            and int(length) <= self._longest
            and _HOST.fullmatch(environ.get("HTTP_HOST", "")) is not None
        )

    def _answer(self, environ: Environ) -> bytes | None:
        """The answer to what the body asks; None where the application has to look at it, with the body put back."""
        calculation, quick, wanted = self._calculations[environ["PATH_INFO"]]
        body = b""
        try:
            length = int(environ["CONTENT_LENGTH"])
            body = environ["wsgi.input"].read(length)
            if len(body) < length:
                raise EOFError
            question = calculation.build(quick(quickly(body)))
            if calculation.is_light(question, wanted):
                document = calculation.answer(question, wanted)
                content = encode(document)
                if self._metrics is not None:
                    self._metrics.answer(document)
                say_what_it_is_about(environ, "POST", calculation.path)
                return content
        except Exception:
            _LOG.debug("A request is handed on to the framework, which tells or logs why")
        environ["wsgi.input"] = BytesIO(body)
        return None
