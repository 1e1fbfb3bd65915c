"""The steps of a plan as an iCalendar file (RFC 5545), for a diary.

The same request has the same bytes: DTSTAMP is the first day of the plan, and a UID follows from the request and the step, not
from its day. So a plan that is asked for again under later figures moves its events instead of doubling them. Names are
in no file, since a diary is read by others; the events say "the first person".
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import msgspec

from service.planning.schedule.steps import Step
from service.planning.wording import NAMELESS

MEDIA_TYPE = "text/calendar"
CONTENT_TYPE = "text/calendar; charset=utf-8"
_PRODUCT = "-//pension-to-isa//Steps of a plan//EN"


def calendar_file(steps: Iterable[Step], body: bytes, start: date, people: int, notice: str) -> bytes:
    """The file: an all-day event for each step. The UIDs follow from ``body``, the request; ``start`` is the plan's first day,
    ``people`` how many there are, and the ``notice`` ends each description."""
    # Ten megabytes of memory that a worker without such requests does not need.
    from icalendar import Calendar, Event

    asked = msgspec.json.encode(msgspec.json.decode(body), order="deterministic").decode()
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    stamp = datetime.combine(start, time(), UTC)
    times: Counter[tuple[Any, ...]] = Counter()
    for step in steps:
        which = (step.code, step.person, step.tax_year)
        times[which] += 1
        event = Event()
        event.add("uid", f"{uuid5(NAMESPACE_URL, repr((asked, which, times[which])))}@pension-to-isa")
        event.add("dtstamp", stamp)
        event.add("dtstart", step.day)
        event.add("dtend", step.day + timedelta(days=1))
        event.add("summary", _title(step, people))
        event.add("description", "\n\n".join(_paragraphs(step, notice)))
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _title(step: Step, people: int) -> str:
    """The step's title; of two people, with the one who does it."""
    if step.person is None or people == 1:
        return step.title
    return f"{step.title} ({NAMELESS[1 + step.person].lower()})"


def _paragraphs(step: Step, notice: str) -> list[str]:
    rule = f"Rule: {'; '.join(step.sources)}." if step.sources else "Common practice; no rule asks for it."
    return [step.detail, rule, notice]
