"""A sign of life on the terminal while an answer is worked out.

It shows the seconds and no percentage. A search for the best plan ends when nothing more is to be gained, so nobody knows how
much of it is left. It is a line on the standard error that is rubbed out at the end. Where that is no terminal, nothing is
written. A package for progress bars would be one more to install, and could say no more than this.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Event, Thread

FIRST_SECONDS, EVERY_SECONDS = 0.3, 0.2
BAR = 12
"""How many columns the moving mark has."""


@contextmanager
def waiting(doing: str) -> Iterator[None]:
    """Show on a terminal what is being done, and for how long, until the block ends."""
    if sys.stderr is None or not sys.stderr.isatty():
        yield
        return
    ended = Event()
    shown = Thread(target=_show, args=(doing, ended), daemon=True)
    shown.start()
    try:
        yield
    finally:
        ended.set()
        shown.join()


def _show(doing: str, ended: Event) -> None:
    since, longest, step = time.monotonic(), 0, 0
    pause = FIRST_SECONDS
    while not ended.wait(pause):
        pause = EVERY_SECONDS
        text = f"{doing} [{bar(step)}] {time.monotonic() - since:.0f} s"
        longest, step = max(longest, len(text)), step + 1
        sys.stderr.write(f"\r{text}")
        sys.stderr.flush()
    if longest:
        sys.stderr.write(f"\r{' ' * longest}\r")
        sys.stderr.flush()


def bar(step: int) -> str:
    """A mark that moves from left to right and back."""
    place = step % (2 * BAR - 2)
    place = min(place, 2 * BAR - 2 - place)
    return " " * place + "=" + " " * (BAR - 1 - place)
