"""Plain permitted withdrawals hear two warnings at most, and what makes more of them is a consequence of its own."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.planning.plain_withdrawals import DATE, TAX_YEAR, is_plain, payroll, plain_withdrawal

DRAWN, LEAST_PLAIN = 1_500, 900
MOST_OF_PLAIN = 2

OF_ITS_OWN = {
    "higher_rate_entered": "income passes a threshold, and more tax is due for good",
    "savings_taxed_higher": "more tax is due on interest",
    "winter_fuel_payment_repaid": "income passes the limit, and the payment is taken back",
    "access_closes_again": "the pension cannot be touched again for a while",
    "beneficiaries_pay_income_tax_soon": "what can pass free of income tax no longer can from a day within a year",
    "facts_not_given": "a missing fact decides what is permitted, taxed or charged",
    "small_pots_not_given": "whether the payment is permitted turns on it",
}
"""What may come third, and why it stays."""

Heard = list[tuple[str, bool, dict[str, list[dict[str, Any]]]]]


@pytest.fixture(scope="module")
def heard(client: FlaskClient) -> Heard:
    """Who it is, whether the withdrawal is plain, and the warnings of the check and of the quote."""
    random, found = Random(99), []
    for _ in range(DRAWN):
        who, household, withdrawal = plain_withdrawal(random)
        code = payroll(random, household["people"][0]["tax_residence"])
        asked = {
            "/v1/warnings": {"household": household, "date": DATE, "withdrawals": [withdrawal]},
            "/v1/withdrawal-tax": {
                "household": household,
                "tax_year": TAX_YEAR,
                "withdrawal": withdrawal,
                **({} if code is None else {"payroll": code}),
            },
        }
        replies = {path: client.post(path, json=body) for path, body in asked.items()}
        assert all(reply.status_code == 200 for reply in replies.values()), (who, replies)
        told = {path: reply.get_json()["warnings"] for path, reply in replies.items()}
        found.append((f"{who}; {code}", is_plain(household, withdrawal), told))
    return found


def test_plain_permitted_withdrawals_hear_two_at_most(heard: Heard) -> None:
    plain = [(who, told) for who, is_so, told in heard if is_so]
    assert len(plain) >= LEAST_PLAIN
    for who, told in plain:
        for path, warnings in told.items():
            codes = [one["code"] for one in warnings]
            assert len(codes) <= MOST_OF_PLAIN, (path, who, codes)
            assert all(one["effect"] != "not_permitted" for one in warnings), (who, codes)


def test_what_comes_third_is_a_consequence_of_its_own(heard: Heard) -> None:
    more = [(who, path, warnings) for who, _, told in heard for path, warnings in told.items() if len(warnings) > 2]
    assert more
    for who, path, warnings in more:
        codes = {one["code"] for one in warnings}
        assert len(codes) == len(warnings), (path, who, codes)
        assert len(codes - OF_ITS_OWN.keys()) <= MOST_OF_PLAIN, (path, who, codes)


def test_nothing_that_was_not_given_goes_unsaid(client: FlaskClient) -> None:
    """Each missing fact is either in the warning or in the notice, and all are in the list."""
    random, in_notice, in_warning = Random(7), 0, 0
    for _ in range(200):
        who, household, withdrawal = plain_withdrawal(random)
        answer = client.post(
            "/v1/warnings", json={"household": household, "date": DATE, "withdrawals": [withdrawal]}
        ).get_json()
        missing = answer["missing_facts"]
        told = [one for one in answer["warnings"] if one["code"] == "facts_not_given"]
        if told:
            (one,) = told
            assert one["missing_facts"] == missing, who
            in_warning += 1
        elif missing:
            assert answer["notice"].count("We were not told") == len(missing), (who, answer["notice"])
            in_notice += 1
        if not missing or told:
            assert "We were not told" not in answer["notice"], who
    assert min(in_notice, in_warning) > 10
