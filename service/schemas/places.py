"""Which person, and which of their pensions, a question means: by place from 0, and the only one where there is one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from marshmallow import ValidationError

from service.schemas.together import Said


class Places:
    """The people of a household, from loaded values, and every fault of what is said of their places: ``check`` raises
    ValidationError where there is any. Till then 0 stands in for a place that is not there."""

    def __init__(self, people: Sequence[Mapping[str, Any]]) -> None:
        self.people = people
        self._faults: list[tuple[Sequence[str | int], Said]] = []

    def person(self, given: int | None, path: Sequence[str | int]) -> int:
        """The place of a person. A fault, at the place where it is said, where there is no such person or it is not said which
        of two."""
        if given is None and len(self.people) > 1:
            self._found(
                path,
                Said(
                    "missing", "This household has two people. Say which by place: 0 for the first, 1 for the second."
                ),
            )
        elif given is not None and given >= len(self.people):
            self._found(path, Said("no-such-person", "This household has one person, whose place is 0."))
        return given or 0

    def pension(self, given: int | None, person: int, path: Sequence[str | int]) -> int:
        """The place of a pension among those of a person. Faults as above."""
        count = len(self.people[person].get("pensions", ()))
        if count == 0:
            self._found(
                path,
                Said(
                    "no-such-pension",
                    f"This person has no pension. List it in `household.people[{person}].pensions`, such as "
                    '[{"uncrystallised": 100000}].',
                ),
            )
        elif given is None and count > 1:
            self._found(
                path, Said("missing", f"This person has {count} pensions. Say which by place, from 0 to {count - 1}.")
            )
        elif given is not None and given >= count:
            one = "This person has one pension, whose place is 0."
            several = f"This person has {count} pensions. Places are from 0 to {count - 1}."
            self._found(path, Said("no-such-pension", one if count == 1 else several))
        return given or 0

    def both(self, values: Mapping[str, Any], path: Sequence[str | int]) -> tuple[int, int]:
        """The places of a person and of their pension, as ``person`` and ``pension`` of an object at ``path`` say them. Of a
        person who is not there no pension is asked."""
        before = len(self._faults)
        person = self.person(values.get("person"), (*path, "person"))
        if len(self._faults) > before:
            return person, 0
        return person, self.pension(values.get("pension"), person, (*path, "pension"))

    @property
    def unclear(self) -> bool:
        """Whether there is any fault so far."""
        return bool(self._faults)

    def check(self) -> None:
        """ValidationError with all faults, where there is any."""
        if not self._faults:
            return
        messages: Any = {}
        for path, said in self._faults:
            here = messages
            for part in path[:-1]:
                here = here.setdefault(part, {})
            here[path[-1]] = [said]
        raise ValidationError(messages)

    def _found(self, path: Sequence[str | int], said: Said) -> None:
        self._faults.append((path, said))
