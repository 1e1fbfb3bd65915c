"""POST /v1/warnings, and GET /v1/warning-codes: the catalogue of all warnings."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response

from service.http.cached import cached
from service.http.calculation import Calculation
from service.law.rulebook import RuleBook
from service.planning.check.caveats import case_caveats, case_standing, first_not_law, guidance_age
from service.planning.check.check import WarningsQuestion, warnings_asked
from service.planning.disclosure import check_notice
from service.planning.warnings.registry import CATALOGUE
from service.planning.warnings.warning import told_in_notice
from service.schemas.check import request as schemas
from service.schemas.check.answer import answer as answer_of
from service.schemas.check.catalogue import catalogue_document
from service.schemas.parts import Parts
from service.schemas.rules import Versions, rules_answer


def calculation(book: RuleBook, versions: Versions) -> Calculation[WarningsQuestion]:
    """The calculation, for the tax years of a rule book; its answers name these versions."""

    def answer(question: WarningsQuestion, _: Parts) -> dict[str, Any]:
        case, found, missing = warnings_asked(question, book)
        return answer_of(
            found,
            missing,
            question.today,
            rules_answer(versions, case_standing(case), case_caveats(case)),
            check_notice(
                first_not_law(case), book.law_as_of, guidance_age(case), book.proposed, told_in_notice(missing)
            ),
        )

    return Calculation("warnings", schemas.WarningsSchema(), schemas.question, answer)


def catalogue(book: RuleBook, versions: Versions) -> Blueprint:
    """The resource that lists all codes, with the days of their law by the figures of a rule book."""
    routes = Blueprint("warning_codes", __name__)
    entries = tuple(CATALOGUE.values())
    years = {name: rules.figures for name, rules in book.years.items()}
    document = catalogue_document(entries, years, versions.rules)

    @routes.get("/v1/warning-codes")
    def warning_codes() -> Response:
        return cached(document, versions.rules)

    return routes
