"""ISAs, and cash outside them: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

from typing import Any

import pytest

from tests.planning.warning_requests import by_code, into_isa, request, w
from tests.planning.warnings.pairs import A_DAY_IN, DRAWN, YEARS, Case, Pair, either_side


def isa(*amounts: float, date: str = "2026-06-01", **facts: Any) -> Case:
    """Subscriptions of a tax year with what the ISAs hold."""
    day = f"{int(date[:4])}-10-01"
    subscriptions = [into_isa(amount, day) for amount in amounts]
    return request(date=date, cash=100_000, subscriptions=subscriptions, isa=facts)


def cash_isa(amount: float, day: str = "2027-10-01", date_of_birth: str = "1970-01-01") -> Case:
    more: Case = {"date_of_birth": date_of_birth}
    return request(date="2026-06-01", cash=50_000, subscriptions=[into_isa(amount, day, cash_isa=True)], **more)


CASES: dict[str, list[Pair]] = {
    # SI 1998/1870 reg.4ZA: 20,000 in every tax year from 2017-18.
    "isa_limit_exceeded": [
        *((isa(20_000.01, date=A_DAY_IN[year]), isa(20_000, date=A_DAY_IN[year])) for year in YEARS),
        (isa(16_000, 0.01, subscribed_this_year=4_000), isa(16_000, subscribed_this_year=4_000)),
        # gov.uk, Individual Savings Accounts: 10,000 paid in and 3,000 taken out leave 13,000 if flexible, 10,000 if not.
        (
            isa(13_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=True),
            isa(13_000, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=True),
        ),
        (
            isa(10_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=False),
            isa(10_000, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=False),
        ),
        # gov.uk, How ISAs work: 15,000, 2,000 and 3,000 are 20,000 and valid; so are 11,000, 2,000, 3,000 and 4,000.
        (isa(15_000, 2_000, 3_000, 0.01), isa(15_000, 2_000, 3_000)),
        (isa(11_000, 2_000, 3_000, 4_000.01), isa(11_000, 2_000, 3_000, 4_000)),
        # On 6 April a new limit begins.
        (
            request(cash=50_000, subscriptions=[into_isa(20_000), into_isa(5_000, "2027-04-05")]),
            request(cash=50_000, subscriptions=[into_isa(20_000), into_isa(5_000, "2027-04-06")]),
        ),
    ],
    "isa_rest_next_tax_year": [
        (isa(20_000.01), isa(20_000)),
        # No figures for the year after the last.
        (isa(20_001, date="2029-06-01"), isa(20_001, date="2030-06-01")),
    ],
    "partner_has_isa_allowance_left": [
        (
            request(
                cash=100_000,
                subscriptions=[into_isa(20_001)],
                partner={"isa": {"subscribed_this_year": 19_999.99}},
            ),
            request(
                cash=100_000,
                subscriptions=[into_isa(20_001)],
                partner={"isa": {"subscribed_this_year": 20_000}},
            ),
        ),
        (
            request(cash=100_000, subscriptions=[into_isa(20_001)], partner={}),
            request(cash=100_000, subscriptions=[into_isa(20_000)], partner={}),
        ),
    ],
    "isa_flexibility_not_given": [
        (
            isa(10_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000),
            isa(10_000, subscribed_this_year=10_000, withdrawn_this_year=3_000),
        ),
        (
            isa(13_000, subscribed_this_year=10_000, withdrawn_this_year=3_000),
            isa(13_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000),
        ),
    ],
    "flexible_isa_replacement": [
        (
            isa(10_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=True),
            isa(10_000, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=True),
        )
    ],
    # HMRC's newsletter 19: 12,000 below 65 from 6 April 2027.
    "cash_isa_limit_exceeded": [
        (cash_isa(12_000.01), cash_isa(12_000)),
        (cash_isa(12_001, "2027-04-06"), cash_isa(12_001, "2027-04-05")),
        (cash_isa(12_001, date_of_birth="1962-10-02"), cash_isa(12_001, date_of_birth="1962-10-01")),
        (
            cash_isa(12_001),
            request(
                date_of_birth="1970-01-01",
                cash=50_000,
                subscriptions=[into_isa(12_001, "2027-10-01", cash_isa=False)],
            ),
        ),
    ],
    "isa_not_uk_resident": [
        (
            request(cash=5, subscriptions=[into_isa(1)], uk_resident=False, crown_employee_abroad=False),
            request(cash=5, subscriptions=[into_isa(1)], uk_resident=False, crown_employee_abroad=True),
        ),
        (
            request(cash=5, subscriptions=[into_isa(1)], uk_resident=False, crown_employee_abroad=False),
            request(cash=5, subscriptions=[into_isa(1)], uk_resident=True, crown_employee_abroad=False),
        ),
    ],
    "crown_service_not_given": [
        (
            request(cash=5, subscriptions=[into_isa(1)], uk_resident=False),
            request(cash=5, subscriptions=[], uk_resident=False),
        )
    ],
    "subscribed_before_paid_out": [
        (
            request(w("ufpls", 5_000, "2026-10-02"), subscriptions=[into_isa(5_000, "2026-10-01")]),
            request(w("ufpls", 5_000, "2026-10-01"), subscriptions=[into_isa(5_000, "2026-10-01")]),
        ),
        (
            request(DRAWN, cash=4_999.99, subscriptions=[into_isa(5_000, "2026-08-31")]),
            request(DRAWN, cash=5_000, subscriptions=[into_isa(5_000, "2026-08-31")]),
        ),
    ],
    # PRA PS24/25: 85,000, and 120,000 for failures from 1 December 2025.
    "cash_above_deposit_protection": [
        (request(cash=120_000.01), request(cash=120_000)),
        (request(cash=85_000.01, date="2025-11-30"), request(cash=85_000, date="2025-11-30")),
        (request(cash=100_000, date="2025-11-30"), request(cash=100_000, date="2025-12-01")),
        (request(cash=120_000.01, date="2025-12-01"), request(cash=120_000, date="2025-12-01")),
        (request(cash=85_000.01, date="2020-06-01"), request(cash=85_000, date="2020-06-01")),
        (request(cash=240_000.01, deposit_firms=2), request(cash=240_000, deposit_firms=2)),
        (
            request(cash=125_000, subscriptions=[into_isa(4_999.99)]),
            request(cash=125_000, subscriptions=[into_isa(5_000)]),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)
