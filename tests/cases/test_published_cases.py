"""Every published example gives its published answer, through the public functions and over HTTP.

The examples are in the TOML files beside this one, each with its source. What cannot be put to the service is listed
in not_expressible.toml with the reason.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from flask.testing import FlaskClient

from service.figures.loader import TaxYearFigures
from service.law import annual_allowance, child_benefit, lump_sums, payroll

from .data import FOLDER, Example, examples, rounded
from .through_service import (
    amounts_of,
    answer_to,
    exactly,
    number,
    pence,
    person_of,
    pounds,
    request_for,
    with_figures,
    with_limits,
    year_of_tax,
)

Years = Mapping[str, TaxYearFigures]

SECTIONS = {"A": 4, "B": 10, "C": 8, "D": 5, "F": 6, "G": 27, "H": 15, "I": 5, "J": 4, "K": 9, "L": 5}
"""The topics of the collected examples that concern this service, and how many examples each has."""


def test_every_example_is_used_or_excused() -> None:
    used: set[str] = set()
    excused: set[str] = set()
    partly: set[str] = set()
    for path in FOLDER.glob("*.toml"):
        for case in tomllib.loads(path.read_text("utf-8"))["case"]:
            if path.name == "not_expressible.toml":
                assert case["reason"]
                (partly if "part" in case else excused).update(case["ids"])
            else:
                assert case["source"]
                assert case["kind"] in ("P", "R", "X")
                assert case["id"] not in used, "two examples of one name"
                used.add(case["id"])
    assert used | excused == {f"{topic}{n:02}" for topic, count in SECTIONS.items() for n in range(1, count + 1)}
    assert not used & excused
    assert partly <= used


# --- Income tax ---------------------------------------------------------------------------------


def one_year(
    example: Example, years: Years, inputs: dict[str, Any], tax_year: str | None = None
) -> dict[str, Fraction]:
    """The amounts of one person's year through the public functions."""
    figures = with_figures(years[tax_year or example.tax_year], example.figures)
    return amounts_of(figures, inputs.get("nation", "england"), year_of_tax(figures, inputs))


@pytest.mark.parametrize("example", examples("income_tax.toml", "income_tax"))
def test_income_tax_through_functions(example: Example, years: Years) -> None:
    amounts = one_year(example, years, example.inputs)
    assert {name: rounded(amounts[name], example.rounding) for name in example.expected} == example.expected


SHOWN_OVER_HTTP = {
    "tax",
    "tax_on_savings",
    "tax_on_dividends",
    "child_benefit_charge",
    "personal_allowance",
    "marriage_reduction",
}


def with_something_shown(parameters: list[Any]) -> list[Any]:
    """The examples of which an answer shows an amount; the savings allowance, for one, is not shown by itself."""
    return [each for each in parameters if each.values[0].expected.keys() & SHOWN_OVER_HTTP]


@pytest.mark.parametrize("part", [Fraction(1), Fraction(1, 2), Fraction(1, 100)], ids=["all", "half", "a_hundredth"])
@pytest.mark.parametrize("example", with_something_shown(examples("income_tax.toml", "income_tax", through="http")))
def test_income_tax_over_http(example: Example, client: FlaskClient, part: Fraction) -> None:
    """The year's tax is the same however much of the income is the withdrawal asked about.

    The tax on savings or dividends is what they add to the year's tax.
    """
    whole = Fraction(example.inputs.get("non_savings", 0))
    withdrawn = whole if part == 1 and whole else Fraction(int(whole * part)) or Fraction(1)

    def years_tax(**changes: int) -> dict[str, Any]:
        answer = answer_to(client, request_for(example.tax_year, example.inputs | changes, withdrawn))
        income_tax: dict[str, Any] = answer["income_tax"]
        return income_tax

    answer = years_tax()
    total, charge = exactly(answer["total"]), exactly(answer["child_benefit_charge"])
    found = {
        "tax": total - charge,
        "tax_on_savings": total - exactly(years_tax(savings=0)["total"]),
        "tax_on_dividends": total - exactly(years_tax(dividends=0)["total"]),
        "child_benefit_charge": charge,
        "personal_allowance": exactly(answer["personal_allowance"]),
        "marriage_reduction": exactly(answer["marriage_allowance_reduction"]),
    }
    shown = example.expected.keys() & SHOWN_OVER_HTTP
    assert {name: rounded(found[name], example.rounding) for name in shown} == {
        name: example.expected[name] for name in shown
    }
    assert exactly(answer["on_other_income"]) + exactly(answer["on_withdrawal"]) == total


@pytest.mark.parametrize("example", examples("income_tax.toml", "income_tax_change"))
def test_change_of_tax_through_functions(example: Example, years: Years) -> None:
    first = one_year(example, years, example.inputs["first"], example.inputs.get("first_year"))
    second = one_year(example, years, example.inputs["second"])
    assert rounded(second["tax"] - first["tax"], example.rounding) == example.expected["change"]


@pytest.mark.parametrize("example", examples("income_tax.toml", "income_tax_change", through="http"))
def test_change_of_tax_over_http(example: Example, client: FlaskClient) -> None:
    first_year = example.inputs.get("first_year", example.tax_year)
    first = answer_to(client, request_for(first_year, example.inputs["first"]))
    second = answer_to(client, request_for(example.tax_year, example.inputs["second"]))
    change = exactly(second["income_tax"]["total"]) - exactly(first["income_tax"]["total"])
    assert rounded(change, example.rounding) == example.expected["change"]


def couple(inputs: dict[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """The inputs of the two people of a couple."""
    nation = inputs.get("nation", "england")
    return (
        {"nation": nation, "non_savings": inputs["giver"]},
        {"nation": nation, "non_savings": inputs["receiver"]},
    )


@pytest.mark.parametrize("example", examples("income_tax.toml", "couple_saving"))
def test_couple_saving_through_functions(example: Example, years: Years) -> None:
    giver, receiver = couple(example.inputs)
    before = [one_year(example, years, giver), one_year(example, years, receiver)]
    after = [
        one_year(example, years, giver | {"marriage": "gives"}),
        one_year(example, years, receiver | {"marriage": "receives"}),
    ]
    found = {
        "taxable_before": before[1]["taxable"],
        "giver_taxable_after": after[0]["taxable"],
        "saving": before[0]["tax"] + before[1]["tax"] - after[0]["tax"] - after[1]["tax"],
    }
    assert {name: rounded(found[name], example.rounding) for name in example.expected} == example.expected


@pytest.mark.parametrize("example", examples("income_tax.toml", "couple_saving", through="http"))
def test_couple_saving_over_http(example: Example, client: FlaskClient) -> None:
    def total(inputs: dict[str, Any]) -> Fraction:
        answer = answer_to(client, request_for(example.tax_year, inputs))
        return Fraction(exactly(answer["income_tax"]["total"]))

    giver, receiver = couple(example.inputs)
    before = total(giver) + total(receiver)
    after = total(giver | {"marriage": "gives"}) + total(receiver | {"marriage": "receives"})
    assert rounded(before - after, example.rounding) == example.expected["saving"]


@pytest.mark.parametrize("example", examples("income_tax.toml", "child_benefit"))
def test_child_benefit_charge_through_functions(example: Example, years: Years) -> None:
    figures = years[example.tax_year]
    charge = child_benefit.charge(
        pence(example.inputs["adjusted_net_income"]),
        pence(example.inputs["benefit"]),
        figures.money("income_tax.child_benefit_charge_threshold"),
        figures.money("income_tax.child_benefit_charge_step"),
    )
    assert pounds(charge) == example.expected["charge"]


@pytest.mark.parametrize("example", examples("income_tax.toml", "child_benefit", through="http"))
def test_child_benefit_charge_over_http(example: Example, client: FlaskClient) -> None:
    """With no relief, adjusted net income is all the income there is."""
    inputs = {
        "non_savings": example.inputs["adjusted_net_income"],
        "child_benefit": example.inputs["benefit"],
    }
    answer = answer_to(client, request_for(example.tax_year, inputs))
    assert exactly(answer["income_tax"]["child_benefit_charge"]) == example.expected["charge"]


@pytest.mark.parametrize("example", examples("income_tax.toml", "gross_for_net", through="http"))
def test_gross_for_a_wanted_net_over_http(example: Example, client: FlaskClient) -> None:
    body = request_for(example.tax_year, {"non_savings": example.inputs["other_income"]}, Fraction(0))
    person_of(body)["pensions"] = [{"uncrystallised": 500_000}]
    body["withdrawal"] = {"method": example.inputs["method"], "net_wanted": example.inputs["net_wanted"]}
    answer = answer_to(client, body)
    assert rounded(exactly(answer["withdrawal"]["gross"]), example.rounding) == example.expected["gross"]
    assert answer["net_after_tax"] >= example.inputs["net_wanted"]


@pytest.mark.parametrize("example", examples("bands.toml", "limits"))
def test_band_limits(example: Example, years: Years) -> None:
    """The published limits have a full personal allowance added where one is left there."""
    figures = years[example.tax_year]
    full = figures.money("income_tax.personal_allowance")
    found = {
        band.name: pounds(band.up_to + (0 if band.name == "advanced_rate" else full))
        for band in figures.bands(f"income_tax.bands_{example.inputs['nation']}")
        if band.up_to is not None and band.name in example.expected
    }
    assert found == example.expected


# --- Pay As You Earn ----------------------------------------------------------------------------


@pytest.mark.parametrize("example", examples("payroll.toml", "deduction"))
def test_deduction_through_functions(example: Example, years: Years) -> None:
    inputs, figures = example.inputs, years[example.tax_year]
    if example.limits is not None:
        figures = with_limits(figures, example.limits)
    found = payroll.deduction(
        payroll.rules_for(figures),
        payroll.parse_code(inputs["code"]),
        pence(inputs["pay"]),
        cumulative=inputs["basis"] == "cumulative",
        month=inputs.get("month", 1),
        pay_to_date=pence(inputs.get("pay_to_date", 0)),
        tax_to_date=pence(inputs.get("tax_to_date", 0)),
    )
    if "tax_more_than" in example.expected:
        assert pounds(found.tax) > example.expected["tax_more_than"]
    else:
        assert pounds(found.tax) == Fraction(example.expected["tax"])


@pytest.mark.parametrize("example", examples("payroll.toml", "deduction", through="http"))
def test_deduction_over_http(example: Example, client: FlaskClient) -> None:
    inputs = example.inputs
    body = request_for(example.tax_year, {"non_savings": inputs["pay"]})
    body["payroll"] = {"code": inputs["code"], "basis": inputs["basis"]}
    answer = answer_to(client, body)["payroll"]
    assert exactly(answer["tax_deducted"]) == example.expected["tax"]
    assert exactly(answer["paid_out"]) == inputs["pay"] - example.expected["tax"]


@pytest.mark.parametrize("example", examples("payroll.toml", "free_pay"))
def test_free_pay_of_a_code(example: Example, years: Years) -> None:
    found = payroll.deduction(payroll.rules_for(years[example.tax_year]), payroll.parse_code(example.inputs["code"]), 0)
    assert pounds(found.free_pay) == Fraction(example.expected["free_pay"])


# --- Lump sums and allowances -------------------------------------------------------------------


@pytest.mark.parametrize("example", examples("lump_sums.toml", "split"))
def test_split_through_functions(example: Example, years: Years) -> None:
    rules = lump_sums.rules_for(years[example.tax_year])
    pension = lump_sums.Pension(pence(example.inputs["pot"]))
    left = lump_sums.available(pension, rules)
    payment = lump_sums.take(example.inputs["method"], pence(example.inputs["amount"]), pension, rules, left)
    assert {"tax_free": pounds(payment.tax_free), "taxable": pounds(payment.taxable)} == example.expected


@pytest.mark.parametrize("example", examples("lump_sums.toml", "split", through="http"))
def test_split_over_http(example: Example, client: FlaskClient) -> None:
    body = request_for(example.tax_year, {})
    person_of(body)["pensions"] = [{"uncrystallised": number(example.inputs["pot"])}]
    body["withdrawal"] = {"method": example.inputs["method"], "amount": number(example.inputs["amount"])}
    answer = answer_to(client, body)["withdrawal"]
    assert {name: answer[name] for name in example.expected} == example.expected


@pytest.mark.parametrize("example", examples("lump_sums.toml", "lifetime_allowance"))
def test_lifetime_allowance(example: Example, years: Years) -> None:
    inputs = example.inputs
    rules = replace(
        lump_sums.rules_for(years[example.tax_year]),
        lifetime_allowance=pence(inputs["lifetime_allowance"]),
        standard_lifetime_allowance_before_2024=pence(inputs["lifetime_allowance"]),
    )
    pension = lump_sums.Pension(pence(inputs["crystallised"]), lifetime_allowance_used=pence(inputs["used_percent"]))
    left = lump_sums.available(pension, rules)
    payment = lump_sums.take("pcls_and_drawdown", pence(inputs["crystallised"]), pension, rules, left)
    assert left.lifetime_allowance is not None
    assert pounds(left.lifetime_allowance) == example.expected["available"]
    assert pounds(payment.over_lifetime_allowance) == example.expected["chargeable"]


@pytest.mark.parametrize("example", examples("lump_sums.toml", "percentage"))
def test_percentage_of_lifetime_allowance(example: Example) -> None:
    used = lump_sums.percentage_used(pence(example.inputs["crystallised"]), pence(example.inputs["lifetime_allowance"]))
    assert Fraction(used, 100) == Fraction(example.expected["percent"])


@pytest.mark.parametrize("example", examples("lump_sums.toml", "lump_sum_allowances"))
def test_lump_sum_allowances_through_functions(example: Example, years: Years) -> None:
    protected = example.inputs.get("protected_lump_sum_allowance")
    pension = lump_sums.Pension(0, protected_lump_sum_allowance=None if protected is None else pence(protected))
    left = lump_sums.available(pension, lump_sums.rules_for(years[example.tax_year]))
    assert left.lump_sum_allowance is not None
    assert left.lump_sum_and_death_benefit_allowance is not None
    assert {
        "lump_sum_allowance": pounds(left.lump_sum_allowance),
        "lump_sum_and_death_benefit_allowance": pounds(left.lump_sum_and_death_benefit_allowance),
    } == example.expected


@pytest.mark.parametrize("example", examples("lump_sums.toml", "lump_sum_allowances", through="http"))
def test_lump_sum_allowances_over_http(example: Example, client: FlaskClient) -> None:
    """Income from drawdown uses no allowance, so what is left after it is the whole."""
    body = request_for(example.tax_year, {"non_savings": 1000})
    person_of(body)["lump_sum_allowances"] = {name: number(amount) for name, amount in example.inputs.items()}
    answer = answer_to(client, body)["allowances_remaining"]
    assert {name: answer[name] for name in example.expected} == example.expected


@pytest.mark.parametrize("example", examples("lump_sums.toml", "figure"))
def test_figure(example: Example, years: Years) -> None:
    found = years[example.tax_year].rate(example.inputs["figure"])
    assert Fraction(found, 100) == example.expected["percent"]


# --- Annual allowance ---------------------------------------------------------------------------


@pytest.mark.parametrize("example", examples("annual_allowance.toml", "split"))
def test_annual_allowance_split(example: Example, years: Years) -> None:
    figures = years[example.tax_year]
    money_purchase = figures.money("pension.money_purchase_annual_allowance")
    alternative = annual_allowance.alternative(figures.money("pension.annual_allowance"), money_purchase)
    assert {
        "money_purchase": pounds(money_purchase),
        "alternative": pounds(alternative),
    } == example.expected


@pytest.mark.parametrize("example", examples("annual_allowance.toml", "split", through="http"))
def test_money_purchase_annual_allowance_over_http(example: Example, client: FlaskClient) -> None:
    answer = answer_to(client, request_for(example.tax_year, {"non_savings": 1000}))
    found = answer["allowances_remaining"]["money_purchase_annual_allowance"]
    assert found["applies"] is True
    assert found["amount"] == example.expected["money_purchase"]


@pytest.mark.parametrize("example", examples("annual_allowance.toml", "tapered"))
def test_tapered_annual_allowance(example: Example, years: Years) -> None:
    figures = years[example.tax_year]
    found = annual_allowance.tapered(
        figures.money("pension.annual_allowance"),
        figures.money("pension.annual_allowance_tapered_minimum"),
        figures.money("pension.annual_allowance_threshold_income"),
        figures.money("pension.annual_allowance_adjusted_income"),
        pence(example.inputs["threshold_income"]),
        pence(example.inputs["adjusted_income"]),
    )
    assert pounds(found) == example.expected["annual_allowance"]
