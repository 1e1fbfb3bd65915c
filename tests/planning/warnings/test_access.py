"""Too young, or old enough: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, request, w
from tests.planning.warnings.pairs import DRAWN, Case, Pair, either_side


def born(day: str) -> Case:
    return request(DRAWN, date_of_birth=day)


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
    "unauthorised_payment_charges": [(born("1971-09-02"), born("1971-09-01"))],
    "ill_health_route": [
        (born("1971-09-02"), born("1971-09-01")),
        (born("1971-09-02"), request(DRAWN, date_of_birth="1971-09-02", ill_health="none")),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)
