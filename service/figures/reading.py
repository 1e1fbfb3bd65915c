"""What all files of figures share: how one is opened, how its faults are told, and how a day and an authority are read."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from hashlib import sha256
from typing import Any, Literal, get_args

Standing = Literal["enacted", "announced", "assumed", "proposed"]
"""How firm something is, strongest first.

"enacted": in an Act, an instrument or a resolution. "announced": published by government, not seen as law. "assumed":
not set or not published, so that the last known value is carried forward. "proposed": put beside the law as known, to see
what it would change (``proposals.py``).
"""

STANDINGS: tuple[Standing, ...] = get_args(Standing)
HELD: tuple[Standing, ...] = STANDINGS[:-1]
"""Those of the law as known: in its files nothing is proposed."""

AUTHORITY_PARTS = ("source", "standing", "evidence", "caveat")
"""The names in a file of what ``read_authority`` reads."""

_VERSION_DIGITS = 12


class FiguresError(ValueError):
    """Files of figures that cannot be used. ``faults`` holds a sentence for each: the file, the key, what is wrong."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


class WrongValueError(Exception):
    """A value that cannot be used; the arguments are its faults."""


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong with one file, gathered while it is read."""

    file: str
    found: list[str] = field(default_factory=list)

    def add(self, key: str, fault: str) -> None:
        self.found.append(f"{self.file}: {key}: {fault}")


@dataclass(frozen=True, slots=True)
class Authority:
    """Where something comes from, how firm it is (see ``Standing``), how it was found, and what is not certain about it.

    ``evidence`` is for whoever checks the figures. ``caveat`` is a sentence that a client may read.
    """

    source: str
    standing: Standing
    evidence: str | None
    caveat: str | None


def version_of(text: str) -> str:
    """The version of what a text says: the first digits of its SHA-256, after a letter, so that no program takes it for a
    number."""
    return "f" + sha256(text.encode("utf-8")).hexdigest()[:_VERSION_DIGITS]


def parsed(content: bytes, file: str) -> dict[str, Any]:
    """What a TOML file holds, decimals exact. FiguresError naming the ``file`` if it is not TOML."""
    try:
        return tomllib.loads(content.decode("utf-8"), parse_float=Decimal)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise FiguresError([f"{file}: not a TOML file: {error}"]) from error


def refuse_unknown(table: Mapping[str, Any], parts: Sequence[str], where: str, what: str, faults: Faults) -> None:
    """Note a fault for each name in a table that is none of ``parts``."""
    for part in table:
        if part not in parts:
            faults.add(where, f"{part} is not a known {what}")


def refuse_empty(table: Mapping[str, Any], parts: Sequence[str], where: str, faults: Faults) -> None:
    """Note a fault for each of ``parts`` that is in a table and is not a text that says something."""
    for part in parts:
        if part in table and not (isinstance(table[part], str) and table[part].strip()):
            faults.add(where, f"{part} must be a text that is not empty")


def read_authority(
    table: Mapping[str, Any], where: str, faults: Faults, standings: Sequence[Standing] = HELD
) -> Authority | None:
    """Source, standing (one of those that may stand there), evidence and caveat of a table, or None with its faults noted."""
    before = len(faults.found)
    refuse_empty(table, ("source", "evidence", "caveat"), where, faults)
    if "source" not in table:
        faults.add(where, "source is missing")
    standing = table.get("standing")
    if standing not in standings:
        which = standings[0] if len(standings) == 1 else f"one of {', '.join(standings)}"
        faults.add(where, f"standing must be {which}, not {standing!r}")
    if standing == "assumed" and "caveat" not in table:
        faults.add(where, "caveat is missing: what is assumed must say what is not set")
    if standing == "announced" and "caveat" not in table:
        faults.add(where, "caveat is missing: what is announced must say what is not law")
    if len(faults.found) > before:
        return None
    return Authority(table["source"], table["standing"], table.get("evidence"), table.get("caveat"))


def read_day(value: Any) -> date:
    """A day as TOML writes it. WrongValueError for anything else."""
    # A day with a time of day is a kind of date to Python, and is none here.
    if type(value) is not date:
        raise WrongValueError(f"must be a day such as 2026-04-06, without quotes, not {value!r}")
    return value
