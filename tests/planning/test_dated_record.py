"""A household's record in the tax year of a quote: of dated incomes and contributions, the days that fall into it."""

from __future__ import annotations

from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.bodies import answered, faults_of, text_with

URL = "/v1/withdrawal-tax"


def quoted(
    client: FlaskClient, *, born: str = "1960-03-01", tax_year: str = "2026-27", amount: float = 10_000, **record: Any
) -> dict[str, Any]:
    """The answer about money from drawdown, which is all taxable."""
    person = {
        "date_of_birth": born,
        "tax_residence": "england",
        "pensions": [{"uncrystallised": 0, "drawdown": 90_000}],
    }
    body = {
        "household": {"people": [person | record]},
        "tax_year": tax_year,
        "withdrawal": {"method": "drawdown", "amount": amount},
    }
    return answered(client, URL, body)


def earned(amount: float, **days: str) -> list[dict[str, Any]]:
    return [{"kind": "employment", "amount": amount, **days}]


@pytest.mark.parametrize(
    ("days", "amount"),
    [
        # A tax year of 365 days from 6 April 2026, of which 183 go to 5 October and 182 are left from the 6th.
        ({"to": "2026-10-05"}, 18_300),
        ({"from": "2026-10-06"}, 18_200),
        ({"from": "2026-10-05", "to": "2026-10-06"}, 200),
        ({"from": "2020-01-01", "to": "2030-01-01"}, 36_500),
        ({"to": "2026-04-05"}, 0),
        ({"from": "2027-04-06"}, 0),
    ],
)
def test_an_income_counts_its_share_of_the_days(client: FlaskClient, days: dict[str, str], amount: float) -> None:
    found = quoted(client, income=earned(36_500, **days))
    assert found == quoted(client, income=earned(amount))
    # 12,570 bears no tax, and the next 37,700 a fifth (Finance Act 2021 s.5 and the charge of the year).
    before = max(0, amount - 12_570) * 0.2
    assert found["income_tax"]["on_other_income"] == pytest.approx(before, abs=0.005)


def test_two_jobs_one_after_the_other_are_one_all_year(client: FlaskClient) -> None:
    jobs = [*earned(36_500, to="2026-10-05"), *earned(36_500, **{"from": "2026-10-06"})]
    assert quoted(client, income=jobs) == quoted(client, income=earned(36_500))


def test_a_year_of_366_days_has_366_parts(client: FlaskClient) -> None:
    """From 6 April 2027 to 5 April 2028, with 29 February."""
    found = quoted(client, tax_year="2027-28", income=earned(36_600, **{"from": "2028-04-05"}))
    assert found == quoted(client, tax_year="2027-28", income=earned(100))


@pytest.mark.parametrize(
    ("born", "days", "amount"),
    [
        # 66 (Pensions Act 1995 Sch.4 para 1) on 1 March 2026, with 36 days of 2025-26 to come.
        ("1960-03-01", {}, 360),
        ("1960-03-01", {"from": "2025-04-06"}, 3_650),
        ("1960-03-01", {"to": "2026-03-01"}, 10),
        # Before the year, and after it.
        ("1959-03-01", {}, 3_650),
        ("1961-01-01", {}, 0),
    ],
)
def test_a_state_pension_counts_from_state_pension_age(
    client: FlaskClient, born: str, days: dict[str, str], amount: float
) -> None:
    def with_pension(**income: Any) -> dict[str, Any]:
        return quoted(client, born=born, tax_year="2025-26", income=[{"kind": "state_pension", **income}])

    found = with_pension(amount=3_650, **days)
    assert found == with_pension(amount=amount, **{"from": "2025-04-06"})
    assert found["allowances_remaining"]["personal_allowance"] == max(0, 12_570 - 10_000 - amount)


def test_a_share_of_the_full_rate_counts_from_that_day_too(client: FlaskClient) -> None:
    """230.25 a week (SI 2025/295), 11,973 a year, of which 36 of 365 days are 1,180.90."""
    found = quoted(client, tax_year="2025-26", income=[{"kind": "state_pension", "share_of_full_rate": 1}])
    assert found["allowances_remaining"]["personal_allowance"] == pytest.approx(12_570 - 10_000 - 1_180.90, abs=0.005)


def saved(**more: Any) -> dict[str, Any]:
    return {"relief": "relief_at_source", **more}


@pytest.mark.parametrize(
    ("contribution", "tax"),
    [
        # 45,270 from employment: of 10,000 more, half is above 50,270, and bears 40%.
        (saved(amount=10_000, date="2026-04-05"), 3_000),
        (saved(amount=10_000, date="2026-04-06"), 2_000),
        (saved(amount=10_000, date="2027-04-05"), 2_000),
        (saved(amount=10_000, date="2027-04-06"), 3_000),
        (saved(yearly=10_000), 2_000),
        # 7,300 a year is 20 a day: 183 days to 5 October, 182 from the 6th.
        (saved(yearly=7_300, to="2026-10-05"), 3_000 - 0.2 * 3_660),
        (saved(yearly=7_300, **{"from": "2026-10-06"}), 3_000 - 0.2 * 3_640),
        (saved(yearly=7_300, **{"from": "2026-10-05", "to": "2026-10-06"}), 3_000 - 0.2 * 40),
        (saved(yearly=10_000, to="2026-04-05"), 3_000),
        (saved(yearly=10_000, **{"from": "2027-04-06"}), 3_000),
        # The bands are extended by what has relief at source alone (Finance Act 2004 s.192).
        ({"yearly": 10_000, "relief": "net_pay"}, 3_000),
        ({"yearly": 10_000, "relief": "none"}, 3_000),
        ({"yearly": 10_000, "payer": "employer"}, 3_000),
    ],
)
def test_only_what_is_paid_in_the_tax_year_with_relief_at_source_extends_the_bands(
    client: FlaskClient, contribution: dict[str, Any], tax: float
) -> None:
    found = quoted(client, income=earned(45_270), contributions=[contribution])
    assert found["income_tax"]["on_withdrawal"] == pytest.approx(tax, abs=0.005)


def test_contributions_are_summed(client: FlaskClient) -> None:
    parts = [saved(amount=1_000, date="2026-05-01"), saved(yearly=2_000), saved(amount=9_000, date="2027-05-01")]
    found = quoted(client, income=earned(45_270), contributions=parts)
    assert found == quoted(client, income=earned(45_270), contributions=[saved(yearly=3_000)])
    assert found["income_tax"]["on_withdrawal"] == 3_000 - 0.2 * 3_000


@pytest.mark.parametrize("item", [{"income": earned(1)}, {"contributions": [saved(yearly=1)]}])
def test_what_ends_before_it_begins_is_refused(client: FlaskClient, item: dict[str, list[dict[str, Any]]]) -> None:
    ((name, (one,)),) = item.items()
    body = {
        "household": {
            "people": [
                {
                    "date_of_birth": "1960-03-01",
                    "tax_residence": "england",
                    "pensions": [{"uncrystallised": 1_000}],
                    name: [one | {"from": "2026-10-06", "to": "2026-10-05"}],
                }
            ]
        },
        "tax_year": "2026-27",
        "withdrawal": {"method": "ufpls", "amount": 100},
    }
    found = faults_of(client, URL, text_with(body, "/withdrawal/amount", "100"))
    assert found == [(f"#/household/people/0/{name}/0/to", "to-before-from")]
