"""The tax that what is left in a pension would bear: at a flat rate, or drawn evenly over some years.

Drawn evenly, the taxed part ``X`` of what is left adds each of ``N`` years the tax of ``X / N`` on top of the person's income of
the plan's last tax year, by that year's rates (``curve/extra_tax.py``). The income is that of the whole tax year, without
interest on the plan's own cash, and without small pots, which are taken once. Nothing grows in the ``N`` years, and no later law
is looked at: our choice, told in the answer.
"""

from __future__ import annotations

from service.law.income_tax import taxpayer_year
from service.law.units import Pence
from service.planning.curve.extra_tax import ExtraTax, extra_tax
from service.planning.curve.tax_function import TaxFunction
from service.planning.household import Assumptions
from service.planning.projection.timeline import PersonPeriod


def tax_on_remaining(assumed: Assumptions, year: PersonPeriod, taxed: Pence) -> Pence:
    """The tax on the taxed part of what is left in a person's pensions at the end of a period, pence, half up."""
    return remaining_tax(assumed, year).over(assumed.remaining_pension_drawn_over, taxed) if taxed else 0


def remaining_tax(assumed: Assumptions, year: PersonPeriod) -> ExtraTax:
    """How what is left is taxed: at the flat rate that is assumed, or else on top of the person's income in the period."""
    flat = assumed.tax_rate_on_remaining_pension
    return _on_top(year) if flat is None else ExtraTax((0,), (0,), flat)


def _on_top(year: PersonPeriod) -> ExtraTax:
    known = year.remembered.extra_tax
    if not known:
        rules = TaxFunction(taxpayer_year(year.without_small_pots, year.rules))
        known.append(extra_tax(rules))
        year.asked_besides(rules.evaluations)
    return known[0]
