"""The part of a comparison's answer about many courses of markets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from service.planning.timing.over_paths import DeathOverPaths, OptionOverPaths, OptionsOverPaths, OptionYear
from service.schemas.paths import (
    first_year_answer,
    percentiles_answer,
    period_answer,
    regret_answer,
    share_answer,
    source_answer,
    worst_answer,
)


def over_paths_answer(found: OptionsOverPaths, summary: Sequence[str]) -> dict[str, Any]:
    """The part as JSON."""
    return {
        **source_answer(found.source, found.paths),
        "summary": list(summary),
        "options": [_option(place, option, found.paths) for place, option in enumerate(found.options)],
        "least_regret": found.least_regret,
    }


def _option(place: int, option: OptionOverPaths, paths: int) -> dict[str, Any]:
    periods, ages, last = [year.period for year in option.years], [year.ages for year in option.years], option.years[-1]
    return {
        "option": place,
        "spending_met_throughout": share_answer(option.met_throughout, paths),
        "wealth_after_tax": percentiles_answer(last.wealth),
        "wealth_after_tax_in_prices_of_start": percentiles_answer(last.wealth_in_prices_of_start),
        "outcome_in_prices_of_start": percentiles_answer(option.outcome),
        **regret_answer(option.regret, paths),
        "worst_path": worst_answer(option.worst, periods, ages),
        "first_years": [
            first_year_answer(period, people) for period, people in zip(periods, option.first_years, strict=False)
        ],
        "years": [_year(year, paths) for year in option.years],
        "deaths": [_death(death, paths) for death in option.deaths],
    }


def _year(year: OptionYear, paths: int) -> dict[str, Any]:
    return {
        **period_answer(year.period, year.ages, year.spending_met, paths),
        "wealth_after_tax": percentiles_answer(year.wealth),
        "wealth_after_tax_in_prices_of_start": percentiles_answer(year.wealth_in_prices_of_start),
        "income_tax": percentiles_answer(year.income_tax),
    }


def _death(death: DeathOverPaths, paths: int) -> dict[str, Any]:
    asked, amounts = death.asked, death.amounts
    document: dict[str, Any] = {"person": asked.person, "age": asked.age}
    if asked.survivor_age is not None:
        document["survivor_age"] = asked.survivor_age
    if amounts is None:
        return document | {"outcome": "impossible", "reason": death.reason}
    return document | {
        "outcome": "found",
        "spending_met_throughout": share_answer(amounts.met_throughout, paths),
        "beneficiaries_receive": percentiles_answer(amounts.received),
        "beneficiaries_receive_in_prices_of_start": percentiles_answer(amounts.received_in_prices_of_start),
        "outcome_in_prices_of_start": percentiles_answer(amounts.outcome),
        **regret_answer(amounts.regret, paths),
    }
