"""The answer of POST /v1/withdrawal-tax."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Any

from service.law.rounding import years_tax_to_the_penny
from service.law.units import Pence
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
        "gross": pounds(payment.gross),
        "tax_free": pounds(payment.tax_free),
        "taxable": pounds(payment.taxable),
    }
    if payment.excess:
        withdrawal["taxed_as_excess"] = pounds(payment.excess)
    document: dict[str, Any] = {
        "tax_year": question.tax_year,
        "rules": rules,
        "withdrawal": withdrawal,
        "income_tax": {
            "on_other_income": pounds(quote.without.total),
            "on_withdrawal": pounds(quote.on_withdrawal),
            "total": pounds(with_it.total),
            "effective_rate": part_of(quote.on_withdrawal + payment.charge, payment.gross),
            "marginal_rate": fraction(quote.marginal_rate) if whole or "marginal_rate" in of_tax else None,
            "slices": [_slice(piece) for piece in quote.slices] if whole or "slices" in of_tax else None,
            "personal_allowance": pounds(with_it.personal_allowance),
            "child_benefit_charge": pounds(with_it.child_benefit_charge),
            "marriage_allowance_reduction": pounds(years_tax_to_the_penny(with_it.marriage_allowance_reduction)),
            "gift_aid_tax": pounds(years_tax_to_the_penny(with_it.gift_aid_tax)),
        },
        "net_after_tax": pounds(quote.net_after_tax),
        "payroll": _payroll(quote.payroll) if whole or "payroll" in wanted else None,
        "allowances_remaining": _allowances_remaining(quote) if whole or "allowances_remaining" in wanted else None,
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


def _slice(piece: Slice) -> dict[str, Any]:
    document: dict[str, Any] = {"from": pounds(piece.start), "to": pounds(piece.end)}
    if piece.rate is not None:
        document["rate"] = fraction(piece.rate)
    document["tax"] = pounds(piece.tax)
    document["because"] = piece.because
    if piece.stair_width:
        document["average_rate"] = part_of(piece.tax, piece.end - piece.start)
        document["staircase"] = _staircase(piece.stair_width, piece.stair_height)
    return document


def _staircase(width: Pence, height: Pence) -> dict[str, float]:
    return {"every": pounds(width), "by": pounds(height)}


def _payroll(outcome: PayrollOutcome) -> dict[str, Any]:
    document: dict[str, Any] = {
        "code": outcome.facts.code,
        "basis": outcome.facts.basis,
        "code_assumed": outcome.assumed,
        "explanation": outcome.explanation,
        "tax_deducted": pounds(outcome.deduction.tax),
        "refund": pounds(outcome.refund),
        "paid_out": pounds(outcome.paid_out),
    }
    if outcome.deducted_in_year is not None and outcome.due_in_year is not None:
        document["deducted_in_year"] = pounds(outcome.deducted_in_year)
        document["due_in_year"] = pounds(outcome.due_in_year)
    document["over_deducted"] = pounds(outcome.over_deducted)
    document["under_deducted"] = pounds(outcome.under_deducted)
    document["reclaim"] = {"form": outcome.reclaim.form, "reason": outcome.reclaim.reason}
    return document


def _allowances_remaining(quote: Quote) -> dict[str, Any]:
    document: dict[str, Any] = {}
    if quote.lump_sum_allowance_after is not None and quote.death_benefit_allowance_after is not None:
        document["lump_sum_allowance"] = pounds(quote.lump_sum_allowance_after)
        document["lump_sum_and_death_benefit_allowance"] = pounds(quote.death_benefit_allowance_after)
    document["personal_allowance"] = pounds(quote.personal_allowance_unused)
    document["basic_rate_band"] = pounds(quote.basic_rate_band_unused)
    money_purchase: dict[str, Any] = {
        "applies": quote.money_purchase_applies,
        "triggered": quote.money_purchase_triggered,
        "amount": pounds(quote.rules.money_purchase_annual_allowance),
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
            "gross": pounds(point.gross),
            "tax_free": pounds(point.tax_free),
            "taxable": pounds(point.taxable),
        }
        if point.excess:
            document["taxed_as_excess"] = pounds(point.excess)
            document["lifetime_allowance_charge"] = pounds(point.charge)
        document["tax"] = pounds(point.tax)
        document["net"] = pounds(point.net)
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
        shown[key] = pounds(value) if type(value) is int else _no_pence(value)
    return {
        "step": name,
        "title": title,
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
