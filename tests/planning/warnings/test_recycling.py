"""Lump sums paid back in: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

from typing import Any

import pytest

from tests.planning.warning_requests import by_code, income, request, saved, w
from tests.planning.warnings.pairs import Case, Pair, either_side


def recycled(lump_sum: float = 25_000, paid: float = 32_500, usual: float = 7_500, **more: Any) -> Case:
    """PTM133850 example 1: a pot of 100,000, earnings of 75,000, 7,500 usually saved, a lump sum of 25,000 paid in."""
    facts: Case = {
        "pension": {"uncrystallised": 100_000, "drawdown": 0},
        "income": income(employment=75_000),
        "contributions": [saved(paid)],
        "usual_contributions": usual,
        "contribution_increase_planned": True,
        **more,
    }
    return request(w("pcls", lump_sum), date_of_birth="1969-01-01", **facts)


def unplanned(paid: float) -> Case:
    whole = recycled(paid=paid)
    del whole["household"]["people"][0]["circumstances"]["contribution_increase_planned"]
    return whole


def unusual(paid: float) -> Case:
    whole = recycled(paid=paid)
    del whole["household"]["people"][0]["circumstances"]["usual_contributions"]
    return whole


CASES: dict[str, list[Pair]] = {
    "recycling_rule_applies": [
        (recycled(), recycled(contribution_increase_planned=False)),
        # 30% of 25,000 is 7,500: more than that on top of the usual 7,500.
        (recycled(paid=15_000.01), recycled(paid=15_000)),
        # More than 7,500 of lump sums in twelve months.
        (recycled(7_500.01), recycled(7_500)),
        # PTM133850 example 2: those of the twelve months before are added; 9,000 of 2013-14 as 5,000 and 4,000.
        (
            recycled(5_000, lump_sums_in_last_12_months=2_500.01),
            recycled(5_000, lump_sums_in_last_12_months=2_500),
        ),
        # More than 30% over the usual level: 100,000 usual, 130,000 paid.
        (recycled(paid=130_000.01, usual=100_000), recycled(paid=130_000, usual=100_000)),
        # The tax year, two before and two after.
        (
            recycled(contributions=[saved(32_500, "2028-04-06")]),
            recycled(contributions=[saved(32_500, "2029-04-06")]),
        ),
        (
            recycled(contributions=[saved(32_500, "2024-04-06")]),
            recycled(contributions=[saved(32_500, "2024-04-05")]),
        ),
        # A UFPLS is outside the rule.
        (
            recycled(),
            request(
                w("ufpls", 100_000),
                pension={"uncrystallised": 100_000},
                contributions=[saved(32_500)],
                usual_contributions=7_500,
                contribution_increase_planned=True,
            ),
        ),
    ],
    "recycling_charges": [(recycled(), recycled(contribution_increase_planned=False))],
    "recycling_may_apply": [(unplanned(15_000.01), unplanned(15_000)), (unplanned(15_000.01), recycled())],
    "usual_contributions_not_given": [(unusual(7_500.01), unusual(7_500)), (unusual(15_000), recycled())],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


@pytest.mark.parametrize(
    ("pot", "lump_sum", "charges"),
    [
        # 40% of 30,000 of 200,000; with the surcharge of 15% once it is a quarter of the fund (PTM133840, s.210).
        (200_000, 30_000, 12_000),
        (120_000.04, 30_000, 12_000),
        (120_000, 30_000, 16_500),
        # PTM133850 example 1 has 25,000 of 100,000.
        (100_000, 25_000, 13_750),
    ],
)
def test_the_charges_on_a_recycled_lump_sum(pot: float, lump_sum: float, charges: float) -> None:
    body = recycled(lump_sum, paid=45_000, pension={"uncrystallised": pot, "drawdown": 0})
    found = by_code(body)
    assert found["recycling_charges"].money["tax_charges"] == found["recycling_charges"].cost == charges * 100
    assert found["recycling_rule_applies"].cost == charges * 100
    del body["household"]["people"][0]["circumstances"]["contribution_increase_planned"]
    assert by_code(body)["recycling_may_apply"].money["tax_charges_if_planned"] == charges * 100
