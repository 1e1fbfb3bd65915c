"""The figures in the form of their files: a whole tax year, one figure in all of them, and a file for the year to come."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal

from service.figures import tax_years
from service.figures.keys import KEYS
from service.figures.loader import Figure, TaxYearFigures
from service.figures.values import Band


def whole_year(year: TaxYearFigures) -> str:
    """Every figure of a tax year, and the year whose file states it: a file that could stand alone, as the first does."""
    entries = (
        f"\n# stated in {figure.stated_in}\n[{figure.name}]\n{_entry(figure)}" for figure in year.figures.values()
    )
    return (
        f"# The tax year from {_day(year.start)} to {_day(year.end)}, whole. "
        f"Standing: {year.standing}. Version: {year.version}.\n"
        f'\ntax_year = "{year.name}"\n{"".join(entries)}'
    )


def history(years: Mapping[str, TaxYearFigures], name: str) -> str:
    """A figure in all tax years: one entry for each file that states it, its words those of the first year it is for.

    KeyError for a name that is no figure's.
    """
    kind = KEYS[name].kind
    return f"# {name} ({kind})\n" + "".join(
        f"\n# {first if first == last else f'{first} to {last}'}, stated in {figure.stated_in}\n{_entry(figure)}"
        for first, last, figure in _runs(years, name)
    )


def year_to_come(last: TaxYearFigures) -> str:
    """A file for the tax year after ``last`` in which nothing has changed, to begin with."""
    name = tax_years.following(last.name)
    first_day, last_day = tax_years.first_day(name), tax_years.last_day(name)
    unchanged = (figure for figure in last.figures if KEYS[figure].belongs_to(name))
    return (
        f"# The tax year from {_day(first_day)} to {_day(last_day)}: what is not as in {last.name}. "
        "README.md explains the files.\n\n"
        f'tax_year = "{name}"\n\nunchanged = [\n' + "".join(f'    "{figure}",\n' for figure in unchanged) + "]\n"
    )


def _runs(years: Mapping[str, TaxYearFigures], name: str) -> Iterator[tuple[str, str, Figure]]:
    """The first and the last tax year for which a file's entry stands, and the entry in the words of the first."""
    of_one_file: dict[str, list[TaxYearFigures]] = {}
    for year in years.values():
        if year.has(name):
            of_one_file.setdefault(year.figures[name].stated_in, []).append(year)
    for run in of_one_file.values():
        yield run[0].name, run[-1].name, run[0].figures[name]


def _entry(figure: Figure) -> str:
    words = {
        "source": figure.source,
        "standing": figure.standing,
        "evidence": figure.evidence,
        "caveat": figure.caveat,
        "note": figure.note,
    }
    said = "".join(f"{part} = {_quoted(text)}\n" for part, text in words.items() if text is not None)
    return f"value = {_value(figure)}\n{said}"


def _value(figure: Figure) -> str:
    value = figure.value
    if isinstance(value, tuple):
        return "[\n" + "".join(f"    {_band(band)},\n" for band in value) + "]"
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{code} = {_fraction(rate)}" for code, rate in value.items()) + " }"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, str):
        return _quoted(value)
    if figure.kind == "money":
        return _pounds(value)
    return _fraction(value) if figure.kind == "rate" else str(value)


def _band(band: Band) -> str:
    limit = "" if band.up_to is None else f", up_to = {_pounds(band.up_to)}"
    return f'{{ name = "{band.name}", rate = {_fraction(band.rate)}{limit} }}'


def _pounds(pence: int) -> str:
    """168.60, or 12570 where there are no pence."""
    pounds, rest = divmod(pence, 100)
    return f"{pounds}.{rest:02d}" if rest else str(pounds)


def _fraction(basis_points: int) -> str:
    """0.2 for 20%."""
    return f"{Decimal(basis_points).scaleb(-4).normalize():f}"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _day(day: date) -> str:
    """6 April 2026."""
    return f"{day.day} {day:%B %Y}"
