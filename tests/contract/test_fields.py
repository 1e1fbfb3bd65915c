"""The fields asked for: ``?fields=`` of a bulk request gives what the whole answer has there and nothing else.

The expected values are those of the whole answers, each with its path.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from typing import Any

import pytest
from flask.testing import FlaskClient

from service import calculator
from service.http.fields import ANSWER_FIELDS
from service.planning.quote import quote
from service.schemas.parts import UnknownPath, every_path
from tests.benchmarks import books

from .agreement import NDJSON, PROBLEM_JSON, component, operations, validator

EXAMPLES = {
    operation.path.removeprefix("/v1/"): list(operation.request_examples().values())
    for operation in operations()
    if operation.takes_json
}
QUOTES = [*EXAMPLES["withdrawal-tax"], *(record["request"] for record in books.records(20))]
QUOTE_PATHS = every_path(ANSWER_FIELDS["withdrawal-tax"])
OF_FIELDS = validator(component("BulkFieldsOfResult"))


def asked(client: FlaskClient, operation: str, query: str, requests: list[Any]) -> list[dict[str, Any]]:
    """The results of those records that are answered."""
    body = "\n".join(json.dumps({"id": number, "request": each}) for number, each in enumerate(requests))
    reply = client.post(f"/v1/bulk/{operation}?{query}", data=body, content_type=NDJSON)
    assert (reply.status_code, reply.content_type) == (200, NDJSON)
    lines = [json.loads(line) for line in reply.data.splitlines()]
    answered = [line for line in lines if line.get("status") == 200]
    assert answered
    if "fields" in query:
        assert [error.message for line in answered for error in OF_FIELDS.iter_errors(line)] == []
    return [line["result"] for line in answered]


def values(node: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every value of an answer with its path, in order; a list on the way gives the path no key."""
    if isinstance(node, dict):
        for key, inner in node.items():
            yield from values(inner, f"{path}.{key}" if path else key)
    elif isinstance(node, list):
        for inner in node:
            yield from values(inner, path)
    else:
        yield path, node


def under(answer: Any, paths: Iterable[str]) -> list[tuple[str, Any]]:
    """The values that stand under one of the paths, sorted by path; those of one path keep their order."""
    wanted = [*paths, "rules.version"]
    found = [
        (path, value)
        for path, value in values(answer)
        if any(path == each or path.startswith(f"{each}.") for each in wanted)
    ]
    return sorted(found, key=lambda pair: pair[0])


def is_what_was_asked(narrow: list[Any], whole: list[Any], paths: list[str]) -> None:
    """Each narrow answer has the values of the whole one under the paths, and no others."""
    for one, other in zip(narrow, whole, strict=True):
        assert sorted(values(one), key=lambda pair: pair[0]) == under(other, paths)


@pytest.fixture(scope="module")
def whole_quotes(client: FlaskClient) -> list[dict[str, Any]]:
    return asked(client, "withdrawal-tax", "include=working,curve,charts", QUOTES)


@pytest.mark.parametrize("path", QUOTE_PATHS)
def test_each_field_of_a_quote_can_be_asked_for_alone(
    client: FlaskClient, whole_quotes: list[dict[str, Any]], path: str
) -> None:
    is_what_was_asked(asked(client, "withdrawal-tax", f"fields={path}", QUOTES), whole_quotes, [path])


@pytest.mark.parametrize(
    ("operation", "paths"),
    [
        (
            "allowance-schedule",
            ["years.tax_year", "years.people.isa", "totals", "warnings.code", "years.household.isa_subscriptions"],
        ),
        (
            "lump-sum-timing",
            ["summary", "options.deaths", "ranking.income_tax.option", "break_evens.pairs"],
        ),
        ("warnings", ["date", "warnings.code", "warnings.figures", "rules"]),
    ],
)
def test_fields_of_the_other_answers(client: FlaskClient, operation: str, paths: list[str]) -> None:
    requests = EXAMPLES[operation]
    whole = asked(client, operation, "", requests)
    narrow = asked(client, operation, f"fields={','.join(paths)}", requests)
    is_what_was_asked(narrow, whole, paths)
    assert len({path for answer in narrow for path, _ in values(answer)}) >= len(paths)


def test_items_of_a_list_keep_their_places(client: FlaskClient) -> None:
    # Of an option that cannot be carried out nothing of what is asked for is there, but its place is.
    requests = EXAMPLES["lump-sum-timing"]
    narrow = asked(client, "lump-sum-timing", "fields=options.years.tax_year", requests)
    whole = asked(client, "lump-sum-timing", "fields=options", requests)
    there = [[bool(option) for option in answer["options"]] for answer in narrow]
    assert there == [["years" in option for option in answer["options"]] for answer in whole]
    assert any(False in options for options in there)


SIX = [
    "withdrawal.gross",
    "withdrawal.tax_free",
    "income_tax.on_withdrawal",
    "net_after_tax",
    "payroll",
    "warnings.code",
]


@pytest.mark.parametrize(
    "query",
    [
        f"fields={','.join(SIX)}",
        "&".join(f"fields={path}" for path in SIX),
        f"fields={','.join(SIX[:2])}&fields={','.join(SIX[2:])}",
        f"fields={','.join([*SIX, *SIX, 'payroll.paid_out', 'rules.version'])}",
    ],
)
def test_both_ways_to_write_a_list(client: FlaskClient, whole_quotes: list[dict[str, Any]], query: str) -> None:
    is_what_was_asked(asked(client, "withdrawal-tax", query, QUOTES), whole_quotes, SIX)


def test_shape_of_a_narrow_answer(client: FlaskClient) -> None:
    [answer] = asked(client, "withdrawal-tax", "fields=withdrawal.gross,net_after_tax,warnings.code", QUOTES[-1:])
    [whole] = asked(client, "withdrawal-tax", "", QUOTES[-1:])
    assert whole["warnings"]
    assert answer == {
        "withdrawal": {"gross": whole["withdrawal"]["gross"]},
        "net_after_tax": whole["net_after_tax"],
        "warnings": [{"code": warning["code"]} for warning in whole["warnings"]],
        "rules": {"version": whole["rules"]["version"]},
    }


def test_codes_alone_are_those_of_the_warnings_in_their_order(client: FlaskClient) -> None:
    requests = [record["request"] for record in books.records(400, seed=7)]
    whole = asked(client, "withdrawal-tax", "fields=warnings", requests)
    narrow = asked(client, "withdrawal-tax", "fields=warnings.code", requests)
    codes = [[warning["code"] for warning in answer["warnings"]] for answer in narrow]
    assert codes == [[warning["code"] for warning in answer["warnings"]] for answer in whole]
    assert len({code for some in codes for code in some}) > 12


@pytest.mark.parametrize(
    ("query", "parts"),
    [
        ("fields=net_after_tax,curve", ["net_after_tax", "curve"]),
        ("fields=net_after_tax,working.step", ["net_after_tax", "working.step"]),
        ("fields=net_after_tax&include=working", ["net_after_tax", "working"]),
        ("include=working&fields=working.step&include=curve", ["working", "curve"]),
    ],
)
def test_parts_to_include_may_be_named_either_way(
    client: FlaskClient, whole_quotes: list[dict[str, Any]], query: str, parts: list[str]
) -> None:
    is_what_was_asked(asked(client, "withdrawal-tax", query, QUOTES), whole_quotes, parts)


@pytest.mark.parametrize("query", ["include=working,curve", "include=curve&include=working"])
def test_both_ways_to_include(client: FlaskClient, query: str) -> None:
    request = EXAMPLES["withdrawal-tax"][0]
    one = client.post(f"/v1/withdrawal-tax?{query}", json=request)
    other = client.post("/v1/withdrawal-tax?include=working,curve", json=request)
    assert one.status_code == 200
    assert {"working", "curve"} <= set(one.get_json())
    assert one.data == other.data


@pytest.mark.parametrize(
    ("operation", "fields", "nearest"),
    [
        ("withdrawal-tax", "net_after", "net_after_tax"),
        ("withdrawal-tax", "net_after_taxes", "net_after_tax"),
        ("withdrawal-tax", "withdrawal.grosss", "withdrawal.gross"),
        ("withdrawal-tax", "payroll.tax-deducted", "payroll.tax_deducted"),
        ("withdrawal-tax", "net_after_tax, warnings.code", "warnings.code"),
        ("withdrawal-tax", "warnings.0.code", "warnings.code"),
        ("withdrawal-tax", "net_after_tax.pounds", "net_after_tax"),
        ("withdrawal-tax", "warnings.figures.extra_tax", "warnings.figures"),
        ("allowance-schedule", "year.people.isa.closing", "years.people.isa.closing"),
        ("warnings", "warnings.codes", "warnings.code"),
    ],
)
def test_a_field_that_is_not_there_is_refused_with_the_nearest(
    client: FlaskClient, operation: str, fields: str, nearest: str
) -> None:
    reply = client.post(f"/v1/bulk/{operation}", query_string={"fields": fields}, data=b"{}", content_type=NDJSON)
    assert (reply.status_code, reply.content_type) == (422, PROBLEM_JSON)
    [fault] = reply.get_json()["errors"]
    assert (fault["code"], fault["pointer"]) == ("query", "#")
    assert f'"{nearest}"' in fault["detail"]


@pytest.mark.parametrize(
    "query", ["fields=", "fields=,", "fields", "fields=net_after_tax,", "fields=.", "Fields=rules"]
)
def test_a_list_of_fields_with_nothing_in_it_is_refused(client: FlaskClient, query: str) -> None:
    reply = client.post(f"/v1/bulk/withdrawal-tax?{query}", data=b"{}", content_type=NDJSON)
    assert (reply.status_code, reply.get_json()["code"]) == (422, "invalid-request")


def test_single_requests_take_no_fields(client: FlaskClient) -> None:
    reply = client.post("/v1/withdrawal-tax?fields=net_after_tax", json=EXAMPLES["withdrawal-tax"][0])
    assert (reply.status_code, reply.get_json()["code"]) == (422, "invalid-request")


def test_what_is_not_asked_for_is_not_worked_out(client: FlaskClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def must_not_be_asked(*_: Any, **__: Any) -> Any:
        raise AssertionError

    for name in ("tax_curve", "slices", "payroll_outcome"):
        monkeypatch.setattr(quote, name, must_not_be_asked)
    assert asked(client, "withdrawal-tax", "fields=withdrawal,income_tax.total,net_after_tax,pension_after", QUOTES)
    reply = client.post("/v1/withdrawal-tax", json=QUOTES[-1])
    assert reply.status_code == 500


def test_fields_without_a_server(client: FlaskClient) -> None:
    lines = [json.dumps({"id": number, "request": each}) for number, each in enumerate(QUOTES)]
    made = calculator("withdrawal-tax", fields=SIX)
    reply = client.post(f"/v1/bulk/withdrawal-tax?fields={','.join(SIX)}", data="\n".join(lines), content_type=NDJSON)
    assert b"".join(made.answers("\n".join(lines).encode())) == reply.data
    with pytest.raises(UnknownPath, match="net_after_tax"):
        calculator("withdrawal-tax", fields=["net_after"])
