"""Read the dated figures, one TOML file per tax year, and refuse a file in which anything is missing, unknown or wrong.

The first year's file states every figure. Each later one states those that are new or changed and names all others as
unchanged; README.md beside the files shows how. ``KEYS`` says which figures a tax year has; a new tax year is one new
file and no code.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from service.figures import tax_years, values
from service.figures.keys import KEYS, Key
from service.figures.reading import (
    AUTHORITY_PARTS,
    HELD,
    STANDINGS,
    Faults,
    FiguresError,
    Standing,
    WrongValueError,
    parsed,
    read_authority,
    refuse_empty,
    refuse_unknown,
    version_of,
)
from service.figures.values import Band, Value

# What the layers above need of the figures, they find here.
__all__ = [
    "FOLDER",
    "KEYS",
    "STANDINGS",
    "Band",
    "Figure",
    "FiguresError",
    "Standing",
    "TaxYearFigures",
    "Value",
    "load_tax_years",
    "years_version",
]

FOLDER = Path(__file__).resolve().parent
"""Where the files of the service itself are."""

_STANDING_GROUPS = ("income_tax.", "payroll.", "pension.")  # the figures that decide the standing of a whole year
_NOT_SECTIONS = ("tax_year", "unchanged", "as_known")
_TAX_YEAR = "{tax_year}"  # in the words of a file: the tax year that they are read for


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of one tax year. ``caveat`` is a sentence that a client may read, where something is not certain for the
    client; ``evidence`` says how the figure was found, for whoever checks it; ``note`` is for the curious;
    ``stated_in`` is the tax year whose file says all this, an earlier one where nothing has changed since."""

    name: str
    value: Value
    source: str
    standing: Standing
    evidence: str | None
    caveat: str | None
    note: str | None
    stated_in: str

    @property
    def kind(self) -> str:
        """What the value is; see ``Key``."""
        return KEYS[self.name].kind


@dataclass(frozen=True, slots=True)
class TaxYearFigures:
    """One tax year's figures by dotted name, in the order of ``KEYS``.

    ``name`` is such as "2026-27"; ``start`` is its 6 April and ``end`` the 5 April after. ``standing`` is the weakest
    standing among the income tax, payroll and pension figures. ``version`` follows from everything that the figures say,
    wherever it is stated, and from nothing else: a comment in a file leaves it. ``worked_out`` keeps what follows from the
    figures alone, by their names, for whoever asks for it often; it goes with them.
    A look-up raises KeyError for a figure the year does not have and TypeError for one of another kind.
    """

    name: str
    figures: Mapping[str, Figure]
    start: date
    end: date
    standing: Standing
    version: str
    worked_out: dict[tuple[str, ...], Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    def has(self, name: str) -> bool:
        """Whether the year has this figure."""
        return name in self.figures

    def money(self, name: str) -> int:
        """An amount in pence."""
        amount: int = self._value(name, "money")
        return amount

    def rate(self, name: str) -> int:
        """A rate in basis points."""
        rate: int = self._value(name, "rate")
        return rate

    def count(self, name: str) -> int:
        """A whole number, such as an age in years."""
        count: int = self._value(name, "count")
        return count

    def text(self, name: str) -> str:
        """A word, or an emergency tax code."""
        text: str = self._value(name, "text", "code")
        return text

    def day(self, name: str) -> date:
        """A day."""
        day: date = self._value(name, "date")
        return day

    def bands(self, name: str) -> tuple[Band, ...]:
        """Bands in ascending order."""
        bands: tuple[Band, ...] = self._value(name, "bands")
        return bands

    def rates(self, name: str) -> Mapping[str, int]:
        """Rates in basis points by tax code."""
        rates: Mapping[str, int] = self._value(name, "rates")
        return rates

    def _value(self, name: str, *kinds: str) -> Any:
        figure = self.figures[name]
        if figure.kind not in kinds:
            raise TypeError(f"{name} is {figure.kind}, not {kinds[0]}")
        return figure.value


_Stated = Mapping[str, Figure | None]
"""The figures of a tax year, their words as they stand in a file; None for one whose fault has been told."""


def load_tax_years(folder: Path = FOLDER) -> Mapping[str, TaxYearFigures]:
    """Every tax year that has a file in ``folder``, oldest first. FiguresError with all faults of all files.

    A file that is not TOML ends the reading, as nothing can be said of the years after it.
    """
    stated: dict[str, _Stated] = {}
    faults: list[str] = []
    for path in sorted(folder.glob("*.toml")):
        found = Faults(path.name)
        try:
            tax_years.starts_in(path.stem)
        except ValueError:
            faults.append(f"{path.name}: the file's name is not a tax year such as 2026-27")
            continue
        try:
            tables = parsed(path.read_bytes(), path.name)
        except FiguresError as error:
            faults.extend(error.faults)
            break
        stated[path.stem] = _stated(tables, path.stem, stated, found)
        faults.extend(found.found)
    if not stated and not faults:
        faults.append(f"{folder.name}: there is no file of figures here")
    if faults:
        raise FiguresError(faults)
    return MappingProxyType({name: tax_year_of(name, figures) for name, figures in stated.items()})


def years_version(years: Mapping[str, TaxYearFigures]) -> str:
    """One version for all these tax years together: it changes when any figure of any of them does."""
    return _version(f"{year.name} {year.version}\n" for year in sorted(years.values(), key=lambda year: year.name))


def _version(texts: Iterable[str]) -> str:
    return version_of("".join(texts))


def tax_year_of(name: str, stated: Mapping[str, Figure | None]) -> TaxYearFigures:
    """A tax year from what files without faults say, each figure in the words of the year."""
    figures = {key: _in_words_of(name, figure) for key, figure in stated.items() if figure is not None}
    deciding = (figure.standing for key, figure in figures.items() if key.startswith(_STANDING_GROUPS))
    return TaxYearFigures(
        name=name,
        figures=MappingProxyType(figures),
        start=tax_years.first_day(name),
        end=tax_years.last_day(name),
        standing=max(deciding, key=STANDINGS.index),
        version=_version(map(_canonical, figures.values())),
    )


def _in_words_of(tax_year: str, figure: Figure) -> Figure:
    """A figure whose words name the tax year, where they are to."""

    def worded(text: str | None) -> str | None:
        return None if text is None else text.replace(_TAX_YEAR, tax_year)

    return replace(
        figure,
        source=figure.source.replace(_TAX_YEAR, tax_year),
        evidence=worded(figure.evidence),
        caveat=worded(figure.caveat),
        note=worded(figure.note),
    )


def _canonical(figure: Figure) -> str:
    """All that a figure says, on one line: the same for the same figure, different for any other."""
    value = figure.value
    plain: object = value
    if isinstance(value, tuple):
        plain = [(band.name, band.rate, band.up_to) for band in value]
    elif isinstance(value, Mapping):
        plain = list(value.items())
    elif isinstance(value, date):
        plain = value.isoformat()
    return f"{(figure.name, plain, figure.source, figure.standing, figure.evidence, figure.caveat, figure.note)!a}\n"


def _stated(
    tables: dict[str, Any], tax_year: str, years: Mapping[str, _Stated], faults: Faults
) -> dict[str, Figure | None]:
    """The figures of a tax year from its file and, where unchanged, the year before; ``years`` are those already read."""
    before = list(years)[-1] if years else None
    if tables.get("tax_year") != tax_year:
        faults.add("tax_year", f'must be "{tax_year}" as the file\'s name is, not {tables.get("tax_year")!r}')
    if before is not None and tax_years.following(before) != tax_year:
        faults.add("tax_year", f"is not the one after {before}, which is the file before this")
    if "as_known" in tables:
        faults.add("as_known", "is not a known section")
    given = dict(figures_given(tables, faults))
    unchanged = _unchanged(tables.get("unchanged", []), tax_year, before, faults)
    for name in given:
        if name not in KEYS:
            faults.add(name, "is not a known figure")
        elif not KEYS[name].belongs_to(tax_year):
            faults.add(name, f"is not a figure of {tax_year}")
        elif name in unchanged:
            faults.add(name, "is stated and said to be unchanged as well")
    figures: dict[str, Figure | None] = {}
    for name, key in KEYS.items():
        if not key.belongs_to(tax_year):
            continue
        if name in given:
            figures[name] = read_figure(name, key, given[name], tax_year, faults)
        elif name in unchanged:
            figures[name] = years[before].get(name) if before is not None else None
        else:
            faults.add(
                name, "is missing" if before is None else "is missing: it is neither stated nor said to be unchanged"
            )
    check_shared_limits(figures, faults, tax_year)
    return figures


def figures_given(tables: dict[str, Any], faults: Faults) -> Iterator[tuple[str, Any]]:
    """What stands in the sections of a file, by dotted name."""
    for section, content in tables.items():
        if section in _NOT_SECTIONS:
            continue
        if not isinstance(content, dict):
            faults.add(section, "is not a known section")
            continue
        for key, figure in content.items():
            yield f"{section}.{key}", figure


def _unchanged(listed: Any, tax_year: str, before: str | None, faults: Faults) -> frozenset[str]:
    """The figures that a file says are those of the year before, with every fault noted."""
    where = "unchanged"
    if not isinstance(listed, list) or not all(isinstance(name, str) for name in listed):
        faults.add(where, "must be a list of figures by dotted name")
        return frozenset()
    if listed and before is None:
        faults.add(where, "must not be in the first year's file, which states every figure")
    for position, name in enumerate(listed):
        if name in listed[:position]:
            faults.add(where, f"{name} stands here twice")
        elif name not in KEYS:
            faults.add(where, f"{name} is not a known figure")
        elif not KEYS[name].belongs_to(tax_year):
            faults.add(where, f"{name} is not a figure of {tax_year}")
        elif before is not None and not KEYS[name].belongs_to(before):
            faults.add(where, f"{name} is not a figure of {before}, so it must be stated")
    return frozenset(listed)


def read_figure(
    name: str, key: Key, table: Any, tax_year: str, faults: Faults, standings: Sequence[Standing] = HELD
) -> Figure | None:
    """One figure from its table, or None with its faults noted."""
    before = len(faults.found)
    if not isinstance(table, dict):
        faults.add(name, "must be a table with value, source and standing")
        return None
    refuse_unknown(table, ("value", "note", *AUTHORITY_PARTS), name, "part of a figure", faults)
    stands = read_authority(table, name, faults, standings)
    refuse_empty(table, ("note",), name, faults)
    for part in ("source", "evidence", "caveat", "note"):
        left = str(table.get(part, "")).replace(_TAX_YEAR, "")
        if "{" in left or "}" in left:
            faults.add(name, f"{part}: what stands in braces can only be {_TAX_YEAR}")
    value: Value | None = None
    if "value" not in table:
        faults.add(name, "value is missing")
    else:
        try:
            value = values.read(table["value"], key)
        except WrongValueError as error:
            for fault in error.args:
                faults.add(name, fault)
    if value is None or stands is None or len(faults.found) > before:
        return None
    return Figure(
        name, value, stands.source, stands.standing, stands.evidence, stands.caveat, table.get("note"), tax_year
    )


def check_shared_limits(figures: _Stated, faults: Faults, tax_year: str | None = None) -> None:
    """Savings, dividends and property are charged in the bands of ITA 2007 s.10, whatever their rates. Of those alone that the
    file of a tax year states, where one is given."""
    for name, figure in figures.items():
        shared = KEYS[name].limits_of
        other = figures.get(shared) if shared is not None else None
        # Where this file states neither, the file that does has been refused already.
        if figure is None or other is None or tax_year not in (None, figure.stated_in, other.stated_in):
            continue
        if _limits(figure.value) != _limits(other.value):
            faults.add(name, f"the limits are not those of {shared}")


def _limits(bands: Any) -> list[int | None]:
    return [band.up_to for band in bands]
