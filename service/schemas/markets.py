"""Courses of markets, as requests for plans give them."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from itertools import combinations
from typing import Any

from service.planning.markets.markets import MOST_COMPARED, MOST_PATHS, Markets, Option
from service.planning.markets.returns import KINDS, RATES, Given, History, Random, Sequences, Source
from service.planning.projection.policies import PlainPlan
from service.schemas.fields import Choice, Rate, RateList, WholeNumber
from service.schemas.shared import ObjectList, StrictNested, StrictSchema
from service.schemas.together import Needs, OnlyWith

PLANS: Mapping[str, PlainPlan] = {
    "personal_allowance": "personal_allowance",
    "basic_rate_band": "basic_rate_band",
    "higher_rate_band": "higher_rate_band",
    "pension_left_until_state_pension_age": "evenly",
}
"""The plain plans by the names that requests and answers have for them."""

LARGEST_SEED = 2**53 - 1
"""The largest whole number that every JSON reader keeps."""

PATHS_UNLESS_SAID = 500
_MOST_YEARS_OF_A_PLAN = 60
_MOST_YEARS_OF_A_HISTORY = 300
_LEAST, _LARGEST = Decimal("-0.9"), 3
_LEAST_PRICES, _LARGEST_PRICES = Decimal("-0.2"), 1


def _rates(kind: str, most: int) -> RateList:
    if kind == "prices":
        rate = Rate(least=_LEAST_PRICES, largest=_LARGEST_PRICES, example=0.02)
    else:
        rate = Rate(least=0 if kind == "cash" else _LEAST, largest=_LARGEST, example=0.05)
    return RateList(rate, most=most, data_key=RATES[KINDS.index(kind)])


class VolatilitySchema(StrictSchema):
    """How much each kind of return varies."""

    pension = Rate(least=0, largest=1, example=0.1, data_key="pension_growth")
    isa = Rate(least=0, largest=1, example=0.1, data_key="isa_growth")
    cash = Rate(least=0, largest=1, example=0.01, data_key="cash_interest")
    prices = Rate(least=0, largest=1, example=0.01, data_key="price_inflation")


class CorrelationSchema(StrictSchema):
    """How two kinds of return move together."""

    pension_isa = Rate(least=-1, largest=1, example=0.8)
    pension_cash = Rate(least=-1, largest=1, example=0.1)
    pension_prices = Rate(least=-1, largest=1, example=0.1)
    isa_cash = Rate(least=-1, largest=1, example=0.1)
    isa_prices = Rate(least=-1, largest=1, example=0.1)
    cash_prices = Rate(least=-1, largest=1, example=0.5)


class MarketPathSchema(StrictSchema):
    """One path: a rate for each tax year of the plan."""

    pension = _rates("pension", _MOST_YEARS_OF_A_PLAN)
    isa = _rates("isa", _MOST_YEARS_OF_A_PLAN)
    cash = _rates("cash", _MOST_YEARS_OF_A_PLAN)
    prices = _rates("prices", _MOST_YEARS_OF_A_PLAN)


class HistorySchema(StrictSchema):
    """A history: a rate for each of its years."""

    pension = _rates("pension", _MOST_YEARS_OF_A_HISTORY)
    isa = _rates("isa", _MOST_YEARS_OF_A_HISTORY)
    cash = _rates("cash", _MOST_YEARS_OF_A_HISTORY)
    prices = _rates("prices", _MOST_YEARS_OF_A_HISTORY)


class ComparedOptionSchema(StrictSchema):
    """A plan to compare with on the same paths."""

    plan = Choice(PLANS, required=True)
    lump_sums = Choice(("with_each_withdrawal", "all_now", "never"))


class CoursesSchema(StrictSchema):
    """Many courses of markets, and where they come from."""

    source = Choice(("random", "given", "history"), required=True)
    seed = WholeNumber(least=0, largest=LARGEST_SEED)
    number_of_paths = WholeNumber(least=1, largest=MOST_PATHS)
    volatility = StrictNested(VolatilitySchema)
    correlation = StrictNested(CorrelationSchema)
    paths = ObjectList(MarketPathSchema, most=MOST_PATHS, least=1)
    history = StrictNested(HistorySchema)

    rules = (
        Needs("source", "random", "seed"),
        Needs("source", "random", "volatility"),
        Needs("source", "given", "paths"),
        Needs("source", "history", "history"),
        OnlyWith("seed", "source", "random"),
        OnlyWith("number_of_paths", "source", "random"),
        OnlyWith("volatility", "source", "random"),
        OnlyWith("correlation", "source", "random"),
        OnlyWith("paths", "source", "given"),
        OnlyWith("history", "source", "history"),
    )


class MarketsSchema(CoursesSchema):
    """The same, with other plans to compare with."""

    compare = ObjectList(ComparedOptionSchema, most=MOST_COMPARED)


def markets_of(values: Mapping[str, Any]) -> Markets:
    """Markets from loaded values."""
    options = tuple(Option(PLANS[one["plan"]], one.get("lump_sums")) for one in values.get("compare", ()))
    return Markets(source_of(values), options)


def source_of(values: Mapping[str, Any]) -> Source:
    """Where the paths come from, from loaded values."""
    if values["source"] == "given":
        return Given(tuple(Sequences(**one) for one in values["paths"]))
    if values["source"] == "history":
        return History(Sequences(**values["history"]))
    volatility, correlation = values["volatility"], values.get("correlation", {})
    pension, isa, cash, prices = (volatility.get(kind, 0) for kind in KINDS)
    return Random(
        values["seed"],
        values.get("number_of_paths", PATHS_UNLESS_SAID),
        (pension, isa, cash, prices),
        tuple((pair, correlation[name]) for pair in combinations(KINDS, 2) if (name := "_".join(pair)) in correlation),
    )
