"""Pairs of requests, one on either side of a warning: what the tests of the topics share."""

from __future__ import annotations

from typing import Any

import pytest

from tests.planning.warning_requests import request, w

Case = dict[str, Any]
"""A request of POST /v1/warnings."""

Pair = tuple[Case, Case]
"""What brings a warning, and what just does not: a penny, a day or a fact apart. Statutory amounts are typed from the sources
named beside them, not read from the figures."""

DRAWN = w("drawdown", 1_000)
LUMP = w("pcls", 1_000)
NO_FUND = {"uncrystallised": 0, "drawdown": 0}
HELD = {"uncrystallised": 100_000, "drawdown": 0}
A_DAY_IN = {"2020-21": "2020-06-01", "2023-24": "2023-06-01", "2026-27": "2026-06-01", "2027-28": "2027-06-01"}
LATER = {"2020-21": "2020-09-01", "2023-24": "2023-09-01", "2026-27": "2026-09-01", "2027-28": "2027-09-01"}
YEARS = tuple(A_DAY_IN)


def drawn(year: str, amount: float, **more: Any) -> Case:
    """Income from drawdown in a tax year."""
    return request(w("drawdown", amount, LATER[year]), date=A_DAY_IN[year], **more)


def either_side(cases: dict[str, list[Pair]]) -> list[Any]:
    """Every pair with its code, as the parameters of a test."""
    return [
        pytest.param(code, inside, outside, id=f"{code}-{number}")
        for code, pairs in cases.items()
        for number, (inside, outside) in enumerate(pairs)
    ]
