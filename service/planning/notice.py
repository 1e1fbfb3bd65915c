"""What every answer says about itself: which figures are assumptions, and that it is not advice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from service.figures.loader import KEYS, STATUSES, Figure, TaxYear
from service.law.income_tax import Taxpayer
from service.planning.estates import Left
from service.planning.household import Member
from service.planning.projection import WITH_TAX_FREE_PART, PersonRecord
from service.planning.schedule import Schedule
from service.planning.timing import Timing
from service.planning.warnings.circumstances import Circumstances
from service.planning.withdrawal import Quote

_TOUCHED_BY_ALL = ("income_tax.personal_allowance", "income_tax.personal_allowance_taper_threshold")
_TOUCHED_BY_LUMP_SUMS = (
    "pension.tax_free_fraction",
    "pension.lifetime_allowance",
    "pension.lump_sum_allowance",
    "pension.lump_sum_and_death_benefit_allowance",
)


def assumptions(figures: TaxYear) -> dict[str, str]:
    """A sentence for each figure of the year that is not law, or whose source leaves a doubt, by the figure's name."""
    return {
        name: f"{name}: {figure.status}. {figure.doubt or figure.source}"
        if figure.status != "enacted"
        else f"{name}: {figure.doubt}"
        for name, figure in figures.figures.items()
        if figure.status != "enacted" or figure.doubt
    }


def touched_by_income_tax(taxpayer: Taxpayer) -> list[str]:
    """The names of the figures that a person's income tax rests on."""
    names = [*_TOUCHED_BY_ALL, f"income_tax.bands_{taxpayer.nation}"]
    if taxpayer.blind:
        names.append("income_tax.blind_persons_allowance")
    if taxpayer.marriage_allowance != "none":
        names.append("income_tax.marriage_allowance")
    if taxpayer.child_benefit:
        names += ("income_tax.child_benefit_charge_threshold", "income_tax.child_benefit_charge_step")
    if taxpayer.property_income:
        names.append("income_tax.property_bands")
    if taxpayer.savings:
        names += ("income_tax.savings_bands", "income_tax.starting_rate_for_savings_limit")
        names.append("income_tax.personal_savings_allowance_basic")
        if taxpayer.nation == "scotland":
            names.append("income_tax.personal_savings_allowance_higher")
    if taxpayer.dividends:
        names += ("income_tax.dividend_bands", "income_tax.dividend_allowance")
    return names


def touched_by(answer: Quote) -> list[str]:
    """The names of the figures that an answer rests on."""
    method = answer.question.withdrawal.method
    names = touched_by_income_tax(answer.taxpayer)
    if answer.payment.taxable:
        if answer.payroll.facts.code in answer.rules.payroll.flat_rates:
            names.append("payroll.flat_rate_codes")
        elif answer.payroll.assumed and _emergency_code_in_doubt(answer):
            names.append("payroll.emergency_code")
    if answer.money_purchase_triggered:
        names.append("pension.money_purchase_annual_allowance")
    if method == "small_pot":
        names.append("pension.small_pot_limit")
    elif method != "drawdown":
        if method == "ufpls":
            names.append("pension.lump_sum_regime")
        names += _TOUCHED_BY_LUMP_SUMS
    if answer.payment.charge:
        names += ("pension.lifetime_allowance_charge_lump_sum", "pension.lifetime_allowance_charge_retained")
    names.append("pension.minimum_pension_age")
    return names


def plan_assumptions(result: Schedule) -> list[str]:
    """A sentence for each figure a plan rests on that is not law or leaves a doubt, once, from the year in which it is
    least firm; then those on State Pension age."""
    household = result.question.household
    touched = (
        (
            year.period.rules.figures,
            {
                name
                for i, (member, person) in enumerate(zip(household.people, year.people, strict=True))
                for name in _touched_in(member, person.record, household.lump_sums, first=year.period.position == 0)
            },
        )
        for year in result.years
    )
    return [*_told_once(touched), *result.state_pension_doubts]


def timing_assumptions(result: Timing) -> list[str]:
    """The same for options side by side, with what inheritance tax rests on where deaths are asked about."""
    touched: list[tuple[TaxYear, set[str]]] = []
    for option in result.options:
        if option.course is None:
            continue
        household = option.course.timeline.household
        for year in option.years:
            names = {
                name
                for member, person in zip(household.people, year.people, strict=True)
                for name in _touched_in(member, person.record, household.lump_sums, first=year.period.position == 0)
            }
            touched.append((year.period.rules.figures, names))
        for death in option.deaths:
            for left in death.outcome.deaths if death.outcome else ():
                touched.append((left.period.rules.figures, set(_touched_by_death(left))))
    return [*_told_once(touched), *result.state_pension_doubts]


def case_assumptions(case: Circumstances) -> list[str]:
    """The same for what warnings rest on: the income tax of the tax years with withdrawals. What else a warning rests on
    it tells itself."""
    return _told_once(
        (year.figures, set(touched_by_income_tax(year.taxpayer)))
        for one in case.people
        for year in one.years
        if year.taxable
    )


def case_status(case: Circumstances) -> str:
    """How firm the figures of the weakest tax year are."""
    return max((year.figures.status for one in case.people for year in one.years), key=STATUSES.index)


def warnings_notice(case: Circumstances) -> str:
    """The short notice under warnings."""
    years = {year.name: year.figures for one in case.people for year in one.years}
    first = next((years[name] for name in sorted(years) if years[name].status != "enacted"), None)
    return _notice("" if first is None else f" {_not_law('from', first.name)}")


def _told_once(touched: Iterable[tuple[TaxYear, set[str]]]) -> list[str]:
    """A sentence for each figure touched that is not law or leaves a doubt, from the year in which it is least firm."""
    weakest: dict[str, tuple[str, Figure]] = {}
    for figures, names in touched:
        for name in names:
            figure = figures.figures.get(name)
            if figure is None or (figure.status == "enacted" and not figure.doubt):
                continue
            if name not in weakest or _firmness(figure) > _firmness(weakest[name][1]):
                weakest[name] = (figures.name, figure)
    return [_from_year(*weakest[name]) for name in KEYS if name in weakest]


def _touched_by_death(left: Left) -> Iterator[str]:
    """The names of the figures that the tax on a death rests on."""
    yield from ("inheritance_tax.nil_rate_band", "inheritance_tax.rate", "inheritance_tax.unused_pensions_in_estate")
    if left.estate.home_to_descendants:
        yield from ("inheritance_tax.residence_nil_rate_band", "inheritance_tax.residence_taper_threshold")
    if left.to_charity:
        yield from ("inheritance_tax.charity_rate", "inheritance_tax.charity_least_share")
    if left.pension is not None and left.pension.allowance_used:
        yield "pension.lump_sum_and_death_benefit_allowance"


def _firmness(figure: Figure) -> int:
    return STATUSES.index(figure.status)


def _from_year(year: str, figure: Figure) -> str:
    said = f"{figure.status}. {figure.doubt or figure.source}" if figure.status != "enacted" else figure.doubt
    return f"{figure.name} from {year}: {said}"


def _touched_in(member: Member, record: PersonRecord, lump_sums: str, *, first: bool) -> Iterator[str]:
    """The names of the figures that one person's period rests on; ``first``: of the first tax year."""
    taxpayer = record.opened.year.taxpayer
    yield from touched_by_income_tax(replace(taxpayer, savings=taxpayer.savings + record.opened.interest))
    if record.taxable and not member.pension.flexibly_accessed:
        yield "pension.money_purchase_annual_allowance"
    if record.opened.before.pension.uncrystallised and lump_sums != "none":
        if lump_sums in WITH_TAX_FREE_PART:
            yield "pension.lump_sum_regime"
        yield from _TOUCHED_BY_LUMP_SUMS
    yield "pension.minimum_pension_age"
    yield "isa.subscription_limit"
    if member.isa.cash_isa:
        yield "isa.cash_limit_under_65"
    if first and any(income.share_of_full_rate is not None for income in member.income):
        yield from ("state_pension.new_full_weekly", "state_pension.basic_full_weekly")


def _emergency_code_in_doubt(answer: Quote) -> bool:
    """Whether the code is not published, or the nation makes its prefix a question."""
    published = answer.rules.figures.figures["payroll.emergency_code"].status == "enacted"
    return not published or answer.question.person.tax_residence in ("scotland", "wales")


def notice(figures: TaxYear) -> str:
    """The short notice under every calculation for a tax year."""
    return _notice("" if figures.status == "enacted" else f" {_not_law('for', figures.name)}")


def plan_notice(first_not_law: TaxYear | None) -> str:
    """The same under a plan over years, with the first tax year whose figures are not all law, where there is one."""
    law = "" if first_not_law is None else f" {_not_law('from', first_not_law.name)}"
    return _notice(" Growth, interest and prices are assumptions." + law)


def _not_law(since: str, name: str) -> str:
    return f"Not all rates and allowances {since} {name} are law yet: the last known ones are carried forward."


def _notice(middle: str) -> str:
    return (
        "An illustration from the facts given and published figures, not advice."
        + middle
        + " Check with the pension scheme, HMRC, local rules and an authorised adviser before acting."
    )
