"""What a plan says in words: its reasons, what happens in its tax years, and the summary."""

from __future__ import annotations

from typing import NamedTuple

from service.planning.schedule.events import Event, events
from service.planning.schedule.reasons import Reason, reasons
from service.planning.schedule.schedule import Schedule
from service.planning.schedule.summary import summary


class Told(NamedTuple):
    """The words of a plan. ``because`` has the reasons by tax year and person, ``events`` what happens by tax year."""

    because: tuple[tuple[tuple[Reason, ...], ...], ...]
    events: tuple[tuple[Event, ...], ...]
    summary: list[str]


def told(result: Schedule) -> Told:
    """The words of a plan, read off what it came to."""
    because = reasons(result)
    return Told(because, events(result), summary(result, because))
