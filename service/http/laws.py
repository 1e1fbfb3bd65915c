"""One calculation under several laws: the one place where a request's ``law`` is looked at.

A law is a rule book, and a calculation is made from a rule book. So there is a whole calculation for each law, all made at the
start, and a request goes to that of the law it names. Nothing below knows that there are others: no calculation has a switch, and
a request that names no law is answered by the very functions that answer where no other law is held.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from service.figures.proposals import KNOWN
from service.http.calculation import Calculation, Form
from service.law.rulebook import RuleBook
from service.schemas.law import LAW, unknown_law
from service.schemas.parts import Parts
from service.schemas.rules import Versions


class Law(NamedTuple):
    """A law as answers need it: its rules, and what they say of themselves."""

    book: RuleBook
    versions: Versions


@dataclass(frozen=True, slots=True)
class _UnderLaw:
    """What a proposed law is asked, or what its calculation has made of it so far."""

    calculation: Calculation[Any]
    versions: Versions
    made: Any


def under_laws(
    make: Callable[[RuleBook, Versions], Calculation[Any]], known: Law, proposed: Mapping[str, Law]
) -> Calculation[Any]:
    """The calculation by the law as known, for requests that name no other, and by each proposed law for those that name it."""
    plain = make(*known)
    others = {name: (make(*law), law.versions) for name, law in proposed.items()}

    def build(values: dict[str, Any]) -> Any:
        name = values.pop(LAW, KNOWN)
        if name == KNOWN:
            return plain.build(values)
        if name not in others:
            raise unknown_law(name, others)
        calculation, versions = others[name]
        return _UnderLaw(calculation, versions, calculation.build(values))

    if not others:
        return replace(plain, build=build)

    def answer(question: Any, wanted: Parts) -> dict[str, Any]:
        if type(question) is _UnderLaw:
            return question.calculation.answer(question.made, wanted)
        return plain.answer(question, wanted)

    def is_heavy(question: Any) -> bool:
        if type(question) is _UnderLaw:
            return question.calculation.is_heavy(question.made)
        return plain.is_heavy(question)

    def is_costly(question: Any, wanted: Parts) -> bool:
        if type(question) is _UnderLaw:
            return question.calculation.is_costly(question.made, wanted)
        return plain.is_costly(question, wanted)

    return replace(
        plain,
        build=build,
        answer=answer,
        steps=tuple(_step(place, plain) for place in range(len(plain.steps))),
        is_heavy=is_heavy,
        is_costly=is_costly,
        forms={media_type: _form(media_type, form) for media_type, form in plain.forms.items()},
        versions_of=lambda question: question.versions if type(question) is _UnderLaw else None,
    )


def _step(place: int, plain: Calculation[Any]) -> Callable[[Any, Parts], Any]:
    """One of the steps of an answer. What a proposed law's makes stays its own up to the last."""
    plainly, is_last = plain.steps[place], place == len(plain.steps) - 1

    def step(made: Any, wanted: Parts) -> Any:
        if type(made) is not _UnderLaw:
            return plainly(made, wanted)
        found = made.calculation.steps[place](made.made, wanted)
        return found if is_last else replace(made, made=found)

    return step


def _form(media_type: str, plain: Form[Any]) -> Form[Any]:
    def answer(question: Any, body: bytes) -> bytes:
        if type(question) is _UnderLaw:
            return question.calculation.forms[media_type].answer(question.made, body)
        return plain.answer(question, body)

    return plain._replace(answer=answer)
