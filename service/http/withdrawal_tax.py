"""POST /v1/withdrawal-tax: the tax on one withdrawal."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response

from service.http.body import loaded, read_json_body
from service.http.negotiation import includes, require_json_accepted
from service.http.provider import encode
from service.law.rulebook import RuleBook
from service.planning.notice import assumptions, notice, touched_by
from service.planning.withdrawal import Question, quote, whole_curve
from service.planning.withdrawal_warnings import warnings_for
from service.planning.working import working
from service.schemas import withdrawal as schemas
from service.schemas.quick import quick_reader


def blueprint(book: RuleBook, max_body_bytes: int) -> Blueprint:
    """The resource, for the tax years of a rule book and bodies of a bounded size."""
    routes = Blueprint("withdrawal_tax", __name__)
    schema = schemas.withdrawal_tax_schema(tuple(book.years))
    quick = quick_reader(schema)
    said = {name: (assumptions(rules.figures), notice(rules.figures)) for name, rules in book.years.items()}
    headers = {"Cache-Control": "no-store", "Rules-Version": book.version}

    def answer(question: Question, wanted: frozenset[str]) -> dict[str, Any]:
        result = quote(question, book)
        doubts, note = said[question.tax_year]
        return schemas.answer(
            result,
            warnings_for(result, book.state_pension_ages),
            [doubts[name] for name in touched_by(result) if name in doubts],
            note,
            curve=whole_curve(result) if "curve" in wanted else None,
            working=working(result) if "working" in wanted else None,
        )

    @routes.post("/v1/withdrawal-tax")
    def withdrawal_tax() -> Response:
        require_json_accepted()
        wanted = includes(("working", "curve"))
        question = loaded(read_json_body(max_body_bytes), schema, quick, schemas.question)
        return Response(encode(answer(question, wanted)), 200, headers, content_type="application/json")

    return routes
