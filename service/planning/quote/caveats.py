"""Which figures a quote rests on."""

from __future__ import annotations

from service.planning.disclosure import LUMP_SUM_FIGURES, touched_by_income_tax
from service.planning.quote.quote import Quote


def touched_by(answer: Quote) -> list[str]:
    """The names of the figures that an answer rests on."""
    method = answer.question.withdrawal.method
    names = touched_by_income_tax(answer.taxpayer)
    if answer.payment.taxable:
        payroll = answer.payroll
        if payroll.facts.code in answer.rules.payroll.flat_rates:
            names.append("payroll.flat_rate_codes")
        elif payroll.assumed:
            names.append("payroll.emergency_code")
    if answer.money_purchase_triggered:
        names.append("pension.money_purchase_annual_allowance")
    if method == "small_pot":
        names.append("pension.small_pot_limit")
    elif method != "drawdown":
        if method == "ufpls":
            names.append("pension.lump_sum_regime")
        names += LUMP_SUM_FIGURES
    if answer.payment.charge:
        names += ("pension.lifetime_allowance_charge_lump_sum", "pension.lifetime_allowance_charge_retained")
    names.append("pension.minimum_pension_age")
    return names
