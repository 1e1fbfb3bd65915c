"""The file of what invented clients are told of their plans is what the service says now, and every sentence reads well."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.planning.test_reasons import assert_reads_well
from tests.what_plans_say import SAID, answered, as_text, clients

MOST_PARTS = 16
"""So long is a summary at most: three phases for two people, what it leaves, two comparisons, what would change it, and two
points to know."""


def test_the_file_is_what_the_service_says_now(client: FlaskClient) -> None:
    """After a change that is meant: python -m tests.what_clients_hear, and read the difference."""
    assert SAID.read_text(encoding="utf-8") == as_text(client)


def test_every_client_is_somebody_else() -> None:
    assert len({one["who"] for one in clients()}) == len(clients()) == 36


@pytest.mark.parametrize("of", clients(), ids=lambda one: one["who"][:40])
def test_what_a_client_is_told_reads_well(client: FlaskClient, of: dict[str, Any]) -> None:
    found = answered(client, of)
    assert len(found["summary"]) <= MOST_PARTS
    for year in found["years"]:
        for person in year["people"]:
            for reason in person["because"]:
                assert_reads_well(reason["detail"])
        for event in year["events"]:
            assert_reads_well(event["detail"])
    for step in found["steps"]:
        assert_reads_well(step["detail"])
    for sentence in found["summary"]:
        assert_reads_well(sentence)


def test_a_year_in_which_money_is_drawn_has_a_reason(client: FlaskClient) -> None:
    unexplained = unsaid = 0
    for of in clients():
        for year in answered(client, of)["years"]:
            for person in year["people"]:
                if sum(one["gross"] for one in person["withdrawals"]) > 1:
                    assert person["because"], (of["who"], year["tax_year"])
                    codes = {reason["code"] for reason in person["because"]}
                    unexplained += 1
                    unsaid += bool(codes & {"found_by_search", "stops_where_tax_rises"})
    assert unexplained > 200
    assert unsaid * 50 < unexplained
