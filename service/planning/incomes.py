"""A household's record in one tax year: what of its yearly incomes falls into it, and what in them cannot be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date

from service.figures import tax_years
from service.figures.loader import TaxYearFigures
from service.figures.tables import StatePensionAges
from service.law import state_pension
from service.law.dates import day_month_year
from service.law.rounding import half_up
from service.law.rulebook import TaxYearRules
from service.law.units import WHOLE, Pence
from service.planning.faults import Fault
from service.planning.household import (
    NOTHING_YET,
    Contribution,
    DatedIncome,
    Income,
    Member,
    Path,
    Person,
    Relief,
    SavingFacts,
    Spending,
    relief_of,
)
from service.planning.wording import pounds


def person_in(member: Member, rules: TaxYearRules, ages: StatePensionAges, *, later: bool = False) -> Person:
    """A person in one tax year: of each income the part of the year that it covers, as it stands in that year; a State Pension
    from State Pension age, unless another day is given. Pay that goes into a pension without relief is added to pay. What the
    person had already counts, unless the tax year is a ``later`` one."""
    figures = rules.figures
    incomes = []
    for income in member.income:
        if income.kind == "state_pension":
            income = settled(income, member, figures, ages, state_pension.reached_on(member.date_of_birth, ages))
        assert income.amount is not None
        amount = income.amount
        if income.first is not None or income.last is not None:
            days = (figures.end - figures.start).days + 1
            amount = amount_between(income, amount, figures.start, figures.end, days)
        incomes.append(Income(income.kind, amount))
    if not later and member.already is not NOTHING_YET:
        incomes += member.already.taxed
    relief = Relief()
    if member.contributions:
        relief = relief_of(member, incomes, figures.start, figures.end, rules.relief)
        if relief.taxed_pay:
            incomes.append(Income("employment", relief.taxed_pay))
    return Person(
        member.date_of_birth,
        member.tax_residence,
        tuple(incomes),
        relief.relief_at_source,
        member.gift_aid_donations,
        member.standing_claim,
        member.blind_persons_allowance,
        member.child_benefit,
        relief.paid_at_source,
        relief.taxed_pay,
    )


def saving_facts(member: Member, years: Iterable[TaxYearFigures]) -> SavingFacts | None:
    """What a person saves in pensions, yearly contributions in these tax years alone; None where nothing is known to be paid
    in. What a defined benefit pension builds up is the scheme's input amount, and not paid in."""
    paid_in: dict[str, Pence] = {}
    for one in member.contributions:
        if one.saving == "defined_benefit":
            continue
        if one.day is not None:
            name = tax_years.of(one.day)
            paid_in[name] = paid_in.get(name, 0) + one.amount
        else:
            for figures in years:
                if amount := one.between(figures.start, figures.end):
                    paid_in[figures.name] = paid_in.get(figures.name, 0) + amount
    if not paid_in:
        return None
    return SavingFacts(
        paid_in, member.usual_contributions, member.contribution_increase_planned, member.lump_sums_in_last_12_months
    )


def settled(
    income: DatedIncome, member: Member, figures: TaxYearFigures, ages: StatePensionAges, reached: date | None
) -> DatedIncome:
    """An income with an amount, in the money of a tax year, and a State Pension with its day: State Pension age, which is
    ``reached`` on a day, unless another day is given."""
    if income.kind != "state_pension":
        return income
    amount = income.amount
    if amount is None:
        assert income.share_of_full_rate is not None
        which = state_pension.which(member.date_of_birth, ages)
        assert which is not None, "a request for a share is refused where the full rate depends on sex"
        amount = half_up(state_pension.full_yearly(figures, which) * income.share_of_full_rate, WHOLE)
    return income._replace(amount=amount, first=income.first or reached)


def amount_between(
    item: DatedIncome | Spending,
    amount: Pence,
    first: date,
    last: date,
    days_in_year: int,
    risen: tuple[int, int] = (1, 1),
) -> Pence:
    """What a yearly amount comes to between two days of a tax year of so many days; ``risen``: what a pound of it has risen to
    by then, as numerator and denominator. Pence, half up."""
    begins = max(first, item.first) if item.first else first
    ends = min(last, item.last) if item.last else last
    days = (ends - begins).days + 1
    if days <= 0:
        return 0
    numerator, denominator = risen
    return half_up(amount * days * numerator, days_in_year * denominator)


def record_faults(member: Member, path: Path, ages: StatePensionAges) -> Iterator[Fault]:
    """What cannot be in the incomes and contributions of a person, whose place is ``path``."""
    for j, income in enumerate(member.income):
        if income.share_of_full_rate is not None and state_pension.which(member.date_of_birth, ages) is None:
            yield Fault(
                (*path, "income", j, "share_of_full_rate"),
                "share-depends-on-sex",
                f"For a person born on {day_month_year(member.date_of_birth)}, it depends on their sex whether they have the new "
                "or the basic State Pension. This is not asked. Give `amount` instead.",
            )
        if _ends_too_early(income):
            yield _to_before_from(income, (*path, "income", j))
    for j, contribution in enumerate(member.contributions):
        if _ends_too_early(contribution):
            yield _to_before_from(contribution, (*path, "contributions", j))
        if contribution.pension is not None and contribution.pension >= len(member.pensions):
            yield Fault(
                (*path, "contributions", j, "pension"),
                "no-such-pension",
                f"This person has no pension {contribution.pension}: `pensions` has {len(member.pensions)}, numbered from 0.",
            )
    had, used = member.already.tax_free_withdrawals, member.pension.lump_sum_allowance_used
    if used < had:
        yield Fault(
            (*path, "lump_sum_allowances", "lump_sum_allowance_used"),
            "less-used-than-withdrawn",
            f"`lump_sum_allowance_used`, {pounds(used)}, includes what was tax free this tax year, so it cannot be less than "
            f"`tax_free_withdrawals`, {pounds(had)}.",
        )


def spending_faults(spending: tuple[Spending, ...], path: Path) -> Iterator[Fault]:
    """What cannot be in what a household spends, whose place is ``path``."""
    for j, item in enumerate(spending):
        if _ends_too_early(item):
            yield _to_before_from(item, (*path, j))


def _ends_too_early(item: DatedIncome | Spending | Contribution) -> bool:
    return item.last is not None and item.first is not None and item.last < item.first


def _to_before_from(item: DatedIncome | Spending | Contribution, path: Path) -> Fault:
    assert item.last is not None
    assert item.first is not None
    return Fault(
        (*path, "to"),
        "to-before-from",
        f"`to`, {item.last.isoformat()}, is before `from`, {item.first.isoformat()}.",
    )
