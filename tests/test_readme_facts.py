"""README.md's table of the facts that each operation looks at: a fact changes an answer where the table says so, and no other."""

from __future__ import annotations

import copy
import re
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

PAGE = Path(__file__).parents[1] / "README.md"
OPERATIONS = ("withdrawal-tax", "allowance-schedule", "lump-sum-timing", "warnings")
"""The operations in the order of the table's columns."""

HOUSEHOLD: dict[str, Any] = {
    "people": [
        {
            "date_of_birth": "1969-03-14",
            "tax_residence": "england",
            "income": [{"kind": "employment", "amount": 70000, "increases": 0.01, "to": "2031-03-31"}],
            "child_benefit": 1400,
            "pensions": [{"uncrystallised": 300000, "drawdown": 40000}],
            "isa": {"value": 50000, "subscribed_this_year": 2000, "withdrawn_this_year": 1000},
            "cash": 20000,
            "contributions": [],
        },
        {
            "date_of_birth": "1968-03-14",
            "tax_residence": "england",
            "income": [{"kind": "employment", "amount": 14000}],
            "pensions": [{"uncrystallised": 200000}],
            "isa": {"value": 10000},
            "cash": 2000,
        },
    ],
    "spending": [{"amount": 40000}],
    "estate": {"home": 500000},
}
YEARS = {"start_date": "2026-04-07", "assumptions": {"pension_growth": 0.03, "price_inflation": 0.02}}
PAYMENT = {"person": 0, "pension": 0, "method": "ufpls", "amount": 60000, "date": "2028-12-01"}
QUESTIONS: dict[str, dict[str, Any]] = {
    "withdrawal-tax": {"tax_year": "2028-29", "withdrawal": PAYMENT},
    "allowance-schedule": {**YEARS, "end_date": "2038-04-05", "aim": {"goal": "basic_rate_band"}},
    "lump-sum-timing": {
        **YEARS,
        "to_age": 70,
        "options": [{"lump_sums": "all_now"}, {"lump_sums": "with_each_withdrawal"}],
        "deaths": [{"person": 0, "age": 62, "survivor_age": 70}],
    },
    "warnings": {
        "date": "2028-06-01",
        "withdrawals": [PAYMENT],
        "isa_subscriptions": [{"person": 0, "amount": 19000, "date": "2028-12-02", "cash_isa": True}],
    },
}

Changes = dict[str, Any]
"""What is put at places of a household, each written as the keys that lead to it, joined by slashes."""
FIRST, PENSION = "people/0", "people/0/pensions/0"
LOW_INCOME: Changes = {f"{FIRST}/income/0/amount": 20000}
NOT_YET_57: Changes = {f"{FIRST}/date_of_birth": "1975-01-01"}
OF_BOTH = (PENSION, "people/1/pensions/0")

FACTS: dict[str, list[tuple[Changes, Changes]]] = {
    "birth, residence, income, Gift Aid, marriage and blind person's allowance, child benefit": [
        ({}, {f"{FIRST}/date_of_birth": "1972-09-01"}),
        ({}, {f"{FIRST}/tax_residence": "scotland"}),
        ({}, {f"{FIRST}/income/0/amount": 130000}),
        ({}, {f"{FIRST}/income/0/to": "2028-09-30"}),
        ({}, {f"{FIRST}/gift_aid_donations": 5000}),
        (LOW_INCOME, {f"{FIRST}/marriage_allowance": "receives"}),
        (LOW_INCOME, {f"{FIRST}/blind_persons_allowance": True}),
        ({}, {f"{FIRST}/child_benefit": 0}),
    ],
    "`contributions` with relief at source, and net pay beside them": [
        ({}, {f"{FIRST}/contributions": [{"yearly": 6000, "relief": "relief_at_source"}]}),
    ],
    "other `contributions`": [
        ({}, {f"{FIRST}/contributions": [{"yearly": 90000, "relief": "net_pay"}]}),
        ({}, {f"{FIRST}/contributions": [{"yearly": 90000, "payer": "employer"}]}),
    ],
    "a contribution's `pension`": [
        (
            {f"{FIRST}/contributions": [{"yearly": 6000, "payer": "employer"}]},
            {f"{FIRST}/contributions": [{"yearly": 6000, "payer": "employer", "pension": 0}]},
        ),
    ],
    "`pensions`: funds, `protected_pension_age`, `protected_tax_free_share`": [
        ({}, {f"{PENSION}/uncrystallised": 90000}),
        ({}, {f"{PENSION}/drawdown": 0}),
        (NOT_YET_57, {f"{PENSION}/protected_pension_age": 50}),
        ({}, {f"{PENSION}/protected_tax_free_share": 0.4}),
    ],
    "`pensions`: `growth`, `yearly_charge`": [
        ({}, {f"{place}/growth": 0.05 for place in OF_BOTH}),
        ({}, {f"{place}/yearly_charge": 0.01 for place in OF_BOTH}),
    ],
    "`pensions`: guarantees, exit charge, transfer, nomination": [
        ({}, {f"{PENSION}/guaranteed_annuity_rate": True}),
        ({}, {f"{PENSION}/safeguarded_benefits": 50000}),
        ({}, {f"{PENSION}/exit_charge": 900}),
        ({}, {f"{PENSION}/transfer_planned": True, f"{PENSION}/transfer_flag": "amber"}),
        ({}, {f"{PENSION}/nomination": "none"}),
    ],
    "`lump_sum_allowances`, `flexibly_accessed`": [
        ({}, {f"{FIRST}/lump_sum_allowances": {"lump_sum_allowance_used": 260000}}),
        ({}, {f"{FIRST}/flexibly_accessed": True}),
    ],
    "`isa.value`, `isa.subscribed_this_year`, `cash`": [
        ({}, {f"{FIRST}/isa/value": 900000}),
        ({}, {f"{FIRST}/isa/subscribed_this_year": 15000}),
        ({}, {f"{FIRST}/cash": 300000}),
    ],
    "`isa.cash_isa`": [({}, {f"{FIRST}/isa/cash_isa": True})],
    "`isa.flexible`, `isa.withdrawn_this_year`, `isa.cash_subscribed_this_year`, `circumstances`": [
        ({}, {f"{FIRST}/isa/flexible": False}),
        ({f"{FIRST}/isa/flexible": True}, {f"{FIRST}/isa/withdrawn_this_year": 0}),
        ({}, {f"{FIRST}/isa/cash_subscribed_this_year": 2000}),
        ({}, {f"{FIRST}/circumstances": {"student_loans": {"plan_2": True}}}),
    ],
    "`already_this_tax_year`": [
        ({}, {f"{FIRST}/already_this_tax_year": {"income": [{"kind": "employment", "amount": 30000}]}}),
        ({}, {f"{FIRST}/already_this_tax_year": {"taxable_withdrawals": 30000}}),
    ],
    "`spending`, `minimum_cash`, `withdrawal_cap`; how amounts rise (`increases`)": [
        ({}, {"spending/0/amount": 20000}),
        ({}, {"minimum_cash": 15000}),
        ({}, {f"{FIRST}/withdrawal_cap": 1000}),
        ({}, {f"{FIRST}/income/0/increases": 0.05}),
    ],
    "`estate`: home, other assets, debts, gifts, charity, bands brought forward, `spouses`, `first_death`": [
        ({}, {"estate/home": 2000000}),
        ({}, {"estate/other_assets": 1000000}),
        ({"estate/other_assets": 1000000}, {"estate/debts": 600000}),
        (
            {"estate/home": 2000000, "estate/first_death": "to_spouse"},
            {"estate/first_death": "to_beneficiaries"},
        ),
        ({"estate/home": 2000000}, {"estate/spouses": False}),
        (
            {"estate/home": 2000000, "estate/first_death": "to_beneficiaries"},
            {
                "estate/lifetime_gifts": [
                    {"date": day, "amount": 300000, "person": place}
                    for day in ("2025-06-01", "2032-06-01", "2036-06-01")
                    for place in (0, 1)
                ]
            },
        ),
        ({"estate/home": 2000000, "estate/first_death": "to_beneficiaries"}, {"estate/charity_share": 0.2}),
    ],
    "`estate`: all else": [
        ({"estate/home": 2000000, "estate/first_death": "to_beneficiaries"}, {"estate/first_person_share": 0.9}),
    ],
    "`estate`: `survivor_spending`": [({}, {"estate/survivor_spending": 0.6})],
    "the other pensions of a person": [
        ({}, {f"{FIRST}/pensions": [{"uncrystallised": 300000, "drawdown": 40000}, {"uncrystallised": 900000}]}),
    ],
    "the other person of a couple": [
        ({}, {"people/1/income/0/amount": 90000, "people/1/pensions/0/uncrystallised": 5000}),
    ],
}
"""For each row of the table households that differ in a fact: what is put into both, and what into one."""


def table() -> dict[str, list[bool]]:
    """The rows of the table: the facts, and whether each operation looks at them."""
    text = PAGE.read_text("utf-8")
    rows = re.search(r"^\| facts \|.*\n\|.*\n((?:\|.*\n)+)", text, re.M)
    assert rows is not None
    cells = [[cell.strip() for cell in row.strip("|").split("|")] for row in rows[1].splitlines()]
    assert {cell for row in cells for cell in row[1:]} == {"yes", ""}
    return {facts: [cell == "yes" for cell in looked_at] for facts, *looked_at in cells}


def with_changes(*several: Changes) -> dict[str, Any]:
    """The household with what is put into it."""
    household = copy.deepcopy(HOUSEHOLD)
    for place, value in (change for changes in several for change in changes.items()):
        *path, last = place.split("/")
        inside: Any = household
        for key in path:
            inside = inside[int(key) if key.isdecimal() else key]
        inside[last] = value
    return household


def test_every_row_is_tried() -> None:
    assert list(table()) == list(FACTS)


@pytest.mark.parametrize("operation", OPERATIONS)
@pytest.mark.parametrize("facts", FACTS)
def test_a_fact_changes_an_answer_where_the_table_says_so(facts: str, operation: str, client: FlaskClient) -> None:
    def answer(household: dict[str, Any]) -> Any:
        reply = client.post(f"/v1/{operation}", json={"household": household, **QUESTIONS[operation]})
        assert reply.status_code == 200, reply.text
        return {key: part for key, part in reply.json.items() if key != "rules"}

    looked_at = dict(zip(OPERATIONS, table()[facts], strict=True))[operation]
    for both, one in FACTS[facts]:
        changed = answer(with_changes(both, one)) != answer(with_changes(both))
        assert changed == looked_at, f"{one} over {both}"
