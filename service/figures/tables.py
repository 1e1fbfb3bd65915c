"""Read the tables that belong to no tax year: State Pension age by date of birth, what rises with prices, and how far the
reading of the law goes.

As strict as the loader of the tax years: a file in which anything is missing, unknown or wrong is refused with every
fault. In a file money is in pounds; loaded, it is whole pence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import Any

from service.figures.keys import KEYS
from service.figures.loader import FOLDER
from service.figures.reading import (
    AUTHORITY_PARTS,
    Authority,
    Faults,
    FiguresError,
    WrongValueError,
    parsed,
    read_authority,
    read_day,
    refuse_empty,
    refuse_unknown,
    version_of,
)

TABLES = FOLDER / "tables"
"""Where the tables of the service itself are."""

_ROW_PARTS = ("from", "to", "day", "age_years", "age_months", "reached_before")
_RISE_PARTS = ("limits", "tenth_of", "up_to_next", *AUTHORITY_PARTS)
_DATES = ("reached_from", "basic_for_all_born_before", "new_for_all_born_from")


@dataclass(frozen=True, slots=True)
class AgeRow:
    """State Pension age of those born from one day to another, both included (None: without a first or a last day).

    Exactly one of three is set. ``day``: the specified day on which all of them reach it. ``age``: the age at which
    each of them does, in years and months. ``reached_before``: all of them reached it before that day.
    """

    born_from: date | None
    born_to: date | None
    day: date | None
    age: tuple[int, int] | None
    reached_before: date | None
    authority: Authority


@dataclass(frozen=True, slots=True)
class StatePensionAges:
    """The whole table of State Pension age, and what decides which State Pension a person has.

    ``rows`` are in order of birth and leave no day out. Reaching the age on or after ``new_from`` gives the new State
    Pension, before it the basic one; so that everyone born before ``basic_for_all_born_before`` has the basic and
    everyone born on or after ``new_for_all_born_from`` the new one, and between them it depends on sex.
    """

    rows: tuple[AgeRow, ...]
    new_from: date
    basic_for_all_born_before: date
    new_for_all_born_from: date
    new_authority: Authority
    version: str


@dataclass(frozen=True, slots=True)
class Rise:
    """How one figure rises with prices: up to the next multiple of ``up_to_next``, in pence.

    ``limits`` names the bands whose upper limit rises and is empty for an amount. ``tenth_of`` names the figure of
    which this one stays a tenth. ``authority`` is that of the rule, not of the figure.
    """

    name: str
    limits: tuple[str, ...]
    tenth_of: str | None
    up_to_next: int
    authority: Authority


@dataclass(frozen=True, slots=True)
class RisingWithPrices:
    """What becomes of the figures after the last file: ``rises`` by dotted name; ``stands`` are those without an end."""

    rises: Mapping[str, Rise]
    stands: frozenset[str]
    version: str


@dataclass(frozen=True, slots=True)
class LawAsOf:
    """How far the reading of the law goes: the date of the newest official text read for the figures, and which it is."""

    day: date
    source: str
    version: str


def load_law_as_of(path: Path = TABLES / "law_as_of.toml") -> LawAsOf:
    """How far the reading of the law goes. FiguresError with all faults of the file."""
    table, version = _read(path)
    faults = Faults(path.name)
    refuse_unknown(table, ("day", "source"), "the file", "part of this file", faults)
    refuse_empty(table, ("source",), "the file", faults)
    for part in ("day", "source"):
        if part not in table:
            faults.add("the file", f"{part} is missing")
    day = _date(table, "day", "the file", faults)
    if faults.found or day is None:
        raise FiguresError(faults.found)
    return LawAsOf(day, table["source"], version)


def load_state_pension_ages(path: Path = TABLES / "state_pension_age.toml") -> StatePensionAges:
    """The table of State Pension age. FiguresError with all faults of the file."""
    tables, version = _read(path)
    faults = Faults(path.name)
    refuse_unknown(tables, ("new_state_pension", "ages"), "the file", "part of this file", faults)
    rows = _rows(tables.get("ages"), faults)
    decided = _which_state_pension(tables.get("new_state_pension"), faults)
    if faults.found or decided is None:
        raise FiguresError(faults.found)
    (new_from, basic_before, new_born_from), authority = decided
    return StatePensionAges(tuple(rows), new_from, basic_before, new_born_from, authority, version)


def load_rising_with_prices(path: Path = TABLES / "rising_with_prices.toml") -> RisingWithPrices:
    """Which figures rise with prices, and which stand until changed. FiguresError with all faults of the file."""
    tables, version = _read(path)
    faults = Faults(path.name)
    stands = _stands(tables.pop("stands_until_changed", None), faults)
    rises: dict[str, Rise] = {}
    for section, content in tables.items():
        if not isinstance(content, dict):
            faults.add(section, "is not a known part of this file")
            continue
        for key, table in content.items():
            rise = _rise(f"{section}.{key}", table, faults)
            if rise is not None:
                rises[rise.name] = rise
    if not faults.found:
        _check_between(rises, stands, faults)
    if faults.found:
        raise FiguresError(faults.found)
    return RisingWithPrices(MappingProxyType(rises), stands, version)


def _read(path: Path) -> tuple[dict[str, Any], str]:
    """What a file holds, and the version that follows from that and from nothing else."""
    tables = parsed(path.read_bytes(), path.name)
    return tables, version_of(ascii(tables))


def _date(table: Mapping[str, Any], part: str, where: str, faults: Faults) -> date | None:
    """A day, or None where it is not given, or with the fault noted where it is no day."""
    if part not in table:
        return None
    try:
        return read_day(table[part])
    except WrongValueError as error:
        faults.add(where, f"{part} {error}")
        return None


def _which_state_pension(table: Any, faults: Faults) -> tuple[tuple[date, date, date], Authority] | None:
    """The three days in the order of ``_DATES``, and their authority; None with the faults noted."""
    where = "new_state_pension"
    if not isinstance(table, dict):
        faults.add(where, f"must be a table with {', '.join(_DATES)}, source and standing")
        return None
    refuse_unknown(table, (*_DATES, *AUTHORITY_PARTS), where, "part of it", faults)
    for part in _DATES:
        if part not in table:
            faults.add(where, f"{part} is missing")
    new_from, basic_before, new_born_from = (_date(table, part, where, faults) for part in _DATES)
    authority = read_authority(table, where, faults)
    if new_from is None or basic_before is None or new_born_from is None or authority is None:
        return None
    if not basic_before <= new_born_from < new_from:
        faults.add(
            where, "basic_for_all_born_before must not be after new_for_all_born_from, nor that after reached_from"
        )
    return (new_from, basic_before, new_born_from), authority


def _rows(groups: Any, faults: Faults) -> list[AgeRow]:
    """The rows of all groups in order; complete only if there are no faults."""
    rows: list[AgeRow] = []
    if not isinstance(groups, list) or not groups:
        faults.add("ages", "must be a list of groups of rows")
        return rows
    before = len(faults.found)
    for number, group in enumerate(groups, 1):
        rows.extend(_group(group, f"ages: group {number}", faults))
    if len(faults.found) == before:
        _check_order(rows, faults)
    return rows


def _group(group: Any, where: str, faults: Faults) -> list[AgeRow]:
    if not isinstance(group, dict):
        faults.add(where, "must be a table with source, standing and rows")
        return []
    refuse_unknown(group, ("rows", *AUTHORITY_PARTS), where, "part of a group", faults)
    authority = read_authority(group, where, faults)
    given = group.get("rows")
    if not isinstance(given, list) or not given:
        faults.add(where, "rows must be a list of rows")
        return []
    rows = [_row(row, f"{where}, row {number}", authority, faults) for number, row in enumerate(given, 1)]
    return [row for row in rows if row is not None]


def _row(table: Any, where: str, authority: Authority | None, faults: Faults) -> AgeRow | None:
    """One row of a group, or None with its faults noted, or where its group has no authority."""
    before = len(faults.found)
    if not isinstance(table, dict):
        faults.add(where, "must be a table with from, to, and a day or an age")
        return None
    refuse_unknown(table, _ROW_PARTS, where, "part of a row", faults)
    born_from, born_to, day, reached_before = (
        _date(table, part, where, faults) for part in ("from", "to", "day", "reached_before")
    )
    if sum(part in table for part in ("day", "age_years", "reached_before")) != 1:
        faults.add(where, "must have exactly one of day, age_years and reached_before")
    if born_from is not None and born_to is not None and born_to < born_from:
        faults.add(where, "to is before from")
    if day is not None and born_to is not None and day <= born_to:
        faults.add(where, "day must be after the births")
    age = _age(table, where, faults)
    if authority is None or len(faults.found) > before:
        return None
    return AgeRow(born_from, born_to, day, age, reached_before, authority)


def _age(table: Mapping[str, Any], where: str, faults: Faults) -> tuple[int, int] | None:
    """An age in years and months, or None where none is given or with its faults noted."""
    if "age_years" not in table:
        if "age_months" in table:
            faults.add(where, "age_months needs age_years")
        return None
    years, months = table["age_years"], table.get("age_months", 0)
    # True and False are whole numbers to Python, and are no ages.
    if type(years) is not int or not 0 < years < 120:
        faults.add(where, f"age_years must be a whole number of years from 1 to 119, not {years!r}")
        return None
    if type(months) is not int or not 0 <= months < 12:
        faults.add(where, f"age_months must be a whole number of months from 0 to 11, not {months!r}")
        return None
    return years, months


def _check_order(rows: Sequence[AgeRow], faults: Faults) -> None:
    """Every day of birth stands in one row, and who is born later has no lower age and no earlier day."""
    last = len(rows)
    highest_age, latest_day = (0, 0), date.min
    for number, row in enumerate(rows, 1):
        where = f"ages: row {number} of all"
        if number == 1 and row.born_from is not None:
            faults.add(where, "the first row must not have from")
        if number > 1:
            ended = rows[number - 2].born_to
            if ended is None or row.born_from != ended + timedelta(days=1):
                faults.add(where, "from must be the day after the row before ends")
            if row.reached_before is not None:
                faults.add(where, "only the first row may have reached_before")
        if (row.born_to is None) != (number == last):
            faults.add(where, "the last row, and only the last, goes without to")
        if row.age is not None:
            if row.age <= highest_age:
                faults.add(where, "the age is not above the one before: the rows are out of order")
            highest_age = row.age
        if row.day is not None:
            if row.day <= latest_day:
                faults.add(where, "the day is not after the one before: the rows are out of order")
            latest_day = row.day


def _stands(names: Any, faults: Faults) -> frozenset[str]:
    where = "stands_until_changed"
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        faults.add(where, "must be a list of figures by dotted name")
        return frozenset()
    for name in names:
        if name not in KEYS:
            faults.add(where, f"{name} is not a known figure")
    if len(set(names)) < len(names):
        faults.add(where, "a figure stands here twice")
    return frozenset(names)


def _rise(name: str, table: Any, faults: Faults) -> Rise | None:
    """How one figure rises, or None with its faults noted."""
    before = len(faults.found)
    key = KEYS.get(name)
    if key is None:
        faults.add(name, "is not a known figure")
        return None
    if key.kind not in ("money", "bands"):
        faults.add(name, f"is a figure of the kind {key.kind}, which cannot rise with prices")
        return None
    if not isinstance(table, dict):
        faults.add(name, "must be a table with up_to_next, source and standing")
        return None
    refuse_unknown(table, _RISE_PARTS, name, "part of a rise", faults)
    up_to_next = table.get("up_to_next")
    if type(up_to_next) is not int or up_to_next < 1:
        faults.add(name, f"up_to_next must be a whole number of pounds from 1, not {up_to_next!r}")
    limits = _limits(table, name, faults)
    tenth_of = table.get("tenth_of")
    if "tenth_of" in table and (key.kind != "money" or not isinstance(tenth_of, str)):
        faults.add(name, "tenth_of must name an amount of which another amount is a tenth")
    authority = read_authority(table, name, faults)
    if authority is None or len(faults.found) > before or not isinstance(up_to_next, int):
        return None
    return Rise(name, limits, tenth_of, up_to_next * 100, authority)


def _limits(table: Mapping[str, Any], name: str, faults: Faults) -> tuple[str, ...]:
    """The bands whose limit rises: some of those that a file must hold, in their order, and never the last."""
    key = KEYS[name]
    if key.kind == "money":
        if "limits" in table:
            faults.add(name, "limits is for bands, and this is an amount")
        return ()
    limits, possible = table.get("limits"), key.words[:-1]
    if not isinstance(limits, list) or not limits or limits != [word for word in possible if word in limits]:
        faults.add(name, f"limits must be some of {', '.join(possible)}, in this order, not {limits!r}")
        return ()
    return tuple(limits)


def _check_between(rises: Mapping[str, Rise], stands: frozenset[str], faults: Faults) -> None:
    """What is wrong with entries that are each right by themselves."""
    for name, rise in rises.items():
        if name in stands:
            faults.add(name, "cannot both rise and stand until changed")
        whole = rises.get(rise.tenth_of) if rise.tenth_of is not None else None
        if rise.tenth_of is not None and (whole is None or whole.limits or whole.tenth_of is not None):
            faults.add(name, f"tenth_of: {rise.tenth_of} is not an amount that rises by itself")
    for name, key in KEYS.items():
        if key.limits_of is not None and _manner(name, rises) != _manner(key.limits_of, rises):
            faults.add(name, f"the limits do not rise as those of {key.limits_of} do")


def _manner(name: str, rises: Mapping[str, Rise]) -> tuple[list[int], int] | None:
    """Which limits rise, by their place, and to what rounding; None if none does."""
    rise = rises.get(name)
    if rise is None:
        return None
    return [KEYS[name].words.index(band) for band in rise.limits], rise.up_to_next
