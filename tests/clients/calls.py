"""The calls that each client makes: every request that the agreement or the examples show, and the lists."""

from __future__ import annotations

import json
from typing import Any, NamedTuple

import yaml

from .serving import TOP, Reply, ask

AGREEMENT = TOP / "openapi" / "openapi.yaml"
DOCUMENT: dict[str, Any] = yaml.load(AGREEMENT.read_text("utf-8"), Loader=yaml.CSafeLoader)
JSON = "application/json"
OPERATIONS = {
    "plan": "/v1/allowance-schedule",
    "timing": "/v1/lump-sum-timing",
    "warnings": "/v1/warnings",
}
"""The path that a file of examples/requests is for, by the first word of its name. The others are for a quote."""
QUOTE = "/v1/withdrawal-tax"


class Call(NamedTuple):
    """One call: a name for it, the path as the agreement has it, what goes into path and query, and the body."""

    name: str
    path: str
    in_path: dict[str, str]
    query: dict[str, list[str]]
    body: Any

    @property
    def method(self) -> str:
        return "get" if self.body is None else "post"

    @property
    def stated(self) -> dict[str, Any]:
        """The operation in the agreement."""
        found: dict[str, Any] = DOCUMENT["paths"][self.path][self.method]
        return found

    def as_json(self) -> dict[str, Any]:
        """The call as the drivers read it."""
        return {
            "operation": self.stated["operationId"],
            "path": self.in_path,
            "query": self.query,
            "body": self.body,
        }

    def made(self, url: str) -> Reply:
        """The answer to the call made by itself, without a generated client."""
        query = "&".join(f"{name}={','.join(words)}" for name, words in self.query.items())
        whole = url + self.path.format(**self.in_path) + (f"?{query}" if query else "")
        if self.body is None:
            return ask(whole)
        return ask(whole, "POST", json.dumps(self.body).encode(), {"Content-Type": JSON})


def _shown(body: dict[str, Any]) -> dict[str, Any]:
    """The examples of a body that is one JSON document."""
    examples: dict[str, Any] = body.get("content", {}).get(JSON, {}).get("examples", {})
    return examples


def _calls() -> list[Call]:
    bodies = {
        (path, name): example["value"]
        for path, item in DOCUMENT["paths"].items()
        for name, example in _shown(item.get("post", {}).get("requestBody", {})).items()
    }
    for file in sorted((TOP / "examples" / "requests").glob("*.json")):
        path, body = OPERATIONS.get(file.stem.partition("-")[0], QUOTE), json.loads(file.read_text("utf-8"))
        if not any(body == shown for (of, _), shown in bodies.items() if of == path):
            bodies[path, file.stem] = body
    found = [Call(name, path, {}, {}, body) for (path, name), body in bodies.items()]
    quote = next(call for call in found if call.path == QUOTE)
    return [
        *found,
        quote._replace(name=f"{quote.name}_with_all_parts", query={"include": ["working", "curve", "charts"]}),
        *(
            next(call for call in found if call.path == path)._replace(
                name=f"{name}_with_charts", query={"include": ["charts"]}
            )
            for name, path in OPERATIONS.items()
            if name != "warnings"
        ),
        Call("all years", "/v1/tax-years", {}, {}, None),
        Call("one year", "/v1/tax-years/{tax_year}", {"tax_year": "2026-27"}, {}, None),
        Call("a year without figures", "/v1/tax-years/{tax_year}", {"tax_year": "1999-00"}, {}, None),
        Call("warning codes", "/v1/warning-codes", {}, {}, None),
        Call("health", "/health/ready", {}, {}, None),
    ]


CALLS = _calls()
