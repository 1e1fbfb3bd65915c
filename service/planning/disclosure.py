"""What every answer says about itself: which figures are assumptions, and that it is not advice."""

from __future__ import annotations

from collections.abc import Iterable

from service.figures.loader import KEYS, STATUSES, Figure, TaxYearFigures
from service.law.income_tax import Taxpayer

_TOUCHED_BY_ALL = ("income_tax.personal_allowance", "income_tax.personal_allowance_taper_threshold")
LUMP_SUM_FIGURES = (
    "pension.tax_free_fraction",
    "pension.lifetime_allowance",
    "pension.lump_sum_allowance",
    "pension.lump_sum_and_death_benefit_allowance",
)


def assumptions(figures: TaxYearFigures) -> dict[str, str]:
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


def told_once(touched: Iterable[tuple[TaxYearFigures, set[str]]]) -> list[str]:
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


def _firmness(figure: Figure) -> int:
    return STATUSES.index(figure.status)


def _from_year(year: str, figure: Figure) -> str:
    said = f"{figure.status}. {figure.doubt or figure.source}" if figure.status != "enacted" else figure.doubt
    return f"{figure.name} from {year}: {said}"


def notice(figures: TaxYearFigures) -> str:
    """The short notice under every calculation for one tax year."""
    return _notice(_not_law("for", None if figures.status == "enacted" else figures))


def plan_notice(first_not_law: TaxYearFigures | None) -> str:
    """The same under a plan over years, with the first tax year whose figures are not all law, where there is one."""
    return _notice(" Growth, interest and prices are assumptions." + _not_law("from", first_not_law))


def check_notice(first_not_law: TaxYearFigures | None) -> str:
    """The same under warnings."""
    return _notice(_not_law("from", first_not_law))


def _not_law(since: str, year: TaxYearFigures | None) -> str:
    if year is None:
        return ""
    return f" Not all rates and allowances {since} {year.name} are law yet: the last known ones are carried forward."


def _notice(middle: str) -> str:
    return (
        "An illustration from the facts given and published figures, not advice."
        + middle
        + " Check with the pension scheme, HMRC, local rules and an authorised adviser before acting."
    )
