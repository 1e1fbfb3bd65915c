"""Random people, pensions and withdrawals for the property tests: ordinary amounts, and amounts at the edges of bands."""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import strategies as st

from service.figures.loader import load_tax_years
from service.law.income_tax import NATIONS, Taxpayer
from service.law.rulebook import rule_book

BOOK = rule_book(load_tax_years())
YEARS = tuple(BOOK.years)

# Pounds at which something happens in one year or another, before and after allowances.
EDGES = (
    0, 500, 1_000, 1_250, 2_000, 5_000, 6_000, 12_500, 12_570, 17_570, 31_092, 37_700, 43_662, 50_000, 50_270, 60_000,
    75_000, 80_000, 100_000, 112_570, 125_140, 150_000,
)  # fmt: skip


def amounts(largest: int = 200_000) -> st.SearchStrategy[int]:
    """Pence from nothing to ``largest`` pounds: whole pounds, odd pennies, and a little either side of the edges."""
    near = st.tuples(st.sampled_from(EDGES), st.integers(-300, 300)).map(lambda pair: max(0, pair[0] * 100 + pair[1]))
    return st.one_of(
        st.just(0),
        st.integers(0, largest).map(lambda pounds: pounds * 100),
        st.integers(0, largest * 100),
        near.filter(lambda pence: pence <= largest * 100),
    )


@st.composite
def taxpayers(draw: Any, nations: tuple[str, ...] = NATIONS) -> Taxpayer:
    """A person's year without the withdrawal. Most have few kinds of income, as most people do."""
    seldom = st.one_of(st.just(0), amounts(30_000))
    return Taxpayer(
        nation=draw(st.sampled_from(nations)),
        other_income=draw(amounts(160_000)),
        property_income=draw(seldom),
        savings=draw(seldom),
        dividends=draw(seldom),
        relief_at_source=draw(st.one_of(st.just(0), amounts(20_000))),
        gift_aid=draw(st.one_of(st.just(0), amounts(3_000))),
        blind=draw(st.booleans()),
        marriage_allowance=draw(st.sampled_from(("none", "none", "gives", "receives"))),
        child_benefit=draw(st.sampled_from((0, 0, 0, 135_460, 225_160, 314_899))),
    )


years = st.sampled_from(YEARS)


def pounds(pence: int) -> float:
    """Pence as the JSON number of pounds."""
    return pence / 100


@st.composite
def requests(draw: Any) -> dict[str, Any]:
    """A well-formed request for the tax on a withdrawal; whether the rules allow it is another matter."""
    kinds = (
        "employment", "self_employment", "state_pension", "defined_benefit_pension", "annuity", "other_taxable",
        "property", "savings_interest", "dividends",
    )  # fmt: skip
    person: dict[str, Any] = {
        "date_of_birth": draw(st.dates(date(1940, 1, 1), date(1975, 1, 1))).isoformat(),
        "tax_residence": draw(st.sampled_from(NATIONS)),
    }
    income = draw(
        st.lists(
            st.fixed_dictionaries({"kind": st.sampled_from(kinds), "amount": amounts(60_000).map(pounds)}), max_size=4
        )
    )
    if income or draw(st.booleans()):
        person["income"] = income
    optional = {
        "relief_at_source_contributions": amounts(20_000).map(pounds),
        "gift_aid_donations": amounts(3_000).map(pounds),
        "marriage_allowance": st.sampled_from(("none", "gives", "receives")),
        "blind_persons_allowance": st.booleans(),
        "child_benefit": st.sampled_from((0, 1354.6, 2251.6)),
    }
    person.update(draw(st.fixed_dictionaries({}, optional=optional)))
    pension = {"uncrystallised": pounds(draw(amounts(600_000))), "drawdown": pounds(draw(amounts(300_000)))}
    pension.update(
        draw(
            st.fixed_dictionaries(
                {},
                optional={
                    "lifetime_allowance_used_percent": st.sampled_from((0, 12.34, 40, 99.99, 100, 135.12)),
                    "flexibly_accessed": st.booleans(),
                    "protected_lump_sum_allowance": st.sampled_from((312_500, 375_000)),
                },
            )
        )
    )
    method = draw(st.sampled_from(("pcls", "pcls_and_drawdown", "ufpls", "drawdown", "small_pot")))
    withdrawal: dict[str, Any] = {"method": method}
    withdrawal[draw(st.sampled_from(("amount", "net_wanted")))] = pounds(draw(amounts(200_000)))
    request: dict[str, Any] = {
        "tax_year": draw(years), "person": person, "pension": pension, "withdrawal": withdrawal
    }  # fmt: skip
    if draw(st.booleans()):
        basis = draw(st.sampled_from(("month_1", "cumulative")))
        payroll: dict[str, Any] = {
            "code": draw(st.sampled_from(("1257L", "S1257L", "C1131N", "K475", "SK12", "0T", "BR", "SD1", "D1", "NT"))),
            "basis": basis,
        }
        if basis == "cumulative":
            payroll["month"] = draw(st.integers(1, 12))
            payroll["pay_to_date"] = pounds(draw(amounts(60_000)))
            payroll["tax_to_date"] = pounds(draw(amounts(20_000)))
        request["payroll"] = payroll
    return request
