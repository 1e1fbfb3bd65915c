"""POST /v1/allowance-schedule: a plan over tax years for one person or a couple."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response

from service.http.body import loaded, read_json_body
from service.http.negotiation import refuse_query, require_json_accepted
from service.http.provider import encode
from service.law.rulebook import RuleBook
from service.planning.notice import plan_assumptions, plan_notice
from service.planning.schedule import ScheduleQuestion, schedule
from service.planning.schedule_warnings import schedule_warnings
from service.schemas import schedule as schemas
from service.schemas.quick import quick_reader


def blueprint(book: RuleBook, max_body_bytes: int) -> Blueprint:
    """The resource, for the tax years of a rule book and bodies of a bounded size."""
    routes = Blueprint("allowance_schedule", __name__)
    schema = schemas.ScheduleSchema()
    quick = quick_reader(schema)
    headers = {"Cache-Control": "no-store", "Rules-Version": book.version}

    def answer(question: ScheduleQuestion) -> dict[str, Any]:
        result = schedule(question, book)
        return schemas.answer(
            result, schedule_warnings(result), plan_assumptions(result), plan_notice(result.first_not_law)
        )

    @routes.post("/v1/allowance-schedule")
    def allowance_schedule() -> Response:
        require_json_accepted()
        refuse_query()
        question = loaded(read_json_body(max_body_bytes), schema, quick, schemas.question)
        return Response(encode(answer(question)), 200, headers, content_type="application/json")

    return routes
