"""POST /v1/withdrawal-tax: the tax on one withdrawal."""

from __future__ import annotations

from typing import Any

from service.http.calculation import Calculation
from service.law.rulebook import RuleBook
from service.planning.disclosure import assumptions, notice
from service.planning.quote.assumptions import touched_by
from service.planning.quote.circumstances import codes_for, warnings_for
from service.planning.quote.quote import Question, Quote, quote, whole_curve
from service.planning.quote.working import working
from service.planning.warnings.warning import ClientWarning
from service.schemas.parts import Parts
from service.schemas.quote import request as schemas
from service.schemas.quote.answer import answer as answer_of
from service.schemas.warnings import in_codes

Warned = tuple[Quote, list[ClientWarning]]
"""A quote with its warnings."""


def calculation(book: RuleBook) -> Calculation[Question]:
    """The calculation, for the tax years of a rule book."""
    said = {name: (assumptions(rules.figures), notice(rules.figures)) for name, rules in book.years.items()}

    def quoted(question: Question, _: Parts) -> Quote:
        return quote(question, book)

    def warned(result: Quote, wanted: Parts) -> Warned:
        if wanted.names is None:
            return result, warnings_for(result, book.state_pension_ages)
        if "warnings" not in wanted:
            return result, []
        warnings = codes_for if in_codes(wanted.below("warnings")) else warnings_for
        return result, warnings(result, book.state_pension_ages)

    def told(warned: Warned, wanted: Parts) -> dict[str, Any]:
        result, warnings = warned
        doubts, note = said[result.question.tax_year]
        touched = touched_by(result) if wanted.names is None or "assumptions" in wanted.below("rules") else []
        return answer_of(
            result,
            warnings,
            [doubts[name] for name in touched if name in doubts],
            note,
            curve=whole_curve(result) if "curve" in wanted else None,
            working=working(result) if "working" in wanted else None,
            wanted=wanted,
        )

    def answer(question: Question, wanted: Parts) -> dict[str, Any]:
        return told(warned(quoted(question, wanted), wanted), wanted)

    return Calculation(
        "withdrawal-tax",
        schemas.withdrawal_tax_schema(tuple(book.years)),
        schemas.question,
        answer,
        offered=("working", "curve"),
        steps=(quoted, warned, told),
    )
