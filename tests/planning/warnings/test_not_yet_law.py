"""Figures and readings that are not law yet: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, income
from tests.planning.warnings.pairs import Case, Pair, drawn, either_side

CASES: dict[str, list[Pair]] = {
    "scottish_property_income": [
        (
            drawn("2027-28", 1_000, tax_residence="scotland", income=income(property_income=1)),
            drawn("2026-27", 1_000, tax_residence="scotland", income=income(property_income=1)),
        )
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)
