"""What is left at death: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

from typing import Any

import pytest

from tests.planning.warning_requests import by_code, found_in, request, w
from tests.planning.warnings.pairs import A_DAY_IN, DRAWN, HELD, LATER, NO_FUND, YEARS, Case, Pair, either_side


def estate(value: float, **more: bool | float | str) -> dict[str, Any]:
    return {
        "home": value,
        "home_to_descendants": False,
        "nil_rate_band_brought_forward": 0,
        "residence_nil_rate_band_brought_forward": 0,
        "first_death": "to_beneficiaries",
        **more,
    }


def leaves(
    value: float, year: str = "2026-27", /, *withdrawals: Any, pension: Any = HELD, **more: bool | float | str
) -> Case:
    """An estate beside a pension, in a tax year."""
    return request(*withdrawals, date=A_DAY_IN[year], pension=pension, estate=estate(value, **more))


def unknown(value: float, *missing: str) -> Case:
    """An estate with some facts left out."""
    whole = leaves(value, pension=NO_FUND)
    for name in missing:
        del whole["household"]["estate"][name]
    return whole


CASES: dict[str, list[Pair]] = {
    # Inheritance Tax Act 1984 Sch.1: 325,000. A lump sum of 10,000 adds that much before 6 April 2027.
    "withdrawal_enters_the_estate": [
        (
            leaves(315_000.01, year, w("pcls", 10_000, LATER[year])),
            leaves(315_000, year, w("pcls", 10_000, LATER[year])),
        )
        for year in YEARS[:3]
    ]
    + [
        # Twice the band, and with residence bands of 175,000.
        (
            leaves(
                640_000.01,
                "2026-27",
                w("pcls", 10_000),
                nil_rate_band_brought_forward=1,
                residence_nil_rate_band_brought_forward=1,
            ),
            leaves(
                640_000,
                "2026-27",
                w("pcls", 10_000),
                nil_rate_band_brought_forward=1,
                residence_nil_rate_band_brought_forward=1,
            ),
        ),
        (
            leaves(490_000.01, "2026-27", w("pcls", 10_000), home_to_descendants=True),
            leaves(490_000, "2026-27", w("pcls", 10_000), home_to_descendants=True),
        ),
        (
            leaves(400_000, "2026-27", w("pcls", 10_000, "2027-04-05")),
            leaves(400_000, "2026-27", w("pcls", 10_000, "2027-04-06")),
        ),
    ],
    # Finance Act 2026 s.71: deaths on or after 6 April 2027.
    "pension_counts_in_the_estate": [
        (leaves(225_000.01, "2027-28"), leaves(225_000, "2027-28")),
        (
            request(date="2027-04-06", pension=HELD, estate=estate(300_000)),
            request(date="2027-04-05", pension=HELD, estate=estate(300_000)),
        ),
        (leaves(300_000, "2027-28"), leaves(300_000, "2027-28", first_death="to_spouse")),
    ],
    "pension_counts_later": [
        (leaves(225_000.01), leaves(225_000)),
        (leaves(300_000, "2020-21"), leaves(300_000, "2027-28")),
        (leaves(300_000), leaves(300_000, pension=NO_FUND)),
    ],
    "spouse_exemption_postpones": [
        # ss.8A, 8G: the survivor has the bands of both, 650,000, and 1,000,000 with a home to descendants.
        (leaves(650_000.01, first_death="to_spouse"), leaves(650_000, first_death="to_spouse")),
        (leaves(550_000.01, "2027-28", first_death="to_spouse"), leaves(550_000, "2027-28", first_death="to_spouse")),
        (
            leaves(1_000_000.01, first_death="to_spouse", home_to_descendants=True),
            leaves(1_000_000, first_death="to_spouse", home_to_descendants=True),
        ),
        (leaves(700_000, first_death="to_spouse"), leaves(700_000)),
    ],
    "spouse_exemption_not_given": [
        (unknown(325_000.01, "first_death"), unknown(325_000, "first_death")),
        (unknown(400_000, "first_death"), unknown(400_000)),
        # Of a couple the estate is that of the last to die.
        (
            request(pension=NO_FUND, estate={"home": 900_000, "home_to_descendants": False}),
            request(
                pension=NO_FUND,
                estate={"home": 900_000, "home_to_descendants": False},
                partner={"date_of_birth": "1964-01-01"},
            ),
        ),
    ],
    "estate_facts_decide": [
        (unknown(325_000.01, "home_to_descendants"), unknown(325_000, "home_to_descendants")),
        (unknown(500_000, "home_to_descendants"), unknown(500_000.01, "home_to_descendants")),
        (unknown(650_000, "nil_rate_band_brought_forward"), unknown(650_000.01, "nil_rate_band_brought_forward")),
    ],
    # Inheritance Tax Act 1984 s.8D(5): 2,000,000.
    "residence_band_tapered": [
        (leaves(2_000_000.02, home_to_descendants=True), leaves(2_000_000, home_to_descendants=True)),
        (leaves(1_900_000.02, "2027-28", home_to_descendants=True), leaves(1_900_000.02, home_to_descendants=True)),
        (leaves(2_000_000.02, home_to_descendants=True), leaves(2_000_000.02)),
    ],
    "estate_not_given": [
        (
            request(DRAWN, pension={"uncrystallised": 300_000, "drawdown": 26_000.01}),
            request(DRAWN, pension={"uncrystallised": 300_000, "drawdown": 26_000}),
        ),
        (
            request(pension=NO_FUND, cash=100_000, isa={"value": 225_000.01}),
            request(pension=NO_FUND, cash=100_000, isa={"value": 225_000}),
        ),
        (request(), request(estate={"home": 0})),
    ],
    # ITEPA 2003 ss.637H-637M: 75, by the end of the tax year.
    "beneficiaries_pay_income_tax": [
        # 75 on the day of the request, 1 June 2026, and the day after it.
        (request(date_of_birth="1951-06-01"), request(date_of_birth="1951-06-02")),
        (request(date_of_birth="1950-01-01"), request(date_of_birth="1950-01-01", pension=NO_FUND)),
    ],
    "beneficiaries_pay_income_tax_soon": [
        (request(date_of_birth="1952-06-01"), request(date_of_birth="1952-06-02")),
        (request(date_of_birth="1951-06-02"), request(date_of_birth="1951-06-01")),
    ],
    "nominations_to_review": [
        (request(pension={"nomination": "none"}), request(pension={"nomination": "made"})),
        (
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2027-04-05"}),
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2027-04-06"}),
        ),
        (
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2020-01-01"}),
            request(date="2027-04-05", pension={"nomination": "made", "nomination_reviewed_on": "2020-01-01"}),
        ),
    ],
    # Inheritance Tax Act 1984 ss.3A, 7: a gift is exempt once seven years have passed.
    "gifts_within_seven_years": [
        (request(DRAWN, gifts_planned=0.01), request(DRAWN, gifts_planned=0)),
        (request(DRAWN, gifts_planned=5_000), request(gifts_planned=5_000)),
    ],
    # Two years from the day the scheme knew.
    "two_year_window_running": [
        (
            request(inherited_pension={"scheme_knew_on": "2024-06-02", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2024-06-01", "died_before_75": True}),
        ),
        (
            request(inherited_pension={"scheme_knew_on": "2026-01-01", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2026-01-01", "died_before_75": False}),
        ),
    ],
    "two_year_window_passed": [
        (
            request(inherited_pension={"scheme_knew_on": "2024-06-01", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2024-06-02", "died_before_75": True}),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


@pytest.mark.parametrize("missing", ["home_to_descendants", "first_death"])
def test_what_decides_comes_before_what_counts_later(missing: str) -> None:
    whole = leaves(450_000)
    del whole["household"]["estate"][missing]
    found = [warning.code for warning in found_in(whole)]
    decides = {"home_to_descendants": "estate_facts_decide", "first_death": "spouse_exemption_not_given"}[missing]
    assert found.index(decides) < found.index("pension_counts_later")


def test_inheritance_tax_and_income_tax_together_are_told_from_75() -> None:
    """ITEPA 2003 s.567B: income tax is on what the inheritance tax leaves: 40%, then 20%, 40% or 45% of 60%, are 52%, 64%
    and 67%. 300,000 beside an estate that uses all bands bears 120,000."""
    old = leaves(325_000, "2027-28", pension={"uncrystallised": 300_000, "drawdown": 0})
    old["household"]["people"][0]["date_of_birth"] = "1948-01-01"
    told = by_code(old)["pension_counts_in_the_estate"]
    assert told.effect == "check"
    assert told.money["extra_inheritance_tax"] == 12_000_000
    assert "taxed at 20% or 40% or 45%, they would lose 52% or 64% or 67% in all." in told.detail
    young = leaves(325_000, "2027-28", pension={"uncrystallised": 300_000, "drawdown": 0})
    assert "income tax" not in by_code(young)["pension_counts_in_the_estate"].detail


def test_with_all_to_the_spouse_a_lost_residence_band_costs_nothing_now() -> None:
    told = by_code(leaves(2_100_000, first_death="to_spouse", home_to_descendants=True))["residence_band_tapered"]
    assert told.effect == "check"
    assert "extra_inheritance_tax" not in told.money
    assert "£0" not in told.detail
