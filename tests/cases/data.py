"""The published examples as Python values."""

from __future__ import annotations

import copy
import tomllib
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from math import floor
from pathlib import Path
from typing import Any

import pytest

from oracle.figures import Figures, read_figures

FOLDER = Path(__file__).resolve().parent

BASIC_RATE_LIMIT = "income_tax.basic_rate_limit"
SCOTTISH_STARTER_RATE_LIMIT = "income_tax.scottish_starter_rate_limit"
"""Names under which a case gives a single limit of bands; any other name is that of a whole figure."""

UK_TABLES = ("bands_england", "bands_northern_ireland", "bands_wales", "savings_bands", "dividend_bands")


@dataclass(frozen=True)
class Example:
    """One published answer, to be computed with the figures of one tax year held by the service."""

    name: str
    asks: str
    source: str
    tax_year: str
    inputs: dict[str, Any]
    expected: dict[str, Any]
    rounding: str
    figures: dict[str, int] = field(default_factory=dict)
    limits: tuple[int, int] | None = None

    def year_figures(self) -> Figures:
        """The figures for the second way of computing, with those of the case put over them."""
        return with_figures(read_figures(self.tax_year), self.figures)


def with_figures(figures: Figures, changes: dict[str, int]) -> Figures:
    """A copy of a year's figures with some of them changed."""
    changed = copy.deepcopy(figures)
    income_tax = changed["income_tax"]
    for name, new in changes.items():
        if name == BASIC_RATE_LIMIT:
            for table in UK_TABLES:
                income_tax[table]["value"][0]["up_to"] = new
        elif name == SCOTTISH_STARTER_RATE_LIMIT:
            income_tax["bands_scotland"]["value"][0]["up_to"] = new
        else:
            section, key = name.split(".")
            changed[section][key]["value"] = new
    return changed


def examples(file: str, *asks: str, through: str = "function") -> list[Any]:
    """The examples of a file that ask for something, as test parameters named after them; never none."""
    found = []
    for case in tomllib.loads((FOLDER / file).read_text("utf-8"), parse_float=Decimal)["case"]:
        if case["asks"] not in asks or through not in case["through"]:
            continue
        for number, row in enumerate(case["row"], 1):
            figures = row.get("figures", {})
            if through == "http" and (figures or "limits" in row):
                continue
            dated = row["tax_year"]
            run_in = row.get("run_in", "2019-20" if figures or "limits" in row else dated)
            for tax_year in [run_in] if isinstance(run_in, str) else run_in:
                name = f"{case['id']}-{number}-{tax_year}"
                example = Example(
                    name=name,
                    asks=case["asks"],
                    source=case["source"],
                    tax_year=tax_year,
                    inputs=row["inputs"],
                    expected=row["expected"],
                    rounding=case["rounding"],
                    figures=figures,
                    limits=tuple(row["limits"]) if "limits" in row else None,
                )
                found.append(pytest.param(example, id=name))
    if not found:
        raise LookupError(f"no example of {file} asks for {asks} through {through}")
    return found


def rounded(amount: Fraction | Decimal | int, rounding: str) -> Decimal:
    """An exact amount of pounds, rounded as the publisher of a case rounded it."""
    exact = Fraction(amount)
    if rounding == "penny":
        return half_up(exact, 100) / 100
    if rounding == "nearest_pound":
        return half_up(exact, 1)
    if rounding == "pound_down":
        return Decimal(int(exact))
    raise ValueError(rounding)


def half_up(exact: Fraction, parts: int) -> Decimal:
    """The nearest whole number of parts of a pound, a half away from nought."""
    nearest = floor(abs(exact) * parts + Fraction(1, 2))
    return Decimal(nearest if exact >= 0 else -nearest)
