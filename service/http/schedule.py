"""POST /v1/allowance-schedule: a plan over tax years for one person or a couple."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from service.charts.schedule import schedule_charts
from service.http.calculation import Calculation, Form
from service.http.calendar_file import CONTENT_TYPE, MEDIA_TYPE, calendar_file
from service.http.charts import DRAWN, with_charts
from service.law.rulebook import RuleBook
from service.planning.cases import Cases
from service.planning.disclosure import plan_notice
from service.planning.schedule.caveats import plan_caveats
from service.planning.schedule.circumstances import schedule_warnings
from service.planning.schedule.schedule import SEARCHED_FOR, ScheduleQuestion, schedule
from service.planning.schedule.sensitivity import outcomes
from service.planning.schedule.steps import steps
from service.planning.schedule.told import told
from service.schemas.parts import Parts
from service.schemas.rules import Versions, rules_answer
from service.schemas.schedule import request as schemas
from service.schemas.schedule.answer import answer as answer_of
from service.schemas.schedule.sensitivity import sensitivity_answer

_MOST_LIGHT, _MOST_CHEAP = 150, 30  # years of a person in all plans together


def calculation(book: RuleBook, versions: Versions) -> Calculation[ScheduleQuestion]:
    """The calculation, for the tax years of a rule book; its answers name these versions."""

    def answer(question: ScheduleQuestion, wanted: Parts) -> dict[str, Any]:
        result = schedule(question, book)
        warnings = schedule_warnings(result)
        document = answer_of(
            result,
            told(result),
            warnings,
            rules_answer(versions, result.standing, plan_caveats(result)),
            plan_notice(
                result.first_not_law,
                book.law_as_of,
                book.proposed,
                markets=result.over_paths is not None,
                both_live=both_live(question),
            ),
            compared_years="compared_years" in wanted,
            steps=steps(result, warnings) if "steps" in wanted else None,
            sensitivity=None if question.cases is None else sensitivity(question.cases),
        )
        return with_charts(document, schedule_charts(document), wanted) if DRAWN in wanted else document

    def both_live(question: ScheduleQuestion) -> bool:
        return question.is_for_beneficiaries and len(question.household.people) > 1

    def sensitivity(cases: Cases) -> dict[str, Any]:
        return sensitivity_answer(cases, *outcomes(cases, book))

    def calendar(question: ScheduleQuestion, body: bytes) -> bytes:
        result = schedule(replace(_nameless(question), markets=None), book)
        return calendar_file(
            steps(result, schedule_warnings(result)),
            body,
            question.household.start,
            len(question.household.people),
            plan_notice(result.first_not_law, book.law_as_of, book.proposed, both_live=both_live(question)),
        )

    return Calculation(
        "allowance-schedule",
        schemas.ScheduleSchema(),
        schemas.question,
        answer,
        offered=("compared_years", "steps", DRAWN),
        is_heavy=_is_heavy,
        is_costly=_is_costly,
        forms={MEDIA_TYPE: Form(CONTENT_TYPE, "steps.ics", calendar)},
    )


def _nameless(question: ScheduleQuestion) -> ScheduleQuestion:
    """The same question without anybody's name."""
    household = question.household
    people = tuple(member._replace(name=None) for member in household.people)
    return replace(question, household=replace(household, people=people))


def _is_heavy(question: ScheduleQuestion) -> bool:
    """Whether the plan is searched for or carried out on many paths, or a plain plan is long."""
    return question.goal in SEARCHED_FOR or question.markets is not None or _years(question) > _MOST_LIGHT


def _is_costly(question: ScheduleQuestion, _: Parts) -> bool:
    return _years(question) > _MOST_CHEAP


def _years(question: ScheduleQuestion) -> int:
    """Years of a person in all plans together, each of which takes about 0.1 ms: the plan itself, two that it is compared with,
    and the scenarios; and as many again for each plan with one assumption changed, and for the one beside them."""
    household, plans = question.household, 3 + len(question.scenarios)
    whole = plans * (household.end.year - household.start.year + 1) * len(household.people)
    return whole if question.cases is None else whole * (2 + len(question.cases.changed))
