"""The answer of POST /v1/withdrawal-tax."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Any

from service.law.rounding import years_tax_to_the_penny
from service.law.units import POUND, Pence
from service.planning.payroll import PayrollOutcome
from service.planning.quote.chart import ChartPoint
from service.planning.quote.quote import LifetimeAllowanceTest, Quote, Slice
from service.planning.quote.working import Step, Value
from service.planning.warnings.warning import ClientWarning
from service.schemas.parts import EVERYTHING, Parts
from service.schemas.units import average_rate, fraction, in_pounds, part_of, pounds
from service.schemas.warnings import warnings_answer


def answer(
    quote: Quote,
    warnings: list[ClientWarning],
    rules: dict[str, Any],
    notice: str,
    *,
    curve: tuple[ChartPoint, ...] | None = None,
    working: list[Step] | None = None,
    wanted: Parts = EVERYTHING,
) -> dict[str, Any]:
    """The answer as JSON: money in pounds, rates as fractions. ``curve`` and ``working`` are shown where they are
    given. Slices and payroll are made only where they are wanted."""
    question, payment, with_it = quote.question, quote.payment, quote.with_it
    whole, of_tax = wanted.names is None, wanted.below("income_tax")
    withdrawal: dict[str, Any] = {
        "person": question.person_place,
        "pension": question.pension_place,
        "method": question.withdrawal.method,
        "gross": payment.gross / POUND,
        "tax_free": payment.tax_free / POUND,
        "taxable": payment.taxable / POUND,
    }
    if payment.excess:
        withdrawal["taxed_as_excess"] = payment.excess / POUND
    document: dict[str, Any] = {
        "tax_year": question.tax_year,
        "rules": rules,
        "withdrawal": withdrawal,
        "income_tax": {
            "on_other_income": quote.without.total / POUND,
            "on_withdrawal": quote.on_withdrawal / POUND,
            "total": with_it.total / POUND,
            "effective_rate": part_of(quote.on_withdrawal + payment.charge, payment.gross),
            "marginal_rate": fraction(quote.marginal_rate) if whole or "marginal_rate" in of_tax else None,
            "slices": [_slice(piece) for piece in quote.slices] if whole or "slices" in of_tax else None,
            "personal_allowance": with_it.personal_allowance / POUND,
            "child_benefit_charge": with_it.child_benefit_charge / POUND,
            "marriage_allowance_reduction": pounds(years_tax_to_the_penny(with_it.marriage_allowance_reduction)),
            "gift_aid_tax": pounds(years_tax_to_the_penny(with_it.gift_aid_tax)),
        },
        "net_after_tax": quote.net_after_tax / POUND,
        "payroll": _payroll(quote.payroll) if whole or "payroll" in wanted else None,
        "allowances_remaining": _allowances_remaining(quote) if whole or "allowances_remaining" in wanted else None,
        "pension_after": {
            "uncrystallised": quote.uncrystallised_after / POUND,
            "drawdown": quote.drawdown_after / POUND,
        },
    }
    if quote.lifetime_allowance is not None:
        document["lifetime_allowance"] = {
            **in_pounds(quote.lifetime_allowance, LifetimeAllowanceTest._fields),
            "excess": payment.over_lifetime_allowance / POUND,
            "charge": payment.charge / POUND,
            "charge_rate": fraction(payment.charge_rate),
        }
    if curve is not None:
        document["curve"] = {"points": _points(curve)}
    document["warnings"] = warnings_answer(warnings, wanted.below("warnings"))
    if working is not None:
        document["working"] = [_step(step) for step in working]
    document["notice"] = notice
    return document


def _slice(piece: Slice) -> dict[str, Any]:
    document: dict[str, Any] = {"from": piece.start / POUND, "to": piece.end / POUND}
    if piece.rate is not None:
        document["rate"] = fraction(piece.rate)
    document["tax"] = piece.tax / POUND
    document["because"] = piece.because
    if piece.stair_width:
        document["average_rate"] = part_of(piece.tax, piece.end - piece.start)
        document["staircase"] = _staircase(piece.stair_width, piece.stair_height)
    return document


def _staircase(width: Pence, height: Pence) -> dict[str, float]:
    return {"every": width / POUND, "by": height / POUND}


def _payroll(outcome: PayrollOutcome) -> dict[str, Any]:
    document: dict[str, Any] = {
        "code": outcome.facts.code,
        "basis": outcome.facts.basis,
        "code_assumed": outcome.assumed,
        "explanation": outcome.explanation,
        "tax_deducted": outcome.deduction.tax / POUND,
        "refund": outcome.refund / POUND,
        "paid_out": outcome.paid_out / POUND,
    }
    if outcome.deducted_in_year is not None and outcome.due_in_year is not None:
        document["deducted_in_year"] = outcome.deducted_in_year / POUND
        document["due_in_year"] = outcome.due_in_year / POUND
    document["over_deducted"] = outcome.over_deducted / POUND
    document["under_deducted"] = outcome.under_deducted / POUND
    document["reclaim"] = {"form": outcome.reclaim.form, "reason": outcome.reclaim.reason}
    return document


def _allowances_remaining(quote: Quote) -> dict[str, Any]:
    document: dict[str, Any] = {}
    if quote.lump_sum_allowance_after is not None and quote.death_benefit_allowance_after is not None:
        document["lump_sum_allowance"] = quote.lump_sum_allowance_after / POUND
        document["lump_sum_and_death_benefit_allowance"] = quote.death_benefit_allowance_after / POUND
    document["personal_allowance"] = quote.personal_allowance_unused / POUND
    document["basic_rate_band"] = quote.basic_rate_band_unused / POUND
    money_purchase: dict[str, Any] = {
        "applies": quote.money_purchase_applies,
        "triggered": quote.money_purchase_triggered,
        "amount": quote.rules.money_purchase_annual_allowance / POUND,
    }
    if quote.money_purchase_from is not None:
        money_purchase["from"] = quote.money_purchase_from.isoformat()
    document["money_purchase_annual_allowance"] = money_purchase
    return document


def _points(curve: Iterable[ChartPoint]) -> list[dict[str, Any]]:
    """The chart's points. The average rate is that of the straight line from a point to the next."""
    points: list[dict[str, Any]] = []
    for point, following in pairwise((*curve, None)):
        assert point is not None
        document: dict[str, Any] = {
            "gross": point.gross / POUND,
            "tax_free": point.tax_free / POUND,
            "taxable": point.taxable / POUND,
        }
        if point.excess:
            document["taxed_as_excess"] = point.excess / POUND
            document["lifetime_allowance_charge"] = point.charge / POUND
        document["tax"] = point.tax / POUND
        document["net"] = point.net / POUND
        if point.rate is not None:
            document["rate"] = fraction(point.rate)
        document["because"] = point.because
        if point.stair_width and following is not None:
            rise, length = following.exact_tax - point.exact_tax, following.taxable - point.taxable
            document["average_rate"] = average_rate(rise, length)
            document["staircase"] = _staircase(point.stair_width, point.stair_height)
        points.append(document)
    return points


def _step(step: Step) -> dict[str, Any]:
    name, title, detail, inputs, result, section = step
    shown: dict[str, float | str] = {}
    for key, value in inputs:
        shown[key] = value / POUND if type(value) is int else _no_pence(value)
    return {
        "step": name,
        "title": title,
        "detail": detail,
        "inputs": shown,
        "result": result / POUND if type(result) is int else _no_pence(result),
        "section": section,
    }


def _no_pence(value: Value) -> float | str:
    if isinstance(value, tuple):
        parts, of = value
        return parts / of
    return value
