"""The part of a plan's answer about many courses of markets."""

from __future__ import annotations

from typing import Any

from service.planning.household import LumpSums
from service.planning.markets.markets import Compared, MarketYear, OverPaths, PersonSpread, WorstPath
from service.planning.markets.percentiles import Percentiles, Spread
from service.planning.markets.returns import RATES, Random
from service.planning.markets.told import told
from service.schemas.markets import PLANS
from service.schemas.units import fraction, in_pounds, pounds, yearly_rate

_NAMES = {plan: name for name, plan in PLANS.items()}


def over_paths_answer(found: OverPaths, lump_sums: LumpSums) -> dict[str, Any]:
    """The part as JSON; ``lump_sums`` are taken as the plan does where an option says nothing of them."""
    source = found.markets.source
    document: dict[str, Any] = {
        "source": "random" if isinstance(source, Random) else type(source).__name__.lower(),
        **({"seed": source.seed} if isinstance(source, Random) else {}),
        "paths": found.paths,
        "summary": list(told(found)),
        "spending_met_throughout": _share(found.met_throughout, found.paths),
        "years": [_year(year, found.paths) for year in found.years],
        "wealth_after_tax": _percentiles(found.wealth_after_tax),
        "wealth_after_tax_in_prices_of_start": _percentiles(found.wealth_after_tax_in_prices_of_start),
        "worst_path": _worst(found.worst, found),
        "first_years": [
            {"tax_year": year.period.name, "people": [_person(person) for person in people]}
            for year, people in zip(found.years, found.first_years, strict=False)
        ],
    }
    if found.compared:
        document["compared"] = [_compared(one, found.paths, lump_sums) for one in found.compared]
        document["least_regret"] = found.least_regret
    return document


def _share(paths: int, of: int) -> dict[str, Any]:
    return {"paths": paths, "share": round(paths / of, 4)}


def _percentiles(found: Percentiles) -> dict[str, float]:
    return in_pounds(found, Percentiles._fields)


def _year(year: MarketYear, paths: int) -> dict[str, Any]:
    document: dict[str, Any] = {
        "tax_year": year.period.name,
        "to": year.period.last.isoformat(),
        "ages": list(year.ages),
        "spending_met": _share(year.spending_met, paths),
    }
    for name in (
        "wealth_before_tax",
        "wealth_before_tax_in_prices_of_start",
        "income_after_tax",
        "income_tax",
        "withdrawn",
    ):
        document[name] = _percentiles(getattr(year, name))
    if year.beneficiaries_receive is not None:
        document["beneficiaries_receive"] = _percentiles(year.beneficiaries_receive)
    return document


def _worst(worst: WorstPath, found: OverPaths) -> dict[str, Any]:
    document: dict[str, Any] = {"path": worst.place}
    if worst.fails is not None:
        document["first_not_met"] = found.years[worst.fails].period.name
        document["ages"] = list(found.years[worst.fails].ages)
    return {
        **document,
        "years_not_met": worst.years_not_met,
        "not_met_in_prices_of_start": pounds(worst.not_met),
        "left_after_tax": pounds(worst.wealth_after_tax),
        "left_after_tax_in_prices_of_start": pounds(worst.wealth_in_prices_of_start),
        "returns": {
            name: [fraction(rate) if isinstance(rate, int) else yearly_rate(rate) for rate in rates]
            for name, rates in zip(RATES, zip(*worst.path, strict=True), strict=True)
        },
    }


def _person(person: PersonSpread) -> dict[str, Any]:
    return {name: _spread(getattr(person, name)) for name in PersonSpread._fields}


def _spread(amounts: Spread) -> dict[str, Any]:
    return {**in_pounds(amounts, Spread._fields), "the_same_on_all": amounts.lowest == amounts.highest}


def _compared(one: Compared, paths: int, lump_sums: LumpSums) -> dict[str, Any]:
    document: dict[str, Any] = {
        "plan": _NAMES[one.option.plan],
        "lump_sums": one.option.lump_sums or lump_sums,
        "spending_met_throughout": _share(one.met_throughout, paths),
        "outcome_in_prices_of_start": _percentiles(one.outcome),
        "best_in": _share(one.best_in, paths),
        "largest_loss": pounds(one.largest_loss),
    }
    if one.loss_when_not_best is not None:
        document["loss_when_not_best"] = _percentiles(one.loss_when_not_best)
    return document
