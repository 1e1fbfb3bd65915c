"""What answers say alike of plans and of options on many courses of markets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.planning.markets.percentiles import Percentiles, Spread
from service.planning.markets.regret import Regret, WorstPath
from service.planning.markets.returns import RATES, Random, Source
from service.planning.projection.timeline import Period
from service.schemas.units import fraction, in_pounds, pounds, yearly_rate


def source_answer(source: Source, paths: int) -> dict[str, Any]:
    """Where the paths come from, and how many there are."""
    if isinstance(source, Random):
        return {"source": "random", "seed": source.seed, "paths": paths}
    return {"source": type(source).__name__.lower(), "paths": paths}


def share_answer(paths: int, of: int) -> dict[str, Any]:
    """Some of the paths."""
    return {"paths": paths, "share": round(paths / of, 4)}


def percentiles_answer(found: Percentiles) -> dict[str, float]:
    """Percentiles of amounts."""
    return in_pounds(found, Percentiles._fields)


def period_answer(period: Period, ages: Sequence[int], met: int, paths: int) -> dict[str, Any]:
    """A period, everybody's ages at its end, and on how many paths spending is met until then."""
    return {
        "tax_year": period.name,
        "to": period.last.isoformat(),
        "ages": list(ages),
        "spending_met": share_answer(met, paths),
    }


def first_year_answer(period: Period, people: Sequence[Any]) -> dict[str, Any]:
    """What each person does in one of the first tax years."""
    return {
        "tax_year": period.name,
        "people": [{name: _spread(getattr(person, name)) for name in person._fields} for person in people],
    }


def _spread(amounts: Spread) -> dict[str, Any]:
    return {**in_pounds(amounts, Spread._fields), "the_same_on_all": amounts.lowest == amounts.highest}


def regret_answer(found: Regret, paths: int) -> dict[str, Any]:
    """On how many paths one is the best, and how much it loses on the others."""
    document: dict[str, Any] = {
        "best_in": share_answer(found.best_in, paths),
        "largest_loss": pounds(found.largest_loss),
    }
    if found.loss_when_not_best is not None:
        document["loss_when_not_best"] = percentiles_answer(found.loss_when_not_best)
    return document


def worst_answer(worst: WorstPath, periods: Sequence[Period], ages: Sequence[Sequence[int]]) -> dict[str, Any]:
    """The worst path, with the tax year in which it first fails and everybody's ages then."""
    document: dict[str, Any] = {"path": worst.place}
    if worst.fails is not None:
        document["first_not_met"] = periods[worst.fails].name
        document["ages"] = list(ages[worst.fails])
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
