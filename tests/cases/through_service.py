"""Put published examples to the service: through its public functions, and as requests to /v1/withdrawal-tax."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from flask.testing import FlaskClient

from service.figures.loader import Band, TaxYearFigures
from service.law.income_tax import Liability, Taxpayer, liability, rules_for, taxpayer_year

from .data import BASIC_RATE_LIMIT, SCOTTISH_STARTER_RATE_LIMIT, UK_TABLES


def pence(amount: Any) -> int:
    """Whole pence of an amount of pounds; the amount must be exact in pence."""
    exact = Fraction(amount) * 100
    assert exact.denominator == 1, f"{amount} has parts of a penny"
    return exact.numerator


def pounds(amount: int) -> Fraction:
    """Exact pounds of an amount of pence."""
    return Fraction(amount, 100)


def with_limit(year: TaxYearFigures, table: str, band: int, limit: int) -> TaxYearFigures:
    """A tax year with one limit of one table of bands changed, in pounds."""
    bands = list(year.bands(f"income_tax.{table}"))
    bands[band] = replace(bands[band], up_to=pence(limit))
    return with_figure(year, f"income_tax.{table}", tuple(bands))


def with_figure(year: TaxYearFigures, name: str, new: int | tuple[Band, ...]) -> TaxYearFigures:
    """A tax year with one figure changed; money in pence."""
    figures = {**year.figures, name: replace(year.figures[name], value=new)}
    return replace(year, figures=MappingProxyType(figures))


def with_figures(year: TaxYearFigures, changes: Mapping[str, int]) -> TaxYearFigures:
    """A tax year with some figures changed, for an example from a year that the service does not hold."""
    for name, new in changes.items():
        if name == BASIC_RATE_LIMIT:
            for table in UK_TABLES:
                year = with_limit(year, table, 0, new)
        elif name == SCOTTISH_STARTER_RATE_LIMIT:
            year = with_limit(year, "bands_scotland", 0, new)
        else:
            year = with_figure(year, name, pence(new))
    return year


def with_limits(year: TaxYearFigures, limits: tuple[int, int]) -> TaxYearFigures:
    """A tax year with other limits of the main bands of England, for a deduction from pay."""
    for band, limit in enumerate(limits):
        year = with_limit(year, "bands_england", band, limit)
    return year


def year_of_tax(figures: TaxYearFigures, inputs: Mapping[str, Any]) -> Liability:
    """One person's year through the public functions; income that is not pension income stays outside the withdrawal."""
    nation = inputs.get("nation", "england")
    taxpayer = Taxpayer(
        nation=nation,
        property_income=pence(inputs.get("property", 0)),
        savings=pence(inputs.get("savings", 0)),
        dividends=pence(inputs.get("dividends", 0)),
        relief_at_source=pence(inputs.get("relief_at_source", 0)),
        gift_aid=pence(inputs.get("gift_aid", 0)),
        marriage_allowance=inputs.get("marriage", "none"),
        child_benefit=pence(inputs.get("child_benefit", 0)),
    )
    return liability(taxpayer_year(taxpayer, rules_for(figures, nation)), pence(inputs.get("non_savings", 0)))


def amounts_of(figures: TaxYearFigures, nation: str, found: Liability) -> dict[str, Fraction]:
    """What the examples call the parts of a year's tax, in exact pounds."""
    scale = 1_000_000  # ten-thousandths of a penny in a pound
    starting_rate_limit = rules_for(figures, nation).scales.starting_rate_limit
    return {
        "tax": Fraction(found.income_tax, scale),
        "tax_on_non_savings": Fraction(found.other_tax, scale),
        "tax_on_savings": Fraction(found.savings_tax, scale),
        "tax_on_dividends": Fraction(found.dividend_tax, scale),
        "marriage_reduction": Fraction(found.marriage_allowance_reduction, scale),
        "child_benefit_charge": pounds(found.child_benefit_charge),
        "personal_allowance": pounds(found.personal_allowance),
        "adjusted_net_income": pounds(found.adjusted_net_income),
        "taxable": pounds(found.taxable),
        "savings_allowance": pounds(found.savings_allowance),
        "starting_rate_left": pounds(max(0, starting_rate_limit - found.other_to)),
    }


def request_for(tax_year: str, inputs: Mapping[str, Any], withdrawn: Fraction | None = None) -> dict[str, Any]:
    """A request in which `withdrawn` pounds of the income come from drawdown.

    By default that is all the income that is not savings or dividends; where that is property income, a pound of it.
    """
    non_savings, rent = Fraction(inputs.get("non_savings", 0)), Fraction(inputs.get("property", 0))
    if withdrawn is None:
        withdrawn = non_savings if non_savings else Fraction(1)
    if non_savings == 0:
        rent -= withdrawn
    incomes = {
        "employment": non_savings - withdrawn if non_savings else Fraction(0),
        "property_income": rent,
        "savings_interest": Fraction(inputs.get("savings", 0)),
        "dividends": Fraction(inputs.get("dividends", 0)),
    }
    person = {
        "date_of_birth": "1957-03-14",
        "tax_residence": inputs.get("nation", "england"),
        "income": [{"kind": kind, "amount": number(amount)} for kind, amount in incomes.items() if amount > 0],
        "contributions": [{"yearly": number(inputs.get("relief_at_source", 0)), "relief": "relief_at_source"}],
        "gift_aid_donations": number(inputs.get("gift_aid", 0)),
        "marriage_allowance": inputs.get("marriage", "none"),
        "blind_persons_allowance": bool(inputs.get("blind", False)),
        "child_benefit": number(inputs.get("child_benefit", 0)),
        "pensions": [{"uncrystallised": 0, "drawdown": number(withdrawn)}],
    }
    return {
        "household": {"people": [person]},
        "tax_year": tax_year,
        "withdrawal": {"method": "drawdown", "amount": number(withdrawn)},
    }


def person_of(body: dict[str, Any]) -> dict[str, Any]:
    """The one person of a request."""
    (person,) = body["household"]["people"]
    found: dict[str, Any] = person
    return found


def number(amount: Any) -> float:
    """The JSON number of an amount that is exact in pence."""
    return pence(amount) / 100


def answer_to(client: FlaskClient, body: dict[str, Any]) -> dict[str, Any]:
    """The answer to a request, which must succeed; its numbers are read back exactly."""
    response = client.post("/v1/withdrawal-tax", json=body)
    assert response.status_code == 200, response.get_data(as_text=True)
    answer: dict[str, Any] = response.get_json()
    return answer


def exactly(number: float) -> Decimal:
    """The decimal number that a JSON number was written as."""
    return Decimal(str(number))
