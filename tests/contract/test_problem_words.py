"""What problems say of headers, of text that is not JSON, of lines of a bulk request, of the query and of paths: which thing is
wrong, where it is, and what would be right."""

from __future__ import annotations

import gzip
import json
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.http.body import strict
from service.schemas.check.request import WarningsSchema
from service.schemas.problems import MOST_UNKNOWN
from service.schemas.quote.request import withdrawal_tax_schema
from service.schemas.schedule.request import ScheduleSchema
from service.schemas.shared import StrictSchema
from service.schemas.timing.request import TimingSchema
from service.schemas.together import OneOfTwo
from tests.households import YEARS

from .refresh_examples import request_file
from .test_bad_inputs import problem

QUOTE = "/v1/withdrawal-tax"
BULK = "/v1/bulk/withdrawal-tax"
GOOD = request_file("first-ufpls")
TEXT = json.dumps(GOOD)


def line_of(name: Any) -> str:
    """A record of a bulk request, as text."""
    return json.dumps({"id": name, "request": GOOD})


def failures(client: FlaskClient, body: str | bytes) -> list[dict[str, Any]]:
    """The problems of the lines of a bulk request."""
    reply = client.post(BULK, data=body, content_type="application/x-ndjson")
    assert reply.status_code == 200, reply.text
    return [line["problem"] for line in map(json.loads, reply.text.splitlines()) if "problem" in line]


#  headers

HEADERS = [
    (
        QUOTE,
        {"Content-Type": "text/plain"},
        415,
        'The Content-Type header is "text/plain"; it must be application/json.',
    ),
    (QUOTE, {}, 415, "The Content-Type header is missing; it must be application/json."),
    (
        BULK,
        {"Content-Type": "application/x-www-form-urlencoded"},
        415,
        'The Content-Type header is "application/x-www-form-urlencoded"; it must be application/x-ndjson.',
    ),
    (
        QUOTE,
        {"Content-Type": "application/json; charset=utf-16"},
        415,
        'The Content-Type header says charset="utf-16"; the body must be sent as UTF-8.',
    ),
    (
        QUOTE,
        {"Content-Type": "application/json", "Content-Encoding": "gzip"},
        415,
        'The Content-Encoding header is "gzip". A single request takes none; POST /v1/bulk/{operation} takes gzip.',
    ),
    (
        BULK,
        {"Content-Type": "application/x-ndjson", "Content-Encoding": "br"},
        415,
        'The Content-Encoding header is "br". Send the records as they are, or as gzip.',
    ),
    (
        QUOTE,
        {"Content-Type": "application/json", "Accept": "text/csv"},
        406,
        'The Accept header, "text/csv", excludes application/json, the only form of this answer.',
    ),
    (
        QUOTE,
        {"Content-Type": "x/" + "y" * 500},
        415,
        f'The Content-Type header is "x/{"y" * 58}..."; it must be application/json.',
    ),
]


@pytest.mark.parametrize(("path", "headers", "status", "detail"), HEADERS)
def test_a_header_at_fault_is_named_with_its_value(
    client: FlaskClient, path: str, headers: dict[str, str], status: int, detail: str
) -> None:
    code = {406: "not-acceptable", 415: "unsupported-media-type"}[status]
    assert problem(client.post(path, data=TEXT, headers=headers), status, code)["detail"] == detail


@pytest.mark.parametrize("charset", ["utf-8", "UTF-8", "utf8", '"utf-8"', "us-ascii"])
def test_labels_of_utf_8_are_taken(client: FlaskClient, charset: str) -> None:
    assert client.post(QUOTE, data=TEXT, content_type=f"application/json; charset={charset}").status_code == 200


def test_a_packed_single_request_is_refused_by_its_header_and_not_read(client: FlaskClient) -> None:
    reply = client.post(
        QUOTE, data=gzip.compress(TEXT.encode()), content_type="application/json", headers={"Content-Encoding": "gzip"}
    )
    problem(reply, 415, "unsupported-media-type")


#  text that is not JSON

UNREADABLE = [
    ('{"tax_year": "2026-27" "household": {}}', "The body is not JSON from line 1, column 24 on."),
    ('{"a": 1,\n "b" 2}', "The body is not JSON from line 2, column 6 on."),
    (TEXT[:-1], f"The body ends at line 1, column {len(TEXT)} before its JSON does."),
    (TEXT + TEXT, f"In the body a second JSON value follows at line 1, column {len(TEXT) + 1}."),
    (
        '{"a": 1, "b": {"c": 2,\n"d": 3, "c": 4}}',
        'The key "c" is given twice in one object, the second time at line 2, column 9.',
    ),
    (
        '{"a": {"a": 1}, "\\u0061": 2}',
        'The key "a" is given twice in one object, the second time at line 1, column 17.',
    ),
    ('{"a": "NaN", "b": [1,\nNaN]}', "NaN at line 2, column 1 is not a JSON number."),
    ('{"a": -Infinity}', "-Infinity at line 1, column 7 is not a JSON number."),
    ("", "The body is empty; a JSON object is expected."),
]


@pytest.mark.parametrize(("text", "detail"), UNREADABLE)
def test_text_that_is_not_json_is_told_where(client: FlaskClient, text: str, detail: str) -> None:
    reply = client.post(QUOTE, data=text, content_type="application/json")
    assert problem(reply, 400, "unreadable-json")["detail"] == detail


keys = st.sampled_from(("a", "b", "\u00e9", '"', "\\", "{", "a:", "NaN"))
documents = st.recursive(
    st.one_of(st.integers(0, 9), st.sampled_from(("", '"}', "{", "\\", "Infinity"))),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.lists(st.tuples(keys, inner), max_size=3).map(tuple)),
    max_leaves=12,
)


def written(node: Any) -> str:
    """A document as JSON text, with objects given as tuples of pairs, so that keys may repeat."""
    if isinstance(node, tuple):
        return "{" + ", ".join(f"{json.dumps(key)}: {written(value)}" for key, value in node) + "}"
    return "[" + ", ".join(map(written, node)) + "]" if isinstance(node, list) else json.dumps(node)


def repeats(node: Any) -> bool:
    """Whether a key comes twice in any object."""
    if isinstance(node, tuple):
        names = [key for key, _ in node]
        return len(set(names)) < len(names) or any(repeats(value) for _, value in node)
    return isinstance(node, list) and any(map(repeats, node))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(documents)
def test_the_place_of_a_repeated_key_is_where_it_stands(client: FlaskClient, node: Any) -> None:
    text = written(node)
    reply = client.post(QUOTE, data=text, content_type="application/json")
    assert (reply.status_code == 400) == repeats(node)
    if repeats(node):
        before, at = (
            reply.get_json()["detail"]
            .removeprefix("The key ")
            .rsplit(" is given twice in one object, the second time at line 1, column ", 1)
        )
        column = int(at.removesuffix("."))
        assert text.encode().decode()[column - 1 :].startswith(before)


#  lines of a bulk request


def test_lines_that_curl_has_joined(client: FlaskClient) -> None:
    first = line_of("a")
    [found] = failures(client, first + line_of("b"))
    assert found["code"] == "unreadable-json"
    assert found["detail"] == (
        f"In the line a second JSON value follows at column {len(first) + 1}; is a line end missing? With curl, use "
        "--data-binary."
    )


def test_a_record_over_several_lines(client: FlaskClient) -> None:
    found = [each["detail"] for each in failures(client, json.dumps({"id": "a", "request": {}}, indent=1))]
    assert found == [
        "The line ends at column 2 before its JSON does; each record must be whole on one line.",
        "The line is not JSON from column 5 on; each record must be whole on one line.",
        "The line is not JSON from column 10 on; each record must be whole on one line.",
        "The line is not JSON from column 1 on; each record must be whole on one line.",
    ]


def test_an_array_of_records(client: FlaskClient) -> None:
    [found] = failures(client, f"[{line_of('a')}, {line_of('b')}]")
    assert (found["code"], found["errors"][0]["code"]) == ("invalid-record", "not-an-object")
    assert found["detail"] == (
        "The line holds a list, and must hold one record. Send each record on a line of its own, without [ and ] around "
        "them."
    )


LINES = [
    ("null", "invalid-record", 'Must be an object such as {"id": "client-1", "request": {}}.'),
    ('{"id": 1}', "invalid-record", '#/request: This field is required, for example "request": {}.'),
    (
        '{"id": null, "request": {}}',
        "invalid-record",
        '#/id: Must not be null; this field is required, for example "id": "client-1".',
    ),
    ('{"id": "", "request": {}}', "invalid-record", "#/id: Text must have from 1 to 200 characters; this has 0."),
    ('{"id": true, "request": {}}', "invalid-record", '#/id: Must be text or a whole number, such as "client-1" or 1.'),
    (
        '{"id": 1.5, "request": {}}',
        "invalid-record",
        "#/id: A number must be whole and from -9007199254740991 to 9007199254740991; give a longer one as text.",
    ),
    (
        '{"id": 1, "request": {}, "requests": 1}',
        "invalid-record",
        "#/requests: There is no such field. Did you mean `request`?",
    ),
    (
        '{"id": 1, "id": 2}',
        "unreadable-json",
        'The key "id" is given twice in one object, the second time at column 11.',
    ),
    ('{"id": NaN}', "unreadable-json", "NaN at column 8 is not a JSON number."),
]


@pytest.mark.parametrize(("line", "code", "detail"), LINES)
def test_a_line_that_is_no_record(client: FlaskClient, line: str, code: str, detail: str) -> None:
    [found] = failures(client, line)
    assert (found["code"], found["detail"]) == (code, detail)


#  the query

QUERIES = [
    (
        "include=working,%20curve",
        'include does not take " curve"; it takes working, curve and charts, with only a comma between them.',
    ),
    ("include=", 'include does not take ""; it takes working, curve and charts, with only a comma between them.'),
    (
        "include=working,working",
        "include names working more than once; it takes working, curve and charts, with only a comma between them.",
    ),
    ("colour=green", 'There is no query parameter "colour" here.'),
    ("includes=curve", 'There is no query parameter "includes" here. Did you mean "include"?'),
    (
        "fields=cash_in_hand",
        "fields is for bulk requests alone: here the answer is given whole. Leave it out, or send the request in bulk.",
    ),
]


@pytest.mark.parametrize(("query", "detail"), QUERIES)
def test_a_query_at_fault_is_named(client: FlaskClient, query: str, detail: str) -> None:
    reply = client.post(QUOTE, data=TEXT, content_type="application/json", query_string=query)
    assert problem(reply, 422, "invalid-request")["detail"] == detail


def test_a_list_says_which_parameter_it_does_not_take(client: FlaskClient) -> None:
    found = problem(client.get("/v1/tax-years?x=1"), 422, "invalid-request")
    assert found["detail"] == 'There is no query parameter "x" here.'


#  paths and methods

PATHS = [
    ("/v1/withdrawal-tax/", " It ends in a slash; without it, /v1/withdrawal-tax is a path."),
    ("/v1/bulk/withdrawal-tax/", " It ends in a slash; without it, /v1/bulk/withdrawal-tax is a path."),
    ("/v1/Withdrawal-Tax", " Did you mean /v1/withdrawal-tax?"),
    ("/v2/allowance-schedule", " Did you mean /v1/allowance-schedule?"),
    ("/withdrawal-tax", " Did you mean /v1/withdrawal-tax?"),
    ("/v1/tax_years", " Did you mean /v1/tax-years?"),
    ("/health", " Did you mean /health/live?"),
    ("/nothing-at-all-like-it", ""),
    ("/" + "9" * 5_000, ""),
]


@pytest.mark.parametrize(("path", "near"), PATHS, ids=lambda each: each[:30])
def test_a_path_of_nothing_names_the_nearest(client: FlaskClient, path: str, near: str) -> None:
    found = problem(client.get(path), 404, "not-found")
    assert found["detail"] == f"There is no such path.{near} GET /openapi.yaml lists all paths."


def test_an_operation_of_nothing_names_those_there_are(client: FlaskClient) -> None:
    reply = client.post("/v1/bulk/withdrawals-tax", data="", content_type="application/x-ndjson")
    detail = problem(reply, 404, "not-found")["detail"]
    assert detail.startswith("There is no such operation. Known: withdrawal-tax, ")
    assert detail.endswith(". Did you mean withdrawal-tax?")


def test_a_wrong_method_is_told_the_right_one(client: FlaskClient) -> None:
    assert problem(client.get(QUOTE), 405, "method-not-allowed")["detail"] == '"GET" is not offered here; POST is.'
    assert problem(client.post("/docs"), 405, "method-not-allowed")["detail"] == '"POST" is not offered here; GET is.'


def test_the_methods_of_a_path_come_without_a_body(client: FlaskClient) -> None:
    # RFC 9110 section 9.3.7.
    reply = client.options(QUOTE)
    assert (reply.status_code, reply.data, reply.content_type) == (204, b"", None)
    assert set(reply.headers["Allow"].split(", ")) == {"POST", "OPTIONS"}


#  many faults


@pytest.mark.parametrize("count", [MOST_UNKNOWN, MOST_UNKNOWN + 1, 5_500])
def test_of_unknown_fields_the_first_are_listed_and_the_rest_counted(client: FlaskClient, count: int) -> None:
    body = {**GOOD, **{f"k{number:04d}": 0 for number in range(count)}}
    reply = client.post(QUOTE, json=body)
    found = problem(reply, 422, "invalid-request")
    listed = [{"pointer": f"#/k{number:04d}", "code": "unknown-field"} for number in range(MOST_UNKNOWN)]
    assert [{"pointer": each["pointer"], "code": each["code"]} for each in found["errors"][:MOST_UNKNOWN]] == listed
    more = count - MOST_UNKNOWN
    said = [each["detail"] for each in found["errors"][MOST_UNKNOWN:]]
    assert said == ([] if not more else [f"{more:,} more field{'s' if more > 1 else ''} not known here."])
    assert len(reply.data) < 10_000


def test_the_day_and_the_amount_of_a_withdrawal_are_told_together(client: FlaskClient) -> None:
    body = {**GOOD, "withdrawal": {"method": "ufpls", "amount": 500_000, "date": "2027-12-01"}}
    found = problem(client.post(QUOTE, json=body), 422, "invalid-request")
    assert [(each["pointer"], each["code"]) for each in found["errors"]] == [
        ("#/withdrawal/date", "outside-tax-year"),
        ("#/withdrawal/amount", "more-than-the-pot"),
    ]
    assert found["permitted"] == 400_000
    assert found["detail"].startswith("2 faults; the first: #/withdrawal/date: `date` 2027-12-01 is not in 2026-27")


#  examples in sentences


SCHEMAS = (withdrawal_tax_schema(YEARS), ScheduleSchema(), TimingSchema(), WarningsSchema())


@pytest.mark.parametrize("schema", SCHEMAS, ids=lambda each: type(each).__name__)
def test_the_example_of_a_shape_has_that_shape(schema: StrictSchema) -> None:
    seen = set()
    waiting = [schema]
    while waiting:
        one = waiting.pop()
        if type(one) in seen:
            continue
        seen.add(type(one))
        one.load(strict(json.dumps(one.example()).encode()))
        for field in one.load_fields.values():
            inner = getattr(field, "inner", field)
            waiting += [inner.schema] if hasattr(inner, "schema") else []
    assert len(seen) >= 4


def test_a_rule_about_a_field_that_is_not_there_is_noticed() -> None:
    class Wrong(StrictSchema):
        rules = (OneOfTwo("amount", "net_wanted"),)

    with pytest.raises(ValueError, match="a rule of Wrong is about fields that it has not"):
        Wrong()
