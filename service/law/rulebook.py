"""Every tax year's rules, made once from the figures when the service starts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from service.figures.loader import TaxYear, rules_version
from service.law import income_tax, lump_sums, payroll
from service.law.income_tax import IncomeTaxRules
from service.law.lump_sums import LumpSumRules
from service.law.payroll import PayrollRules


@dataclass(frozen=True, slots=True)
class YearRules:
    """One tax year: its figures and the rules made from them. ``income_tax`` is by nation;
    ``next_minimum_pension_age`` is the day from which, and the age to which, a later year changes it."""

    figures: TaxYear
    income_tax: Mapping[str, IncomeTaxRules]
    payroll: PayrollRules
    lump_sums: LumpSumRules
    minimum_pension_age: int
    next_minimum_pension_age: tuple[date, int] | None
    money_purchase_annual_allowance: int


@dataclass(frozen=True, slots=True)
class RuleBook:
    """All tax years, oldest first, and the version of the figures they come from."""

    years: Mapping[str, YearRules]
    version: str


def rule_book(years: Mapping[str, TaxYear]) -> RuleBook:
    """The rules of every year in ``years``."""
    return RuleBook({name: _year_rules(figures, years) for name, figures in years.items()}, rules_version(years))


def _year_rules(figures: TaxYear, years: Mapping[str, TaxYear]) -> YearRules:
    minimum_pension_age = figures.count("pension.minimum_pension_age")
    changes = (
        (later.start, later.count("pension.minimum_pension_age"))
        for later in years.values()
        if later.start > figures.start and later.count("pension.minimum_pension_age") != minimum_pension_age
    )
    return YearRules(
        figures=figures,
        income_tax={nation: income_tax.rules_for(figures, nation) for nation in income_tax.NATIONS},
        payroll=payroll.rules_for(figures),
        lump_sums=lump_sums.rules_for(figures),
        minimum_pension_age=minimum_pension_age,
        next_minimum_pension_age=min(changes, default=None),
        money_purchase_annual_allowance=figures.money("pension.money_purchase_annual_allowance"),
    )
