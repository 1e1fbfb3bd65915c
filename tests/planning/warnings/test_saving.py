"""Allowances for saving: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, income, request, saved, w
from tests.planning.warnings.pairs import DRAWN, YEARS, Case, Pair, drawn, either_side

WORKS = {"income": income(employment=30_000)}


CASES: dict[str, list[Pair]] = {
    "money_purchase_annual_allowance_triggered": [
        (request(w("ufpls", 1)), request(w("pcls", 1))),
        (request(w("ufpls", 1)), request(w("small_pot", 1))),
        (request(DRAWN), request(DRAWN, flexibly_accessed=True)),
        (request(w("pcls_and_drawdown", 4)), request()),
    ],
    "tell_other_schemes": [
        (request(DRAWN, **WORKS), request(DRAWN)),
        (request(DRAWN, saves_in_other_schemes=True), request(DRAWN, saves_in_other_schemes=False, **WORKS)),
        (request(DRAWN, contributions=[saved(1)]), request(DRAWN, contributions=[])),
        (request(DRAWN, contributions=[{"yearly": 1, "relief": "relief_at_source"}]), request(DRAWN)),
        (request(DRAWN, **WORKS), request(w("pcls", 1_000), **WORKS)),
    ],
    "flexible_access_not_given": [
        (request(flexibly_accessed=None), request(flexibly_accessed=False)),
        (request(flexibly_accessed=None), request(flexibly_accessed=None, pension={"drawdown": 0})),
        (
            request(flexibly_accessed=None, pension={"drawdown": 0}, contributions=[saved(1)]),
            request(
                flexibly_accessed=None, pension={"drawdown": 0}, contributions=[saved(1, saving="defined_benefit")]
            ),
        ),
    ],
    # Finance Act 2004 s.227ZA: 4,000 to 2022-23, 10,000 since (PTM056540).
    "contributions_above_money_purchase_annual_allowance": [
        *(
            (
                drawn(year, 1_000, contributions=[saved(limit + 0.01, f"20{year[5:]}-01-01")]),
                drawn(year, 1_000, contributions=[saved(limit, f"20{year[5:]}-01-01")]),
            )
            for year, limit in zip(YEARS, (4_000, 10_000, 10_000, 10_000), strict=True)
        ),
        # Saving before the first flexible access is not counted.
        (
            request(DRAWN, contributions=[saved(20_000, "2026-09-02")]),
            request(DRAWN, contributions=[saved(20_000, "2026-09-01")]),
        ),
        (
            request(contributions=[saved(20_000, "2026-09-01")], flexibly_accessed=True),
            request(contributions=[saved(20_000, "2026-09-01")]),
        ),
        (
            request(DRAWN, contributions=[saved(20_000)]),
            request(DRAWN, contributions=[saved(20_000, saving="defined_benefit")]),
        ),
    ],
    # Finance Act 2004 s.228ZA, by the tests of an open tax and benefit model: 260,003 and 200,001 leave 59,999.
    "annual_allowance_tapered": [
        (
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[saved(1_000)]),
            request(w("drawdown", 60_001), income=income(employment=200_000), contributions=[saved(1_000)]),
        ),
        # 2020-21: above 240,000 of adjusted income.
        (
            drawn("2020-21", 40_002, income=income(employment=200_000), contributions=[saved(1, "2021-01-01")]),
            drawn("2020-21", 40_001, income=income(employment=200_000), contributions=[saved(1, "2021-01-01")]),
        ),
        (
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[saved(1_000)]),
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[]),
        ),
    ],
    "annual_allowance_exceeded": [
        (
            request(contributions=[saved(60_000.01)], carry_forward=0),
            request(contributions=[saved(60_000)], carry_forward=0),
        ),
        (
            request(contributions=[saved(70_000.01)], carry_forward=10_000),
            request(contributions=[saved(70_000)], carry_forward=10_000),
        ),
        # 40,000 to 2022-23.
        (
            request(date="2020-06-01", contributions=[saved(40_000.01, "2020-07-01")], carry_forward=0),
            request(date="2020-06-01", contributions=[saved(40_000, "2020-07-01")], carry_forward=0),
        ),
        # The same model's: 210,000 of pay and 80,000 from the employer leave 45,000.
        (
            request(
                contributions=[saved(80_000, payer="employer")], carry_forward=34_999, income=income(employment=210_000)
            ),
            request(
                contributions=[saved(80_000, payer="employer")], carry_forward=35_000, income=income(employment=210_000)
            ),
        ),
    ],
    "carry_forward_decides": [
        (request(contributions=[saved(60_000.01)]), request(contributions=[saved(60_000)])),
        (request(contributions=[saved(70_000)]), request(contributions=[saved(70_000)], carry_forward=10_000)),
    ],
    # s.227B: 60,000 less 10,000, and only where more than 10,000 is paid into money purchase saving.
    "defined_benefit_saving_above_alternative_allowance": [
        (
            request(DRAWN, contributions=[saved(10_001), saved(50_000.01, saving="defined_benefit")]),
            request(DRAWN, contributions=[saved(10_001), saved(50_000, saving="defined_benefit")]),
        ),
        (
            request(DRAWN, contributions=[saved(10_000.01), saved(55_000, saving="defined_benefit")]),
            request(DRAWN, contributions=[saved(10_000), saved(55_000, saving="defined_benefit")]),
        ),
    ],
    "contributions_not_given": [
        (request(DRAWN, **WORKS), request(DRAWN, contributions=[], **WORKS)),
        (request(DRAWN, **WORKS), request(DRAWN)),
        (request(w("pcls", 7_500.01), **WORKS), request(w("pcls", 7_500), **WORKS)),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


def test_of_two_people_each_is_named_once_in_what_they_must_tell() -> None:
    body = request(DRAWN, partner={"date_of_birth": "1960-01-01"}, **WORKS)
    body["household"]["people"][0]["name"] = "Wren"
    detail = by_code(body)["tell_other_schemes"].detail
    assert "Wren must tell every other scheme they pay into within 91 days" in detail
    assert detail.endswith("We were not told whether there is another scheme.")
