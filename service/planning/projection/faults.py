"""What in a household over years cannot be."""

from __future__ import annotations

from collections.abc import Iterator

from service.figures import tax_years
from service.law import state_pension
from service.law.rulebook import RuleBook
from service.planning.faults import Fault, no_such_allowance_yet
from service.planning.household import DatedIncome, Household, Member, Spending
from service.planning.projection.timeline import MOST_TAX_YEARS


def household_faults(
    household: Household, book: RuleBook, end_path: tuple[str, ...] = ("end_date",)
) -> Iterator[Fault]:
    """Everything in a household that cannot be, in the request's order; ``end_path`` is where its last day comes from."""
    start, end = household.start, household.end
    first = book.years.get(tax_years.of(start))
    if first is None:
        known = list(book.years)
        yield Fault(
            ("start_date",),
            "no-figures",
            f"`start_date`, {start.isoformat()}, is in {tax_years.of(start)}, for which there are no figures. A plan can start "
            f"in tax years from {known[0]} to {known[-1]}.",
        )
    if end < start:
        yield Fault(
            end_path,
            "end-before-start",
            f"The last day, {end.isoformat()}, is before `start_date`, {start.isoformat()}.",
        )
    elif (count := tax_years.between(tax_years.of(start), tax_years.of(end)) + 1) > MOST_TAX_YEARS:
        yield Fault(
            end_path,
            "plan-too-long",
            f"The plan touches {count} tax years; at most {MOST_TAX_YEARS} can be planned.",
        )
    for i, member in enumerate(household.people):
        path = ("people", i)
        if member.date_of_birth > start:
            yield Fault(
                (*path, "date_of_birth"),
                "not-yet-born",
                f"`date_of_birth`, {member.date_of_birth.isoformat()}, is after `start_date`, {start.isoformat()}.",
            )
        for j, income in enumerate(member.income):
            yield from _income_faults(income, member, (*path, "income", j), book)
        if first is not None:
            yield from no_such_allowance_yet(member.pension, first, (*path, "pension"), ", where the plan starts")
    for j, spending in enumerate(household.spending):
        yield from _dates_faults(spending, ("spending", j))


def _income_faults(income: DatedIncome, member: Member, path: tuple[str | int, ...], book: RuleBook) -> Iterator[Fault]:
    if income.share_of_full_rate is not None and (
        state_pension.which(member.date_of_birth, book.state_pension_ages) is None
    ):
        yield Fault(
            (*path, "share_of_full_rate"),
            "share-depends-on-sex",
            f"A person born on {member.date_of_birth.isoformat()} has the new or the basic State Pension depending on sex, "
            "which is not asked. Give `amount` instead.",
        )
    yield from _dates_faults(income, path)


def _dates_faults(item: DatedIncome | Spending, path: tuple[str | int, ...]) -> Iterator[Fault]:
    if item.first is not None and item.last is not None and item.last < item.first:
        yield Fault(
            (*path, "to"),
            "to-before-from",
            f"`to`, {item.last.isoformat()}, is before `from`, {item.first.isoformat()}.",
        )
