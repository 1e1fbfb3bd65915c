"""No answer of any of the four operations contradicts itself, over requests made at random.

What is looked at are the answers as callers get them: claim back and still to pay, permitted and not permitted, two amounts for
one charge, the same said twice, and a warning about one of two people that does not say which.
"""

from __future__ import annotations

from collections import Counter
from random import Random
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests import invented_requests as invented
from tests.planning.test_warning_properties import (
    OF_A_PERMITTED_PAYMENT,
    OF_THE_HOUSEHOLD,
    ONE_CHARGE,
    OPPOSITES,
    STILL_TO_PAY,
    TO_CLAIM_BACK,
)

JsonObject = dict[str, Any]

OF_THE_HOUSEHOLDS_PLAN = frozenset(
    (
        "isa_allowance_used_up",
        "cash_above_deposit_protection",
        "spending_drawn_beyond_the_band",
        "child_benefit_charge_falls_on_partner",
        "marriage_allowance_not_available",
        "tax_free_cash_never_taken",
    )
)
"""What a plan or a comparison says of both together, besides what warnings do."""

OF_EACH_PAYMENT = frozenset(
    ("small_pot_above_limit", "small_pot_must_end_the_arrangement", "payroll_takes_more_than_is_due")
)
"""What each of several payments hears, with its own amounts, which can be alike."""


def contradictions(answer: JsonObject, people: int) -> list[str]:
    """What in an answer cannot be true at the same time, or is said twice."""
    told = [one for each in answer["warnings"] for one in each.get("missing_facts", [each])]
    wrong: list[str] = []
    codes: dict[Any, set[str]] = {}
    charges: dict[Any, set[tuple[float, ...]]] = {}
    for one in told:
        options = tuple(one.get("options", ()))
        of = (one.get("person"), one.get("tax_year"), options)
        codes.setdefault(of, set()).add(one["code"])
        for number, same in enumerate(ONE_CHARGE):
            # One warning may tell a charge from the least to the most that it can be.
            amounts = tuple(sorted(amount for name, amount in one["figures"].items() if name in same))
            place = one["pointer"] if "tax_charges" in same else ""
            if amounts:
                charges.setdefault((number, *of, place), set()).add(amounts)
        named = one["code"] in OF_THE_HOUSEHOLD or one["code"] in OF_THE_HOUSEHOLDS_PLAN
        if people == 2 and "person" not in one and not named:
            wrong.append(f"of nobody: {one['code']}")
    for found in codes.values():
        wrong += [
            f"opposites: {found & (some | others)}" for some, others in OPPOSITES if found & some and found & others
        ]
    wrong += [f"two amounts: {key} {amounts}" for key, amounts in charges.items() if len(amounts) > 1]
    said = Counter(
        (one["detail"], one.get("person"), one.get("pension"), one.get("tax_year"), tuple(one.get("options", ())))
        for one in told
        if one["code"] not in OF_EACH_PAYMENT
    )
    wrong += [f"twice: {detail}" for (detail, *_), times in said.items() if times > 1]
    return wrong


def of_a_quote(answer: JsonObject) -> list[str]:
    """The same of a quote, whose one payment is permitted or not, and whose payroll and warnings speak of the same amounts."""
    wrong: list[str] = []
    codes = {one["code"] for one in answer["warnings"]}
    payroll = answer["payroll"]
    over, under, reclaim = payroll["over_deducted"], payroll["under_deducted"], payroll["reclaim"]
    if "below_minimum_pension_age" in codes and codes & OF_A_PERMITTED_PAYMENT:
        wrong.append(f"not permitted, and yet: {codes & OF_A_PERMITTED_PAYMENT}")
    if over and under:
        wrong.append("too much and too little")
    if reclaim["form"] != "none" and not over:
        wrong.append("a form for nothing")
    if codes & TO_CLAIM_BACK and not over:
        wrong.append("claim back what is not too much")
    if codes & STILL_TO_PAY and over:
        wrong.append("keep back where too much is deducted")
    for one in answer["warnings"]:
        for name, amount in (("over_deducted", over), ("under_deducted", under)):
            if one["figures"].get(name, amount) != amount:
                wrong.append(f"{name}: {one['figures'][name]} and {amount}")
    return wrong


def plain(random: Random) -> JsonObject:
    """A plan that takes no search."""
    return invented.plan(random) | {"aim": {"goal": random.choice(invented.PLAIN_AIMS)}}


ASKED = [
    ("/v1/withdrawal-tax", invented.withdrawal, 200),
    ("/v1/warnings", invented.warnings, 200),
    ("/v1/allowance-schedule", plain, 40),
    ("/v1/lump-sum-timing", invented.timing, 12),
]


@pytest.mark.parametrize(("path", "made", "times"), ASKED, ids=[path for path, _, _ in ASKED])
def test_no_answer_contradicts_itself(client: FlaskClient, path: str, made: Any, times: int) -> None:
    random, answered = Random(20_261_127), 0
    for _ in range(times):
        body = made(random)
        reply = client.post(path, json=body)
        if reply.status_code != 200:
            continue
        answered += 1
        answer = reply.get_json()
        wrong = contradictions(answer, len(body["household"]["people"]))
        if "payroll" in answer:
            wrong += of_a_quote(answer)
        assert wrong == [], body
    assert answered * 3 > times


@pytest.mark.parametrize(
    ("warnings", "wrong"),
    [
        ([("payroll_takes_more_than_is_due", {}), ("payroll_takes_less_than_is_due", {})], "opposites"),
        (
            [("recycling_charges", {"tax_charges": 1}), ("recycling_may_apply", {"tax_charges_if_planned": 2})],
            "two amounts",
        ),
        ([("recycling_charges", {}), ("recycling_charges", {})], "twice"),
    ],
)
def test_a_contradiction_is_seen(warnings: list[tuple[str, dict[str, float]]], wrong: str) -> None:
    told = [
        {
            "code": code,
            "figures": figures,
            "detail": code,
            "pointer": "#/withdrawal",
            "person": 0,
            "tax_year": "2026-27",
        }
        for code, figures in warnings
    ]
    assert [one.partition(":")[0] for one in contradictions({"warnings": told}, 1)] == [wrong]
