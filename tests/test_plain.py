"""The short way of plain requests (``service/http/plain.py``) answers as the framework does, and hands on what is unusual."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest
from flask import Flask
from werkzeug.test import EnvironBuilder, TestResponse, run_wsgi_app

from service import create_app
from service.http.plain import PlainRequests
from service.settings import Settings
from tests import invented_requests as invented

TOP = Path(__file__).parents[1]
EXAMPLES = sorted((TOP / "examples" / "requests").glob("*.json"))
PATHS = {"plan": "/v1/allowance-schedule", "timing": "/v1/lump-sum-timing", "warnings": "/v1/warnings"}
QUOTE = "/v1/withdrawal-tax"
BODY = (TOP / "examples" / "requests" / "first-ufpls.json").read_bytes()
INVENTED: tuple[tuple[str, Callable[[Random], invented.JsonObject], int], ...] = (
    (QUOTE, invented.withdrawal, 300),
    (PATHS["warnings"], invented.warnings, 100),
    (PATHS["plan"], invented.plan, 20),
    (PATHS["timing"], invented.timing, 5),
)
LONG = create_app(Settings.for_tests(), plainly=False)


class Counting:
    """An application that counts what is handed on to it."""

    def __init__(self) -> None:
        self.app = create_app(Settings.for_tests())
        self.handed_on = 0
        plain: Any = self.app.watch._answer  # type of the attribute is any application
        assert isinstance(plain, PlainRequests)
        other = plain._other

        def count(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
            self.handed_on += 1
            return other(environ, start_response)

        plain._other = count


SHORT = Counting()


def asked(app: Flask, **request: Any) -> TestResponse:
    return app.test_client().open(**{"method": "POST", "path": QUOTE, "content_type": "application/json", **request})


def told(response: TestResponse) -> tuple[int, list[tuple[str, str]], bytes]:
    """All of an answer but its own id, headers in their order."""
    return response.status_code, [each for each in response.headers if each[0] != "X-Request-ID"], response.data


def both(**request: Any) -> int:
    """The status of an answer that is the same both ways."""
    short = told(asked(SHORT.app, **request))
    assert short == told(asked(LONG, **request))
    return short[0]


def is_handed_on(**request: Any) -> bool:
    before = SHORT.handed_on
    both(**request)
    return SHORT.handed_on > before


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
def test_examples_are_answered_alike(example: Path) -> None:
    both(path=PATHS.get(example.stem.partition("-")[0], QUOTE), data=example.read_bytes())


@pytest.mark.parametrize(("path", "make", "count"), INVENTED, ids=lambda value: value if isinstance(value, str) else "")
def test_invented_requests_are_answered_alike(
    path: str, make: Callable[[Random], invented.JsonObject], count: int
) -> None:
    random, statuses = Random(path), []
    for number in range(count):
        request = make(random)
        text = invented.spoiled(random, request) if number % 10 == 0 else json.dumps(request)
        statuses.append(both(path=path, data=text.encode()))
    assert statuses.count(200) > count / 2


def test_a_plain_quote_does_not_reach_the_framework() -> None:
    assert not is_handed_on(data=BODY)
    assert not is_handed_on(data=BODY, headers={"Accept": "application/json", "X-Request-ID": "mine"})


UNUSUAL: dict[str, dict[str, Any]] = {
    "another method": {"method": "PUT"},
    "a method that is not known": {"method": "post"},
    "a query": {"query_string": "include=working"},
    "a query that is not known": {"query_string": "x=1"},
    "another path": {"path": "/v1/withdrawal-tax/"},
    "two slashes": {"path": "//v1/withdrawal-tax"},
    "parameters of the content type": {"content_type": "application/json; charset=utf-8"},
    "another content type": {"content_type": "text/plain"},
    "another form": {"headers": {"Accept": "text/csv"}},
    "weighed forms": {"headers": {"Accept": "application/json;q=0.5, */*;q=0.1"}},
    "no form": {"headers": {"Accept": ""}},
    "a coding": {"headers": {"Content-Encoding": "gzip"}},
    "a coding that is none": {"headers": {"Content-Encoding": "identity"}},
    "a strange host": {"headers": {"Host": "a..b"}},
    "a long host": {"headers": {"Host": "a" * 64}},
    "an address as host": {"headers": {"Host": "[::1]:8000"}},
    "half a body": {"data": BODY[:100]},
    "no body": {"data": b""},
    "a mark before the text": {"data": b"\xef\xbb\xbf" + BODY},
    "a key twice": {"data": b'{"tax_year": "2026-27",' + BODY.lstrip()[1:]},
    "a fault": {"data": BODY.replace(b"england", b"Kernow")},
    "more than the pot": {"data": BODY.replace(b"40000", b"40000000")},
    "a long body": {"data": BODY + b" " * 70_000},
}


@pytest.mark.parametrize("request_", UNUSUAL.values(), ids=UNUSUAL)
def test_whatever_is_unusual_is_handed_on(request_: dict[str, Any]) -> None:
    assert is_handed_on(**{"data": BODY, **request_})


def sent(app: Flask, **changes: Any) -> tuple[str, bytes]:
    """The status and the body of the answer to the quote with a changed environment (WSGI)."""
    environ = EnvironBuilder(QUOTE, method="POST", data=BODY, content_type="application/json").get_environ()
    parts, status, _ = run_wsgi_app(app, {**environ, **changes})
    return status, b"".join(parts)


def test_a_body_shorter_than_announced_is_handed_on() -> None:
    short, long = (sent(app, CONTENT_LENGTH=str(len(BODY) + 1)) for app in (SHORT.app, LONG))
    assert short == long
    assert short[0].startswith("400")
    assert b"ends before the length it announced" in short[1]


def test_a_body_that_cannot_be_read_is_the_senders_fault() -> None:
    class Broken:
        def read(self, size: int) -> bytes:
            raise OSError

    assert sent(SHORT.app, **{"wsgi.input": Broken()})[0].startswith("400")


def test_a_failure_is_handed_on(caplog: pytest.LogCaptureFixture) -> None:
    """An unexpected error comes again in the framework, which logs it and answers 500; here it is of the short way alone."""
    app = create_app(Settings.for_tests())
    plain: Any = app.watch._answer
    _, quick, wanted = plain._calculations[QUOTE]

    class Fails:
        path = QUOTE

        def build(self, values: dict[str, Any]) -> object:
            raise ZeroDivisionError

    plain._calculations[QUOTE] = (Fails(), quick, wanted)
    with caplog.at_level(logging.INFO):
        assert asked(app, data=BODY).status_code == 200  # the framework knows how to
    assert caplog.records == []


def test_heavy_questions_are_handed_on() -> None:
    plan = (TOP / "examples" / "requests" / "plan-couple-most-after-tax.json").read_bytes()
    assert is_handed_on(path=PATHS["plan"], data=plan)


def test_costly_quotes_are_handed_on() -> None:
    """Large savings beside a marriage allowance: such a quote waits for its turn where many are under way."""
    request = json.loads(BODY)
    assert not is_handed_on(data=json.dumps(request).encode())
    savings = {"kind": "savings_interest", "amount": 10_000}
    request["household"]["people"][0].update({"marriage_allowance": "receives", "income": [savings]})
    assert is_handed_on(data=json.dumps(request).encode())


@pytest.mark.parametrize("origins", [(), ("https://example.org",)])
def test_with_origins_everything_goes_the_long_way(origins: tuple[str, ...]) -> None:
    app = create_app(replace(Settings.for_tests(), cors_origins=origins))
    assert isinstance(app.watch._answer, PlainRequests) == (not origins)


def test_what_was_put_around_the_framework_sees_every_request(monkeypatch: pytest.MonkeyPatch) -> None:
    # As OpenTelemetry's instrumentation of Flask does, with all applications that are made.
    seen: list[str] = []
    make = Flask.__init__

    def make_followed(app: Flask, *args: Any, **kwargs: Any) -> None:
        make(app, *args, **kwargs)
        inner = app.wsgi_app

        def follow(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
            seen.append(environ["PATH_INFO"])
            return inner(environ, start_response)

        vars(app)["wsgi_app"] = follow

    monkeypatch.setattr(Flask, "__init__", make_followed)
    assert asked(create_app(Settings.for_tests()), data=BODY).status_code == 200
    assert seen == [QUOTE]
