"""A warning, and the order in which warnings are told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal

from service.figures.loader import Standing
from service.law.units import BasisPoints, Pence
from service.law.value import Value
from service.planning.household import Path

Effect = Literal["not_permitted", "costs", "check"]
"""What a warning means for the client."""

EFFECTS: tuple[Effect, ...] = ("not_permitted", "costs", "check")
"""The effects in the order in which warnings are told."""

Severity = Literal["lasting", "support", "amount", "on_death"]
"""How a warning bears on a client's life: ``lasting``, a right or a chance that cannot be had again; ``support``, a benefit,
help or an employer's money that ends or falls, year after year; ``amount``, money that is paid or lost, and whatever else is
to be known; ``on_death``, what depends on when somebody dies."""

SEVERITIES: tuple[Severity, ...] = ("lasting", "support", "amount", "on_death")
"""The severities in the order in which warnings of one effect are told."""

_ORDER = {effect: position for position, effect in enumerate(EFFECTS)}
_SEVERITY = {severity: position for position, severity in enumerate(SEVERITIES)}

NO_FIGURES: Mapping[str, int] = {}
"""The figures of a kind of which a warning has none."""


Unit = Literal["pounds", "fraction", "days", "years", "age", "month", "count"]
"""What a figure of a warning is in: an ``age`` is in whole years, a ``month`` one of the tax year from 1 to 12, and a ``count``
is of what the figure's name says."""


class ClientWarning(Value, frozen=True):
    """One consequence: ``effect`` is one of EFFECTS; ``money`` pence, ``counts`` whole numbers and ``rates`` basis points,
    by name; ``cost`` orders those of one ``severity``; ``path`` points into the request. ``tax_year`` is the year whose figures
    it quotes. A figure under the name that a tax year gives it is that year's figure.

    ``person`` and ``pension`` are the places of those it is about, where it is about one; ``options`` those of some options of
    lump sum timing. ``caveats`` are sentences on what is not certain of the law or the figures behind it.

    ``first``: it is told before all others, whatever its effect, since it says what is open to somebody who is ill.
    ``not_given``: it says no more than that a fact is missing. POST /v1/warnings puts all such into one, as its
    ``missing_facts``. ``in_notice``: the sentence by which the notice tells of it, where no missing fact decides more; empty
    of one that always makes a warning.
    """

    code: str
    effect: Effect
    title: str
    detail: str
    path: Path
    sources: tuple[str, ...]
    standing: Standing = "enacted"
    money: Mapping[str, Pence] = NO_FIGURES
    counts: Mapping[str, int] = NO_FIGURES
    rates: Mapping[str, BasisPoints] = NO_FIGURES
    cost: Pence = 0
    severity: Severity = "amount"
    tax_year: str | None = None
    person: int | None = None
    pension: int | None = None
    options: tuple[int, ...] = ()
    caveats: tuple[str, ...] = ()
    not_given: bool = False
    missing_facts: tuple[ClientWarning, ...] = ()
    first: bool = False
    in_notice: str = ""


Found = tuple[ClientWarning, ...]
"""What a rule finds: mostly nothing, sometimes one warning, more where it looks at several people or tax years."""


def in_order(found: Iterable[ClientWarning]) -> list[ClientWarning]:
    """What is open to somebody who is ill first, then what is not permitted, what costs, and what to check; in each by severity,
    and then by amount."""
    return sorted(found, key=_place)


def told_in_notice(missing: tuple[ClientWarning, ...]) -> tuple[str, ...]:
    """The sentences by which the notice tells what is missing; none where a warning tells it."""
    return tuple(dict.fromkeys(one.in_notice for one in missing)) if all(one.in_notice for one in missing) else ()


def _place(warning: ClientWarning) -> tuple[bool, int, int, int]:
    return not warning.first, _ORDER[warning.effect], _SEVERITY[warning.severity], -warning.cost
