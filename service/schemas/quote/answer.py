"""The answer of POST /v1/withdrawal-tax."""

from __future__ import annotations

from typing import Any

from service.planning.curve.piece import STAIR
from service.planning.curve.tax_curve import TaxCurve
from service.planning.quote.quote import Quote, Slice
from service.planning.quote.working import Step
from service.planning.warnings.warning import ClientWarning
from service.schemas.warnings import warning


def answer(
    quote: Quote,
    warnings: list[ClientWarning],
    assumptions: list[str],
    notice: str,
    *,
    curve: TaxCurve | None = None,
    working: list[Step] | None = None,
) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions."""
    question, payment, with_it, payroll = quote.question, quote.payment, quote.with_it, quote.payroll
    deducted = payroll.deduction.tax
    withdrawal = {
        "method": question.withdrawal.method,
        "gross": payment.gross / 100,
        "tax_free": payment.tax_free / 100,
        "taxable": payment.taxable / 100,
    }
    if payment.excess:
        withdrawal["taxed_as_excess"] = payment.excess / 100
    document: dict[str, Any] = {
        "tax_year": question.tax_year,
        "rules": {"version": quote.version, "status": quote.rules.figures.status, "assumptions": assumptions},
        "withdrawal": withdrawal,
        "income_tax": {
            "on_other_income": quote.without.total / 100,
            "on_withdrawal": quote.on_withdrawal / 100,
            "total": with_it.total / 100,
            "effective_rate": _fraction(quote.on_withdrawal, payment.gross),
            "next_pound_rate": quote.next_pound_rate / 10_000,
            "slices": [_slice(piece) for piece in quote.slices],
            "personal_allowance": with_it.personal_allowance / 100,
            "child_benefit_charge": with_it.child_benefit_charge / 100,
            "marriage_allowance_reduction": _pence(with_it.marriage_allowance_reduction) / 100,
        },
        "net_after_tax": quote.net_after_tax / 100,
        "payroll": {
            "code": payroll.facts.code,
            "basis": payroll.facts.basis,
            "assumed": payroll.assumed,
            "explanation": payroll.explanation,
            "tax_deducted": deducted / 100,
            "paid_out": payroll.paid_out / 100,
            "over_deducted": payroll.over_deducted / 100,
            "under_deducted": payroll.under_deducted / 100,
            "reclaim_form": payroll.reclaim.form,
            "reclaim_reason": payroll.reclaim.reason,
        },
        "allowances_after": _allowances_after(quote),
        "pension_after": {
            "uncrystallised": quote.uncrystallised_after / 100,
            "drawdown": quote.drawdown_after / 100,
        },
    }
    if quote.lifetime_allowance is not None:
        document["lifetime_allowance"] = {
            "standard": quote.lifetime_allowance.standard / 100,
            "available_before": quote.lifetime_allowance.available_before / 100,
            "used_by_this": quote.lifetime_allowance.used_by_this / 100,
            "available_after": quote.lifetime_allowance.available_after / 100,
            "excess": payment.over_lifetime_allowance / 100,
            "charge": payment.charge / 100,
            "charge_rate": payment.charge_rate / 10_000,
        }
    if curve is not None:
        document["curve"] = {"points": _points(curve)}
    document["warnings"] = [warning(found) for found in warnings]
    if working is not None:
        document["working"] = [
            {
                "step": step.step,
                "detail": step.detail,
                "inputs": dict(step.inputs),
                "result": step.result,
                "section": step.section,
            }
            for step in working
        ]
    document["notice"] = notice
    return document


def _slice(piece: Slice) -> dict[str, Any]:
    start, end, rate, tax, because, stair_height = piece
    document: dict[str, Any] = {
        "from": start / 100,
        "to": end / 100,
        "rate": None if rate is None else rate / 10_000,
        "tax": tax / 100,
        "because": because,
    }
    if stair_height:
        document["staircase"] = {"every": STAIR / 100, "by": stair_height / 100}
    return document


def _allowances_after(quote: Quote) -> dict[str, Any]:
    document: dict[str, Any] = {}
    if quote.lump_sum_allowance_after is not None and quote.death_benefit_allowance_after is not None:
        document["lump_sum_allowance"] = quote.lump_sum_allowance_after / 100
        document["lump_sum_and_death_benefit_allowance"] = quote.death_benefit_allowance_after / 100
    document["money_purchase_annual_allowance"] = {
        "applies": quote.money_purchase_applies,
        "triggered_by_this_withdrawal": quote.money_purchase_triggered,
        "amount": quote.rules.money_purchase_annual_allowance / 100,
    }
    document["personal_allowance_unused"] = quote.personal_allowance_unused / 100
    document["basic_rate_band_unused"] = quote.basic_rate_band_unused / 100
    return document


def _points(curve: TaxCurve) -> list[dict[str, Any]]:
    """The curve's corners for a chart: the tax a withdrawal of that size adds to the year. Two points with the same
    taxable amount are a step."""
    without = _pence(curve.pieces[0].tax_start)
    points: list[dict[str, Any]] = []
    for piece in curve.pieces:
        point: dict[str, Any] = {
            "taxable": piece.start / 100,
            "tax": (_pence(piece.tax_start) - without) / 100,
            "rate": None if piece.rate is None else piece.rate / 10_000,
            "because": list(piece.because),
        }
        if piece.stair_height:
            point["staircase"] = {"every": STAIR / 100, "by": piece.stair_height / 100}
        points.append(point)
    last = curve.pieces[-1]
    points.append(
        {"taxable": last.end / 100, "tax": (_pence(last.tax_end) - without) / 100, "rate": None, "because": []}
    )
    return points


def _pence(ten_thousandths: int) -> int:
    return (ten_thousandths + 5_000) // 10_000


def _fraction(part: int, whole: int) -> float:
    """A share to four decimals, half up; 0 of nothing."""
    return (part * 20_000 + whole) // (2 * whole) / 10_000 if whole else 0.0
