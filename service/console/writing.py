"""Writing to a terminal, a file or a pipe, whatever characters it takes."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from typing import TextIO

PLAINER = {"£": "GBP ", "\N{EN DASH}": "-", "\N{EM DASH}": "-", "\N{RIGHT SINGLE QUOTATION MARK}": "'"}
"""What stands for a sign that cannot be written."""
SPACES_TAKEN = 3
"""As many spaces before a pound sign as its longer form has more characters: then columns stay in line."""


def write(lines: Iterable[str], stream: TextIO | None) -> None:
    """Write lines at once. OSError where they cannot be written; nothing is done where the stream is closed."""
    if stream is None:
        return
    text = writable("".join(f"{line}\n" for line in lines), stream.encoding or "utf-8")
    stream.write(text)
    stream.flush()


def write_bytes(content: bytes) -> None:
    """Write bytes to the standard output as they are, and end the line."""
    if sys.stdout is None:
        return
    sys.stdout.flush()
    sys.stdout.buffer.write(content.rstrip(b"\n") + b"\n")
    sys.stdout.buffer.flush()


def writable(text: str, encoding: str) -> str:
    """A text in the characters of an encoding, with its columns where they were."""
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        pass
    else:
        return text
    for sign, plainer in PLAINER.items():
        try:
            sign.encode(encoding)
        except UnicodeEncodeError:
            text = text.replace(" " * (SPACES_TAKEN + 1) + sign, f" {plainer}").replace(sign, plainer)
    return text.encode(encoding, "replace").decode(encoding)
