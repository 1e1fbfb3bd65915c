"""The quick reader never disagrees with the strict one: where it accepts, so does the strict one, with the same request.

Requests are written as text here, key by key, since what the two readers might read differently (a key that comes twice,
a number's spelling, an escape) is gone once a document is parsed.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import msgspec
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from marshmallow import ValidationError

from service.http import body as reading
from service.http.body import loaded, slowly_loaded, strict
from service.http.problems import ProblemError
from service.planning.quote.quote import Question
from service.schemas.quick import Refused, quick_reader
from service.schemas.quote import request as schemas
from tests.bodies import outcome
from tests.contract.full_bodies import WITHDRAWAL
from tests.households import YEARS, requests

SCHEMA = schemas.withdrawal_tax_schema(YEARS)
QUICK = quick_reader(SCHEMA)
BUILD = schemas.question


class SlowlyError(Exception):
    """The slow way was taken."""


def quickly(text: bytes, monkeypatch: pytest.MonkeyPatch) -> Question | None:
    """The request by the quick way alone, or None where it gives up."""

    def give_up(*_: object) -> Any:
        raise SlowlyError

    with monkeypatch.context() as patch:
        patch.setattr(reading, "slowly_loaded", give_up)
        try:
            return loaded(text, SCHEMA, QUICK, BUILD)
        except SlowlyError:
            return None


def slowly(text: bytes) -> Question:
    """The request by the strict reader and marshmallow."""
    return BUILD(SCHEMA.load(strict(text)))


def types_of(value: Any) -> Any:
    """The types of a request's values, since 1, 1.0 and True are equal."""
    names = getattr(type(value), "__annotations__", {})
    if names:
        return type(value), {name: types_of(getattr(value, name)) for name in names}
    if isinstance(value, tuple):
        return [types_of(item) for item in value]
    return type(value)


def assert_agree(text: bytes, monkeypatch: pytest.MonkeyPatch) -> Question | None:
    """The quick way's request is the strict way's, and the two ways come to the same; the quick way's request."""
    found = quickly(text, monkeypatch)
    if found is not None:
        expected = slowly(text)
        assert found == expected
        assert types_of(found) == types_of(expected)
    assert outcome(loaded, text, SCHEMA, QUICK, BUILD) == outcome(slowly_loaded, text, SCHEMA, BUILD)
    return found


# Documents as text


@dataclass(frozen=True)
class Raw:
    """A value as it is written."""

    text: str


Tree = dict[str, Any] | list[Any] | Raw
"""A document of which keys (written, with their quotes) may come twice: objects are lists of pairs under "{"."""


def tree_of(document: Any) -> Any:
    """A parsed document as pairs and written values, to be changed as text."""
    if isinstance(document, dict):
        return {"{": [(json.dumps(key), tree_of(value)) for key, value in document.items()]}
    if isinstance(document, list):
        return [tree_of(value) for value in document]
    return Raw(json.dumps(document))


def written(tree: Any, space: str = "") -> str:
    """A tree as text, with ``space`` wherever JSON allows it."""
    if isinstance(tree, Raw):
        return tree.text
    if isinstance(tree, list):
        inner = ",".join(space + written(value, space) + space for value in tree)
        return f"[{inner or space}]"
    inner = ",".join(f"{space}{key}{space}:{space}{written(value, space)}{space}" for key, value in tree["{"])
    return "{" + (inner or space) + "}"


def objects_in(tree: Any) -> Iterator[list[tuple[str, Any]]]:
    """Every object's pairs, at every depth."""
    if isinstance(tree, list):
        for value in tree:
            yield from objects_in(value)
    elif not isinstance(tree, Raw):
        yield tree["{"]
        for _, value in tree["{"]:
            yield from objects_in(value)


NUMBERS = (
    "0", "-0", "0.0", "-0.0", "0e0", "-0e5", "1", "1.0", "1.00", "1.000", "1.10", "1.005", "12.34", "12.340000",
    "12.3400000000000000000000000000000000000001", "0.1000000000000000055511151231257827", "1e2", "1E2", "1e+2", "1.5e1",
    "1e-1", "1e-2", "1e-3", "100e-2", "1e8", "1.0e8", "100000000", "100000000.00", "100000000.01", "100000001", "1e9",
    "99999999999999999999.99", "9223372036854775807", "9223372036854775808", "18446744073709551615",
    "18446744073709551616", "-9223372036854775809", "123456789012345678901234567890", "1" * 99, "1" * 101, "1" * 400,
    "1" * 5_000, "0." + "0" * 400 + "1", "1." + "0" * 400, "1e400", "1e-400", "1e999999999999999999999",
    "0e999999999999999999999", "0e-999999999999999999999", "1e-999999999999999999999", "0e400", "5e-324", "2.0", "12.0",
    "12.5", "13", "13.0", "1.2e1", "-1", "-0.01", "+1", "01", "-01", "00", "1.", ".5", "1.e2", "1e", "1e+", "0x10", "1_000",
    "NaN", "Infinity", "-Infinity", "nan", "1,2", "\u0661", "1 2", "--1", "-", "1000", "1000.01", "135.12", "10e2",
)  # fmt: skip
WORDS = (
    '"england"', '"Eng\\u006cand"', '"\\u0065ngland"', '"england "', '"engl\\/and"', '"wales\\u0000"', '"a:b"', '"::::"',
    '"\\u003a"', '"\\"a\\":1"', '"{\\"a\\":1}"', '"1957-03-14"', '"1957-03-14T00:00:00"', '"19570314"', '"1957-3-14"',
    '"1957-02-30"', '"1960-02-29"', '"0001-01-01"', '"1899-12-31"', '"1900-01-01"', '"\u0661957-03-14"', '"1957-03-14\\n"',
    '"12.34"', '"1"', '""', '" "', '"true"', '"null"', '"ufpls"', '"UFPLS"', '"2026-27"', '"2026-27\\n"', '"1257L"',
    '"1257l"', '"K475"', '"S1257L\\u0020"', '"\\ud800"', '"\\udc00\\ud800"', '"\\ud83d\\ude00"', '"\ufeff"', '"\u00e9"',
    '"\t"', '"\x01"', '"\x7f"', '"\\x41"', '"\\u12"', '"\\', '"unfinished', "'england'", '"\u2028"', '"month_1"',
    '"cumulative"', '"employment"', '"receives"',
)  # fmt: skip
OTHERS = (
    "null", "true", "false", "True", "None", "tru", "[]", "{}", "[[]]", "[{}]", "[null]", "[1]", '{"kind":"employment"}',
    '[{"kind":"employment","amount":1}]', '[{"kind":"employment","amount":1},]', '[{"kind":"employment","amount":[1]}]',
    '[{"amount":1,"amount":2,"kind":"employment"}]', "[" * 40 + "]" * 40, "[" * 6_000 + "]" * 6_000,
    '{"a":' * 3_000 + "1" + "}" * 3_000, "{,}", "{1:2}", '{"a" 1}', "/* */1", "1 // x", "undefined", "",
)  # fmt: skip
KEYS = (
    "household", "people", "spending", "estate", "tax_year", "person", "pensions", "pension", "withdrawal", "payroll",
    "date_of_birth", "tax_residence", "income", "kind", "amount", "from", "to", "contributions", "yearly", "relief",
    "net_wanted", "method", "date", "code", "basis", "month", "pay_to_date", "tax_to_date", "uncrystallised", "drawdown",
    "lump_sum_allowances", "lump_sum_allowance_used", "lifetime_allowance_used", "flexibly_accessed", "isa", "cash",
    "protected_pension_age", "gift_aid_donations", "marriage_allowance", "circumstances",
    "blind_persons_allowance", "child_benefit", "name", "", "a:b", "Amount", "amount ", "__class__", "\u00e9",
    "\ufeffamount", "\u0000",
)  # fmt: skip

values = st.one_of(
    st.sampled_from(NUMBERS),
    st.sampled_from(WORDS),
    st.sampled_from(OTHERS),
    st.integers().map(str),
    st.decimals(allow_nan=False, allow_infinity=False, places=2, min_value=0, max_value=200_000).map(str),
    st.from_regex(r"\A-?[0-9]{1,12}(\.[0-9]{1,30})?([eE][-+]?[0-9]{1,3})?\Z"),
    st.text(max_size=6).map(json.dumps),
    st.text(max_size=6).map(lambda text: json.dumps(text, ensure_ascii=False)),
).map(Raw)  # fmt: skip


def key_of(draw: Any, key: str) -> str:
    """A key as it may be written: plain, or with a letter as an escape."""
    plain = json.dumps(key, ensure_ascii=False)
    if key and key.isascii() and key.isprintable() and draw(st.integers(0, 9)) == 0:
        at = draw(st.integers(0, len(key) - 1))
        return '"' + key[:at] + f"\\u{ord(key[at]):04x}" + key[at + 1 :] + '"'
    return plain


@st.composite
def texts(draw: Any) -> bytes:
    """A well-formed request with up to three things changed in its text; few or none are what most requests have."""
    tree = tree_of(draw(requests()))
    for _ in range(draw(st.sampled_from((0, 1, 1, 1, 2, 3)))):
        found = list(objects_in(tree))
        pairs = draw(st.sampled_from(found))
        change = draw(st.sampled_from(("value", "value", "value", "missing", "extra", "twice", "key", "order", "list")))
        at = draw(st.integers(0, len(pairs) - 1)) if pairs else None
        if change == "extra" or at is None:
            pairs.insert(draw(st.integers(0, len(pairs))), (key_of(draw, draw(st.sampled_from(KEYS))), draw(values)))
        elif change == "value":
            pairs[at] = (pairs[at][0], draw(values))
        elif change == "missing":
            del pairs[at]
        elif change == "twice":
            again = draw(st.one_of(st.just(pairs[at][1]), values))
            key = key_of(draw, json.loads(pairs[at][0]))
            pairs.insert(draw(st.integers(0, len(pairs))), (key, again))
        elif change == "key":
            pairs[at] = (key_of(draw, json.loads(pairs[at][0])), pairs[at][1])
        elif change == "order":
            pairs.reverse()
        else:
            pairs[at] = (pairs[at][0], [pairs[at][1]])
    text = written(tree, draw(st.sampled_from(("", "", " ", "\n\t", "\r\n", "\u00a0", "\f", "/**/"))))
    before = draw(st.sampled_from(("", "", "", "", "", "", " ", "\n", "\ufeff", "\x00", "[", "1")))
    after = draw(st.sampled_from(("", "", "", "", "", "", " ", "\n", "\x00", "}", "]", ",", ":", "{}", "\ufeff")))
    data: bytes = (before + text + after).encode("utf-8", "surrogatepass")
    if draw(st.integers(0, 9)) == 0:
        at = draw(st.integers(0, len(data)))
        data = (
            data[:at]
            + draw(st.sampled_from((b"\xff", b"\xc3", b"\xed\xa0\x80", b"\x00", b":", b'"', b"\\")))
            + data[at:]
        )
    if draw(st.integers(0, 19)) == 0:
        data = data[: draw(st.integers(0, len(data)))]
    return data


PLAIN = (
    b'{"household":{"people":[{"date_of_birth":"1957-03-14","tax_residence":"england",'
    b'"pensions":[{"uncrystallised":400000}]}]},"tax_year":"2026-27","withdrawal":{"method":"ufpls","amount":40000}}'
)


@settings(max_examples=250, deadline=None)
@given(texts())
@example(PLAIN.replace(b'"amount":40000', b'"amount":1,"amount":40000'))
@example(PLAIN.replace(b'"england"', b'"en\\u0067land"'))
@example(b"\xef\xbb\xbf" + PLAIN)
def test_whatever_is_sent(text: bytes) -> None:
    with pytest.MonkeyPatch.context() as monkeypatch:
        assert_agree(text, monkeypatch)


@pytest.mark.parametrize(
    "place", [b"400000", b"40000}", b'"england"', b'"1957-03-14"', b'{"method":"ufpls","amount":40000}']
)
def test_every_odd_value_in_every_kind_of_place(place: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    assert PLAIN.count(place) == 1
    for value in (*NUMBERS, *WORDS, *OTHERS):
        end = b"}" if place.endswith(b"0}") else b""
        text = PLAIN.replace(place, value.encode("utf-8", "surrogatepass") + end)
        assert_agree(text, monkeypatch)


def test_the_quick_way_is_taken_by_ordinary_requests(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the comparison above would compare the strict way with itself."""
    assert quickly(PLAIN, monkeypatch) == slowly(PLAIN)
    for value in (b"1.00", b"12.3", b"1e2", b"0", b"-0.0", b"100000000"):
        assert quickly(PLAIN.replace(b"40000}", value + b"}"), monkeypatch) is not None
    written_otherwise = PLAIN.replace(b'"amount"', b'"\\u0061mount"').replace(b'"england"', b'"\\u0065ngland"')
    assert quickly(written_otherwise, monkeypatch) == slowly(PLAIN)


@settings(max_examples=60, deadline=None)
@given(requests())
def test_every_well_formed_request_is_read_quickly(request: dict[str, Any]) -> None:
    with pytest.MonkeyPatch.context() as monkeypatch:
        assert assert_agree(json.dumps(request).encode(), monkeypatch) is not None


FULL = WITHDRAWAL.full
"""A request with every field there is."""


def test_a_key_twice_is_always_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """At every depth, first or last, in place of another key's colon or beside it."""
    text = json.dumps(FULL)
    keys = [match.group() for match in re.finditer(r'"[a-z_]+": (?=[^{\[])', text)]
    assert len(keys) >= 25
    for key in keys:
        for again in ('"england"', "1", "[1]", '"a:b"'):
            doubled = text.replace(key, f"{key}{again}, {key}", 1).encode()
            assert quickly(doubled, monkeypatch) is None
            assert outcome(loaded, doubled, SCHEMA, QUICK, BUILD)[:2] == ("problem", "unreadable-json")


def test_every_field_left_out_or_null(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every field there is, one at a time, without it and with null, true, 1, text and an empty object or list in it."""
    assert assert_agree(json.dumps(FULL).encode(), monkeypatch) is not None
    tree = tree_of(FULL)
    count = len(list(objects_in(tree)))
    seen = 0
    for place in range(count):
        for at in range(len(list(objects_in(tree_of(FULL)))[place])):
            for value in (None, *(Raw(each) for each in ("null", "true", "1", "1.5", '"x"', "{}", "[]", "[{}]"))):
                changed = tree_of(FULL)
                pairs = list(objects_in(changed))[place]
                if value is None:
                    del pairs[at]
                else:
                    pairs[at] = (pairs[at][0], value)
                assert_agree(written(changed).encode(), monkeypatch)
                seen += 1
    assert seen > 250


@pytest.mark.parametrize("length", [49, 50, 51])
def test_lists_of_bounded_length(length: int, monkeypatch: pytest.MonkeyPatch) -> None:
    request = json.loads(PLAIN)
    request["household"]["people"][0]["income"] = [{"kind": "employment", "amount": 1}] * length
    found = assert_agree(json.dumps(request).encode(), monkeypatch)
    assert (found is not None) == (length <= 50)


def test_the_comparison_would_notice_a_careless_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three faults planted in the quick way, each found: no tally of keys, a laxer number, the month not asked for."""
    twice = PLAIN.replace(b'"amount":40000', b'"amount":1,"amount":40000')
    with monkeypatch.context() as patch:
        patch.setattr(reading, "encode", lambda _: twice)
        with pytest.raises((AssertionError, ProblemError)):
            assert_agree(twice, patch)
    with monkeypatch.context() as patch:
        patch.setattr(reading, "_QUICK", msgspec.json.Decoder(float_hook=lambda text: round(float(text))))
        with pytest.raises((AssertionError, ValidationError)):
            assert_agree(PLAIN.replace(b"40000}", b"40000.001}"), patch)
    with_payroll = PLAIN[:-1] + b',"payroll":{"code":"BR","basis":"cumulative"}}'
    assert_agree(with_payroll, monkeypatch)
    with monkeypatch.context() as patch:
        patch.setattr(schemas.PayrollSchema, "rules", ())
        careless = quick_reader(SCHEMA)
    with monkeypatch.context() as patch:
        patch.setitem(globals(), "QUICK", careless)
        with pytest.raises(ValidationError):
            assert_agree(with_payroll, patch)


def test_the_quick_reader_refuses_with_its_own_error() -> None:
    documents: tuple[object, ...] = (None, [], {}, {"tax_year": "2026-27"}, {**FULL, "more": 1})
    for document in documents:
        with pytest.raises(Refused):
            QUICK(document)
