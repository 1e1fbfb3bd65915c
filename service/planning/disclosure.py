"""What every answer says about itself: the caveats on its figures, the day of its law, and that it is not advice."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from service.figures.loader import KEYS, STANDINGS, Figure, Standing, TaxYearFigures
from service.figures.proposals import ProposedLaw
from service.law.dates import day_month_year
from service.law.income_tax import Taxpayer

_LAST_KNOWN = "we have used the latest known ones"
_PROPOSED_ONES = "we have used the proposed ones, and otherwise the latest known"
_CHECK = "Check with the pension scheme"
_BEFORE_ACTING = f"{_CHECK} and HMRC before acting; an authorised adviser can give advice."
_TOUCHED_BY_ALL = ("income_tax.personal_allowance", "income_tax.personal_allowance_taper_threshold")
LUMP_SUM_FIGURES = (
    "pension.tax_free_fraction",
    "pension.lifetime_allowance",
    "pension.lump_sum_allowance",
    "pension.lump_sum_and_death_benefit_allowance",
)


class Caveat(NamedTuple):
    """What a client should know of a figure that is not law, or not certain: its dotted name, and one plain sentence."""

    figure: str
    sentence: str


def caveats_of(figures: TaxYearFigures) -> dict[str, Caveat]:
    """The caveat on each figure of the year that has one, by the figure's name."""
    return {name: Caveat(name, figure.caveat) for name, figure in figures.figures.items() if figure.caveat is not None}


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


def caveats_over_years(touched: Iterable[tuple[TaxYearFigures, set[str]]]) -> list[Caveat]:
    """The caveat on each figure touched that has one, from the year in which it is least firm; each figure once."""
    weakest: dict[str, tuple[str, Figure]] = {}
    for figures, names in touched:
        for name in names:
            figure = figures.figures.get(name)
            if figure is None or figure.caveat is None:
                continue
            if name not in weakest or _firmness(figure) > _firmness(weakest[name][1]):
                weakest[name] = (figures.name, figure)
    return [Caveat(name, _from_year(*weakest[name])) for name in KEYS if name in weakest]


def _firmness(figure: Figure) -> int:
    return STANDINGS.index(figure.standing)


def _from_year(year: str, figure: Figure) -> str:
    """The caveat of a figure's first such year, as it holds for the years that follow too."""
    return (figure.caveat or "").replace(f"for {year}", f"from {year}")


def notice(figures: TaxYearFigures, law_as_of: date, proposed: ProposedLaw | None = None) -> str:
    """The short notice under every calculation for one tax year, by the law as known or by a proposed one."""
    not_law = (
        ""
        if figures.standing == "enacted"
        else f" Some rates for {figures.name} are not yet law; {_used(figures.standing)}."
    )
    return (
        f"This is an illustration worked out from the details given and the tax rules for {figures.name}. It is not advice."
        f"{_by_proposal(proposed)}{not_law} {_later_changes(law_as_of)} Tax depends on individual circumstances. {_BEFORE_ACTING}"
    )


def plan_notice(
    first_not_law: TaxYearFigures | None,
    law_as_of: date,
    proposed: ProposedLaw | None = None,
    *,
    markets: bool = False,
    both_live: bool = False,
) -> str:
    """The same under a plan over years, with the first tax year whose figures are not all law, where there is one; ``markets``:
    with many courses of markets; ``both_live``: made for two deaths on the last day."""
    assumed = "Growth, interest and price rises are assumptions, and the real outcome will differ."
    if markets:
        assumed = (
            "Growth, interest and price rises are assumptions, and so are the courses of markets. They came with the request. "
            "The real outcome will differ."
        )
    if both_live:
        assumed += " Both people are assumed to live until the last day of the plan."
    return (
        f"This is an illustration, not advice or a forecast. {assumed}{_by_proposal(proposed)}"
        f"{_not_law(first_not_law)} {_later_changes(law_as_of)} {_BEFORE_ACTING}"
    )


def check_notice(
    first_not_law: TaxYearFigures | None,
    law_as_of: date,
    guidance_age: int,
    proposed: ProposedLaw | None = None,
    not_told: Iterable[str] = (),
) -> str:
    """The same under warnings, with what holds for almost everybody: that benefits may fall, what was ``not_told`` in sentences
    of its own, and that guidance is free from an age on. It names the risks that FCA Handbook COBS 19.7 lists."""
    untold = "".join(f"{sentences} " for sentences in not_told)
    return (
        "These points follow from the details given and are not advice. They do not cover everything, and a missing detail "
        f"can change them.{_by_proposal(proposed)}{_not_law(first_not_law)} {_later_changes(law_as_of)} Money taken out can "
        f"reduce means-tested benefits, council tax support and help with care. {untold}{_CHECK}, HMRC and, for benefits and "
        f"care, the local council. From age {guidance_age}, MoneyHelper usually offers a free, impartial Pension Wise "
        "appointment. It covers how long the money must last, who depends on it, rising prices, charges, debts and other offers."
    )


def _not_law(since: TaxYearFigures | None) -> str:
    return "" if since is None else f" Rates from {since.name} are not all law yet; {_used(since.standing)}."


def _used(standing: Standing) -> str:
    return _PROPOSED_ONES if standing == "proposed" else _LAST_KNOWN


def _by_proposal(law: ProposedLaw | None) -> str:
    """That an answer is by a proposed law; nothing where it is by the law as known."""
    if law is None:
        return ""
    return f" It uses a proposal in place of the law as known: {law.title.rstrip('.')}. It may change, or never become law."


def _later_changes(law_as_of: date) -> str:
    return (
        f"The figures are as known on {day_month_year(law_as_of)}; later changes, such as those in an autumn Budget of "
        f"{law_as_of.year}, are not in them."
    )
