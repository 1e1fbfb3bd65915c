"""A calculation: how its request is read and its answer made, whichever way it is asked for.

One table of these feeds the single requests (``POST /v1/{name}``) and the bulk ones (``POST /v1/bulk/{name}``), so that
the two cannot differ.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Any, Generic, NamedTuple, TypeVar

from flask import Blueprint, Response, current_app, request

from service.http.body import loaded, read_json_body
from service.http.fields import wanted_alone
from service.http.heavy import Client, Places, Turns, host_of, refuse_the_absent, within_limits
from service.http.metrics import Metrics
from service.http.negotiation import accepted_of
from service.http.provider import encode
from service.schemas.parts import Parts
from service.schemas.quick import quick_reader
from service.schemas.rules import Versions
from service.schemas.shared import StrictSchema

Question = TypeVar("Question")


def never(*_: object) -> bool:
    """No."""
    return False


def of_the_known_law(*_: object) -> Versions | None:
    """No other law's."""
    return None


class Form(NamedTuple, Generic[Question]):
    """Another form of an answer: its whole content type, the name of the file, and its bytes from the question and the body that
    was sent."""

    content_type: str
    file_name: str
    answer: Callable[[Question, bytes], bytes]


@dataclass(frozen=True)
class Calculation(Generic[Question]):
    """``name`` is the last part of its path; ``build`` makes the question from values that ``schema`` has loaded;
    ``answer`` gives the answer as JSON, with the parts wanted; those ``offered`` are there only by ``?include=``. What is not
    wanted it may make where that takes next to no time.

    ``versions_of`` gives those that the answer to a question names where they are not those of the law as known.

    ``answer`` raises RuleViolation for what the rules do not allow, ``build`` ValidationError for values that do not go
    together. ``steps`` are the parts of ``answer``, each given what the one before it made, where they are so small that
    many records had better take a step together. ``is_heavy`` says of a question whether its answer may take more than
    about 20 ms of a processor's time: a guess from what the request says, made in no time. ``is_costly`` says likewise, with
    the parts wanted, whether it may take more than about 3 ms, which is several times what a common quote takes. ``forms`` are
    those of a single answer besides JSON, by media type.
    """

    name: str
    schema: StrictSchema
    build: Callable[[dict[str, Any]], Question]
    answer: Callable[[Question, Parts], dict[str, Any]]
    offered: tuple[str, ...] = ()
    steps: tuple[Callable[[Any, Parts], Any], ...] = ()
    is_heavy: Callable[[Question], bool] = never
    forms: Mapping[str, Form[Question]] = field(default_factory=dict)
    is_costly: Callable[[Question, Parts], bool] = never
    versions_of: Callable[[Question], Versions | None] = of_the_known_law

    def is_light(self, question: Question, wanted: Parts) -> bool:
        """Whether a question may be answered at once, whatever else is under way: by the law as known, and neither heavy nor
        costly."""
        return (
            not self.is_heavy(question) and not self.is_costly(question, wanted) and self.versions_of(question) is None
        )

    @cached_property
    def quick(self) -> Callable[[object], dict[str, Any]]:
        """The quick reader of its requests."""
        return quick_reader(self.schema)

    @property
    def path(self) -> str:
        """The path of a single request."""
        return f"/v1/{self.name}"


def blueprint(
    calculation: Calculation[Any],
    rules_version: str,
    max_body_bytes: int,
    places: Places,
    turns: Turns,
    metrics: Metrics | None = None,
) -> Blueprint:
    """The resource that answers single requests, from bodies of a bounded size; heavy ones need one of the places, and costly
    ones take turns."""
    routes = Blueprint(calculation.name, __name__)
    accepted = ("application/json", *calculation.forms)
    quick = calculation.quick  # made here, before the first request and before the workers part

    def single() -> Response:
        form = calculation.forms.get(accepted_of(accepted))
        wanted = wanted_alone(calculation.offered)
        body = read_json_body(max_body_bytes)
        question = loaded(body, calculation.schema, quick, calculation.build)
        work = partial(answered, question, wanted) if form is None else partial(form.answer, question, body)
        if calculation.is_heavy(question):
            host = host_of(current_app)
            with places.single(host):
                refuse_the_absent(Client(request.environ))
                content = within_limits(host, work)
        elif calculation.is_costly(question, wanted):
            with turns.one(request.environ):
                content = work()
        else:
            content = work()
        versions = calculation.versions_of(question)
        headers = {"Cache-Control": "no-store", "Rules-Version": versions.rules if versions else rules_version}
        if form is None:
            return Response(content, 200, headers, content_type="application/json")
        as_file = {"Content-Disposition": f'attachment; filename="{form.file_name}"'}
        return Response(content, 200, {**headers, **as_file}, content_type=form.content_type)

    def answered(question: Any, wanted: Parts) -> bytes:
        document = calculation.answer(question, wanted)
        if metrics is not None:
            metrics.answer(document)
        return encode(document)

    routes.add_url_rule(calculation.path, calculation.name.replace("-", "_"), single, methods=["POST"])
    return routes
