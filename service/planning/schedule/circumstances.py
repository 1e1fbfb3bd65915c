"""The warnings a plan over years carries, each in the tax year in which it first applies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from service.law import lump_sums
from service.law.ages import age_on
from service.planning.household import Member
from service.planning.projection.policies import target
from service.planning.schedule.schedule import LEAST_TAX, PersonYearPlan, Schedule, Year
from service.planning.warnings.circumstances import Circumstances, PersonCase, PersonFacts, Together, YearFacts
from service.planning.warnings.gathering import works
from service.planning.warnings.rules import all_found, the_first_of_each
from service.planning.warnings.warning import ClientWarning, in_order
from service.planning.wording import who


def schedule_warnings(result: Schedule) -> list[ClientWarning]:
    """The warnings of a plan: costs by amount, then what to check."""
    return in_order(the_first_of_each(all_found(circumstances_of(result))))


def circumstances_of(result: Schedule) -> Circumstances:
    """What a plan knows of its people, their tax years and the household."""
    household = result.question.household
    people = []
    for i, member in enumerate(household.people):
        person = person_facts(member, i, len(household.people), result)
        wanted = household.lump_sums != "none"
        years = tuple(
            year_facts(person, member, year, year.people[i], pension, wanted=wanted)
            for year, pension in zip(result.years, result.state_pensions[i], strict=True)
        )
        people.append(PersonCase(person, years))
    return Circumstances(tuple(people), ("end_date",), together=tuple(_together(result)))


def person_facts(member: Member, i: int, of: int, result: Schedule) -> PersonFacts:
    """A member of a plan's household as the rules see them."""
    return PersonFacts(
        who=who(i, of),
        path=("people", i),
        pension_path=("people", i, "pension"),
        born=member.date_of_birth,
        nation=member.tax_residence,
        marriage_allowance=member.marriage_allowance,
        works=works(member.income),
        has_state_pension_age=True,
        state_pension_from=result.timeline.state_pension_from[i],
    )


def year_facts(
    person: PersonFacts, member: Member, year: Year, plan: PersonYearPlan, state_pension: int, *, wanted: bool
) -> YearFacts:
    """One member's tax year of a plan; ``wanted``: the plan takes tax-free lump sums at all."""
    record, period = plan.record, year.period
    opened = record.opened
    taxpayer = opened.year.taxpayer
    if opened.interest:
        taxpayer = replace(taxpayer, savings=taxpayer.savings + opened.interest)
    return YearFacts(
        person=person,
        rules=period.rules,
        path=person.pension_path,
        taxpayer=taxpayer,
        without=opened.taxed(0),
        with_it=record.liability,
        gross=record.gross,
        tax_free=record.tax_free,
        taxable=record.taxable,
        before=opened.before.pension,
        after=record.after.pension,
        left_before=opened.left,
        left_after=lump_sums.available(record.after.pension, period.rules.lump_sums),
        held_before=plan.pension.opening + plan.pension.growth,
        last_day=period.last,
        age=age_on(person.born, period.last),
        state_pension=state_pension,
        lump_sums_wanted=wanted,
        cash_isa_limit=plan.isa_limit if member.isa.cash_isa else None,
    )


def _together(result: Schedule) -> Iterator[Together]:
    fill = result.question.fill
    for year in result.years:
        beyond = tax = 0
        if fill != LEAST_TAX and year.spending:
            for person in year.people:
                record = person.record
                within = target(record.opened, fill)
                if record.taxable > within:
                    beyond += record.taxable - within
                    without = record.opened.year.liability(record.opened.interest, within)
                    tax += max(0, record.liability.total - without.total)
        full = year.household.cash > 0 and all(person.isa_unused == 0 for person in year.people)
        yield Together(
            rules=year.period.rules,
            spending=year.spending,
            beyond_the_band=beyond,
            beyond_tax=tax,
            fill=fill,
            waits=year.household.cash if full else 0,
        )
