"""Requests of POST /v1/warnings for the tests, in the request's own words, and what is found in them."""

from __future__ import annotations

import copy
import json
import re
from decimal import Decimal
from typing import Any

from service.planning.check.check import WarningsQuestion, circumstances_of, warnings_asked
from service.planning.warnings.registry import each_found
from service.planning.warnings.topic import figure_key
from service.planning.warnings.warning import ClientWarning, in_order
from service.planning.wording import pounds
from service.schemas.check import request as schemas
from service.schemas.household import CircumstancesSchema, LumpSumAllowancesSchema
from tests.households import BOOK

SCHEMA = schemas.WarningsSchema()
PERSON: dict[str, Any] = {
    "date_of_birth": "1962-06-01",
    "tax_residence": "england",
    "flexibly_accessed": False,
    "pension": {"uncrystallised": 200_000, "drawdown": 200_000},
}
_CIRCUMSTANCES = frozenset(CircumstancesSchema().load_fields)
_ALLOWANCES = frozenset(LumpSumAllowancesSchema().load_fields)


def w(method: str, amount: float, day: str = "2026-09-01") -> dict[str, Any]:
    """A withdrawal."""
    return {"method": method, "amount": amount, "date": day}


def merged(base: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    """One object laid over another, at every depth."""
    whole = copy.deepcopy(base)
    for key, value in more.items():
        both = isinstance(value, dict) and isinstance(whole.get(key), dict)
        whole[key] = merged(whole[key], value) if both else copy.deepcopy(value)
    return whole


def request(
    *withdrawals: dict[str, Any],
    date: str = "2026-06-01",
    partner: dict[str, Any] | None = None,
    estate: dict[str, Any] | None = None,
    **person: Any,
) -> dict[str, Any]:
    """A request: one person, or a couple, with what differs from ``PERSON``. Facts are given by name, wherever in a person's
    record they belong; ``pension`` is the only pension, ``withdrawals`` and ``subscriptions`` are the person's own. None
    leaves a fact out."""
    people = [merged({**PERSON, "withdrawals": list(withdrawals)}, person)]
    if partner is not None:
        people.append(merged({**PERSON, "pension": {"uncrystallised": 0}}, partner))
    return request_of(date, people, estate)


def request_of(date: str, people: list[dict[str, Any]], estate: dict[str, Any] | None = None) -> dict[str, Any]:
    """The request of people whose facts are given by name, as in ``request``."""
    household: dict[str, Any] = {"people": [_record(one) for one in people]}
    if estate is not None:
        household["estate"] = estate
    whole: dict[str, Any] = {"household": household, "date": date}
    for key, of_the_person in (("withdrawals", "withdrawals"), ("isa_subscriptions", "subscriptions")):
        listed = [{"person": i, **item} for i, one in enumerate(people) for item in one.get(of_the_person, ())]
        if listed:
            whole[key] = listed
    return whole


def _record(facts: dict[str, Any]) -> dict[str, Any]:
    """A person's record: each fact where it belongs."""
    record: dict[str, Any] = {}
    for name, fact in facts.items():
        if fact is None:
            continue
        if name == "pension":
            record["pensions"] = [fact]
        elif name == "employer_contributions":
            record.setdefault("contributions", []).append({"yearly": fact, "payer": "employer"})
        elif name in _CIRCUMSTANCES:
            record.setdefault("circumstances", {})[name] = fact
        elif name in _ALLOWANCES:
            record.setdefault("lump_sum_allowances", {})[name] = fact
        elif name not in ("withdrawals", "subscriptions"):
            record[name] = fact
    return record


def found_in(body: dict[str, Any]) -> list[ClientWarning]:
    """The warnings of a request, through its schema and the rules, each by itself: missing facts are not yet put into one."""
    return in_order(each_found(circumstances_of(_question(body), BOOK)))


def heard_in(body: dict[str, Any]) -> list[ClientWarning]:
    """The warnings of a request as they are answered."""
    return warnings_asked(_question(body), BOOK)[1]


def _question(body: dict[str, Any]) -> WarningsQuestion:
    return schemas.question(SCHEMA.load(json.loads(json.dumps(body), parse_float=Decimal)))


def by_code(body: dict[str, Any]) -> dict[str, ClientWarning]:
    """The same by code; of several, the first."""
    return {warning.code: warning for warning in reversed(found_in(body))}


def income(**kinds: float) -> list[dict[str, Any]]:
    """Incomes by kind, all of which have begun: a State Pension as well, whatever the person's age."""
    begun = {"state_pension": {"from": "2010-04-06"}}
    return [{"kind": kind, "amount": amount, **begun.get(kind, {})} for kind, amount in kinds.items()]


def saved(amount: float, day: str = "2026-12-01", **more: str) -> dict[str, Any]:
    """A contribution, without relief unless an employer pays or it says so."""
    without = {} if more.get("payer") == "employer" or "saving" in more else {"relief": "none"}
    return {"amount": amount, "date": day, **without, **more}


def into_isa(amount: float, day: str = "2026-10-01", **more: bool) -> dict[str, Any]:
    """A subscription."""
    return {"amount": amount, "date": day, **more}


def figures_that_differ(warning: ClientWarning) -> list[str]:
    """The statutory figures that a warning tells under their own names with another value than their tax year has. Of the
    tax years after the last file nothing is known here."""
    if warning.tax_year not in BOOK.years:
        return []
    figures = BOOK.years[warning.tax_year].figures.figures
    known = {figure_key(name): figure for name, figure in figures.items()}
    told = (("money", warning.money), ("count", warning.counts), ("rate", warning.rates))
    return [
        name
        for kind, values in told
        for name, value in values.items()
        if name in known and (known[name].kind, known[name].value) != (kind, value)
    ]


def amounts_not_told(warning: ClientWarning) -> set[str]:
    """The amounts in a warning's sentences that are not among its figures."""
    amounts = set(re.findall(r"£\d{1,3}(?:,\d{3})*(?:\.\d\d)?", warning.detail))
    return amounts - {pounds(amount) for amount in warning.money.values()}
