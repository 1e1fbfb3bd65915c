"""Work, counted and limited: so that every request comes back, and one request has one answer on every machine.

Nothing looks at the clock. Each kind of step is counted at what it took, in microseconds of one processor, when the counts
were fitted, as written and not compiled; tests/benchmarks says on what. Another machine takes another time for the same work.
"""

from __future__ import annotations

from typing import Literal, get_args

from service.planning.projection.timeline import Timeline

Effort = Literal["quick", "standard", "thorough"]
"""How much work a search may take."""

EFFORTS: tuple[Effort, ...] = get_args(Effort)

LIMITS: dict[str, int] = {"quick": 140_000, "standard": 620_000, "thorough": 6_600_000}
"""The work of a request by effort: about half of a quarter of a second, of one and of ten, since machines are shared and what
is done outside the search comes on top."""

SOLVE = 550
"""A run of the simplex method, besides its iterations: handing over changes, factoring the last basis."""

ITERATION, ITERATION_FOR_COLUMN = 4.7, 0.0126
"""An iteration, and for each column of the program."""

PART_FROM_NOTHING = 0.4
"""Of that, what an iteration of a first run by the primal method is counted at: the basis is empty, with little to factor."""

COLUMN_READ = 0.6
"""A column of an optimum, read."""

COLUMN_ADDED = 4.5
"""A column added, with its entries."""

QUESTION = 5
"""A question to the rules."""

CORNER = 5
"""A corner of an arrangement, found and sifted."""

LINE = 2
"""A line of an arrangement."""

PERSON_YEAR_PROJECTED = 60
"""A person's year of a plan carried out."""

PERSON_YEAR_COMPARED = 100
"""A person's year of a plan outside the search: its tax year set out, the plain plans it is compared with, and the answer."""

PERSON_YEAR_ROUNDED = 45
"""A person's year of an optimum rounded to a plan."""

YEAR_MADE_UP, PERSON_YEAR_MADE_UP = 100, 120
"""A household's year of a plan in which more has to be drawn for spending than was chosen, and each person's part in it: amounts
are tried until it is met."""

PERSON_YEAR_WITH_POTS_MADE_UP, POT_YEAR_MADE_UP = 350, 15
"""That part where the person has pensions on different terms, and what each of them adds."""

PERSON_YEAR_MODELLED = 90
"""A person's year in a relaxation, besides its lines, questions and columns."""


class Work:
    """What a search has done and may do, in the units above."""

    def __init__(self, limit: float) -> None:
        """Nothing is done yet."""
        self.limit = limit
        self.done = 0.0

    def add(self, units: float) -> None:
        """Count what was done."""
        self.done += units

    @property
    def left(self) -> float:
        """What may still be done."""
        return max(0.0, self.limit - self.done)

    @property
    def is_over(self) -> bool:
        """Whether nothing more may be done."""
        return self.done >= self.limit


def year_made_up(timeline: Timeline) -> int:
    """What a year of a household is counted at in which amounts are tried until the spending is met."""
    pots = [len(years[0].pots) for years in timeline.people]
    return YEAR_MADE_UP + sum(
        PERSON_YEAR_WITH_POTS_MADE_UP + POT_YEAR_MADE_UP * count if count else PERSON_YEAR_MADE_UP for count in pots
    )
