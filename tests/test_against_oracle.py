"""The service's tax equals a second, independent and slow computation, whatever the person and the year.

The second way is in tests/oracle: exact fractions, written from the statute, trying very many ways of using the
allowances. The year's tax is compared to the penny, a half penny up (common practice, from memory:
no rule of the statute was found); each deduction from pay exactly.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from functools import cache
from math import floor
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from oracle.figures import Figures, bands, pounds, read_figures, value
from oracle.income_tax import income_tax, relief_at_source
from oracle.payroll import deduction, too_much_and_too_little
from service import create_app
from service.figures.loader import load_tax_years
from service.law import payroll
from service.law.income_tax import Liability, Taxpayer, liability, rules_for, taxpayer_year
from service.settings import Settings

YEARS = load_tax_years()

RULES = {
    (name, nation): rules_for(year, nation)
    for name, year in YEARS.items()
    for nation in ("england", "northern_ireland", "scotland", "wales")
}

NOTHING = st.just(0)


SPREADER = 48_271
"""A prime. Multiplied by it, the small numbers that Hypothesis prefers are spread over a whole range."""


def spread(most: int) -> st.SearchStrategy[int]:
    """A whole number from 0 to `most`, all about as likely."""
    assert (most + 1) % SPREADER
    return st.integers(0, most).map(lambda number: number * SPREADER % (most + 1))


@cache
def figures_of(tax_year: str) -> Figures:
    """The figures for the second way, read once."""
    return read_figures(tax_year)


@cache
def edges_of(tax_year: str) -> list[int]:
    """Amounts of income at which something changes in the year, in pence."""
    figures = figures_of(tax_year)
    allowance = pounds(figures, "income_tax.personal_allowance")
    starting = pounds(figures, "income_tax.starting_rate_for_savings_limit")
    threshold = pounds(figures, "income_tax.personal_allowance_taper_threshold")
    charge = pounds(figures, "income_tax.child_benefit_charge_threshold")
    limits = {
        limit
        for table in ("bands_england", "bands_scotland")
        for _, _, limit in bands(figures, f"income_tax.{table}")
        if limit is not None
    }
    small = {
        pounds(figures, f"income_tax.{name}")
        for name in (
            "marriage_allowance",
            "blind_persons_allowance",
            "personal_savings_allowance_basic",
            "personal_savings_allowance_higher",
            "dividend_allowance",
        )
    }
    large = limits | {starting, threshold, charge, threshold + 2 * allowance}
    found = {allowance, *small, *large, *(each + allowance for each in large)}
    found |= {each - less for each in found for less in small if each > less}
    return sorted(int(each * 100) for each in found)


def money(tax_year: str, most: int = 200_000) -> st.SearchStrategy[int]:
    """Pence: nothing, any amount, whole pounds, or close to an edge."""
    near = st.builds(
        lambda edge, by: max(0, edge + by),
        st.sampled_from(edges_of(tax_year)),
        st.sampled_from([0, 0, 0, 1, -1, 100, -100, 300]) | st.integers(-5_000, 5_000),
    )
    whole = spread(most).map(lambda amount: amount * 100)
    return st.one_of(NOTHING, near, near, whole, spread(most // 4).map(lambda amount: amount * 100), spread(most * 100))


@st.composite
def people(draw: st.DrawFn) -> dict[str, Any]:
    """A person in a tax year; money in pence. Often the total is put close to an edge."""
    tax_year = draw(st.sampled_from(sorted(YEARS)))
    reliefs = st.one_of(NOTHING, NOTHING, spread(60_000 * 100))
    person: dict[str, Any] = {
        "tax_year": tax_year,
        "nation": draw(st.sampled_from(["england", "scotland", "scotland", "wales", "northern_ireland"])),
        "other": draw(money(tax_year)),
        "withdrawal": draw(st.one_of(NOTHING, money(tax_year))),
        "property": draw(st.one_of(NOTHING, NOTHING, money(tax_year))),
        "savings": draw(st.one_of(NOTHING, money(tax_year))),
        "dividends": draw(st.one_of(NOTHING, money(tax_year))),
        "relief_at_source": draw(reliefs),
        "gift_aid": draw(st.one_of(NOTHING, reliefs)),
        "blind": draw(st.sampled_from([False, False, True])),
        "marriage": draw(st.sampled_from(["none", "none", "gives", "receives"])),
        "child_benefit": draw(st.one_of(NOTHING, spread(5_000 * 100))),
    }
    if draw(st.booleans()):
        # A total at an edge, whatever it is made of: the limits of bands are limits of the total.
        kind = draw(st.sampled_from(["other", "savings", "dividends"]))
        rest = sum(person[each] for each in ("other", "withdrawal", "property", "savings", "dividends")) - person[kind]
        edge = draw(st.sampled_from(edges_of(tax_year))) + person["relief_at_source"] + person["gift_aid"]
        person[kind] = max(0, edge - rest + draw(st.integers(-2, 2) | st.integers(-60_000, 60_000)))
    return person


def by_service(person: dict[str, Any]) -> Liability:
    """The year through the service's own functions."""
    taxpayer = Taxpayer(
        nation=person["nation"],
        other_income=person["other"],
        property_income=person["property"],
        savings=person["savings"],
        dividends=person["dividends"],
        relief_at_source=person["relief_at_source"],
        gift_aid=person["gift_aid"],
        blind=person["blind"],
        marriage_allowance=person["marriage"],
        child_benefit=person["child_benefit"],
    )
    rules = RULES[person["tax_year"], person["nation"]]
    return liability(taxpayer_year(taxpayer, rules), person["withdrawal"])


def by_oracle(person: dict[str, Any]) -> dict[str, Any]:
    """The year by the second way."""
    return income_tax(
        figures_of(person["tax_year"]),
        person["nation"],
        non_savings=Fraction(person["other"] + person["withdrawal"], 100),
        property=Fraction(person["property"], 100),
        savings=Fraction(person["savings"], 100),
        dividends=Fraction(person["dividends"], 100),
        relief_extension=Fraction(person["relief_at_source"] + person["gift_aid"], 100),
        gift_aid=Fraction(person["gift_aid"], 100),
        blind=person["blind"],
        marriage=person["marriage"],
        child_benefit=Fraction(person["child_benefit"], 100),
    )


def to_the_penny(exact: Fraction) -> int:
    """Pence of an exact amount of pounds, a half penny up."""
    return floor(exact * 100 + Fraction(1, 2))


def check_person(person: dict[str, Any]) -> None:
    """Compare the two ways for one person.

    Where no tax is left, how much of the marriage allowance reduction was needed depends on which of several equally
    good uses of the allowances is taken, so it is compared only where some tax is left.
    """
    expected, found = by_oracle(person), by_service(person)
    reduction = Fraction(found.marriage_allowance_reduction, 1_000_000)
    assert {
        "total": found.total,
        "exact tax": Fraction(found.income_tax, 1_000_000),
        "child benefit charge": found.child_benefit_charge,
        "personal allowance": found.personal_allowance,
        "marriage allowance reduction": reduction if found.income_tax else None,
    } == {
        "total": to_the_penny(expected["tax"]) + expected["child_benefit_charge"] * 100,
        "exact tax": expected["tax"],
        "child benefit charge": expected["child_benefit_charge"] * 100,
        "personal allowance": expected["personal_allowance"] * 100,
        "marriage allowance reduction": expected["marriage_reduction"] if expected["tax"] else None,
    }


@settings(max_examples=400, deadline=None)
@given(person=people())
def test_years_tax(person: dict[str, Any]) -> None:
    check_person(person)


@st.composite
def couples(draw: st.DrawFn) -> dict[str, Any]:
    """A person who gives or receives the marriage allowance, at the edge of the rates that bar it; money in pence."""
    tax_year = draw(st.sampled_from(sorted(YEARS)))
    nation = draw(st.sampled_from(["england", "scotland"]))
    relief = draw(st.one_of(NOTHING, spread(30_000).map(lambda amount: amount * 100)))
    figures = figures_of(tax_year)
    limits = [bands(figures, "income_tax.savings_bands")[0][2]]
    if nation == "scotland":
        limits.append(bands(figures, "income_tax.bands_scotland")[2][2])
    kinds = ["other", "property", "savings", "dividends"]
    parts = {kind: draw(st.one_of(NOTHING, spread(3_000).map(lambda amount: amount * 100))) for kind in kinds}
    rest = draw(st.sampled_from(["other", "other", *kinds]))
    limit = draw(st.sampled_from([limit for limit in limits if limit is not None]))
    top = floor((limit + pounds(figures, "income_tax.personal_allowance")) * 100) + relief
    by = draw(st.integers(-2, 2) | spread(600).map(lambda amount: amount * 100))
    parts[rest] = max(0, top + by - sum(amount for kind, amount in parts.items() if kind != rest))
    return {
        "tax_year": tax_year,
        "nation": nation,
        **parts,
        "withdrawal": 0,
        "relief_at_source": relief,
        "gift_aid": 0,
        "blind": False,
        "marriage": draw(st.sampled_from(["gives", "receives"])),
        "child_benefit": 0,
    }


@settings(max_examples=200, deadline=None)
@given(person=couples())
def test_years_tax_of_a_couple_at_the_edge_of_the_marriage_allowance(person: dict[str, Any]) -> None:
    """The best use of the allowances counts the tax reduction: it may pay to keep income out of the higher rates.

    ITA 2007 s.25(2) asks for the greatest reduction of the liability to income tax, which is what step 7 of s.23
    leaves after the tax reductions of step 6, and so after s.55B.
    """
    check_person(person)


@pytest.mark.parametrize("kind", ["dividends", "savings"])
def test_allowances_used_so_as_to_keep_the_marriage_allowance(kind: str) -> None:
    """England, 2024-25: pension 48,870 and 1,500 of dividends or of interest, 100 above the basic rate limit.

    All of the allowance against the pension: 36,300 at 20%, dividends 500 at 0%, 900 at 8.75%, 100 at 33.75%, so
    7,260 + 78.75 + 33.75 = 7,372.50, and no reduction. 1,000 of it against the dividends: 37,300 at 20% and 500 of
    dividends at 0%, so 7,460 less the reduction of 252 = 7,208. With interest in their place the 500 are the
    savings allowance. By hand from ITA 2007 ss.12A, 12B, 13A, 23, 25(2), 55B.
    """
    person = {
        "tax_year": "2024-25",
        "nation": "england",
        "other": 4_887_000,
        "withdrawal": 0,
        "property": 0,
        "savings": 0,
        "dividends": 0,
        "relief_at_source": 0,
        "gift_aid": 0,
        "blind": False,
        "marriage": "receives",
        "child_benefit": 0,
    } | {kind: 150_000}
    assert by_oracle(person)["tax"] == 7_208
    check_person(person)


SEVERAL = {
    "other": spread(15_000) | spread(60_000),
    "property": NOTHING | spread(30_000),
    "savings": spread(3_000) | spread(30_000),
    "dividends": NOTHING | spread(3_000) | spread(30_000),
}
"""Amounts, in pounds, of which the allowances are a large part."""


@pytest.mark.parametrize("nation", ["england", "scotland"])
@pytest.mark.parametrize("own_order", [False, True], ids=["free_order", "order_from_2027"])
@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_years_tax_where_the_allowances_can_be_used_in_several_ways(
    nation: str, own_order: bool, data: st.DataObject
) -> None:
    tax_years = [
        tax_year
        for tax_year in YEARS
        if (value(figures_of(tax_year), "income_tax.allowance_order") == "other_income_first") is own_order
    ]
    person: dict[str, Any] = {kind: data.draw(amounts) * 100 for kind, amounts in SEVERAL.items()}
    person |= {
        "tax_year": data.draw(st.sampled_from(tax_years)),
        "nation": nation,
        "withdrawal": 0,
        "relief_at_source": 0,
        "gift_aid": 0,
        "blind": data.draw(st.booleans()),
        "marriage": data.draw(st.sampled_from(["none", "none", "gives", "receives"])),
        "child_benefit": 0,
    }
    check_person(person)


CLIENT = create_app(Settings.for_tests()).test_client()


def record_of(person: dict[str, Any], incomes: dict[str, int], drawdown: int) -> dict[str, Any]:
    """A person's record in a request, with a pension in drawdown; incomes and drawdown are pence."""
    return {
        "date_of_birth": "1957-03-14",
        "tax_residence": person["nation"],
        "income": [{"kind": kind, "amount": amount / 100} for kind, amount in incomes.items()],
        "contributions": [{"yearly": person["relief_at_source"] / 100, "relief": "relief_at_source"}],
        "gift_aid_donations": person["gift_aid"] / 100,
        "marriage_allowance": person["marriage"],
        "blind_persons_allowance": person["blind"],
        "child_benefit": person["child_benefit"] / 100,
        "pensions": [{"uncrystallised": 0, "drawdown": drawdown / 100}],
    }


def with_relief_as_limited(
    person: dict[str, Any], earnings: int, net_pay: int = 0, *, past_75: bool = False
) -> dict[str, Any]:
    """The person with what of the contributions has relief beside so many pence of earnings and of net pay, by the second way;
    pay that has none is income."""
    relief = relief_at_source(
        figures_of(person["tax_year"]),
        Fraction(person["relief_at_source"], 100),
        Fraction(earnings, 100),
        Fraction(net_pay, 100),
        reached_the_age=past_75,
    )
    return person | {
        "relief_at_source": int(relief * 100),
        "other": person["other"] + (net_pay if past_75 else 0),
    }


@settings(max_examples=150, deadline=None)
@given(
    person=people(),
    earned=st.sampled_from([0, 100]) | st.integers(0, 100),
    net_pay=st.one_of(NOTHING, NOTHING, spread(8_000 * 100)),
    past_75=st.booleans(),
)
def test_years_tax_over_http(person: dict[str, Any], earned: int, net_pay: int, past_75: bool) -> None:
    """The same through a request: the year's tax, without the withdrawal and with it, and what it makes of the two."""
    earnings = person["other"] * earned // 100
    incomes = {
        "annuity": person["other"] - earnings,
        "employment": earnings - earnings // 2,
        "self_employment": earnings // 2,
        "property_income": person["property"],
        "savings_interest": person["savings"],
        "dividends": person["dividends"],
    }
    record = record_of(person, incomes, person["withdrawal"])
    record["contributions"].append({"yearly": net_pay / 100, "relief": "net_pay"})
    if past_75:
        record["date_of_birth"] = "1940-03-14"
    response = CLIENT.post(
        "/v1/withdrawal-tax",
        json={
            "tax_year": person["tax_year"],
            "household": {"people": [record]},
            "withdrawal": {"method": "drawdown", "amount": person["withdrawal"] / 100},
        },
    )
    assert response.status_code == 200, response.get_data(as_text=True)
    found = response.get_json()["income_tax"]
    person = with_relief_as_limited(person, earnings, net_pay, past_75=past_75)
    before, after = (
        to_the_penny(year["tax"]) + year["child_benefit_charge"] * 100
        for year in (by_oracle(person | {"withdrawal": 0}), by_oracle(person))
    )
    assert {name: found[name] for name in ("on_other_income", "total", "on_withdrawal")} == {
        "on_other_income": before / 100,
        "total": after / 100,
        "on_withdrawal": (after - before) / 100,
    }
    assert sum(Decimal(str(part["tax"])) for part in found["slices"]) == Decimal(after - before) / 100


CODES = st.one_of(
    st.builds(
        "{}{}{}".format,
        st.sampled_from(["", "S", "C"]),
        st.sampled_from([0, 1, 45, 499, 500, 501, 999, 1000, 1001, 1250, 1257]) | spread(9_999),
        st.sampled_from("LMNT"),
    ),
    st.builds(
        "{}K{}".format,
        st.sampled_from(["", "S", "C"]),
        st.sampled_from([1, 100, 475, 500, 501]) | spread(9_999),
    ),
    st.sampled_from(["0T", "S0T", "C0T", "NT", "BR", "D0", "D1", "SBR", "SD0", "SD1", "SD2", "CBR", "CD0", "CD1"]),
)


@st.composite
def payments(draw: st.DrawFn) -> dict[str, Any]:
    """A payment under a code; money in pence. Often what is left of it lies close to a month's limit."""
    tax_year = draw(st.sampled_from(sorted(YEARS)))
    month = draw(st.integers(1, 12))
    limits = [
        limit
        for table in ("bands_england", "bands_scotland")
        for _, _, limit in bands(figures_of(tax_year), f"income_tax.{table}")
        if limit is not None
    ]
    edge = st.builds(
        lambda limit, by: max(0, floor(limit * 100 / 12) + 104_826 + by),
        st.sampled_from(limits),
        st.integers(-250, 250),
    )
    return {
        "tax_year": tax_year,
        "code": draw(CODES),
        "basis": draw(st.sampled_from(["month_1", "cumulative"])),
        "pay": draw(st.one_of(edge, spread(3_000_000), spread(50_000_000))),
        "month": month,
        "pay_to_date": draw(st.one_of(NOTHING, spread(10_000_000))),
        "tax_to_date": draw(st.one_of(NOTHING, spread(4_000_000))),
    }


@settings(max_examples=1_000, deadline=None)
@given(payment=payments())
def test_deduction_from_a_payment(payment: dict[str, Any]) -> None:
    found = payroll.deduction(
        payroll.rules_for(YEARS[payment["tax_year"]]),
        payroll.parse_code(payment["code"]),
        payment["pay"],
        cumulative=payment["basis"] == "cumulative",
        month=payment["month"],
        pay_to_date=payment["pay_to_date"],
        tax_to_date=payment["tax_to_date"],
    )
    expected = deduction(
        figures_of(payment["tax_year"]),
        payment["code"],
        payment["basis"],
        Fraction(payment["pay"], 100),
        payment["month"],
        Fraction(payment["pay_to_date"], 100),
        Fraction(payment["tax_to_date"], 100),
    )
    assert Fraction(found.tax, 100) == expected


@settings(max_examples=200, deadline=None)
@given(person=people(), payment=payments(), earlier=st.integers(0, 100))
def test_what_is_too_much_and_too_little_over_http(
    person: dict[str, Any], payment: dict[str, Any], earlier: int
) -> None:
    """Both against the second way: some or all of the pay to date is in the income, or more than all the income."""
    tax_year, basis = person["tax_year"], payment["basis"]
    code = "BR" if payment["code"] == "SD3" else payment["code"]
    annuity = person["other"] * earlier // 100
    pay = payment["pay"]
    asked: dict[str, Any] = {"code": code, "basis": basis}
    if basis == "cumulative":
        asked |= {"month": payment["month"]}
        asked |= {name: payment[name] / 100 for name in ("pay_to_date", "tax_to_date")}
    incomes = {
        "annuity": annuity,
        "self_employment": person["other"] - annuity,
        "property_income": person["property"],
        "savings_interest": person["savings"],
        "dividends": person["dividends"],
    }
    response = CLIENT.post(
        "/v1/withdrawal-tax",
        json={
            "tax_year": tax_year,
            "household": {"people": [record_of(person, incomes, pay)]},
            "withdrawal": {"method": "drawdown", "amount": pay / 100},
            "payroll": asked,
        },
    )
    assert response.status_code == 200, response.get_data(as_text=True)
    found = response.get_json()["payroll"]
    person = with_relief_as_limited(person, person["other"] - annuity)

    def tax_of_year(non_savings: Fraction) -> Fraction:
        year = by_oracle(person | {"other": int(non_savings * 100), "withdrawal": 0})
        return Fraction(to_the_penny(year["tax"]), 100) + year["child_benefit_charge"]

    so_far = {name: Fraction(payment[name], 100) for name in ("pay_to_date", "tax_to_date")}
    deducted = deduction(
        figures_of(tax_year), code, basis, Fraction(pay, 100), payment["month"], *so_far.values()
    )  # fmt: skip
    over, under = too_much_and_too_little(
        code,
        basis,
        deducted if pay else Fraction(0),
        Fraction(pay, 100),
        tax_of_year,
        Fraction(person["other"], 100),
        Fraction(annuity, 100),
        *so_far.values(),
    )
    assert (found["over_deducted"], found["under_deducted"]) == (float(over), float(under))
    if pay:
        taken = deducted + (so_far["tax_to_date"] if basis == "cumulative" else 0)
        assert found["deducted_in_year"] == float(taken)
        assert found["due_in_year"] == float(taken - over + under)
    else:
        assert "deducted_in_year" not in found
        assert "due_in_year" not in found


def test_every_flat_rate_code_of_every_year() -> None:
    """Codes that came later, such as SD3, in the years that have them."""
    for tax_year in YEARS:
        rules = payroll.rules_for(YEARS[tax_year])
        codes = value(figures_of(tax_year), "payroll.flat_rate_codes")
        assert len(codes) >= 10
        for code in codes:
            found = payroll.deduction(rules, payroll.parse_code(code), 123_456)
            expected = deduction(figures_of(tax_year), code, "month_1", Fraction(123_456, 100))
            assert Fraction(found.tax, 100) == expected, (tax_year, code)
