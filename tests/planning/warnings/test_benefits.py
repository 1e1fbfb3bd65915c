"""Benefits and care: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

from typing import Any

import pytest

from tests.planning.warning_requests import by_code, income, request, w
from tests.planning.warnings.pairs import LUMP, NO_FUND, Case, Pair, drawn, either_side


def receives(*withdrawals: Any, benefit: str, **more: Any) -> Case:
    return request(*withdrawals, benefits={benefit: True}, **more)


CASES: dict[str, list[Pair]] = {
    # Universal Credit Regulations 2013 regs 18, 72: 6,000 and 16,000, and 4.35 a month for each 250 or part.
    "universal_credit_reduced": [
        (
            receives(LUMP, benefit="universal_credit", cash=5_000.01),
            receives(LUMP, benefit="universal_credit", cash=5_000),
        ),
        (
            receives(LUMP, benefit="universal_credit", isa={"value": 5_000.01}),
            receives(LUMP, benefit="pension_credit", isa={"value": 5_000.01}),
        ),
    ],
    "universal_credit_ends": [
        (
            receives(LUMP, benefit="universal_credit", cash=15_000.01),
            receives(LUMP, benefit="universal_credit", cash=15_000),
        ),
        (
            receives(LUMP, benefit="universal_credit", cash=16_000),
            receives(LUMP, benefit="universal_credit", cash=16_000.01),
        ),
    ],
    # State Pension Credit Regulations 2002: 10,000, and 1 a week for each 500 or part.
    "pension_credit_reduced": [
        (
            receives(LUMP, benefit="pension_credit", cash=9_000.01),
            receives(LUMP, benefit="pension_credit", cash=9_000),
        )
    ],
    # Pensions Act 1995 Sch.4: born on 6 January 1961, 66 years and 10 months: 6 November 2027.
    "notional_income": [
        (
            receives(benefit="pension_credit", date_of_birth="1960-04-05"),
            receives(benefit="pension_credit", date_of_birth="1961-01-06"),
        ),
        (
            receives(benefit="housing_benefit", date_of_birth="1950-01-01"),
            receives(benefit="council_tax_support", date_of_birth="1950-01-01"),
        ),
        (
            receives(benefit="pension_credit", date_of_birth="1950-01-01"),
            receives(benefit="pension_credit", date_of_birth="1950-01-01", pension=NO_FUND),
        ),
    ],
    "deprivation_of_capital": [
        (receives(LUMP, benefit="universal_credit"), receives(LUMP, benefit="universal_credit", gifts_planned=0)),
        (
            receives(LUMP, benefit="care_support", gifts_planned=0.01),
            receives(LUMP, benefit="care_support", gifts_planned=0),
        ),
        (receives(LUMP, benefit="universal_credit"), receives(benefit="universal_credit")),
    ],
    # ITEPA 2003 s.681I: more than 35,000, from 2025-26.
    "winter_fuel_payment_repaid": [
        (
            request(w("drawdown", 5_000.01), date_of_birth="1955-01-01", income=income(defined_benefit_pension=30_000)),
            request(w("drawdown", 5_000), date_of_birth="1955-01-01", income=income(defined_benefit_pension=30_000)),
        ),
        # 80 on the last day of the tax year, and so the higher payment.
        (
            request(w("drawdown", 5_000.01), date_of_birth="1947-04-05", income=income(defined_benefit_pension=30_000)),
            request(w("drawdown", 5_000), date_of_birth="1947-04-05", income=income(defined_benefit_pension=30_000)),
        ),
        (
            request(
                w("drawdown", 6_000, "2025-04-06"),
                date="2025-04-06",
                date_of_birth="1950-01-01",
                income=income(state_pension=30_000),
            ),
            request(
                w("drawdown", 6_000, "2025-04-05"),
                date="2025-04-05",
                date_of_birth="1950-01-01",
                income=income(state_pension=30_000),
            ),
        ),
        (
            request(w("drawdown", 6_000), date_of_birth="1960-04-05", income=income(employment=30_000)),
            request(w("drawdown", 6_000), date_of_birth="1961-01-06", income=income(employment=30_000)),
        ),
        (
            request(w("drawdown", 6_000), date_of_birth="1950-01-01", income=income(state_pension=30_000), benefits={}),
            request(
                w("drawdown", 6_000),
                date_of_birth="1950-01-01",
                income=income(state_pension=30_000),
                benefits={"pension_credit": True},
            ),
        ),
        (
            drawn("2027-28", 5_000.01, date_of_birth="1950-01-01", income=income(state_pension=30_000)),
            drawn("2027-28", 5_000, date_of_birth="1950-01-01", income=income(state_pension=30_000)),
        ),
    ],
    "council_tax_support_may_fall": [
        (receives(LUMP, benefit="council_tax_support"), receives(benefit="council_tax_support"))
    ],
    # LAC(DHSC)(2024)1: 14,250 and 23,250.
    "care_support_ends": [
        (receives(LUMP, benefit="care_support", cash=22_250.01), receives(LUMP, benefit="care_support", cash=22_250)),
        (receives(LUMP, benefit="care_support", cash=23_250), receives(LUMP, benefit="care_support", cash=23_250.01)),
    ],
    "care_contribution_rises": [
        (receives(LUMP, benefit="care_support", cash=13_250.01), receives(LUMP, benefit="care_support", cash=13_250)),
        (
            receives(LUMP, benefit="care_support", cash=13_250.01),
            receives(LUMP, benefit="care_support", cash=13_250.01, tax_residence="wales"),
        ),
    ],
    "care_limits_of_the_nation_not_held": [
        (
            receives(LUMP, benefit="care_support", tax_residence="scotland"),
            receives(LUMP, benefit="care_support", tax_residence="england"),
        )
    ],
    "benefits_not_given": [
        (
            request(LUMP, income=income(annuity=12_569.99)),
            request(LUMP, income=income(annuity=12_570)),
        ),
        (request(LUMP, cash=16_000), request(LUMP, cash=16_000.01)),
        (request(LUMP), request(LUMP, benefits={})),
        (
            request(LUMP, income=income(annuity=20_000), partner={"income": income(annuity=5_139.99)}),
            request(LUMP, income=income(annuity=20_000), partner={"income": income(annuity=5_140)}),
        ),
        (
            drawn("2020-21", 1_000, income=income(annuity=12_499.99)),
            drawn("2020-21", 1_000, income=income(annuity=12_500)),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)
