"""The answer of POST /v1/withdrawal-tax: its names, what is left out of it, and its rates."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import given, settings

from service.planning.disclosure import notice
from service.planning.quote.quote import Question, quote
from service.planning.quote.working import working
from service.schemas.quote.answer import answer
from tests.contract.agreement import component
from tests.households import BOOK
from tests.planning.test_withdrawal_properties import questions

URL = "/v1/withdrawal-tax"


def body(method: str = "ufpls", amount: float = 40_000, **more: Any) -> dict[str, Any]:
    """A withdrawal in 2026-27 by somebody with 30,000 from employment; ``more`` is laid over the parts of the request, of which
    ``person`` and ``pension`` are the only ones of their household."""
    person = {
        "date_of_birth": "1962-05-14",
        "tax_residence": "england",
        "income": [{"kind": "employment", "amount": 30_000}],
    }
    pension = {"uncrystallised": 400_000, "drawdown": 100_000} | more.pop("pension", {})
    person |= {"pensions": [pension], **more.pop("person", {})}
    whole: dict[str, Any] = {
        "household": {"people": [person]},
        "tax_year": "2026-27",
        "withdrawal": {"method": method, "amount": amount},
    }
    for part, given_more in more.items():
        whole[part] = whole.get(part, {}) | given_more if isinstance(given_more, dict) else given_more
    return whole


def answered(client: FlaskClient, request: dict[str, Any], query: str = "") -> dict[str, Any]:
    reply = client.post(URL + query, json=request)
    assert reply.status_code == 200, reply.text
    return dict(reply.get_json())


def document_of(question: Question) -> dict[str, Any]:
    found = quote(question, BOOK)
    return answer(found, [], [], notice(found.rules.figures, BOOK.law_as_of), working=working(found))


def nulls_in(node: Any) -> Iterator[Any]:
    if isinstance(node, dict | list | tuple):
        for value in node.values() if isinstance(node, dict) else node:
            yield from nulls_in(value)
    elif node is None:
        yield node


@settings(max_examples=100, deadline=None)
@given(questions())
def test_nothing_is_null_and_each_step_has_a_name_of_its_own(question: Question) -> None:
    document = document_of(question)
    assert list(nulls_in(document)) == []
    names = [step["step"] for step in document["working"]]
    assert len(set(names)) == len(names)
    assert set(names) <= steps_of_the_agreement()
    assert [step["title"] for step in document["working"] if not step["title"]] == []


def steps_of_the_agreement() -> set[str]:
    """The names of steps that the agreement lists; those of the year with both endings."""
    described = component("WorkingStep")["properties"]["step"]["description"]
    _, payment, of_the_year, rest = described.split("\n\n")
    both = {f"{name}_{which}" for name in re.findall(r"`(\w+)`", of_the_year) for which in ("without", "with")}
    return both | set(re.findall(r"`(\w+)`", payment)) | set(re.findall(r"`(\w+)`", rest))


def test_every_step_of_the_agreement_comes_in_some_answer(client: FlaskClient) -> None:
    person = {
        "income": [
            {"kind": "employment", "amount": 11_000},
            {"kind": "savings_interest", "amount": 3_000},
            {"kind": "dividends", "amount": 2_000},
        ],
        "marriage_allowance": "receives",
        "blind_persons_allowance": True,
        "child_benefit": 1_000,
    }
    code = {"code": "1257L", "basis": "month_1"}
    above = body(
        amount=1_200_000, tax_year="2022-23", pension={"uncrystallised": 1_200_000}, person=person, payroll=code
    )
    # 20% of 100,000 is more than the tax of this year, with and without the withdrawal.
    donor = body(person={**person, "gift_aid_donations": 100_000})
    found = {
        step["step"]
        for request in (above, body(person=person), donor)
        for step in answered(client, request, "?include=working")["working"]
    }
    assert found == steps_of_the_agreement()


@settings(max_examples=30, deadline=None)
@given(questions())
def test_person_and_pension_are_told_by_their_places(question: Question) -> None:
    found = document_of(question._replace(person_place=1, pension_place=3))["withdrawal"]
    assert (found["person"], found["pension"]) == (1, 3)
    found = document_of(question)["withdrawal"]
    assert (found["person"], found["pension"]) == (0, 0)


def test_a_step_has_no_rate(client: FlaskClient) -> None:
    income = [{"kind": "employment", "amount": 40_000}, {"kind": "savings_interest", "amount": 1_000}]
    found = answered(client, body("drawdown", 20_000, person={"income": income}), "?include=curve")
    steps = [piece for piece in found["income_tax"]["slices"] if piece["from"] == piece["to"]]
    assert [(sorted(step), step["tax"]) for step in steps] == [(["because", "from", "tax", "to"], 100.0)]
    points = [point for point in found["curve"]["points"] if "rate" not in point]
    # It is halved as the higher rate begins and gone as the additional rate does.
    assert [point["because"] for point in points] == [
        ["personal_savings_allowance"],
        ["personal_savings_allowance"],
        [],
    ]
    assert all("rate" in piece for piece in found["income_tax"]["slices"] if piece not in steps)


def test_a_point_of_a_staircase_has_the_average_rate_to_the_next(client: FlaskClient) -> None:
    """The taper of 2026-27: 40% and 20% more, from 100,000 to 125,140, in stairs of 2 pounds."""
    income = [{"kind": "employment", "amount": 100_000}]
    first, *_ = answered(client, body("drawdown", 0, person={"income": income}), "?include=curve")["curve"]["points"]
    assert first == {
        "gross": 0.0,
        "tax_free": 0.0,
        "taxable": 0.0,
        "tax": 0.0,
        "net": 0.0,
        "rate": 0.4,
        "because": ["higher_rate", "personal_allowance_taper"],
        "average_rate": 0.6,
        "staircase": {"every": 2.0, "by": 0.4},
    }


def test_effective_rate_counts_the_lifetime_allowance_charge(client: FlaskClient) -> None:
    """In 2022-23 55% of the 100,000 above 1,073,100: 55,000 beside the income tax on the quarter-free rest."""
    found = answered(
        client, body(amount=1_173_100, tax_year="2022-23", pension={"uncrystallised": 1_173_100, "drawdown": 0})
    )
    tax = found["income_tax"]
    assert found["lifetime_allowance"]["charge"] == 55_000
    assert tax["effective_rate"] == round((tax["on_withdrawal"] + 55_000) / 1_173_100, 4)
    assert found["net_after_tax"] == pytest.approx(1_173_100 - tax["on_withdrawal"] - 55_000)


def test_effective_rate_of_a_withdrawal_without_a_charge(client: FlaskClient) -> None:
    """Of 40,000 a quarter is free: 20,270 of 30,000 at 20%, the rest at 40%."""
    tax = answered(client, body())["income_tax"]
    assert (tax["on_withdrawal"], tax["effective_rate"], tax["marginal_rate"]) == (7_946.0, 0.1987, 0.4)
    assert answered(client, body(amount=0))["income_tax"]["effective_rate"] == 0


@pytest.mark.parametrize(
    ("request_body", "expected"),
    [
        pytest.param(
            body(withdrawal={"date": "2026-12-01"}),
            {"applies": True, "triggered": True, "amount": 10_000.0, "from": "2026-12-02"},
            id="on a known day",
        ),
        pytest.param(body(), {"applies": True, "triggered": True, "amount": 10_000.0}, id="on a day not known"),
        pytest.param(
            body(withdrawal={"date": "2026-12-01"}, person={"flexibly_accessed": True}),
            {"applies": True, "triggered": False, "amount": 10_000.0},
            id="in force before",
        ),
        pytest.param(
            body("pcls", 5_000, withdrawal={"date": "2026-12-01"}),
            {"applies": False, "triggered": False, "amount": 10_000.0},
            id="not in force",
        ),
    ],
)
def test_money_purchase_annual_allowance(
    client: FlaskClient, request_body: dict[str, Any], expected: dict[str, Any]
) -> None:
    """It applies from the day after the first flexible access (Finance Act 2004 s.227F(3)-(4))."""
    assert answered(client, request_body)["allowances_remaining"]["money_purchase_annual_allowance"] == expected


def test_what_remains_of_the_allowances(client: FlaskClient) -> None:
    """4,000 by somebody without other income: 3,000 of it taxable, so 9,570 of the allowance is left and all of the band."""
    remaining = answered(client, body(amount=4_000, person={"income": []}))["allowances_remaining"]
    del remaining["money_purchase_annual_allowance"]
    assert remaining == {
        "lump_sum_allowance": 267_275.0,
        "lump_sum_and_death_benefit_allowance": 1_072_100.0,
        "personal_allowance": 9_570.0,
        "basic_rate_band": 37_700.0,
    }


@pytest.mark.parametrize(
    ("payroll", "taken", "due"),
    [
        # 38,000 in all: 20% above 12,570 is due, and the code takes it above its own 12,579.12, in whole pounds.
        (
            {"code": "1257L", "basis": "cumulative", "month": 12, "pay_to_date": 30_000, "tax_to_date": 3_486},
            5_084,
            5_086,
        ),
        # BR takes 20% of 8,000, which is what the withdrawal adds.
        ({"code": "BR", "basis": "month_1"}, 1_600, 1_600),
        ({"code": "D0", "basis": "month_1"}, 3_200, 1_600),
        ({"code": "NT", "basis": "month_1"}, 0, 0),
        # 20% of 3,141.67 and 40% of the rest of 8,396. That is more than the withdrawal adds and less than the year's whole
        # tax of 5,086, so all of it is due.
        ({"code": "K475", "basis": "month_1"}, 2_730.06, 2_730.06),
    ],
    ids=lambda value: value["code"] if isinstance(value, dict) else str(value),
)
def test_what_payroll_has_taken_and_what_is_due(
    client: FlaskClient, payroll: dict[str, Any], taken: float, due: float
) -> None:
    found = answered(client, body("drawdown", 8_000, payroll=payroll))["payroll"]
    assert (found["deducted_in_year"], found["due_in_year"]) == (taken, due)
    assert found["over_deducted"] - found["under_deducted"] == taken - due
    assert set(found["reclaim"]) == {"form", "reason"}
    assert (found["code"], found["code_assumed"]) == (payroll["code"], False)


def test_payroll_compares_nothing_where_nothing_is_taxable(client: FlaskClient) -> None:
    found = answered(client, body("pcls", 5_000))["payroll"]
    assert found["code_assumed"] is True
    assert (found["over_deducted"], found["under_deducted"]) == (0, 0)
    assert not {"deducted_in_year", "due_in_year"} & set(found)


def test_the_income_of_property_has_one_name(client: FlaskClient) -> None:
    steps = answered(client, body(), "?include=working")["working"]
    [first] = [step for step in steps if step["step"] == "net_income_without"]
    assert list(first["inputs"]) == ["other_income", "withdrawal", "property_income", "savings_interest", "dividends"]


ADDED = ("tax_below_savings", "tax_on_savings", "tax_on_dividends", "gift_aid_tax", "child_benefit_charge")
"""The steps of the working whose results are added up; the marriage allowance's comes off."""


@settings(max_examples=300, deadline=None)
@given(questions())
def test_the_working_adds_up_for_whoever_reads_it(question: Question) -> None:
    """The tax of a year is the sum of its steps (ITA 2007 s.23 steps 4-7), with Gift Aid not covered (ss.423-424), and
    the tax on the withdrawal the difference of two years."""
    result = {step["step"]: step["result"] for step in document_of(question)["working"]}
    for which in ("without", "with"):
        added = sum(result.get(f"{step}_{which}", 0) for step in ADDED) - result.get(f"marriage_allowance_{which}", 0)
        assert abs(added - result[f"income_tax_of_year_{which}"]) < 0.0051 * len(ADDED)
    on_withdrawal = result["income_tax_of_year_with"] - result["income_tax_of_year_without"]
    assert abs(result["tax_on_withdrawal"] - on_withdrawal) < 0.001


def test_the_working_says_what_is_taken_from_the_allowance_for_gift_aid(client: FlaskClient) -> None:
    """Income of 12,000 and gifts of 2,500: the tax treated as deducted is 500, none of which is covered (ITA 2007 ss.423-424)."""
    person = {"income": [{"kind": "other_taxable", "amount": 12_000}], "gift_aid_donations": 2_500}
    document = answered(client, body("drawdown", 6_000, person=person), "?include=working")
    steps = {step["step"]: step for step in document["working"]}
    assert steps["personal_allowance_without"]["result"] == 12_570
    assert "Gift Aid is not in it, but told below." in steps["personal_allowance_without"]["detail"]
    assert steps["gift_aid_tax_without"]["result"] == steps["income_tax_of_year_without"]["result"] == 500
    # 18,000 less 12,570 at 20% is more than that: nothing is taken away.
    assert "Gift Aid" not in steps["personal_allowance_with"]["detail"]
    assert steps["income_tax_of_year_with"]["result"] == 1_086


def test_the_working_tells_the_rates_of_property_income(client: FlaskClient) -> None:
    """From 2027-28 property income has rates of its own (Finance Act 2026 s.6)."""
    person = {"income": [{"kind": "property_income", "amount": 30_000}]}
    for year, told in (("2026-27", False), ("2027-28", True)):
        document = answered(client, body("drawdown", 6_000, person=person, tax_year=year), "?include=working")
        (step,) = [each for each in document["working"] if each["step"] == "tax_below_savings_with"]
        assert ("22%" in step["detail"]) == told


def test_the_gross_for_a_net_where_gift_aid_has_to_be_covered(client: FlaskClient) -> None:
    """A State Pension of 11,973 and gifts of 600: 120 is due without a withdrawal and 480.60 with one of 3,000, which leaves
    2,639.40 of it (ITA 2007 ss.423-424). A penny less than 3,000 leaves less."""
    person = {
        "date_of_birth": "1955-01-01",
        "income": [{"kind": "state_pension", "amount": 11_973, "from": "2021-01-01"}],
        "gift_aid_donations": 600,
    }
    asked = {"method": "drawdown", "net_wanted": 2_639.40}
    whole = body("drawdown", 0, person=person)
    whole["withdrawal"] = asked
    found = answered(client, whole)
    assert (found["withdrawal"]["gross"], found["net_after_tax"]) == (3_000, 2_639.40)
    assert (found["income_tax"]["on_other_income"], found["income_tax"]["on_withdrawal"]) == (120, 360.60)
