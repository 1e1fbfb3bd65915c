"""POST /v1/lump-sum-timing: when to take the tax-free lump sum, options side by side."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response

from service.http.body import loaded, read_json_body
from service.http.negotiation import refuse_query, require_json_accepted
from service.http.provider import encode
from service.law.rulebook import RuleBook
from service.planning.notice import plan_notice, timing_assumptions
from service.planning.timing import TimingQuestion, timing
from service.planning.timing_summary import summary
from service.planning.timing_warnings import timing_warnings
from service.schemas import timing as schemas
from service.schemas.quick import quick_reader


def blueprint(book: RuleBook, max_body_bytes: int) -> Blueprint:
    """The resource, for the tax years of a rule book and bodies of a bounded size."""
    routes = Blueprint("lump_sum_timing", __name__)
    schema = schemas.TimingSchema()
    quick = quick_reader(schema)
    headers = {"Cache-Control": "no-store", "Rules-Version": book.version}

    def answer(question: TimingQuestion) -> dict[str, Any]:
        result = timing(question, book)
        return schemas.answer(
            result,
            summary(result),
            timing_warnings(result),
            timing_assumptions(result),
            plan_notice(result.timeline.first_not_law),
        )

    @routes.post("/v1/lump-sum-timing")
    def lump_sum_timing() -> Response:
        require_json_accepted()
        refuse_query()
        question = loaded(read_json_body(max_body_bytes), schema, quick, schemas.question)
        return Response(encode(answer(question)), 200, headers, content_type="application/json")

    return routes
