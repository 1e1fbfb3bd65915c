"""The answer of POST /v1/withdrawal-tax."""

from __future__ import annotations

from typing import Any

from service.law.rounding import years_tax_to_the_penny
from service.planning.curve.tax_curve import TaxCurve
from service.planning.payroll import PayrollOutcome
from service.planning.quote.quote import LifetimeAllowanceTest, Quote, Slice
from service.planning.quote.working import Step, Value
from service.planning.warnings.warning import ClientWarning
from service.schemas.parts import EVERYTHING, Parts
from service.schemas.units import average_rate, fraction, in_pounds, part_of, pounds
from service.schemas.warnings import warnings_answer


def answer(
    quote: Quote,
    warnings: list[ClientWarning],
    assumptions: list[str],
    notice: str,
    *,
    curve: TaxCurve | None = None,
    working: list[Step] | None = None,
    wanted: Parts = EVERYTHING,
) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions. Slices and payroll are made only where they are wanted."""
    question, payment, with_it = quote.question, quote.payment, quote.with_it
    whole, of_tax = wanted.names is None, wanted.below("income_tax")
    withdrawal = {
        "method": question.withdrawal.method,
        "gross": pounds(payment.gross),
        "tax_free": pounds(payment.tax_free),
        "taxable": pounds(payment.taxable),
    }
    if payment.excess:
        withdrawal["taxed_as_excess"] = pounds(payment.excess)
    document: dict[str, Any] = {
        "tax_year": question.tax_year,
        "rules": {"version": quote.version, "status": quote.rules.figures.status, "assumptions": assumptions},
        "withdrawal": withdrawal,
        "income_tax": {
            "on_other_income": pounds(quote.without.total),
            "on_withdrawal": pounds(quote.on_withdrawal),
            "total": pounds(with_it.total),
            "effective_rate": part_of(quote.on_withdrawal, payment.gross),
            "next_pound_rate": fraction(quote.next_pound_rate) if whole or "next_pound_rate" in of_tax else None,
            "slices": [_slice(piece) for piece in quote.slices] if whole or "slices" in of_tax else None,
            "personal_allowance": pounds(with_it.personal_allowance),
            "child_benefit_charge": pounds(with_it.child_benefit_charge),
            "marriage_allowance_reduction": pounds(years_tax_to_the_penny(with_it.marriage_allowance_reduction)),
        },
        "net_after_tax": pounds(quote.net_after_tax),
        "payroll": _payroll(quote.payroll) if whole or "payroll" in wanted else None,
        "allowances_after": _allowances_after(quote) if whole or "allowances_after" in wanted else None,
        "pension_after": {
            "uncrystallised": pounds(quote.uncrystallised_after),
            "drawdown": pounds(quote.drawdown_after),
        },
    }
    if quote.lifetime_allowance is not None:
        document["lifetime_allowance"] = {
            **in_pounds(quote.lifetime_allowance, LifetimeAllowanceTest._fields),
            "excess": pounds(payment.over_lifetime_allowance),
            "charge": pounds(payment.charge),
            "charge_rate": fraction(payment.charge_rate),
        }
    if curve is not None:
        document["curve"] = {"points": _points(curve)}
    document["warnings"] = warnings_answer(warnings, wanted.below("warnings"))
    if working is not None:
        document["working"] = [_step(step) for step in working]
    document["notice"] = notice
    return document


def _payroll(payroll: PayrollOutcome) -> dict[str, Any]:
    return {
        "code": payroll.facts.code,
        "basis": payroll.facts.basis,
        "assumed": payroll.assumed,
        "explanation": payroll.explanation,
        "tax_deducted": pounds(payroll.deduction.tax),
        "refund": pounds(payroll.refund),
        "paid_out": pounds(payroll.paid_out),
        "over_deducted": pounds(payroll.over_deducted),
        "under_deducted": pounds(payroll.under_deducted),
        "reclaim_form": payroll.reclaim.form,
        "reclaim_reason": payroll.reclaim.reason,
    }


def _slice(piece: Slice) -> dict[str, Any]:
    document: dict[str, Any] = {
        "from": pounds(piece.start),
        "to": pounds(piece.end),
        "rate": None if piece.rate is None else fraction(piece.rate),
        "tax": pounds(piece.tax),
        "because": piece.because,
    }
    if piece.stair_width:
        document["average_rate"] = part_of(piece.tax, piece.end - piece.start)
        document["staircase"] = {"every": pounds(piece.stair_width), "by": pounds(piece.stair_height)}
    return document


def _allowances_after(quote: Quote) -> dict[str, Any]:
    document: dict[str, Any] = {}
    if quote.lump_sum_allowance_after is not None and quote.death_benefit_allowance_after is not None:
        document["lump_sum_allowance"] = pounds(quote.lump_sum_allowance_after)
        document["lump_sum_and_death_benefit_allowance"] = pounds(quote.death_benefit_allowance_after)
    document["money_purchase_annual_allowance"] = {
        "applies": quote.money_purchase_applies,
        "triggered_by_this_withdrawal": quote.money_purchase_triggered,
        "amount": pounds(quote.rules.money_purchase_annual_allowance),
    }
    document["personal_allowance_unused"] = pounds(quote.personal_allowance_unused)
    document["basic_rate_band_unused"] = pounds(quote.basic_rate_band_unused)
    return document


def _points(curve: TaxCurve) -> list[dict[str, Any]]:
    """The curve's corners for a chart: the tax a withdrawal of that size adds to the year. Two points with the same
    taxable amount are a step."""
    without = years_tax_to_the_penny(curve.pieces[0].tax_start)
    points: list[dict[str, Any]] = []
    for piece in curve.pieces:
        point: dict[str, Any] = {
            "taxable": pounds(piece.start),
            "tax": pounds(years_tax_to_the_penny(piece.tax_start) - without),
            "rate": None if piece.rate is None else fraction(piece.rate),
            "because": piece.because,
        }
        stairs = piece.stairs
        if stairs is not None:
            point["average_rate"] = average_rate(piece.tax_end - piece.tax_start, piece.end - piece.start)
            point["staircase"] = {"every": pounds(stairs.width), "by": pounds(stairs.least_height)}
        points.append(point)
    last = curve.pieces[-1]
    points.append(
        {
            "taxable": pounds(last.end),
            "tax": pounds(years_tax_to_the_penny(last.tax_end) - without),
            "rate": None,
            "because": (),
        }
    )
    return points


def _step(step: Step) -> dict[str, Any]:
    name, detail, inputs, result, section = step
    shown: dict[str, float | str] = {}
    for key, value in inputs:
        shown[key] = pounds(value) if type(value) is int else _no_pence(value)
    return {
        "step": name,
        "detail": detail,
        "inputs": shown,
        "result": pounds(result) if type(result) is int else _no_pence(result),
        "section": section,
    }


def _no_pence(value: Value) -> float | str:
    if isinstance(value, tuple):
        parts, of = value
        return parts / of
    return value
