"""The calculations without a server: the same bytes as over HTTP."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from service import calculator, create_app
from service.settings import Settings

REQUESTS = sorted((Path(__file__).parents[1] / "examples" / "requests").glob("*.json"))


@pytest.mark.parametrize("operation", ["withdrawal-tax", "allowance-schedule"])
def test_it_answers_as_the_bulk_operation_does(operation: str) -> None:
    # Every example stands in the body, so that for each operation some are right and some are not.
    lines = [json.dumps({"id": path.stem, "request": json.loads(path.read_bytes())}).encode() for path in REQUESTS]
    body = b"\n".join([*lines, b"{", b"", b'{"id": 7}', b"x" * 70_000, lines[0]])
    client = create_app(Settings.for_tests()).test_client()
    answer = client.post(f"/v1/bulk/{operation}", data=body, content_type="application/x-ndjson")
    assert answer.status_code == 200
    made = calculator(operation)
    assert b"".join(made.answers(body)) == answer.data
    assert made.rules_version == answer.headers["Rules-Version"]
    assert {json.loads(line).get("status") for line in answer.data.splitlines()} >= {200, 400, 422}


def test_no_records_are_answered_with_the_last_line_alone() -> None:
    made = calculator("withdrawal-tax")
    (line,) = made.answers(b"\n")
    last = json.loads(line)
    assert last.pop("rules_version") == made.rules_version
    assert last.pop("software_version")
    assert last == {"end": True, "records": 0, "succeeded": 0, "failed": 0}


def test_an_unknown_calculation_is_a_key_error() -> None:
    with pytest.raises(KeyError, match="horoscope"):
        calculator("horoscope")
