"""What an answer says of the rules it was worked out by, the same in every answer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from service.figures.loader import Standing
from service.planning.disclosure import Caveat


@dataclass(frozen=True, slots=True)
class Versions:
    """What identifies an answer. ``rules`` follows from the figures and from all code that computes or words answers, so
    that the same request under the same ``rules`` has the same answer; ``law_as_of`` is the date of the newest official
    text that was read."""

    rules: str
    figures: str
    software: str
    law_as_of: date


def rules_answer(versions: Versions, standing: Standing, caveats: Iterable[Caveat]) -> dict[str, Any]:
    """``rules`` as JSON: the versions, how firm the weakest of the figures are, and the caveats on those that the answer rests
    on."""
    return {
        "version": versions.rules,
        "figures_version": versions.figures,
        "software_version": versions.software,
        "law_as_of": versions.law_as_of.isoformat(),
        "standing": standing,
        "caveats": [{"figure": caveat.figure, "caveat": caveat.sentence} for caveat in caveats],
    }
