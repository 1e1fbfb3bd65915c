"""The part of a plan's answer about many courses of markets."""

from __future__ import annotations

from typing import Any

from service.planning.household import LumpSums
from service.planning.markets.markets import Compared, MarketYear, OverPaths
from service.planning.markets.told import told
from service.schemas.markets import PLANS
from service.schemas.paths import (
    first_year_answer,
    percentiles_answer,
    period_answer,
    regret_answer,
    share_answer,
    source_answer,
    worst_answer,
)

_NAMES = {plan: name for name, plan in PLANS.items()}


def over_paths_answer(found: OverPaths, lump_sums: LumpSums) -> dict[str, Any]:
    """The part as JSON; ``lump_sums`` are taken as the plan does where an option says nothing of them."""
    periods, ages = [year.period for year in found.years], [year.ages for year in found.years]
    document: dict[str, Any] = {
        **source_answer(found.markets.source, found.paths),
        "summary": list(told(found)),
        "spending_met_throughout": share_answer(found.met_throughout, found.paths),
        "years": [_year(year, found.paths) for year in found.years],
        "wealth_after_tax": percentiles_answer(found.wealth_after_tax),
        "wealth_after_tax_in_prices_of_start": percentiles_answer(found.wealth_after_tax_in_prices_of_start),
        "worst_path": worst_answer(found.worst, periods, ages),
        "first_years": [
            first_year_answer(period, people) for period, people in zip(periods, found.first_years, strict=False)
        ],
    }
    if found.compared:
        document["compared"] = [_compared(one, found.paths, lump_sums) for one in found.compared]
        document["least_regret"] = found.least_regret
    return document


def _year(year: MarketYear, paths: int) -> dict[str, Any]:
    document = period_answer(year.period, year.ages, year.spending_met, paths)
    for name in (
        "wealth_before_tax",
        "wealth_before_tax_in_prices_of_start",
        "income_after_tax",
        "income_tax",
        "withdrawn",
    ):
        document[name] = percentiles_answer(getattr(year, name))
    if year.beneficiaries_receive is not None:
        document["beneficiaries_receive"] = percentiles_answer(year.beneficiaries_receive)
    return document


def _compared(one: Compared, paths: int, lump_sums: LumpSums) -> dict[str, Any]:
    return {
        "plan": _NAMES[one.option.plan],
        "lump_sums": one.option.lump_sums or lump_sums,
        "spending_met_throughout": share_answer(one.met_throughout, paths),
        "outcome_in_prices_of_start": percentiles_answer(one.outcome),
        **regret_answer(one.regret, paths),
    }
