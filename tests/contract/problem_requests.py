"""For each problem example of the agreement, the call that gives it."""

from __future__ import annotations

from typing import Any

WITHDRAWAL_TAX = "/v1/withdrawal-tax"
JSON_BODY = {"method": "POST", "path": WITHDRAWAL_TAX, "content_type": "application/json"}

PROBLEM_REQUESTS: dict[str, dict[str, Any]] = {
    "comma_missing": {**JSON_BODY, "data": b'{"tax_year": "2026-27" "person": {}}'},
    "text_wanted_from_json": {"method": "GET", "path": "/v1/tax-years", "headers": {"Accept": "text/csv"}},
    "body_of_70000_bytes": {**JSON_BODY, "data": b"[" + b" " * 69_998 + b"]"},
    "form_instead_of_json": {
        "method": "POST",
        "path": WITHDRAWAL_TAX,
        "content_type": "application/x-www-form-urlencoded",
        "data": b"tax_year=2026-27",
    },
    "several_faults_at_once": {
        **JSON_BODY,
        "data": b"""{
            "tax_year": "2026-27",
            "person": {
                "date_of_birth": "14/05/1966",
                "tax_residence": "england",
                "income": [{"kind": "employment", "amount": 30000.005}]
            },
            "pension": {"uncrystalised": 400000},
            "withdrawal": {"method": "ufpls", "amount": 40000}
        }""",
    },
    "unknown_word_in_include": {
        **JSON_BODY,
        "query_string": "include=steps",
        "data": b"""{
            "tax_year": "2026-27",
            "person": {"date_of_birth": "1966-05-14", "tax_residence": "england"},
            "pension": {"uncrystallised": 400000},
            "withdrawal": {"method": "ufpls", "amount": 40000}
        }""",
    },
    "year_before_the_figures_start": {"method": "GET", "path": "/v1/tax-years/1999-00"},
    "query_where_none_is_accepted": {"method": "GET", "path": "/v1/tax-years", "query_string": "page=2"},
}
