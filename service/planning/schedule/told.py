"""What a plan says besides its amounts: its reasons, what happens in its tax years, the summary, and the estate at the end."""

from __future__ import annotations

from typing import NamedTuple

from service.law.units import POUND
from service.planning.schedule.estate import EstateAtTheEnd
from service.planning.schedule.events import Event, events
from service.planning.schedule.reasons import Reason, reasons
from service.planning.schedule.schedule import Schedule
from service.planning.schedule.summary import summary
from service.planning.wording import rounded_pounds


class Told(NamedTuple):
    """The words of a plan. ``because`` has the reasons by tax year and person, ``events`` what happens by tax year."""

    because: tuple[tuple[tuple[Reason, ...], ...], ...]
    events: tuple[tuple[Event, ...], ...]
    summary: list[str]
    estate: EstateAtTheEnd | None


def told(result: Schedule) -> Told:
    """The words of a plan, read off what it came to."""
    because = reasons(result)
    asked = result.question
    estate = asked.estate_left(result.projection) if asked.estate_given else None
    # Where it is the aim, the summary tells it in its place.
    besides = [] if asked.is_for_beneficiaries else _estate(estate)
    return Told(because, events(result), [*summary(result, because), *besides], estate)


def _estate(estate: EstateAtTheEnd | None) -> list[str]:
    if estate is None or not estate.deaths:
        return []
    who = "you died" if len(estate.deaths) == 1 else "both people died"
    inheritance_tax, income_tax = (
        f"{rounded_pounds(tax)} of" if tax >= POUND else "no"
        for tax in (estate.inheritance_tax, estate.beneficiaries_income_tax)
    )
    return [
        f"If {who} on the last day, beneficiaries would receive {rounded_pounds(estate.beneficiaries_receive)}, after "
        f"{inheritance_tax} inheritance tax and {income_tax} income tax."
    ]
