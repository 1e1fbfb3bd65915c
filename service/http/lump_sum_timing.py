"""POST /v1/lump-sum-timing: when to take the tax-free lump sum, options side by side."""

from __future__ import annotations

from typing import Any

from service.http.calculation import Calculation
from service.law.rulebook import RuleBook
from service.planning.notice import plan_notice, timing_assumptions
from service.planning.timing import TimingQuestion, timing
from service.planning.timing_summary import summary
from service.planning.timing_warnings import timing_warnings
from service.schemas import timing as schemas


def calculation(book: RuleBook) -> Calculation[TimingQuestion]:
    """The calculation, for the tax years of a rule book."""

    def answer(question: TimingQuestion, _: frozenset[str]) -> dict[str, Any]:
        result = timing(question, book)
        return schemas.answer(
            result,
            summary(result),
            timing_warnings(result),
            timing_assumptions(result),
            plan_notice(result.timeline.first_not_law),
        )

    return Calculation("lump-sum-timing", schemas.TimingSchema(), schemas.question, answer)
