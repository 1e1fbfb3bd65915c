"""Bulk requests: each record is answered as it would be alone, nothing gets lost, and nothing that is sent does harm.

The expected values are the single answers themselves, RFC 8259 for JSON, RFC 1952 for gzip, and this project's own
decisions about lines, which the agreement states.
"""

from __future__ import annotations

import gzip
import json
import logging
import random
import re
import zlib
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service import CALCULATIONS, create_app
from service.http import bulk as bulk_module
from service.http import quote
from service.http.bulk import in_blocks, packed, records_of
from service.http.heavy import HOST, Host
from service.settings import Settings
from tests.benchmarks.questions import VERSIONS
from tests.households import requests

from .agreement import JSON, NDJSON, PROBLEM_JSON, component, operations, validator

[BULK] = [operation for operation in operations() if operation.id == "calculateInBulk"]
PATH = "/v1/bulk/withdrawal-tax"
GOOD: dict[str, Any] = {
    "household": {
        "people": [
            {"date_of_birth": "1957-03-14", "tax_residence": "england", "pensions": [{"uncrystallised": 400000}]}
        ]
    },
    "tax_year": "2026-27",
    "withdrawal": {"method": "ufpls", "amount": 40000},
}
TOO_MUCH = {**GOOD, "withdrawal": {"method": "ufpls", "amount": 500000}}
OF_RECORDS = validator(component("BulkRecord"))
# Without `fields`, so that a result has to be whole.
OF_LINES = validator(
    {"oneOf": [kind for kind in component("BulkLine")["anyOf"] if not kind["$ref"].endswith("/BulkFieldsOfResult")]}
)


def line_of(name: Any, request: Any = GOOD) -> bytes:
    """One record as a line without its end."""
    return json.dumps({"id": name, "request": request}).encode()


def ask(client: FlaskClient, body: bytes, path: str = PATH, **options: Any) -> list[bytes]:
    """The lines of a bulk answer. It is a 200, every line has the agreed shape and the last one counts the others."""
    reply = client.post(path, data=body, content_type=NDJSON, **options)
    assert (reply.status_code, reply.content_type) == (200, NDJSON)
    assert reply.data.endswith(b"\n")
    lines = reply.data.split(b"\n")[:-1]
    answers = [json.loads(line) for line in lines]
    for answer in answers:
        assert [error.message for error in OF_LINES.iter_errors(answer)] == []
    good = sum(answer.get("status") == 200 for answer in answers)
    records = len(lines) - 1
    counts = {"end": True, "records": records, "succeeded": good, "failed": records - good}
    assert answers[-1] == {**counts, "rules_version": VERSIONS.rules, "software_version": VERSIONS.software}
    return lines[:-1]


def told(client: FlaskClient, body: bytes, **options: Any) -> list[tuple[Any, int, str]]:
    """For each line of an answer: the record's name or the line's number, the status and the problem's code."""
    answers = [json.loads(line) for line in ask(client, body, **options)]
    return [
        (answer.get("id", ("line", answer.get("line"))), answer["status"], answer.get("problem", {}).get("code", ""))
        for answer in answers
    ]


def refused(client: FlaskClient, body: bytes, path: str = PATH, **options: Any) -> tuple[int, str, str]:
    """Status, code and detail of a bulk request that is refused as a whole."""
    reply = client.post(path, data=body, **{"content_type": NDJSON, **options})
    assert reply.content_type == PROBLEM_JSON
    assert reply.headers["Cache-Control"] == "no-store"
    problem = json.loads(reply.data)
    assert [error.message for error in validator(component("Problem")).iter_errors(problem)] == []
    return reply.status_code, problem["code"], problem["detail"]


def bounded(**changes: int) -> FlaskClient:
    """A client of a service with other settings."""
    return create_app(replace(Settings.for_tests(), **changes)).test_client()


# ------------------------------------------------------------------------------------------- the same as singly

BAD_VALUES = st.sampled_from(
    (None, True, -1, 1.005, 1e9, "x", "", [], {}, [1], "1957-02-30", 10**30, "\u00e9:\\ \U0001f600")
)


@st.composite
def odd_requests(draw: Any) -> Any:
    """Anything that is JSON in the place of a request: mostly requests with one thing wrong."""
    request = draw(requests())
    person = request["household"]["people"][0]
    inside = draw(st.sampled_from([request, person, person["pensions"][0], request["withdrawal"]]))
    change = draw(st.sampled_from(("value", "missing", "extra", "whole")))
    if change == "whole":
        return draw(BAD_VALUES)
    if change == "extra":
        inside[draw(st.sampled_from(("remark", "id", "request", "Amount", "a:b")))] = draw(BAD_VALUES)
        return request
    key = draw(st.sampled_from(sorted(inside)))
    if change == "missing":
        del inside[key]
    else:
        inside[key] = draw(BAD_VALUES)
    return request


names = st.one_of(
    st.integers(-(2**53) + 1, 2**53 - 1),
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20),
    st.sampled_from(("a:1", ":::", 'a"b', "\\u003a", "\\", "urn:x:1", "\u2028", "\x00")),
)
books = st.lists(st.tuples(names, st.one_of(requests(), odd_requests()), st.booleans()), min_size=1, max_size=8)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(book=books, include=st.sampled_from(("", "?include=working", "?include=curve&include=working")))
def test_each_record_is_answered_as_it_would_be_alone(
    client: FlaskClient, book: list[tuple[Any, Any, bool]], include: str
) -> None:
    body = b"\n".join(
        json.dumps({"id": name, "request": request}, ensure_ascii=escaped).encode() for name, request, escaped in book
    )
    answers = ask(client, body, PATH + include)
    assert len(answers) == len(book)
    for (name, request, _), answer in zip(book, answers, strict=True):
        single = client.post("/v1/withdrawal-tax" + include, data=json.dumps(request), content_type=JSON)
        part = b"result" if single.status_code == 200 else b"problem"
        start, _, rest = answer.partition(b',"status":')
        assert json.loads(start + b"}") == {"id": name}
        assert rest == b'%d,"%b":%b}' % (single.status_code, part, single.data)


def test_every_example_of_every_operation_is_answered_in_bulk_as_singly(client: FlaskClient) -> None:
    singles = {operation.path.removeprefix("/v1/"): operation for operation in operations() if operation.takes_json}
    [parameter] = [parameter for parameter in BULK.parameters() if parameter["in"] == "path"]
    assert set(parameter["schema"]["enum"]) == set(singles)
    assert len(CALCULATIONS) == len(singles)
    for name, operation in singles.items():
        examples = operation.request_examples()
        body = b"".join(line_of(key, request) + b"\n" for key, request in examples.items())
        assert all(OF_RECORDS.is_valid(json.loads(line)) for line in body.splitlines())
        for (key, request), line in zip(examples.items(), ask(client, body, f"/v1/bulk/{name}"), strict=True):
            single = client.post(operation.path, json=request)
            part = "result" if single.status_code == 200 else "problem"
            expected = f'{{"id":"{key}","status":{single.status_code},"{part}":'.encode() + single.data + b"}"
            assert line == expected


def test_answer_is_not_kept_and_names_its_rules_version(client: FlaskClient) -> None:
    reply = client.post(PATH, data=line_of(1), content_type=NDJSON)
    assert reply.headers["Cache-Control"] == "no-store"
    assert reply.headers["Rules-Version"] == client.get("/health/ready").get_json()["rules_version"]


# ------------------------------------------------------------------------------------------------- what a line is

BETWEEN = (line_of("before"), line_of("after"))


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (b'{"id": 1, "request": {"tax_ye', (("line", 2), 400, "unreadable-json")),
        (b'{"id": 1, "request": ' + json.dumps(GOOD).encode() + b"}}", (("line", 2), 400, "unreadable-json")),
        (line_of(1) + line_of(2), (("line", 2), 400, "unreadable-json")),
        (line_of(1) + b"\x00", (("line", 2), 400, "unreadable-json")),
        (b"\xef\xbb\xbf" + line_of(1), (("line", 2), 400, "unreadable-json")),
        (line_of("caf\u00e9").replace(b"\\u00e9", b"\xe9"), (("line", 2), 400, "unreadable-json")),
        (line_of("x").replace(b'"x"', b'"\\ud800"'), (("line", 2), 400, "unreadable-json")),
        (line_of("x").replace(b'"x"', b'"\xed\xa0\x80"'), (("line", 2), 400, "unreadable-json")),
        (line_of(1).replace(b"40000}", b"NaN}"), (("line", 2), 400, "unreadable-json")),
        (line_of(1).replace(b'{"id"', b'{"id": 2, "id"'), (("line", 2), 400, "unreadable-json")),
        (line_of("a:b").replace(b'"amount"', b'"amount": 1, "amount"'), (("line", 2), 400, "unreadable-json")),
        # As many colons as keys, but one is dropped with its key and one comes of an escape.
        (
            line_of("a\\u003ab").replace(b"\\\\", b"\\").replace(b'"id"', b'"id": 1, "id"'),
            (("line", 2), 400, "unreadable-json"),
        ),
        (
            line_of("a\\u003Ab").replace(b"\\\\", b"\\").replace(b'"id"', b'"id": 1, "id"'),
            (("line", 2), 400, "unreadable-json"),
        ),
        (line_of(1).replace(b'"amount"', b'"amount": 1, "amount"'), (("line", 2), 400, "unreadable-json")),
        (b"[" * 20_000 + b"]" * 20_000, (("line", 2), 400, "unreadable-json")),
        (line_of(1, 0)[:-2] + b'{"a":' * 9_000 + b"1" + b"}" * 9_001, (("line", 2), 400, "unreadable-json")),
        (b"\x0b", (("line", 2), 400, "unreadable-json")),
        (b" " * 70_000 + b"x" * 70_000, (("line", 2), 413, "body-too-large")),
        (line_of(1, "x" * 70_000), (("line", 2), 413, "body-too-large")),
        (line_of(1).replace(b" ", b" " * 7_000), (("line", 2), 413, "body-too-large")),
        (b"[]", (("line", 2), 422, "invalid-record")),
        (b"null", (("line", 2), 422, "invalid-record")),
        (b"{}", (("line", 2), 422, "invalid-record")),
        (json.dumps(GOOD).encode(), (("line", 2), 422, "invalid-record")),
        (line_of(None), (("line", 2), 422, "invalid-record")),
        (line_of(True), (("line", 2), 422, "invalid-record")),
        (line_of(1.5), (("line", 2), 422, "invalid-record")),
        (line_of(2**53), (("line", 2), 422, "invalid-record")),
        (line_of(-(2**53)), (("line", 2), 422, "invalid-record")),
        (line_of(10**400), (("line", 2), 422, "invalid-record")),
        (line_of(""), (("line", 2), 422, "invalid-record")),
        (line_of("x" * 201), (("line", 2), 422, "invalid-record")),
        (line_of({"a": 1}), (("line", 2), 422, "invalid-record")),
        (line_of([1]), (("line", 2), 422, "invalid-record")),
        (b'{"request": {}}', (("line", 2), 422, "invalid-record")),
        (b'{"id": "a"}', ("a", 422, "invalid-record")),
        (b'{"id": "a", "request": null}', ("a", 422, "invalid-request")),
        (line_of("a")[:-1] + b', "remark": 1}', ("a", 422, "invalid-record")),
        (line_of("a", {}), ("a", 422, "invalid-request")),
        (line_of("a", []), ("a", 422, "invalid-request")),
        (line_of("a", TOO_MUCH), ("a", 422, "rule-violation")),
        (line_of(2**53 - 1), (2**53 - 1, 200, "")),
        (line_of(-(2**53) + 1), (-(2**53) + 1, 200, "")),
        (line_of(0), (0, 200, "")),
        (line_of("x" * 200), ("x" * 200, 200, "")),
        (line_of("a:b"), ("a:b", 200, "")),
        (line_of("\U0001f600\u2028\x85"), ("\U0001f600\u2028\x85", 200, "")),
        (
            "{}".format(json.dumps({"id": "\u2028\x85", "request": GOOD}, ensure_ascii=False)).encode(),
            ("\u2028\x85", 200, ""),
        ),
        (line_of(1) + b"\r", (1, 200, "")),
        (b"\t " + line_of(1) + b" \t\r", (1, 200, "")),
        (b'{"request": ' + json.dumps(GOOD).encode() + b', "id": 1}', (1, 200, "")),
    ],
)
def test_a_line_gets_its_own_answer_and_harms_no_other(client: FlaskClient, line: bytes, expected: Any) -> None:
    before, after = BETWEEN
    answers = told(client, before + b"\n" + line + b"\n" + after + b"\n")
    assert answers == [("before", 200, ""), expected, ("after", 200, "")]


def test_an_id_written_as_a_decimal_is_the_whole_number_it_is(client: FlaskClient) -> None:
    # JSON Schema 2020-12 section 6.1.1 (type): 1.0 is an integer.
    assert told(client, line_of(1).replace(b'"id": 1', b'"id": 1.0')) == [(1, 200, "")]


def test_faults_of_a_line_point_into_the_line_and_those_of_a_request_into_the_request(client: FlaskClient) -> None:
    lines = [json.loads(line) for line in ask(client, b'{"id": 1}\n' + line_of(2, {**GOOD, "tax_year": "x"}))]
    assert [line["problem"]["errors"][0]["pointer"] for line in lines] == ["#/request", "#/tax_year"]
    assert [line["problem"]["instance"] for line in lines] == [PATH, "/v1/withdrawal-tax"]


def test_every_fault_of_a_line_is_told_at_once(client: FlaskClient) -> None:
    [line] = [json.loads(line) for line in ask(client, b'{"id": true, "remark": 1}')]
    assert {(error["pointer"], error["code"]) for error in line["problem"]["errors"]} == {
        ("#/id", "invalid-value"),
        ("#/request", "missing"),
        ("#/remark", "unknown-field"),
    }


@pytest.mark.parametrize("end", [b"", b"\n", b"\r\n", b"\n\n \t\r\n"])
@pytest.mark.parametrize("between", [b"\n", b"\r\n", b"\n\n", b"\n \t \r\n\r\n"])
@pytest.mark.parametrize("start", [b"", b"\n\r\n", b"\xef\xbb\xbf", b"\xef\xbb\xbf\r\n"])
def test_ends_of_lines_blank_lines_and_a_byte_order_mark(
    client: FlaskClient, start: bytes, between: bytes, end: bytes
) -> None:
    assert told(client, start + line_of(1) + between + line_of(2) + end) == [(1, 200, ""), (2, 200, "")]


def test_line_numbers_count_blank_lines(client: FlaskClient) -> None:
    assert told(client, b"\n\r\n{\n\n}\n") == [
        (("line", 3), 400, "unreadable-json"),
        (("line", 5), 400, "unreadable-json"),
    ]


def test_an_id_that_comes_twice_is_answered_twice(client: FlaskClient) -> None:
    body = b"\n".join([line_of("a"), line_of("a", TOO_MUCH), line_of("a")])
    assert told(client, body) == [("a", 200, ""), ("a", 422, "rule-violation"), ("a", 200, "")]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_whatever_happens_to_a_body_every_line_is_answered(client: FlaskClient, data: st.DataObject) -> None:
    """Bytes lost, doubled, changed or cut off anywhere: every line that is not blank has one answer, and those of the
    lines that were not touched stay as they were."""
    whole = [line_of(number, data.draw(requests())) for number in range(3)]
    as_they_were = ask(client, b"\n".join(whole))
    damaged = whole[1]
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(damaged)))
        inserted = data.draw(
            st.one_of(st.binary(max_size=4), st.sampled_from((b"\n", b"\r", b'"', b"{", b"\\", b"\xff")))
        )
        damaged = damaged[:at] + inserted + damaged[at + data.draw(st.integers(0, 4)) :]
    answers = ask(client, b"\n".join([whole[0], damaged, whole[2]]))
    lines = [line for line in damaged.split(b"\n") if line.strip(b" \t\r")]
    assert len(answers) == 2 + len(lines)
    assert (answers[0], answers[-1]) == (as_they_were[0], as_they_were[2])


# -------------------------------------------------------------------------------------------- the body as a whole


@pytest.mark.parametrize("body", [b"", b"\n", b" \r\n\t\n", b"\xef\xbb\xbf", b"\xef\xbb\xbf\n"])
def test_a_body_without_a_record_is_refused(client: FlaskClient, body: bytes) -> None:
    assert refused(client, body)[:2] == (400, "unreadable-json")


def test_an_unknown_operation_is_refused_with_the_names_of_those_there_are(client: FlaskClient) -> None:
    for name in ("quotes", "Withdrawal-Tax", "withdrawal_tax", "tax-years"):
        status, code, detail = refused(client, line_of(1), f"/v1/bulk/{name}")
        assert (status, code) == (404, "not-found")
        assert "withdrawal-tax, allowance-schedule" in detail
    assert refused(client, line_of(1), "/v1/bulk/")[0] == 404


def test_what_is_asked_besides_the_body(client: FlaskClient) -> None:
    for media_type in (JSON, "text/plain", "application/jsonl", ""):
        assert refused(client, line_of(1), content_type=media_type)[:2] == (415, "unsupported-media-type")
    for media_type in (f"{NDJSON}; charset=utf-8", "Application/X-NDJSON"):
        assert client.post(PATH, data=line_of(1), content_type=media_type).status_code == 200
    for accepted in (JSON, "text/html"):
        assert refused(client, line_of(1), headers={"Accept": accepted})[:2] == (406, "not-acceptable")
    for accepted in (NDJSON, "application/*", "*/*"):
        ask(client, line_of(1), headers={"Accept": accepted})
    for query in ("?include=steps", "?page=1", "?include=working&include=working"):
        assert refused(client, line_of(1), PATH + query)[:2] == (422, "invalid-request")
    assert refused(client, b"{}", "/v1/bulk/allowance-schedule?include=working")[:2] == (422, "invalid-request")
    assert client.get(PATH).status_code == 405


def test_too_many_records_are_refused_with_the_limit() -> None:
    client = bounded(bulk_max_records=1_234)
    lines = line_of(1, {}) + b"\n\n"
    assert len(ask(client, lines * 1_234)) == 1_234
    status, code, detail = refused(client, lines * 1_235)
    assert (status, code) == (413, "body-too-large")
    assert "1,234 records" in detail


def test_too_many_lines_are_refused_before_any_is_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    client = bounded(bulk_max_records=1_000)
    assert len(ask(client, b"\n" * 1_999 + line_of(1) + b"\n")) == 1
    monkeypatch.setattr(bulk_module, "records_of", None)
    for body in (b"\n" * 2_000 + line_of(1) + b"\n", b"\n" * 1_000_000, line_of(1) + b"\n" * 16_000_000):
        status, code, detail = refused(client, body)
        assert (status, code) == (413, "body-too-large")
        assert "2,000 lines" in detail


@pytest.mark.parametrize("how", ["as it is", "chunked", "gzip"])
def test_too_many_bytes_are_refused_with_the_limit(how: str) -> None:
    client = bounded(bulk_max_bytes=12_345)
    line = line_of(1)

    def options(body: bytes) -> dict[str, Any]:
        if how == "gzip":
            return {"data": gzip.compress(body), "headers": {"Content-Encoding": "gzip"}}
        if how == "chunked":
            return {"data": body, "environ_overrides": {"CONTENT_LENGTH": "", "wsgi.input_terminated": True}}
        return {"data": body}

    fits = line + b" " * (12_345 - len(line))
    assert client.post(PATH, content_type=NDJSON, **options(fits)).status_code == 200
    reply = client.post(PATH, content_type=NDJSON, **options(fits + b" "))
    assert reply.status_code == 413
    assert "12,345 bytes" in reply.get_json()["detail"]


# ------------------------------------------------------------------------------------------------------- packing


def zipped(client: FlaskClient, body: bytes, coding: str = "gzip") -> Any:
    return client.post(PATH, data=body, content_type=NDJSON, headers={"Content-Encoding": coding})


def test_a_body_may_be_packed(client: FlaskClient) -> None:
    body = line_of(1) + b"\n" + line_of(2, TOO_MUCH)
    plain = client.post(PATH, data=body, content_type=NDJSON).data
    half = len(body) // 2
    for sent in (gzip.compress(body), gzip.compress(body[:half]) + gzip.compress(b"") + gzip.compress(body[half:])):
        for coding in ("gzip", "GZIP", "x-gzip"):
            assert zipped(client, sent, coding).data == plain
    assert zipped(client, body, "identity").data == plain


@pytest.mark.parametrize("coding", ["deflate", "br", "gzip, gzip", "zstd"])
def test_other_codings_are_refused(client: FlaskClient, coding: str) -> None:
    reply = zipped(client, gzip.compress(line_of(1)), coding)
    assert (reply.status_code, reply.get_json()["code"]) == (415, "unsupported-media-type")


def test_what_is_not_whole_gzip_is_refused(client: FlaskClient) -> None:
    whole = gzip.compress(line_of(1))
    wrong_sum = whole[:-8] + bytes(4) + whole[-4:]
    damaged = whole[:20] + bytes([whole[20] ^ 0xFF]) + whole[21:]
    for sent in (
        whole[:-1],
        whole[:15],
        whole[:3],
        line_of(1),
        whole + b"more",
        wrong_sum,
        damaged,
        zlib.compress(b"{}"),
    ):
        reply = zipped(client, sent)
        assert (reply.status_code, reply.get_json()["code"]) == (400, "bad-request")
    assert zipped(client, b"").status_code == 400


def test_a_gzip_bomb_is_refused_before_it_is_unpacked(client: FlaskClient) -> None:
    packer = zlib.compressobj(9, wbits=31)
    mebibyte = bytes(2**20)
    bomb = b"".join(packer.compress(mebibyte) for _ in range(128)) + packer.flush()
    assert len(bomb) < 2**18
    unpacked = []
    read = gzip.GzipFile.read

    def noted(self: gzip.GzipFile, size: int | None = -1) -> bytes:
        unpacked.append(size)
        return read(self, size)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(gzip.GzipFile, "read", noted)
        reply = zipped(client, bomb)
    assert reply.status_code == 413
    assert "16,777,216 bytes" in reply.get_json()["detail"]
    assert unpacked == [16_777_217]


def test_a_chain_of_empty_members_ends(client: FlaskClient) -> None:
    assert zipped(client, gzip.compress(b"") * 20_000).status_code == 400


@pytest.mark.parametrize(
    ("accepted", "comes_packed"),
    [
        (None, False),
        ("gzip", True),
        ("gzip, deflate, br", True),
        ("br;q=1.0, gzip;q=0.5", True),
        ("*", True),
        ("gzip;q=0", False),
        ("identity", False),
        ("br", False),
    ],
)
def test_the_answer_comes_packed_where_that_is_accepted(
    client: FlaskClient, accepted: str | None, comes_packed: bool
) -> None:
    body = b"\n".join(line_of(number) for number in range(100))
    plain = client.post(PATH, data=body, content_type=NDJSON)
    headers = {} if accepted is None else {"Accept-Encoding": accepted}
    reply = client.post(PATH, data=body, content_type=NDJSON, headers=headers)
    assert (plain.headers["Vary"], reply.headers["Vary"]) == ("Accept-Encoding", "Accept-Encoding")
    assert reply.headers.get("Content-Encoding") == ("gzip" if comes_packed else None)
    assert (gzip.decompress(reply.data) if comes_packed else reply.data) == plain.data


# -------------------------------------------------------------------------------------------------- as it streams


def test_the_answer_streams_in_blocks_and_says_that_work_goes_on(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    beats: list[int] = []
    monkeypatch.setitem(app.extensions, HOST, Host(lambda: beats.append(1), 60.0))
    body = b"\n".join(line_of(number) for number in range(500))
    reply = app.test_client().post(PATH, data=body, content_type=NDJSON)
    blocks = list(reply.response)
    assert len(blocks) > 10
    assert max(map(len, blocks)) < 2 * bulk_module.BLOCK_BYTES
    assert len(beats) == len(blocks) - 1


def test_a_line_is_not_held_back_for_long(monkeypatch: pytest.MonkeyPatch) -> None:
    now = 0.0
    monkeypatch.setattr(bulk_module.time, "monotonic", lambda: now)

    def answers() -> Iterator[dict[str, Any]]:
        nonlocal now
        for number in range(1, 8):
            now += 0.4
            yield {"id": number}

    blocks = [re.findall(rb"\d", block) for block in in_blocks(answers(), lambda: None)]
    assert blocks == [[b"1", b"2", b"3"], [b"4", b"5", b"6"], [b"7"]]


def test_a_body_is_cut_into_lines_one_at_a_time() -> None:
    assert next(iter(records_of(b"1\n" * 1_000_000))) == (1, b"1")


def test_a_cut_stream_lacks_its_last_line() -> None:
    blocks = list(packed(iter([b'{"id":1}\n' * 10_000, b'{"end":true}\n'])))
    unpacker = zlib.decompressobj(wbits=31)
    seen = b"".join(unpacker.decompress(block) for block in blocks[:-1])
    assert not unpacker.eof
    assert b"end" not in seen


def test_a_fault_of_the_service_stays_with_its_record_and_out_of_the_log(
    app: Flask, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    real: Callable[..., Any] = quote.quote

    def fail_for_wales(question: Any, book: Any) -> Any:
        if question.person.tax_residence == "wales":
            raise ZeroDivisionError("a cause that stays inside")
        return real(question, book)

    monkeypatch.setattr(quote, "quote", fail_for_wales)
    [person] = GOOD["household"]["people"]
    welsh = {**person, "date_of_birth": "1948-01-02", "tax_residence": "wales"}
    in_wales = {**GOOD, "household": {"people": [welsh]}}
    body = b"\n".join([line_of("a"), line_of("Wrenfield-Oake", in_wales), line_of("c")])
    with caplog.at_level(logging.DEBUG):
        answers = ask(app.test_client(), body)
        single = app.test_client().post("/v1/withdrawal-tax", json=in_wales)
    assert [json.loads(answer)["status"] for answer in answers] == [200, 500, 200]
    assert answers[1] == b'{"id":"Wrenfield-Oake","status":500,"problem":' + single.data + b"}"
    assert b"inside" not in answers[1]
    assert "ZeroDivisionError" in caplog.text
    for text in ("Wrenfield", "1948", "40000", "400000"):
        assert text not in caplog.text


def test_records_in_any_order_have_the_same_answers(client: FlaskClient) -> None:
    """Nothing is carried from one record to the next."""
    examples = [
        request
        for operation in operations()
        if operation.id == "calculateWithdrawalTax"
        for request in operation.request_examples().values()
    ]
    lines = [line_of(number, request) for number, request in enumerate(examples * 3)]
    in_order = ask(client, b"\n".join(lines))
    shuffled = list(range(len(lines)))
    random.Random(7).shuffle(shuffled)
    answers = ask(client, b"\n".join(lines[number] for number in shuffled))
    assert answers == [in_order[number] for number in shuffled]
