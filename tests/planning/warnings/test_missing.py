"""What was not given and matters is one warning of POST /v1/warnings, and says all that its parts say."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from service.planning.warnings.warning import told_in_notice
from tests.planning.warning_requests import found_in, heard_in, income, request, w
from tests.planning.warnings.every_topic import CASES

ASKED = request(w("pcls", 40_000), income=income(employment=30_000))
"""Guarantees, contributions and the estate are not given."""


@pytest.mark.parametrize("body", [body for pairs in CASES.values() for pair in pairs for body in pair])
def test_nothing_is_lost_and_nothing_is_said_twice(body: dict[str, Any]) -> None:
    each, heard = found_in(body), heard_in(body)
    missing = tuple(one for one in each if one.not_given)
    parts = [part for warning in heard for part in warning.missing_facts or (warning,)]
    if told_in_notice(missing):
        assert all(one.in_notice for one in missing)
        parts += missing
    assert sorted(map(repr, parts)) == sorted(map(repr, each))
    assert sum(1 for warning in heard if warning.missing_facts) <= 1
    for warning in heard:
        assert not warning.not_given
        assert all(part.not_given and part.detail in warning.detail for part in warning.missing_facts)
        assert {part.person for part in warning.missing_facts} <= {warning.person} or warning.person is None


def test_missing_facts_are_one_warning() -> None:
    codes = [warning.code for warning in heard_in(ASKED)]
    assert "facts_not_given" in codes
    (one,) = [warning for warning in heard_in(ASKED) if warning.missing_facts]
    assert [part.code for part in one.missing_facts] == [
        "pension_features_not_given",
        "contributions_not_given",
        "estate_not_given",
    ]


def test_what_decides_nothing_is_told_in_the_notice(client: FlaskClient) -> None:
    """Guarantees and the estate are not given, and no contributions are in question: nobody works."""
    answer = client.post("/v1/warnings", json=request(w("pcls", 40_000))).get_json()
    assert "facts_not_given" not in [one["code"] for one in answer["warnings"]]
    assert [one["code"] for one in answer["missing_facts"]] == ["pension_features_not_given", "estate_not_given"]
    for said in ("whether your pension has guarantees", "the rest of the estate or who inherits"):
        assert answer["notice"].count(f"We were not told {said}") == 1


NOTHING_MISSING = request(w("drawdown", 1_000), benefits={}, estate={"home": 0})


def test_where_nothing_is_missing_there_is_none() -> None:
    assert "facts_not_given" not in [
        warning.code for warning in heard_in(request(w("drawdown", 1_000), benefits={}, estate={"home": 0}))
    ]


def test_what_is_missing_is_listed_in_the_answer(client: FlaskClient) -> None:
    """Of two people it says of which each is."""
    body = request(w("pcls", 40_000), income=income(employment=30_000), partner={"date_of_birth": "1960-01-01"})
    answer = client.post("/v1/warnings", json=body).get_json()
    (found,) = [one for one in answer["warnings"] if one["code"] == "facts_not_given"]
    assert found["figures"] == {}
    assert [(part["code"], part["effect"], part.get("person")) for part in found["missing_facts"]] == [
        ("pension_features_not_given", "check", 0),
        ("contributions_not_given", "check", 0),
        ("estate_not_given", "check", None),
    ]
    assert "person" not in found
