"""Read one value from a file, by its kind. In a file money is in pounds and a rate is a fraction; read, money is whole
pence and a rate whole basis points, both exact."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from service.figures.keys import Key
from service.figures.reading import WrongValueError, read_day

_WHOLE = 10_000
_MOST_PENCE = 100_000_000 * 100
"""As much as an amount in a request may be."""
_NAME = re.compile(r"[a-z][a-z0-9_]*", re.ASCII)
_EMERGENCY_CODE = re.compile(r"[1-9][0-9]{0,3}L", re.ASCII)
_FLAT_RATE_CODE = re.compile(r"[SC]?(?:BR|D[0-9])", re.ASCII)


@dataclass(frozen=True, slots=True)
class Band:
    """One band: its rate in basis points, its upper limit in pence of taxable income (None for the last band)."""

    name: str
    rate: int
    up_to: int | None


Value = int | str | date | tuple[Band, ...] | Mapping[str, int]
"""Money in pence, a rate in basis points, a count, a word, a day, bands, or basis points by tax code."""


def read(value: Any, key: Key) -> Value:
    """A value of the kind that ``key`` asks for. WrongValueError with all its faults if it is not one."""
    found = _READERS[key.kind](value, key)
    if key.divides and (found == 0 or (key.kind == "rate" and found == _WHOLE)):
        raise WrongValueError(f"must be more than 0{' and less than 1' if key.kind == 'rate' else ''}, not {value}")
    return found


def _money(value: Any, _: Key) -> int:
    pence = _scaled(value, 100, "an amount of money", "2 decimals")
    if pence > _MOST_PENCE:
        raise WrongValueError(f"no figure is more than 100 million pounds, and {value} is")
    return pence


def _rate(value: Any, _: Key) -> int:
    basis_points = _scaled(value, _WHOLE, "a rate", "4 decimals")
    if basis_points > _WHOLE:
        raise WrongValueError(f"a rate is a fraction, 0.2 for 20%, and {value} is more than 1")
    return basis_points


def _scaled(value: Any, scale: int, what: str, decimals: str) -> int:
    """``value`` times ``scale`` as an exact whole number."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal) or not Decimal(value).is_finite():
        raise WrongValueError(f"must be {what}, not {value!r}")
    if value < 0:
        raise WrongValueError(f"must not be negative, and {value} is")
    numerator, denominator = value.as_integer_ratio()
    scaled, rest = divmod(numerator * scale, denominator)
    if rest:
        raise WrongValueError(f"{value} has more than {decimals}")
    return scaled


def _count(value: Any, _: Key) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise WrongValueError(f"must be a whole number, not {value!r}")
    if value < 0:
        raise WrongValueError(f"must not be negative, and {value} is")
    return value


def _day(value: Any, _: Key) -> date:
    return read_day(value)


def _text(value: Any, key: Key) -> str:
    if value not in key.words:
        raise WrongValueError(f"must be one of {', '.join(key.words)}, not {value!r}")
    return str(value)


def _code(value: Any, _: Key) -> str:
    if not isinstance(value, str) or not _EMERGENCY_CODE.fullmatch(value):
        raise WrongValueError(f"must be a code such as 1257L, not {value!r}")
    return value


def _bands(value: Any, key: Key) -> tuple[Band, ...]:
    if not isinstance(value, list) or not value:
        raise WrongValueError("must be a list of bands")
    faults: list[str] = []
    bands = []
    for position, table in enumerate(value, 1):
        try:
            bands.append(_band(table, key))
        except WrongValueError as error:
            faults.extend(f"band {position}: {fault}" for fault in error.args)
    if not faults:
        faults.extend(_faults_between(bands, key))
    if faults:
        raise WrongValueError(*faults)
    return tuple(bands)


def _band(table: Any, key: Key) -> Band:
    if not isinstance(table, dict):
        raise WrongValueError("must be a table with name, rate and, but for the last band, up_to")
    faults = [f"{part} is not a known part of a band" for part in table if part not in ("name", "rate", "up_to")]
    faults.extend(f"{part} is missing" for part in ("name", "rate") if part not in table)
    name, numbers = table.get("name"), {}
    if "name" in table and not (isinstance(name, str) and _NAME.fullmatch(name)):
        faults.append(f"name must be lower-case words joined by _, not {name!r}")
    for part, reader in (("rate", _rate), ("up_to", _money)):
        try:
            if part in table:
                numbers[part] = reader(table[part], key)
        except WrongValueError as error:
            faults.extend(f"{part}: {fault}" for fault in error.args)
    if faults:
        raise WrongValueError(*faults)
    return Band(str(name), numbers["rate"], numbers.get("up_to"))


def _faults_between(bands: list[Band], key: Key) -> Iterator[str]:
    """What is wrong with bands that are each right by themselves."""
    floor = 0
    for position, band in enumerate(bands[:-1], 1):
        if band.up_to is None:
            yield f"band {position}: up_to is missing, and only the last band goes without"
        elif band.up_to <= floor:
            yield f"band {position}: up_to is not above the band before: the bands are out of order"
        floor = band.up_to or floor
    if bands[-1].up_to is not None:
        yield f"band {len(bands)}: the last band must not have up_to"
    names = [band.name for band in bands]
    if len(set(names)) < len(names):
        yield "two bands have the same name"
    elif [name for name in names if name in key.words] != list(key.words):
        yield f"there must be these bands in this order: {', '.join(key.words)}"


def _rates(value: Any, key: Key) -> Mapping[str, int]:
    if not isinstance(value, dict):
        raise WrongValueError("must be a table of rates by tax code")
    faults = [f"{code} is missing" for code in key.words if code not in value]
    rates: dict[str, int] = {}
    for code, rate in value.items():
        if not _FLAT_RATE_CODE.fullmatch(code):
            faults.append(f"{code} is not a tax code with one rate")
        try:
            rates[code] = _rate(rate, key)
        except WrongValueError as error:
            faults.extend(f"{code}: {fault}" for fault in error.args)
    if faults:
        raise WrongValueError(*faults)
    return MappingProxyType(rates)


_READERS: Mapping[str, Callable[[Any, Key], Value]] = MappingProxyType(
    {
        "money": _money,
        "rate": _rate,
        "count": _count,
        "text": _text,
        "code": _code,
        "date": _day,
        "bands": _bands,
        "rates": _rates,
    }
)
