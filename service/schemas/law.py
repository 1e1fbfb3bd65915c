"""Which law a request is to be answered by: that of the field ``law``, or the law as known; and which to compare with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from service.figures.proposals import KNOWN
from service.schemas.fields import nearest
from service.schemas.together import Said

LAW, COMPARE_LAW = "law", "compare_law"
"""The fields of every question."""


def unknown_law(field: str, name: str, proposed: Iterable[str]) -> Mapping[str, list[Said]]:
    """What is wrong with the name of a law that is not held, and which are."""
    names = [KNOWN, *proposed]
    if len(names) == 1:
        instead = f', or send "{KNOWN}", for the law as known' if field == LAW else ""
        detail = f"This service holds no proposed law. Leave `{field}` out{instead}."
    else:
        near = nearest(name, names)
        meant = f' Did you mean "{near}"?' if near else ""
        detail = f"No law of this name is held. Must be one of: {', '.join(names)}.{meant}"
    return {field: [Said("unknown-law", detail)]}


def same_law(name: str) -> Mapping[str, list[Said]]:
    """What is wrong with comparing a law with itself."""
    detail = f'The answer is by the law "{name}" already. Name another in `{COMPARE_LAW}`, or leave it out.'
    return {COMPARE_LAW: [Said("same-law", detail)]}
