"""The second way of computing gives the published answers, so that it may be used as a measure."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from cases.data import Example, examples, rounded

from .figures import Band, read_figures
from .income_tax import child_benefit_charge, income_tax
from .payroll import deduction, free_pay_of_a_month


def year_of_tax(example: Example, inputs: dict[str, Any], tax_year: str | None = None) -> dict[str, Any]:
    """Compute one person's year from the inputs of a case."""
    figures = example.year_figures() if tax_year is None else read_figures(tax_year)
    extension = Fraction(inputs.get("relief_at_source", 0)) + Fraction(inputs.get("gift_aid", 0))
    return income_tax(
        figures,
        inputs.get("nation", "england"),
        non_savings=Fraction(inputs.get("non_savings", 0)),
        property=Fraction(inputs.get("property", 0)),
        savings=Fraction(inputs.get("savings", 0)),
        dividends=Fraction(inputs.get("dividends", 0)),
        relief_extension=extension,
        marriage=inputs.get("marriage", "none"),
        child_benefit=Fraction(inputs.get("child_benefit", 0)),
    )


@pytest.mark.parametrize("example", examples("income_tax.toml", "income_tax"))
def test_one_persons_year(example: Example) -> None:
    result = year_of_tax(example, example.inputs)
    found = {name: rounded(result[name], example.rounding) for name in example.expected}
    assert found == example.expected


@pytest.mark.parametrize("example", examples("income_tax.toml", "income_tax_change"))
def test_difference_between_two_years_of_tax(example: Example) -> None:
    before = year_of_tax(example, example.inputs["first"], example.inputs.get("first_year"))
    after = year_of_tax(example, example.inputs["second"])
    assert rounded(after["tax"] - before["tax"], example.rounding) == example.expected["change"]


@pytest.mark.parametrize("example", examples("income_tax.toml", "couple_saving"))
def test_what_a_couple_saves(example: Example) -> None:
    nation = example.inputs.get("nation", "england")
    giver, receiver = ({"nation": nation, "non_savings": example.inputs[who]} for who in ("giver", "receiver"))
    before = [year_of_tax(example, giver), year_of_tax(example, receiver)]
    after = [
        year_of_tax(example, giver | {"marriage": "gives"}),
        year_of_tax(example, receiver | {"marriage": "receives"}),
    ]
    found = {
        "taxable_before": before[1]["taxable"],
        "giver_taxable_after": after[0]["taxable"],
        "saving": sum(each["tax"] for each in before) - sum(each["tax"] for each in after),
    }
    assert {name: rounded(found[name], example.rounding) for name in example.expected} == example.expected


@pytest.mark.parametrize("example", examples("income_tax.toml", "child_benefit"))
def test_child_benefit_charge(example: Example) -> None:
    income, benefit = (Fraction(example.inputs[name]) for name in ("adjusted_net_income", "benefit"))
    assert child_benefit_charge(example.year_figures(), income, benefit) == example.expected["charge"]


@pytest.mark.parametrize("example", examples("payroll.toml", "deduction"))
def test_deduction_from_one_payment(example: Example) -> None:
    inputs = example.inputs
    table: list[Band] | None = None
    if example.limits is not None:
        basic, higher = map(Fraction, example.limits)
        table = [
            ("basic_rate", Fraction("0.2"), basic),
            ("higher_rate", Fraction("0.4"), higher),
            ("additional_rate", Fraction("0.45"), None),
        ]
    found = deduction(
        example.year_figures(),
        inputs["code"],
        inputs["basis"],
        Fraction(inputs["pay"]),
        inputs.get("month", 1),
        Fraction(inputs.get("pay_to_date", 0)),
        Fraction(inputs.get("tax_to_date", 0)),
        table,
    )
    if "tax_more_than" in example.expected:
        assert found > example.expected["tax_more_than"]
    else:
        assert found == Fraction(example.expected["tax"])


@pytest.mark.parametrize("example", examples("payroll.toml", "free_pay"))
def test_free_pay_of_a_code(example: Example) -> None:
    assert free_pay_of_a_month(int(example.inputs["code"][:-1])) == Fraction(example.expected["free_pay"])
