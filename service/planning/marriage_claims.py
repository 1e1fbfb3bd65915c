"""Who may leave it to a plan to claim the marriage allowance: both people of a couple, and only where a plan is made."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from service.planning.faults import Fault
from service.planning.household import PEOPLE, Member

_OTHER_ALLOWANCE_BORN_BEFORE = date(1935, 4, 6)
"""Where one of a couple was born before this day, either may have the married couple's allowance, and no couple has both
(Income Tax Act 2007 ss.45, 46, 55B(2))."""

_INSTEAD = "`none`, `gives` or `receives`"


def only_what_is_claimed(people: Sequence[Member]) -> Iterator[Fault]:
    """Claims left open where only one tax year is looked at, and no plan is made that could choose."""
    for i, member in enumerate(people):
        if member.marriage_allowance == "as_best":
            yield Fault(
                (*PEOPLE, i, "marriage_allowance"),
                "as-best-without-a-plan",
                "With `as_best`, a plan or a comparison of lump sums chooses in each tax year. Here no plan is made. Give what "
                f"is claimed in this tax year: {_INSTEAD}.",
            )


def chosen_by_both(people: Sequence[Member]) -> Iterator[Fault]:
    """Claims left to a plan by one of a couple alone, or by a couple that may have another allowance."""
    open_claims = [member.marriage_allowance == "as_best" for member in people]
    for i, is_open in enumerate(open_claims):
        place = (*PEOPLE, i, "marriage_allowance")
        if not is_open:
            continue
        if len(people) == 1:
            yield Fault(
                place,
                "as-best-by-one",
                f"`as_best` needs both people of a couple in the request. Give {_INSTEAD}, or add the other person.",
            )
        elif not all(open_claims):
            yield Fault(
                place,
                "as-best-by-one",
                f"`as_best` chooses for both people of a couple. Give `as_best` for both, or for each one of {_INSTEAD}.",
            )
        elif any(member.date_of_birth < _OTHER_ALLOWANCE_BORN_BEFORE for member in people):
            yield Fault(
                place,
                "as-best-born-before-1935",
                "Where one of a couple was born before 6 April 1935, they may have the married couple's allowance instead. "
                f"It is not counted here, so `as_best` cannot choose. Give {_INSTEAD}.",
            )
