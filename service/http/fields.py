"""Which parts of an answer a request asks for: ``?include=`` adds some, and in bulk ``?fields=`` leaves out all the others."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from importlib.resources import files

from flask import request

from service.http.negotiation import includes, query_problem
from service.http.problems import quoted
from service.schemas.parts import Known, Parts, UnknownPath, parts_of

ANSWER_FIELDS: Mapping[str, Known] = json.loads(files("openapi").joinpath("answer_fields.json").read_bytes())
"""What the answer of each operation has, as the agreement says: written with it, from the same schemas."""


def included(offered: Iterable[str], words: Iterable[str] = ()) -> Parts:
    """An answer with those of the parts ``offered`` that words name."""
    return Parts(left_out=set(offered) - set(words))


def wanted_alone(offered: tuple[str, ...]) -> Parts:
    """What the query of a single request asks for. ProblemError 422 for a query that is not understood."""
    return included(offered, includes(offered))


def wanted_in_bulk(operation: str, offered: tuple[str, ...]) -> Parts:
    """The same for a bulk request. A part that is named by ``fields`` need not be included as well."""
    words = includes(offered, others=("fields",))
    given = request.args.getlist("fields")
    if not given:
        return included(offered, words)
    try:
        return parts_of([*",".join(given).split(","), *words], ANSWER_FIELDS[operation])
    except UnknownPath as error:
        detail = (
            f"The answer has no field {quoted(error.path)}. Did you mean {quoted(error.nearest)}?"
            if error.path
            else "fields is empty."
        )
        raise query_problem([detail]) from None
