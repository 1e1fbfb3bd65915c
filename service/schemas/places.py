"""Which person, and which of their pensions, a question means: by place from 0, and the only one where there is one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from marshmallow import ValidationError

from service.schemas.together import Said


def person_place(given: int | None, people: int, path: Sequence[str | int]) -> int:
    """The place of a person among so many. ValidationError, at the place where it is said, where there is no such person or it
    is not said which of two."""
    if given is None and people > 1:
        raise _at(
            path,
            Said("missing", "This household has two people. Say which by place: 0 for the first, 1 for the second."),
        )
    if given is not None and given >= people:
        raise _at(path, Said("no-such-person", "This household has one person, whose place is 0."))
    return given or 0


def pension_place(given: int | None, person: Mapping[str, Any], place: int, path: Sequence[str | int]) -> int:
    """The place of a pension among those of a person, whose own is ``place``. ValidationError as above."""
    count = len(person.get("pensions", ()))
    if count == 0:
        raise _at(
            path,
            Said(
                "no-such-pension",
                f"This person has no pension. List it in `household.people[{place}].pensions`, such as "
                '[{"uncrystallised": 100000}].',
            ),
        )
    if given is None and count > 1:
        raise _at(
            path, Said("missing", f"This person has {count} pensions. Say which by place, from 0 to {count - 1}.")
        )
    if given is not None and given >= count:
        one = "This person has one pension, whose place is 0."
        several = f"This person has {count} pensions. Places are from 0 to {count - 1}."
        raise _at(path, Said("no-such-pension", one if count == 1 else several))
    return given or 0


def _at(path: Sequence[str | int], said: Said) -> ValidationError:
    """A fault at a place of the request."""
    found: Any = [said]
    for part in reversed(path):
        found = {part: found}
    return ValidationError(found)
