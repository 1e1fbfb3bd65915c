"""Every warning has a case just inside and one just outside: a penny, a day, a code or a method apart."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law import lump_sums
from service.law.dates import day_month_year
from service.law.lump_sums import METHODS, Pension
from service.planning.household import Income, Person
from service.planning.payroll import PayrollFacts
from service.planning.quote.circumstances import warnings_for
from service.planning.quote.quote import Question, Withdrawal, quote
from service.planning.warnings.registry import CATALOGUE
from service.planning.warnings.warning import ClientWarning
from tests.households import BOOK, YEARS
from tests.planning.warning_requests import amounts_not_told, figures_that_differ

OLD_ENOUGH = date(1955, 6, 1)


def asked(
    method: str = "drawdown",
    amount: int = 100_000,
    *,
    tax_year: str = "2026-27",
    born: date = OLD_ENOUGH,
    nation: str = "england",
    day: date | None = None,
    income: dict[str, int] | None = None,
    payroll: PayrollFacts | None = None,
    pension: Pension | None = None,
    protected_share: int = 0,
    received: int | None = None,
    small_pots_taken: int | None = None,
    scheme_kind: str | None = None,
    **person: Any,
) -> dict[str, ClientWarning]:
    """The warnings of a withdrawal by their codes; money in pence."""
    incomes = tuple(Income(kind, each) for kind, each in (income or {}).items())
    question = Question(
        tax_year,
        Person(born, nation, incomes, **person),
        pension or Pension(100_000_000, drawdown=100_000_000, protected_tax_free_share=protected_share),
        Withdrawal(method, amount, day=day),
        payroll,
        tax_free_received=received,
        small_pots_taken=small_pots_taken,
        scheme_kind=scheme_kind,
    )
    found = warnings_for(quote(question, BOOK))
    assert len({warning.code for warning in found}) == len(found)
    return {warning.code: warning for warning in found}


NO_TAX = PayrollFacts("NT", "month_1")
BASIC = PayrollFacts("BR", "month_1")
PROTECTED = Pension(20_000_000, protected_tax_free_share=4_000)
GONE = 26_827_500  # the lump sum allowance, ITEPA 2003 s.637P

# Code: what brings it, and what just does not.
CASES: dict[str, list[tuple[dict[str, Any], dict[str, Any]]]] = {
    "below_minimum_pension_age": [
        # Finance Act 2004 s.279: 55 reached on the day, and the day before.
        (
            {"born": date(1971, 9, 1), "day": date(2026, 8, 31)},
            {"born": date(1971, 9, 1), "day": date(2026, 9, 1)},
        ),
        # Without a day: the first birthday after the tax year, and the last in it.
        ({"born": date(1972, 4, 6)}, {"born": date(1972, 4, 5)}),
    ],
    "minimum_pension_age_depends_on_the_day": [
        ({"born": date(1971, 4, 7)}, {"born": date(1971, 4, 6)}),
        ({"born": date(1972, 4, 5)}, {"born": date(1972, 4, 6)}),
        ({"born": date(1971, 9, 1)}, {"born": date(1971, 9, 1), "day": date(2026, 9, 1)}),
    ],
    "lifetime_allowance_exceeded": [
        # Finance Act 2004 s.214: 1,073,100, and four pence more so that either charge is at least a penny.
        (
            {"method": method, "amount": 107_310_004, "tax_year": tax_year, "pension": Pension(107_310_004)},
            {"method": method, "amount": 107_310_000, "tax_year": tax_year, "pension": Pension(107_310_004)},
        )
        for method in ("ufpls", "pcls_and_drawdown")
        for tax_year in ("2022-23", "2023-24")
    ]
    + [
        # Abolished on 6 April 2024.
        (
            {"method": "ufpls", "amount": 120_000_000, "tax_year": "2023-24", "pension": Pension(120_000_000)},
            {"method": "ufpls", "amount": 120_000_000, "tax_year": "2024-25", "pension": Pension(120_000_000)},
        )
    ],
    "money_purchase_annual_allowance_triggered": [
        # Finance Act 2004 s.227G: income and a UFPLS do, a lump sum or a small pot alone does not.
        ({"method": "drawdown", "amount": 1}, {"method": "drawdown", "amount": 0}),
        ({"method": "ufpls", "amount": 1}, {"method": "ufpls", "amount": 0}),
        ({"method": "pcls_and_drawdown", "amount": 4}, {"method": "pcls", "amount": 1}),
        ({"method": "ufpls"}, {"method": "small_pot"}),
        ({"method": "ufpls"}, {"method": "ufpls", "pension": Pension(10_000_000, flexibly_accessed=True)}),
    ],
    "marriage_allowance_lost": [
        # ITA 2007 s.55B: 12,570 + 37,700 = 50,270 is all within the basic rate; a penny more is not.
        (
            {"amount": 2_027_001, "income": {"employment": 3_000_000}, "marriage_allowance": "receives"},
            {"amount": 2_027_000, "income": {"employment": 3_000_000}, "marriage_allowance": "receives"},
        ),
        # A Scottish taxpayer: above the intermediate rate, 12,570 + 31,092 = 43,662.
        (
            {
                "amount": 1_366_201,
                "income": {"employment": 3_000_000},
                "marriage_allowance": "receives",
                "nation": "scotland",
            },
            {
                "amount": 1_366_200,
                "income": {"employment": 3_000_000},
                "marriage_allowance": "receives",
                "nation": "scotland",
            },
        ),
        # Where it was lost before the withdrawal, or never held, the withdrawal does not cost it.
        (
            {"amount": 100_000, "income": {"employment": 5_027_000}, "marriage_allowance": "receives"},
            {"amount": 100_000, "income": {"employment": 5_027_001}, "marriage_allowance": "receives"},
        ),
        (
            {"amount": 3_000_000, "income": {"employment": 3_000_000}, "marriage_allowance": "receives"},
            {"amount": 3_000_000, "income": {"employment": 3_000_000}},
        ),
    ],
    "marriage_allowance_not_available": [
        # Who gives keeps 12,570 - 1,260 = 11,310, and stays within the basic rate up to 49,010 (s.55C).
        (
            {"amount": 1_901_001, "income": {"employment": 3_000_000}, "marriage_allowance": "gives"},
            {"amount": 1_901_000, "income": {"employment": 3_000_000}, "marriage_allowance": "gives"},
        ),
        (
            {"amount": 1, "income": {"employment": 5_027_001}, "marriage_allowance": "receives"},
            {"amount": 1, "income": {"employment": 5_027_000}, "marriage_allowance": "receives"},
        ),
    ],
    "payroll_takes_more_than_is_due": [
        # BR takes 200.00 of 1,000; due is a fifth of what is above 12,570: 199.00 or 199.01.
        (
            {"payroll": BASIC, "income": {"employment": 1_256_500}},
            {"payroll": BASIC, "income": {"employment": 1_256_505}},
        ),
        # The same over the year: 200.00 of 1,000 taken before and as much now; 399.00 are due, or 399.01.
        (
            {"payroll": PayrollFacts("BR", "cumulative", 3, 100_000, 20_000), "income": {"employment": 1_356_500}},
            {"payroll": PayrollFacts("BR", "cumulative", 3, 100_000, 20_000), "income": {"employment": 1_356_505}},
        ),
        # 500.00 of 1,000 was taken before, and some is given back: of 2,000, 1,048.33 is free in the first month and all of
        # it in the second.
        (
            {"payroll": PayrollFacts("1257L", "cumulative", 1, 100_000, 50_000), "income": {"employment": 100_000}},
            {"payroll": PayrollFacts("1257L", "cumulative", 2, 100_000, 50_000), "income": {"employment": 100_000}},
        ),
    ],
    "payroll_takes_less_than_is_due": [
        # BR takes 200.00; due is 40% above 50,270: 201.00 or 200.99.
        (
            {"payroll": BASIC, "income": {"employment": 4_927_500}, "amount": 100_000},
            {"payroll": BASIC, "income": {"employment": 4_927_495}, "amount": 100_000},
        ),
        # 500.00 was taken before, and all of it is given back: due are 200.00 of what is above 12,570, or nothing.
        (
            {"payroll": PayrollFacts("1257L", "cumulative", 2, 100_000, 50_000), "income": {"employment": 1_257_000}},
            {"payroll": PayrollFacts("1257L", "cumulative", 2, 100_000, 50_000), "income": {"employment": 1_157_000}},
        ),
        # Under NT nothing is due through payroll.
        (
            {"payroll": PayrollFacts("0L", "cumulative", 1, 0, 0), "income": {"employment": 5_027_000}},
            {"payroll": NO_TAX, "income": {"employment": 5_027_000}},
        ),
    ],
    "no_lump_sum_allowance_left": [
        (
            {"method": "ufpls", "pension": Pension(10_000_000, lump_sum_allowance_used=GONE)},
            {"method": "ufpls", "pension": Pension(10_000_000, lump_sum_allowance_used=GONE - 1)},
        ),
        (
            {"method": "ufpls", "pension": Pension(10_000_000, lifetime_allowance_used=10_000)},
            {"method": "ufpls", "pension": Pension(10_000_000, lifetime_allowance_used=9_999)},
        ),
        # The conditions of drawdown are others, and before 6 April 2024 there was no such allowance.
        (
            {"method": "ufpls", "pension": Pension(10_000_000, lifetime_allowance_used=10_000)},
            {"method": "pcls_and_drawdown", "pension": Pension(10_000_000, lifetime_allowance_used=10_000)},
        ),
        (
            {"method": "ufpls", "pension": Pension(10**7, lifetime_allowance_used=10_000), "tax_year": "2024-25"},
            {"method": "ufpls", "pension": Pension(10**7, lifetime_allowance_used=10_000), "tax_year": "2023-24"},
        ),
    ],
    "small_pot_must_end_the_arrangement": [
        (
            {"method": "small_pot", "amount": 1_000_000, "pension": Pension(1_000_001)},
            {"method": "small_pot", "amount": 1_000_000, "pension": Pension(1_000_000)},
        ),
        (
            {"method": "small_pot", "amount": 600_000, "pension": Pension(300_000, drawdown=300_001)},
            {"method": "small_pot", "amount": 600_000, "pension": Pension(300_000, drawdown=300_000)},
        ),
        (
            {"method": "small_pot", "amount": 500_000, "pension": Pension(600_000)},
            {"method": "ufpls", "amount": 500_000, "pension": Pension(600_000)},
        ),
    ],
    "scottish_property_income": [
        # Finance Act 2026 s.6: property rates from 2027-28.
        (
            {"nation": "scotland", "income": {"property_income": 1}, "tax_year": "2027-28"},
            {"nation": "scotland", "income": {"property_income": 1}, "tax_year": "2026-27"},
        ),
        (
            {"nation": "scotland", "income": {"property_income": 1}, "tax_year": "2027-28"},
            {"nation": "scotland", "income": {"property_income": 0}, "tax_year": "2027-28"},
        ),
        *(
            (
                {"nation": "scotland", "income": {"property_income": 1}, "tax_year": "2027-28"},
                {"nation": nation, "income": {"property_income": 1}, "tax_year": "2027-28"},
            )
            for nation in ("england", "wales", "northern_ireland")
        ),
    ],
    "pay_to_date_above_income": [
        (
            {"payroll": PayrollFacts("1257L", "cumulative", 3, 100_001), "income": {kind: 100_000}},
            {"payroll": PayrollFacts("1257L", "cumulative", 3, 100_000), "income": {kind: 100_000}},
        )
        for kind in ("employment", "defined_benefit_pension", "annuity", "other_taxable")
    ]
    + [
        # No payer of a pension pays these.
        (
            {"payroll": PayrollFacts("1257L", "cumulative", 3, 1), "income": {kind: 100_000}},
            {"payroll": PayrollFacts("1257L", "cumulative", 3, 0), "income": {kind: 100_000}},
        )
        for kind in ("state_pension", "self_employment", "property_income", "savings_interest", "dividends")
    ],
    "payroll_month_differs_from_the_date": [
        # Month 1 is 6 April to 5 May, month 12 is 6 March to 5 April.
        *(
            (
                {"payroll": PayrollFacts("1257L", "cumulative", wrong), "day": day},
                {"payroll": PayrollFacts("1257L", "cumulative", right), "day": day},
            )
            for day, right, wrong in (
                (date(2026, 4, 6), 1, 12),
                (date(2026, 5, 5), 1, 2),
                (date(2026, 5, 6), 2, 1),
                (date(2026, 12, 31), 9, 8),
                (date(2027, 1, 5), 9, 10),
                (date(2027, 1, 6), 10, 9),
                (date(2027, 4, 5), 12, 1),
            )
        ),
        # Without a day there is nothing to differ from, and month 1 as a basis looks at no month.
        (
            {"payroll": PayrollFacts("1257L", "cumulative", 2), "day": date(2026, 12, 1)},
            {"payroll": PayrollFacts("1257L", "cumulative", 2)},
        ),
        (
            {"payroll": PayrollFacts("1257L", "cumulative", 2), "day": date(2026, 12, 1)},
            {"payroll": PayrollFacts("1257L", "month_1", 2), "day": date(2026, 12, 1)},
        ),
        # Payroll does not touch a payment that is all tax free.
        (
            {"payroll": PayrollFacts("1257L", "cumulative", 2), "day": date(2026, 12, 1)},
            {"payroll": PayrollFacts("1257L", "cumulative", 2), "day": date(2026, 12, 1), "method": "pcls"},
        ),
    ],
    "tax_code_of_another_nation": [
        (
            {"payroll": PayrollFacts(prefix + text, "month_1"), "nation": nation},
            {"payroll": PayrollFacts(own + text, "month_1"), "nation": nation},
        )
        for nation, own in (("england", ""), ("northern_ireland", ""), ("scotland", "S"), ("wales", "C"))
        for prefix in ("", "S", "C")
        for text in ("1257L", "K475", "0T", "BR", "D0")
        if prefix != own
    ]
    + [
        (
            {"payroll": PayrollFacts("SD2", "month_1")},
            {"payroll": PayrollFacts("SD2", "month_1"), "nation": "scotland"},
        ),
        # NT has no nation, and neither has a code that is assumed.
        (
            {"payroll": PayrollFacts("BR", "month_1"), "nation": "scotland"},
            {"payroll": PayrollFacts("NT", "month_1"), "nation": "scotland"},
        ),
        ({"payroll": PayrollFacts("1257L", "month_1"), "nation": "wales"}, {"nation": "wales"}),
        (
            {"payroll": PayrollFacts("S1257L", "month_1")},
            {"payroll": PayrollFacts("S1257L", "month_1"), "method": "pcls"},
        ),
    ],
    "protected_lump_sum_lost": [
        # More than the quarter of Finance Act 2004 Sch.29 para 2, in basis points.
        ({"protected_share": 2_501, "method": "ufpls"}, {"protected_share": 2_500, "method": "ufpls"}),
        ({"protected_share": 3_000, "method": "ufpls"}, {"protected_share": 3_000, "method": "drawdown"}),
        # Sch.36 para 31(3): 40% of 200,000 with all of it, or a part.
        (
            {"method": "pcls", "amount": 2_000_000, "pension": PROTECTED},
            {"method": "pcls", "amount": 8_000_000, "pension": PROTECTED},
        ),
    ],
    "protected_lump_sum_relied_on": [
        (
            {"method": "pcls", "amount": 8_000_000, "pension": PROTECTED},
            {"method": "pcls", "amount": 5_000_000, "pension": PROTECTED},
        ),
    ],
    "drawdown_under_new_minimum_pension_age": [
        (
            {"born": date(1972, 6, 1), "day": date(2028, 4, 6), "tax_year": "2028-29"},
            {"born": date(1972, 6, 1), "day": date(2028, 4, 5), "tax_year": "2027-28"},
        ),
        # Without a day: 57 on the last of the tax year, which was not reached on its first, and which was.
        (
            {"born": date(1971, 4, 7), "tax_year": "2028-29"},
            {"born": date(1971, 4, 6), "tax_year": "2028-29"},
        ),
    ],
    # SI 2009/1171 reg.11A: at most three from personal schemes.
    "small_pots_not_given": [
        ({"method": "small_pot"}, {"method": "small_pot", "scheme_kind": "occupational"}),
        ({"method": "small_pot", "small_pots_taken": 3}, {"method": "small_pot", "small_pots_taken": 2}),
    ],
    "too_many_small_pots": [
        (
            {"method": "small_pot", "small_pots_taken": 3, "scheme_kind": "personal"},
            {"method": "small_pot", "small_pots_taken": 2, "scheme_kind": "personal"},
        ),
    ],
    # PTM174300: the certificate is applied for before the first lump sum since 6 April 2024.
    "tax_free_received_before_april_2024_decides": [
        (
            {"method": "pcls", "pension": Pension(100_000_000, lifetime_allowance_used=4_000)},
            {"method": "pcls", "pension": Pension(100_000_000, lifetime_allowance_used=4_000), "received": 10_731_000},
        ),
    ],
    "transitional_certificate_worth_considering": [
        (
            {"method": "pcls", "pension": Pension(100_000_000, lifetime_allowance_used=4_000), "received": 10_730_999},
            {"method": "pcls", "pension": Pension(100_000_000, lifetime_allowance_used=4_000), "received": 10_731_000},
        ),
    ],
}
EITHER_SIDE = [
    pytest.param(code, inside, outside, id=f"{code}-{number}")
    for code, cases in CASES.items()
    for number, (inside, outside) in enumerate(cases)
]


@pytest.mark.parametrize(("code", "inside", "outside"), EITHER_SIDE)
def test_just_inside_and_just_outside(code: str, inside: dict[str, Any], outside: dict[str, Any]) -> None:
    assert code in asked(**inside)
    assert code not in asked(**outside)


def test_an_ordinary_withdrawal_warns_of_little() -> None:
    """A second UFPLS of someone retired, taxed by the code that fits: nothing to say."""
    pension = Pension(10_000_000, flexibly_accessed=True)
    assert asked("ufpls", 400_000, pension=pension, payroll=BASIC, income={"state_pension": 1_257_000}) == {}


# What the warnings say


def test_what_the_loss_of_the_marriage_allowance_costs() -> None:
    """A tenth of 12,570 up to ten pounds is 1,260; at 20% that is 252 (ITA 2007 s.55B)."""
    income = {"employment": 3_000_000}
    lost = asked(amount=3_000_000, income=income, marriage_allowance="receives")["marriage_allowance_lost"]
    assert (lost.effect, lost.cost, dict(lost.money)) == (
        "costs",
        25_200,
        {"marriage_allowance_reduction_lost": 25_200},
    )
    assert "£252" in lost.detail


def test_what_is_over_the_lifetime_allowance_costs() -> None:
    """FA 2004 s.215: 55% of 100,000 paid out, 25% of it kept for income; nothing in 2023-24."""
    facts: dict[str, Any] = {"amount": 117_310_000, "pension": Pension(117_310_000)}
    for method, tax_year, charge in (
        ("ufpls", "2022-23", 5_500_000),
        ("pcls_and_drawdown", "2022-23", 2_500_000),
        ("ufpls", "2023-24", 0),
    ):
        found = asked(method, tax_year=tax_year, **facts)["lifetime_allowance_exceeded"]
        assert dict(found.money) == {"above_lifetime_allowance": 10_000_000, "lifetime_allowance_charge": charge}
        assert found.cost == charge
        assert ("no charge" in found.detail) == (charge == 0)


def test_how_much_payroll_takes_too_much_or_too_little() -> None:
    more = asked(payroll=BASIC, income={"employment": 1_207_000})["payroll_takes_more_than_is_due"]
    # 200 of 1,000, where half of it is within the allowance.
    assert dict(more.money) == {"over_deducted": 10_000, "tax_deducted": 20_000}
    assert "P55" in more.detail
    free = PayrollFacts("1257L", "month_1")
    less = asked(payroll=free, income={"employment": 1_307_000})["payroll_takes_less_than_is_due"]
    assert dict(less.money) == {"under_deducted": 20_000}


def test_the_money_purchase_annual_allowance_of_each_year() -> None:
    """4,000 and 36,000 to 2022-23, 10,000 and 50,000 since: Merseyside Pension Fund, "Annual allowance: flexible benefit
    access"; Finance Act 2004 ss.227ZA, 227B."""
    for tax_year in YEARS:
        found = asked(tax_year=tax_year, born=date(1962, 6, 1))["money_purchase_annual_allowance_triggered"]
        amount, other = (400_000, 3_600_000) if tax_year <= "2022-23" else (1_000_000, 5_000_000)
        assert dict(found.money) == {"money_purchase_annual_allowance": amount, "alternative_annual_allowance": other}


def test_a_payment_that_is_too_early_is_worked_out_all_the_same_and_says_so() -> None:
    found = asked("ufpls", born=date(1975, 6, 1), day=date(2026, 8, 31))["below_minimum_pension_age"]
    assert found.detail.endswith(" The rest of this answer assumes it is permitted; check this with the scheme.")


def test_a_quote_does_not_say_that_it_was_not_told_of_other_schemes() -> None:
    """It does not look at the circumstances, where that may have been told."""
    found = asked("ufpls", income={"employment": 2_000_000})["money_purchase_annual_allowance_triggered"]
    assert "not told" not in found.detail
    assert "Any other scheme that you pay into, now or later, must be told within 91 days" in found.detail


@pytest.mark.parametrize(
    ("tax_year", "born", "protected"),
    [
        ("2026-27", date(1972, 4, 6), None),
        ("2026-27", date(1973, 4, 5), None),
        ("2026-27", date(1973, 4, 6), None),  # 55 on 6 April 2028, when the age is 57
        ("2027-28", date(1975, 1, 1), None),
        ("2028-29", date(1973, 4, 6), None),
        ("2026-27", date(1978, 1, 1), 50),
    ],
)
def test_the_age_that_is_said_is_the_age_on_the_day_that_is_said(
    tax_year: str, born: date, protected: int | None
) -> None:
    pension = Pension(0, drawdown=100_000, protected_pension_age=protected)
    found = asked(tax_year=tax_year, born=born, pension=pension)["below_minimum_pension_age"]
    said = re.search(r"from age (\d+), which is reached on (\d+ \w+ \d{4})\.", found.detail)
    assert said is not None
    age, day = said.groups()
    assert day == day_month_year(born.replace(year=born.year + int(age)))


def test_a_penny_over_the_lifetime_allowance_is_not_said_to_bear_nothing() -> None:
    """The charge on a penny is dropped to nothing, and yet 2022-23 had a charge and its excess is no pension income."""
    found = asked("ufpls", 107_310_001, tax_year="2022-23", pension=Pension(107_310_001))
    assert "no charge" not in found["lifetime_allowance_exceeded"].detail


# All together


def test_what_is_not_permitted_comes_first_then_what_costs_most() -> None:
    question = Question(
        "2022-23",
        Person(date(1990, 1, 1), "england", (Income("employment", 3_000_000),), marriage_allowance="receives"),
        Pension(200_000_000, lifetime_allowance_used=9_990),
        Withdrawal("pcls_and_drawdown", 20_000_000),
    )
    found = warnings_for(quote(question, BOOK))
    ranks = [("not_permitted", "costs", "check").index(warning.effect) for warning in found]
    assert ranks == sorted(ranks)
    assert [warning.code for warning in found if warning.effect != "check"] == [
        "below_minimum_pension_age",
        "unauthorised_payment_charges",  # 40% of 200,000, a tenth of the fund: no surcharge
        "lifetime_allowance_exceeded",
        "additional_rate_entered",
        "personal_allowance_withdrawn",
        "marriage_allowance_lost",
    ]
    costs = [warning.cost for warning in found if warning.effect == "costs"]
    assert costs == sorted(costs, reverse=True)


@settings(max_examples=120, deadline=None)
@given(
    st.sampled_from(YEARS),
    st.sampled_from(METHODS),
    st.dates(date(1945, 1, 1), date(1985, 1, 1)),
    st.sampled_from(("none", "gives", "receives")),
    st.sampled_from(("england", "scotland")),
    st.integers(0, 900_000),
    st.dictionaries(st.sampled_from(("employment", "property_income", "dividends")), st.integers(0, 6_000_000)),
    st.sampled_from((None, NO_TAX, BASIC, PayrollFacts("K475", "month_1"))),
    st.sampled_from((0, 5_000, 9_999, 10_000)),
)
def test_every_warning_is_well_made(
    tax_year: str,
    method: str,
    born: date,
    marriage: str,
    nation: str,
    amount: int,
    income: dict[str, int],
    payroll: PayrollFacts | None,
    used: int,
) -> None:
    pension = Pension(40_000_000, drawdown=2_000_000, lifetime_allowance_used=used)
    rules = BOOK.years[tax_year].lump_sums
    most = lump_sums.most_permitted(method, pension, rules, lump_sums.available(pension, rules))
    incomes = tuple(Income(kind, each) for kind, each in income.items())
    question = Question(
        tax_year,
        Person(born, nation, incomes, marriage_allowance=marriage),
        pension,
        Withdrawal(method, min(amount, most)),
        payroll,
    )
    found = warnings_for(quote(question, BOOK))
    ranks = [("not_permitted", "costs", "check").index(warning.effect) for warning in found]
    assert ranks == sorted(ranks)
    for warning in found:
        assert warning.code in CATALOGUE
        assert figures_that_differ(warning) == []
        assert amounts_not_told(warning) == set()
        assert warning.title
        assert warning.detail.endswith(".")
        assert warning.sources
        assert warning.path[0] in ("household", "tax_year", "withdrawal", "payroll")
        assert warning.cost >= 0
        assert "£-" not in warning.detail
        assert "-£" not in warning.detail
