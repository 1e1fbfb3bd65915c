"""Wrong requests as tables: what each is answered, in the words that whoever sent it reads.

Each table of the folder ``wrong_requests`` is about one operation, and starts from a request of ``examples/requests``. A
case changes the value at the pointer ``at``: to the JSON text ``json``, or without it the field is left out. ``also`` has
more such changes. Then there is one fault and no other (unless ``others``): at ``pointer``, which is that of ``at`` where
nothing else is said, with this ``code`` and a sentence that holds what the case ``says``. ``problem`` is the problem's
code, invalid-request where nothing is said, and ``permitted`` what it says would be permitted.
"""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.bodies import value_at

from .refresh_examples import request_file

TABLES = sorted(Path(__file__).with_name("wrong_requests").glob("*.toml"))
FEWEST = 120
LEFT_OUT = object()


def cases() -> Iterator[Any]:
    """Every case as a parameter, with the path and the name of the right request."""
    for file in TABLES:
        table = tomllib.loads(file.read_text("utf-8"))
        for case in table["cases"]:
            name = f"{file.stem} {case['at']} {case.get('json', 'left out')[:50]}"
            yield pytest.param(table["path"], table["base"].removesuffix(".json"), case, id=name)


CASES = list(cases())


def changed(body: Any, pointer: str, value: Any) -> Any:
    """The body with another value at a pointer, or with the field left out."""
    if not pointer:
        return value
    *parents, last = pointer[1:].split("/")
    here = value_at(body, "".join(f"/{part}" for part in parents))
    if value is LEFT_OUT:
        del here[last]
    else:
        here[int(last) if isinstance(here, list) else last] = value
    return body


def wrong(base: str, case: dict[str, Any]) -> Any:
    """The request of a case."""
    body = copy.deepcopy(request_file(base))
    for pointer, text in case.get("also", {}).items():
        body = changed(body, pointer, json.loads(text))
    return changed(body, case["at"], json.loads(case["json"]) if "json" in case else LEFT_OUT)


def test_there_are_many_cases_of_every_operation() -> None:
    assert len(CASES) >= FEWEST
    assert len({case.values[0] for case in CASES}) == 4


@pytest.mark.parametrize(("path", "base", "case"), CASES)
def test_a_wrong_request_is_told_what_is_wrong_and_where(
    client: FlaskClient, path: str, base: str, case: dict[str, Any]
) -> None:
    reply = client.post(path, json=wrong(base, case))
    problem = reply.get_json()
    assert (reply.status_code, problem["code"]) == (422, case.get("problem", "invalid-request")), problem
    pointer = case.get("pointer", f"#{case['at']}")
    [fault] = [error for error in problem["errors"] if error["pointer"] == pointer]
    assert fault["code"] == case["code"], fault
    assert case["says"] in fault["detail"], fault
    assert problem.get("permitted") == case.get("permitted")
    if not case.get("others"):
        assert len(problem["errors"]) == 1, problem["errors"]
        assert problem["detail"] == (fault["detail"] if pointer == "#" else f"{pointer}: {fault['detail']}")
    else:
        assert problem["detail"].startswith(f"{len(problem['errors'])} faults; the first: #")
