"""The page at /docs in a browser with the screen of a phone, at the top of a host and behind a proxy's path prefix."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from . import tools
from .calls import DOCUMENT
from .serving import Reply, ask, behind_prefix

DRIVER = Path(__file__).with_name("drivers") / "page.py"
SCREEN = 390
NDJSON = "application/x-ndjson"
QUOTE = DOCUMENT["paths"]["/v1/withdrawal-tax"]["post"]
BULK = DOCUMENT["paths"]["/v1/bulk/{operation}"]["post"]
OPERATIONS = (QUOTE["operationId"], BULK["operationId"])


class Visit(NamedTuple):
    """What was seen on the page, and the URL under which the service was reached."""

    url: str
    seen: dict[str, Any]


@pytest.fixture(scope="module", params=["", "/pension/tax"], ids=["at the top", "behind a prefix"])
def visit(request: pytest.FixtureRequest, url: str) -> Iterator[Visit]:
    """A visit to the page that tries out a quote and a bulk request."""
    browser, python = tools.chromium(), tools.pip_program("python")
    with behind_prefix(url, request.param) if request.param else nullcontext(url) as found:
        command = [python, str(DRIVER), browser, found, *OPERATIONS]
        done = subprocess.run(command, capture_output=True, text=True, timeout=200, check=False)
        assert done.returncode == 0, done.stderr[-4000:]
        yield Visit(found, json.loads(done.stdout))


def first_example(operation: dict[str, Any], media: str) -> Any:
    """The first example of a body, which the page offers."""
    return next(iter(operation["requestBody"]["content"][media]["examples"].values()))["value"]


def test_nothing_comes_from_outside_and_nothing_is_missing(visit: Visit) -> None:
    parts = ["docs", "docs/swagger-ui.css", "docs/swagger-ui-bundle.js", "openapi.yaml"]
    assert set(visit.seen["requests"][: len(parts)]) == {f"{visit.url}/{part}" for part in parts}
    assert all(request.startswith((f"{visit.url}/", "data:")) for request in visit.seen["requests"])
    assert visit.seen["complaints"] == []


def test_there_is_one_main_part(visit: Visit) -> None:
    assert visit.seen["mains"] == 1


def test_the_page_is_no_wider_than_a_phone(visit: Visit) -> None:
    assert visit.seen["widths"] == [SCREEN] * (1 + len(OPERATIONS))


def test_a_quote_is_tried_out_without_what_was_not_asked(visit: Visit) -> None:
    tried = visit.seen["tried"][QUOTE["operationId"]]
    assert (tried["url"], tried["status"]) == (f"{visit.url}/v1/withdrawal-tax", 200)
    assert json.loads(tried["sent"]) == first_example(QUOTE, "application/json")
    assert "net_after_tax" in json.loads(tried["shown"])


def test_lines_are_sent_and_shown_as_they_are(visit: Visit) -> None:
    tried = visit.seen["tried"][BULK["operationId"]]
    example = first_example(BULK, NDJSON)
    assert (tried["url"], tried["status"]) == (f"{visit.url}/v1/bulk/withdrawal-tax", 200)
    assert tried["sent"] == example
    got: Reply = ask(tried["url"], "POST", example.encode(), {"Content-Type": NDJSON})
    assert tried["shown"].strip() == got.body.decode().strip()
    assert json.loads(got.body.splitlines()[-1])["succeeded"] > 0
