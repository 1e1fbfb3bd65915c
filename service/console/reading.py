"""Reading a request from a file or from the standard input, as editors and shells on every system write them."""

from __future__ import annotations

import json
import sys
from pathlib import Path

STANDARD_INPUT = "-"
MOST_BYTES = 1_048_576
"""More than any request may have; the service says by how much less. A file without an end is not read for ever."""


class CannotReadError(Exception):
    """Why there is no request, in a sentence."""


def request_in(file: str) -> bytes:
    """The request of a file, or of the standard input for "-", as UTF-8 without a byte order mark.

    CannotReadError where the file cannot be read, or there is nothing in it.
    """
    name = name_of(file)
    try:
        content = _content(file)
    except OSError as error:
        raise CannotReadError(f"{name} cannot be read: {error.strerror}.") from None
    if not content.strip():
        raise CannotReadError(f"{name} is empty. It must hold a request, such as those in examples/requests.")
    return as_utf8(content)


def under_law(content: bytes, name: str) -> bytes:
    """The same request with a law to answer by. What is no object stays as it is, and so does all else, so that the service says
    what is wrong with it; also where the request has a law already."""
    start = content.find(b"{") + 1
    if not start or content[: start - 1].strip():
        return content
    more = b"" if content[start:].lstrip().startswith(b"}") else b", "
    return content[:start] + b'"law": ' + json.dumps(name).encode() + more + content[start:]


def name_of(file: str) -> str:
    """What to call the source of a request in a sentence."""
    return "Standard input" if file == STANDARD_INPUT else file


def _content(file: str) -> bytes:
    if file != STANDARD_INPUT:
        with Path(file).open("rb") as opened:
            return opened.read(MOST_BYTES)
    if sys.stdin is None:
        raise CannotReadError("Standard input is closed. Name a file.")
    if sys.stdin.isatty():
        raise CannotReadError("Name a request file, or send a request to standard input.")
    return sys.stdin.buffer.read(MOST_BYTES)


def as_utf8(content: bytes) -> bytes:
    """A text in one of the forms of Unicode as UTF-8. Windows' shells write UTF-16, and its editors a byte order mark. What is in
    none of these forms stays as it is: the service says what is wrong with it."""
    try:
        return content.decode(json.detect_encoding(content)).encode()
    except UnicodeError:
        return content
