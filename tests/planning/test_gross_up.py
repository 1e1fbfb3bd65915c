"""The least gross for a wanted net: at least the wanted net, and no smaller gross reaches it."""

from __future__ import annotations

from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.law import lump_sums
from service.law.income_tax import Taxpayer, liability, taxpayer_year
from service.planning.faults import RuleViolation
from service.planning.household import Income, Person
from service.planning.quote.quote import Question, Withdrawal, quote
from tests.households import BOOK, YEARS, amounts, taxpayers, years


def question_of(taxpayer: Taxpayer, tax_year: str, method: str, pension: lump_sums.Pension, net: int) -> Question:
    """A question whose person pays tax as ``taxpayer`` does."""
    kinds = {
        "employment": taxpayer.other_income,
        "property_income": taxpayer.property_income,
        "savings_interest": taxpayer.savings,
        "dividends": taxpayer.dividends,
    }
    person = Person(
        date_of_birth=date(1955, 6, 1),
        tax_residence=taxpayer.nation,
        income=tuple(Income(kind, amount) for kind, amount in kinds.items()),
        relief_at_source_contributions=taxpayer.relief_at_source,
        gift_aid_donations=taxpayer.gift_aid,
        marriage_allowance=taxpayer.marriage_allowance,
        blind_persons_allowance=taxpayer.blind,
        child_benefit=taxpayer.child_benefit,
    )
    return Question(tax_year, person, pension, Withdrawal(method, net_wanted=net))


def net_of(question: Question, gross: int) -> int:
    """Net by the rules alone, without the curve."""
    rules = BOOK.years[question.tax_year]
    year = taxpayer_year(question.person.taxpayer(), rules.income_tax[question.person.tax_residence])
    left = lump_sums.available(question.pension, rules.lump_sums)
    payment = lump_sums.take(question.withdrawal.method, gross, question.pension, rules.lump_sums, left)
    return gross - payment.charge - (liability(year, payment.taxable).total - liability(year).total)


def assert_least(question: Question, window: int) -> None:
    """The answer reaches the wanted net and nothing in the ``window`` pence below it does."""
    wanted = question.withdrawal.net_wanted
    assert wanted is not None
    gross = quote(question, BOOK).payment.gross
    assert net_of(question, gross) >= wanted
    for smaller in range(max(0, gross - window), gross):
        assert net_of(question, smaller) < wanted, (gross, smaller)


PLENTY = lump_sums.Pension(uncrystallised=100_000_000, drawdown=100_000_000)
methods = st.sampled_from(("ufpls", "drawdown", "pcls_and_drawdown"))


@settings(max_examples=250, deadline=None)
@given(taxpayers(), years, methods, amounts(150_000), st.sampled_from((0, 4_000, 9_990)), st.data())
def test_gross_up_is_the_least(
    taxpayer: Taxpayer, tax_year: str, method: str, net: int, lifetime_used: int, data: st.DataObject
) -> None:
    pension = PLENTY._replace(lifetime_allowance_used=lifetime_used)
    question = question_of(taxpayer, tax_year, method, pension, net)
    assert_least(question, 300)
    gross = quote(question, BOOK).payment.gross
    for _ in range(30):
        if gross:
            assert net_of(question, data.draw(st.integers(0, gross - 1))) < net


CLIFFS = [
    ("savings allowance falls to 500", Taxpayer("england", other_income=3_000_000, savings=150_000), 5_000),
    ("savings allowance falls to nothing", Taxpayer("england", other_income=10_000_000, savings=90_000), 5_000),
    ("marriage allowance lost", Taxpayer("england", other_income=4_500_000, marriage_allowance="receives"), 5_000),
    ("child benefit charge", Taxpayer("wales", other_income=5_990_000, child_benefit=225_160), 100),
    ("taper's staircase", Taxpayer("england", other_income=9_990_000), 20),
    ("taper's staircase with dividends", Taxpayer("england", other_income=3_600_000, dividends=6_390_000), 20),
    ("Scottish taper", Taxpayer("scotland", other_income=9_990_000), 20),
]


@pytest.mark.parametrize(("taxpayer", "fall"), [case[1:] for case in CLIFFS], ids=[case[0] for case in CLIFFS])
def test_brute_force_around_cliffs(taxpayer: Taxpayer, fall: int) -> None:
    """Every net amount around the cliff, in steps of some pence, against the first gross that reaches it in a scan.

    A cliff is where a little more leaves at least ``fall`` pence less. The scan warms up over some stairs of the taper, whose
    peaks rise from stair to stair, so what was reached before the scan is known by then.
    """
    base = question_of(taxpayer, "2026-27", "drawdown", PLENTY, 0)
    step = 100 if fall > 20 else 1
    cliff = next(g for g in range(0, 5_000_000, step) if net_of(base, g + step) <= net_of(base, g) - fall)
    start = max(0, cliff - 20_000)
    nets = [net_of(base, gross) for gross in range(start, cliff + 50_000)]
    warm = 1_000 if start else 0
    highest = max(nets[: warm + 1])
    reached: dict[int, int] = {}
    for offset, net in enumerate(nets):
        if offset > warm and net > highest:
            reached.update((wanted, start + offset) for wanted in range(highest + 1, net + 1))
            highest = net
    assert len(reached) > 1_000
    for wanted in list(reached)[:: len(reached) // 300]:
        asked = base._replace(withdrawal=Withdrawal("drawdown", net_wanted=wanted))
        assert quote(asked, BOOK).payment.gross == reached[wanted], wanted


BETWEEN_STAIRS = [
    (
        "the savings allowance runs out on a stair",
        "2030-31",
        Taxpayer("scotland", other_income=1_180_027, savings=3_219_900, dividends=5_753_658),
        "drawdown",
    ),
    ("dividends taxed by halves of a hundredth", "2026-27", Taxpayer("england", 0, 0, 4_920_681, 5_197_700), "ufpls"),
]


@pytest.mark.parametrize(
    ("tax_year", "taxpayer", "method"), [case[1:] for case in BETWEEN_STAIRS], ids=[case[0] for case in BETWEEN_STAIRS]
)
def test_what_is_reached_just_before_a_stair_begins(tax_year: str, taxpayer: Taxpayer, method: str) -> None:
    """A person whose income ends within a stair of the taper: every net amount of the first pennies against a scan."""
    base = question_of(taxpayer, tax_year, method, PLENTY, 0)
    nets = [net_of(base, gross) for gross in range(800)]
    assert any(after < before for before, after in pairwise(nets[:30]))
    for wanted in range(max(nets) + 1):
        asked = base._replace(withdrawal=Withdrawal(method, net_wanted=wanted))
        assert quote(asked, BOOK).payment.gross == next(gross for gross, net in enumerate(nets) if net >= wanted), (
            wanted
        )


def test_out_of_reach_says_the_most_that_can_be_had() -> None:
    taxpayer = Taxpayer("england", other_income=3_000_000)
    question = question_of(taxpayer, "2026-27", "drawdown", lump_sums.Pension(0, drawdown=1_000_000), 900_000)
    with pytest.raises(RuleViolation) as caught:
        quote(question, BOOK)
    # All 10,000 is in the basic rate band: 20% of it goes.
    assert caught.value.permitted == 800_000


def test_few_questions_to_the_rules() -> None:
    """Ordinary gross-ups ask the rules at most 15 times in the years of one's plans; measured over the nations."""
    for tax_year in YEARS:
        for nation in ("england", "scotland"):
            taxpayer = Taxpayer(nation, other_income=2_000_000)
            assert quote(question_of(taxpayer, tax_year, "ufpls", PLENTY, 3_000_000), BOOK).evaluations <= 30
