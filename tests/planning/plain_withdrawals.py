"""Permitted withdrawals drawn by chance, and which of them are plain.

Drawn are ordinary people of 55 to 80 who take one payment, some of them in a couple. Nothing out of the ordinary is told of
them: no benefits, ill-health, guarantees, gifts, children, loans or contributions. Income is of one to three ordinary kinds
or none, cash and ISAs are modest. Payments are of every method and size, up to the whole pot.

**Plain** (`is_plain`) is one that passes no threshold of income, that may be followed by another at any time, and whose tax-free
cash is no matter for the recycling rule. Nor is it one of somebody who still works and turns 75 within a year.
"""

from __future__ import annotations

from datetime import date
from random import Random
from typing import Any

JsonObject = dict[str, Any]

DATE, PAID_ON, TAX_YEAR = "2026-06-01", "2026-09-01", "2026-27"
NATIONS = ("england", "england", "northern_ireland", "scotland", "wales")
LETTERS = {"england": "", "northern_ireland": "", "scotland": "S", "wales": "C"}
METHODS = ("ufpls", "ufpls", "drawdown", "pcls", "pcls_and_drawdown", "small_pot", "whole")
STATE_PENSION_AGE = 66
SMALL_POT = 10_000

PASSED = {"winter fuel payment": 35_000, "higher rate in Scotland": 43_662, "higher rate elsewhere": 50_270}
"""The first thresholds of income in 2026-27, in pounds: ITEPA 2003 s.681J, and the rates of gov.uk; as the figures of the service
have them."""
RECYCLING = 7_500
"""Lump sums in 12 months up to which the recycling rule does not apply (FA 2004 Sch.29 para 3A(5))."""
MINIMUM_AGE_RISES = date(2028, 4, 6)
"""From then the normal minimum pension age is 57 (Finance Act 2022 s.10)."""


def plain_withdrawal(random: Random) -> tuple[str, JsonObject, JsonObject]:
    """Who takes what in a line, the household, and the withdrawal."""
    age = random.randint(55, 80)
    born = date(2026 - age, random.randint(1, 5), random.randint(1, 28))
    nation, method = random.choice(NATIONS), random.choice(METHODS)
    held = random.choice((18_000, 45_000, 80_000, 120_000, 180_000, 260_000, 400_000))
    pension: JsonObject = {"uncrystallised": held}
    if method == "small_pot":
        held = random.randrange(1_000, SMALL_POT + 1, 100)
        pension, amount = {"uncrystallised": held}, held
    elif method == "whole":
        held = random.randrange(8_000, 40_000, 500)
        pension, amount, method = {"uncrystallised": held}, held, "ufpls"
    elif method == "drawdown":
        pension, amount = {"uncrystallised": 0, "drawdown": held}, _part(random, held)
    elif method == "pcls":
        amount = random.choice((held // 4, held // 8, min(held // 4, 10_000)))
    else:
        amount = _part(random, held)
    income = _income(random, age)
    person: JsonObject = {"date_of_birth": born.isoformat(), "tax_residence": nation, "pensions": [pension]}
    if income or random.random() < 0.5:
        person["income"] = income
    if random.random() < 0.5:
        person["cash"] = random.choice((0, 2_000, 8_000, 20_000))
    if random.random() < 0.3:
        person["isa"] = {"value": random.choice((5_000, 20_000, 60_000))}
    if method == "drawdown" or random.random() < 0.2:
        person["flexibly_accessed"] = random.random() < (0.8 if method == "drawdown" else 0.3)
    who = f"{age}, {nation}, {method} of {amount} from {held}, " + (
        ", ".join(f"{one['kind']} {one['amount']}" for one in income) or "no income"
    )
    people = [person]
    if random.random() < 0.2:
        people.append({"date_of_birth": born.isoformat(), "tax_residence": nation, "income": _income(random, age)})
    return who, {"people": people}, {"person": 0, "method": method, "amount": amount, "date": PAID_ON}


def is_plain(household: JsonObject, withdrawal: JsonObject) -> bool:
    """Whether a drawn withdrawal is plain; see above."""
    person, amount, method = household["people"][0], withdrawal["amount"], withdrawal["method"]
    income = {one["kind"]: one["amount"] for one in person.get("income", [])}
    tax_free = {"drawdown": 0, "pcls": amount}.get(method, amount // 4)
    limit = PASSED["higher rate in Scotland" if person["tax_residence"] == "scotland" else "higher rate elsewhere"]
    born = date.fromisoformat(person["date_of_birth"])
    if 2026 - born.year >= STATE_PENSION_AGE:
        limit = PASSED["winter fuel payment"]
    works = income.keys() & {"employment", "self_employment"}
    soon_75 = born.year == 2026 - 74
    return (
        sum(income.values()) + amount - tax_free <= limit
        and born.replace(year=born.year + 57) <= MINIMUM_AGE_RISES
        and not (works and method in ("pcls", "pcls_and_drawdown") and tax_free > RECYCLING)
        and not (works and soon_75)
    )


def _part(random: Random, held: int) -> int:
    return min(held, random.choice((2_000, 5_000, 9_000, 12_000, 16_760, 20_000, 26_000, 40_000)))


def _income(random: Random, age: int) -> list[JsonObject]:
    """Ordinary income of somebody of an age: wages or none before State Pension age, pensions after it."""
    found: list[JsonObject] = []
    if age < STATE_PENSION_AGE:
        kind = random.choice(("none", "employment", "employment", "self_employment", "defined_benefit_pension"))
        if kind != "none":
            found.append({"kind": kind, "amount": random.randrange(6_000, 48_000, 500)})
    else:
        found.append({"kind": "state_pension", "amount": random.choice((8_000, 10_400, 12_200, 12_547))})
        if random.random() < 0.5:
            found.append({"kind": "defined_benefit_pension", "amount": random.randrange(2_000, 24_000, 500)})
        if random.random() < 0.15:
            found.append({"kind": "employment", "amount": random.randrange(3_000, 20_000, 500)})
    if random.random() < 0.2:
        found.append({"kind": "savings_interest", "amount": random.choice((120, 400, 900))})
    return found


def payroll(random: Random, nation: str) -> JsonObject | None:
    """A tax code as providers have them: none known, the emergency code, the code of the year, or a flat one."""
    letter = LETTERS[nation]
    return random.choice(
        (
            None,
            {"code": f"{letter}1257L", "basis": "month_1"},
            {"code": f"{letter}1257L", "basis": "cumulative", "month": 5},
            {"code": f"{letter}BR", "basis": "month_1"},
            {"code": f"{letter}0T", "basis": "month_1"},
            {"code": f"{letter}D0", "basis": "month_1"},
        )
    )
