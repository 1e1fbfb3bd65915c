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

from tests.bodies import leaves_of, text_with, value_at

from .agreement import PROBLEM_JSON, component, operations, validator
from .full_bodies import PLAN, QUESTIONS, TIMING, WARNINGS, WITHDRAWAL, Question

PROBLEM = validator(component("Problem"))
PERSON = WITHDRAWAL.full["household"]["people"][0]

each_question = pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.url)


def name_of(parameter: Any) -> str:
    """Return how a test names a parameter: a question by its path, a pointer by itself, anything else not at all."""
    if isinstance(parameter, Question):
        return parameter.url
    return parameter if isinstance(parameter, str) else ""


def each_of(kind: str) -> pytest.MarkDecorator:
    """Parametrize a test with every pointer of a kind, in every question."""
    found = [
        pytest.param(question, pointer, id=f"{question.url}#{pointer}")
        for question in QUESTIONS
        for pointer in getattr(question, kind)
    ]
    return pytest.mark.parametrize(("question", "pointer"), found)


def good(question: Question) -> str:
    """Return the full body as JSON text."""
    return json.dumps(question.full)


def body_with(question: Question, pointer: str, text: str | None) -> bytes:
    """Return the full body as JSON text with the given JSON text at a pointer: set, added or (None) left out."""
    return text_with(question.full, pointer, text)


def post(client: FlaskClient, question: Question, body: bytes, **more: Any) -> TestResponse:
    return client.post(question.url, data=body, **{"content_type": "application/json", **more})


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


def is_refused(client: FlaskClient, question: Question, pointer: str, text: str | None) -> None:
    """Check that the full body with this JSON text at this place is refused, and for that place alone."""
    found = problem(post(client, question, body_with(question, pointer, text)), 422, "invalid-request")
    assert pointers(found) == [f"#{pointer}"], str(text)[:60]


@each_question
def test_the_body_that_all_bad_bodies_are_made_from_is_good(client: FlaskClient, question: Question) -> None:
    assert post(client, question, good(question).encode()).status_code == 200
    lists = (question.money, question.dates, question.booleans, question.words, question.whole_numbers)
    listed = {pointer for pointers in (*lists, question.rates, question.growth_rates) for pointer in pointers}
    assert leaves_of(question.full) == listed | set(question.elsewhere)


def test_every_operation_with_a_body_is_asked_badly() -> None:
    with_body = {operation.path for operation in operations() if operation.takes_json}
    assert with_body == {question.url for question in QUESTIONS}


#  unreadable text


def unreadable(question: Question) -> dict[str, bytes]:
    """Return texts that are not JSON, or not JSON that means one thing, by what is wrong with them."""
    text = good(question)
    amount, word, boolean = question.money[0], question.words[0], question.booleans[0]
    inside, holder = question.objects[-1], question.objects[0]
    return {
        "empty": b"",
        "white space only": b" \r\n\t ",
        "cut short": text[:-1].encode(),
        "text after the end": text.encode() + b"{}",
        "trailing comma": text[:-1].encode() + b",}",
        "single quotes": text.replace('"', "'").encode(),
        "comment": b"/* */" + text.encode(),
        "bare word": b"none",
        "leading zero": body_with(question, amount, "04000"),
        "plus sign": body_with(question, amount, "+4000"),
        "point without a digit before": body_with(question, amount, ".5"),
        "point without a digit after": body_with(question, amount, "5."),
        "hexadecimal": body_with(question, amount, "0xFA0"),
        "underscore in a number": body_with(question, amount, "4_000"),
        "not a number": body_with(question, amount, "NaN"),
        "infinity": body_with(question, amount, "Infinity"),
        "minus infinity": body_with(question, amount, "-Infinity"),
        "capital true": body_with(question, boolean, "True"),
        "raw control character in text": body_with(question, word, '"2026-27\n"'),
        "unknown escape": body_with(question, word, '"2026\\x2d27"'),
        "repeated key": text.encode()[:-1] + b"," + text.encode()[1:],
        "repeated key inside": body_with(question, inside, '{"amount": 1, "amount": 2}'),
        "repeated key written with an escape": body_with(question, inside, '{"amount": 1, "\\u0061mount": 2}'),
        "high surrogate alone": body_with(question, word, '"\\ud800"'),
        "low surrogate alone": body_with(question, word, '"\\udc00"'),
        "surrogates in the wrong order": body_with(question, word, '"\\udc00\\ud800"'),
        "surrogate deep inside": body_with(question, holder, "[" * 900 + '"\\ud800"' + "]" * 900),
        "surrogate in a key": b'{"\\ud800": 1,' + text[1:].encode(),
        "not UTF-8": text.replace("england", "england\x80").encode("latin-1"),
        "overlong UTF-8": text.encode().replace(b"england", b"englan\xc1\xa4"),
        "surrogate in UTF-8": text.encode().replace(b"england", b"\xed\xa0\x80"),
        "UTF-16": text.encode("utf-16"),
        "UTF-16 without a mark": text.encode("utf-16-le"),
        "UTF-32": text.encode("utf-32"),
        "60,000 open brackets": b"[" * 60_000,
        "30,000 arrays in one another": b"[" * 30_000 + b"]" * 30_000,
        "10,000 objects in one another": b'{"a":' * 10_000 + b"1" + b"}" * 10_000,
    }


UNREADABLE = [
    pytest.param(question, body, id=f"{question.url} {what}")
    for question in QUESTIONS
    for what, body in unreadable(question).items()
]


@pytest.mark.parametrize(("question", "body"), UNREADABLE)
def test_unreadable_text(client: FlaskClient, question: Question, body: bytes) -> None:
    # RFC 8259 sections 2 to 9; RFC 7493 section 2.3 for repeated keys.
    problem(post(client, question, body), 400, "unreadable-json")


@each_question
def test_byte_order_mark_is_no_part_of_the_text(client: FlaskClient, question: Question) -> None:
    # RFC 8259 section 8.1.
    text = good(question).encode()
    assert post(client, question, b"\xef\xbb\xbf" + text).data == post(client, question, text).data
    problem(post(client, question, b"\xef\xbb\xbf\xef\xbb\xbf" + text), 400, "unreadable-json")


NOT_AN_OBJECT = {
    "array": "[]",
    "null": "null",
    "true": "true",
    "number": "0",
    "text": '"2026-27"',
    "array of an object": "[{}]",
}


@each_question
@pytest.mark.parametrize("text", NOT_AN_OBJECT.values(), ids=NOT_AN_OBJECT.keys())
def test_json_that_is_not_an_object(client: FlaskClient, question: Question, text: str) -> None:
    assert pointers(problem(post(client, question, text.encode()), 422, "invalid-request")) == ["#"]


@each_question
def test_good_body_inside_an_array(client: FlaskClient, question: Question) -> None:
    found = problem(post(client, question, f"[{good(question)}]".encode()), 422, "invalid-request")
    assert pointers(found) == ["#"]


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


@each_of("money")
@pytest.mark.parametrize("text", MONEY_REFUSED.values(), ids=MONEY_REFUSED.keys())
def test_money_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    is_refused(client, question, pointer, text)


# RFC 8259 section 6: all of these are the number 4,000 (or nil), which money may be.
MONEY_ACCEPTED = ["4000", "4000.0", "4000.00", "4000.000000", "4e3", "4E+3", "40000e-1", "400000E-2", "0.4e4"]


@each_question
@pytest.mark.parametrize("text", MONEY_ACCEPTED)
def test_money_written_in_another_way_is_the_same_money(client: FlaskClient, question: Question, text: str) -> None:
    reply = post(client, question, body_with(question, "/household/people/0/isa/value", text))
    assert reply.status_code == 200
    assert reply.data == post(client, question, good(question).encode()).data


@each_question
def test_minus_nil_is_nil(client: FlaskClient, question: Question) -> None:
    [pointer] = [pointer for pointer in question.money if pointer.endswith("/child_benefit")]
    bodies = [body_with(question, pointer, text) for text in ("0", "-0", "-0.0", "0e5")]
    replies = [post(client, question, body) for body in bodies]
    assert {reply.status_code for reply in replies} == {200}
    assert len({reply.data for reply in replies}) == 1


RATES_REFUSED = {
    "five decimals": "0.00005",
    "a trace beyond 30 decimals": "0." + "0" * 30 + "1",
    "exponent that leaves less than a ten-thousandth": "1e-5",
    "exponent far below that": "1e-999999999",
    "below every least rate": "-0.1001",
    "above every largest rate": "2.0001",
    "a percentage": "4",
    "exponent far above": "1e400",
    "5,000 digits": "9" * 5_000,
    "text": '"0.1"',
    "text with a percent sign": '"10%"',
    "true": "true",
    "array": "[0.1]",
    "object": '{"rate": 0.1}',
    "null": "null",
}


@each_of("rates")
@pytest.mark.parametrize("text", RATES_REFUSED.values(), ids=RATES_REFUSED.keys())
def test_rate_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    is_refused(client, question, pointer, text)


# A rate of growth may be finer, because that at which two options change places is.
FINER = ("five decimals", "exponent that leaves less than a ten-thousandth")
GROWTH_RATES_REFUSED = {
    **{what: text for what, text in RATES_REFUSED.items() if what not in FINER},
    "nine decimals": "0.000000005",
    "exponent that leaves less than a hundred-millionth": "1e-9",
    "below the least by a hundred-millionth": "-0.10000001",
    "above the largest by a hundred-millionth": "0.20000001",
}


@each_of("growth_rates")
@pytest.mark.parametrize("text", GROWTH_RATES_REFUSED.values(), ids=GROWTH_RATES_REFUSED.keys())
def test_growth_rate_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    is_refused(client, question, pointer, text)


@each_of("growth_rates")
@pytest.mark.parametrize("text", [*(RATES_REFUSED[what] for what in FINER), "0.04123456", "1e-8", "-0.1", "0.2"])
def test_growth_rate_accepted(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    assert post(client, question, body_with(question, pointer, text)).status_code == 200


@pytest.mark.parametrize("question", [PLAN, TIMING], ids=lambda question: question.url)
@pytest.mark.parametrize("text", ["0.04", "0.0400", "0.040000000", "4e-2", "0.4E-1"])
def test_rate_written_in_another_way_is_the_same_rate(client: FlaskClient, question: Question, text: str) -> None:
    reply = post(client, question, body_with(question, "/assumptions/pension_growth", text))
    assert reply.status_code == 200
    assert reply.data == post(client, question, good(question).encode()).data


@each_of("whole_numbers")
@pytest.mark.parametrize(
    "text",
    [
        "-1",
        "121",
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
def test_whole_number_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    is_refused(client, question, pointer, text)


@each_of("whole_numbers")
def test_nought_is_the_first_place_and_otherwise_refused(client: FlaskClient, question: Question, pointer: str) -> None:
    if pointer.endswith(("/person", "/contributions/0/pension")):
        assert post(client, question, body_with(question, pointer, "0")).status_code == 200
    else:
        is_refused(client, question, pointer, "0")


@pytest.mark.parametrize(
    ("question", "pointer", "largest"),
    [
        (WITHDRAWAL, "/payroll/month", 12),
        *((question, "/household/people/0/pensions/0/protected_pension_age", 75) for question in QUESTIONS),
        *((question, "/household/people/0/circumstances/small_pots_taken", 50) for question in QUESTIONS),
        *((question, "/household/people/0/circumstances/children", 30) for question in QUESTIONS),
        *((question, "/household/estate/lifetime_gifts/0/person", 1) for question in QUESTIONS),
        (WARNINGS, "/isa_subscriptions/0/person", 1),
        (TIMING, "/options/0/age", 120),
    ],
    ids=name_of,
)
def test_largest_whole_number(client: FlaskClient, question: Question, pointer: str, largest: int) -> None:
    assert post(client, question, body_with(question, pointer, str(largest))).status_code == 200
    is_refused(client, question, pointer, str(largest + 1))


@pytest.mark.parametrize("text", ["8", "8.0", "8.00", "0.8e1"])
def test_whole_number_written_in_another_way_is_the_same_number(client: FlaskClient, text: str) -> None:
    # JSON Schema 2020-12 validation, section 6.1.1: a number with a nil fraction is an integer.
    assert post(client, WITHDRAWAL, body_with(WITHDRAWAL, "/payroll/month", text)).status_code == 200


@each_of("booleans")
@pytest.mark.parametrize("text", ["0", "1", "0.0", '"true"', '"yes"', '""', "null", "[]", "{}"])
def test_truth_value_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    is_refused(client, question, pointer, text)


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


@each_of("dates")
@pytest.mark.parametrize("text", DATES_REFUSED.values(), ids=DATES_REFUSED.keys())
def test_date_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    # RFC 3339 section 5.6, full-date.
    is_refused(client, question, pointer, text)


def test_birth_on_the_first_day_of_1900_accepted(client: FlaskClient) -> None:
    body = body_with(WITHDRAWAL, "/household/people/0/date_of_birth", '"1900-01-01"')
    assert post(client, WITHDRAWAL, body).status_code == 200
    # In a plan a share of the State Pension is asked for, which for that birth is one of the basic pension.
    assert post(client, PLAN, body_with(PLAN, "/household/people/0/date_of_birth", '"1900-01-01"')).status_code == 200


@each_of("dates")
@pytest.mark.parametrize("text", ['"1899-12-31"', '"0001-01-01"'])
def test_day_before_1900_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    is_refused(client, question, pointer, text)


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


@each_of("words")
@pytest.mark.parametrize("text", WORDS_REFUSED.values(), ids=WORDS_REFUSED.keys())
def test_word_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    is_refused(client, question, pointer, text)


@each_of("words")
def test_word_with_a_newline_or_in_capitals_refused(client: FlaskClient, question: Question, pointer: str) -> None:
    word = value_at(question.full, pointer)
    # Turning the case changes every word but the tax year, which has no letters.
    for text in {f"{word}\n", f" {word}", word.swapcase()} - {word}:
        is_refused(client, question, pointer, json.dumps(text))


NAMES_REFUSED = {
    "nothing": '""',
    "a space": '" "',
    "space before": '" Wren"',
    "space behind": '"Wren "',
    "trailing newline": '"Wren\\n"',
    "two lines": '"Wren\\nWren"',
    "tab": '"Wren\\tWren"',
    "null character": '"Wren\\u0000"',
    "line separator": '"Wren\\u2028Wren"',
    "turned direction": '"\\u202eWren"',
    "space of no width": '"Wren\\u200b"',
    "byte order mark": '"\\ufeffWren"',
    "61 letters": f'"{"x" * 61}"',
    "9,000 letters": f'"{"x" * 9_000}"',
    "number": "7",
    "true": "true",
    "null": "null",
    "list": '["Wren"]',
}
NAMES_ACCEPTED = ["W", "x" * 60, "Wren O'Hara-Ni\u0301", "\u674e", "\U0001f600", "old works scheme (2), 50%"]
NAMES = ("/household/people/0/name", "/household/people/0/pensions/0/name")


@each_question
@pytest.mark.parametrize("pointer", NAMES)
@pytest.mark.parametrize("text", NAMES_REFUSED.values(), ids=NAMES_REFUSED.keys())
def test_name_refused(client: FlaskClient, question: Question, pointer: str, text: str) -> None:
    is_refused(client, question, pointer, text)


@each_question
@pytest.mark.parametrize("pointer", NAMES)
@pytest.mark.parametrize("name", NAMES_ACCEPTED, ids=ascii)
def test_name_accepted(client: FlaskClient, question: Question, pointer: str, name: str) -> None:
    assert post(client, question, body_with(question, pointer, json.dumps(name))).status_code == 200


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
    is_refused(client, WITHDRAWAL, "/payroll/code", json.dumps(code))


@each_of("objects")
@pytest.mark.parametrize("text", ["null", "[]", "0", "true", '""', '"england"'])
def test_something_else_where_an_object_is_wanted(
    client: FlaskClient, question: Question, pointer: str, text: str
) -> None:
    is_refused(client, question, pointer, text)


@each_of("lists")
@pytest.mark.parametrize("text", ["null", "{}", "0", '"employment"'])
def test_something_else_where_a_list_is_wanted(
    client: FlaskClient, question: Question, pointer: str, text: str
) -> None:
    is_refused(client, question, pointer, text)


@pytest.mark.parametrize(
    ("question", "pointer", "item", "most"),
    [
        *(
            (question, pointer, item, most)
            for question in QUESTIONS
            for pointer, item, most in (
                ("/household/people", PERSON, 2),
                ("/household/people/0/income", {"kind": "employment", "amount": 1}, 50),
                ("/household/people/0/contributions", {"yearly": 1, "payer": "employer"}, 100),
                ("/household/people/0/pensions", WITHDRAWAL.full["household"]["people"][0]["pensions"][0], 20),
                ("/household/spending", {"amount": 1}, 50),
                ("/household/estate/lifetime_gifts", {"date": "2025-12-01", "amount": 1, "person": 0}, 50),
            )
        ),
        (TIMING, "/options", {"lump_sums": "never"}, 10),
        (TIMING, "/deaths", {"person": 0, "age": 61}, 10),
        (
            WARNINGS,
            "/withdrawals",
            {"person": 0, "pension": 0, "method": "ufpls", "amount": 1, "date": "2026-12-01"},
            100,
        ),
        (WARNINGS, "/isa_subscriptions", {"person": 0, "amount": 1, "date": "2026-12-01"}, 100),
    ],
    ids=name_of,
)
def test_more_items_than_the_agreement_allows(
    client: FlaskClient, question: Question, pointer: str, item: dict[str, Any], most: int
) -> None:
    assert post(client, question, body_with(question, pointer, json.dumps([item] * most))).status_code == 200
    is_refused(client, question, pointer, json.dumps([item] * (most + 1)))


@pytest.mark.parametrize(
    ("question", "pointer"),
    [*((question, "/household/people") for question in QUESTIONS), (TIMING, "/options")],
    ids=name_of,
)
def test_nobody_and_nothing_to_compare(client: FlaskClient, question: Question, pointer: str) -> None:
    is_refused(client, question, pointer, "[]")


#  keys and pointers


@each_of("objects")
def test_unknown_key(client: FlaskClient, question: Question, pointer: str) -> None:
    is_refused(client, question, f"{pointer}/favourite_colour", '"green"')


@each_question
def test_unknown_key_of_the_whole_body(client: FlaskClient, question: Question) -> None:
    is_refused(client, question, "/favourite_colour", '"green"')


def test_unknown_keys_are_told_last_and_in_the_same_order_by_every_worker(client: FlaskClient) -> None:
    """Nine of them, so that an order that hangs on a worker's hashes would hardly be that of the alphabet by chance."""
    person = {**dict.fromkeys("hbfacigde", 1), "date_of_birth": 7}
    reply = client.post("/v1/withdrawal-tax", json={"household": {"people": [person]}, "z": 1, "tax_year": 7, "y": 1})
    pointers = [fault["pointer"] for fault in reply.get_json()["errors"]]
    in_person = [pointer for pointer in pointers if pointer.startswith("#/household/people/0/")]
    assert in_person[-9:] == [f"#/household/people/0/{key}" for key in "abcdefghi"]
    assert set(in_person[:-9]) == {"#/household/people/0/date_of_birth", "#/household/people/0/tax_residence"}
    assert pointers[-2:] == ["#/y", "#/z"]


# RFC 6901 section 3 (~0 and ~1) and section 6 (URI fragment: UTF-8, then percent-encoding).
KEYS = {
    "slash": ("a/b", "#/household/people/0/a~1b"),
    "tilde": ("m~n", "#/household/people/0/m~0n"),
    "tilde and one": ("~1", "#/household/people/0/~01"),
    "per cent": ("c%d", "#/household/people/0/c%25d"),
    "space": (" ", "#/household/people/0/%20"),
    "quote": ('k"l', "#/household/people/0/k%22l"),
    "empty": ("", "#/household/people/0/"),
    "accented letter": ("\u00e9", "#/household/people/0/%C3%A9"),
    "beyond the basic plane": ("\U0001f600", "#/household/people/0/%F0%9F%98%80"),
    "hash": ("#", "#/household/people/0/%23"),
}


@pytest.mark.parametrize(("key", "pointer"), KEYS.values(), ids=KEYS.keys())
def test_pointer_of_an_odd_key(client: FlaskClient, key: str, pointer: str) -> None:
    whole = copy.deepcopy(WITHDRAWAL.full)
    whole["household"]["people"][0][key] = 1
    found = problem(post(client, WITHDRAWAL, json.dumps(whole).encode()), 422, "invalid-request")
    assert pointers(found) == [pointer]


def test_pointer_counts_from_nought(client: FlaskClient) -> None:
    is_refused(client, WITHDRAWAL, "/household/people/0/income/1/share_of_full_rate", "-1")


@each_of("required")
def test_missing_key(client: FlaskClient, question: Question, pointer: str) -> None:
    is_refused(client, question, pointer, None)


def test_all_faults_are_told_at_once(client: FlaskClient) -> None:
    body = b"""{
        "household": {
            "people": [
                {
                    "date_of_birth": "1966-02-30",
                    "income": [{"kind": "gifts", "amount": -1}, {"amount": "1"}],
                    "contributions": [{"yearly": 1}, {"amount": 1, "payer": "employer", "relief": "none"}],
                    "pensions": [{"uncrystallised": 1.005}, {}],
                    "flexibly_accessed": 1
                }
            ]
        },
        "tax_year": "2026/27",
        "withdrawal": {"method": "ufpls", "amount": true},
        "payroll": {"code": "1257l", "basis": "weekly", "month": 13},
        "colour": 1
    }"""
    found = problem(post(client, WITHDRAWAL, body), 422, "invalid-request")
    assert sorted(pointers(found)) == [
        "#/colour",
        "#/household/people/0/contributions/0/relief",
        "#/household/people/0/contributions/1/date",
        "#/household/people/0/contributions/1/relief",
        "#/household/people/0/date_of_birth",
        "#/household/people/0/flexibly_accessed",
        "#/household/people/0/income/0/amount",
        "#/household/people/0/income/0/kind",
        "#/household/people/0/income/1/amount",
        "#/household/people/0/income/1/kind",
        "#/household/people/0/pensions/0/uncrystallised",
        "#/household/people/0/pensions/1/uncrystallised",
        "#/household/people/0/tax_residence",
        "#/payroll/basis",
        "#/payroll/code",
        "#/payroll/month",
        "#/tax_year",
        "#/withdrawal/amount",
    ]


@pytest.mark.parametrize(
    "withdrawal",
    [{"method": "ufpls"}, {"method": "ufpls", "amount": 4000, "net_wanted": 3000}],
    ids=["neither amount nor net", "both amount and net"],
)
def test_amount_and_net_wanted_exclude_each_other(client: FlaskClient, withdrawal: dict[str, Any]) -> None:
    body = body_with(WITHDRAWAL, "/withdrawal", json.dumps(withdrawal))
    assert pointers(problem(post(client, WITHDRAWAL, body), 422, "invalid-request")) == ["#/withdrawal"]


@pytest.mark.parametrize(
    "income",
    [{"kind": "state_pension"}, {"kind": "state_pension", "amount": 4000, "share_of_full_rate": 1}],
    ids=["neither amount nor share", "both amount and share"],
)
def test_amount_and_share_exclude_each_other(client: FlaskClient, income: dict[str, Any]) -> None:
    body = body_with(PLAN, "/household/people/0/income/0", json.dumps(income))
    assert pointers(problem(post(client, PLAN, body), 422, "invalid-request")) == ["#/household/people/0/income/0"]


def test_all_rules_that_a_plan_breaks_are_told_at_once(client: FlaskClient) -> None:
    whole = copy.deepcopy(PLAN.full)
    whole["end_date"] = "2126-04-05"
    whole["household"]["people"][0]["income"][0].update({"from": "2027-01-02", "to": "2027-01-01"})
    whole["household"]["spending"][0]["to"] = "2027-04-05"
    found = problem(post(client, PLAN, json.dumps(whole).encode()), 422, "invalid-request")
    assert sorted(pointers(found)) == [
        "#/end_date",
        "#/household/people/0/income/0/to",
        "#/household/spending/0/to",
    ]


def test_spending_that_cannot_be_met_names_the_tax_year(client: FlaskClient) -> None:
    found = problem(
        post(client, PLAN, body_with(PLAN, "/household/spending/0/amount", "100000000")), 422, "rule-violation"
    )
    assert pointers(found) == ["#/household/spending"]
    assert "2027-28" in found["detail"]


def test_more_than_the_pot_says_what_would_be_permitted(client: FlaskClient) -> None:
    body = body_with(WITHDRAWAL, "/withdrawal/amount", "400000.01")
    found = problem(post(client, WITHDRAWAL, body), 422, "rule-violation")
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
    "same word twice": "include=working,working",
    "same word twice, apart": "include=working&include=working",
    "empty beside a known one": "include=working&include=",
    "unknown parameter": "colour=green",
    "parameter without a value": "working",
    "name in capitals": "Include=working",
    "newline": "include=working%0A",
    "null character": "include=working%00",
    "not UTF-8": "include=%FF",
}


@pytest.mark.parametrize("query", QUERIES.values(), ids=QUERIES.keys())
def test_query_refused(client: FlaskClient, query: str) -> None:
    found = problem(post(client, WITHDRAWAL, good(WITHDRAWAL).encode(), query_string=query), 422, "invalid-request")
    assert pointers(found) == ["#"]


@pytest.mark.parametrize("question", [PLAN, TIMING], ids=lambda question: question.url)
@pytest.mark.parametrize("query", ["include=working", "include=curve", "colour=green", "include", "a=%FF"])
def test_query_refused_where_a_body_says_all(client: FlaskClient, question: Question, query: str) -> None:
    found = problem(post(client, question, good(question).encode(), query_string=query), 422, "invalid-request")
    assert pointers(found) == ["#"]


WITHOUT_QUERY = [
    "/v1/warning-codes",
    "/v1/tax-years",
    "/v1/tax-years/2026-27",
    "/openapi.yaml",
]


@pytest.mark.parametrize("path", WITHOUT_QUERY)
def test_query_refused_where_none_is_accepted(client: FlaskClient, path: str) -> None:
    problem(client.get(path, query_string="status=enacted"), 422, "invalid-request")


@pytest.mark.parametrize("path", ["/health/live", "/health/ready"])
def test_health_checks_pass_over_what_probes_add(client: FlaskClient, path: str) -> None:
    assert client.get(path, query_string="probe=1&_=%FF").get_json() == client.get(path).get_json()
    assert client.get(path, query_string="probe=1").status_code == 200


@pytest.mark.parametrize("path", ["//health/live", "///health/live", "//v1/tax-years", "/health//live", "//"])
def test_a_doubled_slash_is_another_path(client: FlaskClient, path: str) -> None:
    problem(client.open(environ_overrides={"PATH_INFO": path}), 404, "not-found")


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


@each_question
@pytest.mark.parametrize("content_type", OTHER_TYPES, ids=lambda found: repr(found))
def test_other_content_type(client: FlaskClient, question: Question, content_type: str | None) -> None:
    # RFC 9110 section 15.5.16.
    reply = post(client, question, good(question).encode(), content_type=content_type)
    problem(reply, 415, "unsupported-media-type")


JSON_TYPES = ["application/json; charset=utf-8", "Application/JSON", "application/json ;a=b"]


@each_question
@pytest.mark.parametrize("content_type", JSON_TYPES)
def test_content_type_written_in_another_way(client: FlaskClient, question: Question, content_type: str) -> None:
    # RFC 9110 section 8.3.1: type names know no capitals, parameters may follow.
    assert post(client, question, good(question).encode(), content_type=content_type).status_code == 200


@each_question
def test_body_over_the_limit(client: FlaskClient, question: Question) -> None:
    # RFC 9110 section 15.5.14. White space around JSON text counts towards the length.
    limit = int(client.application.config["MAX_CONTENT_LENGTH"])
    text = good(question)
    at_the_limit = text.encode() + b" " * (limit - len(text))
    assert post(client, question, at_the_limit).status_code == 200
    problem(post(client, question, at_the_limit + b" "), 413, "body-too-large")


@each_question
def test_body_over_the_limit_without_a_length(client: FlaskClient, question: Question) -> None:
    limit = int(client.application.config["MAX_CONTENT_LENGTH"])
    stream = BytesIO(good(question).encode() + b" " * limit)
    reply = client.post(
        question.url,
        input_stream=stream,
        content_type="application/json",
        headers={"Transfer-Encoding": "chunked"},
        environ_overrides={"wsgi.input_terminated": True},
    )
    problem(reply, 413, "body-too-large")


@each_question
def test_100000_open_brackets(client: FlaskClient, question: Question) -> None:
    reply = post(client, question, b"[" * 100_000)
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
    given = {"tax_year": "2026-27", "asset": "swagger-ui.css", "operation": "withdrawal-tax", "code": "busy"}
    reply = client.open(path.format(**given), method=method)
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
    "/v2/allowance-schedule",
    "/v1/bulk",
    "/v1/bulk/",
    "/v1/bulk/withdrawal-tax/",
    "/v1/allowance-schedule/",
    "/v1/Allowance-Schedule",
    "/v2/lump-sum-timing",
    "/v1/lump-sum-timing/",
    "/v1/Lump-Sum-Timing",
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
    for question in QUESTIONS:
        reply = post(client, question, good(question).encode(), headers={"Accept": accept})
        problem(reply, 406, "not-acceptable")


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


@each_question
def test_problem_repeats_nothing_of_a_long_body(client: FlaskClient, question: Question) -> None:
    reply = post(client, question, body_with(question, question.words[0], json.dumps("Q" * 9_000)))
    assert reply.status_code == 422
    assert b"Q" * 200 not in reply.data
