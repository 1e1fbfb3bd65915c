"""What an answer says of itself in its headers, and what is kept between calls: nothing."""

from __future__ import annotations

import json
import logging
import re
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from service.http import check, quote, schedule, timing
from service.law.dates import day_month_year
from tests.households import BOOK

from .agreement import PROBLEM_JSON, Operation, component, operations, validator

CALCULATIONS = {operation.id: operation for operation in operations() if operation.takes_json}
BODIES = {
    "calculateWithdrawalTax": "rowan_lump_sum_from_untouched_funds",
    "planAllowanceSchedule": "fern_fills_her_personal_allowance",
    "findWarnings": "idris_saves_and_withdraws",
    "compareLumpSumTiming": "alder_and_bryony_now_or_in_stages",
}
# Where each calculation is called by the module that answers over HTTP.
INSIDE = {
    "calculateWithdrawalTax": (quote, "quote"),
    "planAllowanceSchedule": (schedule, "schedule"),
    "findWarnings": (check, "warnings_asked"),
    "compareLumpSumTiming": (timing, "timing"),
}
KEPT = ["/v1/warning-codes", "/v1/tax-years", "/v1/tax-years/2026-27", "/openapi.yaml"]
ASKED_EACH_TIME = ["/docs", "/docs/swagger-ui.css", "/docs/swagger-ui-bundle.js"]
each_calculation = pytest.mark.parametrize("calculation", CALCULATIONS.values(), ids=CALCULATIONS)


def body_of(calculation: Operation) -> dict[str, Any]:
    """Return a request of the agreement that the calculation answers."""
    body: dict[str, Any] = calculation.request_examples()[BODIES[calculation.id]]
    return body


@each_calculation
def test_answer_about_a_person_is_not_kept(client: FlaskClient, calculation: Operation) -> None:
    # RFC 9111 section 5.2.2.5.
    for body in calculation.request_examples().values():
        assert client.post(calculation.path, json=body).headers["Cache-Control"] == "no-store"
    assert client.post(calculation.path, data=b"{").headers["Cache-Control"] == "no-store"


@each_calculation
def test_answer_names_its_rules_version(client: FlaskClient, calculation: Operation) -> None:
    reply = client.post(calculation.path, json=body_of(calculation))
    version = reply.get_json()["rules"]["version"]
    assert reply.headers["Rules-Version"] == version
    ready = client.get("/health/ready").get_json()
    assert ready["rules_version"] == client.get("/v1/warning-codes").get_json()["rules_version"] == version


@each_calculation
def test_answer_says_which_rules_figures_and_software_it_comes_from(
    client: FlaskClient, calculation: Operation
) -> None:
    answer = client.post(calculation.path, json=body_of(calculation)).get_json()
    rules = answer["rules"]
    assert list(rules) == ["version", "figures_version", "software_version", "law_as_of", "standing", "caveats"]
    assert rules["figures_version"] == client.get("/v1/tax-years").get_json()["figures_version"]
    assert rules["software_version"] == client.get("/health/ready").get_json()["software_version"]
    # The first character, so that no program that reads a table takes a version for a number.
    assert re.fullmatch("r[0-9a-f]{12}", rules["version"])
    assert re.fullmatch("f[0-9a-f]{12}", rules["figures_version"])
    assert rules["law_as_of"] == BOOK.law_as_of.isoformat()
    # The notice says so to clients.
    assert f"The figures are as known on {day_month_year(BOOK.law_as_of)}; later changes" in answer["notice"]


@each_calculation
def test_same_request_gives_the_same_bytes(client: FlaskClient, calculation: Operation) -> None:
    offered = [one["schema"]["items"]["enum"] for one in calculation.parameters() if one["name"] == "include"]
    query = {"include": ",".join(*offered)} if offered else {}
    bodies = [*calculation.request_examples().values()]
    first = [client.post(calculation.path, json=body, query_string=query).data for body in bodies]
    # The other way round, so that an answer that depended on the call before it would show.
    second = [client.post(calculation.path, json=body, query_string=query).data for body in bodies[::-1]]
    assert first == second[::-1]


@pytest.mark.parametrize("path", [*KEPT, *ASKED_EACH_TIME])
def test_unchanged_answer_is_not_sent_again(client: FlaskClient, path: str) -> None:
    # RFC 9110 sections 8.8.3, 13.1.2 and 15.4.5.
    kept = "public, max-age=3600" if path in KEPT else "no-cache"
    first = client.get(path)
    tag = first.headers["ETag"]
    assert not tag.startswith("W/")
    assert first.headers["Cache-Control"] == kept
    for known in (tag, f'"other", {tag}', f"W/{tag}", "*"):
        again = client.get(path, headers={"If-None-Match": known})
        assert (again.status_code, again.data) == (304, b"")
        assert again.headers["ETag"] == tag
        assert again.headers["Cache-Control"] == kept
    for unknown in ('"other"', "", "\u00e9"):
        again = client.get(path, headers={"If-None-Match": unknown})
        assert (again.status_code, again.data) == (200, first.data)


def test_each_tax_year_has_a_tag_of_its_own(client: FlaskClient) -> None:
    years = component("TaxYear")["enum"]
    tags = {client.get(f"/v1/tax-years/{year}").headers["ETag"] for year in years}
    assert len(tags) == len(years)


@pytest.mark.parametrize("path", [*KEPT, *ASKED_EACH_TIME, "/health/live", "/health/ready"])
def test_head_is_get_without_the_body(client: FlaskClient, path: str) -> None:
    # RFC 9110 section 9.3.2.
    get, head = client.get(path), client.head(path)
    assert head.status_code == get.status_code == 200
    assert head.data == b""
    of_each = ("Date", "X-Request-ID")
    assert {name: value for name, value in head.headers if name not in of_each} == {
        name: value for name, value in get.headers if name not in of_each
    }


def values_in(node: Any) -> list[str]:
    """Return the single values of a body as text, at every depth."""
    if isinstance(node, dict | list):
        inner = node.values() if isinstance(node, dict) else node
        return [value for child in inner for value in values_in(child)]
    return [str(node)]


@each_calculation
def test_fault_of_the_service_tells_and_logs_nothing_about_the_person(
    app: Flask, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, calculation: Operation
) -> None:
    def fail(*_: Any) -> None:
        raise ZeroDivisionError("a cause that stays inside")

    monkeypatch.setattr(*INSIDE[calculation.id], fail)
    body = body_of(calculation)
    with caplog.at_level(logging.DEBUG):
        reply = app.test_client().post(calculation.path, json=body)
    assert reply.status_code == 500
    assert reply.content_type == PROBLEM_JSON
    found = json.loads(reply.data)
    assert validator(component("Problem")).is_valid(found)
    assert (found["status"], found["code"], found["errors"]) == (500, "internal-error", [])
    assert "inside" not in reply.get_data(as_text=True)
    assert "ZeroDivisionError" not in reply.get_data(as_text=True)
    # The log has the cause, for those who run the service, but not what was asked.
    assert "ZeroDivisionError" in caplog.text
    telling = [value for value in values_in(body) if re.fullmatch(r"[0-9-]{10}|[0-9]{4,}", value)]
    assert len(telling) >= 4
    assert [value for value in telling if value in caplog.text] == []
