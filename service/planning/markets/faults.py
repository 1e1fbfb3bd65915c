"""What in a request about many courses of markets cannot be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from service.planning.faults import Fault
from service.planning.household import Household, Path
from service.planning.markets.correlation import factor
from service.planning.markets.markets import MOST_PERSON_YEARS
from service.planning.markets.returns import (
    Given,
    History,
    Random,
    Sequences,
    Source,
    count_of,
    length_of,
    moves_prices,
)
from service.planning.wording import counted, listed

_PLACE: Path = ("markets",)


def markets_faults(household: Household, source: Source, years: int, end: str) -> Iterator[Fault]:
    """Everything that cannot be, but for too much of it, in the request's order. ``years`` is how many tax years there are, and
    ``end`` the field that says when they end."""
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
        yield from _history_faults(source, years, end)
    if moves_prices(source) and household.assumptions.thresholds_after_freeze == "prices":
        yield Fault(
            ("assumptions", "thresholds_after_freeze"),
            "thresholds-on-many-paths",
            "The limits of tax would differ from path to path, which this service does not work out. Give `frozen`, or leave "
            "prices out of `markets`.",
        )


def too_many_paths(source: Source, years: int, asked: int, of: Sequence[str]) -> Iterator[Fault]:
    """More work than one request may ask for; ``asked`` is the work of all paths together, in years of a person, and ``of`` says
    what it is the work of."""
    paths = count_of(source, years)
    if paths and asked > MOST_PERSON_YEARS:
        place = {Random: "number_of_paths", Given: "paths", History: "history"}[type(source)]
        yield Fault(
            (*_PLACE, place),
            "too-many-paths",
            f"{counted(paths, 'path is', 'paths are')} too many here. For {listed(of)}, give at most "
            f"{MOST_PERSON_YEARS * paths // asked:,}.",
        )


def _of_another_length(given: Sequences, path: Path, years: int) -> Iterator[Fault]:
    for name, rates in given.given:
        if len(rates) != years:
            yield Fault(
                (*path, name),
                "not-one-a-year",
                f"Give one rate for each of the {years} tax years; here are {len(rates)}.",
            )


def _history_faults(history: History, years: int, end: str) -> Iterator[Fault]:
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
            f"There are {years} tax years, and the history has {length}. Give a longer history or an earlier {end}.",
        )
