"""Whether a record is what it says: its digests are those of what it holds, and its page is what that makes."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from service.record.files import canonical
from service.record.page import digest, page

_EMBEDDED = re.compile(r'<script type="application/json" id="record">(.*?)</script>', re.DOTALL)
_DIGEST = re.compile(r">SHA-256 of the (request|answer)</th><td><code>([0-9a-f]{64})<")


def document_in(html: str) -> dict[str, Any]:
    """What a record's page holds. ValueError if it holds no record."""
    found = _EMBEDDED.findall(html)
    if len(found) != 1:
        raise ValueError("This page holds no record.")
    try:
        document = json.loads(found[0])
    except ValueError:
        raise ValueError("What this page holds is not JSON.") from None
    if not isinstance(document, dict) or not {"operation", "request", "answer", "figures", "pictures"} <= set(document):
        raise ValueError("This page holds no record.")
    return document


def faults_of(
    html: str, request: Mapping[str, Any] | None = None, answer: Mapping[str, Any] | None = None
) -> list[str]:
    """What is wrong with a record, in sentences: none of a sound one. With a request or an answer, such as one that is asked for
    again, also whether the record is of that."""
    try:
        document = document_in(html)
    except ValueError as fault:
        return [str(fault)]
    faults = []
    printed = dict(_DIGEST.findall(html))
    for name, other in (("request", request), ("answer", answer)):
        if printed.get(name) != digest(document[name], canonical):
            faults.append(f"The digest of the {name} is not that of the {name} inside.")
        if other is not None and canonical(other) != canonical(document[name]):
            faults.append(f"The {name} inside is not the one given.")
    try:
        again = page(document, canonical)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError):
        again = ""
    if again != html:
        faults.append("The page is not what its request and answer make: somebody or another version has changed it.")
    return faults
