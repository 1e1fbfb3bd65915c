"""What in a household over years cannot be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from service.figures import tax_years
from service.law.rulebook import RuleBook
from service.planning.faults import Fault, no_such_allowance_yet
from service.planning.household import PEOPLE, Household, Member
from service.planning.incomes import record_faults, spending_faults
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
        path = (*PEOPLE, i)
        if member.date_of_birth > start:
            yield Fault(
                (*path, "date_of_birth"),
                "not-yet-born",
                f"`date_of_birth`, {member.date_of_birth.isoformat()}, is after `start_date`, {start.isoformat()}.",
            )
        yield from record_faults(member, path, book.state_pension_ages)
        if not member.already.is_nothing and first is not None and start == first.figures.start:
            yield Fault(
                (*path, "already_this_tax_year"),
                "nothing-before-start",
                f"`start_date`, {start.isoformat()}, is the first day of the tax year, so nothing was had in it before. "
                "Leave `already_this_tax_year` out, or give the day from which on the balances are.",
            )
        if first is not None:
            yield from no_such_allowance_yet(member.pension, first, path, ", where the plan starts")
    yield from spending_faults(household.spending, ("household", "spending"))
    yield from _different_terms(household.people)


def _different_terms(people: Sequence[Member]) -> Iterator[Fault]:
    """Pensions that a plan cannot put together: those of one person need one pension age, all of the household one growth and
    one charge. A pension with nothing in it has no say."""
    growth = {(held.growth, held.yearly_charge) for member in people for held in member.pensions if held.held}
    for i, member in enumerate(people):
        ages = {held.protected_pension_age for held in member.pensions if held.held}
        if len(ages) > 1:
            yield Fault(
                (*PEOPLE, i, "pensions"),
                "pensions-on-different-terms",
                "This calculation puts a person's pensions together, so they need the same `protected_pension_age`. Ask "
                "for each pension by itself.",
            )
    if len(growth) > 1:
        yield Fault(
            PEOPLE,
            "pensions-on-different-terms",
            "This calculation puts pensions together, so all pensions of the household need the same `growth` and the same "
            "`yearly_charge`. Ask for each pension by itself.",
        )
