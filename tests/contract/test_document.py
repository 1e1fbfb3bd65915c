"""The agreement is sound in itself, and its examples are what the service answers."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import jsonschema_rs
import pytest
import yaml
from flask.testing import FlaskClient
from openapi_spec_validator import OpenAPIV31SpecValidator

from service.console import timing
from service.console.layout import WIDTH
from service.http.problems import KINDS
from service.planning.warnings.registry import CATALOGUE

from . import bundle
from .agreement import (
    DOCUMENT,
    DOCUMENT_PATH,
    JSON,
    METHODS,
    NDJSON,
    PROBLEM_JSON,
    STRICT,
    Example,
    Operation,
    component,
    examples,
    follow,
    nodes,
    operations,
    reached_by_requests,
    resolve,
    strict,
    validator,
)
from .refresh_examples import (
    ANSWERS,
    EXAMPLE_FILES,
    PICTURE_FILE,
    PRINTED,
    answers,
    picture,
    printed_page,
    request_file,
)
from .replay import PROBLEM_REQUESTS, VERSIONS, as_shown, held_by, of_lines, replay, without_versions

OPERATIONS = operations()
EXAMPLES = list(examples())
# A lookup that fails with a plain message, not with an empty table, if a name is mistyped.
BY_ID = {operation.id: operation for operation in OPERATIONS}


def schemas(document: Any = DOCUMENT) -> list[tuple[str, dict[str, Any]]]:
    """Return every schema object of the document: those under `schemas`, `schema` and inside them."""
    inside = re.compile(r"/components/schemas/|/schema(?:/|$)")
    return [(place, node) for place, node in nodes(document) if isinstance(node, dict) and inside.search(place)]


# ------------------------------------------------------------------------------------ the document and its parts


def test_document_that_is_served_is_put_together_from_the_parts_as_they_are() -> None:
    # Compared before it is asserted: pytest takes minutes to show how two long texts differ.
    fresh = DOCUMENT_PATH.read_text(encoding="utf-8") == bundle.bundled()
    assert fresh, "run python -m tests.contract.bundle"


def test_document_that_is_served_says_what_the_parts_say() -> None:
    # As text, so that the order of names and the way numbers are written count as well.
    same = json.dumps(yaml.safe_load(DOCUMENT_PATH.read_text(encoding="utf-8"))) == json.dumps(DOCUMENT)
    assert same


def test_every_file_is_a_part_of_the_document() -> None:
    parts = "".join(path.read_text(encoding="utf-8") for path in (bundle.FOLDER / "parts").rglob("*.yaml"))
    named = set(re.findall(r"(?<= )(?:parts|examples)/\S+$", parts, re.MULTILINE))
    files = {path for folder in ("parts", "examples") for path in (bundle.FOLDER / folder).rglob("*") if path.is_file()}
    names = {path.relative_to(bundle.FOLDER).as_posix() for path in files}
    assert names - named == {"parts/document.yaml"}


@pytest.mark.parametrize(
    "text", ["Rate: {type: number}\nRate: {type: string}\n", "Rate: {type: number, type: string}\n"]
)
def test_name_that_is_written_twice_in_a_part_is_refused(text: str) -> None:
    # YAML readers keep the last of two equal names without a word.
    with pytest.raises(ValueError, match="is written twice"):
        yaml.load(text, Loader=bundle.Reader)


def test_name_that_is_written_in_two_parts_is_refused() -> None:
    with pytest.raises(ValueError, match="NoStore is written twice"):
        bundle.joined(["parts/headers.yaml", "parts/headers.yaml"])


def test_folder_of_the_same_name_elsewhere_does_not_hide_the_document(tmp_path: Path) -> None:
    # The folder is a package: one that is not would give way to it, even where it comes first.
    (tmp_path / "openapi").mkdir()
    (tmp_path / "openapi" / "openapi.yaml").write_text("openapi: 3.1.0\n", encoding="utf-8")
    command = [sys.executable, "-P", "-c", "from importlib.resources import files; print(files('openapi'))"]
    path = {"PYTHONPATH": f"{tmp_path}{os.pathsep}{bundle.FOLDER.parent}", "PYTHONDONTWRITEBYTECODE": "1"}
    found = subprocess.run(command, cwd=tmp_path, env=path, capture_output=True, text=True, check=True)
    assert Path(found.stdout.strip()) == bundle.FOLDER


# -------------------------------------------------------------------------------------------------- what it says


def test_is_a_valid_openapi_3_1_document() -> None:
    # OpenAPI Specification 3.1.0; the validator also follows every reference.
    assert DOCUMENT["openapi"] == "3.1.0"
    assert [error.message for error in OpenAPIV31SpecValidator(DOCUMENT).iter_errors()] == []


def references() -> list[str]:
    """Return every reference of the document."""
    return [node["$ref"] for _, node in nodes() if isinstance(node, dict) and "$ref" in node]


def test_every_reference_resolves() -> None:
    assert len(references()) > 100
    for reference in references():
        resolve(reference)


def test_every_component_is_used() -> None:
    there = {f"#/components/{kind}/{name}" for kind, found in DOCUMENT["components"].items() for name in found}
    # A security scheme is named, and not referred to.
    used = {f"#/components/securitySchemes/{name}" for ways in DOCUMENT["security"] for name in ways}
    assert there - set(references()) - used == set()


def test_operation_ids_are_unique() -> None:
    counts = Counter(operation.id for operation in OPERATIONS)
    assert [name for name, count in counts.items() if count > 1] == []


@pytest.mark.parametrize("word", ["nullable", "if", "then", "else", "allOf", "unevaluatedProperties"])
def test_schemas_avoid_words_that_tools_read_differently(word: str) -> None:
    # `nullable` is of OpenAPI 3.0 and is passed over in silence by 3.1 readers.
    assert [place for place, schema in schemas() if word in schema and not place.endswith("/properties")] == []


def test_numbers_have_no_binary_format() -> None:
    assert [place for place, schema in schemas() if schema.get("format") in ("float", "double")] == []


def test_objects_of_the_strict_copy_are_closed_or_have_typed_values() -> None:
    open_objects = [
        place
        for place, schema in schemas(STRICT)
        if schema.get("type") == "object" and schema.get("additionalProperties", True) is True
    ]
    # Which fields such a result has is the caller's choice.
    chosen = "#/components/schemas/BulkFieldsOfResult/properties/result"
    # What stands in a chart's specification is said by the schema of Vega-Lite.
    drawn = "#/components/schemas/Chart/properties/spec"
    assert open_objects == [drawn, chosen, f"{chosen}/properties/rules"]


def test_strict_copy_closes_objects_and_lists_of_words() -> None:
    loose = {
        "properties": {
            "code": {"type": "string", "x-extensible-enum": ["a"]},
            "sum": {"type": "number", "x-decimals": 2},
        },
        "examples": {"one": {"value": {"properties": {}}}},
    }
    assert strict(loose) == {
        "properties": {"code": {"type": "string", "enum": ["a"]}, "sum": {"type": "number", "multipleOf": 0.01}},
        "additionalProperties": False,
        "examples": {"one": {"value": {"properties": {}}}},
    }


def test_strict_copy_finds_a_key_that_is_not_described() -> None:
    answer = PLAN.response_examples_of("200")[0][2]
    judge = validator(component("AllowanceScheduleAnswer"))
    assert judge.is_valid(answer)
    assert not judge.is_valid({**answer, "remark": 1})
    assert not judge.is_valid({**answer, "rules": {**answer["rules"], "remark": 1}})


def test_objects_of_requests_are_closed_and_those_of_answers_are_open() -> None:
    of_requests = reached_by_requests()
    for place, schema in schemas():
        if "properties" in schema and not place.endswith("/properties"):
            closed = schema.get("additionalProperties") is False
            assert closed == (place.split("/")[3] in of_requests), place


def test_words_of_requests_are_closed_and_those_that_answers_may_add_to_are_open() -> None:
    growing = {place for place, schema in schemas() if "x-extensible-enum" in schema}
    assert growing == {
        f"#/components/schemas/{name}"
        for name in (
            "ChartName",
            "LawName",
            "PlanEventCode",
            "PlanReasonCode",
            "PlanStepCode",
            "ProblemCode",
            "TaxYear",
        )
    }


def test_answers_of_a_later_service_keep_to_the_document_that_is_served() -> None:
    answer = PLAN.response_examples_of("200")[0][2]
    later = {**answer, "remark": 1, "rules": {**answer["rules"], "remark": 1}}
    schema = DOCUMENT["components"]["schemas"]["AllowanceScheduleAnswer"]
    judge = jsonschema_rs.Draft202012Validator(
        {"allOf": [schema], "components": DOCUMENT["components"]}, validate_formats=True
    )
    assert judge.is_valid(later)


def test_keys_of_the_answers_are_written_with_the_document() -> None:
    assert bundle.FIELDS.read_text(encoding="utf-8") == bundle.fields_written(), "run python -m tests.contract.bundle"


def test_required_names_are_properties() -> None:
    for place, schema in schemas():
        if "properties" in schema and isinstance(schema.get("required"), list):
            assert set(schema["required"]) <= set(schema["properties"]), place


def test_money_of_a_request_has_bounds() -> None:
    money = component("Money")
    assert (money["minimum"], money["maximum"], money["multipleOf"]) == (0, 100_000_000, 0.01)


def test_what_a_field_is_when_left_out_is_said_in_words() -> None:
    """Some makers of clients take a field with a default for one that is required."""
    assert [place for place, schema in schemas() if "default" in schema] == []


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


def test_refreshing_the_examples_changes_nothing_while_answers_stay(client: FlaskClient) -> None:
    # A version changes with any figure or line of code, whether or not an answer does.
    version = re.compile(rf'"({"|".join(VERSIONS)})": ?"\w+"')
    fresh = answers(client)
    assert set(fresh) == set(ANSWERS.iterdir())
    kept = {path: path.read_text(encoding="utf-8") for path in fresh}
    assert [path.name for path in fresh if version.sub("", fresh[path]) != version.sub("", kept[path])] == []


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

PLAN = BY_ID["planAllowanceSchedule"]
TIMING = BY_ID["compareLumpSumTiming"]


def test_the_picture_is_what_the_service_answers(client: FlaskClient) -> None:
    """Its words and its shapes. Where words stand depends on the fonts of the machine."""

    def drawn(svg: str) -> tuple[list[str], list[str]]:
        root = ElementTree.fromstring(svg)
        words = ["".join(node.itertext()) for node in root.iter("{http://www.w3.org/2000/svg}text")]
        return words, [node.attrib["d"] for node in root.iter("{http://www.w3.org/2000/svg}path") if node.get("d")]

    words, shapes = drawn(picture(client))
    assert {"Where the money goes", "£28,121.80"} <= set(words)
    assert len(shapes) > 4
    assert (words, shapes) == drawn(PICTURE_FILE.read_text(encoding="utf-8"))


@pytest.mark.parametrize("page", PRINTED)
def test_printed_page_is_what_the_service_answers(client: FlaskClient, page: str) -> None:
    assert printed_page(client, page) == (EXAMPLE_FILES / f"{page}.txt").read_text(encoding="utf-8")


def test_request_of_the_printed_comparison_keeps_to_the_agreement() -> None:
    assert validator(component("LumpSumTimingRequest")).is_valid(request_file("timing-couple"))


@pytest.mark.parametrize("name", ["alder_and_bryony_now_or_in_stages", "hazel_is_too_young_now"])
def test_other_comparisons_can_be_printed(client: FlaskClient, name: str) -> None:
    request = TIMING.request_examples()[name]
    page = timing.page(client.post(TIMING.path, json=request).get_json())
    assert "\n".join(page).count("Not possible.") == name.startswith("hazel")
    assert max(map(len, page)) <= WIDTH


def test_tax_years_of_the_agreement_are_those_of_the_service(client: FlaskClient) -> None:
    answer = client.get("/v1/tax-years").get_json()
    assert [year["tax_year"] for year in answer["tax_years"]] == component("TaxYear")["enum"]


def test_warnings_of_the_examples_are_in_the_catalogue_that_is_served(client: FlaskClient) -> None:
    listed = {entry["code"]: entry for entry in client.get("/v1/warning-codes").get_json()["warning_codes"]}
    assert list(listed) == list(CATALOGUE)
    found = [
        warning
        for _, status, _, example in REPLAYED
        if status.startswith("2") and isinstance(example, dict)
        for warning in example.get("warnings", [])
    ]
    assert len(found) > 20
    for warning in found:
        entry = listed[warning["code"]]
        assert [warning[key] for key in ("title", "effect", "sources")] == [
            entry[key] for key in ("title", "effect", "sources")
        ]


def test_document_is_served_as_it_is_kept(client: FlaskClient) -> None:
    reply = client.get("/openapi.yaml")
    assert reply.status_code == 200
    assert reply.data == DOCUMENT_PATH.read_bytes()


def test_changes_of_this_version_are_told_with_their_day() -> None:
    told = (bundle.FOLDER / "CHANGELOG.md").read_text(encoding="utf-8")
    days = dict(re.findall(r"^## (\S+), (\d{4}-\d{2}-\d{2})$", told, re.MULTILINE))
    assert DOCUMENT["info"]["version"] in days
    assert list(days.values()) == sorted(days.values(), reverse=True)
