"""Proposed law: sets of figures that an operator puts beside those of the law as known, each under a name.

A folder holds a folder for each set, which is its name; in that ``law.toml`` says what the set is, and a file for each tax year
from which something changes holds what changes, in the form of the figures' own files. README.md beside this module shows one.

A proposed figure stands from the year of its file on, for as long as the known one does not change; where that changes later,
the set has to say what holds from then on. The rest of each year is the law as known.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from service.figures import tax_years
from service.figures.keys import KEYS
from service.figures.loader import (
    Figure,
    TaxYearFigures,
    check_shared_limits,
    figures_given,
    read_figure,
    tax_year_of,
)
from service.figures.reading import Faults, FiguresError, Standing, parsed, refuse_empty, refuse_unknown

KNOWN = "known"
"""The name of the law as known, which no set may have."""
NAME = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*", re.ASCII)
LONGEST_NAME, LONGEST_TITLE = 40, 100

_ABOUT = "law.toml"
_ABOUT_PARTS = ("title", "source")
_PROPOSED: tuple[Standing, ...] = ("proposed",)


@dataclass(frozen=True, slots=True)
class Difference:
    """A figure of a tax year in which the law as known and a proposed one are not the same."""

    tax_year: str
    known: Figure
    proposed: Figure


@dataclass(frozen=True, slots=True)
class ProposedLaw:
    """A set of proposed figures. ``title`` is what a client may read of it, and stands in a sentence after a colon; ``source`` is
    where it was proposed. ``years`` are all tax years under it, those of the law as known with what it changes."""

    name: str
    title: str
    source: str
    years: Mapping[str, TaxYearFigures]
    differences: tuple[Difference, ...]


@dataclass(slots=True)
class _Set:
    """What the files of a set say, by tax year: figures with their words as they stand there, and what is as known again."""

    stated: dict[str, dict[str, Figure]] = field(default_factory=dict)
    as_known: dict[str, frozenset[str]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def load_proposals(folder: Path, known: Mapping[str, TaxYearFigures]) -> Mapping[str, ProposedLaw]:
    """The sets of a folder by name, for the tax years of the law as known. FiguresError with all faults of all files."""
    if not folder.is_dir():
        raise FiguresError([f"{folder}: there is no such folder of proposed figures"])
    found: dict[str, ProposedLaw] = {}
    faults: list[str] = []
    # What a mounted volume or an editor puts there beside them begins with a point.
    for path in sorted(each for each in folder.iterdir() if not each.name.startswith(".")):
        try:
            found[path.name] = _proposed_law(path, known)
        except FiguresError as error:
            faults.extend(error.faults)
    if not found and not faults:
        faults.append(f"{folder}: there is no set of proposed figures here")
    if faults:
        raise FiguresError(faults)
    return MappingProxyType(found)


def _proposed_law(path: Path, known: Mapping[str, TaxYearFigures]) -> ProposedLaw:
    name, given = path.name, _Set()
    if not path.is_dir():
        raise FiguresError(
            [f"{name}: is a file; each set of proposed figures is a folder, and its name that of the law"]
        )
    if not NAME.fullmatch(name) or len(name) > LONGEST_NAME or name == KNOWN:
        given.faults.append(
            f"{name}: cannot be a law's name: at most {LONGEST_NAME} lower-case letters and digits, words joined by -, and not "
            f'"{KNOWN}"'
        )
    title, source = _about(path, given)
    for file in sorted(path.glob("*.toml")):
        if file.name != _ABOUT:
            _read(file, f"{name}/{file.name}", known, given)
    if not any(given.stated.values()) and not given.faults:
        given.faults.append(f"{name}: no file of a tax year, such as 2027-28.toml, says what changes")
    years = {} if given.faults else _years(name, title, known, given)
    if given.faults:
        raise FiguresError(given.faults)
    return ProposedLaw(name, title, source, MappingProxyType(years), tuple(_differences(known, years)))


def _about(path: Path, given: _Set) -> tuple[str, str]:
    """Title and source of a set."""
    file = path / _ABOUT
    faults = Faults(f"{path.name}/{_ABOUT}")
    table: dict[str, Any] = {}
    try:
        table = parsed(file.read_bytes(), faults.file)
        refuse_unknown(table, _ABOUT_PARTS, "the file", "part of this file", faults)
        refuse_empty(table, _ABOUT_PARTS, "the file", faults)
        for part in _ABOUT_PARTS:
            if part not in table:
                faults.add(part, "is missing")
        if len(str(table.get("title", ""))) > LONGEST_TITLE:
            faults.add("title", f"must be at most {LONGEST_TITLE} characters, as it stands in sentences")
    except FileNotFoundError:
        faults.add("title", "is missing: each set needs this file, with title and source")
    except FiguresError as error:
        given.faults.extend(error.faults)
    given.faults.extend(faults.found)
    return str(table.get("title", "")), str(table.get("source", ""))


def _read(file: Path, called: str, known: Mapping[str, TaxYearFigures], given: _Set) -> None:
    """What one file says, and its faults."""
    faults = Faults(called)
    tax_year = file.stem
    try:
        tables = parsed(file.read_bytes(), called)
    except FiguresError as error:
        given.faults.extend(error.faults)
        return
    if tax_year not in known:
        years = list(known)
        faults.add("tax_year", f"{tax_year} is not a tax year that is held: {years[0]} to {years[-1]} are")
    elif tables.get("tax_year") != tax_year:
        faults.add("tax_year", f'must be "{tax_year}" as the file\'s name is, not {tables.get("tax_year")!r}')
    if "unchanged" in tables:
        faults.add("unchanged", "is not for proposed figures: what a file does not state is as known")
    if not faults.found:
        _read_figures(tables, tax_year, faults, given)
    given.faults.extend(faults.found)


def _read_figures(tables: dict[str, Any], tax_year: str, faults: Faults, given: _Set) -> None:
    stated: dict[str, Figure] = {}
    entries = dict(figures_given(tables, faults))
    listed = tables.get("as_known", [])
    if not isinstance(listed, list) or not all(isinstance(name, str) for name in listed):
        faults.add("as_known", "must be a list of figures by dotted name")
        listed = []
    for name in (*entries, *listed):
        if name not in KEYS:
            faults.add(name, "is not a known figure")
        elif not KEYS[name].belongs_to(tax_year):
            faults.add(name, f"is not a figure of {tax_year}")
        elif name in entries and name in listed:
            faults.add(name, "is stated and said to be as known as well")
        elif name in entries:
            figure = read_figure(name, KEYS[name], entries[name], tax_year, faults, _PROPOSED)
            if figure is not None:
                stated[name] = figure
    if not entries and not listed:
        faults.add("the file", "states no figure")
    given.stated[tax_year], given.as_known[tax_year] = stated, frozenset(listed)


def _years(name: str, title: str, known: Mapping[str, TaxYearFigures], given: _Set) -> dict[str, TaxYearFigures]:
    """All tax years under a set. What the set leaves open is a fault of the file that it follows from."""
    years: dict[str, TaxYearFigures] = {}
    carried: dict[str, Figure] = {}
    before: TaxYearFigures | None = None
    for tax_year, year in known.items():
        stated, as_known = given.stated.get(tax_year, {}), given.as_known.get(tax_year, frozenset())
        faults = Faults(f"{name}/{tax_year}.toml")
        for each in sorted(as_known - carried.keys()):
            faults.add("as_known", f"{each} is as known already")
        carried = {each: figure for each, figure in carried.items() if each not in as_known and year.has(each)}
        for each, figure in carried.items():
            if each not in stated and before is not None and year.figures[each].value != before.figures[each].value:
                since = Faults(f"{name}/{figure.stated_in}.toml")
                since.add(
                    each,
                    f"the known figure changes in {tax_year}: state in {tax_year}.toml what is proposed from then on, or name "
                    "it in as_known there",
                )
                given.faults.extend(since.found)
        carried |= {each: _with_caveat(figure, title) for each, figure in stated.items()}
        figures: dict[str, Figure | None] = {**year.figures, **carried}
        if tax_year in given.stated:
            check_shared_limits(figures, faults)
        given.faults.extend(faults.found)
        years[tax_year] = tax_year_of(tax_year, figures)
        before = year
    return years


def _with_caveat(figure: Figure, title: str) -> Figure:
    """The figure with what a client has to know of it before anything else."""
    said = f"For {{tax_year}} this is a proposal and not law: {title.rstrip('.')}."
    return replace(figure, caveat=said if figure.caveat is None else f"{said} {figure.caveat}")


def _differences(known: Mapping[str, TaxYearFigures], years: Mapping[str, TaxYearFigures]) -> Iterable[Difference]:
    """Every proposed figure whose value is not the known one, by tax year, in the order of the files."""
    for tax_year, year in years.items():
        for key, figure in year.figures.items():
            was = known[tax_year].figures[key]
            if figure.standing in _PROPOSED and figure.value != was.value:
                yield Difference(tax_year, was, figure)


def first_year(law: ProposedLaw) -> str:
    """The first tax year in which anything is proposed."""
    return next(
        name
        for name, year in law.years.items()
        if any(figure.standing in _PROPOSED for figure in year.figures.values())
    )


def first_day(law: ProposedLaw) -> str:
    """From when it is proposed, as YYYY-MM-DD."""
    return tax_years.first_day(first_year(law)).isoformat()
