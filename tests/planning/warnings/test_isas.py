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


def cash_isa_this_year(amount: float, day: str = "2027-10-01", **facts: Any) -> Case:
    """A cash ISA of someone under 65, with what was paid in so far in 2027-28."""
    planned = [into_isa(amount, day, cash_isa=True)]
    return request(date="2027-06-01", date_of_birth="1970-01-01", cash=50_000, subscriptions=planned, isa=facts)


AROUND_65 = [into_isa(15_000, "2027-07-01", cash_isa=True), into_isa(1_000, "2027-11-11", cash_isa=True)]

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
        # Refused only where 65 is reached after the tax year, whatever the day of the payment.
        (cash_isa(12_001, date_of_birth="1963-04-06"), cash_isa(12_001, date_of_birth="1963-04-05")),
        # What is known to have gone into cash already counts; nothing else does.
        (
            cash_isa_this_year(8_000, subscribed_this_year=5_000, cash_subscribed_this_year=4_000.01),
            cash_isa_this_year(8_000, subscribed_this_year=5_000, cash_subscribed_this_year=4_000),
        ),
        (
            cash_isa(12_001),
            request(
                date_of_birth="1970-01-01",
                cash=50_000,
                subscriptions=[into_isa(12_001, "2027-10-01", cash_isa=False)],
            ),
        ),
    ],
    # From 6 April of the year in which 65 is reached to the birthday nothing is certain.
    "cash_isa_limit_depends_on_age": [
        (cash_isa(12_000.01, date_of_birth="1962-11-10"), cash_isa(12_000, date_of_birth="1962-11-10")),
        (cash_isa(12_001, date_of_birth="1963-04-05"), cash_isa(12_001, date_of_birth="1963-04-06")),
        (cash_isa(12_001, date_of_birth="1962-04-07"), cash_isa(12_001, date_of_birth="1962-04-06")),
        # 15,000 at 64 and 1,000 after the birthday, 10 November 2027.
        (
            request(date="2027-06-01", date_of_birth="1962-11-10", cash=50_000, subscriptions=AROUND_65),
            request(date="2027-06-01", date_of_birth="1962-11-10", cash=50_000, subscriptions=AROUND_65[1:]),
        ),
    ],
    "cash_isa_subscriptions_not_given": [
        (
            cash_isa_this_year(8_000, subscribed_this_year=4_000.01),
            cash_isa_this_year(8_000, subscribed_this_year=4_000),
        ),
        (
            cash_isa_this_year(8_000, subscribed_this_year=12_000),
            cash_isa_this_year(8_000, subscribed_this_year=12_000, cash_subscribed_this_year=0),
        ),
        (
            cash_isa_this_year(8_000, subscribed_this_year=12_000),
            cash_isa_this_year(8_000, "2028-04-06", subscribed_this_year=12_000),
        ),
    ],
    # SI 1998/1870 reg.5DDA: a spouse or civil partner who has died.
    "additional_permitted_subscription": [
        (
            request(cash=50_000, subscriptions=[into_isa(1)], estate={"nil_rate_band_brought_forward": 0.5}),
            request(cash=50_000, subscriptions=[into_isa(1)], estate={"nil_rate_band_brought_forward": 0}),
        ),
        (
            request(cash=50_000, subscriptions=[into_isa(1)], estate={"residence_nil_rate_band_brought_forward": 1}),
            request(cash=50_000, estate={"residence_nil_rate_band_brought_forward": 1}),
        ),
        (
            request(cash=50_000, subscriptions=[into_isa(1)], estate={"nil_rate_band_brought_forward": 1}),
            request(cash=50_000, subscriptions=[into_isa(1)], estate={"nil_rate_band_brought_forward": 1}, partner={}),
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
        (
            request(w("pcls", 1, "2025-12-01"), cash=120_000, date="2025-12-01"),
            request(w("pcls", 1, "2025-12-01"), cash=119_999, date="2025-12-01"),
        ),
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


def test_money_taken_out_of_an_isa_that_may_be_flexible() -> None:
    """35,000 planned and 10,000 taken out: 15,000 too much, or 5,000 if the ISA is flexible (SI 1998/1870 reg.5DDB)."""
    found = by_code(isa(35_000, withdrawn_this_year=10_000))
    told = found["isa_limit_exceeded"]
    assert dict(told.money) == {
        "isa_allowance_left": 2_000_000,
        "isa_allowance_left_if_flexible": 3_000_000,
        "subscriptions_planned": 3_500_000,
        "above_isa_allowance": 1_500_000,
        "above_isa_allowance_if_flexible": 500_000,
        "isa_subscription_limit": 2_000_000,
    }
    assert told.detail.startswith(
        "You can still pay £20,000 into ISAs in 2026-27, or £30,000 if the money taken out was in a flexible ISA. £35,000 is "
        "planned, £15,000 or £5,000 too much."
    )
    assert "at least £5,000 of the excess" in found["isa_rest_next_tax_year"].detail
    # Known, it is one of the two.
    for flexible, above in ((False, 1_500_000), (True, 500_000)):
        known = by_code(isa(35_000, withdrawn_this_year=10_000, flexible=flexible))["isa_limit_exceeded"]
        assert known.money["above_isa_allowance"] == above
        assert "We were not told" not in known.detail


def test_nobody_who_turns_65_in_the_tax_year_is_refused() -> None:
    for day in ("2027-04-06", "2027-11-09", "2027-11-10", "2028-04-05"):
        found = by_code(cash_isa(20_000, day, date_of_birth="1962-11-10"))
        assert "cash_isa_limit_exceeded" not in found
        assert found["cash_isa_limit_depends_on_age"].effect == "check"


@pytest.mark.parametrize(
    ("date", "temporary"),
    [("2025-11-30", 1_000_000), ("2025-12-01", 1_400_000), ("2026-06-01", 1_400_000)],
)
def test_the_higher_protection_of_money_paid_on_retirement(date: str, temporary: int) -> None:
    """Temporary high balances: for six months, 1,400,000 of failures from 1 December 2025 (PRA PS24/25)."""
    told = by_code(request(w("pcls", 40_000, date), date=date, cash=100_000))["cash_above_deposit_protection"]
    assert f"up to £{temporary:,} for 6 months" in told.detail
    assert told.caveats == ()
    # Whether income from drawdown is paid "on retirement" nothing says.
    (caveat,) = by_code(request(w("drawdown", 40_000, date), date=date, cash=100_000))[
        "cash_above_deposit_protection"
    ].caveats
    assert "not certain" in caveat
    # Money that is held already is no payment on retirement.
    assert "retirement" not in by_code(request(date=date, cash=140_000))["cash_above_deposit_protection"].detail
