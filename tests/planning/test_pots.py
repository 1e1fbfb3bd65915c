"""Several pensions of one person that grow differently or may be drawn from different ages: which of them a plan draws."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from fractions import Fraction
from random import Random
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import example, given
from hypothesis import strategies as st

from service.console.plan import pension_growth
from service.law.lump_sums import Pension
from service.planning.household import Assumptions, Household, Isa, Member, PensionHeld, Spending
from service.planning.optimiser.branch_and_bound import most_after_tax
from service.planning.projection.balances import parts
from service.planning.projection.pots import Funds, drawn
from service.planning.projection.timeline import timeline
from service.planning.schedule.schedule import Schedule, ScheduleQuestion, schedule
from tests.bodies import answered, faults_of
from tests.households import BOOK, growing_apart

PLANS = "/v1/allowance-schedule"
POUND = 100


def person(*pensions: PensionHeld, born: date = date(1962, 6, 1), **facts: Any) -> Member:
    """Somebody with these pensions, 64 in 2026-27."""
    whole = Pension(sum(one.uncrystallised for one in pensions), sum(one.drawdown for one in pensions))
    return Member(born, "england", whole, pensions=pensions, **facts)


def held(pounds: int, growth: int = 0, *, drawdown: int = 0, age: int | None = None, charge: int = 0) -> PensionHeld:
    return PensionHeld(pounds * POUND, drawdown * POUND, age, growth, charge)


def household(*people: Member, years: int = 1, **more: Any) -> Household:
    assumed = growing_apart(more.pop("assumptions", Assumptions()), *people)
    return Household(date(2026, 4, 6), date(2026 + years, 4, 5), people, assumptions=assumed, **more)


def plan(*people: Member, goal: str = "personal_allowance", **more: Any) -> Schedule:
    return schedule(ScheduleQuestion(household(*people, **more), goal), BOOK)


def closing(result: Schedule, position: int) -> list[int]:
    """What each pot of the first person holds at the end of a tax year, pence."""
    one, member = result.years[position].people[0], result.question.household.people[0]
    return [part.balance.closing for part in parts(member, one.record, one.pension, one.withdrawal)]


# By hand


@pytest.mark.parametrize("growths", [(0, -300), (-300, 0)])
def test_what_does_not_grow_is_drawn_for_more_than_spending_beside_what_falls(growths: tuple[int, int]) -> None:
    """By hand: the pension keeps its value and ISAs lose it, or the other way round, and 1,000 a year is spent. What is left is
    taxed at 40%, so at least the allowance of 12,570 (Finance Act 2021 s.5) is filled: 16,760 a year, a quarter of it free."""
    pension_growth, isa_growth = growths
    one = Member(
        date(1962, 6, 1), "england", Pension(10_000_000), isa=Isa(5_000_00), pensions=(PensionHeld(10_000_000),)
    )
    assumed = Assumptions(pension_growth, isa_growth, tax_rate_on_remaining_pension=4_000)
    asked = household(one, years=3, assumptions=assumed, spending=(Spending(1_000_00),))
    best = schedule(ScheduleQuestion(asked, "most_after_tax"), BOOK)
    plain = schedule(ScheduleQuestion(asked, "personal_allowance"), BOOK)
    assert best.proof is not None
    assert best.proof.proven
    assert best.totals.wealth_after_tax >= plain.totals.wealth_after_tax
    assert best.totals.withdrawn >= 3 * 16_760_00


def test_what_grows_the_least_is_drawn_first() -> None:
    """By hand: 16,760 fills the allowance of 12,570 (Finance Act 2021 s.5; a quarter is free). 30,000 at 2% pays it whole in
    2026-27 and leaves 13,840; at 2% that is 14,116.80, and the other, 50,000 x 1.06 x 1.06, pays the rest of 2,643.20."""
    result = plan(person(held(50_000, 600), held(30_000, 200)), years=2)
    assert closing(result, 0) == [5_300_000, 3_060_000 - 1_676_000]
    assert closing(result, 1) == [5_618_000 - 264_320, 0]


def test_a_charge_comes_off_before_the_order_is_made() -> None:
    """By hand: 5% less a charge of 2% is 1.05 x 0.98, 2.9%; so it is drawn before one of 3%."""
    result = plan(person(held(50_000, 300), held(50_000, 500, charge=200)))
    assert closing(result, 0) == [5_150_000, 5_145_000 - 1_676_000]


def test_a_pension_that_is_locked_is_left_alone_though_it_grows_less() -> None:
    """Born 1 June 1966: 60 in 2026-27, and the age of 62 that one pension asks for comes on 1 June 2028, in 2028-29."""
    result = plan(person(held(60_000, 500), held(40_000, 100, age=62), born=date(1966, 6, 1)), years=3)
    first, second = 6_300_000 - 1_676_000, 4_040_000
    assert closing(result, 0) == [first, second]
    first = first * 105 // 100 - 1_676_000
    assert closing(result, 1) == [first, 4_080_400]
    assert closing(result, 2) == [first * 105 // 100, 4_121_204 - 1_676_000]


def test_money_spent_in_the_year_misses_the_growth_of_the_pension_that_it_comes_from() -> None:
    """By hand: 12,000 spent evenly from a pension that grows by 2% misses 1% of it, 120, and not 3% of it. Within the allowance
    of 12,570 nothing is taxed."""
    spends = (Spending(1_200_000),)
    result = plan(person(held(0, 600, drawdown=50_000), held(0, 200, drawdown=30_000)), spending=spends)
    assert closing(result, 0) == [5_300_000, 3_060_000 - 12_000 - 1_257_000]


def test_a_pension_spent_to_its_end_gives_way_to_the_next() -> None:
    """By hand: 6,000 at 4% pays 6,240 / 1.02 evenly over the year, 6,117.64; the other pays the rest of 10,000 spent, and 10,000
    is below the allowance, so that 12,570 is drawn and 2,570 of it on the last day."""
    spends = (Spending(1_000_000),)
    result = plan(person(held(0, 600, drawdown=50_000), held(0, 400, drawdown=6_000)), spending=spends)
    first = Fraction(624_000) / Fraction(102, 100)
    other = 5_300_000 - (1_257_000 - first) - (1_000_000 - first) * Fraction(3, 100)
    assert closing(result, 0)[1] <= 1
    assert closing(result, 0)[0] == pytest.approx(float(other), abs=2)


def test_a_lump_sum_comes_out_of_every_pension_and_at_first_out_of_what_grows_the_least() -> None:
    """Finance Act 2004 Sch.29 para 3: a quarter of what is crystallised. 20,000 and 12,000 grown by 6% and 2%; a quarter of each
    is paid out and the rest is in drawdown. Then 12,570 is drawn from what grows the least, 9,180, and from the other."""
    result = plan(person(held(20_000, 600), held(12_000, 200)), lump_sums="all_now")
    one = result.years[0].people[0]
    assert one.lump_sum == (2_120_000 + 1_224_000) // 4
    assert closing(result, 0) == [2_120_000 * 3 // 4 - (1_257_000 - 918_000), 0]


def test_above_the_allowance_the_lump_sum_comes_out_of_what_grows_the_least() -> None:
    """The lump sum allowance of 268,275 (ITEPA 2003 s.637P) is a quarter of 1,073,100. 800,000 at 2% is crystallised whole, and
    257,100 of the other."""
    result = plan(person(held(1_000_000, 600), held(800_000, 200)), lump_sums="all_now")
    record = result.years[0].people[0].record
    assert record.opened.lump_sum is not None
    assert record.opened.lump_sum.gross == 26_827_500
    assert record.opened.pots == (
        Funds(106_000_000 - 25_710_000, 25_710_000 * 3 // 4),
        Funds(0, 81_600_000 * 3 // 4),
    )


# The order, against all others


def left_by_any_order(random: Random, growths: list[Fraction], opens: list[int], amounts: list[int]) -> list[Fraction]:
    """What the pots hold at the end, where each year's amount is drawn from those that are open, anyhow."""
    pots = [Fraction(amounts[0]) for _ in growths]
    for year, amount in enumerate(amounts[1:]):
        pots = [pot * growth for pot, growth in zip(pots, growths, strict=True)]
        still = Fraction(amount)
        order = [k for k in range(len(pots)) if opens[k] <= year]
        random.shuffle(order)
        for part in (Fraction(random.randint(0, 100), 100), Fraction(1)):
            for k in order:
                out = min(pots[k], still * part)
                pots[k], still = pots[k] - out, still - out
        if still:
            return []
    return pots


@pytest.mark.parametrize("seed", range(300))
def test_no_other_order_leaves_more(seed: int) -> None:
    """Whatever is drawn in each year: the same amounts from the pots in any other way leave no more in all. So it is with
    pensions that may be drawn only from some year on. In pence, which rounding may cost a few of."""
    random = Random(seed)
    count, years = random.randint(2, 4), random.randint(1, 8)
    percents = [Fraction(random.randint(-300, 900), 10_000) for _ in range(count)]
    growths = [1 + rate for rate in percents]
    opens = [0, *(random.choice((0, 0, random.randint(0, years))) for _ in range(count - 1))]
    start = random.randint(1, 50_000_000)
    amounts = [start, *(random.randint(0, start * count // years) for _ in range(years))]
    pots = tuple(Funds(0, start) for _ in growths)
    for year, amount in enumerate(amounts[1:]):
        pots = tuple(Funds(0, round(pot.drawdown * growth)) for pot, growth in zip(pots, growths, strict=True))
        order = sorted((k for k in range(count) if opens[k] <= year), key=lambda k: growths[k])
        found = drawn(order, pots, (0, amount), (0, 0), [(0, 1)] * count)
        if found.drawn != Funds(0, amount):
            return
        pots = found.after
    rule = sum(pot.drawdown for pot in pots)
    for _ in range(20):
        other = left_by_any_order(random, growths, opens, amounts)
        assert sum(other) <= rule + 2 * count * years


@pytest.mark.parametrize("seed", range(12))
def test_the_model_that_may_choose_any_pension_finds_nothing_better(seed: int) -> None:
    """The bound leaves it open which pension is drawn in which year. Where it meets the plan, which follows the order, no other
    choice is better; here by no more than a pound a year."""
    random = Random(seed)
    kinds = [
        held(
            random.randint(5, 90) * 1_000,
            random.choice((100, 250, 400, 700)),
            drawdown=random.choice((0, 0, 20_000)),
            age=random.choice((None, None, 60, 66)),
            charge=random.choice((0, 50)),
        )
        for _ in range(random.randint(2, 5))
    ]
    asked = household(
        person(*kinds, born=date(random.randint(1959, 1964), 6, 1), cash=3_000_000),
        years=8,
        spending=(Spending(1_400_000),),
        lump_sums=random.choice(("with_each_withdrawal", "never")),
        assumptions=Assumptions(400, 300, tax_rate_on_remaining_pension=2_000),
    )
    best = most_after_tax(timeline(asked, BOOK))
    assert best.agreed
    assert best.bound - best.projection.wealth <= 8 * POUND


# What is said, and refused


def asked(*pensions: dict[str, Any], born: str = "1970-06-01", **more: Any) -> dict[str, Any]:
    people = [{"date_of_birth": born, "tax_residence": "england", "pensions": list(pensions), "cash": 40_000}]
    return {
        "household": {"people": people},
        "start_date": "2026-04-06",
        "end_date": "2032-04-05",
        "aim": {"goal": "personal_allowance"},
        **more,
    }


def test_the_answer_tells_of_each_pension(client: FlaskClient) -> None:
    pensions = (
        {"uncrystallised": 20_000, "growth": 0.02},
        {"uncrystallised": 90_000, "growth": 0.05, "protected_pension_age": 60},
        {"uncrystallised": 5_000, "growth": 0.02},
    )
    found = answered(client, PLANS, asked(*pensions))
    assert found["assumptions"]["growth_by_pension"] == [
        {"person": 0, "pension": 0, "together_with": [2], "growth": 0.02},
        {"person": 0, "pension": 1, "growth": 0.05},
    ]
    one = found["years"][1]["people"][0]
    assert [(part["pension"], part["gross"]) for part in one["withdrawals"]] == [(0, 8_914.8), (1, 0.0)]
    assert [part["closing"] for part in one["pensions"]] == [0.0, 99_225.0]
    assert one["because"][0]["code"] == "uses_up_what_is_unlocked"
    assert "1 June 2030 at the earliest, at 60" in one["because"][0]["detail"]
    locked = found["years"][2]["people"][0]["because"]
    assert locked[0]["code"] == "pension_locked"
    reached = [(event["date"], event["detail"]) for year in found["years"] for event in year["events"]
               if event["code"] == "minimum_pension_age_reached"]  # fmt: skip
    assert reached == [("2030-06-01", "You reach 60, the minimum age for taking money from one of the pensions.")]


def test_where_spending_cannot_be_met_it_is_said_which_money_is_locked(client: FlaskClient) -> None:
    body = asked({"uncrystallised": 20_000}, {"uncrystallised": 90_000, "protected_pension_age": 60})
    body["household"]["spending"] = [{"amount": 30_000}]
    reply = client.post(PLANS, json=body)
    assert reply.status_code == 422
    assert "Part of the pension cannot be drawn before 1 June 2030." in reply.get_json()["errors"][0]["detail"]


MARKETS = {"source": "given", "paths": [{"pension_growth": [0.03] * 6}]}
ALL_NOW = {"plan": "personal_allowance", "lump_sums": "all_now"}


@pytest.mark.parametrize(
    ("terms", "more", "says"),
    [
        ({"protected_pension_age": 60}, {"lump_sums": "all_now"}, "With `all_now`"),
        ({"growth": 0.02}, {"markets": MARKETS}, "the same `growth`"),
        ({"protected_pension_age": 60}, {"markets": {**MARKETS, "compare": [ALL_NOW]}}, "With `all_now`"),
    ],
)
def test_what_needs_one_age_or_one_growth_is_refused(
    client: FlaskClient, terms: dict[str, Any], more: dict[str, Any], says: str
) -> None:
    body = asked({"uncrystallised": 20_000}, {"uncrystallised": 90_000} | terms, **more)
    assert faults_of(client, PLANS, json.dumps(body).encode()) == [
        ("#/household/people/0/pensions", "pensions-on-different-terms")
    ]
    assert says in client.post(PLANS, json=body).get_json()["errors"][0]["detail"]
    alike = asked({"uncrystallised": 20_000}, {"uncrystallised": 90_000}, **more)
    assert client.post(PLANS, json=alike).status_code == 200


def test_pensions_with_other_ages_are_drawn_on_every_course_of_markets(client: FlaskClient) -> None:
    """On a course that is the plan's own assumptions, each year is the plan's."""
    body = asked(
        {"uncrystallised": 20_000},
        {"uncrystallised": 90_000, "protected_pension_age": 60},
        assumptions={"pension_growth": 0.03},
        markets=MARKETS,
    )
    found = answered(client, PLANS, body)
    assert found["markets"]["wealth_after_tax"]["p50"] == pytest.approx(found["totals"]["wealth_after_tax"], abs=0.01)
    grown = answered(client, PLANS, {**body, "markets": {"source": "given", "paths": [{"pension_growth": [0.1] * 6}]}})
    better = answered(client, PLANS, {**body, "assumptions": {"pension_growth": 0.1}})
    assert grown["markets"]["wealth_after_tax"]["p50"] == better["totals"]["wealth_after_tax"]


def test_scenarios_move_every_pension(client: FlaskClient) -> None:
    """A scenario's growth takes the place of each pension's own: then the charge alone tells them apart. By hand, 20,000 and
    30,000 at 3%, the second less 1%, in one year; 16,760 is drawn from the second."""
    pensions = (
        {"uncrystallised": 20_000, "growth": 0.01},
        {"uncrystallised": 30_000, "growth": 0.08, "yearly_charge": 0.01},
    )
    body = asked(*pensions, born="1962-06-01", assumptions={"scenarios": {"low": {"pension_growth": 0.03}}})
    body["end_date"] = "2027-04-05"
    low = answered(client, PLANS, body)["scenarios"]["low"]
    assert low["totals"]["in_pensions"] == pytest.approx(20_600 + 30_000 * 1.03 * 0.99 - 16_760, abs=0.01)


def test_one_pension_in_two_entries_is_planned_as_in_one() -> None:
    """A pension in two parts that grow alike but for a hundredth of a point a year: it leaves that more of the part, and no
    more than that."""
    alone = household(person(held(120_000, 400)), years=5, assumptions=Assumptions(400, 300))
    parted = household(person(held(60_000, 400), held(60_000, 401)), years=5, assumptions=Assumptions(400, 300))
    one, two = (most_after_tax(timeline(each, BOOK)).projection.wealth for each in (alone, parted))
    assert 0 <= two - one <= 60_000 * POUND * 5 * 1.04**5 / 10_000 * 1.01
    assert replace(alone, people=parted.people).people[0].pots


def test_the_console_tells_what_each_pension_grows_by() -> None:
    rates = [
        {"person": 0, "pension": 0, "together_with": [2], "growth": 0.02},
        {"person": 0, "pension": 1, "growth": 0.05},
    ]
    assert pension_growth({"pension_growth": 0.02, "growth_by_pension": rates}) == (
        "by pension: the first person's 0 and 2 by 2.00%, the first person's 1 by 5.00%"
    )


POTS = st.lists(st.tuples(st.integers(0, 10_000_000), st.integers(-300, 1_500)), min_size=1, max_size=5)
"""What pots hold, pence, and by how many ten-thousandths the growth is that money spent early misses."""


@given(POTS, st.integers(0, 20_000_000), st.integers(0, 20_000_000))
@example([(1_237_551, 150), (1_054_574, 220), (6_254_797, 230)], 8_409_976, 6_114_768)
def test_less_is_drawn_than_was_asked_only_where_nothing_is_left(
    pots: list[tuple[int, int]], draw: int, early: int
) -> None:
    """Otherwise a period would be settled again and again, each time for a penny less."""
    held, early = [amount for amount, _ in pots], min(draw, early)
    rates = [(rate, 10_000) for _, rate in pots]
    found = drawn(range(len(pots)), [Funds(0, amount) for amount in held], (0, draw), (0, early), rates)
    left = sum(pot.drawdown for pot in found.after)
    assert sum(held) == left + found.drawn.drawdown + found.missed.drawdown
    assert found.drawn.drawdown == draw or left == 0
