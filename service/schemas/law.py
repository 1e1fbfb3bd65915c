"""Which law a request is to be answered by: that of the field ``law``, or the law as known; and which to compare with."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from service.figures.proposals import KNOWN
from service.schemas.fields import nearest
from service.schemas.together import Rule, Said

LAW, COMPARE_LAW = "law", "compare_law"
"""The fields of every question."""


@dataclass(frozen=True)
class LawsAreHeld(Rule):
    """The laws that are named are held, and are two: each is that as known, or one of those proposed."""

    proposed: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        return LAW, COMPARE_LAW

    def faults(self, given: Mapping[str, Any]) -> Iterable[tuple[str, Said]]:
        return self._not_held(given) if LAW in given or COMPARE_LAW in given else ()

    def _not_held(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Said]]:
        held, are_held = (KNOWN, *self.proposed), True
        for field in self.names:
            name = given.get(field)
            if isinstance(name, str) and name not in held:
                are_held = False
                yield field, Said("unknown-law", self._which_are_held(field, name, held))
        name = given.get(LAW, KNOWN)
        if are_held and name is not None and given.get(COMPARE_LAW) == name:
            detail = f'The answer is by the law "{name}" already. Name another in `{COMPARE_LAW}`, or leave it out.'
            yield COMPARE_LAW, Said("same-law", detail)

    def _which_are_held(self, field: str, name: str, held: tuple[str, ...]) -> str:
        if not self.proposed:
            instead = f', or send "{KNOWN}", for the law as known' if field == LAW else ""
            return f"This service holds no proposed law. Leave `{field}` out{instead}."
        near = nearest(name, held)
        meant = f' Did you mean "{near}"?' if near else ""
        return f"No law of this name is held. Must be one of: {', '.join(held)}.{meant}"
