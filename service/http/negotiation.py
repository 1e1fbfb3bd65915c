"""What a request may ask for besides its body: an accepted form and query parameters, both strictly."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from flask import request

from service.http.problems import ProblemError, quoted, with_faults
from service.planning.faults import Fault
from service.planning.wording import listed
from service.schemas.fields import nearest


def require_accepted(media_type: str) -> None:
    """ProblemError 406 where the caller does not accept an answer of this media type."""
    accepted_of((media_type,))


def accepted_of(media_types: Sequence[str]) -> str:
    """The media type that the caller likes most of those in which there is an answer, the first of equals. ProblemError 406
    where the caller accepts none."""
    accept = request.environ.get("HTTP_ACCEPT", "*/*")
    if accept in ("*/*", media_types[0]):
        return media_types[0]
    liked = max(media_types, key=lambda media_type: request.accept_mimetypes[media_type])
    if not request.accept_mimetypes[liked]:
        only = "the only form" if len(media_types) == 1 else "the only forms"
        raise ProblemError(
            "not-acceptable",
            f"The Accept header, {quoted(accept)}, excludes {' and '.join(media_types)}, {only} of this answer.",
        )
    return liked


def refuse_query() -> None:
    """ProblemError 422 for any query parameter, where none is offered."""
    if request.environ.get("QUERY_STRING"):
        raise query_problem([_not_here(name) for name in request.args] or ["No query is offered here."])


def includes(offered: tuple[str, ...], others: tuple[str, ...] = ()) -> frozenset[str]:
    """The words of ``?include=``, separated by commas or each with an ``include`` of its own. ProblemError 422 for anything else
    in the query but the parameters named by ``others``."""
    if not request.environ.get("QUERY_STRING"):
        return frozenset()
    known = ("include", *others) if offered else others
    details = [
        _IN_BULK_ALONE if name == "fields" else _not_here(name, known) for name in request.args if name not in known
    ]
    words = ",".join(request.args.getlist("include")).split(",") if offered and "include" in request.args else []
    takes = (
        f"it takes {listed(offered)}{', with only a comma between them' if len(offered) > 1 else ''}" if words else ""
    )
    for word, times in Counter(words).items():
        if word not in offered:
            details.append(f"include does not take {quoted(word)}; {takes}.")
        elif times > 1:
            details.append(f"include names {word} more than once; {takes}.")
    if not request.args:
        details.append("The query is empty." if known else "No query is offered here.")
    if details:
        raise query_problem(details)
    return frozenset(words)


def one_of(parameter: str, words: Sequence[str]) -> str:
    """The word that a query parameter says, the first of the words where it is not given. ProblemError 422 for anything else in
    the query."""
    if not request.environ.get("QUERY_STRING"):
        return words[0]
    given = request.args.getlist(parameter)
    details = [_not_here(name, (parameter,)) for name in request.args if name != parameter]
    if len(given) > 1:
        details.append(f"{parameter} is given more than once.")
    details += [
        f"{parameter} does not take {quoted(word)}; it takes {listed(words)}." for word in given if word not in words
    ]
    if not request.args:
        details.append("The query is empty.")
    if details:
        raise query_problem(details)
    return given[0]


_IN_BULK_ALONE = (
    "fields is for bulk requests alone: here the answer is given whole. Leave it out, or send the request in bulk."
)


def _not_here(name: str, known: Sequence[str] = ()) -> str:
    """What is said of a query parameter that is not among those known."""
    meant = nearest(name, known)
    return f"There is no query parameter {quoted(name)} here." + (f" Did you mean {quoted(meant)}?" if meant else "")


def query_problem(details: list[str]) -> ProblemError:
    """What is wrong with the query, each in a sentence."""
    return with_faults("invalid-request", tuple(Fault((), "query", detail) for detail in details))
