"""Which form claims tax back within the year, and from what day a pension may be drawn: each with a case either side."""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law.ages import age_on, birthday
from service.law.dates import day_month_year
from service.law.lump_sums import Pension
from service.law.reclaim import Reclaim, form_for, other_income
from service.planning.household import Income, Person
from service.planning.payroll import PayrollFacts
from service.planning.quote.circumstances import warnings_for
from service.planning.quote.quote import Question, Withdrawal, quote
from tests.households import BOOK, YEARS

# The forms. HMRC PAYE manual PAYE94055 (scenarios 1 and 2), SAM110271, and the pages of gov.uk for P50Z, P53, P53Z and P55,
# with their database entries: none makes the basis of the code a condition. The gov.uk page on P55 and the four years of
# Taxes Management Act 1970 Sch.1AB para 3(1) are from memory.

CASE: dict[str, Any] = {
    "method": "ufpls",
    "over_deducted": 1,
    "code_kind": "suffix",
    "cumulative": False,
    "emptied": False,
    "more_payments": False,
    "others": "none",
    "uk_resident": True,
}


def settled(**facts: Any) -> Reclaim:
    """How a penny too much is settled, where nothing else is said."""
    return form_for(**{**CASE, **facts}, year_end=date(2027, 4, 5), claim_years=4)


FORMS: list[tuple[str, str, dict[str, Any]]] = [
    # gov.uk, P53Z: "You'll need to use form P53 instead if you have taken ... a small pension as a lump sum".
    ("P53", "form", {"method": "small_pot"}),
    ("P53", "form", {"method": "small_pot", "emptied": True, "others": "earned_or_pension"}),
    ("P53", "form", {"method": "small_pot", "emptied": True, "more_payments": True}),
    ("P53", "form", {"method": "small_pot", "cumulative": True, "code_kind": "suffix"}),
    # PAYE94055, scenario 1: "no other existing PAYE/Pension income or is only in receipt of state retirement pension".
    ("P50Z", "form", {"emptied": True}),
    ("P50Z", "form", {"emptied": True, "cumulative": True}),
    ("P50Z", "form", {"emptied": True, "cumulative": True, "method": "drawdown"}),
    ("P50Z", "form", {"emptied": True, "code_kind": "flat"}),
    # PAYE94055, scenario 2: "one or more existing employments and / or multiple pensions".
    ("P53Z", "form", {"emptied": True, "others": "earned_or_pension"}),
    ("P53Z", "form", {"emptied": True, "others": "earned_or_pension", "cumulative": True}),
    # gov.uk, You get a pension: "other taxable income, fill in form P53Z"; PAYE94055 would have P50Z.
    ("P53Z", "form", {"emptied": True, "others": "taxable"}),
    # gov.uk, P55: only part taken, no regular payments, and the provider cannot refund.
    ("P55", "form", {}),
    ("P55", "form", {"others": "earned_or_pension"}),
    ("P55", "form", {"code_kind": "flat"}),
    ("none", "later_payments", {"more_payments": True}),
    # PAYE Regulations 2003 (SI 2003/2682) reg.23(6): a cumulative code refunds with the next payment.
    ("none", "later_payments", {"cumulative": True}),
    ("none", "later_payments", {"cumulative": True, "more_payments": True}),
    # A K code collects tax of other income too.
    ("none", "hmrc", {"code_kind": "k"}),
    ("none", "hmrc", {"code_kind": "k", "emptied": True}),
    ("none", "hmrc", {"code_kind": "k", "method": "small_pot"}),
    # gov.uk: "If you're not a UK resident ... you do not need to fill in this form".
    ("none", "treaty", {"uk_resident": False}),
    ("none", "treaty", {"uk_resident": False, "emptied": True, "others": "earned_or_pension"}),
]


@pytest.mark.parametrize(("form", "way", "facts"), FORMS)
def test_the_form_of_each_case(form: str, way: str, facts: dict[str, Any]) -> None:
    found = settled(**facts)
    assert (found.form, found.way) == (form, way)
    assert (found.form in found.reason) == (form != "none")


@pytest.mark.parametrize("facts", [facts for _, _, facts in FORMS])
def test_a_penny_too_much_is_settled_and_nothing_is_not(facts: dict[str, Any]) -> None:
    for over in (0, -1):
        assert settled(**facts, over_deducted=over) == Reclaim(
            "none", "The tax deducted is not more than the tax due.", "nothing"
        )


@pytest.mark.parametrize("facts", [facts for _, _, facts in FORMS])
def test_each_way_says_until_when_it_is_open(facts: dict[str, Any]) -> None:
    """A form is for the tax year itself, a claim to HMRC for four years after its end, 5 April 2027 here."""
    found = settled(**facts)
    assert found.reason.endswith("until 5 April 2031.")
    assert ("claims up to 5 April 2027" in found.reason) == (found.form != "none")
    assert max(len(sentence.split()) for sentence in re.split(r"[.;]", found.reason)) <= 25


@pytest.mark.parametrize(
    ("incomes", "pay_to_date", "found"),
    [
        ((), 0, "none"),
        ((("state_pension", 1),), 0, "none"),
        *(
            (((kind, 1),), 0, "earned_or_pension")
            for kind in ("employment", "self_employment", "defined_benefit_pension", "annuity", "other_taxable")
        ),
        *((((kind, 1),), 0, "taxable") for kind in ("property_income", "savings_interest", "dividends")),
        ((("employment", 0), ("dividends", 0)), 0, "none"),
        ((("dividends", 1), ("annuity", 1)), 0, "earned_or_pension"),
        # Earlier payments from the pension itself are no other income.
        ((("other_taxable", 100),), 100, "none"),
        ((("other_taxable", 101),), 100, "earned_or_pension"),
        ((("other_taxable", 100), ("property_income", 1)), 100, "taxable"),
        ((("other_taxable", 100), ("self_employment", 1)), 101, "earned_or_pension"),
    ],
)
def test_what_other_income_there_is(incomes: tuple[tuple[str, int], ...], pay_to_date: int, found: str) -> None:
    assert other_income(incomes, pay_to_date) == found


PERSON = Person(date(1955, 6, 1), "england")


def form_of(gross: int, *, pot: int, income: tuple[Income, ...] = (), payroll: PayrollFacts | None = None) -> str:
    question = Question("2026-27", PERSON._replace(income=income), Pension(pot), Withdrawal("ufpls", gross), payroll)
    return quote(question, BOOK).payroll.reclaim.form


def test_the_forms_of_whole_quotes() -> None:
    """40,000 as a UFPLS on the emergency code: more is taken than is due whatever else there is."""
    pension = (Income("defined_benefit_pension", 1_000_000),)
    state_pension = (Income("state_pension", 1_000_000),)
    assert form_of(4_000_000, pot=4_000_000) == "P50Z"
    assert form_of(4_000_000, pot=4_000_001) == "P55"
    assert form_of(4_000_000, pot=4_000_000, income=pension) == "P53Z"
    assert form_of(4_000_000, pot=4_000_000, income=state_pension) == "P50Z"
    # An income of nothing is no income.
    assert form_of(4_000_000, pot=4_000_000, income=(Income("employment", 0),)) == "P50Z"
    assert form_of(4_000_000, pot=4_000_000, payroll=PayrollFacts("1257L", "cumulative", 3)) == "P50Z"
    assert form_of(4_000_000, pot=4_000_001, payroll=PayrollFacts("1257L", "cumulative", 3)) == "none"
    assert form_of(4_000_000, pot=4_000_000, payroll=PayrollFacts("K1", "cumulative", 3)) == "none"
    assert form_of(4_000_000, pot=4_000_000, payroll=PayrollFacts("NT", "month_1")) == "none"


def test_a_payment_within_a_months_free_pay_leaves_nothing_to_claim() -> None:
    """Free pay of 1257L is 1,048.26 a month: no tax up to a pound above it, the year's tax being nothing as well."""
    assert form_of(139_900, pot=139_900) == "none"  # 1,049.25 taxable: 0 whole pounds after free pay
    assert form_of(139_901, pot=139_901) == "P50Z"  # 1,049.26: 1


# Ages. Finance Act 2004 s.279 (55); Finance Act 2022 s.10 (57 from 6 April 2028).


@pytest.mark.parametrize(
    ("born", "day", "age"),
    [
        (date(1971, 4, 6), date(2026, 4, 5), 54),
        (date(1971, 4, 6), date(2026, 4, 6), 55),
        (date(1971, 12, 31), date(2027, 1, 1), 55),
        (date(1972, 2, 29), date(2027, 2, 28), 54),
        (date(1972, 2, 29), date(2027, 3, 1), 55),
        (date(1972, 2, 29), date(2028, 2, 28), 55),
        (date(1972, 2, 29), date(2028, 2, 29), 56),
        (date(2000, 2, 29), date(2100, 3, 1), 100),  # 2100 is no leap year
    ],
)
def test_age_on_a_day(born: date, day: date, age: int) -> None:
    """Born on 29 February: older on 1 March of other years (common practice, from memory)."""
    assert age_on(born, day) == age


@settings(max_examples=200, deadline=None)
@given(st.dates(date(1920, 1, 1), date(2010, 12, 31)), st.integers(0, 80))
def test_an_age_begins_on_its_birthday(born: date, age: int) -> None:
    day = birthday(born, age)
    assert age_on(born, day) == age
    assert age_on(born, day - timedelta(days=1)) == age - 1
    assert (day.month, day.day) in ((born.month, born.day), (3, 1))


def test_minimum_pension_age_of_each_year() -> None:
    """55 to 2027-28, 57 from 6 April 2028, the first day of 2028-29."""
    for tax_year in YEARS:
        rules = BOOK.years[tax_year]
        assert rules.minimum_pension_age == (55 if tax_year < "2028-29" else 57)
        assert rules.next_minimum_pension_age == ((date(2028, 4, 6), 57) if tax_year < "2028-29" else None)


def age_warnings(tax_year: str, born: date, day: date | None, protected: int | None = None) -> dict[str, str]:
    """Codes and details of the warnings about the age, for some income from drawdown."""
    question = Question(
        tax_year,
        Person(born, "england"),
        Pension(0, drawdown=100_000, protected_pension_age=protected),
        Withdrawal("drawdown", 100_000, day=day),
    )
    return {
        found.code: found.detail for found in warnings_for(quote(question, BOOK)) if "minimum_pension_age" in found.code
    }


UNSETTLED = "drawdown_under_new_minimum_pension_age"
TOO_YOUNG = "below_minimum_pension_age"
DEPENDS = "minimum_pension_age_depends_on_the_day"


@pytest.mark.parametrize(
    ("tax_year", "born", "day", "protected", "code", "allowed_from"),
    [
        # The day of the birthday and the day before.
        ("2026-27", date(1971, 9, 1), date(2026, 8, 31), None, TOO_YOUNG, "2026-09-01"),
        ("2026-27", date(1971, 9, 1), date(2026, 9, 1), None, None, None),
        # Without a day: reached in the year or not, or already on its first day.
        ("2026-27", date(1971, 9, 1), None, None, DEPENDS, "2026-09-01"),
        ("2026-27", date(1971, 4, 6), None, None, None, None),
        ("2026-27", date(1971, 4, 7), None, None, DEPENDS, "2026-04-07"),
        ("2026-27", date(1972, 4, 5), None, None, DEPENDS, "2027-04-05"),
        ("2026-27", date(1972, 4, 6), None, None, TOO_YOUNG, "2027-04-06"),
        # 29 February.
        ("2026-27", date(1972, 2, 29), date(2027, 2, 28), None, TOO_YOUNG, "2027-03-01"),
        ("2026-27", date(1972, 2, 29), date(2027, 3, 1), None, None, None),
        # 55 on the last day before the age goes up, and the day after.
        ("2027-28", date(1973, 4, 5), date(2028, 4, 5), None, None, None),
        ("2027-28", date(1973, 4, 5), date(2028, 4, 4), None, TOO_YOUNG, "2028-04-05"),
        ("2027-28", date(1973, 4, 5), None, None, DEPENDS, "2028-04-05"),
        ("2027-28", date(1973, 4, 6), None, None, TOO_YOUNG, "2030-04-06"),
        ("2026-27", date(1973, 4, 6), date(2027, 4, 5), None, TOO_YOUNG, "2030-04-06"),
        ("2026-27", date(1973, 4, 5), date(2027, 4, 5), None, TOO_YOUNG, "2028-04-05"),
        # From 6 April 2028 the age is 57, also for someone who was 55 before.
        ("2028-29", date(1973, 4, 6), date(2028, 4, 6), None, TOO_YOUNG, "2030-04-06"),
        # Of drawdown that may have begun before, it is not settled whether it can go on.
        ("2028-29", date(1973, 4, 5), date(2028, 4, 6), None, UNSETTLED, "2030-04-05"),
        ("2028-29", date(1971, 4, 6), date(2028, 4, 6), None, None, None),
        ("2028-29", date(1971, 4, 7), date(2028, 4, 6), None, UNSETTLED, "2028-04-07"),
        ("2028-29", date(1971, 4, 7), None, None, UNSETTLED, "2028-04-07"),
        # A protected age stands before and after (Finance Act 2004 Sch.36 paras 21-23ZB).
        ("2028-29", date(1973, 4, 5), date(2028, 4, 6), 55, None, None),
        ("2028-29", date(1973, 4, 7), date(2028, 4, 6), 55, TOO_YOUNG, "2028-04-07"),
        ("2027-28", date(1973, 4, 6), date(2028, 4, 5), 55, TOO_YOUNG, "2028-04-06"),
        ("2026-27", date(1976, 9, 1), date(2026, 9, 1), 50, None, None),
        ("2026-27", date(1976, 9, 1), date(2026, 8, 31), 50, TOO_YOUNG, "2026-09-01"),
    ],
)
def test_from_what_day_a_pension_may_be_drawn(
    tax_year: str, born: date, day: date | None, protected: int | None, code: str | None, allowed_from: str | None
) -> None:
    found = age_warnings(tax_year, born, day, protected)
    assert set(found) == ({code} if code else set())
    if code and allowed_from:
        assert day_month_year(date.fromisoformat(allowed_from)) in found[code]
