"""Bodies of requests with something changed, and what is said of them: for the tests of every calculation."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from typing import Any

from flask.testing import FlaskClient

from service.http.body import loaded, slowly_loaded, strict
from service.http.problems import ProblemError
from service.schemas.quick import quick_reader
from service.schemas.shared import StrictSchema


def text_with(body: dict[str, Any], pointer: str, text: str | None) -> bytes:
    """A body with the JSON text at a pointer, set, added or (None) left out."""
    whole = copy.deepcopy(body)
    *parents, last = pointer[1:].split("/")
    here = value_at(whole, "".join(f"/{part}" for part in parents))
    key: Any = int(last) if isinstance(here, list) else last
    if text is None:
        del here[key]
    else:
        here[key] = "@@"
    return json.dumps(whole).replace('"@@"', str(text)).encode()


def value_at(body: Any, pointer: str) -> Any:
    """The value of a body at a pointer; the body itself at an empty one."""
    here = body
    for part in pointer.split("/")[1:]:
        here = here[int(part)] if isinstance(here, list) else here[part]
    return here


def pointers_of(node: Any, pointer: str = "") -> Iterator[str]:
    """The pointers of every value of a body, at every depth."""
    for key, value in node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ():
        yield f"{pointer}/{key}"
        yield from pointers_of(value, f"{pointer}/{key}")


def leaves_of(body: dict[str, Any]) -> set[str]:
    """The pointers of all single values of a body."""
    return {pointer for pointer in pointers_of(body) if not isinstance(value_at(body, pointer), (dict, list))}


def faults_of(client: FlaskClient, url: str, text: bytes, code: str = "invalid-request") -> list[tuple[str, str]]:
    """Where and with which codes a body is refused."""
    reply = client.post(url, data=text, content_type="application/json")
    problem = json.loads(reply.data)
    assert (reply.status_code, problem.get("code")) == (422, code), problem
    assert all(error["detail"].endswith((".", "?")) for error in problem["errors"])
    return [(error["pointer"], error["code"]) for error in problem["errors"]]


def answered(client: FlaskClient, url: str, body: dict[str, Any]) -> dict[str, Any]:
    """The answer to a body, which nobody may keep and which names the version of its rules."""
    reply = client.post(url, json=body)
    assert reply.status_code == 200, reply.get_data(as_text=True)
    assert reply.headers["Cache-Control"] == "no-store"
    found: dict[str, Any] = reply.get_json()
    assert reply.headers["Rules-Version"] == found["rules"]["version"]
    return found


def outcome(way: Callable[..., Any], *arguments: Any) -> tuple[Any, ...]:
    """What a way of reading comes to: a request, or a problem with its faults."""
    try:
        return "request", way(*arguments)
    except ProblemError as problem:
        return "problem", problem.code, problem.detail, problem.faults


def refused_by_both_readers(
    full: dict[str, Any], values: tuple[str, ...], schema: StrictSchema, build: Callable[[dict[str, Any]], Any]
) -> int:
    """How many bodies are refused of those with another value, or none, in one place of the full one. The quick reader and
    the strict one have to come to the same about every one of them."""
    quick, text = quick_reader(schema), json.dumps(full).encode()
    assert quick(strict(text)) == schema.load(strict(text))
    refused = 0
    for pointer in pointers_of(full):
        for value in (None, *values):
            changed = text_with(full, pointer, value)
            found = outcome(loaded, changed, schema, quick, build)
            assert found == outcome(slowly_loaded, changed, schema, build), changed
            refused += found[0] == "problem"
    return refused
