"""The file of what invented clients hear is what the service says now, so that every change of it is seen."""

from __future__ import annotations

from flask.testing import FlaskClient

from tests.what_clients_hear import HEARD, answers, as_text, clients

MOST_OF_MANY = 2
"""So many warnings, at most, three of four ordinary clients hear; see the counts at the top of the file."""


def test_the_file_is_what_the_service_says_now(client: FlaskClient) -> None:
    """After a change that is meant: python -m tests.what_clients_hear, and read the difference."""
    assert HEARD.read_text(encoding="utf-8") == as_text(client)


def test_every_client_is_somebody_else() -> None:
    listed = clients()
    assert len({one["who"] for one in listed}) == len(listed) == 118
    assert [one["kind"] for one in listed].count("ordinary") == 81
    assert {one["kind"] for one in listed} == {"ordinary", "tricky"}


def test_most_ordinary_clients_hear_little(client: FlaskClient) -> None:
    numbers = [len(found) for one in clients() if one["kind"] == "ordinary" for found in answers(client, one).values()]
    assert sum(number <= MOST_OF_MANY for number in numbers) * 4 >= 3 * len(numbers)
