"""What invented clients are told of their plans, in words that a person can read: years in short, reasons, summary, steps.

`python -m tests.what_clients_hear` writes `planning/what_clients_hear/plans.txt` with the other file, as the service answers now.
Read the difference as somebody who has to show it to the client.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from textwrap import fill
from typing import Any

from flask.testing import FlaskClient

FOLDER = Path(__file__).parent / "planning" / "what_clients_hear"
PLANS, SAID = FOLDER / "plans.toml", FOLDER / "plans.txt"
URL = "/v1/allowance-schedule?include=steps"
WIDTH = 120


def clients() -> list[dict[str, Any]]:
    """The invented clients: `who` they are in a line, and the request."""
    listed: list[dict[str, Any]] = tomllib.loads(PLANS.read_text(encoding="utf-8"))["clients"]
    return listed


def answered(client: FlaskClient, of: dict[str, Any]) -> dict[str, Any]:
    """The plan that a client is told."""
    reply = client.post(URL, json={key: value for key, value in of.items() if key != "who"})
    assert reply.status_code == 200, (of["who"], reply.get_json())
    found: dict[str, Any] = reply.get_json()
    return found


def as_text(client: FlaskClient) -> str:
    """The whole file."""
    pages = [
        line
        for number, of in enumerate(clients(), 1)
        for line in _page(f"{number}. {of['who']}", answered(client, of), of)
    ]
    return "\n".join(["What invented clients are told of their plans", "", *pages])


def _page(title: str, found: dict[str, Any], of: dict[str, Any]) -> Iterator[str]:
    people = [person.get("name", "") for person in of["household"]["people"]]
    yield "=" * WIDTH
    yield fill(f"{title} (aim: {found['aim']['goal']})", WIDTH)
    yield ""
    yield "SUMMARY"
    yield from (_told(sentence) for sentence in found["summary"])
    yield ""
    yield "YEARS: drawn / income tax / into ISAs; then why"
    last: list[list[str]] = []
    for year in found["years"]:
        amounts = [
            f"{name + ' ' if name else ''}{_drawn(person):,.0f} / {person['income_tax']:,.0f} / "
            f"{person['isa_subscription']:,.0f}"
            for name, person in zip(people, year["people"], strict=True)
        ]
        yield f"  {year['tax_year']}  {'; '.join(amounts)}"
        for event in year["events"]:
            yield _told(f"{event['date']}: {event['detail']}", 6)
        because = [[reason["detail"] for reason in person["because"]] for person in year["people"]]
        for place, details in enumerate(because):
            who = f"{people[place]}: " if people[place] else ""
            # What was said of the year before is not said again here.
            for detail in details:
                if not last or detail not in last[place]:
                    yield _told(f"{who}{detail}", 8)
        last = because
    yield ""
    yield "STEPS"
    for step in found["steps"]:
        rule = "; ".join(step["sources"]) or "common practice"
        yield _told(f"{step['by']}  {step['title']}: {step['detail']} [{rule}]")
    yield ""


def _drawn(person: dict[str, Any]) -> float:
    return float(person["lump_sum"]) + sum(one["gross"] for one in person["withdrawals"])


def _told(text: str, indent: int = 2) -> str:
    return fill(text, WIDTH, initial_indent=" " * indent, subsequent_indent=" " * (indent + 2))
