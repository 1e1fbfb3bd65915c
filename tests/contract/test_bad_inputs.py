"""Bad input is refused with the right status and a problem that says where, and never with a 500.

These are the faults that generated requests do not find: text that is not JSON, numbers at the edge of what a
reader takes, dates written another way, and the rules of HTTP around the body.
"""

from __future__ import annotations

import copy
import json
from io import BytesIO
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from .agreement import PROBLEM_JSON, component, operations, validator

URL = "/v1/withdrawal-tax"
PROBLEM = validator(component("Problem"))
FULL: dict[str, Any] = {
    "tax_year": "2026-27",
    "person": {
        "date_of_birth": "1966-05-14",
        "tax_residence": "england",
        "income": [{"kind": "employment", "amount": 30000}, {"kind": "dividends", "amount": 800}],
        "relief_at_source_contributions": 0,
        "gift_aid_donations": 0,
        "marriage_allowance": "none",
        "blind_persons_allowance": False,
        "child_benefit": 0,
    },
    "pension": {
        "uncrystallised": 400000,
        "drawdown": 20000,
        "lump_sum_allowance_used": 0,
        "lump_sum_and_death_benefit_allowance_used": 0,
        "lifetime_allowance_used_percent": 0,
        "protected_lump_sum_allowance": 375000,
        "protected_lump_sum_and_death_benefit_allowance": 1500000,
        "flexibly_accessed": False,
        "minimum_pension_age": 55,
    },
    "withdrawal": {"method": "ufpls", "amount": 4000, "date": "2026-12-01"},
    "payroll": {"code": "1257L", "basis": "cumulative", "month": 8, "pay_to_date": 0, "tax_to_date": 0},
}
MONEY = (
    "/person/income/0/amount",
    "/person/relief_at_source_contributions",
    "/person/gift_aid_donations",
    "/person/child_benefit",
    "/pension/uncrystallised",
    "/pension/drawdown",
    "/pension/lump_sum_allowance_used",
    "/pension/lump_sum_and_death_benefit_allowance_used",
    "/pension/protected_lump_sum_allowance",
    "/pension/protected_lump_sum_and_death_benefit_allowance",
    "/withdrawal/amount",
    "/payroll/pay_to_date",
    "/payroll/tax_to_date",
)
DATES = ("/person/date_of_birth", "/withdrawal/date")
BOOLEANS = ("/person/blind_persons_allowance", "/pension/flexibly_accessed")
WORDS = (
    "/tax_year",
    "/person/tax_residence",
    "/person/income/0/kind",
    "/person/marriage_allowance",
    "/withdrawal/method",
    "/payroll/code",
    "/payroll/basis",
)
WHOLE_NUMBERS = ("/pension/minimum_pension_age", "/payroll/month")
OBJECTS = ("/person", "/pension", "/withdrawal", "/payroll", "/person/income/0")
OBJECTS_AND_WHOLE = ("", *OBJECTS)


def leaves(node: Any = FULL, pointer: str = "") -> list[str]:
    """Return the pointers of all single values of a body."""
    if isinstance(node, dict):
        return [found for key, value in node.items() for found in leaves(value, f"{pointer}/{key}")]
    if isinstance(node, list):
        return [found for index, value in enumerate(node) for found in leaves(value, f"{pointer}/{index}")]
    return [pointer]


def body_with(pointer: str, text: str) -> bytes:
    """Return FULL as JSON text with the value at a pointer replaced by the given JSON text, set or added."""
    whole = copy.deepcopy(FULL)
    *parents, last = pointer[1:].split("/")
    here: Any = whole
    for part in parents:
        here = here[int(part)] if isinstance(here, list) else here[part]
    here[int(last) if isinstance(here, list) else last] = "@@"
    return json.dumps(whole).replace('"@@"', text).encode()


def post(client: FlaskClient, body: bytes, **more: Any) -> TestResponse:
    return client.post(URL, data=body, **{"content_type": "application/json", **more})


def problem(reply: TestResponse, status: int, code: str) -> dict[str, Any]:
    """Check that the reply is a well-made problem of that status and code, and return it."""
    assert reply.status_code == status, reply.get_data(as_text=True)[:500]
    assert reply.content_type == PROBLEM_JSON
    found: dict[str, Any] = json.loads(reply.data)
    assert [error.message for error in PROBLEM.iter_errors(found)] == []
    assert (found["status"], found["code"], found["type"]) == (status, code, f"/problems/{code}")
    return found


def pointers(found: dict[str, Any]) -> list[str]:
    return [error["pointer"] for error in found["errors"]]


def is_refused(client: FlaskClient, pointer: str, text: str) -> None:
    """Check that FULL with this JSON text at this place is refused, and for that place alone."""
    found = problem(post(client, body_with(pointer, text)), 422, "invalid-request")
    assert pointers(found) == [f"#{pointer}"], text[:60]


def test_the_body_that_all_bad_bodies_are_made_from_is_good(client: FlaskClient) -> None:
    assert post(client, json.dumps(FULL).encode()).status_code == 200
    listed = {*MONEY, *DATES, *BOOLEANS, *WORDS, *WHOLE_NUMBERS}
    elsewhere = {
        "/person/income/1/kind",
        "/person/income/1/amount",
        "/pension/lifetime_allowance_used_percent",
    }
    assert set(leaves()) == listed | elsewhere


#  unreadable text

GOOD = json.dumps(FULL)
UNREADABLE = {
    "empty": b"",
    "white space only": b" \r\n\t ",
    "cut short": GOOD[:-1].encode(),
    "text after the end": GOOD.encode() + b"{}",
    "trailing comma": GOOD[:-1].encode() + b",}",
    "single quotes": GOOD.replace('"', "'").encode(),
    "comment": b"/* */" + GOOD.encode(),
    "bare word": b"none",
    "leading zero": body_with("/withdrawal/amount", "04000"),
    "plus sign": body_with("/withdrawal/amount", "+4000"),
    "point without a digit before": body_with("/withdrawal/amount", ".5"),
    "point without a digit after": body_with("/withdrawal/amount", "5."),
    "hexadecimal": body_with("/withdrawal/amount", "0xFA0"),
    "underscore in a number": body_with("/withdrawal/amount", "4_000"),
    "not a number": body_with("/withdrawal/amount", "NaN"),
    "infinity": body_with("/withdrawal/amount", "Infinity"),
    "minus infinity": body_with("/withdrawal/amount", "-Infinity"),
    "capital true": body_with("/pension/flexibly_accessed", "True"),
    "raw control character in text": body_with("/tax_year", '"2026-27\n"'),
    "unknown escape": body_with("/tax_year", '"2026\\x2d27"'),
    "repeated key": b'{"tax_year": "2026-27",' + GOOD[1:].encode(),
    "repeated key inside": body_with("/withdrawal", '{"method": "ufpls", "amount": 1, "amount": 2}'),
    "repeated key written with an escape": body_with(
        "/withdrawal", '{"method": "ufpls", "amount": 1, "\\u0061mount": 2}'
    ),
    "high surrogate alone": body_with("/tax_year", '"\\ud800"'),
    "low surrogate alone": body_with("/tax_year", '"\\udc00"'),
    "surrogates in the wrong order": body_with("/tax_year", '"\\udc00\\ud800"'),
    "surrogate deep inside": body_with("/person/income", "[" * 900 + '"\\ud800"' + "]" * 900),
    "surrogate in a key": b'{"\\ud800": 1,' + GOOD[1:].encode(),
    "not UTF-8": GOOD.replace("ufpls", "ufpls\x80").encode("latin-1"),
    "overlong UTF-8": GOOD.encode().replace(b"ufpls", b"ufpl\xc1\xb3"),
    "surrogate in UTF-8": GOOD.encode().replace(b"ufpls", b"\xed\xa0\x80"),
    "byte order mark": b"\xef\xbb\xbf" + GOOD.encode(),
    "UTF-16": GOOD.encode("utf-16"),
    "UTF-16 without a mark": GOOD.encode("utf-16-le"),
    "UTF-32": GOOD.encode("utf-32"),
    "60,000 open brackets": b"[" * 60_000,
    "30,000 arrays in one another": b"[" * 30_000 + b"]" * 30_000,
    "10,000 objects in one another": b'{"a":' * 10_000 + b"1" + b"}" * 10_000,
}


@pytest.mark.parametrize("body", UNREADABLE.values(), ids=UNREADABLE.keys())
def test_unreadable_text(client: FlaskClient, body: bytes) -> None:
    # RFC 8259 sections 2 to 9; RFC 7493 section 2.3 for repeated keys.
    problem(post(client, body), 400, "unreadable-json")


NOT_AN_OBJECT = {
    "array": "[]",
    "null": "null",
    "true": "true",
    "number": "0",
    "text": '"2026-27"',
    "array of a good body": f"[{GOOD}]",
}


@pytest.mark.parametrize("text", NOT_AN_OBJECT.values(), ids=NOT_AN_OBJECT.keys())
def test_json_that_is_not_an_object(client: FlaskClient, text: str) -> None:
    assert pointers(problem(post(client, text.encode()), 422, "invalid-request")) == ["#"]


# --------------- values

MONEY_REFUSED = {
    "three decimals": "10.005",
    "a tenth of a penny": "0.001",
    "exponent that leaves less than a penny": "1e-3",
    "exponent far below a penny": "1e-999999999",
    "negative": "-0.01",
    "above the maximum by a penny": "100000000.01",
    "absurdly large": "99999999999999999999",
    "exponent far above the maximum": "1e400",
    "exponent far beyond any sum": "1e999999999",
    "exponent that is itself beyond any sum": "1e9999999999999999999",
    "exponent that is itself far below nought": "1e-9999999999999999999",
    "5,000 digits": "9" * 5_000,
    "5,000 digits and a fraction": "9" * 5_000 + ".5",
    "5,000 decimals": "0." + "0" * 4_999 + "1",
    "a trace beyond 30 decimals": "10." + "0" * 30 + "1",
    "a trace below a round sum": "9." + "9" * 40,
    "text": '"10"',
    "text with a comma": '"1,000"',
    "text with a pound sign": '"\\u00a310"',
    "true": "true",
    "false": "false",
    "array": "[10]",
    "object": '{"amount": 10}',
    "null": "null",
}


@pytest.mark.parametrize("pointer", MONEY)
@pytest.mark.parametrize("text", MONEY_REFUSED.values(), ids=MONEY_REFUSED.keys())
def test_money_refused(client: FlaskClient, pointer: str, text: str) -> None:
    is_refused(client, pointer, text)


# RFC 8259 section 6: all of these are the number 4,000 (or nil), which money may be.
MONEY_ACCEPTED = ["4000", "4000.0", "4000.00", "4000.000000", "4e3", "4E+3", "40000e-1", "400000E-2", "0.4e4"]


@pytest.mark.parametrize("text", MONEY_ACCEPTED)
def test_money_written_in_another_way_is_the_same_money(client: FlaskClient, text: str) -> None:
    reply = post(client, body_with("/withdrawal/amount", text))
    assert reply.status_code == 200
    assert reply.data == post(client, GOOD.encode()).data


def test_minus_nil_is_nil(client: FlaskClient) -> None:
    bodies = [body_with("/person/child_benefit", text) for text in ("0", "-0", "-0.0", "0e5")]
    replies = [post(client, body) for body in bodies]
    assert {reply.status_code for reply in replies} == {200}
    assert len({reply.data for reply in replies}) == 1


@pytest.mark.parametrize("text", ["0.005", "-0.01", "1000.01", "1e999", '"50"', "true", "null"])
def test_percentage_refused(client: FlaskClient, text: str) -> None:
    is_refused(client, "/pension/lifetime_allowance_used_percent", text)


@pytest.mark.parametrize("pointer", WHOLE_NUMBERS)
@pytest.mark.parametrize(
    "text",
    [
        "0",
        "-1",
        "76",
        "8.5",
        "8.00000000000000000000000000000000001",
        "1e9",
        '"8"',
        "true",
        "null",
        "[]",
        "{}",
    ],
)
def test_whole_number_refused(client: FlaskClient, pointer: str, text: str) -> None:
    is_refused(client, pointer, text)


@pytest.mark.parametrize("text", ["8", "8.0", "8.00", "0.8e1"])
def test_whole_number_written_in_another_way_is_the_same_number(client: FlaskClient, text: str) -> None:
    # JSON Schema 2020-12 validation, section 6.1.1: a number with a nil fraction is an integer.
    assert post(client, body_with("/payroll/month", text)).status_code == 200


@pytest.mark.parametrize("pointer", BOOLEANS)
@pytest.mark.parametrize("text", ["0", "1", "0.0", '"true"', '"yes"', '""', "null", "[]", "{}"])
def test_truth_value_refused(client: FlaskClient, pointer: str, text: str) -> None:
    is_refused(client, pointer, text)


DATES_REFUSED = {
    "without hyphens": '"20260401"',
    "week and day": '"2026-W14-3"',
    "week and day without hyphens": '"2026W143"',
    "day of the year": '"2026-091"',
    "month alone": '"2026-04"',
    "trailing newline": '"2026-04-01\\n"',
    "leading space": '" 2026-04-01"',
    "with a time": '"2026-04-01T00:00:00Z"',
    "slashes": '"01/04/2026"',
    "one-digit month": '"2026-4-01"',
    "two-digit year": '"26-04-01"',
    "sign before the year": '"+2026-04-01"',
    "digits of another script": '"\\u0662\\u0660\\u0662\\u0666-\\u0660\\u0664-\\u0660\\u0661"',
    "29 February of a common year": '"2026-02-29"',
    "29 February 1900": '"1900-02-29"',
    "31 April": '"2026-04-31"',
    "month 13": '"2026-13-01"',
    "day nought": '"2026-04-00"',
    "year nought": '"0000-01-01"',
    "null character": '"2026-04-01\\u0000"',
    "nothing": '""',
    "number": "20260401",
    "true": "true",
    "null": "null",
    "array": '["2026-04-01"]',
    "object": '{"year": 2026}',
}


@pytest.mark.parametrize("pointer", DATES)
@pytest.mark.parametrize("text", DATES_REFUSED.values(), ids=DATES_REFUSED.keys())
def test_date_refused(client: FlaskClient, pointer: str, text: str) -> None:
    # RFC 3339 section 5.6, full-date.
    is_refused(client, pointer, text)


def test_birth_on_the_first_day_of_1900_accepted(client: FlaskClient) -> None:
    assert post(client, body_with("/person/date_of_birth", '"1900-01-01"')).status_code == 200


@pytest.mark.parametrize("text", ['"1899-12-31"', '"0001-01-01"'])
def test_birth_before_1900_refused(client: FlaskClient, text: str) -> None:
    is_refused(client, "/person/date_of_birth", text)


WORDS_REFUSED = {
    "nothing": '""',
    "unheard of": '"unheard_of"',
    "beyond the basic plane": '"\\ud83d\\ude00"',
    "null character": '"a\\u0000b"',
    "9,000 letters": f'"{"x" * 9_000}"',
    "number": "0",
    "true": "true",
    "null": "null",
    "array": "[]",
    "object": "{}",
}


@pytest.mark.parametrize("pointer", WORDS)
@pytest.mark.parametrize("text", WORDS_REFUSED.values(), ids=WORDS_REFUSED.keys())
def test_word_refused(client: FlaskClient, pointer: str, text: str) -> None:
    is_refused(client, pointer, text)


@pytest.mark.parametrize("pointer", WORDS)
def test_word_with_a_newline_or_in_capitals_refused(client: FlaskClient, pointer: str) -> None:
    word: Any = FULL
    for part in pointer[1:].split("/"):
        word = word[int(part)] if isinstance(word, list) else word[part]
    # Turning the case changes every word but the tax year, which has no letters.
    for text in {f"{word}\n", f" {word}", word.swapcase()} - {word}:
        is_refused(client, pointer, json.dumps(text))


# PAYE Regulations 2003 (SI 2003/2682) as issued by HMRC: suffix codes, K codes, 0T, BR, D0 and D1 with S or C
# before them, SD2 and SD3 for Scotland, NT.
CODES_REFUSED = [
    "1257",
    "L1257",
    "1257X",
    "1257L M1",
    "1257LX",
    "S1257",
    "SNT",
    "D2",
    "CD2",
    "SD4",
    "0K",
    "1234567L",
]


@pytest.mark.parametrize("code", CODES_REFUSED)
def test_tax_code_refused(client: FlaskClient, code: str) -> None:
    is_refused(client, "/payroll/code", json.dumps(code))


@pytest.mark.parametrize("pointer", OBJECTS)
@pytest.mark.parametrize("text", ["null", "[]", "0", "true", '""', '"england"'])
def test_something_else_where_an_object_is_wanted(client: FlaskClient, pointer: str, text: str) -> None:
    is_refused(client, pointer, text)


@pytest.mark.parametrize("text", ["null", "{}", "0", '"employment"'])
def test_something_else_where_a_list_is_wanted(client: FlaskClient, text: str) -> None:
    is_refused(client, "/person/income", text)


def test_more_incomes_than_the_agreement_allows(client: FlaskClient) -> None:
    income = {"kind": "employment", "amount": 1}
    assert post(client, body_with("/person/income", json.dumps([income] * 50))).status_code == 200
    is_refused(client, "/person/income", json.dumps([income] * 51))


#  keys and pointers


@pytest.mark.parametrize("pointer", OBJECTS_AND_WHOLE, ids=lambda pointer: pointer or "whole body")
def test_unknown_key(client: FlaskClient, pointer: str) -> None:
    is_refused(client, f"{pointer}/favourite_colour", '"green"')


# RFC 6901 section 3 (~0 and ~1) and section 6 (URI fragment: UTF-8, then percent-encoding).
KEYS = {
    "slash": ("a/b", "#/person/a~1b"),
    "tilde": ("m~n", "#/person/m~0n"),
    "tilde and one": ("~1", "#/person/~01"),
    "per cent": ("c%d", "#/person/c%25d"),
    "space": (" ", "#/person/%20"),
    "quote": ('k"l', "#/person/k%22l"),
    "empty": ("", "#/person/"),
    "accented letter": ("\u00e9", "#/person/%C3%A9"),
    "beyond the basic plane": ("\U0001f600", "#/person/%F0%9F%98%80"),
    "hash": ("#", "#/person/%23"),
}


@pytest.mark.parametrize(("key", "pointer"), KEYS.values(), ids=KEYS.keys())
def test_pointer_of_an_odd_key(client: FlaskClient, key: str, pointer: str) -> None:
    whole = copy.deepcopy(FULL)
    whole["person"][key] = 1
    found = problem(post(client, json.dumps(whole).encode()), 422, "invalid-request")
    assert pointers(found) == [pointer]


def test_pointer_counts_from_nought(client: FlaskClient) -> None:
    is_refused(client, "/person/income/1/amount", "-1")


REQUIRED = (
    "/tax_year",
    "/person",
    "/pension",
    "/withdrawal",
    "/person/date_of_birth",
    "/person/tax_residence",
    "/person/income/0/kind",
    "/person/income/0/amount",
    "/pension/uncrystallised",
    "/withdrawal/method",
    "/payroll/code",
    "/payroll/basis",
    "/payroll/month",
)


@pytest.mark.parametrize("pointer", REQUIRED)
def test_missing_key(client: FlaskClient, pointer: str) -> None:
    whole = copy.deepcopy(FULL)
    *parents, last = pointer[1:].split("/")
    here: Any = whole
    for part in parents:
        here = here[int(part)] if isinstance(here, list) else here[part]
    del here[last]
    found = problem(post(client, json.dumps(whole).encode()), 422, "invalid-request")
    assert pointers(found) == [f"#{pointer}"]


def test_all_faults_are_told_at_once(client: FlaskClient) -> None:
    body = b"""{
        "tax_year": "2026/27",
        "person": {
            "date_of_birth": "1966-02-30",
            "income": [{"kind": "gifts", "amount": -1}, {"amount": "1"}]
        },
        "pension": {"uncrystallised": 1.005, "flexibly_accessed": 1},
        "withdrawal": {"method": "ufpls", "amount": true},
        "payroll": {"code": "1257l", "basis": "weekly", "month": 13},
        "colour": 1
    }"""
    found = problem(post(client, body), 422, "invalid-request")
    assert sorted(pointers(found)) == [
        "#/colour",
        "#/payroll/basis",
        "#/payroll/code",
        "#/payroll/month",
        "#/pension/flexibly_accessed",
        "#/pension/uncrystallised",
        "#/person/date_of_birth",
        "#/person/income/0/amount",
        "#/person/income/0/kind",
        "#/person/income/1/amount",
        "#/person/income/1/kind",
        "#/person/tax_residence",
        "#/tax_year",
        "#/withdrawal/amount",
    ]


@pytest.mark.parametrize(
    "withdrawal",
    [{"method": "ufpls"}, {"method": "ufpls", "amount": 4000, "net_wanted": 3000}],
    ids=["neither amount nor net", "both amount and net"],
)
def test_amount_and_net_wanted_exclude_each_other(client: FlaskClient, withdrawal: dict[str, Any]) -> None:
    problem(post(client, body_with("/withdrawal", json.dumps(withdrawal))), 422, "rule-violation")


def test_more_than_the_pot_says_what_would_be_permitted(client: FlaskClient) -> None:
    found = problem(post(client, body_with("/withdrawal/amount", "400000.01")), 422, "rule-violation")
    assert found["permitted"] == 400_000
    assert pointers(found) == ["#/withdrawal/amount"]


#  query

QUERIES = {
    "unknown word": "include=steps",
    "unknown word beside a known one": "include=working,steps",
    "capitals": "include=Working",
    "empty": "include=",
    "empty between commas": "include=working,,curve",
    "space after the comma": "include=working,%20curve",
    "given twice": "include=working&include=curve",
    "same word twice": "include=working,working",
    "unknown parameter": "colour=green",
    "parameter without a value": "working",
    "name in capitals": "Include=working",
    "newline": "include=working%0A",
    "null character": "include=working%00",
    "not UTF-8": "include=%FF",
}


@pytest.mark.parametrize("query", QUERIES.values(), ids=QUERIES.keys())
def test_query_refused(client: FlaskClient, query: str) -> None:
    found = problem(post(client, GOOD.encode(), query_string=query), 422, "invalid-request")
    assert pointers(found) == ["#"]


WITHOUT_QUERY = ["/v1/tax-years", "/v1/tax-years/2026-27", "/openapi.yaml", "/health/live", "/health/ready"]


@pytest.mark.parametrize("path", WITHOUT_QUERY)
def test_query_refused_where_none_is_accepted(client: FlaskClient, path: str) -> None:
    problem(client.get(path, query_string="status=enacted"), 422, "invalid-request")


# -------------------------------------------------- HTTP

OTHER_TYPES = [
    None,
    "",
    "text/plain",
    "application/x-www-form-urlencoded",
    "multipart/form-data; boundary=x",
    "application/xml",
    "application/x-ndjson",
    "application/problem+json",
    "text/json",
    "application/jsonx",
    "json",
]


@pytest.mark.parametrize("content_type", OTHER_TYPES, ids=lambda found: repr(found))
def test_other_content_type(client: FlaskClient, content_type: str | None) -> None:
    # RFC 9110 section 15.5.16.
    problem(client.post(URL, data=GOOD.encode(), content_type=content_type), 415, "unsupported-media-type")


JSON_TYPES = ["application/json; charset=utf-8", "Application/JSON", "application/json ;a=b"]


@pytest.mark.parametrize("content_type", JSON_TYPES)
def test_content_type_written_in_another_way(client: FlaskClient, content_type: str) -> None:
    # RFC 9110 section 8.3.1: type names know no capitals, parameters may follow.
    assert post(client, GOOD.encode(), content_type=content_type).status_code == 200


def test_body_over_the_limit(client: FlaskClient) -> None:
    # RFC 9110 section 15.5.14. White space around JSON text counts towards the length.
    limit = int(client.application.config["MAX_CONTENT_LENGTH"])
    at_the_limit = GOOD.encode() + b" " * (limit - len(GOOD))
    assert post(client, at_the_limit).status_code == 200
    problem(post(client, at_the_limit + b" "), 413, "body-too-large")


def test_body_over_the_limit_without_a_length(client: FlaskClient) -> None:
    limit = int(client.application.config["MAX_CONTENT_LENGTH"])
    stream = BytesIO(GOOD.encode() + b" " * limit)
    reply = client.post(
        URL,
        input_stream=stream,
        content_type="application/json",
        headers={"Transfer-Encoding": "chunked"},
        environ_overrides={"wsgi.input_terminated": True},
    )
    problem(reply, 413, "body-too-large")


def test_100000_open_brackets(client: FlaskClient) -> None:
    reply = post(client, b"[" * 100_000)
    problem(reply, 413, "body-too-large")


KNOWN_METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
WRONG_METHODS = [
    (path, method)
    for path in dict.fromkeys(operation.path for operation in operations())
    for method in KNOWN_METHODS
    if method not in {operation.method for operation in operations() if operation.path == path}
]


@pytest.mark.parametrize(("path", "method"), WRONG_METHODS)
def test_method_not_allowed(client: FlaskClient, path: str, method: str) -> None:
    # RFC 9110 section 15.5.6: the reply must carry Allow.
    reply = client.open(path.format(tax_year="2026-27", asset="swagger-ui.css"), method=method)
    problem(reply, 405, "method-not-allowed")
    agreed = {operation.method for operation in operations() if operation.path == path}
    assert agreed <= set(reply.headers["Allow"].replace(" ", "").split(",")) <= agreed | {"HEAD", "OPTIONS"}


UNKNOWN_PATHS = [
    "/nothing",
    "/v1",
    "/v1/",
    "/v2/withdrawal-tax",
    "/v1/withdrawal-tax/",
    "/v1/Withdrawal-Tax",
    "/v1//tax-years",
    "/v1/tax-years/",
    "/v1/tax-years//2026-27",
    "/v1/tax-years/2026-27/",
    "/v1/tax-years/2026-27/figures",
    "/v1/tax-years/2018-19",
    "/v1/tax-years/2031-32",
    "/v1/tax-years/2026-28",
    "/v1/tax-years/2026-2027",
    "/v1/tax-years/2026%2F27",
    "/v1/tax-years/2026-27%0A",
    "/v1/tax-years/%00",
    "/v1/tax-years/%FF",
    "/v1/tax-years/%EF%BC%92026-27",
    "/v1/tax-years/..%2F..%2Fpyproject",
    "/v1/tax-years/" + "9" * 5_000,
    "/docs/",
    "/docs/nothing.css",
    "/docs/..%2F..%2Fpyproject.toml",
    "/docs/../__init__.py",
    "/problems/invalid-request/more",
    "/health",
]


@pytest.mark.parametrize("path", UNKNOWN_PATHS, ids=lambda path: path[:40])
def test_unknown_path(client: FlaskClient, path: str) -> None:
    problem(client.get(path), 404, "not-found")


@pytest.mark.parametrize("accept", ["text/csv", "application/xml", "application/json;q=0", "image/*"])
def test_nothing_acceptable(client: FlaskClient, accept: str) -> None:
    # RFC 9110 section 12.5.1.
    problem(client.get("/v1/tax-years", headers={"Accept": accept}), 406, "not-acceptable")
    problem(post(client, GOOD.encode(), headers={"Accept": accept}), 406, "not-acceptable")


ACCEPTS = [
    "*/*",
    "application/json",
    "application/*",
    "text/html, */*;q=0.1",
    "application/json;q=0.5, text/csv",
]


@pytest.mark.parametrize("accept", ACCEPTS)
def test_json_is_acceptable(client: FlaskClient, accept: str) -> None:
    assert client.get("/v1/tax-years", headers={"Accept": accept}).status_code == 200


def test_no_accept_header_accepts_anything(client: FlaskClient) -> None:
    assert client.get("/v1/tax-years").status_code == 200


def test_problem_repeats_nothing_of_a_long_body(client: FlaskClient) -> None:
    reply = post(client, body_with("/tax_year", json.dumps("Q" * 9_000)))
    assert reply.status_code == 422
    assert b"Q" * 200 not in reply.data
