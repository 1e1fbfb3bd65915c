"""The steps of a plan as an iCalendar file, read by the library and held to RFC 5545."""

from __future__ import annotations

import copy
import json
import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from icalendar import Calendar

URL = "/v1/allowance-schedule"
CALENDAR = {"Accept": "text/calendar"}
EXAMPLES = Path(__file__).parents[1] / "examples" / "requests"
COUPLE, ALONE = (
    json.loads((EXAMPLES / name).read_text(encoding="utf-8"))
    for name in ("plan-couple-most-after-tax.json", "plan-personal-allowance.json")
)


def sent(client: FlaskClient, body: dict[str, Any], accept: str = "text/calendar") -> bytes:
    reply = client.post(URL, json=body, headers={"Accept": accept})
    assert reply.status_code == 200, reply.get_json()
    assert reply.content_type == "text/calendar; charset=utf-8"
    return reply.data


def events(content: bytes) -> list[Any]:
    return [*Calendar.from_ical(content).walk("VEVENT")]


@pytest.mark.parametrize("body", [COUPLE, ALONE])
def test_each_step_is_an_event_of_its_day(client: FlaskClient, body: dict[str, Any]) -> None:
    steps = client.post(f"{URL}?include=steps", json=body).get_json()["steps"]
    found = events(sent(client, body))
    assert len(found) == len(steps) > 3
    for event, step in zip(found, steps, strict=True):
        day = date.fromisoformat(step["by"])
        # RFC 5545 section 3.6.1: an all-day event has dates, and ends before the day of DTEND.
        assert (event["DTSTART"].dt, event["DTEND"].dt) == (day, day + timedelta(days=1))
        assert event["SUMMARY"].startswith(step["title"])
        assert event["DESCRIPTION"].startswith(step["detail"])
        assert "not advice" in event["DESCRIPTION"]
        assert all(source in event["DESCRIPTION"] for source in step["sources"])


def test_the_file_keeps_to_the_rules_of_its_lines(client: FlaskClient) -> None:
    """RFC 5545 sections 3.1, 3.4, 3.6, 3.7 and 3.8.4.7."""
    content = sent(client, COUPLE)
    assert content.endswith(b"END:VCALENDAR\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"")
    lines = content.split(b"\r\n")
    assert max(len(line) for line in lines) <= 75
    # Unfolded, each line is a name with a value, and texts have their commas and semicolons escaped.
    for line in content.replace(b"\r\n ", b"").decode("utf-8").splitlines():
        name, _, value = line.partition(":")
        assert re.fullmatch(r"[A-Z-]+(;[A-Z-]+=[^:;]+)*", name), line
        if name in ("SUMMARY", "DESCRIPTION"):
            assert not re.search(r"(?<!\\)[,;]", value), line
    calendar = Calendar.from_ical(content)
    assert calendar["VERSION"] == "2.0"
    assert calendar["PRODID"]
    uids = [str(event["UID"]) for event in events(content)]
    assert len(set(uids)) == len(uids)
    assert {event["DTSTAMP"].dt for event in events(content)} == {datetime(2026, 10, 1, tzinfo=UTC)}


def test_the_same_request_has_the_same_bytes(client: FlaskClient) -> None:
    first = sent(client, COUPLE)
    assert sent(client, COUPLE) == first
    spaced = client.post(URL, data=json.dumps(COUPLE, indent=3), content_type="application/json", headers=CALENDAR)
    assert spaced.data == first


def test_another_request_has_other_events(client: FlaskClient) -> None:
    other = copy.deepcopy(ALONE)
    other["household"]["people"][0]["pensions"][0]["uncrystallised"] += 1
    assert {event["UID"] for event in events(sent(client, ALONE))}.isdisjoint(
        event["UID"] for event in events(sent(client, other))
    )


def test_nobody_is_named(client: FlaskClient) -> None:
    body = copy.deepcopy(COUPLE)
    for person, name in zip(body["household"]["people"], ("Quillon", "Zephyrine"), strict=True):
        person["name"] = name
    assert "Quillon" in client.post(f"{URL}?include=steps", json=body).get_data(as_text=True)
    content = sent(client, body).decode("utf-8").replace("\r\n ", "")
    assert "Quillon" not in content
    assert "Zephyrine" not in content
    assert "(the first person)" in content


@pytest.mark.parametrize(
    ("accept", "calendar"),
    [
        ("*/*", False),
        ("application/json", False),
        ("application/json, text/calendar", False),
        ("text/calendar, application/json;q=0.5", True),
        ("text/*", True),
    ],
)
def test_the_form_is_the_one_that_is_liked_most(client: FlaskClient, accept: str, calendar: bool) -> None:
    reply = client.post(URL, json=ALONE, headers={"Accept": accept})
    assert reply.status_code == 200
    assert reply.content_type.startswith("text/calendar") is calendar
    assert ("Content-Disposition" in reply.headers) is calendar


def test_other_forms_are_refused(client: FlaskClient) -> None:
    reply = client.post(URL, json=ALONE, headers={"Accept": "text/html"})
    assert (reply.status_code, reply.get_json()["code"]) == (406, "not-acceptable")
    assert "application/json and text/calendar" in reply.get_json()["detail"]
    assert client.post("/v1/withdrawal-tax", json={}, headers=CALENDAR).status_code == 406


def test_a_fault_is_a_problem_in_json(client: FlaskClient) -> None:
    reply = client.post(URL, json={}, headers=CALENDAR)
    assert (reply.status_code, reply.content_type) == (422, "application/problem+json")
