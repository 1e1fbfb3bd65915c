"""Invented households for the measurements, the same ones every time."""

from __future__ import annotations

from datetime import date
from random import Random

from service.law.income_tax import NATIONS
from service.law.lump_sums import Pension
from service.law.rulebook import RuleBook
from service.planning.faults import RuleViolation
from service.planning.household import Income, Person
from service.planning.quote.quote import Question, Withdrawal, quote

_SEED = 20_260_406
_MAIN_KINDS = ("employment", "self_employment", "state_pension", "defined_benefit_pension", "annuity")
_METHODS = ("ufpls", "drawdown", "pcls_and_drawdown")


def net_wanted_questions(book: RuleBook, count: int, *, with_savings: bool) -> tuple[Question, ...]:
    """Questions for the gross of a wanted net, all of which the rules allow. ``with_savings``: everyone has savings
    interest, dividends or both; else nobody has either."""
    random = Random(_SEED + 1 if with_savings else _SEED)
    found: list[Question] = []
    while len(found) < count:
        question = _question(random, tuple(book.years), with_savings)
        try:
            quote(question, book)
        except RuleViolation:
            continue
        found.append(question)
    return tuple(found)


def _question(random: Random, years: tuple[str, ...], with_savings: bool) -> Question:
    pension = Pension(
        uncrystallised=_pence(random, 50_000, 900_000),
        drawdown=_pence(random, 50_000, 900_000),
        lifetime_allowance_used=random.choice((0, 0, 0, 1_234, 4_000)),
    )
    wanted = random.choice((_pence(random, 100, 20_000), 2_000_000, _pence(random, 20_000, 90_000)))
    return Question(
        tax_year=random.choice(years),
        person=_person(random, with_savings),
        pension=pension,
        withdrawal=Withdrawal(random.choice(_METHODS), net_wanted=wanted),
    )


def _person(random: Random, with_savings: bool) -> Person:
    low, high = random.choice(((0, 12_570), (12_570, 50_270), (12_570, 50_270), (50_270, 110_000)))
    income = [Income(random.choice(_MAIN_KINDS), _pence(random, low, high))]
    if random.random() < 0.2:
        income.append(Income("property", _pence(random, 500, 15_000)))
    if with_savings:
        kinds = random.choice((("savings_interest",), ("dividends",), ("savings_interest", "dividends")))
        income += [Income(kind, _pence(random, 50, random.choice((1_500, 20_000)))) for kind in kinds]
    return Person(
        date_of_birth=date(1955, 6, 1),
        tax_residence=random.choice(NATIONS),
        income=tuple(income),
        relief_at_source_contributions=_pence(random, 500, 10_000) if random.random() < 0.15 else 0,
        gift_aid_donations=_pence(random, 50, 2_000) if random.random() < 0.15 else 0,
        marriage_allowance=random.choice(("none", "none", "none", "none", "gives", "receives")),
        blind_persons_allowance=random.random() < 0.03,
        child_benefit=random.choice((0, 0, 0, 0, 0, 0, 135_460, 225_160)),
    )


def _pence(random: Random, low: int, high: int) -> int:
    """An amount between two amounts in pounds: in half of the cases whole pounds, else with odd pence."""
    pounds = random.randint(low, high)
    return pounds * 100 + random.choice((0, random.randrange(100)))
