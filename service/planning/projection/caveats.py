"""Which figures a period of a plan rests on."""

from __future__ import annotations

from collections.abc import Iterator

from service.planning.disclosure import LUMP_SUM_FIGURES, touched_by_income_tax
from service.planning.household import LumpSums, Member
from service.planning.projection.settlement import WITH_TAX_FREE_PART, PersonRecord


def touched_in(member: Member, record: PersonRecord, lump_sums: LumpSums, *, first: bool) -> Iterator[str]:
    """The names of the figures that one person's period rests on; ``first``: of the first tax year."""
    taxpayer = record.opened.year.taxpayer
    claim = record.chosen_claim or taxpayer.marriage_allowance
    taxpayer = taxpayer._replace(savings=taxpayer.savings + record.opened.interest, marriage_allowance=claim)
    yield from touched_by_income_tax(taxpayer)
    if record.taxable and not member.pension.flexibly_accessed:
        yield "pension.money_purchase_annual_allowance"
    if record.opened.before.pension.uncrystallised and lump_sums != "never":
        if lump_sums in WITH_TAX_FREE_PART:
            yield "pension.lump_sum_regime"
        yield from LUMP_SUM_FIGURES
    yield "pension.minimum_pension_age"
    yield "isa.subscription_limit"
    if member.isa.cash_isa:
        yield "isa.cash_limit_under_65"
    if first and any(income.share_of_full_rate is not None for income in member.income):
        yield from ("state_pension.new_full_weekly", "state_pension.basic_full_weekly")
