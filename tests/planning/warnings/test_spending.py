"""How far the money goes: a case just inside each warning and one just outside. Plans have tests of their own."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, request, w
from tests.planning.warnings.pairs import Case, Pair


def in_two_years(first: float, second: float, **person: object) -> Case:
    """100,000 drawn in two tax years by somebody born in June 1962, who is 65 at the end of the second."""
    return request(
        w("ufpls", first),
        w("ufpls", second, "2027-09-01"),
        pension={"uncrystallised": 100_000, "drawdown": 0},
        **{"date_of_birth": "1962-06-01", **person},
    )


CASES: dict[str, list[Pair]] = {
    # FCA Handbook COBS 19.7 has sustainability among the points to raise; the age is our choice. 65 on 5 April 2028: 4,545.45
    # goes twenty times into what is left, to 85, and a penny more does not.
    "withdrawals_not_sustainable": [
        (in_two_years(4_545.46, 4_545.46), in_two_years(4_545.45, 4_545.45)),
        (
            in_two_years(50_000, 50_000),
            request(w("ufpls", 100_000), pension={"uncrystallised": 100_000, "drawdown": 0}),
        ),
        (
            in_two_years(10_000, 10_000),
            in_two_years(10_000, 10_000, date_of_birth="1940-06-01"),
        ),
        # Half of 20,000, which bears no tax, goes into an ISA.
        (
            in_two_years(10_000, 10_000, subscriptions=[{"amount": 9_999.99, "date": "2026-10-01"}]),
            in_two_years(10_000, 10_000, subscriptions=[{"amount": 10_000, "date": "2026-10-01"}]),
        ),
    ],
}


@pytest.mark.parametrize(
    ("code", "inside", "outside"), [(code, *pair) for code, pairs in CASES.items() for pair in pairs]
)
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


def test_the_age_at_which_nothing_is_left_is_told() -> None:
    told = by_code(in_two_years(20_000, 20_000))["withdrawals_not_sustainable"]
    # 60,000 are left, three times 20,000: empty at 65 and three years.
    assert told.counts == {"pension_empty_at": 68}
    assert "£60,000 would be left, which at this pace would last until about age 68 without growth." in told.detail
    emptied = by_code(in_two_years(50_000, 50_000))["withdrawals_not_sustainable"]
    assert "After that nothing would be left." in emptied.detail
