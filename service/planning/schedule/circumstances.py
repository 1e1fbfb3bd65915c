"""The warnings a plan over years carries, each in the tax year in which it first applies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from service.planning.projection.policies import target
from service.planning.projection.remaining_pension import tax_on_remaining
from service.planning.projection.settlement import taxed_if_drawn
from service.planning.schedule.schedule import Schedule
from service.planning.warnings.circumstances import Circumstances, LeftInPension, PersonCase, Together
from service.planning.warnings.household_facts import partner_in, person_facts, settled_year
from service.planning.warnings.registry import all_found, the_first_of_each
from service.planning.warnings.warning import ClientWarning, in_order


def schedule_warnings(result: Schedule) -> list[ClientWarning]:
    """The warnings of a plan: costs by amount, then what to check."""
    return in_order(the_first_of_each(all_found(circumstances_of(result))))


def circumstances_of(result: Schedule) -> Circumstances:
    """What a plan knows of its people, their tax years and the household."""
    household = result.question.household
    people = []
    for i, member in enumerate(household.people):
        reached = result.timeline.state_pension_from
        partner = partner_in(household.people, i, reached)
        person = person_facts(member, i, len(household.people), reached[i], partner=partner)
        wanted = household.lump_sums != "never"
        years = tuple(
            settled_year(
                person,
                member,
                year.period,
                year.people[i].record,
                year.people[i].pension,
                state_pension,
                lump_sums_wanted=wanted,
            )
            for year, state_pension in zip(result.years, result.state_pensions[i], strict=True)
        )
        people.append(PersonCase(person, years, held=member.pension, left=_left(result, i)))
    return Circumstances(tuple(people), ("end_date",), together=tuple(_together(result)))


def _left(result: Schedule, person: int) -> LeftInPension | None:
    """What the plan leaves in a person's pension, where it is taxed at a flat rate; not where beneficiaries are to have it."""
    assumed, last = result.question.household.assumptions, result.timeline.periods[-1]
    if assumed.tax_rate_on_remaining_pension is None or result.question.is_for_beneficiaries:
        return None
    drawn = replace(assumed, tax_rate_on_remaining_pension=None)
    year, after = result.timeline.people[person][-1], result.projection.years[-1].people[person].after
    taxed = taxed_if_drawn(after.pension, last.rules.lump_sums)
    return LeftInPension(
        taxed,
        tax_on_remaining(assumed, year, taxed),
        tax_on_remaining(drawn, year, taxed),
        drawn.remaining_pension_drawn_over,
    )


def _together(result: Schedule) -> Iterator[Together]:
    band = result.question.band
    for year in result.years:
        beyond = tax = 0
        if band is not None and year.spending:
            for person in year.people:
                record = person.record
                within = target(record.opened, band)
                if record.taxable > within:
                    beyond += record.taxable - within
                    without = record.opened.taxed(within, record.chosen_claim)
                    tax += max(0, record.liability.total - without.total)
        spare = max(0, year.household.in_cash - result.question.household.minimum_cash)
        full = spare > 0 and all(person.isa_unused == 0 for person in year.people)
        yield Together(
            rules=year.period.rules,
            spending=year.spending,
            beyond_the_band=beyond,
            beyond_tax=tax,
            fill=result.question.goal,
            waits=spare if full else 0,
        )
