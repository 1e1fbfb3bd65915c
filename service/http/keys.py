"""The file of callers' keys. ``python -m service.http.new_key NAME`` makes a key and its entry.

The file holds no keys, only their hashes, so whoever reads it can call nothing. It is TOML, one table for each key:

    [[keys]]
    name = "client-portal"
    sha256 = "..."
    operations = ["withdrawal-tax", "warnings"]
    bulk_max_records = 0
    at_once = 2
    rate = "600/minute"

``name`` stands in the log. What may be left out: ``operations``, for all calculations; ``bulk_max_records``, for as many as the
service takes (0 is no bulk at all); ``at_once``, requests under way, and ``rate``, for no bound of the key's own.
``"metrics"`` among the operations lets a key read the metrics, and has to be named.

A key is 256 random bits, so one round of SHA-256 protects it: nobody can try them all, as they could passwords.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

METRICS = "metrics"
"""The operation that reads the metrics."""
NAME = re.compile(r"[a-z0-9][a-z0-9._-]{0,59}")
_HASH = re.compile(r"[0-9a-f]{64}")
_RATE = re.compile(r"[1-9][0-9]{0,8}/(second|minute|hour|day)")
_FIELDS = ("name", "sha256", "operations", "bulk_max_records", "at_once", "rate")
_MOST_AT_ONCE = 64


class KeysError(ValueError):
    """The file of keys cannot be used; the message is one line for the operator."""


@dataclass(frozen=True, slots=True)
class Key:
    """Who calls, and what they may do. ``operations`` are names of calculations; None where a bound is not set."""

    name: str
    digest: bytes
    operations: frozenset[str]
    bulk_max_records: int | None = None
    at_once: int | None = None
    rate: str | None = None


def read_keys(path: Path, operations: Iterable[str]) -> tuple[Key, ...]:
    """The keys of a file, where ``operations`` are all that there are. KeysError with the first fault."""
    try:
        document = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise KeysError(f"the file of keys {path} cannot be read (SERVICE_KEYS_FILE): {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise KeysError(f"the file of keys {path} is not TOML: {error}") from None
    tables = document.get("keys")
    if set(document) != {"keys"} or not isinstance(tables, list) or not tables:
        raise KeysError(f"the file of keys {path} must hold tables [[keys]], at least one, and nothing else")
    known = tuple(operations)
    keys = tuple(_key(table, f"key {number} of {path}", known) for number, table in enumerate(tables, 1))
    for what, values in (("name", [key.name for key in keys]), ("sha256", [key.digest for key in keys])):
        if len(set(values)) < len(values):
            raise KeysError(f"two keys of {path} have the same {what}")
    return keys


def _key(table: Any, place: str, known: tuple[str, ...]) -> Key:
    if not isinstance(table, dict):
        raise KeysError(f"{place} must be a table")
    unknown = sorted(set(table) - set(_FIELDS))
    if unknown:
        raise KeysError(f"{place} has the unknown field {unknown[0]}; known are {', '.join(_FIELDS)}")
    return Key(
        name=_text(table, "name", NAME, f"{place}: name must be 1 to 60 small letters, digits, dots or dashes"),
        digest=bytes.fromhex(_text(table, "sha256", _HASH, f"{place}: sha256 must be 64 hexadecimal digits")),
        operations=_operations(table, place, known),
        bulk_max_records=_number(table, "bulk_max_records", 0, 1_000_000, place),
        at_once=_number(table, "at_once", 1, _MOST_AT_ONCE, place),
        rate=_text(table, "rate", _RATE, f"{place}: rate must be as 600/minute, with second, minute, hour or day")
        if "rate" in table
        else None,
    )


def _text(table: Mapping[str, Any], field: str, form: re.Pattern[str], fault: str) -> str:
    value = table.get(field)
    if not isinstance(value, str) or not form.fullmatch(value):
        raise KeysError(fault)
    return value


def _number(table: Mapping[str, Any], field: str, least: int, most: int, place: str) -> int | None:
    value = table.get(field)
    if value is None:
        return None
    if type(value) is not int or not least <= value <= most:
        raise KeysError(f"{place}: {field} must be a whole number from {least} to {most}")
    return value


def _operations(table: Mapping[str, Any], place: str, known: tuple[str, ...]) -> frozenset[str]:
    named = table.get("operations", list(known))
    if not isinstance(named, list) or not named or any(name not in (*known, METRICS) for name in named):
        raise KeysError(f"{place}: operations must be a list of some of {', '.join((*known, METRICS))}")
    return frozenset(named)


def digest_of(key: str) -> bytes:
    """The hash by which a key is known."""
    return hashlib.sha256(key.encode("utf-8", "surrogateescape")).digest()


def found(keys: tuple[Key, ...], sent: str) -> Key | None:
    """The key that was sent, or None. Every key is compared, in constant time."""
    digest, match = digest_of(sent), None
    for key in keys:
        if hmac.compare_digest(key.digest, digest):
            match = key
    return match
