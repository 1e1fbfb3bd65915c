"""POST /v1/allowance-schedule: a plan over tax years for one person or a couple."""

from __future__ import annotations

from typing import Any

from service.http.calculation import Calculation
from service.law.rulebook import RuleBook
from service.planning.notice import plan_assumptions, plan_notice
from service.planning.schedule import ScheduleQuestion, schedule
from service.planning.schedule_warnings import schedule_warnings
from service.schemas import schedule as schemas


def calculation(book: RuleBook) -> Calculation[ScheduleQuestion]:
    """The calculation, for the tax years of a rule book."""

    def answer(question: ScheduleQuestion, _: frozenset[str]) -> dict[str, Any]:
        result = schedule(question, book)
        return schemas.answer(
            result, schedule_warnings(result), plan_assumptions(result), plan_notice(result.first_not_law)
        )

    return Calculation("allowance-schedule", schemas.ScheduleSchema(), schemas.question, answer)
