"""Join the parts of the agreement into the document that is served, openapi/openapi.yaml, and write beside it the keys of
all answers, openapi/answer_fields.json.

Run it from the top of the repository after a change to a part:

    python -m tests.contract.bundle

The outline is openapi/parts/document.yaml. Where it has a list of files for the paths, or for the components of one
kind, the document has all that the files hold. Where an example names a file by `externalValue`, the document has
what the file holds as `value`. Files are named from the folder `openapi`; the version is that of pyproject.toml.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import yaml

FOLDER = Path(__file__).resolve().parents[2] / "openapi"
SERVED = FOLDER / "openapi.yaml"
FIELDS = FOLDER / "answer_fields.json"
HEAD = "# Generated from openapi/parts and openapi/examples by python -m tests.contract.bundle; change those.\n"
WIDTH = 110  # a folded line may pass it by a word
LONG = 80  # a text longer than this has lines of its own


def once(pairs: Iterable[tuple[str, Any]]) -> dict[str, Any]:
    """Return names and values as an object; ValueError if a name comes twice."""
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise ValueError(f"{name} is written twice")
        found[name] = value
    return found


class Reader(yaml.SafeLoader):
    """Reads YAML as it is, but refuses a repeated name: of two, YAML readers keep the last without a word."""


class Writer(yaml.SafeDumper):
    """Writes text of several lines as it is and other long text folded, and all that is repeated in full."""

    def ignore_aliases(self, data: Any) -> bool:
        return True

    def text(self, text: str) -> yaml.ScalarNode:
        style = "|" if "\n" in text else ">" if len(text) > LONG else None
        return self.represent_scalar("tag:yaml.org,2002:str", text, style=style)


Reader.add_constructor("tag:yaml.org,2002:map", lambda reader, node: once(reader.construct_pairs(node, deep=True)))
Writer.add_representer(str, Writer.text)


def read(file: str) -> Any:
    """Return what a file holds: YAML, JSON or, of any other kind, text."""
    text = (FOLDER / file).read_text(encoding="utf-8")
    if file.endswith(".yaml"):
        return yaml.load(text, Loader=Reader)
    return json.loads(text, object_pairs_hook=once) if file.endswith(".json") else text


def joined(files: list[str]) -> dict[str, Any]:
    """Return all that the files hold, in their order."""
    return once(pair for file in files for pair in read(file).items())


def with_examples(node: Any) -> Any:
    """Return a part of the document with the examples that it names."""
    if isinstance(node, dict):
        return dict(
            ("value", read(inner)) if name == "externalValue" else (name, with_examples(inner))
            for name, inner in node.items()
        )
    return [with_examples(inner) for inner in node] if isinstance(node, list) else node


def document() -> dict[str, Any]:
    """Return the whole agreement, as data."""
    whole = read("parts/document.yaml")
    project = tomllib.loads((FOLDER.parent / "pyproject.toml").read_text(encoding="utf-8"))
    whole["info"]["version"] = project["project"]["version"]
    whole["paths"] = joined(whole["paths"])
    whole["components"] = {kind: joined(files) for kind, files in whole["components"].items()}
    return dict(with_examples(whole))


def bundled() -> str:
    """Return the whole agreement, as it is served."""
    return HEAD + yaml.dump(document(), Dumper=Writer, sort_keys=False, allow_unicode=True, width=WIDTH)


def answer_fields(whole: dict[str, Any]) -> dict[str, Any]:
    """Return, for each calculation by its name, the keys of its answer, each with the keys below it: the service knows by
    them what can be asked for by `fields`. Lists and choices are passed through; below an object of free names is nothing."""

    def below(schema: dict[str, Any]) -> dict[str, Any]:
        while "$ref" in schema:
            schema = whole["components"]["schemas"][schema["$ref"].rsplit("/", 1)[-1]]
        found: dict[str, Any] = {}
        for inner in (*schema.get("oneOf", ()), schema.get("items", {})):
            add(found, below(inner) if inner else {})
        add(found, {name: below(inner) for name, inner in schema.get("properties", {}).items()})
        return found

    def add(found: dict[str, Any], more: dict[str, Any]) -> None:
        for name, inner in more.items():
            add(found.setdefault(name, {}), inner)

    answers = {
        path.removeprefix("/v1/"): item["post"]["responses"]["200"]["content"].get("application/json")
        for path, item in whole["paths"].items()
        if "post" in item
    }
    return {name: below(content["schema"]) for name, content in answers.items() if content}


def fields_written() -> str:
    """Return the same as it is kept."""
    return json.dumps(answer_fields(document()), separators=(",", ":")) + "\n"


def write() -> None:
    """Write the agreement as it is served, and the keys of its answers."""
    SERVED.write_text(bundled(), encoding="utf-8")
    FIELDS.write_text(fields_written(), encoding="utf-8")


if __name__ == "__main__":
    write()
