"""A field at the wrong place is told where it belongs."""

from __future__ import annotations

import copy
import json
import re

import pytest
from flask.testing import FlaskClient

from tests.bodies import pointers_of, value_at

from .following import followed
from .full_bodies import QUESTIONS, Question
from .refresh_examples import request_file
from .test_bad_inputs import post, problem

DEEPER = [
    pytest.param(question, pointer, id=f"{question.url}#{pointer}")
    for question in QUESTIONS
    for pointer in pointers_of(question.full)
    if (name := pointer.rpartition("/")[2]) not in question.full and not name.isdecimal()
]


@pytest.mark.parametrize(("question", "pointer"), DEEPER)
def test_at_the_top_of_the_request(client: FlaskClient, question: Question, pointer: str) -> None:
    """Every field of every operation, given besides at the top: the place told is one of its name, and takes it."""
    name = pointer.rpartition("/")[2]
    body = {**copy.deepcopy(question.full), name: value_at(question.full, pointer)}
    found = problem(post(client, question, json.dumps(body).encode()), 422, "invalid-request")
    [fault] = found["errors"]
    assert (fault["pointer"], fault["code"]) == (f"#/{name}", "unknown-field")
    place = re.fullmatch(r"There is no such field here\. Did you mean `(.+)`\?", fault["detail"])
    assert place is not None, fault["detail"]
    assert place[1].endswith(f".{name}")
    right = followed(body, [fault])
    again = post(client, question, json.dumps(right).encode())
    if again.status_code != 200:  # such as an income's amount where a share is given
        codes = {each["code"] for each in again.get_json()["errors"]}
        assert not codes & {"unknown-field", "not-an-object", "not-a-list", "invalid-value", "null"}, again.text


@pytest.mark.parametrize(
    ("where", "name", "value", "place"),
    [
        ("/household/people/1", "uncrystallised", 1000, "`household.people[1].pensions[0].uncrystallised`"),
        ("/household/people/1", "pension", {"uncrystallised": 1000}, "`household.people[1].pensions[0]`"),
        ("/household/people/1", "spending", [{"amount": 1000}], "`household.spending`"),
        ("/household", "tax_year", "2026-27", "`tax_year` at the top of the request"),
        ("", "person", {"date_of_birth": "1966-05-14", "tax_residence": "wales"}, "`household.people[0]`"),
    ],
)
def test_in_the_items_that_the_field_is_in(
    client: FlaskClient, where: str, name: str, value: object, place: str
) -> None:
    body = request_file("first-ufpls")
    body["household"]["people"].append({"date_of_birth": "1968-02-20", "tax_residence": "wales"})
    value_at(body, where)[name] = value
    [fault] = client.post("/v1/withdrawal-tax", json=body).get_json()["errors"]
    assert fault["pointer"] == f"#{where}/{name}"
    assert fault["detail"] == f"There is no such field here. Did you mean {place}?"


@pytest.mark.parametrize(
    ("where", "name", "value"),
    [
        # Of this name there is a day elsewhere, and this is none.
        ("/household/estate", "from", 0.02),
        # A place that takes such an object, but has another name by far.
        ("", "colour", {"amount": 1}),
        # What an item of one list has does not belong in an item of another.
        ("/household/spending/0", "yearly", 1000),
    ],
)
def test_no_place_is_told_where_none_is_meant(client: FlaskClient, where: str, name: str, value: object) -> None:
    body = request_file("first-ufpls")
    body["household"].update(estate={}, spending=[{"amount": 1000}])
    value_at(body, where)[name] = value
    [fault] = client.post("/v1/withdrawal-tax", json=body).get_json()["errors"]
    assert fault["detail"].startswith("There is no such field. The fields here are: ")
