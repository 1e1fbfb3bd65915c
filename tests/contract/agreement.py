"""The agreement as data, put together from its parts; openapi/openapi.yaml, which is served, says the same.

What is served leaves room: answers may get new keys, codes and tax years may be added. The tests want to see every key and
every word that is not described, so they hold answers to a strict copy, which is made here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import jsonschema_rs

from . import bundle

DOCUMENT = bundle.document()
"""As it is served."""
DOCUMENT_PATH = bundle.SERVED

JSON = "application/json"
NDJSON = "application/x-ndjson"
PROBLEM_JSON = "application/problem+json"
# A date that the service reads: from 1900-01-01 on, which JSON Schema can only say as a pattern.
DATE_PATTERN = "^(?:19|[2-9][0-9])[0-9]{2}-[0-9]{2}-[0-9]{2}$"
METHODS = ("get", "put", "post", "delete", "options", "head", "patch", "trace")


def strict(node: Any) -> Any:
    """Return a copy in which every object is closed that does not say whether it is, every list of words that may grow is all
    there is, and a number of decimals is the step of its numbers. Examples stay as they are."""
    if isinstance(node, list):
        return [strict(inner) for inner in node]
    if not isinstance(node, dict):
        return node
    copied = {key: inner if key in ("examples", "example") else strict(inner) for key, inner in node.items()}
    if "properties" in node:
        copied.setdefault("additionalProperties", False)
    if "x-extensible-enum" in node:
        copied["enum"] = copied.pop("x-extensible-enum")
    if "x-decimals" in node:
        copied["multipleOf"] = float(f"1e-{copied.pop('x-decimals')}")
    return copied


STRICT = strict(DOCUMENT)
"""The copy that the tests hold answers to. What it says of requests is what the service takes."""


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation: its method in capitals, its path template and its object in the document."""

    method: str
    path: str
    object: dict[str, Any]

    @property
    def id(self) -> str:
        return str(self.object["operationId"])

    @property
    def takes_json(self) -> bool:
        """Whether its body is one JSON document (a bulk body is many, and has tests of its own)."""
        return JSON in self.object.get("requestBody", {}).get("content", {})

    def parameters(self) -> list[dict[str, Any]]:
        """Return the parameters with references followed."""
        return [follow(parameter) for parameter in self.object.get("parameters", [])]

    def responses(self) -> dict[str, dict[str, Any]]:
        """Return the responses by status, with references followed."""
        return {status: follow(response) for status, response in self.object["responses"].items()}

    def request_examples(self) -> dict[str, Any]:
        """Return the bodies of the named request examples; empty where there is no body."""
        content = self.object.get("requestBody", {}).get("content", {})
        return {
            name: example["value"] for media in content.values() for name, example in media.get("examples", {}).items()
        }

    def response_examples(self) -> Iterator[tuple[str, str, Any]]:
        """Yield (status, name, body) of the named response examples."""
        for status, response in self.responses().items():
            for media in response.get("content", {}).values():
                for name, example in media.get("examples", {}).items():
                    yield status, name, example["value"]

    def response_examples_of(self, status: str) -> list[tuple[str, str, Any]]:
        """Return (status, name, body) of the named examples of one status."""
        return [found for found in self.response_examples() if found[0] == status]


@dataclass(frozen=True, slots=True)
class Example:
    """One named example, the place it stands at, and the schema it must keep to."""

    place: str
    value: Any
    schema: dict[str, Any]


def resolve(reference: str) -> Any:
    """Return what a local reference points to; KeyError if nothing."""
    if not reference.startswith("#/"):
        raise KeyError(reference)
    found: Any = STRICT
    for part in reference[2:].split("/"):
        found = found[part.replace("~1", "/").replace("~0", "~")]
    return found


def follow(node: dict[str, Any]) -> dict[str, Any]:
    """Return the node itself or, if it is a reference, what it finally points to.

    Keys beside the reference, such as a description or a default, are kept.
    """
    while "$ref" in node:
        beside = {key: value for key, value in node.items() if key != "$ref"}
        node = {**resolve(node["$ref"]), **beside}
    return node


def validator(schema: dict[str, Any]) -> jsonschema_rs.Draft202012Validator:
    """Return a validator for a schema of the strict copy; formats count."""
    whole = {"allOf": [schema], "components": STRICT["components"]}
    return jsonschema_rs.Draft202012Validator(whole, validate_formats=True)


def component(name: str) -> dict[str, Any]:
    """Return a component schema by name."""
    return dict(STRICT["components"]["schemas"][name])


def object_shape(name: str, *, follow_properties: bool = True) -> dict[str, Any]:
    """Return the properties, the required names and the closedness of a component.

    Where the component is a choice of closed objects, a property belongs to it if any branch has it, and it
    is required if every branch requires it. A word that a branch fixes for itself joins the list of words.
    """
    schema = component(name)
    branches = [follow(branch) for branch in schema.get("oneOf", [schema])]
    properties: dict[str, Any] = {}
    for branch in branches:
        for key, stated in branch["properties"].items():
            found = dict(follow(stated) if follow_properties else stated)
            if "const" in found:
                word = found.pop("const")
                known = follow(properties.get(key, {"enum": []}))["enum"]
                found["enum"] = known if word in known else [*known, word]
            properties[key] = found
    required = set.intersection(*(set(branch.get("required", [])) for branch in branches))
    return {
        "properties": properties,
        "required": required,
        "closed": all(branch.get("additionalProperties") is False for branch in branches),
    }


def branch_of(name: str, value: Any) -> dict[str, Any]:
    """Return the object that a value keeps to: the component itself, or the one branch of it that fits."""
    schema = component(name)
    [branch] = [found for found in schema.get("oneOf", [schema]) if validator(found).is_valid(value)]
    return follow(branch)


def operations() -> list[Operation]:
    """Return every operation, in the order of the document."""
    return [
        Operation(method.upper(), path, item[method])
        for path, item in STRICT["paths"].items()
        for method in METHODS
        if method in item
    ]


def reached_by_requests() -> set[str]:
    """Return the names of the component schemas of which requests are made: bodies, records of a bulk, and parameters."""
    found: set[str] = set()
    waiting: list[Any] = []
    for item in DOCUMENT["paths"].values():
        for operation in item.values():
            waiting += [operation.get("requestBody", {}), operation.get("parameters", [])]
    while waiting:
        for _, node in nodes(waiting.pop()):
            if isinstance(node, dict) and "$ref" in node:
                name = node["$ref"].rsplit("/", 1)[-1]
                if name not in found:
                    found.add(name)
                    waiting.append(resolve(node["$ref"]))
    return found


def nodes(node: Any = DOCUMENT, place: str = "#") -> Iterator[tuple[str, Any]]:
    """Yield every object and array of the document with its place, examples left out."""
    yield place, node
    if isinstance(node, dict):
        for key, value in node.items():
            if key not in ("examples", "example"):
                yield from nodes(value, f"{place}/{key}")
    elif isinstance(node, list):
        for index, value in enumerate(node):
            yield from nodes(value, f"{place}/{index}")


def examples() -> Iterator[Example]:
    """Yield every named example of a parameter, a request or a response, with the schema it stands under."""
    for place, node in nodes(STRICT):
        if isinstance(node, dict) and "examples" not in place and isinstance(node.get("schema"), dict):
            for name, example in node.get("examples", {}).items():
                yield Example(f"{place}/examples/{name}", example["value"], node["schema"])
