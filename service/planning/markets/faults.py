"""What in a request about many courses of markets cannot be."""

from __future__ import annotations

from collections.abc import Iterator

from service.planning.faults import Fault
from service.planning.household import Household, Path
from service.planning.markets.correlation import factor
from service.planning.markets.markets import MOST_PERSON_YEARS, Markets, person_years
from service.planning.markets.returns import (
    Given,
    History,
    Random,
    Sequences,
    count_of,
    length_of,
    moves_prices,
)
from service.planning.projection.faults import growth_of_two

_PLACE: Path = ("markets",)


def markets_faults(household: Household, markets: Markets, years: int) -> Iterator[Fault]:
    """Everything that cannot be, in the request's order; ``years`` is how many tax years the plan has."""
    source = markets.source
    yield from growth_of_two(household.assumptions)
    if isinstance(source, Random) and factor(source.matrix) is None:
        yield Fault(
            (*_PLACE, "correlation"),
            "correlation-impossible",
            "These correlations cannot hold together: the matrix that they make is not positive semidefinite. Give values nearer "
            "to 0.",
        )
    if isinstance(source, Given):
        for i, path in enumerate(source.paths):
            yield from _of_another_length(path, (*_PLACE, "paths", i), years)
    if isinstance(source, History):
        yield from _history_faults(source, years)
    if moves_prices(source) and household.assumptions.thresholds_after_freeze == "prices":
        yield Fault(
            ("assumptions", "thresholds_after_freeze"),
            "thresholds-on-many-paths",
            "The limits of tax would differ from path to path, which this service does not work out. Give `frozen`, or leave "
            "prices out of `markets`.",
        )
    paths = count_of(source, years)
    if paths and (asked := person_years(household, markets, years)) > MOST_PERSON_YEARS:
        place = {Random: "number_of_paths", Given: "paths", History: "history"}[type(source)]
        yield Fault(
            (*_PLACE, place),
            "too-many-paths",
            f"{paths:,} paths of this plan are too many. For {years} tax years, {len(household.people)} "
            f"{'people' if len(household.people) > 1 else 'person'} and {1 + len(markets.compare)} "
            f"{'plans' if markets.compare else 'plan'}, give at most {MOST_PERSON_YEARS * paths // asked:,}.",
        )


def _of_another_length(given: Sequences, path: Path, years: int) -> Iterator[Fault]:
    for name, rates in given.given:
        if len(rates) != years:
            yield Fault(
                (*path, name),
                "not-one-a-year",
                f"Give one rate for each of the {years} tax years of the plan; here are {len(rates)}.",
            )


def _history_faults(history: History, years: int) -> Iterator[Fault]:
    length = length_of(history)
    for name, rates in history.years.given:
        if len(rates) != length:
            yield Fault(
                (*_PLACE, "history", name),
                "history-of-another-length",
                f"Give each part of a history for the same years: another has {length}, here are {len(rates)}.",
            )
    if length < years:
        yield Fault(
            (*_PLACE, "history"),
            "history-too-short",
            f"The plan has {years} tax years, and the history {length}. Give a longer history or an earlier `end_date`.",
        )
