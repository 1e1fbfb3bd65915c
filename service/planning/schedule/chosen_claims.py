"""The claim to the marriage allowance that a plan chose for a tax year: who gives, and what it saves."""

from __future__ import annotations

from typing import NamedTuple

from service.law.units import Pence
from service.planning.projection.settlement import PersonRecord
from service.planning.schedule.schedule import ScheduleYear


class ChosenClaim(NamedTuple):
    """Places of who gives and who receives, what of the personal allowance is given, what that takes off the receiver's tax, and
    what it adds to the giver's; pence."""

    giver: int
    receiver: int
    given: Pence
    taken_off: Pence
    added: Pence

    @property
    def saved(self) -> Pence:
        """By how much less tax the two bear."""
        return self.taken_off - self.added


def chosen_claim(year: ScheduleYear) -> ChosenClaim | None:
    """The claim of a tax year, None where none was chosen."""
    records = [person.record for person in year.people]
    giver = next((place for place, record in enumerate(records) if record.chosen_claim == "gives"), None)
    if giver is None:
        return None
    receiver = 1 - giver
    return ChosenClaim(
        giver,
        receiver,
        records[giver].liability.marriage_allowance_given,
        -_change(records[receiver]),
        _change(records[giver]),
    )


def _change(record: PersonRecord) -> Pence:
    """By how much the year's tax is more with the claim than without it."""
    return record.liability.total - record.opened.taxed(record.taxable, "none").total
