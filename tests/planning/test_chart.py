"""The points of a quote's chart: each is what a quote for its gross amount says, and what lies between two is on their line."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law.lump_sums import Method, Pension
from service.planning.curve.piece import STAIR
from service.planning.household import Income, Person
from service.planning.quote.chart import ChartPoint, chart
from service.planning.quote.quote import Question, Quote, Withdrawal, quote
from tests.households import BOOK
from tests.planning.test_withdrawal_properties import most_of, questions

POUND = 100


def quoted(question: Question, gross: int) -> Quote:
    return quote(question._replace(withdrawal=question.withdrawal._replace(amount=gross, net_wanted=None)), BOOK)


def points_of(question: Question) -> tuple[ChartPoint, ...]:
    return chart(quoted(question, 0))


@settings(max_examples=250, deadline=None)
@given(questions())
def test_each_point_is_what_a_quote_for_its_gross_says(question: Question) -> None:
    points = points_of(question)
    assert points[0].gross == 0
    assert points[-1].gross == most_of(question.tax_year, question.pension, question.withdrawal.method)
    for before, after in pairwise(points):
        assert before.gross < after.gross
    for point in points:
        answer = quoted(question, point.gross)
        payment = answer.payment
        assert (point.tax_free, point.taxable, point.excess, point.charge) == (
            payment.tax_free,
            payment.taxable,
            payment.excess,
            payment.charge,
        )
        assert (point.tax, point.net) == (answer.on_withdrawal, answer.net_after_tax)
        assert point.gross == point.tax_free + point.taxable + point.excess


@settings(max_examples=250, deadline=None)
@given(questions(), st.data())
def test_between_two_points_everything_is_on_their_line(question: Question, data: st.DataObject) -> None:
    """But for dropped pennies, the jumps of a staircase (some are a pound higher than told), and the inside of single stairs."""
    points = points_of(question)
    for point, following in pairwise(points):
        width = following.gross - point.gross
        answer = quoted(question, point.gross + data.draw(st.integers(0, width)))
        payment = answer.payment

        def off(
            amount: int, start: int, end: int, into: int = payment.gross - point.gross, width: int = width
        ) -> float:
            return abs(amount - start - (end - start) * into / width)

        assert off(payment.tax_free, point.tax_free, following.tax_free) <= 2
        assert off(payment.taxable, point.taxable, following.taxable) <= 2
        assert off(payment.charge, point.charge, following.charge) <= 2
        jump = point.stair_height + POUND if point.stair_width else 0
        if following.taxable - point.taxable <= STAIR:
            jump = max(jump, 2 * POUND)
        if width > 1:
            assert off(answer.net_after_tax, point.net, following.net) <= jump + 5


@settings(max_examples=250, deadline=None)
@given(questions())
def test_the_rate_is_what_each_taxable_pound_costs(question: Question) -> None:
    points = points_of(question)
    assert (points[-1].rate, points[-1].because) == (None, ())
    for point, following in pairwise(points):
        taxable, tax = following.taxable - point.taxable, following.tax - point.tax
        if taxable == 0:
            assert (point.rate, tax) == (None, 0)
        elif point.rate is None:
            assert following.gross == point.gross + 1
        elif point.stair_width:
            assert point.rate * taxable <= following.exact_tax - point.exact_tax
        elif taxable > STAIR:
            assert point.rate * taxable == following.exact_tax - point.exact_tax
        assert ("lifetime_allowance_charge" in point.because) == (following.charge > point.charge)


def question(
    method: Method, pension: Pension, *incomes: Income, tax_year: str = "2026-27", nation: str = "england"
) -> Question:
    return Question(tax_year, Person(date(1955, 6, 1), nation, incomes), pension, Withdrawal(method, 0))


def gross_and_parts(points: tuple[ChartPoint, ...]) -> list[tuple[float, ...]]:
    """Gross, tax-free, taxable, tax and net in pounds."""
    return [
        tuple(pence / 100 for pence in (each.gross, each.tax_free, each.taxable, each.tax, each.net)) for each in points
    ]


@pytest.mark.parametrize("method", ["ufpls", "pcls_and_drawdown"])
def test_with_a_capped_lump_sum_allowance(method: Method) -> None:
    """1,000 left of 268,275: the quarter ends at 4,000; a personal allowance of 12,570 is used up by 13,570 gross."""
    found = points_of(question(method, Pension(2_000_000, lump_sum_allowance_used=26_727_500)))
    assert gross_and_parts(found) == [
        (0, 0, 0, 0, 0),
        (4_000, 1_000, 3_000, 0, 4_000),
        (13_570, 1_000, 12_570, 0, 13_570),
        (20_000, 1_000, 19_000, 1_286, 18_714),
    ]
    assert [each.rate for each in found] == [0, 0, 2_000, None]


def test_income_above_the_lifetime_allowance_bears_25_per_cent_and_then_income_tax() -> None:
    """Of 1,173,100 in 2022-23, 100,000 is above 1,073,100: a charge of 25,000, and 75,000 of income at 45%."""
    *_, at_it, most = points_of(question("pcls_and_drawdown", Pension(117_310_000), tax_year="2022-23"))
    assert (at_it.gross, at_it.taxable, at_it.excess, at_it.charge) == (107_310_000, 80_482_500, 0, 0)
    assert (at_it.rate, at_it.because) == (4_500, ("additional_rate", "lifetime_allowance_charge"))
    assert (most.gross, most.taxable, most.excess, most.charge) == (117_310_000, 87_982_500, 2_500_000, 2_500_000)
    assert (most.tax - at_it.tax, most.net - at_it.net) == (3_375_000, 10_000_000 - 2_500_000 - 3_375_000)


def test_a_lump_sum_above_the_lifetime_allowance_bears_55_per_cent_and_nothing_else() -> None:
    *_, at_it, most = points_of(question("ufpls", Pension(117_310_000), tax_year="2022-23"))
    assert (at_it.rate, at_it.because) == (None, ("lifetime_allowance_charge",))
    assert (most.taxable, most.excess, most.charge) == (at_it.taxable, 10_000_000, 5_500_000)
    assert (most.tax, most.net - at_it.net) == (at_it.tax, 4_500_000)


def test_a_small_pot_of_both_kinds_of_funds() -> None:
    """Only what was uncrystallised has a tax-free quarter: 1,000 of 4,000, and nothing of the 3,000 in drawdown."""
    found = points_of(
        question("small_pot", Pension(400_000, drawdown=300_000), Income("employment", 2_000_000), nation="wales")
    )
    assert gross_and_parts(found) == [
        (0, 0, 0, 0, 0),
        (4_000, 1_000, 3_000, 600, 3_400),
        (7_000, 1_000, 6_000, 1_200, 5_800),
    ]


def test_a_tax_free_lump_sum_has_no_rate() -> None:
    found = points_of(question("pcls", Pension(10_000_000), Income("employment", 9_000_000)))
    assert gross_and_parts(found) == [(0, 0, 0, 0, 0), (25_000, 25_000, 0, 0, 25_000)]
    assert [(each.rate, each.because) for each in found] == [(None, ()), (None, ())]


def test_an_empty_pension_has_one_point() -> None:
    assert gross_and_parts(points_of(question("drawdown", Pension(0)))) == [(0, 0, 0, 0, 0)]


def test_a_step_is_two_points_a_penny_apart() -> None:
    """1,000 of interest is free of tax up to a total of 50,270, and 500 beyond it: 20% of the other 500 falls due at once."""
    incomes = (Income("employment", 4_000_000), Income("savings_interest", 100_000))
    found = points_of(question("drawdown", Pension(0, drawdown=5_000_000), *incomes))
    (step, after) = next((one, two) for one, two in pairwise(found) if "personal_savings_allowance" in one.because)
    assert (step.gross, step.rate) == (5_027_000 - 4_100_000, None)
    assert (after.gross, after.taxable) == (step.gross + 1, step.taxable + 1)
    assert after.tax - step.tax == 10_000
