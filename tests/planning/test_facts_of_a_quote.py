"""What a quote hands to the rules of warnings: the first fields go by position, so each has to stand under its own name."""

from __future__ import annotations

from datetime import date

from service.figures.loader import load_tax_years
from service.law.lump_sums import Pension
from service.law.rulebook import rule_book
from service.planning.household import Income, Person
from service.planning.quote.circumstances import circumstances_of
from service.planning.quote.quote import Question, Quote, Withdrawal, quote

BOOK = rule_book(load_tax_years())
BORN, DAY = date(1966, 5, 14), date(2026, 12, 1)


def answer() -> Quote:
    """A quarter of 40,000 pounds is tax free; every amount is another."""
    person = Person(BORN, "scotland", (Income("employment", 3_000_000),), marriage_allowance="gives")
    pension = Pension(40_000_000, 1_234_500, lump_sum_allowance_used=700_000)
    return quote(Question("2026-27", person, pension, Withdrawal("ufpls", 4_000_000, day=DAY), person_place=1), BOOK)


def test_the_parts_of_a_quote() -> None:
    found = answer()
    assert found.rules is BOOK.years["2026-27"]
    assert found.lump_sum_rules is found.rules.lump_sums
    assert (found.payment.gross, found.payment.tax_free, found.payment.taxable) == (4_000_000, 1_000_000, 3_000_000)
    assert found.left_before.lump_sum_allowance == 26_827_500 - 700_000
    assert (found.without, found.with_it) == (found.asked(0), found.asked(3_000_000))
    assert found.on_withdrawal == found.with_it.total - found.without.total > 0
    assert found.net_after_tax == 4_000_000 - found.on_withdrawal
    assert found.curve_once().pieces
    assert found.payroll_once().paid_out < 4_000_000
    assert (found.money_purchase_applies, found.money_purchase_triggered) == (True, True)


def test_the_facts_of_a_quote() -> None:
    found = answer()
    [case] = circumstances_of(found, BOOK.state_pension_ages).people
    [year], facts = case.years, case.person
    [taken] = year.taken
    assert (facts.who, facts.born, facts.nation, facts.marriage_allowance) == ("You", BORN, "scotland", "gives")
    assert facts.path == ("household", "people", 1)
    assert facts.pension_path == ("household", "people", 1, "pensions", 0)
    assert (year.person, year.rules, year.path) == (facts, found.rules, ("withdrawal",))
    assert year.taxpayer is found.taxpayer
    assert (year.without, year.with_it) == (found.without, found.with_it)
    assert (year.gross, year.tax_free, year.taxable) == (4_000_000, 1_000_000, 3_000_000)
    assert (year.before.uncrystallised, year.after.uncrystallised) == (40_000_000, 36_000_000)
    assert (year.left_before, year.left_after.lump_sum_allowance) == (found.left_before, 26_827_500 - 1_700_000)
    assert (taken.method, taken.day, taken.age, taken.minimum_age) == ("ufpls", DAY, 60, 55)
