"""The agreement is sound in itself, and its examples are what the service answers."""

from __future__ import annotations

import json
import re
import runpy
import tomllib
from collections import Counter
from typing import Any

import pytest
import yaml
from flask.testing import FlaskClient
from openapi_spec_validator import OpenAPIV31SpecValidator

from service.http.problems import KINDS

from .agreement import (
    DOCUMENT,
    DOCUMENT_PATH,
    JSON,
    METHODS,
    NDJSON,
    PROBLEM_JSON,
    Example,
    Operation,
    component,
    examples,
    follow,
    nodes,
    operations,
    resolve,
    validator,
)
from .refresh_examples import refreshed
from .replay import PROBLEM_REQUESTS, as_shown, held_by, of_lines, replay, without_versions

EXAMPLE_FILES = DOCUMENT_PATH.parents[1] / "examples"
OPERATIONS = operations()
EXAMPLES = list(examples())
# A lookup that fails with a plain message, not with an empty table, if a name is mistyped.
BY_ID = {operation.id: operation for operation in OPERATIONS}


def schemas() -> list[tuple[str, dict[str, Any]]]:
    """Return every schema object of the document: those under `schemas`, `schema` and inside them."""
    inside = re.compile(r"/components/schemas/|/schema(?:/|$)")
    return [(place, node) for place, node in nodes() if isinstance(node, dict) and inside.search(place)]


# --------------------------------------------------------------------------------------------- the document


def test_is_a_valid_openapi_3_1_document() -> None:
    # OpenAPI Specification 3.1.0; the validator also follows every reference.
    assert DOCUMENT["openapi"] == "3.1.0"
    assert [error.message for error in OpenAPIV31SpecValidator(DOCUMENT).iter_errors()] == []


def test_every_reference_resolves() -> None:
    references = [node["$ref"] for _, node in nodes() if isinstance(node, dict) and "$ref" in node]
    assert len(references) > 100
    for reference in references:
        resolve(reference)


def test_every_component_is_used() -> None:
    text = DOCUMENT_PATH.read_text(encoding="utf-8")
    for kind, components in DOCUMENT["components"].items():
        for name in components:
            assert f"'#/components/{kind}/{name}'" in text, f"nothing refers to {kind}/{name}"


def test_operation_ids_are_unique() -> None:
    counts = Counter(operation.id for operation in OPERATIONS)
    assert [name for name, count in counts.items() if count > 1] == []


def test_no_key_is_written_twice() -> None:
    # YAML readers keep the last of two equal keys without a word.
    class Strict(yaml.SafeLoader):
        pass

    def mapping(loader: yaml.SafeLoader, node: yaml.MappingNode) -> dict[Any, Any]:
        keys = [loader.construct_object(key) for key, _ in node.value]
        assert len(keys) == len(set(keys)), f"a key is repeated: {node.start_mark}"
        return dict(loader.construct_pairs(node, deep=True))

    Strict.add_constructor(yaml.resolver.BaseResolver.DEFAULT_MAPPING_TAG, mapping)
    assert yaml.load(DOCUMENT_PATH.read_text(encoding="utf-8"), Loader=Strict) == DOCUMENT


@pytest.mark.parametrize("word", ["nullable", "if", "then", "else", "allOf", "unevaluatedProperties"])
def test_schemas_avoid_words_that_tools_read_differently(word: str) -> None:
    # `nullable` is of OpenAPI 3.0 and is passed over in silence by 3.1 readers.
    assert [place for place, schema in schemas() if word in schema and not place.endswith("/properties")] == []


def test_numbers_have_no_binary_format() -> None:
    assert [place for place, schema in schemas() if schema.get("format") in ("float", "double")] == []


def test_objects_are_closed_or_have_typed_values() -> None:
    open_objects = [
        place
        for place, schema in schemas()
        if schema.get("type") == "object" and schema.get("additionalProperties", True) is True
    ]
    assert open_objects == []


def test_required_names_are_properties() -> None:
    for place, schema in schemas():
        if "properties" in schema and isinstance(schema.get("required"), list):
            assert set(schema["required"]) <= set(schema["properties"]), place


def test_money_of_a_request_has_bounds() -> None:
    money = component("Money")
    assert (money["minimum"], money["maximum"], money["multipleOf"]) == (0, 100_000_000, 0.01)


def test_defaults_keep_to_their_schemas() -> None:
    with_default = [(place, schema) for place, schema in schemas() if "default" in schema]
    assert len(with_default) > 5
    for place, schema in with_default:
        bare = {key: value for key, value in schema.items() if key != "default"}
        assert validator(bare).is_valid(schema["default"]), place


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.id)
def test_operation_is_described(operation: Operation) -> None:
    declared = {tag["name"] for tag in DOCUMENT["tags"]}
    assert operation.object["summary"].strip()
    assert operation.object["description"].strip()
    assert operation.object["tags"]
    assert set(operation.object["tags"]) <= declared


@pytest.mark.parametrize("operation", OPERATIONS, ids=lambda operation: operation.id)
def test_faults_are_problems(operation: Operation) -> None:
    # RFC 9457: one shape for every fault.
    responses = operation.responses()
    assert "default" in responses
    for status, response in responses.items():
        if status == "default" or status >= "400":
            assert list(response["content"]) == [PROBLEM_JSON], status
            assert response["content"][PROBLEM_JSON]["schema"] == {"$ref": "#/components/schemas/Problem"}


def test_paths_hold_only_methods() -> None:
    for path, item in DOCUMENT["paths"].items():
        assert set(item) <= set(METHODS), path


# ---------------------------------------------------------------------------------------------------- links


def links() -> list[tuple[Operation, str, dict[str, Any]]]:
    found = []
    for operation in OPERATIONS:
        for status, response in operation.responses().items():
            found += [(operation, status, link) for link in response.get("links", {}).values()]
    return found


def test_links_lead_to_operations_and_their_parameters() -> None:
    assert len(links()) >= 2
    for operation, _, link in links():
        target = BY_ID[link["operationId"]]
        names = {parameter["name"] for parameter in target.parameters()}
        assert set(link["parameters"]) <= names, operation.id
        required = {parameter["name"] for parameter in target.parameters() if parameter.get("required")}
        assert required <= set(link["parameters"]), operation.id


def test_links_start_from_keys_the_answer_always_has() -> None:
    for operation, status, link in links():
        schema = operation.responses()[status]["content"][JSON]["schema"]
        for expression in link["parameters"].values():
            start, pointer = expression.split("#/")
            assert start == "$response.body"
            here = follow(schema)
            for part in pointer.split("/"):
                if part.isdigit():
                    assert int(part) < here["minItems"], expression
                    here = follow(here["items"])
                else:
                    assert part in here["required"], expression
                    here = follow(here["properties"][part])


# ---------------- examples


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.place)
def test_example_keeps_to_its_schema(example: Example) -> None:
    errors = validator(example.schema).iter_errors(example.value)
    assert [(error.instance_path, error.message) for error in errors] == []


def test_every_operation_with_a_body_has_request_examples() -> None:
    for operation in OPERATIONS:
        if "requestBody" in operation.object:
            assert operation.request_examples(), operation.id


def test_every_json_answer_has_an_example() -> None:
    for operation in OPERATIONS:
        for status, response in operation.responses().items():
            if status.startswith("2") and JSON in response["content"]:
                assert response["content"][JSON]["examples"], operation.id


REPLAYED = [
    (operation, status, name, example)
    for operation in OPERATIONS
    for status, name, example in operation.response_examples()
]


def test_every_request_example_has_one_answer() -> None:
    for operation in OPERATIONS:
        answered = Counter(name for _, name, _ in operation.response_examples())
        for name in operation.request_examples():
            assert answered[name] == 1, f"{name} needs exactly one response example of the same name"


@pytest.mark.parametrize(
    ("operation", "status", "name", "example"),
    REPLAYED,
    ids=[f"{operation.id} {name}" for operation, _, name, _ in REPLAYED],
)
def test_response_example_is_the_answer(
    client: FlaskClient, operation: Operation, status: str, name: str, example: Any
) -> None:
    reply = replay(client, operation, name)
    assert reply.status_code == int(status)
    assert reply.content_type in operation.responses()[status]["content"]
    assert reply.content_type == PROBLEM_JSON if status >= "400" else reply.content_type in (JSON, NDJSON)
    shown = of_lines(example) if reply.content_type == NDJSON else example
    assert without_versions(as_shown(held_by(reply), shown)) == without_versions(shown)


def test_comparison_of_examples_sees_a_changed_number() -> None:
    [shown] = [example for _, _, name, example in REPLAYED if name == "rowan_lump_sum_from_untouched_funds"]
    changed = {**shown, "net_after_tax": shown["net_after_tax"] - 0.01}
    assert without_versions(as_shown(changed, shown)) != without_versions(shown)
    other_version = {**shown, "rules": {**shown["rules"], "version": "another"}}
    assert without_versions(other_version) == without_versions(shown)


PROBLEM_EXAMPLES = {
    name: (int(status), value)
    for operation in OPERATIONS
    for status, name, value in operation.response_examples()
    if status != "default" and status >= "400" and name not in operation.request_examples()
}


@pytest.mark.parametrize("way", ["requestBody", "200"])
def test_every_line_of_a_bulk_example_has_the_shape_of_a_line(way: str) -> None:
    bulk = BY_ID["calculateInBulk"]
    media = (bulk.object["requestBody"] if way == "requestBody" else bulk.responses()[way])["content"][NDJSON]
    judge = validator(media["x-item-schema"])
    lines = [line for example in media["examples"].values() for line in example["value"].splitlines()]
    whole = [line for line in lines if line.endswith("}")]
    assert len(whole) >= 2
    for line in whole:
        assert [error.message for error in judge.iter_errors(json.loads(line))] == []


def test_refreshing_the_examples_changes_nothing_while_answers_stay() -> None:
    text = refreshed(DOCUMENT_PATH.read_text(encoding="utf-8"))
    assert without_versions(yaml.safe_load(text)) == without_versions(DOCUMENT)


def test_every_problem_example_can_be_asked_for() -> None:
    assert set(PROBLEM_EXAMPLES) == set(PROBLEM_REQUESTS)


def test_codes_of_the_problem_examples_match_their_statuses() -> None:
    table = re.findall(r"^\| (\d{3}) \| `([a-z-]+)` \|", DOCUMENT["info"]["description"], re.MULTILINE)
    assert {code for _, code in table} == set(component("ProblemCode")["enum"])
    assert {(str(kind.status), code) for code, kind in KINDS.items()} == set(table)
    for name, (status, example) in PROBLEM_EXAMPLES.items():
        assert (str(status), example["code"]) in table, name
        assert example["status"] == status, name
        assert example["type"] == f"/problems/{example['code']}", name


# ------------------------------------------------------------------------------------- values in two places

# The requests of the folder `examples` that the agreement shows as well.
SHOWN_AS_FILES = {
    "corin_and_linnet_least_tax": "plan-couple-least-tax",
    "fern_fills_her_personal_allowance": "plan-personal-allowance",
    "rowan_spends_more_than_there_is": "plan-spending-too-high",
}
PLAN = BY_ID["planAllowanceSchedule"]


@pytest.mark.parametrize(("name", "file"), SHOWN_AS_FILES.items())
def test_request_is_the_same_in_the_agreement_and_as_a_file(name: str, file: str) -> None:
    as_file = json.loads((EXAMPLE_FILES / "requests" / f"{file}.json").read_text(encoding="utf-8"))
    assert as_file == PLAN.request_examples()[name]


def test_printed_plan_is_the_one_that_the_service_answers(client: FlaskClient) -> None:
    printed = runpy.run_path(str(EXAMPLE_FILES / "plan.py"))["printed"]
    request = PLAN.request_examples()["corin_and_linnet_least_tax"]
    answer = client.post(PLAN.path, json=request).get_json()
    assert printed(request, answer) + "\n" == (EXAMPLE_FILES / "plan.txt").read_text(encoding="utf-8")


def test_tax_years_of_the_agreement_are_those_of_the_service(client: FlaskClient) -> None:
    answer = client.get("/v1/tax-years").get_json()
    assert [year["tax_year"] for year in answer["tax_years"]] == component("TaxYear")["enum"]


def test_document_is_served_as_it_is_kept(client: FlaskClient) -> None:
    reply = client.get("/openapi.yaml")
    assert reply.status_code == 200
    assert reply.data == DOCUMENT_PATH.read_bytes()


def test_version_of_the_document_is_the_version_of_the_project() -> None:
    project = tomllib.loads((DOCUMENT_PATH.parents[1] / "pyproject.toml").read_text(encoding="utf-8"))
    assert DOCUMENT["info"]["version"] == project["project"]["version"]
