"""One plan of many: which of the plans that are as good is taken, and that next to nothing does not turn it over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from random import Random
from typing import Any

import pytest

from service.law.units import POUND
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, DatedIncome, Household
from service.planning.optimiser.branch_and_bound import most_after_tax
from service.planning.optimiser.last_day import taxed_left
from service.planning.optimiser.work import LIMITS, Work
from service.planning.projection.policies import Projection, projected
from service.planning.projection.timeline import Timeline, timeline
from tests.benchmarks.households import couple
from tests.benchmarks.questions import BOOK, question
from tests.oracle.best_plan import policy_of, table_of
from tests.planning.test_schedule import person

POINT_HUNDREDTH = 1
"""A hundredth of a percentage point, in basis points."""


def taken(household: Household | Timeline) -> Projection:
    """The plan that is taken for a household."""
    tax_years = household if isinstance(household, Timeline) else timeline(household, BOOK)
    found = most_after_tax(tax_years, Work(LIMITS["standard"]))
    return found.projection if found.tie is None else found.tie.plan


def test_where_leaving_and_drawing_come_to_the_same_everything_is_drawn() -> None:
    """By hand: 100,000 of drawdown, no growth anywhere, and 12,570 of other income. Each pound drawn bears 20% (ITA 2007 s.10: to
    37,700), and what is left is taken to bear 20% too. So 80,000 is left after tax by drawing all, nothing, or any part; two
    years' basic rate bands have room for 75,400, and three for all."""
    alone = person(
        pension=person().pension._replace(uncrystallised=0, drawdown=10_000_000),
        income=(DatedIncome("annuity", 1_257_000),),
    )
    household = Household(
        date(2026, 4, 6), date(2029, 4, 5), (alone,), assumptions=Assumptions(tax_rate_on_remaining_pension=2_000)
    )
    found = most_after_tax(timeline(household, BOOK), Work(LIMITS["standard"]))
    income = 3 * 1_257_000
    assert found.projection.wealth == pytest.approx(8_000_000 + income, abs=100)
    assert found.tie is not None
    assert taxed_left(found.tie.plan) <= 2 * POUND
    assert found.tie.most_left == pytest.approx(10_000_000, abs=1_600)
    assert found.tie.given_up <= found.tie.within == 3 * POUND
    # And as smoothly as can be: a third each year.
    drawn = [year.people[0].gross for year in found.tie.plan.years]
    assert max(drawn) - min(drawn) <= 10 * POUND
    assert sum(drawn) == pytest.approx(10_000_000, abs=2 * POUND)


def small_couple(seed: int) -> dict[str, Any]:
    """An invented couple over fifteen years whose pensions and ISAs grow alike, as most people assume."""
    body = couple(Random(seed), "most_after_tax")
    body["end_date"] = "2041-04-05"
    body["assumptions"].pop("tax_rate_on_remaining_pension", None)
    body["assumptions"]["isa_growth"] = body["assumptions"]["pension_growth"]
    return body


def household_of(body: dict[str, Any]) -> Household:
    return question("allowance-schedule", body).household


def raised(name: str) -> Callable[[Household], Household]:
    def change(household: Household) -> Household:
        assumed = household.assumptions
        return replace(household, assumptions=replace(assumed, **{name: getattr(assumed, name) + POINT_HUNDREDTH}))

    return change


def with_a_hundred_more(household: Household) -> Household:
    first, *others = household.people
    pension = first.pension._replace(uncrystallised=first.pension.uncrystallised + 100 * POUND)
    return replace(household, people=(first._replace(pension=pension), *others))


def at_flat_rate(household: Household) -> Household:
    return replace(household, assumptions=replace(household.assumptions, tax_rate_on_remaining_pension=2_000))


CHANGES = {
    "ISAs grow 0.01 points more": raised("isa_growth"),
    "pensions grow 0.01 points more": raised("pension_growth"),
    "100 pounds more in a pension": with_a_hundred_more,
}


def moved(one: Projection, other: Projection) -> float:
    """What part of the pensions at the start is drawn at another time, or by another person, or not at all."""
    pots = sum(member.pension.uncrystallised + member.pension.drawdown for member in one.timeline.household.people)
    pairs = zip(one.years, other.years, strict=True)
    changed = sum(
        abs(mine.gross - theirs.gross)
        for year, same in pairs
        for mine, theirs in zip(year.people, same.people, strict=True)
    )
    return changed / 2 / max(1, pots)


def lost_a_year(plan: Projection, tax_years: Timeline, best: Projection) -> float:
    """What a plan made for other assumptions leaves less under these, pounds a year."""
    try:
        carried_out = projected(tax_years, policy_of(table_of(plan)))
    except RuleViolation:
        return float("inf")
    return (best.wealth - carried_out.wealth) / POUND / len(tax_years.periods)


def test_next_to_nothing_does_not_turn_a_plan_over() -> None:
    """Of 100 invented couples, each with a change of 0.01 points or of 100 pounds: more than 5% of the pensions moves only where
    the plan as it was would now leave at least a pound a year less. Four do not keep to it: the optimiser's page says why."""
    turned_over = []
    for seed in range(100):
        name = list(CHANGES)[seed % len(CHANGES)]
        household = household_of(small_couple(seed))
        if seed % 2:
            household = at_flat_rate(household)
        after = timeline(CHANGES[name](household), BOOK)
        try:
            one, other = taken(household), taken(after)
        except RuleViolation:
            continue
        if moved(one, other) > 0.05 and lost_a_year(one, after, other) < 1:
            turned_over.append((seed, name, moved(one, other), lost_a_year(one, after, other)))
    assert len(turned_over) <= 4, turned_over


@pytest.mark.parametrize("seed", range(6))
def test_the_plan_taken_is_as_good_and_leaves_no_more(seed: int) -> None:
    """As the bookkeeping says, which is asked again with the plan as a table of amounts."""
    tax_years = timeline(household_of(small_couple(300 + seed)), BOOK)
    found = most_after_tax(tax_years, Work(LIMITS["standard"]))
    tie = found.tie
    assert tie is not None
    again = projected(tax_years, policy_of(table_of(tie.plan)))
    assert again.wealth == tie.plan.wealth == found.projection.wealth - tie.given_up
    assert tie.given_up <= tie.within == POUND * len(tax_years.periods)
    assert tie.least_left == taxed_left(again) <= max(taxed_left(found.projection), tie.least_left) <= tie.most_left
    assert tie.plan.wealth <= found.bound


def test_what_is_taken_may_be_better_than_what_the_search_found() -> None:
    """Where a gap is left, as for this couple once by 83 pounds. Then nothing is given up, and it is the best plan."""
    first = {
        "date_of_birth": "1965-11-20",
        "tax_residence": "england",
        "cash": 18_000,
        "income": [
            {"kind": "employment", "amount": 46_000, "to": "2027-06-30"},
            {"kind": "state_pension", "share_of_full_rate": 1},
        ],
        "pensions": [{"uncrystallised": 560_000}],
        "isa": {"value": 35_000, "subscribed_this_year": 4_000},
    }
    second = {
        "date_of_birth": "1968-02-08",
        "tax_residence": "england",
        "income": [
            {"kind": "defined_benefit_pension", "amount": 6_200, "from": "2028-02-08", "increases": 0.025},
            {"kind": "state_pension", "share_of_full_rate": 0.8},
        ],
        "pensions": [{"uncrystallised": 95_000}],
        "isa": {"value": 12_000},
    }
    spending = [
        {"amount": 40_000, "from": "2027-07-01", "increases": "prices"},
        {"amount": 150_000, "from": "2031-04-06", "to": "2032-04-05"},
    ]
    body = {
        "household": {"people": [first, second], "spending": spending},
        "start_date": "2026-10-01",
        "end_date": "2034-04-05",
        "aim": {"goal": "most_after_tax"},
        "assumptions": {"pension_growth": 0.045, "isa_growth": 0.005, "cash_interest": 0.02, "price_inflation": 0.0025},
    }
    found = most_after_tax(timeline(household_of(body), BOOK), Work(LIMITS["standard"]))
    assert found.tie is not None
    assert found.tie.given_up >= 0
    assert found.projection.wealth == found.tie.plan.wealth + found.tie.given_up


def test_no_plan_pays_into_isas_what_it_takes_out_of_them() -> None:
    """Spending can come from an ISA and the withdrawal go into it in the same year, which comes to the same as spending the
    withdrawal. No client would see a reason for it."""
    taken_out = 0
    for seed in range(20):
        body = couple(Random(seed), "most_after_tax")
        body["assumptions"].pop("tax_rate_on_remaining_pension", None)
        body["assumptions"]["isa_growth"] = body["assumptions"]["pension_growth"]
        plan = taken(household_of(body))
        for year in plan.years:
            out = sum(one.from_isa for one in year.people)
            assert min(out, sum(one.subscribed for one in year.people)) <= POUND, (seed, year)
            taken_out += out
    assert taken_out > 0


def test_where_the_work_is_over_nothing_is_said_of_ties() -> None:
    tax_years = timeline(household_of(small_couple(1)), BOOK)
    assert most_after_tax(tax_years, Work(1_000)).tie is None
