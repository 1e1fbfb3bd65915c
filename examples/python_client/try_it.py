"""The client tried: a quote, a plan and some records in bulk.

python examples/python_client/try_it.py [http://127.0.0.1:8000]
"""

from __future__ import annotations

import sys

from agreement import Household, WithdrawalTaxRequest
from client import Client, InvalidRequestError, NoAnswerError, RefusedError, RuleViolationError

HOUSEHOLD: Household = {
    "people": [
        {
            "date_of_birth": "1966-05-14",
            "tax_residence": "england",
            "income": [{"kind": "employment", "amount": 95_000}],
            "pensions": [{"uncrystallised": 400_000}],
        }
    ]
}
"""Somebody who earns £95,000, so that a withdrawal takes the income above £100,000."""


def question(amount: float) -> WithdrawalTaxRequest:
    """The tax on a lump sum of this size."""
    return {
        "household": HOUSEHOLD,
        "tax_year": "2026-27",
        "withdrawal": {"method": "ufpls", "amount": amount, "date": "2026-12-01"},
    }


def main(service: str) -> None:
    """Ask and print."""
    client = Client(service, deadline=10)
    quote = client.withdrawal_tax(question(20_000))
    print(f"Of £20,000, £{quote['net_after_tax']:,.2f} is kept. Each of the next £100 taxed costs", end=" ")
    print(f"£{100 * quote['income_tax']['marginal_rate']:.0f}.")
    for warning in quote["warnings"]:
        print(f"  {warning['title']}: {warning['detail']}")
    print(quote["notice"])

    try:
        client.withdrawal_tax(question(500_000))
    except RuleViolationError as refused:
        print(f"£500,000 cannot be taken: {refused.problem['detail']}")

    records = {f"£{amount:,}": question(amount) for amount in range(10_000, 60_000, 10_000)}
    for name, result in client.in_bulk("withdrawal-tax", records, fields="net_after_tax").items():
        print(
            f"Of {name}:", result if isinstance(result, RefusedError) else f"£{result['net_after_tax']:,.2f} is kept."
        )


if __name__ == "__main__":
    try:
        main(*sys.argv[1:] or ["http://127.0.0.1:8000"])
    except (InvalidRequestError, NoAnswerError) as error:
        raise SystemExit(str(error)) from None
