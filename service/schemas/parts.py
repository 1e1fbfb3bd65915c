"""Which parts of an answer are wanted, and an answer cut down to them.

A path names a part by the keys that lead to it, joined by points; a list on the way stands for each of its items:
``warnings.code`` is the code of every warning. Nobody wants ``rules.version`` left out, so no choice does.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any

Known = Mapping[str, Any]
"""The keys of an answer, each with the keys below it; none below a value and below an object with keys of any name."""

ALWAYS = "rules.version"


class UnknownPath(ValueError):
    """No part of the answer has this path; ``nearest`` is the path that looks most like it."""

    def __init__(self, path: str, nearest: str) -> None:
        super().__init__(f"{path!a} is no part of the answer; the nearest is {nearest!a}")
        self.path, self.nearest = path, nearest


class Parts:
    """The parts wanted of an answer or of something in it: a key is asked for by ``in``, what is wanted below it by ``below``.

    Without ``names`` everything is wanted but what is ``left_out``. An answer makes what costs time or words only where it is
    wanted; it may make more, which ``chosen`` takes away.
    """

    def __init__(self, names: Mapping[str, Parts] | None = None, left_out: Iterable[str] = ()) -> None:
        self.names, self.left_out = names, frozenset(left_out)

    def __contains__(self, name: str) -> bool:
        return name not in self.left_out if self.names is None else name in self.names

    def below(self, name: str) -> Parts:
        """What is wanted below a key."""
        if self.names is not None:
            return self.names.get(name, NOTHING)
        return NOTHING if name in self.left_out else EVERYTHING

    def and_whole(self, *names: str) -> Parts:
        """What is wanted, and the whole of these besides."""
        return self if self.names is None else Parts({**self.names, **dict.fromkeys(names, EVERYTHING)})

    def chosen(self, value: Any) -> Any:
        """Of a value the parts wanted, in the order of the agreement."""
        names = self.names
        if names is None:
            return value
        if isinstance(value, dict):
            return {
                key: value[key] if below.names is None else below.chosen(value[key])
                for key, below in names.items()
                if key in value
            }
        return [self.chosen(item) for item in value] if isinstance(value, list) else value


EVERYTHING, NOTHING = Parts(), Parts({})


def parts_of(paths: Iterable[str], known: Known) -> Parts:
    """The parts that paths name. UnknownPath for the first that the answer cannot have."""
    tree: dict[str, Any] = {}
    for path in (*paths, ALWAYS):
        here, below = tree, known
        for key in path.split("."):
            if key not in below:
                [nearest] = get_close_matches(path, every_path(known), 1, 0)
                raise UnknownPath(path, nearest)
            below = below[key]
            here = here.setdefault(key, {})
        here[""] = {}  # the whole of it is wanted
    return _parts(tree, known)


def every_path(known: Known, start: str = "") -> list[str]:
    """The paths of all parts, each before those below it."""
    found = []
    for key, below in known.items():
        found += [start + key, *every_path(below, f"{start}{key}.")]
    return found


def _parts(tree: Mapping[str, Any], known: Known) -> Parts:
    if "" in tree:
        return EVERYTHING
    return Parts({key: _parts(tree[key], below) for key, below in known.items() if key in tree})
