"""How to ask the service for what a response example shows.

A response example belongs to a call of the same name: a request example, parameter examples, or, where the call is
a bad one, an entry of PROBLEM_REQUESTS.
"""

from __future__ import annotations

import json
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from .agreement import NDJSON, Operation

JSON_BODY = {"method": "POST", "path": "/v1/withdrawal-tax", "content_type": "application/json"}
WARNINGS_BODY = {**JSON_BODY, "path": "/v1/warnings"}
PLAN_BODY = {**JSON_BODY, "path": "/v1/allowance-schedule"}
TIMING_BODY = {**JSON_BODY, "path": "/v1/lump-sum-timing"}

PROBLEM_REQUESTS: dict[str, dict[str, Any]] = {
    "comma_missing": {**JSON_BODY, "data": b'{"tax_year": "2026-27" "household": {}}'},
    "csv_wanted": {"method": "GET", "path": "/v1/tax-years", "headers": {"Accept": "text/csv"}},
    "body_of_70000_bytes": {**JSON_BODY, "data": b"[" + b" " * 69_998 + b"]"},
    "form_instead_of_json": {
        **JSON_BODY,
        "content_type": "application/x-www-form-urlencoded",
        "data": b"tax_year=2026-27",
    },
    "several_faults_at_once": {
        **JSON_BODY,
        "data": b"""{
            "household": {
                "people": [
                    {
                        "date_of_birth": "14/05/1966",
                        "tax_residence": "england",
                        "income": [{"kind": "employment", "amount": 30000.005}],
                        "pensions": [{"uncrystalised": 400000}]
                    }
                ]
            },
            "tax_year": "2026-27",
            "withdrawal": {"method": "ufpls", "amount": 40000}
        }""",
    },
    "unknown_word_in_include": {
        **JSON_BODY,
        "query_string": "include=steps",
        "data": b"""{
            "household": {
                "people": [
                    {
                        "date_of_birth": "1966-05-14",
                        "tax_residence": "england",
                        "pensions": [{"uncrystallised": 400000}]
                    }
                ]
            },
            "tax_year": "2026-27",
            "withdrawal": {"method": "ufpls", "amount": 40000}
        }""",
    },
    "several_faults_in_a_plan": {
        **PLAN_BODY,
        "data": b"""{
            "household": {
                "people": [
                    {
                        "date_of_birth": "1964-08-21",
                        "tax_residence": "england",
                        "income": [{"kind": "annuity", "amount": 2400, "increases": 0.5}],
                        "pensions": [{"uncrystallised": 180000}],
                        "isa": {"worth": 42000}
                    }
                ]
            },
            "start_date": "2026-04-06",
            "aim": {"goal": "everything"},
            "assumptions": {"pension_growth": 4}
        }""",
    },
    "rules_that_a_plan_breaks": {
        **PLAN_BODY,
        "data": b"""{
            "household": {
                "people": [
                    {
                        "date_of_birth": "1951-01-15",
                        "tax_residence": "england",
                        "income": [{"kind": "state_pension", "share_of_full_rate": 1}],
                        "pensions": [{"uncrystallised": 180000}]
                    }
                ],
                "spending": [{"amount": 9000, "from": "2036-04-06", "to": "2036-04-05"}]
            },
            "start_date": "2035-04-06",
            "end_date": "2035-01-01",
            "aim": {"goal": "personal_allowance"}
        }""",
    },
    "several_faults_in_circumstances": {
        **WARNINGS_BODY,
        "data": b"""{
            "household": {
                "people": [
                    {
                        "date_of_birth": "1960-02-29",
                        "tax_residence": "scotland",
                        "pensions": [{"uncrystallised": 20000, "scheme_kind": "ours"}],
                        "guidance_taken": true
                    }
                ],
                "will": {}
            },
            "date": "1 June 2026",
            "withdrawals": [{"method": "ufpls", "amount": 15000}]
        }""",
    },
    "several_faults_in_a_comparison": {
        **TIMING_BODY,
        "data": b"""{
            "household": {
                "people": [
                    {
                        "date_of_birth": "1964-05-02",
                        "tax_residence": "england",
                        "pensions": [{"uncrystallised": 200000}]
                    }
                ],
                "estate": {"home": 420000, "charity_share": 10}
            },
            "start_date": "2026-10-01",
            "options": [
                {"lump_sums": "phased", "yearly": "isa"},
                {"lump_sums": "at_age", "age": 67.5, "aim": {"goal": "most_after_tax"}},
                {"when": "never"}
            ],
            "deaths": [{"person": 2, "age": 80}],
            "assumptions": {"pension_growth": 0.0451234567}
        }""",
    },
    "bulk_of_nothing_known": {**JSON_BODY, "path": "/v1/bulk/tax-years", "content_type": NDJSON, "data": b"{}"},
    "bulk_of_10001_records": {
        **JSON_BODY,
        "path": "/v1/bulk/withdrawal-tax",
        "content_type": NDJSON,
        "data": b"{}\n" * 10_001,
    },
    "json_array_instead_of_lines": {**JSON_BODY, "path": "/v1/bulk/withdrawal-tax", "data": b"[]"},
    "year_before_the_figures_start": {"method": "GET", "path": "/v1/tax-years/1999-00"},
    "query_where_none_is_accepted": {"method": "GET", "path": "/v1/tax-years", "query_string": "page=2"},
}


def replay(client: FlaskClient, operation: Operation, name: str) -> TestResponse:
    """Make the call that a response example belongs to."""
    if name in PROBLEM_REQUESTS:
        return client.open(**PROBLEM_REQUESTS[name])
    given = {
        (parameter["in"], parameter["name"]): parameter["examples"][name]["value"]
        for parameter in operation.parameters()
        if name in parameter.get("examples", {})
    }
    path = operation.path.format(**{key: value for (place, key), value in given.items() if place == "path"})
    query = {key: ",".join(value) for (place, key), value in given.items() if place == "query"}
    body = operation.request_examples().get(name)
    if NDJSON in operation.object.get("requestBody", {}).get("content", {}):
        return client.open(path, method=operation.method, query_string=query, data=body, content_type=NDJSON)
    return client.open(path, method=operation.method, query_string=query, json=body)


def held_by(reply: TestResponse) -> Any:
    """Return what a reply holds: a JSON document, or a list of one from each line."""
    return of_lines(reply.text) if reply.content_type == NDJSON else reply.get_json()


def of_lines(text: str) -> list[Any]:
    """Return the JSON documents of the lines of a text."""
    return [json.loads(line) for line in text.splitlines()]


def as_shown(answer: Any, example: Any) -> Any:
    """Return the answer cut to what the example shows: of a year's figures and of all warnings it shows a few."""
    if isinstance(example, dict) and "warning_codes" in example:
        codes = {entry["code"] for entry in example["warning_codes"]}
        return {**answer, "warning_codes": [entry for entry in answer["warning_codes"] if entry["code"] in codes]}
    if not isinstance(example, dict) or "figures" not in example:
        return answer
    shown = {figure["name"] for figure in example["figures"]}
    return {**answer, "figures": [figure for figure in answer["figures"] if figure["name"] in shown]}


VERSIONS = ("version", "rules_version", "figures_version")


def without_versions(node: Any) -> Any:
    """Return a document without its versions of rules and figures, which change whenever any figure does, or the code."""
    if isinstance(node, dict):
        return {key: without_versions(value) for key, value in node.items() if key not in VERSIONS}
    if isinstance(node, list):
        return [without_versions(value) for value in node]
    return node
