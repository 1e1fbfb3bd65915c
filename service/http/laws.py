"""One calculation under several laws: the one place where a request's ``law`` is looked at.

A law is a rule book, and a calculation is made from a rule book. So there is a whole calculation for each law, all made at the
start, and a request goes to that of the law it names. Nothing below knows that there are others: no calculation has a switch, and
a request that names no law is answered by the very functions that answer where no other law is held. With ``compare_law`` two of
these calculations answer, and what differs between their documents is told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from service.figures.proposals import KNOWN
from service.http.calculation import Calculation, Form
from service.law.rulebook import RuleBook
from service.planning.faults import RuleViolation
from service.schemas.compared_law import compared_law, not_by_that_law
from service.schemas.law import COMPARE_LAW, LAW, LawsAreHeld
from service.schemas.parts import Parts
from service.schemas.rules import Versions


class Law(NamedTuple):
    """A law as answers need it: its rules, and what they say of themselves."""

    book: RuleBook
    versions: Versions


@dataclass(frozen=True, slots=True)
class _UnderLaw:
    """What a law is asked, or what its calculation has made of it so far."""

    calculation: Calculation[Any]
    versions: Versions
    made: Any


@dataclass(frozen=True, slots=True)
class _Compared:
    """One question under the law that answers it and under another, with which it is compared."""

    first: _UnderLaw
    other: _UnderLaw

    @property
    def each(self) -> tuple[_UnderLaw, _UnderLaw]:
        """Both."""
        return self.first, self.other


def under_laws(
    make: Callable[[RuleBook, Versions], Calculation[Any]], known: Law, proposed: Mapping[str, Law]
) -> Calculation[Any]:
    """The calculation by the law as known, for requests that name no other, and by each proposed law for those that name it."""
    laws = {name: (make(*law), law.versions) for name, law in {KNOWN: known, **proposed}.items()}
    plain, _ = laws[KNOWN]
    schema = plain.schema.with_rule(LawsAreHeld(tuple(proposed)))

    def build(values: dict[str, Any]) -> Any:
        name, other = values.pop(LAW, KNOWN), values.pop(COMPARE_LAW, None)
        if other is None:
            return plain.build(values) if name == KNOWN else under(name, values)
        return _Compared(under(name, values), under(other, values))

    def under(name: str, values: dict[str, Any]) -> _UnderLaw:
        calculation, versions = laws[name]
        return _UnderLaw(calculation, versions, calculation.build(values))

    if not proposed:
        return replace(plain, schema=schema, build=build)

    def answer(question: Any, wanted: Parts) -> dict[str, Any]:
        if type(question) is _Compared:
            return _with_the_other(question, wanted)
        if type(question) is _UnderLaw:
            return question.calculation.answer(question.made, wanted)
        return plain.answer(question, wanted)

    def is_heavy(question: Any) -> bool:
        if type(question) is _Compared:
            return any(is_heavy(each) for each in question.each)
        if type(question) is _UnderLaw:
            return question.calculation.is_heavy(question.made)
        return plain.is_heavy(question)

    def is_costly(question: Any, wanted: Parts) -> bool:
        if type(question) is _Compared:
            return any(is_costly(each, wanted) for each in question.each)
        if type(question) is _UnderLaw:
            return question.calculation.is_costly(question.made, wanted)
        return plain.is_costly(question, wanted)

    return replace(
        plain,
        schema=schema,
        build=build,
        answer=answer,
        steps=tuple(_step(place, plain) for place in range(len(plain.steps))),
        is_heavy=is_heavy,
        is_costly=is_costly,
        forms={media_type: _form(media_type, form) for media_type, form in plain.forms.items()},
        versions_of=_versions_of,
    )


def _with_the_other(question: _Compared, wanted: Parts) -> dict[str, Any]:
    """The answer by the first law, with what the other has otherwise; the whole of both is made for that, but for parts that are
    made only where they are asked for."""
    first, other = question.each
    offered = first.calculation.offered
    whole = wanted if wanted.names is None else Parts(left_out=[part for part in offered if part not in wanted])
    document = first.calculation.answer(first.made, whole)
    try:
        beside = compared_law(document, other.calculation.answer(other.made, Parts(left_out=offered)), other.versions)
    except RuleViolation as violation:
        beside = not_by_that_law(violation, other.versions)
    notice = document.pop("notice")
    return {**document, "compared_law": beside, "notice": notice}


def _versions_of(question: Any) -> Versions | None:
    if type(question) is _Compared:
        return _versions_of(question.first)
    if type(question) is _UnderLaw and question.versions.proposed is not None:
        return question.versions
    return None


def _step(place: int, plain: Calculation[Any]) -> Callable[[Any, Parts], Any]:
    """One of the steps of an answer. What a proposed law's makes stays its own up to the last; two laws take all of it then."""
    plainly, is_last = plain.steps[place], place == len(plain.steps) - 1

    def step(made: Any, wanted: Parts) -> Any:
        if type(made) is _Compared:
            return _with_the_other(made, wanted) if is_last else made
        if type(made) is not _UnderLaw:
            return plainly(made, wanted)
        found = made.calculation.steps[place](made.made, wanted)
        return found if is_last else replace(made, made=found)

    return step


def _form(media_type: str, plain: Form[Any]) -> Form[Any]:
    """Another form of the answer, which is that of the law that answers, without any other."""

    def answer(question: Any, body: bytes) -> bytes:
        asked = question.first if type(question) is _Compared else question
        if type(asked) is _UnderLaw:
            return asked.calculation.forms[media_type].answer(asked.made, body)
        return plain.answer(asked, body)

    return plain._replace(answer=answer)
