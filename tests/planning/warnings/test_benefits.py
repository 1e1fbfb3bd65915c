"""Benefits and care: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.planning.warning_requests import by_code, found_in, income, request, w
from tests.planning.warnings.pairs import DRAWN, LUMP, NO_FUND, Case, Pair, drawn, either_side

IN_2025: dict[str, Any] = {"date": "2025-06-01"}
LUMP_OF_2025 = w("pcls", 1_000, "2025-09-01")


def receives(*withdrawals: Any, benefit: str, **more: Any) -> Case:
    return request(*withdrawals, benefits={benefit: True}, **more)


LAST_WINTER, THIS_WINTER, NEXT_WINTER = "2025-09-01", "2026-09-01", "2027-09-01"


def winter(born: str, day: str = THIS_WINTER, **more: Any) -> Case:
    """Somebody whose drawdown takes total income over 35,000."""
    return request(
        w("drawdown", 20_000, day), date=day, date_of_birth=born, income=income(property_income=30_000), **more
    )


BORN_1950, BORN_1940 = {"date_of_birth": "1950-01-01"}, {"date_of_birth": "1940-01-01"}
AT_65 = {"date_of_birth": "1962-01-01"}
WINTER_PAYMENTS: list[tuple[str, str, dict[str, Any], str, float]] = [
    ("1947-01-10", THIS_WINTER, {}, "payment", 200),  # 80 in January 2027
    ("1947-03-01", THIS_WINTER, {}, "payment", 200),
    ("1946-09-27", THIS_WINTER, {}, "payment_from_higher_age", 300),
    ("1946-09-28", THIS_WINTER, {}, "payment", 200),
    ("1950-01-01", THIS_WINTER, {"partner": BORN_1950}, "shared_payment", 100),
    ("1950-01-01", THIS_WINTER, {"partner": BORN_1940}, "shared_payment", 100),
    ("1940-01-01", THIS_WINTER, {"partner": BORN_1950}, "shared_payment_older_of_two", 200),
    ("1940-01-01", THIS_WINTER, {"partner": BORN_1940}, "shared_payment_from_higher_age", 150),
    ("1950-01-01", THIS_WINTER, {"partner": AT_65}, "payment", 200),
    # The Scottish Government's rates of Pension Age Winter Heating Payment
    ("1950-01-01", LAST_WINTER, {"tax_residence": "scotland"}, "scottish_payment", 203.40),
    ("1950-01-01", THIS_WINTER, {"tax_residence": "scotland"}, "scottish_payment", 211.15),
    ("1940-01-01", THIS_WINTER, {"tax_residence": "scotland"}, "scottish_payment_from_higher_age", 316.70),
    (
        "1950-01-01",
        THIS_WINTER,
        {"tax_residence": "scotland", "partner": BORN_1950},
        "scottish_shared_payment",
        105.55,
    ),
    (
        "1940-01-01",
        THIS_WINTER,
        {"tax_residence": "scotland", "partner": BORN_1940},
        "scottish_shared_payment_from_higher_age",
        158.35,
    ),
]
"""Date of birth, a day of the winter's tax year, other facts, the figure with the payment, and its pounds. By SI 2025/969,
whose model is SI 2000/729 reg.2."""


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
    # SI 2006/213 regs 43, 52: 6,000 and 16,000; SI 2006/214 reg.29: 10,000 from pension age, which somebody born on 1 June
    # 1960 reaches on 1 August 2026 (Pensions Act 1995 Sch.4). With the guarantee credit no capital counts (reg.26, from memory).
    "housing_benefit_reduced": [
        (
            receives(LUMP, benefit="housing_benefit", cash=5_000.01),
            receives(LUMP, benefit="housing_benefit", cash=5_000),
        ),
        (
            receives(LUMP, benefit="housing_benefit", cash=9_000.01, date_of_birth="1950-01-01"),
            receives(LUMP, benefit="housing_benefit", cash=9_000, date_of_birth="1950-01-01"),
        ),
        (
            receives(w("pcls", 1_000, "2026-07-31"), benefit="housing_benefit", cash=7_000, date_of_birth="1960-06-01"),
            receives(w("pcls", 1_000, "2026-08-01"), benefit="housing_benefit", cash=7_000, date_of_birth="1960-06-01"),
        ),
        (
            receives(LUMP, benefit="housing_benefit", cash=7_000, date_of_birth="1950-01-01", partner={}),
            receives(
                LUMP,
                benefit="housing_benefit",
                cash=7_000,
                date_of_birth="1950-01-01",
                partner={"date_of_birth": "1950-01-01"},
            ),
        ),
        (
            receives(LUMP, benefit="housing_benefit", cash=15_000),
            receives(LUMP, benefit="housing_benefit", cash=15_000.01),
        ),
    ],
    "housing_benefit_ends": [
        (
            receives(LUMP, benefit="housing_benefit", cash=15_000.01),
            receives(LUMP, benefit="housing_benefit", cash=15_000),
        ),
        (
            receives(LUMP, benefit="housing_benefit", cash=16_000, date_of_birth="1950-01-01"),
            request(
                LUMP,
                benefits={"housing_benefit": True, "pension_credit": True},
                cash=16_000,
                date_of_birth="1950-01-01",
            ),
        ),
    ],
    # SI 2008/794 reg.74: half of what is over 85 a week, and so two pence over at least; the Jobseeker's Allowance Regulations
    # reg.51: all that is over 50.
    "contributory_benefit_reduced": [
        (
            receives(w("drawdown", 4_421.04), benefit="new_style_employment_and_support_allowance"),
            receives(w("drawdown", 4_421.03), benefit="new_style_employment_and_support_allowance"),
        ),
        (
            receives(w("ufpls", 2_600.52), benefit="new_style_jobseekers_allowance"),
            receives(w("ufpls", 2_600.51), benefit="new_style_jobseekers_allowance"),
        ),
        (
            receives(w("drawdown", 5_000), benefit="new_style_employment_and_support_allowance"),
            receives(w("pcls", 5_000), benefit="new_style_employment_and_support_allowance"),
        ),
    ],
    # Pensions Act 1995 Sch.4: born on 6 January 1961, 66 years and 10 months: 6 November 2027.
    "notional_income": [
        (
            receives(benefit="pension_credit", date_of_birth="1960-04-05"),
            receives(benefit="pension_credit", date_of_birth="1961-01-06"),
        ),
        (
            receives(benefit="housing_benefit", date_of_birth="1950-01-01"),
            receives(benefit="new_style_jobseekers_allowance", date_of_birth="1950-01-01"),
        ),
        (
            request(benefits={"pension_credit": True, "council_tax_support": True}, date_of_birth="1950-01-01"),
            request(benefits={"council_tax_support": True}),
        ),
        # SI 2006/214 reg.41(4) and SSI 2012/319 reg.38(4); Care and Support statutory guidance, Annex C.
        (
            receives(benefit="council_tax_support", date_of_birth="1950-01-01"),
            receives(benefit="council_tax_support"),
        ),
        (receives(benefit="care_support", date_of_birth="1950-01-01"), receives(benefit="care_support")),
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
        # SI 2024/869 reg.2: State Pension age in or before the week of 21 to 27 September 2026.
        (
            request(w("drawdown", 6_000), date_of_birth="1960-06-27", income=income(employment=30_000)),
            request(w("drawdown", 6_000), date_of_birth="1960-06-28", income=income(employment=30_000)),
        ),
        (
            request(w("drawdown", 6_000), date_of_birth="1950-01-01", income=income(annuity=30_000), partner={}),
            request(
                w("drawdown", 6_000),
                date_of_birth="1950-01-01",
                income=income(annuity=30_000),
                partner={"benefits": {"universal_credit": True}},
            ),
        ),
        *(
            (winter(born, day, **more), winter(born, day, benefits={"pension_credit": True}, **more))
            for born, day, more, _, _ in WINTER_PAYMENTS
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
        (receives(LUMP, benefit="council_tax_support"), receives(benefit="council_tax_support")),
        (
            receives(LUMP, benefit="council_tax_support", date_of_birth="1950-01-01"),
            receives(benefit="council_tax_support", date_of_birth="1950-01-01"),
        ),
        (
            receives(LUMP, benefit="council_tax_support", tax_residence="wales"),
            receives(LUMP, benefit="care_support", tax_residence="wales"),
        ),
    ],
    # LAC(DHSC)(2024)1: 14,250 and 23,250, in Northern Ireland too (secondary sources); SSI 2025/31: 22,000 and 35,500 in
    # Scotland; Wales: 24,000 at home (WSI 2017/214 reg.3) and 50,000 in a care home (WSI 2019/234, secondary sources).
    "care_support_ends": [
        (receives(LUMP, benefit="care_support", cash=22_250.01), receives(LUMP, benefit="care_support", cash=22_250)),
        (receives(LUMP, benefit="care_support", cash=23_250), receives(LUMP, benefit="care_support", cash=23_250.01)),
        (
            receives(LUMP, benefit="care_support", cash=22_250.01, tax_residence="northern_ireland"),
            receives(LUMP, benefit="care_support", cash=22_250, tax_residence="northern_ireland"),
        ),
        (
            receives(LUMP_OF_2025, benefit="care_support", cash=34_500.01, tax_residence="scotland", **IN_2025),
            receives(LUMP_OF_2025, benefit="care_support", cash=34_500, tax_residence="scotland", **IN_2025),
        ),
        (
            receives(LUMP, benefit="care_support", cash=49_000.01, tax_residence="wales"),
            receives(LUMP, benefit="care_support", cash=49_000, tax_residence="wales"),
        ),
    ],
    "care_contribution_rises": [
        (receives(LUMP, benefit="care_support", cash=13_250.01), receives(LUMP, benefit="care_support", cash=13_250)),
        (
            receives(LUMP, benefit="care_support", cash=13_250.01, tax_residence="northern_ireland"),
            receives(LUMP, benefit="care_support", cash=13_250.01, tax_residence="wales"),
        ),
        (
            receives(LUMP_OF_2025, benefit="care_support", cash=21_000.01, tax_residence="scotland", **IN_2025),
            receives(LUMP_OF_2025, benefit="care_support", cash=21_000, tax_residence="scotland", **IN_2025),
        ),
        (
            receives(LUMP, benefit="care_support", cash=23_000.01, tax_residence="wales"),
            receives(LUMP, benefit="care_support", cash=23_000, tax_residence="wales"),
        ),
        (
            receives(LUMP, benefit="care_support", cash=24_000, tax_residence="wales"),
            receives(LUMP, benefit="care_support", cash=24_000.01, tax_residence="wales"),
        ),
    ],
    "care_limits_of_the_nation_not_held": [
        (
            receives(LUMP, benefit="care_support", tax_residence="scotland"),
            receives(LUMP_OF_2025, benefit="care_support", tax_residence="scotland", **IN_2025),
        ),
        (
            receives(LUMP, benefit="care_support", tax_residence="scotland"),
            receives(LUMP, benefit="care_support", tax_residence="wales"),
        ),
    ],
    "benefits_not_given": [
        (
            request(LUMP, income=income(annuity=12_569.99)),
            request(LUMP, income=income(annuity=12_570)),
        ),
        (request(LUMP, cash=16_000), request(LUMP, cash=16_000.01)),
        (request(LUMP, cash=1), request(LUMP, cash=1, benefits={})),
        # Where nothing was said of income, cash and ISAs, the notice tells of benefits.
        (request(LUMP, cash=1), request(LUMP)),
        (request(LUMP, cash=1, uk_resident=True), request(LUMP, cash=1, uk_resident=False)),
        (
            request(LUMP, income=income(annuity=20_000), partner={"income": income(annuity=5_139.99)}),
            request(LUMP, income=income(annuity=20_000), partner={"income": income(annuity=5_140)}),
        ),
        (
            drawn("2020-21", 1_000, income=income(annuity=12_499.99)),
            drawn("2020-21", 1_000, income=income(annuity=12_500)),
        ),
    ],
    # SI 2011/1986 Sch.4, from memory: the parents' taxable income.
    "maintenance_loan_may_fall": [
        (request(DRAWN, child_has_maintenance_loan=True), request(DRAWN, child_has_maintenance_loan=False)),
        (request(DRAWN, child_has_maintenance_loan=True), request(LUMP, child_has_maintenance_loan=True)),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


# The winter fuel payment: SI 2024/869 regs 1-2, SI 2025/969 by its model SI 2000/729 reg.2


@pytest.mark.parametrize(
    ("born", "day"),
    [
        ("1961-03-03", NEXT_WINTER),  # State Pension age on 3 February 2028
        ("1960-09-01", THIS_WINTER),  # on 1 February 2027
        ("1960-07-10", THIS_WINTER),  # on 10 November 2026
    ],
)
def test_nobody_has_a_winter_fuel_payment_before_the_qualifying_week(born: str, day: str) -> None:
    assert "winter_fuel_payment_repaid" not in by_code(winter(born, day))


@pytest.mark.parametrize(("born", "day", "more", "payment", "pounds"), WINTER_PAYMENTS)
def test_the_winter_fuel_payment(born: str, day: str, more: dict[str, Any], payment: str, pounds: float) -> None:
    found = by_code(winter(born, day, **more))["winter_fuel_payment_repaid"]
    assert found.cost == found.money[f"winter_fuel_{payment}"] == round(pounds * 100)
    assert len([name for name in found.money if "payment" in name]) == 1


def test_each_of_a_couple_is_told_of_their_own_share() -> None:
    both = winter("1950-01-01", partner={**BORN_1950, "income": income(property_income=30_000), "pension": {
        "uncrystallised": 0, "drawdown": 50_000}, "withdrawals": [w("drawdown", 20_000)]})  # fmt: skip
    found = [one for one in found_in(both) if one.code == "winter_fuel_payment_repaid"]
    assert [(one.person, one.cost) for one in found] == [(0, 10_000), (1, 10_000)]


def test_a_quote_knows_of_the_partner_too(client: FlaskClient) -> None:
    body = winter("1950-01-01", partner=BORN_1950)
    quoted = {
        "household": body["household"],
        "tax_year": "2026-27",
        "withdrawal": {"person": 0, "method": "drawdown", "amount": 20_000},
    }
    told = client.post("/v1/withdrawal-tax", json=quoted).get_json()["warnings"]
    (found,) = [one for one in told if one["code"] == "winter_fuel_payment_repaid"]
    assert found["amount"] == found["figures"]["winter_fuel_shared_payment"] == 100


def test_the_amount_of_a_scottish_couple_on_either_side_of_80_is_not_told() -> None:
    found = by_code(winter("1940-01-01", tax_residence="scotland", partner=BORN_1950))["winter_fuel_payment_repaid"]
    assert (found.cost, [name for name in found.money if "payment" in name]) == (0, [])
    assert "If the first person receives Pension Age Winter Heating Payment, all of it" in found.detail


def test_who_keeps_the_payment_is_said_where_benefits_are_not_known() -> None:
    keep = "People who get certain means-tested benefits keep it."
    assert keep in by_code(winter("1950-01-01"))["winter_fuel_payment_repaid"].detail
    assert keep not in by_code(winter("1950-01-01", benefits={}))["winter_fuel_payment_repaid"].detail


# What is lost in a week or a month, and in a year


@pytest.mark.parametrize(
    ("case", "code", "a_period", "pounds", "a_year"),
    [
        # UC Regulations reg.72: 1,001 over 6,000 is five steps of 250 or part, 4.35 each: 21.75 a month.
        (
            receives(w("pcls", 2_001), benefit="universal_credit", cash=5_000),
            "universal_credit_reduced",
            "universal_credit_lost_a_month",
            21.75,
            261,
        ),
        # 2,001 over 10,000 is five steps of 500 or part: 5 a week.
        (
            receives(w("pcls", 2_001), benefit="pension_credit", cash=10_000),
            "pension_credit_reduced",
            "pension_credit_lost_a_week",
            5,
            260,
        ),
        # Five steps of 250: 5 a week of income, of which 65% comes off: 3.25.
        (
            receives(w("pcls", 2_001), benefit="housing_benefit", cash=5_000),
            "housing_benefit_reduced",
            "housing_benefit_lost_a_week",
            3.25,
            169,
        ),
        # From pension age 1,001 over 10,000 is three steps of 500: 3 a week of income: 1.95.
        (
            receives(w("pcls", 1_001), benefit="housing_benefit", cash=10_000, **BORN_1950),
            "housing_benefit_reduced",
            "housing_benefit_lost_a_week",
            1.95,
            101.40,
        ),
        # careinfoscotland: savings of 24,000 give 10 a week over the lower limit of 21,500 in 2024-25.
        (
            receives(
                w("pcls", 3_000, "2024-09-01"),
                benefit="care_support",
                cash=21_000,
                tax_residence="scotland",
                date="2024-06-01",
            ),
            "care_contribution_rises",
            "care_contribution_rise_a_week",
            10,
            520,
        ),
    ],
)
def test_the_loss_of_a_year(case: Case, code: str, a_period: str, pounds: float, a_year: float) -> None:
    found = by_code(case)[code]
    yearly = a_period.replace("_a_week", "_a_year").replace("_a_month", "_a_year")
    assert (found.money[a_period], found.money[yearly]) == (round(pounds * 100), round(a_year * 100))
    assert (found.cost, found.severity) == (found.money[yearly], "support")


def test_half_of_a_pension_over_85_a_week_comes_off() -> None:
    """SI 2008/794 reg.74: 5,200 is 100 a week, and half of 15 is 7.50. By reg.51 all of 50 comes off the other."""
    esa = by_code(receives(w("drawdown", 5_200), benefit="new_style_employment_and_support_allowance"))
    jsa = by_code(receives(w("drawdown", 5_200), benefit="new_style_jobseekers_allowance"))
    found = [one["contributory_benefit_reduced"].money["contributory_benefit_lost_a_week"] for one in (esa, jsa)]
    assert found == [750, 5_000]


@pytest.mark.parametrize(
    ("born", "cash", "withdrawal"),
    [("1954-01-01", 9_000, w("drawdown", 20_000)), ("1968-01-01", 5_000, w("ufpls", 20_000))],
)
def test_a_large_withdrawal_ends_housing_benefit(born: str, cash: int, withdrawal: dict[str, Any]) -> None:
    """SI 2006/213 reg.43: 16,000 at any age."""
    found = by_code(receives(withdrawal, benefit="housing_benefit", date_of_birth=born, cash=cash))
    assert (found["housing_benefit_ends"].severity, found["housing_benefit_ends"].cost) == ("support", 0)
    assert "housing_benefit_reduced" not in found


def test_pension_credit_with_housing_benefit_says_what_may_follow() -> None:
    both = request(LUMP, benefits={"pension_credit": True, "housing_benefit": True}, cash=10_000, **BORN_1950)
    assert "Housing Benefit" in by_code(both)["pension_credit_reduced"].detail
    assert "housing_benefit_ends" not in by_code(both)


# A pension left alone


def test_a_state_pension_that_is_put_off_counts() -> None:
    """State Pension Credit Regulations 2002 reg.18(1); not for Housing Benefit (SI 2006/214 reg.41(2))."""
    put_off = "A State Pension that is put off counts too."
    told = [
        put_off in by_code(receives(benefit=benefit, **BORN_1950, **more))["notional_income"].detail
        for benefit, more in (
            ("pension_credit", {}),
            ("pension_credit", {"income": income(state_pension=9_000)}),
            ("housing_benefit", {}),
        )
    ]
    assert told == [True, False, False]


def test_who_is_to_be_asked_about_a_pension_left_alone() -> None:
    asked = {
        benefit: by_code(receives(benefit=benefit, **BORN_1950))["notional_income"].detail.rsplit(". ", 1)[1]
        for benefit in ("pension_credit", "housing_benefit", "care_support")
    }
    in_northern_ireland = receives(benefit="care_support", tax_residence="northern_ireland", **BORN_1950)
    assert "The health and social care trust may count" in by_code(in_northern_ireland)["notional_income"].detail
    assert asked == {
        "pension_credit": "Ask the benefit office what income is assumed.",
        "housing_benefit": "Ask the council what income is assumed.",
        "care_support": "Ask the council what income is assumed.",
    }


def test_the_year_of_a_maintenance_loan() -> None:
    """GOV.UK, student finance: the household income of 2023 to 2024 counts for the academic year 2025 to 2026 (from memory)."""
    case = drawn("2023-24", 1_000, child_has_maintenance_loan=True)
    assert "academic year that starts in 2025" in by_code(case)["maintenance_loan_may_fall"].detail


def test_monthly_payments_count_for_the_weeks_for_which_they_are_made() -> None:
    """SI 2008/794 reg.74: half of a pension above 85 a week. 600 every 28 days is 150 a week, so that 32.50 comes off, however
    few payments there are in the tax year. How long a payment is for, the Department decides: common practice."""
    months = [w("drawdown", 600, day) for day in ("2026-07-06", "2026-08-03", "2026-08-31", "2026-09-28")]
    found = by_code(request(*months, benefits={"new_style_employment_and_support_allowance": True}))
    told = found["contributory_benefit_reduced"]
    assert told.money["drawn_as_income_a_week"] == 15_000
    assert told.money["contributory_benefit_lost_a_week"] == 3_250
    once = request(w("drawdown", 2_400), benefits={"new_style_employment_and_support_allowance": True})
    assert "contributory_benefit_reduced" not in by_code(once)
