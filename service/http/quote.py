"""POST /v1/withdrawal-tax: the tax on one withdrawal."""

from __future__ import annotations

from typing import Any

from service.charts.quote import quote_charts
from service.http.calculation import Calculation
from service.http.charts import DRAWN, with_charts
from service.law.rulebook import RuleBook
from service.law.units import POUND, Pence
from service.planning.disclosure import caveats_of, notice
from service.planning.quote.asked import QuoteAsked, question_of
from service.planning.quote.caveats import touched_by
from service.planning.quote.chart import chart
from service.planning.quote.circumstances import codes_for, warnings_for
from service.planning.quote.quote import Quote, quote
from service.planning.quote.working import working
from service.planning.warnings.warning import ClientWarning
from service.schemas.parts import Parts
from service.schemas.quote import request as schemas
from service.schemas.quote.answer import answer as answer_of
from service.schemas.rules import Versions, caveats_answer, rules_answer
from service.schemas.warnings import in_codes

_SET_OFF_LATER = ("savings_interest", "dividends")
_LARGE: Pence = 10_000 * POUND
"""Less in savings and dividends is quick to set off: an ordinary quote takes a tenth of the time of the costliest."""

Warned = tuple[Quote, list[ClientWarning]]
"""A quote with its warnings."""


def calculation(book: RuleBook, versions: Versions) -> Calculation[QuoteAsked]:
    """The calculation, for the tax years of a rule book; its answers name these versions."""
    said = {
        name: (
            caveats_of(rules.figures),
            rules_answer(versions, rules.figures.standing, ()),
            notice(rules.figures, book.law_as_of, book.proposed),
        )
        for name, rules in book.years.items()
    }

    def quoted(asked: QuoteAsked, _: Parts) -> Quote:
        return quote(question_of(asked, book), book)

    def warned(result: Quote, wanted: Parts) -> Warned:
        if wanted.names is None:
            return result, warnings_for(result, book.state_pension_ages)
        if "warnings" not in wanted:
            return result, []
        warnings = codes_for if in_codes(wanted.below("warnings")) else warnings_for
        return result, warnings(result, book.state_pension_ages)

    def told(warned: Warned, wanted: Parts) -> dict[str, Any]:
        result, warnings = warned
        caveats, without_caveats, note = said[result.question.tax_year]
        are_told = bool(caveats) and (wanted.names is None or "caveats" in wanted.below("rules"))
        touched = touched_by(result) if are_told else []
        charted = DRAWN in wanted
        document = answer_of(
            result,
            warnings,
            {**without_caveats, "caveats": caveats_answer([caveats[name] for name in touched if name in caveats])},
            note,
            curve=chart(result) if charted or "curve" in wanted else None,
            working=working(result) if "working" in wanted else None,
            wanted=wanted.and_whole("income_tax", "payroll") if charted else wanted,
        )
        return with_charts(document, quote_charts(document), wanted) if charted else document

    def answer(asked: QuoteAsked, wanted: Parts) -> dict[str, Any]:
        return told(warned(quoted(asked, wanted), wanted), wanted)

    return Calculation(
        "withdrawal-tax",
        schemas.withdrawal_tax_schema(tuple(book.years)),
        schemas.question,
        answer,
        offered=("working", "curve", DRAWN),
        steps=(quoted, warned, told),
        is_costly=_is_costly,
    )


def _is_costly(asked: QuoteAsked, _: Parts) -> bool:
    """Whether the set-off of allowances has to be tried in many ways at many places: there are large savings or dividends, and
    besides a marriage allowance."""
    member = asked.people[asked.person]
    if member.marriage_allowance == "none":
        return False
    return sum(income.amount or 0 for income in member.income if income.kind in _SET_OFF_LATER) >= _LARGE
