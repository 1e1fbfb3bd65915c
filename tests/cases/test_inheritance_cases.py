"""Published examples about inheritance tax and about what a survivor may subscribe to an ISA, through the functions."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from fractions import Fraction
from typing import Any

import pytest

from service.figures.loader import TaxYearFigures
from service.law.inheritance_tax import Estate, FormerHome, estate_tax, rules_for, unused_share
from service.law.isa import additional_permitted_subscription, subscription_limit

from .data import Example, examples
from .through_service import pence, pounds, with_figures

Years = Mapping[str, TaxYearFigures]

ONE_PER_CENT = 10_000  # of a band, in ten-thousandths of a per cent
SHARES = ("nil_rate_band_brought_forward", "residence_nil_rate_band_brought_forward")
UNUSED_SHARES = ("nil_rate_band_unused", "residence_band_unused")


def estate_of(inputs: Mapping[str, Any]) -> Estate:
    """The estate of a case, whose amounts are pounds and whose shares are per cent."""
    parts: dict[str, Any] = {}
    for name, given in inputs.items():
        if name == "former_home":
            parts[name] = FormerHome(**{key: pence(amount) for key, amount in given.items()})
        else:
            parts[name] = given * ONE_PER_CENT if name in SHARES else pence(given)
    return Estate(**parts)


def found_for(result: Any, expected: Mapping[str, Any]) -> dict[str, Any]:
    """What a result holds under the names a case gives, in pounds and per cent."""
    found: dict[str, Any] = {}
    for name, wanted in expected.items():
        value = getattr(result, name)
        if isinstance(wanted, dict):
            found[name] = found_for(value, wanted)
        else:
            found[name] = Fraction(value, ONE_PER_CENT) if name in UNUSED_SHARES else pounds(value)
    return found


@pytest.mark.parametrize("example", examples("inheritance_tax.toml", "estate_tax"))
def test_estate_tax(example: Example, years: Years) -> None:
    rules = rules_for(with_figures(years[example.tax_year], example.figures))
    assert found_for(estate_tax(estate_of(example.inputs), rules), example.expected) == example.expected


@pytest.mark.parametrize("example", examples("inheritance_tax.toml", "unused_share"))
def test_unused_share(example: Example) -> None:
    found = unused_share(pence(example.inputs["unused"]), pence(example.inputs["band"]))
    assert Fraction(found, ONE_PER_CENT) == example.expected["percent"]


@pytest.mark.parametrize("example", examples("isa.toml", "additional_subscription"))
def test_additional_permitted_subscription(example: Example, years: Years) -> None:
    inputs = example.inputs
    at_end = pence(inputs["value_at_end"]) if "value_at_end" in inputs else None
    found = additional_permitted_subscription(
        years[example.tax_year], inputs["died"], pence(inputs["value_at_death"]), at_end
    )
    assert pounds(found) == example.expected["limit"]


@pytest.mark.parametrize("example", examples("isa.toml", "cash_limit"))
def test_cash_limit(example: Example, years: Years) -> None:
    figures = years[example.tax_year]
    first, last = figures.start, figures.end
    born = {
        "under_65": date(last.year - 64, last.month, last.day),
        "from_65": date(first.year - 65, first.month, first.day),
    }
    limits = {name: subscription_limit(figures, on, cash=True) for name, on in born.items()}
    limits["rest"] = limits["from_65"] - limits["under_65"]
    assert {name: pounds(limit) for name, limit in limits.items()} == example.expected
