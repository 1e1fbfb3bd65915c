"""Relief on contributions: the limits by hand from Finance Act 2004 ss.188-190, and what they do to the year's tax."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest

from service import calculator
from service.law.contributions import ReliefRules, relieved_at_source
from service.law.lump_sums import Pension
from service.planning.household import Contribution, DatedIncome, Household, Income, IncomeKind, Member, relief_of
from service.planning.projection.timeline import PersonPeriod, timeline
from tests.households import BOOK

POUND = 100
QUOTES = calculator("withdrawal-tax")
RULES = ReliefRules(basic_amount=3_600 * POUND, ends_at_age=75)
YEAR = date(2026, 4, 6), date(2027, 4, 5)


@pytest.mark.parametrize("name", BOOK.years)
def test_the_limits_of_every_tax_year(name: str) -> None:
    """Section 190(4): 3,600. Section 188(3)(a): 75."""
    assert BOOK.years[name].relief == RULES


@pytest.mark.parametrize(
    ("paid", "net_pay", "earnings", "relieved"),
    [
        # s.190(1): the earnings.
        (20_000, 0, 8_000, 8_000),
        (8_000, 0, 8_000, 8_000),
        # s.190(2): the basic amount, if that is more.
        (20_000, 0, 0, 3_600),
        (20_000, 0, 3_599, 3_600),
        (2_000, 0, 0, 2_000),
        # One limit for both kinds: pay of 10,000, of which 4,000 and then all is paid out of it before tax.
        (20_000, 4_000, 6_000, 6_000),
        (20_000, 10_000, 0, 0),
        # Pay of 2,000, all paid in: 1,600 of the basic amount is left.
        (20_000, 2_000, 0, 1_600),
    ],
)
def test_what_has_relief_at_source(paid: int, net_pay: int, earnings: int, relieved: int) -> None:
    found = relieved_at_source(paid * POUND, net_pay * POUND, earnings * POUND, RULES)
    assert found == relieved * POUND


def at_source(born: date, contribution: Contribution, kind: IncomeKind, amount: int) -> tuple[int, int]:
    """Paid and relieved in 2026-27 beside an income, in pounds."""
    member = Member(born, "england", Pension(0), contributions=(contribution,))
    found = relief_of(member, [Income(kind, amount * POUND)], *YEAR, RULES)
    return found.paid_at_source // POUND, found.relief_at_source // POUND


PAID = Contribution(relief="relief_at_source", amount=10_000 * POUND, day=date(2026, 10, 1))


@pytest.mark.parametrize(
    ("kind", "relieved"),
    [
        ("employment", 10_000),
        ("self_employment", 10_000),
        # s.189(2): none of these is relevant UK earnings.
        ("state_pension", 3_600),
        ("defined_benefit_pension", 3_600),
        ("annuity", 3_600),
        ("other_taxable", 3_600),
        ("property_income", 3_600),
        ("savings_interest", 3_600),
        ("dividends", 3_600),
    ],
)
def test_only_pay_and_profits_are_earnings(kind: IncomeKind, relieved: int) -> None:
    assert at_source(date(1970, 1, 1), PAID, kind, 30_000) == (10_000, relieved)


def test_nothing_paid_from_the_75th_birthday_on_has_relief() -> None:
    """A dated one by its day; of a yearly one the days before: 178 of 365, of 6 April to 30 September."""
    assert at_source(date(1951, 10, 2), PAID, "employment", 30_000) == (10_000, 10_000)
    assert at_source(date(1951, 10, 1), PAID, "employment", 30_000) == (10_000, 0)
    yearly = Contribution(relief="relief_at_source", yearly=3_650 * POUND)
    assert at_source(date(1951, 10, 1), yearly, "employment", 30_000) == (3_650, 1_780)
    until_may = yearly._replace(last=date(2026, 5, 5))
    assert at_source(date(1951, 10, 1), until_may, "employment", 30_000) == (300, 300)


def test_relief_that_is_not_at_source_extends_no_band() -> None:
    for relief in ("net_pay", "none", None):
        assert at_source(date(1970, 1, 1), PAID._replace(relief=relief), "employment", 30_000) == (0, 0)


def year_of(born: str, *contributions: dict[str, Any], **income: int) -> float:
    """The year's tax of 2026-27 with a pound drawn beside some incomes."""
    person = {
        "date_of_birth": born,
        "tax_residence": "england",
        "income": [{"kind": kind, "amount": amount} for kind, amount in income.items()],
        "contributions": list(contributions),
        "flexibly_accessed": True,
        "pensions": [{"uncrystallised": 0, "drawdown": 10}],
    }
    body = {
        "household": {"people": [person]},
        "tax_year": "2026-27",
        "withdrawal": {"method": "drawdown", "amount": 1},
    }
    (first, *_) = QUOTES.answers(json.dumps({"id": 1, "request": body}).encode())
    record = json.loads(first)
    assert record["status"] == 200, record
    found: float = record["result"]["income_tax"]["on_other_income"]
    return found


def test_the_years_tax_of_someone_of_76_without_earnings() -> None:
    """72,000 of pension, and 40,000 gross paid in: 37,700 at 20% and 21,730 at 40%; no band is extended."""
    paid = {"yearly": 40_000, "relief": "relief_at_source"}
    assert year_of("1950-01-01", paid, defined_benefit_pension=72_000) == 16_232
    # Net pay comes off pay of 72,000 before it is given here as 32,000; from 75 on that gives no relief either.
    assert year_of("1950-01-01", {**paid, "relief": "net_pay"}, employment=32_000) == 16_232
    assert year_of("1966-01-01", {**paid, "relief": "net_pay"}, employment=32_000) == 3_886
    # At 60 3,600 of it has relief, and with 40,000 of earnings among the income all of it.
    assert year_of("1966-01-01", paid, defined_benefit_pension=72_000) == 16_232 - 720
    assert year_of("1966-01-01", paid, defined_benefit_pension=32_000, employment=40_000) == 11_886


def plan_of(*contributions: Contribution, first: date, last: date) -> PersonPeriod:
    """A period of a plan of someone who is 75 on 1 October 2026 and has pay of 20,000 after contributions."""
    member = Member(
        date(1951, 10, 1),
        "england",
        Pension(0),
        income=(DatedIncome("employment", 20_000 * POUND),),
        contributions=contributions,
    )
    [[year]] = timeline(Household(first, last, (member,)), BOOK).people
    return year


def test_pay_paid_in_from_75_on_is_taxed_in_a_plan_and_not_received() -> None:
    """10,000 of pay on 1 November 2026: (30,000 - 12,570) at 20%; the pay that is received stays 20,000."""
    late = Contribution(relief="net_pay", amount=10_000 * POUND, day=date(2026, 11, 1))
    year = plan_of(late, first=YEAR[0], last=YEAR[1])
    assert (year.received // POUND, year.liability().total // POUND, year.tax_outside) == (20_000, 3_486, 0)
    assert year.taxed_pay // POUND == 10_000
    early = plan_of(late._replace(day=date(2026, 9, 30)), first=YEAR[0], last=YEAR[1])
    assert (early.liability().total // POUND, early.taxed_pay) == (1_486, 0)


def test_the_tax_of_such_pay_is_in_the_part_of_the_year_in_which_it_is_paid() -> None:
    """The plan runs from 1 October, 187 of 365 days, with 10,246.58 of the pay and all of the contribution, or none of it."""
    late = Contribution(relief="net_pay", amount=10_000 * POUND, day=date(2026, 11, 1))
    year = plan_of(late, first=date(2026, 10, 1), last=YEAR[1])
    outside = 20_000 * POUND - 1_024_658
    assert year.tax_outside == round(3_486 * POUND * outside / (30_000 * POUND))
    before = plan_of(late, first=YEAR[0], last=date(2026, 9, 30))
    assert year.tax_outside + before.tax_outside == 3_486 * POUND
