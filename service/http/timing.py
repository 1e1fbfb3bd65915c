"""POST /v1/lump-sum-timing: when to take the tax-free lump sum, options side by side."""

from __future__ import annotations

from typing import Any

from service.charts.timing import timing_charts
from service.http.calculation import Calculation
from service.http.charts import DRAWN, with_charts
from service.law.rulebook import RuleBook
from service.planning.disclosure import plan_notice
from service.planning.timing.caveats import timing_caveats
from service.planning.timing.circumstances import timing_warnings
from service.planning.timing.comparison import TimingQuestion, timing
from service.planning.timing.sensitivity import outcomes
from service.planning.timing.summary import on_many_courses, summary
from service.schemas.parts import Parts
from service.schemas.rules import Versions, rules_answer
from service.schemas.timing import request as schemas
from service.schemas.timing.answer import answer as answer_of
from service.schemas.timing.over_paths import over_paths_answer
from service.schemas.timing.sensitivity import sensitivity_answer


def calculation(book: RuleBook, versions: Versions) -> Calculation[TimingQuestion]:
    """The calculation, for the tax years of a rule book; its answers name these versions."""

    def answer(question: TimingQuestion, wanted: Parts) -> dict[str, Any]:
        result = timing(question, book)
        document = answer_of(
            result,
            summary(result),
            timing_warnings(result),
            rules_answer(versions, result.timeline.standing, timing_caveats(result)),
            plan_notice(
                result.timeline.first_not_law, book.law_as_of, book.proposed, markets=result.over_paths is not None
            ),
            None if question.cases is None else sensitivity_answer(question.cases, *outcomes(question.cases, book)),
            None if result.over_paths is None else over_paths_answer(result.over_paths, on_many_courses(result)),
        )
        if DRAWN not in wanted:
            return document
        names = [member.name for member in question.household.people]
        return with_charts(document, timing_charts(document, names), wanted)

    # Options, deaths, scenarios and break-evens: even a short comparison is many plans.
    return Calculation(
        "lump-sum-timing", schemas.TimingSchema(), schemas.question, answer, offered=(DRAWN,), is_heavy=lambda _: True
    )
