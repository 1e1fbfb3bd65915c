"""What every answer says about itself: which figures are assumptions, and that it is not advice."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from service.figures.loader import KEYS, STATUSES, Figure, TaxYear
from service.law.income_tax import Taxpayer
from service.planning.schedule import Schedule, Year
from service.planning.withdrawal import Quote


def assumptions(figures: TaxYear) -> dict[str, str]:
    """A sentence for each figure of the year that is not law, or whose source leaves a doubt, by the figure's name."""
    return {
        name: f"{name}: {figure.status}. {figure.doubt or figure.source}"
        if figure.status != "enacted"
        else f"{name}: {figure.doubt}"
        for name, figure in figures.figures.items()
        if figure.status != "enacted" or figure.doubt
    }


def touched_by_income_tax(taxpayer: Taxpayer) -> Iterator[str]:
    """The names of the figures that a person's income tax rests on."""
    yield from ("income_tax.personal_allowance", "income_tax.personal_allowance_taper_threshold")
    yield f"income_tax.bands_{taxpayer.nation}"
    if taxpayer.blind:
        yield "income_tax.blind_persons_allowance"
    if taxpayer.marriage_allowance != "none":
        yield "income_tax.marriage_allowance"
    if taxpayer.child_benefit:
        yield from ("income_tax.child_benefit_charge_threshold", "income_tax.child_benefit_charge_step")
    if taxpayer.property_income:
        yield "income_tax.property_bands"
    if taxpayer.savings:
        yield from ("income_tax.savings_bands", "income_tax.starting_rate_for_savings_limit")
        yield "income_tax.personal_savings_allowance_basic"
        if taxpayer.nation == "scotland":
            yield "income_tax.personal_savings_allowance_higher"
    if taxpayer.dividends:
        yield from ("income_tax.dividend_bands", "income_tax.dividend_allowance")


def touched_by(answer: Quote) -> Iterator[str]:
    """The names of the figures that an answer rests on."""
    method = answer.question.withdrawal.method
    yield from touched_by_income_tax(answer.taxpayer)
    if answer.payment.taxable:
        if answer.payroll.facts.code in answer.rules.payroll.flat_rates:
            yield "payroll.flat_rate_codes"
        elif answer.payroll.assumed and _emergency_code_in_doubt(answer):
            yield "payroll.emergency_code"
    if answer.money_purchase_triggered:
        yield "pension.money_purchase_annual_allowance"
    if method == "small_pot":
        yield "pension.small_pot_limit"
    elif method != "drawdown":
        if method == "ufpls":
            yield "pension.lump_sum_regime"
        yield from ("pension.tax_free_fraction", "pension.lifetime_allowance")
        yield from ("pension.lump_sum_allowance", "pension.lump_sum_and_death_benefit_allowance")
    if answer.payment.charge:
        yield from ("pension.lifetime_allowance_charge_lump_sum", "pension.lifetime_allowance_charge_retained")
    yield "pension.minimum_pension_age"


def plan_assumptions(result: Schedule) -> list[str]:
    """A sentence for each figure a plan rests on that is not law or leaves a doubt, once, from the year in which it is
    least firm; then those on State Pension age."""
    weakest: dict[str, tuple[str, Figure]] = {}
    for year in result.years:
        figures = year.period.rules.figures
        touched = {name for i in range(len(year.people)) for name in _touched_in(result, year, i)}
        for name in touched:
            figure = figures.figures.get(name)
            if figure is None or (figure.status == "enacted" and not figure.doubt):
                continue
            if name not in weakest or _firmness(figure) > _firmness(weakest[name][1]):
                weakest[name] = (figures.name, figure)
    in_order = (name for name in KEYS if name in weakest)
    return [_from_year(*weakest[name]) for name in in_order] + list(result.state_pension_doubts)


def _firmness(figure: Figure) -> int:
    return STATUSES.index(figure.status)


def _from_year(year: str, figure: Figure) -> str:
    said = f"{figure.status}. {figure.doubt or figure.source}" if figure.status != "enacted" else figure.doubt
    return f"{figure.name} from {year}: {said}"


def _touched_in(result: Schedule, year: Year, i: int) -> Iterator[str]:
    """The names of the figures that one person's period rests on."""
    household, member = result.question.household, result.question.household.people[i]
    record = year.people[i].record
    taxpayer = record.opened.year.taxpayer
    yield from touched_by_income_tax(replace(taxpayer, savings=taxpayer.savings + record.opened.interest))
    if record.taxable and not member.pension.flexibly_accessed:
        yield "pension.money_purchase_annual_allowance"
    if record.opened.before.pension.uncrystallised and household.lump_sums != "none":
        if household.lump_sums == "with_each_withdrawal":
            yield "pension.lump_sum_regime"
        yield from ("pension.tax_free_fraction", "pension.lifetime_allowance")
        yield from ("pension.lump_sum_allowance", "pension.lump_sum_and_death_benefit_allowance")
    yield "pension.minimum_pension_age"
    yield "isa.subscription_limit"
    if member.isa.cash_isa:
        yield "isa.cash_limit_under_65"
    if year.period.position == 0 and any(income.share_of_full_rate is not None for income in member.income):
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
