"""What invented clients hear, in words that a person can read.

    python -m tests.what_clients_hear

writes `planning/what_clients_hear/heard.txt` from the clients beside it, as the service answers them now, and `plans.txt`
(`what_plans_say.py`). Read the difference as somebody who has to show it to the client.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from textwrap import fill
from typing import Any

from flask.testing import FlaskClient

from service import create_app
from service.settings import Settings
from tests import what_plans_say

FOLDER = Path(__file__).parent / "planning" / "what_clients_hear"
CLIENTS, HEARD = FOLDER / "clients.toml", FOLDER / "heard.txt"
ASKED = {"warnings": "/v1/warnings", "withdrawal_tax": "/v1/withdrawal-tax"}
"""What a client may ask, and where; everything is asked of the client's one household."""

WIDTH = 110
EFFECTS = {"not_permitted": "NOT PERMITTED", "costs": "COSTS", "check": "CHECK"}


def clients() -> list[dict[str, Any]]:
    """The invented clients: `who` they are in a line, `kind`, their `household`, and what they ask."""
    listed: list[dict[str, Any]] = tomllib.loads(CLIENTS.read_text(encoding="utf-8"))["clients"]
    return listed


def answers(client: FlaskClient, of: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """The warnings that a client hears, by what is asked, in order."""
    return {asked: answer["warnings"] for asked, answer in _answered(client, of).items()}


def _answered(client: FlaskClient, of: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The whole answers, by what is asked."""
    found = {}
    for asked, path in ASKED.items():
        if asked in of:
            reply = client.post(path, json={"household": of["household"], **of[asked]})
            assert reply.status_code == 200, (of["who"], reply.get_json())
            found[asked] = reply.get_json()
    return found


def _not_told_in_notice(answer: dict[str, Any]) -> str:
    """What the notice says was not told of this client, in sentences; nothing where a warning says it."""
    _, _, after = answer["notice"].partition("We were not told")
    return f"We were not told{after.partition(' Check with')[0]}" if after else ""


def as_text(client: FlaskClient) -> str:
    """The whole file: how many hear how much, then each client."""
    heard = [(of, _answered(client, of)) for of in clients()]
    pages = [page for number, (of, found) in enumerate(heard, 1) for page in _page(number, of, found)]
    return "\n".join([*_counts(heard), *pages]) + "\n"


def _counts(heard: list[tuple[dict[str, Any], dict[str, dict[str, Any]]]]) -> Iterator[str]:
    yield "How many clients hear how many warnings"
    yield ""
    for asked, path in ASKED.items():
        for kind in ("ordinary", "tricky"):
            numbers = [len(found[asked]["warnings"]) for of, found in heard if of["kind"] == kind and asked in found]
            if numbers:
                counted = ", ".join(f"{clients} hear {number}" for number, clients in sorted(Counter(numbers).items()))
                yield fill(
                    f"POST {path}, {len(numbers)} {kind}: {counted}; {sum(numbers)} in all.",
                    WIDTH,
                    subsequent_indent="    ",
                )
    yield ""


def _page(number: int, of: dict[str, Any], found: dict[str, dict[str, Any]]) -> Iterator[str]:
    yield "=" * WIDTH
    yield fill(f"{number}. {of['who']}", WIDTH)
    for asked, path in ASKED.items():
        if asked in found:
            yield ""
            yield f"POST {path}: {len(found[asked]['warnings'])}"
            for warning in found[asked]["warnings"]:
                yield from _told(warning)
            if not_told := _not_told_in_notice(found[asked]):
                yield ""
                yield fill(f"  In the notice: {not_told}", WIDTH, subsequent_indent="    ")
    yield ""


def _told(warning: dict[str, Any]) -> Iterator[str]:
    about = f" (person {warning['person']})" if "person" in warning else ""
    yield ""
    yield f"  {EFFECTS[warning['effect']]}  {warning['title']}  [{warning['code']}{about}]"
    for sentence in (warning["detail"], *(f"Not certain: {caveat}" for caveat in warning.get("caveats", ()))):
        yield fill(sentence, WIDTH, initial_indent="    ", subsequent_indent="    ")


def main() -> None:
    """Write both files anew."""
    client = create_app(Settings.for_tests()).test_client()
    HEARD.write_text(as_text(client), encoding="utf-8")
    what_plans_say.SAID.write_text(what_plans_say.as_text(client), encoding="utf-8")


if __name__ == "__main__":
    main()
