"""Invented clients fit the service: all are answered but those with a fault, and no State Pension is in vain."""

from __future__ import annotations

import json
from typing import Any

import pytest

import invent
from book import layout
from service import calculator

SOME = 1_000


def answers_to(rows: list[invent.Row]) -> list[dict[str, Any]]:
    lines = (json.dumps({"id": row["id"], "request": layout.request_of(row)}) for row in rows)
    *answers, _ = map(json.loads, calculator("withdrawal-tax").answers("\n".join(lines).encode()))
    return answers


@pytest.mark.parametrize("tax_year", ["2025-26", "2026-27"])
def test_a_book_without_faults_is_answered_wholly(tax_year: str) -> None:
    rows = list(invent.rows(SOME, 0, tax_year, 1))
    assert {answer["status"] for answer in answers_to(rows)} == {200}
    assert all(any(row[kind] for row in rows) for kind in invent.INCOMES)
    assert any(row["relief_at_source_contributions_gross"] for row in rows)


def test_a_share_of_faults_is_about_what_was_asked_for() -> None:
    faulty = [answer for answer in answers_to(list(invent.rows(SOME, 0.1, "2026-27", 1))) if answer["status"] != 200]
    assert 0.07 * SOME < len(faulty) < 0.13 * SOME
    assert {answer["status"] for answer in faulty} == {422}


def test_every_invented_state_pension_is_counted() -> None:
    """A State Pension before its age would be no income at all."""
    rows = [row for row in invent.rows(SOME, 0, "2026-27", 1) if row["state_pension"] and row["amount"]]
    without = [{**row, "state_pension": ""} for row in rows]
    more = [first != second for first, second in zip(answers_to(rows), answers_to(without), strict=True)]
    assert len(more) > SOME / 20
    assert all(more)
