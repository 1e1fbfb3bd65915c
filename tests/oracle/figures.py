"""Read a tax year's figures for the second way of computing, straight from the TOML file."""

from __future__ import annotations

import tomllib
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

FIGURES_FOLDER = Path(__file__).resolve().parents[2] / "service" / "figures"

Figures = dict[str, Any]
"""The file as read: figures[section][name]["value"], numbers with a decimal point as Decimal."""

Band = tuple[str, Fraction, Fraction | None]
"""Name, rate as a fraction of one, upper limit of taxable income in pounds (None for the last band)."""


def read_figures(tax_year: str, folder: Path = FIGURES_FOLDER) -> Figures:
    """The figures of one tax year, for example "2026-27": those of its file, and those it lists as unchanged."""
    figures = tomllib.loads((folder / f"{tax_year}.toml").read_text("utf-8"), parse_float=Decimal)
    unchanged = figures.get("unchanged", [])
    if unchanged:
        start = int(tax_year[:4]) - 1
        before = read_figures(f"{start}-{(start + 1) % 100:02d}", folder)
        for name in unchanged:
            section, key = name.split(".")
            figures.setdefault(section, {})[key] = before[section][key]
    return figures


def value(figures: Figures, name: str) -> Any:
    """The value of a figure by its dotted name; KeyError when the year has no such figure."""
    section, key = name.split(".")
    return figures[section][key]["value"]


def has(figures: Figures, name: str) -> bool:
    """Whether the year has a figure of that dotted name."""
    section, key = name.split(".")
    return key in figures.get(section, {})


def pounds(figures: Figures, name: str) -> Fraction:
    """A money figure in exact pounds."""
    return Fraction(value(figures, name))


def bands(figures: Figures, name: str) -> list[Band]:
    """A figure made of bands, in ascending order."""
    return [
        (
            band["name"],
            Fraction(band["rate"]),
            Fraction(band["up_to"]) if "up_to" in band else None,
        )
        for band in value(figures, name)
    ]
