"""Many courses of markets as a caller sees them: the same bytes everywhere, alone and in bulk, and whose assumptions."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from hashlib import sha256
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient

TOP = Path(__file__).parents[3]
PLAN = "/v1/allowance-schedule"
ASK = """
import hashlib, json, service, sys
from service.settings import Settings
reply = service.create_app(Settings.for_tests()).test_client().post("/v1/allowance-schedule", json=json.load(sys.stdin))
print(reply.status_code, hashlib.sha256(reply.data).hexdigest())
"""


def request(**markets: Any) -> dict[str, Any]:
    """The published request, on fewer courses."""
    found: dict[str, Any] = json.loads((TOP / "examples/requests/plan-couple-many-markets.json").read_text("utf-8"))
    found["markets"] = {**found["markets"], "number_of_paths": 8, **markets}
    return found


def answer(client: FlaskClient, asked: dict[str, Any]) -> dict[str, Any]:
    reply = client.post(PLAN, json=asked)
    assert reply.status_code == 200, reply.text
    return dict(reply.get_json())


def test_the_same_seed_has_the_same_bytes_in_every_process_and_with_every_hash_seed(client: FlaskClient) -> None:
    asked = request()
    here = f"200 {sha256(client.post(PLAN, json=asked).data).hexdigest()}"
    for hash_seed in ("0", "1", "2026"):
        told = subprocess.run(
            [sys.executable, "-c", ASK],
            input=json.dumps(asked),
            env={**os.environ, "PYTHONHASHSEED": hash_seed},
            cwd=TOP,
            capture_output=True,
            text=True,
            check=True,
        )
        assert told.stdout.strip() == here


def test_another_seed_is_another_answer_about_the_same_plan(client: FlaskClient) -> None:
    one, other = answer(client, request(seed=1)), answer(client, request(seed=2))
    assert one["years"] == other["years"]
    assert one["markets"]["years"] != other["markets"]["years"]


def test_the_plan_itself_is_that_without_markets(client: FlaskClient) -> None:
    with_them = answer(client, request())
    asked = request()
    del asked["markets"]
    without = answer(client, asked)
    found = {key: value for key, value in with_them.items() if key != "markets"}
    assert {**found, "notice": without["notice"]} == without


def test_the_notice_says_whose_assumptions_they_are(client: FlaskClient) -> None:
    notice = answer(client, request())["notice"]
    assert "so are the courses of markets. They came with the request." in notice
    assert "not advice or a forecast" in notice


def test_in_bulk_it_is_the_same_answer(client: FlaskClient) -> None:
    line = json.dumps({"id": "1", "request": request()})
    reply = client.post("/v1/bulk/allowance-schedule", data=line, content_type="application/x-ndjson")
    assert json.loads(reply.data.splitlines()[0])["result"]["markets"] == answer(client, request())["markets"]


def test_the_worst_course_can_be_given_as_it_was_told(client: FlaskClient) -> None:
    """The household's pensions have no charge, so the rates told are those that can be given."""
    worst = answer(client, request(number_of_paths=20))["markets"]["worst_path"]
    asked = request()
    asked["markets"] = {"source": "given", "paths": [worst["returns"]]}
    again = answer(client, asked)["markets"]["worst_path"]
    assert {**again, "path": worst["path"]} == worst


def test_a_history_is_asked_about_run_by_run(client: FlaskClient) -> None:
    years = len(answer(client, request())["years"])
    rates = [round(0.05 + 0.01 * (year % 7 - 3), 4) for year in range(years + 4)]
    asked = request()
    asked["markets"] = {"source": "history", "history": {"pension_growth": rates, "isa_growth": rates}}
    found = answer(client, asked)["markets"]
    assert (found["source"], found["paths"]) == ("history", 5)
    start = found["worst_path"]["path"]
    assert found["worst_path"]["returns"]["pension_growth"] == rates[start : start + years]


def test_with_a_charge_the_growth_of_pensions_is_less_by_it(client: FlaskClient) -> None:
    asked = request()
    years = len(answer(client, asked)["years"])
    asked["markets"] = {"source": "given", "paths": [{"pension_growth": [0.1] * years}]}
    for person in asked["household"]["people"]:
        for pension in person["pensions"]:
            pension["yearly_charge"] = 0.01
    found = answer(client, asked)["markets"]
    assert found["worst_path"]["returns"]["pension_growth"] == [0.089] * years  # 1.1 * 0.99


def test_the_estate_at_the_end_is_that_of_the_plan_where_nothing_varies(client: FlaskClient) -> None:
    found = answer(client, request(volatility={}, number_of_paths=1))
    last = found["markets"]["years"][-1]
    assert set(last["beneficiaries_receive"].values()) == {found["estate_at_the_end"]["beneficiaries_receive"]}
    asked = request(volatility={}, number_of_paths=1)
    del asked["household"]["estate"]
    assert "beneficiaries_receive" not in answer(client, asked)["markets"]["years"][-1]
