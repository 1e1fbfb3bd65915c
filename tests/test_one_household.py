"""One household, the same in every request: each operation reads it, and tells of its people by their names."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta
from random import Random

import pytest
from flask.testing import FlaskClient

from service.figures import tax_years
from tests.bodies import answered
from tests.contract.full_bodies import HOUSEHOLD
from tests.invented_requests import JsonObject, plan, timing

NOT_FOR_ALL = {"spending-cannot-be-met", "as-best-without-a-plan", "pensions-on-different-terms"}
"""Faults that a household may have in one operation and not in another."""

Asked = tuple[str, JsonObject]
"""An operation's path and a request of it."""


def every_request(household: JsonObject, start: date) -> list[Asked]:
    """The shortest request of each operation about a household on a day."""
    to_age = start.year - int(household["people"][0]["date_of_birth"][:4]) + 2
    quotes = [
        {
            "household": household,
            "tax_year": tax_years.of(start),
            "withdrawal": {"person": i, "pension": k, "method": "drawdown", "amount": 0},
        }
        for i, person in enumerate(household["people"])
        for k in range(len(person.get("pensions", ())))
    ]
    planned = {"household": household, "start_date": start.isoformat(), "lump_sums": "never"}
    return [
        *(("/v1/withdrawal-tax", quote) for quote in quotes),
        (
            "/v1/allowance-schedule",
            planned | {"end_date": (start + timedelta(days=700)).isoformat(), "aim": {"goal": "personal_allowance"}},
        ),
        (
            "/v1/lump-sum-timing",
            {"household": household, "start_date": start.isoformat(), "to_age": to_age}
            | {"options": [{"lump_sums": "never", "aim": {"goal": "spending_only"}}]},
        ),
        ("/v1/warnings", {"household": household, "date": start.isoformat()}),
    ]


@pytest.mark.parametrize("seed", range(40))
@pytest.mark.parametrize("invented", [plan, timing])
def test_a_household_is_read_by_every_operation(
    client: FlaskClient, invented: Callable[[Random], JsonObject], seed: int
) -> None:
    request = invented(Random(seed))
    for url, body in every_request(request["household"], date.fromisoformat(request["start_date"])):
        reply = client.post(url, json=body)
        # What the household spends may be more than a plan can meet, and some facts are for plans alone: neither says anything
        # against its shape.
        refused = reply.status_code == 422 and {fault["code"] for fault in reply.get_json()["errors"]}
        assert reply.status_code == 200 or (refused and refused <= NOT_FOR_ALL), (url, reply.get_data(as_text=True))


def test_a_household_of_which_all_is_said_is_read_by_every_operation(client: FlaskClient) -> None:
    asked = every_request(HOUSEHOLD, date(2026, 4, 6))
    assert {url for url, _ in asked} == {
        "/v1/withdrawal-tax", "/v1/allowance-schedule", "/v1/lump-sum-timing", "/v1/warnings",
    }  # fmt: skip
    for url, body in asked:
        assert answered(client, url, body)["rules"]


# Names


def of_people(*people: JsonObject) -> list[Asked]:
    """What each operation is asked of people too young for their pensions, so that it tells of each by name."""
    held = [
        {
            "date_of_birth": f"198{i}-05-14",
            "tax_residence": "england",
            "pensions": [{"uncrystallised": 90_000, "drawdown": 20_000}],
        }
        | person
        for i, person in enumerate(people)
    ]
    household = {"people": held}
    taken = {"method": "drawdown", "amount": 1_000}
    start = {"household": household, "start_date": "2026-04-06"}
    return [
        *(
            (
                "/v1/withdrawal-tax",
                {"household": household, "tax_year": "2026-27", "withdrawal": {"person": i, **taken}},
            )
            for i in range(len(people))
        ),
        ("/v1/allowance-schedule", start | {"end_date": "2050-04-05", "aim": {"goal": "personal_allowance"}}),
        (
            "/v1/lump-sum-timing",
            start | {"to_age": 60, "options": [{"lump_sums": "all_now"}]} | {"deaths": [{"person": 0, "age": 59}]},
        ),
        (
            "/v1/warnings",
            {"household": household, "date": "2026-06-01"}
            | {"withdrawals": [{"person": i, "date": "2026-09-01", **taken} for i in range(len(people))]},
        ),
    ]


def sentences_of(answer: JsonObject) -> str:
    """What an answer says in sentences, one after the other."""
    return " ".join([*answer.get("summary", ()), *(warning["detail"] for warning in answer["warnings"])])


NAMELESS = re.compile(r"\b(?:the (?:first|second) person|you|your)\b", re.IGNORECASE)


def tells_of(found: str, *names: str) -> set[str]:
    """Which of some names a text has in it, as words of their own, however it writes them."""
    return {name for name in names if re.search(rf"\b{name}\b", found, re.IGNORECASE)}


def test_two_people_are_told_of_by_their_names(client: FlaskClient) -> None:
    told = set()
    for url, body in of_people({"name": "Elowen"}, {"name": "Tamsin"}):
        found = sentences_of(answered(client, url, body))
        who = body["withdrawal"]["person"] if "withdrawal" in body else None
        expected = {"Elowen", "Tamsin"} if who is None else {("Elowen", "Tamsin")[who]}
        assert tells_of(found, "Elowen", "Tamsin") == expected, url
        assert not tells_of(found, "the first person", "the second person"), url
        told.add(url)
    assert len(told) == 4


def test_two_people_without_names_are_the_first_and_the_second(client: FlaskClient) -> None:
    places = ("the first person", "the second person")
    for url, body in of_people({}, {}):
        found = sentences_of(answered(client, url, body))
        who = body["withdrawal"]["person"] if "withdrawal" in body else None
        assert tells_of(found, *places) == (set(places) if who is None else {places[who]}), url


def test_of_two_people_one_may_have_a_name(client: FlaskClient) -> None:
    *_, (url, body) = of_people({}, {"name": "Tamsin"})
    assert tells_of(sentences_of(answered(client, url, body)), "the first person", "the second person", "Tamsin") == {
        "the first person",
        "Tamsin",
    }


def test_one_person_is_you_whatever_the_name(client: FlaskClient) -> None:
    for (url, named), (_, nameless) in zip(of_people({"name": "Elowen"}), of_people({}), strict=True):
        answer = answered(client, url, named)
        assert answer == answered(client, url, nameless)
        assert tells_of(sentences_of(answer), "you", "Elowen", "the first person") == {"you"}, url
