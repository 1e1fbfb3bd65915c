"""Too young, or old enough: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, found_in, request, w
from tests.planning.warnings.pairs import DRAWN, Case, Pair, either_side


def born(day: str) -> Case:
    return request(DRAWN, date_of_birth=day)


def several(*payments: tuple[str, float, str]) -> Case:
    """Payments from 100,000 to someone of 53, who is 57 on 1 May 2030."""
    held = {"uncrystallised": 100_000, "drawdown": 0}
    return request(*(w(*payment) for payment in payments), date_of_birth="1973-05-01", pension=held)


CASES: dict[str, list[Pair]] = {
    # Finance Act 2004 s.279: 55; Finance Act 2022 s.10: 57 from 6 April 2028.
    "below_minimum_pension_age": [
        (born("1971-09-02"), born("1971-09-01")),
        (
            request(w("drawdown", 1_000, "2020-09-01"), date="2020-06-01", date_of_birth="1965-09-02"),
            request(w("drawdown", 1_000, "2020-09-01"), date="2020-06-01", date_of_birth="1965-09-01"),
        ),
        # Caught between: 56 on 5 April 2028, and 56 still on 6 April, when it is 57.
        (
            request(w("drawdown", 1_000, "2028-04-06"), date_of_birth="1972-01-01"),
            request(w("drawdown", 1_000, "2028-04-05"), date_of_birth="1972-01-01"),
        ),
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-02"),
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-01"),
        ),
        (born("1976-09-01"), request(DRAWN, date_of_birth="1976-09-01", pension={"protected_pension_age": 50})),
    ],
    "access_closes_again": [
        # 57 on 7 April 2028, and on 6 April 2028.
        (born("1971-04-07"), born("1971-04-06")),
        (born("1971-04-07"), request(DRAWN, date_of_birth="1971-04-07", pension={"protected_pension_age": 55})),
        (born("1971-04-07"), request(DRAWN, date_of_birth="1971-04-07", pension={"uncrystallised": 0})),
        (
            request(w("drawdown", 1_000, "2028-04-05"), date_of_birth="1971-04-07"),
            request(w("drawdown", 1_000, "2028-04-07"), date_of_birth="1971-04-07"),
        ),
    ],
    "protected_pension_age_relied_on": [
        # 54 the day before, and 55; 49 is below the protected age as well.
        (
            request(DRAWN, date_of_birth="1971-09-02", pension={"protected_pension_age": 50}),
            request(DRAWN, date_of_birth="1971-09-01", pension={"protected_pension_age": 50}),
        ),
        (
            request(DRAWN, date_of_birth="1976-09-01", pension={"protected_pension_age": 50}),
            request(DRAWN, date_of_birth="1976-09-02", pension={"protected_pension_age": 50}),
        ),
        # 56 on a day on which the age is 57.
        (
            request(
                w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-02", pension={"protected_pension_age": 55}
            ),
            request(
                w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-01", pension={"protected_pension_age": 55}
            ),
        ),
        (
            request(
                w("drawdown", 1_000, "2028-04-06"), date_of_birth="1972-01-01", pension={"protected_pension_age": 55}
            ),
            request(
                w("drawdown", 1_000, "2028-04-05"), date_of_birth="1972-01-01", pension={"protected_pension_age": 55}
            ),
        ),
        (
            request(DRAWN, date_of_birth="1976-09-01", pension={"protected_pension_age": 50}),
            request(w("drawdown", 0), date_of_birth="1976-09-01", pension={"protected_pension_age": 50}),
        ),
    ],
    "unauthorised_payment_charges": [
        (born("1971-09-02"), born("1971-09-01")),
        (several(("ufpls", 20_000, "2026-07-01")), several(("ufpls", 20_000, "2030-05-01"))),
    ],
    "ill_health_route": [
        (born("1971-09-02"), born("1971-09-01")),
        (born("1971-09-02"), request(DRAWN, date_of_birth="1971-09-02", ill_health="none")),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


def test_unauthorised_payments_of_twelve_months_add_up_for_the_surcharge() -> None:
    """20% of 100,000 and 25% of 80,000 in five months: 55% of 40,000 (FA 2004 s.210, PTM134400)."""
    two = several(("ufpls", 20_000, "2026-07-01"), ("ufpls", 20_000, "2026-11-01"))
    (told,) = [one for one in found_in(two) if one.code == "unauthorised_payment_charges"]
    assert told.money == {"unauthorised_payment": 4_000_000, "tax_charges": 2_200_000}
    assert told.cost == 2_200_000
    assert "£40,000 is unauthorised, in 2 payments in the 12 months from 1 July 2026" in told.detail
    # 20% of 100,000 and 10% of 80,000: 11,200 and 4,200.
    (told,) = [
        one
        for one in found_in(several(("ufpls", 20_000, "2026-07-01"), ("ufpls", 8_000, "2027-06-30")))
        if one.code == "unauthorised_payment_charges"
    ]
    assert told.money["tax_charges"] == 1_540_000
    # Twelve months and a day apart each is by itself.
    apart = found_in(several(("ufpls", 20_000, "2026-07-01"), ("ufpls", 8_000, "2027-07-01")))
    assert [one.cost for one in apart if one.code == "unauthorised_payment_charges"] == [800_000, 320_000]


def test_each_pension_has_its_own_unauthorised_payments() -> None:
    body = several(("ufpls", 20_000, "2026-07-01"), ("ufpls", 20_000, "2026-11-01"))
    body["household"]["people"][0]["pensions"].append({"uncrystallised": 100_000, "drawdown": 0})
    for pension, withdrawal in enumerate(body["withdrawals"]):
        withdrawal["pension"] = pension
    told = [one for one in found_in(body) if one.code == "unauthorised_payment_charges"]
    assert [(one.pension, one.cost) for one in told] == [(0, 800_000), (1, 800_000)]
