"""What a request may ask for besides its body: an accepted form and query parameters, both strictly."""

from __future__ import annotations

from collections import Counter

from flask import request

from service.http.problems import ProblemError, quoted, with_faults
from service.planning.faults import Fault


def require_accepted(media_type: str) -> None:
    """ProblemError 406 where the caller does not accept an answer of this media type."""
    accept = request.environ.get("HTTP_ACCEPT", "*/*")
    if accept in ("*/*", media_type):
        return
    if not request.accept_mimetypes[media_type]:
        raise ProblemError(
            "not-acceptable",
            f"The Accept header, {quoted(accept)}, excludes {media_type}, the only form of this answer.",
        )


def refuse_query() -> None:
    """ProblemError 422 for any query parameter, where none is offered."""
    if request.environ.get("QUERY_STRING"):
        raise _query_problem(
            [f"There is no query parameter {quoted(name)} here." for name in request.args]
            or ["No query is offered here."]
        )


def includes(offered: tuple[str, ...]) -> frozenset[str]:
    """The words of ``?include=``, separated by commas. ProblemError 422 for anything else in the query, and for any query
    where nothing is ``offered``."""
    if not offered:
        refuse_query()
    if not request.environ.get("QUERY_STRING"):
        return frozenset()
    details = [f"There is no query parameter {quoted(name)} here." for name in request.args if name != "include"]
    given = request.args.getlist("include")
    if len(given) > 1:
        details.append("Give include once, its words separated by commas.")
    words = [word for text in given[:1] for word in text.split(",")]
    takes = f"it takes {' and '.join(offered)}, separated by a comma alone"
    details += [
        f"include does not take {quoted(word)}; {takes}." for word in dict.fromkeys(words) if word not in offered
    ]
    twice = [word for word, count in Counter(words).items() if count > 1 and word in offered]
    details += [f"include names {word} more than once; {takes}." for word in twice]
    if not given and not details:
        details.append("The query is empty.")
    if details:
        raise _query_problem(details)
    return frozenset(words)


def _query_problem(details: list[str]) -> ProblemError:
    return with_faults("invalid-request", tuple(Fault((), "query", detail) for detail in details))
