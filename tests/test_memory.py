"""What heavy work takes of a worker's memory is given back after it."""

from __future__ import annotations

import json
from typing import Any

import pytest
import requests
from flask import Flask
from flask.testing import FlaskClient

from service.http.heavy import HOST, Host
from tests.benchmarks.processes import HOST as ADDRESS
from tests.benchmarks.processes import TOP, service

LEAST_TAKEN_BYTES = 10_000_000
"""A plan such as ``large`` takes more than that while it is made; before anything was given back, a worker kept 28 MB."""


def example(name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((TOP / "examples" / "requests" / f"{name}.json").read_text("utf-8"))
    return found


def large(price_inflation: float) -> dict[str, Any]:
    """A plan of two people over 43 years, in scenarios and with sensitivity: hundreds of years are held at a time."""
    people = [
        {
            "date_of_birth": "1940-01-17",
            "tax_residence": "scotland",
            "income": [{"kind": "annuity", "amount": 56_000}],
            "pensions": [{"uncrystallised": 330_000, "drawdown": 125_000}],
            "cash": 2_000,
        },
        {
            "date_of_birth": "1957-06-02",
            "tax_residence": "wales",
            "income": [{"kind": "property_income", "amount": 14_000, "to": "2034-07-13"}],
            "pensions": [{"uncrystallised": 2_100_000}],
            "isa": {"value": 129_000},
            "cash": 31_000,
        },
    ]
    growth = {"pension_growth": 0.03, "isa_growth": 0.03}
    return {
        "household": {"people": people},
        "start_date": "2029-04-16",
        "end_date": "2072-10-22",
        "aim": {"goal": "basic_rate_band"},
        "lump_sums": "all_now",
        "assumptions": {
            "pension_growth": 0.01,
            "isa_growth": 0.02,
            "cash_interest": 0.03,
            "thresholds_after_freeze": "prices",
            "price_inflation": price_inflation,
            "tax_on_remaining_pension": {"rate": 0.45},
            "scenarios": {"middle": growth, "high": {**growth, "pension_growth": 0.06}},
        },
        "sensitivity": {"growth": 0.005, "length_of_life": 2},
    }


def test_a_worker_gives_back_what_a_large_plan_has_taken() -> None:
    with service(1) as server:
        server.await_workers()
        url = f"http://{ADDRESS}:{server.port}/v1/allowance-schedule"
        for name in ("plan-personal-allowance", "plan-couple-most-after-tax"):
            assert requests.post(url, json=example(name), timeout=60).status_code == 200
        (before,) = server.private_bytes()
        for thousandths in range(10, 15):
            assert requests.post(url, json=large(thousandths / 1_000), timeout=60).status_code == 200
        (after,) = server.private_bytes()
    assert after - before < LEAST_TAKEN_BYTES


@pytest.mark.parametrize(
    ("path", "body", "status", "times"),
    [
        ("/v1/withdrawal-tax", example("first-ufpls"), 200, 0),
        ("/v1/allowance-schedule", example("plan-couple-most-after-tax"), 200, 1),
        ("/v1/allowance-schedule", {}, 422, 0),
        ("/v1/bulk/withdrawal-tax", {"id": 1, "request": example("first-ufpls")}, 200, 1),
    ],
)
def test_the_worker_tidies_up_after_heavy_work_alone(
    app: Flask,
    client: FlaskClient,
    monkeypatch: pytest.MonkeyPatch,
    path: str,
    body: dict[str, Any],
    status: int,
    times: int,
) -> None:
    tidied: list[int] = []
    monkeypatch.setitem(app.extensions, HOST, Host(lambda: None, 60.0, lambda: tidied.append(1)))
    kind = "application/x-ndjson" if "bulk" in path else "application/json"
    reply = client.post(path, data=json.dumps(body), content_type=kind)
    assert (reply.status_code, reply.data[-1:]) == (status, b"\n" if "bulk" in path else b"}")
    assert len(tidied) == times
