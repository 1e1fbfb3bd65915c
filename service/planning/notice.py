"""What every answer says about itself: which figures are assumptions, and that it is not advice."""

from __future__ import annotations

from collections.abc import Iterator

from service.figures.loader import TaxYear
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


def touched_by(answer: Quote) -> Iterator[str]:
    """The names of the figures that an answer rests on."""
    person, method = answer.question.person, answer.question.withdrawal.method
    yield from ("income_tax.personal_allowance", "income_tax.personal_allowance_taper_threshold")
    yield f"income_tax.bands_{person.tax_residence}"
    if person.blind_persons_allowance:
        yield "income_tax.blind_persons_allowance"
    if person.marriage_allowance != "none":
        yield "income_tax.marriage_allowance"
    if person.child_benefit:
        yield from ("income_tax.child_benefit_charge_threshold", "income_tax.child_benefit_charge_step")
    if person.income_of("property"):
        yield "income_tax.property_bands"
    if person.income_of("savings_interest"):
        yield from ("income_tax.savings_bands", "income_tax.starting_rate_for_savings_limit")
        yield "income_tax.personal_savings_allowance_basic"
        if person.tax_residence == "scotland":
            yield "income_tax.personal_savings_allowance_higher"
    if person.income_of("dividends"):
        yield from ("income_tax.dividend_bands", "income_tax.dividend_allowance")
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


def _emergency_code_in_doubt(answer: Quote) -> bool:
    """Whether the code is not published, or the nation makes its prefix a question."""
    published = answer.rules.figures.figures["payroll.emergency_code"].status == "enacted"
    return not published or answer.question.person.tax_residence in ("scotland", "wales")


def notice(figures: TaxYear) -> str:
    """The short notice under every calculation for a tax year."""
    law = (
        ""
        if figures.status == "enacted"
        else f" Not all rates and allowances for {figures.name} are law yet: the last known ones are carried forward."
    )
    return (
        "An illustration from the facts given and published figures, not advice."
        + law
        + " Check with the pension scheme, HMRC, local rules and an authorised adviser before acting."
    )
