"""What an answer says of the rules it was worked out by, the same in every answer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from service.figures.loader import Standing
from service.figures.proposals import ProposedLaw, first_day
from service.planning.disclosure import Caveat


@dataclass(frozen=True, slots=True)
class Versions:
    """What identifies an answer. ``rules`` follows from the figures and from all code that computes or words answers, so
    that the same request under the same ``rules`` has the same answer; ``law_as_of`` is the date of the newest official
    text that was read. ``proposed`` is the law that answers are worked out by where that is not the law as known."""

    rules: str
    figures: str
    software: str
    law_as_of: date
    proposed: ProposedLaw | None = None


def rules_answer(versions: Versions, standing: Standing, caveats: Iterable[Caveat]) -> dict[str, Any]:
    """``rules`` as JSON: the versions, how firm the weakest of the figures are, and the caveats on those that the answer rests
    on."""
    rules = {
        "version": versions.rules,
        "figures_version": versions.figures,
        "software_version": versions.software,
        "law_as_of": versions.law_as_of.isoformat(),
        "standing": standing,
        "caveats": caveats_answer(caveats),
    }
    return rules if versions.proposed is None else {**rules, "law": law_answer(versions.proposed)}


def caveats_answer(caveats: Iterable[Caveat]) -> list[dict[str, str]]:
    """The caveats in ``rules`` as JSON."""
    return [{"figure": caveat.figure, "caveat": caveat.sentence} for caveat in caveats]


def law_answer(law: ProposedLaw) -> dict[str, Any]:
    """A proposed law as JSON: its name, what it is, where it was proposed, and from when."""
    return {"name": law.name, "title": law.title, "source": law.source, "from": first_day(law)}
