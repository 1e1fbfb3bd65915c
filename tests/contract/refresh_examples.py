"""Write the answers that the service gives now into the response examples of the agreement.

Run it from the top of the repository after a change that is meant to change answers:

    python -m tests.contract.refresh_examples

Then read the difference, and work the numbers out by hand before keeping it: an example is a promise.
"""

from __future__ import annotations

import json
import textwrap
from typing import Any

import yaml

from service import create_app
from service.settings import Settings

from .agreement import DOCUMENT_PATH, NDJSON, operations
from .replay import as_shown, replay

WIDTH = 116
MOST_ON_ONE_LINE = 5


def yaml_lines(value: Any, indent: int) -> list[str]:
    """Return a value as lines of YAML, indented: short plain objects on one line, long text folded."""
    margin = " " * indent
    if isinstance(value, dict) and value:
        return [line for key, inner in value.items() for line in entry(f"{margin}{key}:", inner, indent + 2)]
    if isinstance(value, list) and value:
        lines = []
        for inner in value:
            lines += entry(f"{margin}-", inner, indent + 2)
        return lines
    return [margin + scalar(value)]


def entry(start: str, value: Any, indent: int) -> list[str]:
    """Return the lines of a key or a list mark with its value; the value's own lines are indented."""
    one_line = f"{start} {flow(value)}"
    if flow(value) and len(one_line) <= WIDTH:
        return [one_line]
    if isinstance(value, str):
        # Folded text may be broken at single spaces only; a break elsewhere would put a space in.
        whole = textwrap.wrap(value, WIDTH - indent, break_long_words=False, break_on_hyphens=False)
        return [f"{start} >-", *(" " * indent + line for line in whole)]
    lines = yaml_lines(value, indent)
    if start.endswith("-"):
        return [f"{start} {lines[0].lstrip()}", *lines[1:]]
    return [start, *lines]


def flow(value: Any) -> str:
    """Return a value in YAML's one-line form; nothing if it is an object or a list too rich for one line."""
    if isinstance(value, dict):
        if len(value) > MOST_ON_ONE_LINE or any(isinstance(inner, dict | list) for inner in value.values()):
            return "{}" if value == {} else ""
        return "{" + ", ".join(f"{key}: {scalar(inner)}" for key, inner in value.items()) + "}"
    if isinstance(value, list):
        if any(isinstance(inner, dict | list) for inner in value):
            return ""
        return "[" + ", ".join(scalar(inner) for inner in value) + "]"
    return scalar(value)


def scalar(value: Any) -> str:
    """Return a single value; text is quoted where YAML would read it as something else."""
    if isinstance(value, float) and value == int(value):
        return str(int(value))
    if isinstance(value, str):
        plain = value.replace("_", "").replace("-", "").replace(" ", "").isalnum()
        return value if plain and yaml.safe_load(value) == value else json.dumps(value, ensure_ascii=False)
    return json.dumps(value)


def child(node: yaml.Node, name: str) -> tuple[yaml.Node, yaml.Node]:
    """Return the key node and the value node of a key; KeyError if there is none."""
    pairs = node.value if isinstance(node, yaml.MappingNode) else []
    for key, value in pairs:
        if key.value == name:
            return key, value
    raise KeyError(name)


def place_of(root: yaml.Node, names: list[str]) -> tuple[int, int, int]:
    """Return where a key and its value stand: first line, line after the last, indentation. References count."""
    key, node = root, root
    for name in names:
        key, node = child(node, name)
        if isinstance(node, yaml.MappingNode) and node.value and node.value[0][0].value == "$ref":
            reference = node.value[0][1].value
            node = root
            for part in reference[2:].split("/"):
                key, node = child(node, part)
    # A value in block form ends where the next one starts, a value on one line ends on that line.
    in_block_form = isinstance(node, yaml.ScalarNode) or not node.flow_style
    end = node.end_mark.line + (0 if in_block_form else 1)
    return key.start_mark.line, end, key.start_mark.column


def refreshed(text: str) -> str:
    """Return the text of the agreement with every response example as the service answers now."""
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    client = create_app(Settings.for_tests()).test_client()
    changes: dict[tuple[int, int, int], list[str]] = {}
    for operation in operations():
        for status, name, example in operation.response_examples():
            [media] = operation.responses()[status]["content"]
            keys = ["paths", operation.path, operation.method.lower(), "responses", status]
            place = place_of(root, [*keys, "content", media, "examples", name, "value"])
            reply = replay(client, operation, name)
            margin = " " * place[2]
            if media == NDJSON:
                changes[place] = [f"{margin}value: |", *(f"{margin}  {line}" for line in reply.text.splitlines())]
            else:
                changes[place] = entry(f"{margin}value:", as_shown(reply.get_json(), example), place[2] + 2)
    lines = text.splitlines()
    for (start, end, _), new in sorted(changes.items(), reverse=True):
        lines[start:end] = new
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    DOCUMENT_PATH.write_text(refreshed(DOCUMENT_PATH.read_text(encoding="utf-8")), encoding="utf-8")
