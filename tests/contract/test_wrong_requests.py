"""Wrong requests as tables: what each is answered, in the words that whoever sent it reads.

Each table of the folder ``wrong_requests`` is about one operation, and starts from a request of ``examples/requests``. A
case changes the value at the pointer ``at``: to the JSON text ``json``, or without it the field is left out. ``also`` has
more such changes. Then there is one fault and no other (unless ``others``): at ``pointer``, which is that of ``at`` where
nothing else is said, with this ``code`` and a sentence that holds what the case ``says``. ``problem`` is the problem's
code, invalid-request where nothing is said, and ``permitted`` what it says would be permitted.

Then the sentence is followed to the letter, as ``following.py`` does; where it has no value to put there, ``then`` has what
somebody would change who has read it: pointers, each with a JSON text, or with nothing for a field to leave out. The
request that comes of it is answered, or has another fault: with the code ``after``.
"""

from __future__ import annotations

import copy
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from .agreement import NDJSON
from .following import LEFT_OUT, STEPS, changed, followed
from .refresh_examples import request_file

TABLES = sorted(Path(__file__).with_name("wrong_requests").glob("*.toml"))
FEWEST = 200


def cases() -> Iterator[Any]:
    """Every case as a parameter, with the path and the name of the right request."""
    for file in TABLES:
        table = tomllib.loads(file.read_text("utf-8"))
        for case in table["cases"]:
            name = f"{file.stem} {case['at']} {case.get('json', 'left out')[:50]} {case.get('pointer', '')}"
            yield pytest.param(table["path"], table["base"].removesuffix(".json"), case, id=name)


CASES = list(cases())


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


@pytest.mark.parametrize(("path", "base", "case"), CASES)
def test_what_the_sentence_says_puts_it_right(client: FlaskClient, path: str, base: str, case: dict[str, Any]) -> None:
    sent = wrong(base, case)
    faults = client.post(path, json=sent).get_json()["errors"]
    right = followed(sent, faults)
    assert (right is None) == ("then" in case), [fault["detail"] for fault in faults]
    if right is None:
        right = copy.deepcopy(sent)
        for pointer, text in case["then"].items():
            right = changed(right, pointer, json.loads(text) if text else LEFT_OUT)
    reply = client.post(path, json=right)
    if reply.status_code == 200:
        assert "after" not in case
        return
    left = reply.get_json()["errors"]
    assert {fault["code"] for fault in left} == {case.get("after")}, left
    assert not [fault for fault in left if fault in faults]


def test_the_reader_knows_no_sentence_that_is_not_in_the_tables(client: FlaskClient) -> None:
    said = [
        fault["detail"]
        for path, base, case in (each.values for each in CASES)
        for fault in client.post(path, json=wrong(base, case)).get_json()["errors"]
    ]
    assert [text for text, _ in STEPS if not any(re.search(text, detail) for detail in said)] == []


@pytest.mark.parametrize("path", sorted({each.values[0] for each in CASES}))
def test_in_bulk_a_wrong_request_is_told_the_same(client: FlaskClient, path: str) -> None:
    sent = [wrong(base, case) for operation, base, case in (each.values for each in CASES) if operation == path]
    text = "\n".join(json.dumps({"id": number, "request": body}) for number, body in enumerate(sent))
    reply = client.post(path.replace("/v1/", "/v1/bulk/"), data=text, content_type=NDJSON)
    lines = [json.loads(line) for line in reply.text.splitlines()[:-1]]
    alone = [client.post(path, json=body).get_json() for body in sent]
    assert [line["problem"] for line in lines] == alone
