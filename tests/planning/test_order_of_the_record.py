"""Places say nothing: answers are the same with people, pensions, incomes or withdrawals in another order."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable
from random import Random
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.invented_requests import JsonObject, plan, timing, warnings

URL = "/v1/warnings"


def in_another_order(request: JsonObject, *, of: str) -> JsonObject:
    """A request with its people, each person's pensions, or every other list turned round."""
    whole = copy.deepcopy(request)
    household = whole["household"]
    people = household["people"]
    planned = [*whole.get("withdrawals", ()), *whole.get("isa_subscriptions", ())]
    if of == "people":
        people.reverse()
        gifts = household.get("estate", {}).get("lifetime_gifts", ())
        for one in (*planned, *gifts):
            one["person"] = len(people) - 1 - one.get("person", 0)
    elif of == "pensions":
        for one in whole.get("withdrawals", ()):
            count = len(people[one.get("person", 0)]["pensions"])
            one["pension"] = count - 1 - one.get("pension", 0)
        for person in people:
            person["pensions"].reverse()
    else:
        for person in people:
            for name in ("income", "contributions"):
                person.get(name, []).reverse()
        household.get("spending", []).reverse()
        household.get("estate", {}).get("lifetime_gifts", []).reverse()
        for name in ("withdrawals", "isa_subscriptions"):
            whole.get(name, []).reverse()
    return whole


def with_names(request: JsonObject) -> JsonObject:
    """A request whose people have names, so that none is the first or the second."""
    whole = copy.deepcopy(request)
    for name, person in zip(("Elowen", "Tamsin"), whole["household"]["people"], strict=False):
        person["name"] = name
    return whole


def told(client: FlaskClient, body: JsonObject) -> list[str]:
    """What is told, in no order and without places; or what is refused."""
    answer = client.post(URL, json=body).get_json()
    found: list[dict[str, Any]] = answer["warnings" if "warnings" in answer else "errors"]
    # The missing facts are told together, those of the first person first.
    found = [one for told in found for one in told.get("missing_facts", [told])]
    placeless = [{key: value for key, value in one.items() if key not in ("person", "pension")} for one in found]
    return sorted(re.sub(r"/\d+(?=[/\"])", "/_", json.dumps(one, sort_keys=True)) for one in placeless)


# Beside the first seeds three in which the second person is the first to draw.
@pytest.mark.parametrize("seed", [*range(80), 984, 1319, 1476])
@pytest.mark.parametrize("of", ["people", "pensions", "the rest"])
def test_warnings_are_the_same(client: FlaskClient, of: str, seed: int) -> None:
    request = with_names(warnings(Random(seed)))
    assert told(client, in_another_order(request, of=of)) == told(client, request)


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize(("url", "invented"), [("/v1/allowance-schedule", plan), ("/v1/lump-sum-timing", timing)])
def test_plans_and_comparisons_are_the_same(
    client: FlaskClient, url: str, invented: Callable[[Random], JsonObject], seed: int
) -> None:
    request = invented(Random(seed))
    if url == "/v1/allowance-schedule":
        request["aim"] = {"goal": "higher_rate_band"}
    one, other = client.post(url, json=request), client.post(url, json=in_another_order(request, of="the rest"))
    assert other.status_code == one.status_code
    if one.status_code == 200:
        assert other.get_json() == one.get_json()
