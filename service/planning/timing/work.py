"""The work of a comparison, counted and limited: so that every request comes back, and has one answer on every machine.

Nothing looks at the clock. Each kind of step is counted at about what it takes, in microseconds of one processor, as written
and not compiled. What a request asks for by itself, its options, scenarios and deaths, is always done, and counts; break-evens
are looked for as far as that leaves work.
"""

from __future__ import annotations

from service.planning.projection.timeline import Timeline

LIMIT = 1_500_000
"""The work of a request."""

KEPT_BACK = 150_000
"""The part of it that is kept for the break-evens of growth of the best options, and the least that there is for them."""

PERSON_YEAR = 30
"""A person's year of an option carried out."""

POT_YEAR = 5
"""The same for each of several pots on different terms."""

QUESTION = 25
"""A question to the rules of income tax that was not asked before, with what it is asked for."""

DAY = 150
"""A tax year that is made to end on another day."""


class WorkUsedUp(Exception):
    """Nothing more may be done."""


class Work:
    """What may still be done, in the units above."""

    def __init__(self, left: int) -> None:
        self.left = left

    def begin(self) -> None:
        """Before a step: WorkUsedUp where nothing more may be done. What is begun is finished."""
        if self.left <= 0:
            raise WorkUsedUp

    def add(self, units: int) -> None:
        """Count what was done."""
        self.left -= units


def person_years(timeline: Timeline, begins: int = 0) -> int:
    """The work of carrying an option out over the periods from ``begins`` on, besides the questions to the rules."""
    pots = sum(len(years[0].pots) for years in timeline.people)
    return (PERSON_YEAR * len(timeline.people) + POT_YEAR * pots) * (len(timeline.periods) - begins)


def questions(timeline: Timeline, begins: int = 0) -> int:
    """The work of all questions to the rules so far about the periods from ``begins`` on."""
    return QUESTION * sum(year.questions for years in timeline.people for year in years[begins:])
