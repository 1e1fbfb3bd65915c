"""Which form claims tax back within the year, and from what day a pension may be drawn: each with a case either side."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law.ages import age_on, birthday
from service.law.lump_sums import METHODS, Pension
from service.law.reclaim import form_for
from service.planning.household import INCOME_KINDS, Income, Person
from service.planning.payroll import PayrollFacts
from service.planning.quote.circumstances import warnings_for
from service.planning.quote.quote import Question, Withdrawal, quote
from service.planning.wording import day_month_year
from tests.households import BOOK, YEARS

# The forms. HMRC PAYE manual PAYE94055, and the pages of gov.uk for P50Z, P53, P53Z and P55.

WORKING_OR_RETIRED = ("employment", "self_employment", "defined_benefit_pension", "annuity", "other_taxable")
NEITHER = tuple(kind for kind in INCOME_KINDS if kind not in WORKING_OR_RETIRED)


def form(
    method: str = "ufpls",
    *,
    over: int = 1,
    cumulative: bool = False,
    emptied: bool = True,
    kinds: tuple[str, ...] = (),
) -> str:
    incomes = [(kind, 1) for kind in kinds]
    return form_for(method, over_deducted=over, cumulative=cumulative, emptied=emptied, incomes=incomes).form


@pytest.mark.parametrize("method", [method for method in METHODS if method != "small_pot"])
def test_the_form_of_each_case(method: str) -> None:
    assert form(method, emptied=False) == "P55"
    assert form(method, emptied=False, kinds=("employment",)) == "P55"
    assert form(method, emptied=True, kinds=("employment",)) == "P53Z"
    assert form(method, emptied=True) == "P50Z"


def test_a_small_pot_has_its_own_form() -> None:
    assert {
        form("small_pot", emptied=emptied, kinds=kinds) for emptied in (True, False) for kinds in ((), NEITHER)
    } == {"P53"}


@pytest.mark.parametrize("kind", WORKING_OR_RETIRED)
def test_other_earned_or_pension_income_decides(kind: str) -> None:
    assert form(kinds=(kind,)) == "P53Z"
    assert form(kinds=(kind, *NEITHER)) == "P53Z"


@pytest.mark.parametrize("kind", NEITHER)
def test_the_state_pension_and_income_outside_paye_do_not(kind: str) -> None:
    """P50Z: no other income taxed under PAYE, or the State Pension only."""
    assert form(kinds=(kind,)) == "P50Z"
    assert form(kinds=NEITHER) == "P50Z"


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("emptied", [True, False])
def test_nothing_to_claim(method: str, emptied: bool) -> None:
    """A penny too much is claimed; nothing is not; a cumulative code puts it right by itself."""
    assert form(method, over=0, emptied=emptied) == "none"
    assert form(method, over=1, emptied=emptied) != "none"
    assert form(method, over=1, emptied=emptied, cumulative=True) == "none"


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
    assert form_of(4_000_000, pot=4_000_000, payroll=PayrollFacts("1257L", "cumulative", 12)) == "none"
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
        Pension(0, drawdown=100_000, minimum_pension_age=protected),
        Withdrawal("drawdown", 100_000, day=day),
    )
    return {
        found.code: found.detail for found in warnings_for(quote(question, BOOK)) if "minimum_pension_age" in found.code
    }


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
        ("2028-29", date(1973, 4, 5), date(2028, 4, 6), None, TOO_YOUNG, "2030-04-05"),
        ("2028-29", date(1971, 4, 6), date(2028, 4, 6), None, None, None),
        ("2028-29", date(1971, 4, 7), date(2028, 4, 6), None, TOO_YOUNG, "2028-04-07"),
        ("2028-29", date(1971, 4, 7), None, None, DEPENDS, "2028-04-07"),
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
