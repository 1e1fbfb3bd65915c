"""Invented people and households for the measurements as requests, the same ones every time."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from random import Random
from typing import Any

from tests.invented_requests import NATIONS, TAX_YEARS, JsonObject

YEARS = 40
"""The length of a couple's plan."""

_SEED = 20_260_406
_START = date(2026, 4, 6)
_MAIN_KINDS = ("employment", "self_employment", "state_pension", "defined_benefit_pension", "annuity")
_METHODS = ("ufpls", "drawdown", "pcls_and_drawdown")


def net_wanted(*, with_savings: bool) -> Iterator[JsonObject]:
    """Requests for the gross of a wanted net, without end; a few ask for more than the rules allow. ``with_savings``:
    everyone has savings interest, dividends or both; else nobody has either."""
    random = Random(_SEED + 1 if with_savings else _SEED)
    while True:
        yield _net_wanted(random, with_savings)


def couple(random: Random, fill: str) -> JsonObject:
    """A plan of a couple over forty years with some of everything: work that ends, pensions that start, savings, spending.
    A few cannot meet their spending."""
    people = [_member(random) for _ in range(2)]
    spending = []
    if random.random() < 0.6:
        spending.append({"amount": random.randint(10_000, 35_000), "increases": "prices"})
    growth = (0.03, 0.04, 0.05)
    assumptions = {
        "pension_growth": random.choice(growth),
        "isa_growth": random.choice(growth),
        "cash_interest": random.choice((0, 0.015, 0.03)),
        "price_inflation": 0.02,
        "thresholds_after_freeze": random.choice(("frozen", "prices")),
        "exit_tax_rate": random.choice((0.2, 0.4)),
    }
    return {
        "start_date": _START.isoformat(),
        "end_date": date(_START.year + YEARS, 4, 5).isoformat(),
        "people": people,
        "aim": {"fill": fill},
        "spending": spending,
        "assumptions": assumptions,
    }


def timing_of(plan: JsonObject) -> JsonObject:
    """Six ways to time the lump sum, and two deaths, for the household of a plan, followed into the plan's last year."""
    born, last = (date.fromisoformat(day) for day in (plan["people"][0]["date_of_birth"], plan["end_date"]))
    least_drawn = {"fill": "personal_allowance"}
    return {
        "start_date": plan["start_date"],
        "to_age": last.year - born.year - ((last.month, last.day) < (born.month, born.day)),
        "people": plan["people"],
        "options": [
            {"take": "all_now", "aim": least_drawn},
            {"take": "phased", "aim": least_drawn},
            {"take": "phased", "aim": {"fill": "spending_only"}, "yearly": 10_000},
            {"take": "with_each_withdrawal", "aim": least_drawn},
            {"take": "at_age", "aim": least_drawn, "age": 70},
            {"take": "never", "aim": least_drawn},
        ],
        "deaths": [{"at_age": 74}, {"person": "second", "at_age": 82}],
        "estate": {"home": 450_000, "home_to_descendants": True},
        "spending": plan["spending"],
        "assumptions": plan["assumptions"],
    }


def _member(random: Random) -> JsonObject:
    income: list[JsonObject] = [
        {
            "kind": "state_pension",
            "share_of_full_rate": random.randint(5_000, 10_000) / 10_000,
            "increases": "prices",
        }
    ]
    if random.random() < 0.5:
        ends = _START + timedelta(days=random.randint(300, 4_000))
        pay = random.randint(5_000, 80_000)
        income.append({"kind": "employment", "amount": pay, "to": ends.isoformat(), "increases": "prices"})
    if random.random() < 0.3:
        begins = _START + timedelta(days=random.randint(300, 4_000))
        pension = random.randint(2_000, 20_000)
        income.append(
            {"kind": "defined_benefit_pension", "amount": pension, "from": begins.isoformat(), "increases": "prices"}
        )
    if random.random() < 0.2:
        income.append({"kind": "savings_interest", "amount": random.randint(100, 3_000)})
    if random.random() < 0.2:
        income.append({"kind": "dividends", "amount": random.randint(100, 5_000)})
    return {
        "date_of_birth": (date(1958, 1, 1) + timedelta(days=random.randint(0, 4_500))).isoformat(),
        "tax_residence": random.choice(("england", "scotland", "wales", "northern_ireland")),
        "pension": {"uncrystallised": random.randint(50_000, 700_000), "drawdown": random.choice((0, 0, 100_000))},
        "isa": {"value": random.randint(0, 150_000)},
        "cash": random.choice((0, 5_000, 30_000)),
        "income": income,
    }


def _net_wanted(random: Random, with_savings: bool) -> JsonObject:
    pension = {
        "uncrystallised": _pounds(random, 50_000, 900_000),
        "drawdown": _pounds(random, 50_000, 900_000),
        "lifetime_allowance_used_percent": random.choice((0, 0, 0, 12.34, 40)),
    }
    wanted = random.choice((_pounds(random, 100, 20_000), 20_000, _pounds(random, 20_000, 90_000)))
    return {
        "tax_year": random.choice(TAX_YEARS),
        "person": _person(random, with_savings),
        "pension": pension,
        "withdrawal": {"method": random.choice(_METHODS), "net_wanted": wanted},
    }


def _person(random: Random, with_savings: bool) -> JsonObject:
    low, high = random.choice(((0, 12_570), (12_570, 50_270), (12_570, 50_270), (50_270, 110_000)))
    income = [_income(random, random.choice(_MAIN_KINDS), low, high)]
    if random.random() < 0.2:
        income.append(_income(random, "property", 500, 15_000))
    if with_savings:
        kinds = random.choice((("savings_interest",), ("dividends",), ("savings_interest", "dividends")))
        income += [_income(random, kind, 50, random.choice((1_500, 20_000))) for kind in kinds]
    person: JsonObject = {"date_of_birth": "1955-06-01", "tax_residence": random.choice(NATIONS), "income": income}
    person["relief_at_source_contributions"] = _pounds(random, 500, 10_000) if random.random() < 0.15 else 0
    person["gift_aid_donations"] = _pounds(random, 50, 2_000) if random.random() < 0.15 else 0
    person["marriage_allowance"] = random.choice(("none", "none", "none", "none", "gives", "receives"))
    person["blind_persons_allowance"] = random.random() < 0.03
    person["child_benefit"] = random.choice((0, 0, 0, 0, 0, 0, 1_354.6, 2_251.6))
    return person


def _income(random: Random, kind: str, low: int, high: int) -> dict[str, Any]:
    return {"kind": kind, "amount": _pounds(random, low, high)}


def _pounds(random: Random, low: int, high: int) -> int | float:
    """An amount between two amounts in pounds: in half of the cases whole pounds, else with odd pence."""
    pounds = random.randint(low, high)
    return round(pounds + random.choice((0, random.randrange(100))) / 100, 2)
