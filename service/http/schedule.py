"""POST /v1/allowance-schedule: a plan over tax years for one person or a couple."""

from __future__ import annotations

from typing import Any

from service.http.calculation import Calculation
from service.law.rulebook import RuleBook
from service.planning.disclosure import plan_notice
from service.planning.schedule.assumptions import plan_assumptions
from service.planning.schedule.circumstances import schedule_warnings
from service.planning.schedule.schedule import ScheduleQuestion, schedule
from service.schemas.schedule import request as schemas
from service.schemas.schedule.answer import answer as answer_of


def calculation(book: RuleBook) -> Calculation[ScheduleQuestion]:
    """The calculation, for the tax years of a rule book."""

    def answer(question: ScheduleQuestion, _: frozenset[str]) -> dict[str, Any]:
        result = schedule(question, book)
        return answer_of(result, schedule_warnings(result), plan_assumptions(result), plan_notice(result.first_not_law))

    return Calculation("allowance-schedule", schemas.ScheduleSchema(), schemas.question, answer)
