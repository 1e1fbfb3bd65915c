"""A reader who follows the sentence of a fault to the letter: what the request is then.

The reader knows JSON and nothing of this service. Whatever value, name or place a sentence has, the reader puts there.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable
from typing import Any

from tests.bodies import value_at

LEFT_OUT = object()
Change = tuple[str, Any]
"""A pointer, and what is put there, or LEFT_OUT."""
Step = Callable[[re.Match[str], str, Any], "list[Change]"]


def changed(body: Any, pointer: str, value: Any) -> Any:
    """The body with another value at a pointer, or with the field left out. Objects on the way are made."""
    if not pointer:
        return value
    *parents, last = pointer[1:].split("/")
    here = body
    for part in parents:
        here = here[int(part)] if isinstance(here, list) else here.setdefault(part, {})
    if isinstance(here, list):
        if value is LEFT_OUT:
            del here[int(last)]
        elif int(last) == len(here):
            here.append(value)
        else:
            here[int(last)] = value
    elif value is LEFT_OUT:
        here.pop(last, None)
    else:
        here[last] = value
    return body


def _put(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    """The JSON text of the sentence."""
    return [(pointer, json.loads(match[1]))]


def _put_word(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    return [(pointer, match[1])]


def _drop(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    return [(pointer, LEFT_OUT)]


def _rename(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    """The value under another name in the same object."""
    parent = pointer.rpartition("/")[0]
    return [(f"{parent}/{match[1]}", value_at(body, pointer)), (pointer, LEFT_OUT)]


def _move(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    """The value at another place of the request: `household.people[0].cash`."""
    return [(pointer, LEFT_OUT), *_made(_pointer_of(match[1]), value_at(body, pointer), body)]


def _listed(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    """A value at a place that the sentence names beside it."""
    return _made(_pointer_of(match[1]), json.loads(match[2]), body)


def _pointer_of(place: str) -> str:
    """A place as programs reach it as a pointer."""
    return "/" + place.replace("[", "/").replace("]", "").replace(".", "/")


def _made(place: str, value: Any, body: Any) -> list[Change]:
    """A place, with the lists on the way to it that are not there yet."""
    parts, here, way = place[1:].split("/"), body, ""
    for part, after in zip(parts, [*parts[1:], ""], strict=True):
        way += f"/{part}"
        if not after:
            break
        inside = here[int(part)] if isinstance(here, list) and int(part) < len(here) else None
        inside = here.get(part) if isinstance(here, dict) else inside
        if inside is None:
            rest: Any = value
            for each in reversed(place[len(way) + 1 :].split("/")):
                rest = [rest] if each.isdecimal() else {each: rest}
            return [(way, rest)]
        here = inside
    return [(place, value)]


def _one_of(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    return [(pointer, match[1].split(", ")[0])]


def _first_of_two(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    """Of two fields that exclude each other, the first alone, with a round sum where neither is there."""
    first, second = match[1], match[2]
    there = value_at(body, pointer)
    return [(f"{pointer}/{second}", LEFT_OUT), (f"{pointer}/{first}", there.get(first, 1000))]


def _rounded(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    places = {"two": 2, "four": 4, "eight": 8}[match[1]]
    return [(pointer, round(value_at(body, pointer), places))]


def _amount(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    return [(pointer, float(match[1].replace(",", "")))]


def _method(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    return [(f"{pointer.rpartition('/')[0]}/method", match[1])]


def _beside(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    """Another field of the same object with the value of this one."""
    return [(f"{pointer.rpartition('/')[0]}/{match[1]}", value_at(body, pointer)), (pointer, LEFT_OUT)]


def _code_alone(match: re.Match[str], pointer: str, body: Any) -> list[Change]:
    parent = pointer.rpartition("/")[0]
    return [(pointer, match[1]), (f"{parent}/basis", match[2])]


STEPS: tuple[tuple[str, Step], ...] = (
    (r"There is no such field here\. Did you mean `([^`]+)`(?: at the top of the request)?\?", _move),
    (r"There is no such field\. Did you mean `([^`]+)`\?", _rename),
    (r"There is no such field\. The fields here are: ", _drop),
    (r'Give the code alone, "([^"]+)", and its basis in `basis`: "([^"]+)"\.', _code_alone),
    (r'Did you mean ("[^"]+")\?', _put),
    (r'Write it in capitals and without spaces: ("[^"]+")\.', _put),
    (r'for example "\w+": (.+)\.$', _put),
    (r"(?:Must be an object|Must be a list|but an object|Must hold at least 1 item,) such as (.+)\.$", _put),
    (r"in `([^`]+)`, such as (\[.+\])\.$", _listed),
    (r"(?:Leave this out|; leave it out)", _drop),
    (r"Give either `(\w+)`.* or `(\w+)`", _first_of_two),
    (r"One of: ([a-z_0-9, ]+)\.", _one_of),
    (r"Must be one of: ([a-zA-Z_0-9, -]+)\.", _one_of),
    (r'Must be ("[^"]+"), ', _put),
    (r"Must be a whole number from (\d+) to", _put),
    (r"such as ([0-9.]+) for [0-9.]+%", _put),
    (r"Must be an amount in pounds, such as (\d+) or", _put),
    (r'Must be a date written YYYY-MM-DD, such as ("[^"]+")\.', _put),
    (r"Must be a PAYE code such as (\w+), ", _put_word),
    (r"Must be (true) or false", _put),
    (r"is before (1900-01-01), the earliest date accepted", _put_word),
    (r"Give at most (two|four|eight) decimals", _rounded),
    (r"Say which by place: (0) for the first", _put),
    (r"Say which by place, from (0) to \d+\.", _put),
    (r"whose place is (0)\.", _put),
    (r"Places are from (0) to \d+\.", _put),
    (r"[Aa]t most £([\d,.]+\d) (?:can be taken|after tax)", _amount),
    (r"Use `(\w+)`", _method),
    (r"Give `(\w+)` instead\.", _beside),
)
"""What sentences say, and what to do about it: the first that fits."""


def followed(body: Any, faults: list[dict[str, str]]) -> Any | None:
    """The request after every fault's sentence has been followed; None where one has no value, name or place to follow."""
    body = copy.deepcopy(body)
    changes: list[Change] = []
    for fault in faults:
        pointer = fault["pointer"].removeprefix("#")
        found = next(((step, match) for text, step in STEPS if (match := re.search(text, fault["detail"]))), None)
        if found is None or "..." in found[1].group():
            return None
        step, match = found
        changes += step(match, pointer, body)
    for pointer, value in changes:
        body = changed(body, pointer, value)
    return body
