"""What must hold of every quote, whoever asks: money is neither made nor lost, and taking it in parts changes nothing."""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from service.law import lump_sums
from service.law.income_tax import NATIONS, Taxpayer, liability, taxpayer_year
from service.law.lump_sums import METHODS, Pension
from service.law.units import PENNY
from service.planning.household import INCOME_KINDS, Income, Person
from service.planning.payroll import PayrollFacts
from service.planning.quote.quote import Question, Quote, Withdrawal, quote
from tests.households import BOOK, amounts, taxpayers, years

CODES = ("1257L", "S1257L", "C1131N", "K475", "SK12", "0T", "BR", "SD1", "D1", "NT")


@st.composite
def people(draw: Any) -> Person:
    """A person old enough for any pension."""
    incomes = st.lists(st.builds(Income, st.sampled_from(INCOME_KINDS), amounts(90_000)), max_size=4)
    return Person(
        date_of_birth=date(1955, 6, 1),
        tax_residence=draw(st.sampled_from(NATIONS)),
        income=tuple(draw(incomes)),
        relief_at_source_contributions=draw(st.one_of(st.just(0), amounts(20_000))),
        gift_aid_donations=draw(st.one_of(st.just(0), amounts(3_000))),
        marriage_allowance=draw(st.sampled_from(("none", "none", "gives", "receives"))),
        blind_persons_allowance=draw(st.booleans()),
        child_benefit=draw(st.sampled_from((0, 0, 135_460, 225_160))),
    )


@st.composite
def pensions(draw: Any, tax_year: str) -> Pension:
    """A pension with some of its allowances used, of those that the tax year has."""
    has_lump_sum_allowance = BOOK.years[tax_year].lump_sums.lump_sum_allowance is not None
    used = st.one_of(st.just(0), amounts(300_000)) if has_lump_sum_allowance else st.just(0)
    return Pension(
        uncrystallised=draw(st.one_of(amounts(20_000), amounts(1_500_000))),
        drawdown=draw(st.one_of(amounts(20_000), amounts(300_000))),
        lump_sum_allowance_used=draw(used),
        lump_sum_and_death_benefit_allowance_used=draw(st.one_of(st.none(), used)),
        lifetime_allowance_used=draw(st.sampled_from((0, 0, 1_234, 4_000, 8_000, 9_999, 10_000, 13_512))),
        protected_lump_sum_allowance=draw(st.sampled_from((None, None, 31_250_000, 37_500_000))),
        flexibly_accessed=draw(st.booleans()),
    )


def most_of(tax_year: str, pension: Pension, method: str) -> int:
    """The most that the method may pay from the pension in the year."""
    rules = BOOK.years[tax_year].lump_sums
    return lump_sums.most_permitted(method, pension, rules, lump_sums.available(pension, rules))


@st.composite
def questions(draw: Any) -> Question:
    """Any question that the rules allow."""
    tax_year = draw(years)
    pension = draw(pensions(tax_year))
    method = draw(st.sampled_from(METHODS))
    most = most_of(tax_year, pension, method)
    amount = draw(st.one_of(st.just(most), st.integers(0, most), amounts(200_000).map(lambda pence: min(most, pence))))
    payroll = None
    if draw(st.booleans()):
        payroll = PayrollFacts(
            draw(st.sampled_from(CODES)),
            draw(st.sampled_from(("month_1", "cumulative"))),
            draw(st.integers(1, 12)),
            draw(amounts(60_000)),
            draw(amounts(20_000)),
        )
    return Question(tax_year, draw(people()), pension, Withdrawal(method, amount), payroll)


@settings(max_examples=200, deadline=None)
@given(taxpayers(), years, amounts(250_000))
def test_tax_is_never_negative_and_never_more_than_the_income(
    taxpayer: Taxpayer, tax_year: str, withdrawal: int
) -> None:
    found = liability(taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation]), withdrawal)
    income = taxpayer.income + withdrawal
    assert found.net_income == income
    # 20%, the basic rate, of the gross gifts is what the year's tax must cover at the least (ITA 2007 ss.414, 423-424).
    covers = taxpayer.gift_aid * PENNY // 5
    assert covers <= found.income_tax <= max(income * PENNY, covers)
    assert 0 <= found.child_benefit_charge <= taxpayer.child_benefit
    assert 0 <= found.total <= max(income, covers // PENNY + 1) + found.child_benefit_charge
    parts = (found.other_tax, found.savings_tax, found.dividend_tax, found.gift_aid_tax)
    assert found.income_tax == sum(parts) - found.marriage_allowance_reduction
    assert min(*parts, found.marriage_allowance_reduction) >= 0
    assert 0 <= found.fixed_to <= found.other_to <= found.savings_to <= found.taxable <= income
    assert found.taxable == max(0, income - found.allowances) or found.fixed_to == found.taxable


@settings(max_examples=150, deadline=None)
@given(taxpayers(), years, amounts(200_000), st.one_of(st.integers(1, 300), st.integers(1, 5_000_000)))
def test_more_income_never_means_less_tax(taxpayer: Taxpayer, tax_year: str, withdrawal: int, more: int) -> None:
    """But for who gives the marriage allowance: it comes back with the first pound taxed above basic (ITA s.55C)."""
    year = taxpayer_year(taxpayer, BOOK.years[tax_year].income_tax[taxpayer.nation])
    before, after = liability(year, withdrawal), liability(year, withdrawal + more)
    gain = 0
    if before.marriage_allowance_given > after.marriage_allowance_given:
        highest = max(*year.scales.lower.rates, *year.scales.savings.rates, *year.scales.dividends.rates)
        gain = before.marriage_allowance_given * highest
    assert after.income_tax + gain >= before.income_tax
    assert after.child_benefit_charge >= before.child_benefit_charge


@settings(max_examples=100, deadline=None)
@given(questions())
def test_every_amount_of_a_quote_reconciles(question: Question) -> None:
    answer = quote(question, BOOK)
    pension, payment = question.pension, answer.payment
    rules = answer.rules
    year = taxpayer_year(question.person.taxpayer(), rules.income_tax[question.person.tax_residence])

    # The pension gives what is paid out, and nothing else.
    assert payment.gross == question.withdrawal.amount
    assert payment.gross == payment.tax_free + payment.taxable + payment.excess
    for part in (payment.tax_free, payment.taxable, payment.excess, payment.charge, payment.designated):
        assert part >= 0
    assert payment.charge <= payment.over_lifetime_allowance
    assert pension.uncrystallised + pension.drawdown == (
        answer.uncrystallised_after + answer.drawdown_after + payment.gross
    )
    assert answer.uncrystallised_after >= 0
    assert answer.drawdown_after >= 0
    assert 4 * payment.tax_free <= payment.crystallised or question.withdrawal.method == "small_pot"
    assert 4 * payment.tax_free <= payment.gross or question.withdrawal.method == "pcls"

    # The tax on the withdrawal is the difference it makes, and the slices make it up.
    assert answer.without.total == liability(year).total
    assert answer.with_it.total == liability(year, payment.taxable).total
    assert answer.on_withdrawal == answer.with_it.total - answer.without.total
    assert answer.on_withdrawal == sum(piece.tax for piece in answer.slices)
    ends = [piece.end for piece in answer.slices]
    assert [piece.start for piece in answer.slices] == [0, *ends][: len(ends)]
    assert max(ends, default=0) == payment.taxable
    assert answer.net_after_tax == payment.gross - payment.charge - answer.on_withdrawal

    # Payroll moves cash; what it takes beyond the year's tax is either owed to the person or by them.
    deducted = answer.payroll.deduction.tax
    assert answer.payroll.paid_out == payment.gross - payment.charge - deducted
    assert 2 * deducted <= payment.taxable
    facts = answer.payroll.facts
    if facts.basis == "month_1" and facts.code != "NT" and "K" not in facts.code:
        assert answer.payroll.over_deducted - answer.payroll.under_deducted == deducted - answer.on_withdrawal
    assert min(answer.payroll.over_deducted, answer.payroll.under_deducted) == 0
    assert answer.payroll.refund == max(0, -deducted)
    if payment.taxable == 0:
        assert deducted == answer.on_withdrawal == 0
        assert (answer.payroll.deducted_in_year, answer.payroll.due_in_year) == (None, None)
    else:
        taken, due = answer.payroll.deducted_in_year, answer.payroll.due_in_year
        assert taken is not None
        assert due is not None
        assert taken == deducted + (facts.tax_to_date if facts.basis == "cumulative" else 0) >= 0
        assert taken - due == answer.payroll.over_deducted - answer.payroll.under_deducted
        if facts.basis == "month_1" and "K" not in facts.code:
            assert due == (0 if facts.code == "NT" else answer.on_withdrawal)

    # Allowances fall by the tax-free part, but for a small pot's (ITEPA 2003 ss.637Q, 637S).
    counted = 0 if question.withdrawal.method == "small_pot" else payment.tax_free
    if answer.left_before.lump_sum_allowance is not None:
        assert answer.left_before.lump_sum_and_death_benefit_allowance is not None
        assert answer.lump_sum_allowance_after == answer.left_before.lump_sum_allowance - counted
        assert answer.death_benefit_allowance_after == (
            answer.left_before.lump_sum_and_death_benefit_allowance - counted
        )


@settings(max_examples=200, deadline=None)
@given(questions())
def test_marginal_rate_is_what_another_hundred_pounds_cost(question: Question) -> None:
    """The difference of two quotes' totals: this one, and one whose taxable part is 100 pounds more. A rate of one in
    10,000 is a penny on 100 pounds."""
    answer = quote(question, BOOK)
    taxable = answer.payment.taxable + 10_000
    more = quote(
        question._replace(pension=Pension(0, drawdown=taxable), withdrawal=Withdrawal("drawdown", taxable)), BOOK
    )
    assert answer.marginal_rate == more.with_it.total - answer.with_it.total


def test_marginal_rate_has_every_step_and_stair_in_it() -> None:
    """Worked out by hand for England in 2026-27; pounds of income from employment, and of interest, and the rate."""
    cases = (
        (12_570, 0, 0, 2_000),
        # The 40 of the higher rate, and 50 pounds of allowance lost at 40%.
        (100_000, 0, 0, 6_000),
        # 2,251 of child benefit, 1% of it for each 200: 97% is 2,183 and 98% 2,205.
        (79_500, 0, 225_160, 6_200),
        # The next jump is 101 pounds away.
        (79_499, 0, 225_160, 4_000),
        (79_400, 0, 225_160, 4_000),
        # 20% of 100, and of 500: only 500 of interest is free of tax from here on, so the allowance is set against the rest.
        (49_270, 1_000, 0, 12_000),
    )
    for employment, interest, child_benefit, rate in cases:
        income = (Income("employment", employment * 100), Income("savings_interest", interest * 100))
        person = Person(date(1955, 6, 1), "england", income, child_benefit=child_benefit)
        question = Question("2026-27", person, Pension(0, drawdown=1), Withdrawal("drawdown", 0))
        assert quote(question, BOOK).marginal_rate == rate, (employment, interest)


def after(question: Question, answer: Quote) -> tuple[Person, Pension]:
    """The person and the pension after a first withdrawal of the year, as they would be given for a second."""
    pension, payment = question.pension, answer.payment
    rules = answer.rules.lump_sums
    counted = payment.tax_free if question.withdrawal.method != "small_pot" else 0
    used = pension.lifetime_allowance_used
    lump_sum_used = pension.lump_sum_allowance_used
    death_benefit_used = pension.lump_sum_and_death_benefit_allowance_used
    if rules.lump_sum_allowance is None:
        if question.withdrawal.method not in ("small_pot", "drawdown"):
            whole = lump_sums.personal_lifetime_allowance(pension, rules)
            used += lump_sums.percentage_used(payment.crystallised, whole)
    else:
        lump_sum_used += counted
        death_benefit_used = None if death_benefit_used is None else death_benefit_used + counted
    return (
        question.person._replace(income=(*question.person.income, Income("other_taxable", payment.taxable))),
        pension._replace(
            uncrystallised=answer.uncrystallised_after,
            drawdown=answer.drawdown_after,
            lump_sum_allowance_used=lump_sum_used,
            lump_sum_and_death_benefit_allowance_used=death_benefit_used,
            lifetime_allowance_used=used,
        ),
    )


def assert_parts_equal_whole(question: Question, first_amount: int) -> None:
    """The withdrawal in two parts leaves the person and the pension where the whole does."""
    asked = question.withdrawal.amount
    assert asked is not None
    whole = quote(question, BOOK)
    first_question = question._replace(withdrawal=question.withdrawal._replace(amount=first_amount))
    first = quote(first_question, BOOK)
    person, pension = after(first_question, first)
    second = quote(
        question._replace(
            person=person,
            pension=pension,
            withdrawal=question.withdrawal._replace(amount=asked - first_amount),
        ),
        BOOK,
    )
    payments = (first.payment, second.payment)
    tax_free = sum(part.tax_free for part in payments)
    taxable = sum(part.taxable for part in payments)
    charge = sum(part.charge for part in payments)

    # Every quarter and every charge is dropped to the penny, so two of them may be a penny less than one.
    assert 0 <= whole.payment.tax_free - tax_free <= 1
    assert 0 <= whole.payment.charge - charge <= 1
    assert tax_free + taxable + sum(part.excess for part in payments) == asked
    assert second.without.total == first.with_it.total
    year = taxpayer_year(question.person.taxpayer(), whole.rules.income_tax[question.person.tax_residence])
    assert second.with_it.total == liability(year, taxable).total
    assert first.on_withdrawal + second.on_withdrawal == second.with_it.total - whole.without.total
    if taxable == whole.payment.taxable:
        assert second.with_it.total == whole.with_it.total
        assert second.with_it.child_benefit_charge == whole.with_it.child_benefit_charge
        assert second.marginal_rate == whole.marginal_rate

    assert (second.uncrystallised_after, second.drawdown_after) == (whole.uncrystallised_after, whole.drawdown_after)
    # The second part alone may be nothing, or above the allowance altogether, and then gives no flexible access.
    assert (first.money_purchase_applies or second.money_purchase_applies) == whole.money_purchase_applies
    for name in ("lump_sum_allowance_after", "death_benefit_allowance_after"):
        left, left_by_whole = getattr(second, name), getattr(whole, name)
        if left_by_whole is None:
            assert left is None
        else:
            assert 0 <= left - left_by_whole <= 1
    if whole.lifetime_allowance is not None and question.withdrawal.method not in ("small_pot", "drawdown"):
        assert second.lifetime_allowance is not None
        assert second.lifetime_allowance.available_after == whole.lifetime_allowance.available_after


@settings(max_examples=100, deadline=None)
@given(questions(), st.data())
def test_taking_it_in_two_parts_changes_nothing(question: Question, data: st.DataObject) -> None:
    asked = question.withdrawal.amount
    assert asked is not None
    rules = BOOK.years[question.tax_year].lump_sums
    if rules.lump_sum_allowance is None:
        # The lifetime allowance used is carried in hundredths of a per cent: the first part uses whole ones.
        whole = lump_sums.personal_lifetime_allowance(question.pension, rules)
        assume(whole % 10_000 == 0)
        step = whole // 10_000
        if question.withdrawal.method in ("small_pot", "drawdown"):
            step = 1
        first = step * data.draw(st.integers(0, asked // step))
    else:
        first = data.draw(st.one_of(st.integers(0, asked), st.integers(0, asked // 4).map(lambda pence: pence * 4)))
    assert_parts_equal_whole(question, first)


@settings(max_examples=50, deadline=None)
@given(
    st.sampled_from(("2019-20", "2020-21", "2022-23", "2023-24")),
    people(),
    st.sampled_from(("ufpls", "pcls_and_drawdown")),
    st.integers(90_000_000, 160_000_000),
    st.integers(0, 11_000),
)
@example("2022-23", Person(date(1955, 6, 1), "england"), "ufpls", 120_000_000, 9_999)
@example("2019-20", Person(date(1955, 6, 1), "england"), "ufpls", 105_500_001, 10_000)
def test_so_it_is_across_the_lifetime_allowance(
    tax_year: str, person: Person, method: str, gross: int, hundredths: int
) -> None:
    pension = Pension(uncrystallised=gross)
    whole = lump_sums.personal_lifetime_allowance(pension, BOOK.years[tax_year].lump_sums)
    question = Question(tax_year, person, pension, Withdrawal(method, gross))
    assert_parts_equal_whole(question, min(gross // (whole // 10_000), hundredths) * (whole // 10_000))


def test_a_second_part_taxed_on_its_own_would_be_noticed() -> None:
    """The two parts straddle the loss of the personal allowance, so each alone costs less than half of both."""
    person = Person(date(1955, 6, 1), "england", income=(Income("employment", 9_000_000),))
    question = Question("2026-27", person, Pension(20_000_000), Withdrawal("ufpls", 8_000_000))
    assert_parts_equal_whole(question, 4_000_000)
    alone = quote(question._replace(withdrawal=Withdrawal("ufpls", 4_000_000)), BOOK)
    assert 2 * alone.on_withdrawal != quote(question, BOOK).on_withdrawal
