"""The catalogue of warnings: every warning is made from its entry by ``warn``."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from functools import cache
from types import MappingProxyType

from service.figures.loader import STATUSES, TaxYear
from service.planning.warnings.entries import ENTRIES, Entry
from service.planning.warnings.warning import NO_FIGURES, ClientWarning, Found, Path

CATALOGUE: Mapping[str, Entry] = MappingProxyType({entry.code: entry for entry in ENTRIES})
"""Every warning by its code, in the order of the topics."""

_PLAIN_GROUPS = ("income_tax", "pension", "benefits")


def in_force(code: str, day: date | None) -> bool:
    """Whether the law that a warning tells of runs on a day; without a day, whether it runs at all."""
    entry = CATALOGUE[code]
    if day is None:
        return True
    return (entry.since is None or entry.since <= day) and (entry.until is None or day <= entry.until)


@cache
def figure_key(name: str) -> str:
    """The name under which a warning tells a tax year's figure: the group is left out where the name says enough."""
    group, _, rest = name.partition(".")
    return rest if group in _PLAIN_GROUPS else f"{group}_{rest}"


def warn(
    code: str,
    detail: str,
    path: Path,
    *,
    figures: TaxYear,
    rests_on: tuple[str, ...] = (),
    status: str = "enacted",
    money: Mapping[str, int] = NO_FIGURES,
    counts: Mapping[str, int] = NO_FIGURES,
    rates: Mapping[str, int] = NO_FIGURES,
    cost: int = 0,
) -> Found:
    """The one warning that a rule has found, made from its entry.

    ``rests_on`` names figures of the tax year ``figures``: their values go with the warning, its status is the weakest of
    theirs and ``status``, and what is doubtful about them ends the detail.
    """
    entry = CATALOGUE[code]
    doubts: tuple[str, ...] = ()
    for name in rests_on:
        figure = figures.figures[name]
        value, kind, key = figure.value, figure.kind, figure_key(name)
        if figure.status != "enacted":
            status = max(status, figure.status, key=STATUSES.index)
        if isinstance(value, int):
            if kind == "money":
                money = {**money, key: value}
            elif kind == "rate":
                rates = {**rates, key: value}
            else:
                counts = {**counts, key: value}
        if figure.doubt is not None and figure.doubt not in doubts:
            doubts += (figure.doubt,)
    if doubts:
        detail = f"{detail} In doubt: {' '.join(doubts)}"
    return (
        ClientWarning(
            code,
            entry.effect,
            entry.title,
            detail,
            path,
            entry.sources,
            status,
            money,
            counts,
            rates,
            cost,
            figures.name,
        ),
    )
