"""Invented books of clients as JSON lines, the same ones every time."""

from __future__ import annotations

import json
from collections.abc import Iterator
from random import Random
from typing import Any

from tests.invented_requests import NATIONS

_SEED = 20_270_406
_MAIN_KINDS = ("employment", "self_employment", "state_pension", "defined_benefit_pension", "annuity")


def records(count: int, *, seed: int = _SEED) -> Iterator[dict[str, Any]]:
    """Withdrawals that the rules allow, of clients as a firm has them: two in five with some savings interest, one in
    seven with dividends, one in ten with property; a quarter ask for the gross of a wanted net."""
    random = Random(seed)
    for number in range(count):
        yield {"id": f"client-{number:07d}", "request": _request(random)}


def lines(count: int, *, seed: int = _SEED) -> bytes:
    """The same as the body of a bulk request."""
    return b"".join(json.dumps(each, separators=(",", ":")).encode() + b"\n" for each in records(count, seed=seed))


def bad_lines(count: int) -> bytes:
    """As many records, each with one thing wrong: a figure out of range, a word that is not known, a field that is
    missing, more than the pot holds, half a line."""
    whole = []
    for number, record in enumerate(records(count)):
        request = record["request"]
        match number % 5:
            case 0:
                request["household"]["people"][0]["pensions"][0]["uncrystallised"] = -1
            case 1:
                request["household"]["people"][0]["tax_residence"] = "Kernow"
            case 2:
                del request["tax_year"]
            case 3:
                request["withdrawal"] = {"method": "ufpls", "amount": 90_000_000}
        text = json.dumps(record, separators=(",", ":")).encode()
        whole.append(text[: len(text) // 2] if number % 5 == 4 else text)
    return b"\n".join(whole) + b"\n"


def _request(random: Random) -> dict[str, Any]:
    method = random.choices(("ufpls", "drawdown", "pcls_and_drawdown", "pcls", "small_pot"), (40, 30, 15, 10, 5))[0]
    asked: dict[str, Any] = {"method": method}
    pension = {"uncrystallised": _pounds(random, 150_000, 900_000), "drawdown": _pounds(random, 100_000, 400_000)}
    if method == "small_pot":
        pension = {"uncrystallised": asked.setdefault("amount", _pounds(random, 2_000, 10_000))}
    elif method != "pcls" and random.random() < 0.25:
        asked["net_wanted"] = _pounds(random, 2_000, 40_000)
    else:
        asked["amount"] = _pounds(random, 2_000, 30_000 if method == "pcls" else 80_000)
    if random.random() < 0.3:
        asked["date"] = "2026-12-01"
    household = {"people": [_person(random) | {"pensions": [pension], "flexibly_accessed": False}]}
    request = {"household": household, "tax_year": "2026-27", "withdrawal": asked}
    if random.random() < 0.3:
        request["payroll"] = random.choice(
            (
                {"code": "1257L", "basis": "month_1"},
                {"code": "BR", "basis": "month_1"},
                {"code": "1257L", "basis": "cumulative", "month": 8, "pay_to_date": 9_000, "tax_to_date": 620},
            )
        )
    return request


def _person(random: Random) -> dict[str, Any]:
    low, high = random.choice(((0, 12_570), (9_000, 13_000), (12_570, 50_270), (12_570, 50_270), (50_270, 120_000)))
    income = [{"kind": random.choice(_MAIN_KINDS), "amount": _pounds(random, low, high)}]
    for kind, share, most in (
        ("savings_interest", 0.4, 4_000),
        ("dividends", 0.15, 8_000),
        ("property_income", 0.1, 15_000),
    ):
        if random.random() < share:
            income.append({"kind": kind, "amount": _pounds(random, 20, most)})
    person: dict[str, Any] = {
        "date_of_birth": f"19{random.randint(45, 68)}-{random.randint(1, 12):02d}-{random.randint(1, 28):02d}",
        "tax_residence": random.choices(NATIONS, (75, 3, 12, 10))[0],
        "income": income,
    }
    for name, share, values in (
        (
            "contributions",
            0.08,
            tuple([{"yearly": each, "relief": "relief_at_source"}] for each in (1_200, 3_600, 10_000)),
        ),
        ("gift_aid_donations", 0.08, (60, 250, 1_000)),
        ("marriage_allowance", 0.06, ("gives", "receives")),
        ("blind_persons_allowance", 0.01, (True,)),
        ("child_benefit", 0.03, (1_354.6, 2_251.6)),
    ):
        if random.random() < share:
            person[name] = random.choice(values)
    return person


def _pounds(random: Random, low: int, high: int) -> int | float:
    """Pounds between two amounts: mostly whole, else with pence."""
    whole = random.randint(low, high)
    return whole if random.random() < 0.7 or whole == high else round(whole + random.randrange(100) / 100, 2)
