"""A key of an answer says one thing: along a path from the whole to a part of it, it never has two types."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from .agreement import operations

TYPES = {dict: "object", list: "list", str: "text", bool: "boolean", int: "number", float: "number"}
OVER_YEARS = ("planAllowanceSchedule", "compareLumpSumTiming")
ANSWERS = {
    name: answer
    for operation in operations()
    if operation.id in OVER_YEARS
    for _, name, answer in operation.response_examples_of("200")
}


def two_types(node: Any, above: dict[str, str], path: str = "") -> Iterator[str]:
    """Yield the paths of keys whose type differs from that of the same key further up."""
    if isinstance(node, list):
        for part in node:
            yield from two_types(part, above, f"{path}[]")
    elif isinstance(node, dict):
        here = {key: TYPES[type(value)] for key, value in node.items()}
        yield from (f"{path}.{key}" for key, found in here.items() if above.get(key, found) != found)
        for key, value in node.items():
            yield from two_types(value, {**above, **here}, f"{path}.{key}")


@pytest.mark.parametrize("name", ANSWERS)
def test_no_key_has_two_types_along_a_path(name: str) -> None:
    assert len(ANSWERS) > 3
    # What the rules and the warnings of an answer say has words of its own.
    answer = {key: value for key, value in ANSWERS[name].items() if key not in ("rules", "warnings")}
    assert set(two_types(answer, {})) == set()


def test_two_types_are_found() -> None:
    parted = {"tax": 1, "people": [{"tax": {"total": 1, "people": []}}, {"name": {"people": "two"}}]}
    assert list(two_types(parted, {})) == [".people[].tax", ".people[].name.people"]
