"""Every tax year's rules, made once from the figures when the service starts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache, partial
from itertools import pairwise

from service.figures.later_years import PriceIndex, carried_forward, raised_with_prices
from service.figures.loader import TaxYearFigures, years_version
from service.figures.proposals import ProposedLaw
from service.figures.reading import version_of
from service.figures.tables import (
    RisingWithPrices,
    StatePensionAges,
    load_law_as_of,
    load_rising_with_prices,
    load_state_pension_ages,
)
from service.law import contributions, death_benefits, income_tax, inheritance_tax, lump_sums, payroll
from service.law.contributions import ReliefRules
from service.law.death_benefits import DeathBenefitRules
from service.law.income_tax import IncomeTaxRules, Nation
from service.law.inheritance_tax import InheritanceTaxRules
from service.law.kept import kept
from service.law.lump_sums import LumpSumRules
from service.law.payroll import PayrollRules
from service.law.units import Pence, Years

_LATER_YEARS_KEPT = 512
"""Some 15 kB each, so 8 MB of a worker at most. One request needs fewer than half of them: sixty years for each scenario."""
_MOST_LATER_YEARS = 128
"""More than the tax years that plans can reach."""


@dataclass(frozen=True, slots=True)
class TaxYearRules:
    """One tax year: its figures and the rules made from them. ``income_tax`` is by nation;
    ``next_minimum_pension_age`` is the day from which, and the age to which, a later year changes it, and
    ``earlier_minimum_pension_age`` the day on which it last changed, and the age before."""

    figures: TaxYearFigures
    income_tax: Mapping[Nation, IncomeTaxRules]
    payroll: PayrollRules
    lump_sums: LumpSumRules
    minimum_pension_age: Years
    next_minimum_pension_age: tuple[date, Years] | None
    earlier_minimum_pension_age: tuple[date, Years] | None
    money_purchase_annual_allowance: Pence
    relief: ReliefRules
    inheritance_tax: InheritanceTaxRules
    death_benefits: DeathBenefitRules


@dataclass(frozen=True, slots=True)
class RuleBook:
    """All tax years, oldest first.

    ``figures_version`` follows from all that the files of figures say. ``law_as_of`` is the date of the newest official
    text that was read for them.
    ``later`` makes the assumed rules of a year after the last: from its name and the rise in prices since then (None
    where the figures stand still). ``proposed`` is the proposed law whose figures these are, None for the law as known.
    """

    years: Mapping[str, TaxYearRules]
    figures_version: str
    law_as_of: date
    state_pension_ages: StatePensionAges
    later: Callable[[str, PriceIndex | None], TaxYearRules]
    proposed: ProposedLaw | None = None

    @property
    def last(self) -> TaxYearFigures:
        """The last tax year that has figures of its own."""
        return list(self.years.values())[-1].figures


def rule_book(years: Mapping[str, TaxYearFigures], proposed: ProposedLaw | None = None) -> RuleBook:
    """The rules of every year in ``years``, and the lasting tables beside them. FiguresError for a fault in a table."""
    rules = {name: _year_rules(figures, years) for name, figures in years.items()}
    ages, rising, law_as_of = load_state_pension_ages(), load_rising_with_prices(), load_law_as_of()
    last = list(rules.values())[-1]

    # Not functions with decorators inside this one: compiled, such a one does not find another.
    carried = lru_cache(maxsize=_MOST_LATER_YEARS)(partial(_carried_forward, last, rising))
    with_prices = kept(_LATER_YEARS_KEPT)(partial(_with_prices, last, rising, carried))

    def later(name: str, rise: PriceIndex | None) -> TaxYearRules:
        return carried(name) if rise is None else with_prices(name, rise)

    version = version_of(
        f"{years_version(years)} {ages.version} {rising.version} {law_as_of.version}{_named(proposed)}"
    )
    return RuleBook(rules, version, law_as_of.day, ages, later, proposed)


def rule_book_under(law: ProposedLaw) -> RuleBook:
    """The rules of every year under a proposed law."""
    return rule_book(law.years, law)


def _named(proposed: ProposedLaw | None) -> str:
    """What answers say of a proposed law, for the version."""
    return "" if proposed is None else f" {(proposed.name, proposed.title, proposed.source)!a}"


def _carried_forward(last: TaxYearRules, rising: RisingWithPrices, name: str) -> TaxYearRules:
    """The assumed rules of a year after the last where nothing rises."""
    return replace(last, figures=carried_forward(last.figures, name, rising))


def _with_prices(
    last: TaxYearRules,
    rising: RisingWithPrices,
    carried: Callable[[str], TaxYearRules],
    name: str,
    rise: PriceIndex,
) -> TaxYearRules:
    """The assumed rules of a year after the last, raised with prices. Only income tax figures rise, so the other rules are the
    last year's."""
    year = carried(name)
    figures = raised_with_prices(year.figures, last.figures, rise, rising)
    taxes = {nation: income_tax.rules_for(figures, nation) for nation in income_tax.NATIONS}
    return replace(year, figures=figures, income_tax=taxes)


def _year_rules(figures: TaxYearFigures, years: Mapping[str, TaxYearFigures]) -> TaxYearRules:
    minimum_pension_age = figures.count("pension.minimum_pension_age")
    changes = (
        (later.start, later.count("pension.minimum_pension_age"))
        for later in years.values()
        if later.start > figures.start and later.count("pension.minimum_pension_age") != minimum_pension_age
    )
    past = [year for year in years.values() if year.start <= figures.start]
    changed = [
        (year.start, before.count("pension.minimum_pension_age"))
        for before, year in pairwise(past)
        if year.count("pension.minimum_pension_age") != before.count("pension.minimum_pension_age")
    ]
    return TaxYearRules(
        figures=figures,
        income_tax={nation: income_tax.rules_for(figures, nation) for nation in income_tax.NATIONS},
        payroll=payroll.rules_for(figures),
        lump_sums=lump_sums.rules_for(figures),
        minimum_pension_age=minimum_pension_age,
        next_minimum_pension_age=min(changes, default=None),
        earlier_minimum_pension_age=max(changed, default=None),
        money_purchase_annual_allowance=figures.money("pension.money_purchase_annual_allowance"),
        relief=contributions.rules_for(figures),
        inheritance_tax=inheritance_tax.rules_for(figures),
        death_benefits=death_benefits.rules_for(figures),
    )
