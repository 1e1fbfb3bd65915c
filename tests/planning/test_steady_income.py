"""The highest steady income: by hand, against every split of two years, against its own bound; and the nearest wish that can
be met."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from service import create_app
from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, DatedIncome, Household, Isa, Member, Spending
from service.planning.optimiser.branch_and_bound import meets_spending
from service.planning.optimiser.highest_level import UNDER
from service.planning.optimiser.work import LIMITS, Work
from service.planning.projection.policies import PLAIN_PLANS, PlainPlans, projected
from service.planning.projection.settlement import Choice, Draw, Opened
from service.planning.projection.timeline import Timeline, timeline, with_spending
from service.planning.schedule import wishes
from service.planning.schedule.schedule import STEADY_INCOME, Schedule, ScheduleQuestion, schedule
from service.planning.schedule.told import told
from service.settings import Settings
from tests.benchmarks.costly import FOLDER
from tests.benchmarks.households import couple
from tests.benchmarks.questions import question
from tests.households import BOOK

POUND = 100


def household(person: Member, years: int, assumed: Assumptions | None = None, **more: Any) -> Household:
    """One person, or as given, from 6 April 2026."""
    return Household(
        date(2026, 4, 6), date(2026 + years, 4, 5), (person,), assumptions=assumed or Assumptions(), **more
    )


def person(born: int, uncrystallised: int = 0, drawdown: int = 0, **facts: Any) -> Member:
    """Amounts in pounds, but for the further facts."""
    return Member(date(born, 6, 1), "england", Pension(uncrystallised * POUND, drawdown * POUND), **facts)


def steadiest(asked: Household) -> Schedule:
    return schedule(ScheduleQuestion(asked, STEADY_INCOME), BOOK)


def amounts(result: Schedule) -> tuple[int, int]:
    """The income and its bound, in whole pounds."""
    assert result.steady_income is not None
    return result.steady_income.amount // POUND, result.steady_income.bound // POUND


def paying(tax_years: Timeline, pence: int) -> Timeline:
    """The same household spending a level income with prices."""
    given = tax_years.household.spending
    return with_spending(tax_years, (*given, Spending(pence, increases="prices")))


# By hand


def test_savings_that_do_not_grow_last_their_number_of_years() -> None:
    """50,003 over five years is 10,000 a year, and three pounds are left."""
    result = steadiest(household(person(1985, isa=Isa(50_003 * POUND)), 5))
    assert amounts(result) == (10_000, 10_000)
    assert result.totals.wealth_after_tax == 3 * POUND


def test_an_income_that_rises_with_prices_is_the_growing_annuity() -> None:
    """Spent on the last day of each year: 100,000 pays c such that 100,000 = sum of c x 1.02^t / 1.05^(t+1), t from 0 to 9."""
    assumed = Assumptions(isa_growth=500, price_inflation=200, spending_met="end")
    result = steadiest(household(person(1985, isa=Isa(100_000 * POUND)), 10, assumed))
    closed = 100_000 / sum(1.02**t / 1.05 ** (t + 1) for t in range(10))
    assert amounts(result) == (int(closed), int(closed))


def test_a_taxed_pension_is_drawn_in_equal_parts() -> None:
    """100,000 of drawdown over 2026-27 and 2027-28: 50,000 a year, less 20% of what is above 12,570 (ITA 2007 ss.10, 35)."""
    result = steadiest(household(person(1960, drawdown=100_000), 2))
    assert amounts(result) == (42_514, 42_514)


def test_money_that_is_locked_sets_the_income_until_57() -> None:
    """Born in June 1981: 57 on 1 June 2038 (FA 2004 s.279, FA 2022 s.10). Twelve tax years live on 30,000."""
    result = steadiest(household(person(1981, 300_000, cash=30_000 * POUND), 20))
    assert amounts(result) == (2_500, 2_500)
    assert result.totals.in_pensions > 0


def test_it_comes_besides_other_spending() -> None:
    """5 x 10,000, of which 4,000 a year for two years go elsewhere: 42,000 / 5."""
    elsewhere = Spending(4_000 * POUND, last=date(2028, 4, 5))
    asked = household(person(1985, isa=Isa(50_000 * POUND)), 5, spending=(elsewhere,))
    assert amounts(steadiest(asked)) == (8_400, 8_400)


# By trying


def test_no_split_of_two_years_pays_more() -> None:
    """Every ten pounds that may be drawn in the first of two years, carried out by the projection."""
    for drawdown, savings, growth in ((90_000, 8_000, 0), (130_000, 0, 400), (61_234, 25_000, 300)):
        assumed = Assumptions(growth, growth, spending_met="end")
        asked = household(person(1960, drawdown=drawdown, isa=Isa(savings * POUND)), 2, assumed)
        result = steadiest(asked)
        amount, bound = amounts(result)
        assert bound - amount <= 3
        more = paying(timeline(asked, BOOK), (bound + 1) * POUND)
        for first in range(0, drawdown, 10):
            assert not carried_out(more, (first * POUND, drawdown * 2 * POUND)), first


def carried_out(tax_years: Timeline, taxable: tuple[int, ...]) -> bool:
    """Whether draws of so much from drawdown, or all there is, pay for the spending without any help."""

    def choose(position: int, people: tuple[Opened, ...]) -> Choice:
        return Choice(tuple(Draw(0, min(taxable[position], one.most_drawdown)) for one in people))

    try:
        projected(tax_years, choose)
    except RuleViolation:
        return False
    return True


def invented() -> Iterator[Household]:
    """Households of one or two, with and without other income, locked pensions and a growth of their own."""
    chance = random.Random(20_260_406)
    for _ in range(10):
        people = tuple(
            person(
                chance.choice((1956, 1961, 1964, 1976)),
                chance.randint(0, 400) * 1_000,
                chance.choice((0, 0, 40_000)),
                isa=Isa(chance.randint(0, 90) * 1_000 * POUND),
                cash=chance.randint(5, 60) * 1_000 * POUND,
                income=(DatedIncome("defined_benefit_pension", chance.randint(1, 18) * 1_000 * POUND),),
            )
            for _ in range(chance.randint(1, 2))
        )
        assumed = Assumptions(
            chance.choice((0, 400)), chance.choice((0, 400)), chance.choice((0, 200)), chance.choice((0, 250))
        )
        lump_sums = chance.choice(("with_each_withdrawal", "all_now", "never"))
        yield Household(
            date(2026, 4, 6), date(chance.randint(2028, 2040), 4, 5), people, lump_sums=lump_sums, assumptions=assumed
        )


@pytest.mark.parametrize("asked", list(invented()))
def test_the_income_is_paid_each_year_and_no_plan_tried_pays_more_than_the_bound(asked: Household) -> None:
    result = steadiest(asked)
    amount, bound = amounts(result)
    # Where cash earns more than ISAs, proofs are hard near the highest: the bound may be the first step up, a hundredth.
    assert amount <= bound <= amount * 1.011 + 2
    prices = 1 + asked.assumptions.price_inflation / 10_000
    for t, year in enumerate(result.years):
        assert year.spending == pytest.approx(amount * POUND * prices**t, abs=1)
        assert sum(one.record.spent for one in year.people) == year.spending
    more = paying(timeline(asked, BOOK), (bound + 1) * POUND)
    plain = PlainPlans(more)
    for name in PLAIN_PLANS:
        with pytest.raises(RuleViolation):
            plain.plan(name)
    # The plan found, drawing a little more or less in any year, does not pay more either.
    chance = random.Random(amount)
    drawn = [
        [(one.withdrawal.from_uncrystallised, one.withdrawal.from_drawdown) for one in year.people]
        for year in result.years
    ]
    for _ in range(40):
        shift = [chance.choice((1, 1, 1, 0.9, 0.99, 1.01, 1.1)) for _ in result.years]

        def choose(position: int, people: tuple[Opened, ...], shift: list[float] = shift) -> Choice:
            return Choice(
                tuple(
                    Draw(
                        min(int(funds * shift[position]), one.most_uncrystallised),
                        min(int(rest * shift[position]), one.most_drawdown),
                    )
                    for one, (funds, rest) in zip(people, drawn[position], strict=True)
                )
            )

        with pytest.raises(RuleViolation):
            projected(more, choose)


@pytest.mark.parametrize("seed", range(8))
def test_the_bound_is_near_and_no_plan_pays_more(seed: int) -> None:
    """An invented couple over 12 years, some with a minimum of cash or a cap. The bound comes from one linear program with the
    level as a column; that a little more cannot be paid is shown again by searches at that level, where they come to an end."""
    body = couple(random.Random(700 + seed), STEADY_INCOME)
    body["end_date"] = "2038-04-05"
    body["household"]["spending"] = body["household"].get("spending", [])[: seed % 2]
    if seed % 3 == 0:
        body["household"]["minimum_cash"] = 5_000
    if seed % 4 == 1:
        body["household"]["people"][0]["withdrawal_cap"] = 20_000
    asked = question("allowance-schedule", body).household
    try:
        result = steadiest(asked)
    except RuleViolation:
        return
    level, bound = amounts(result)
    assert level <= bound <= level + max(20, level // 100)
    tax_years = timeline(asked, BOOK)
    for higher in (bound + 1, bound + 100, bound + 2_000):
        found = meets_spending(paying(tax_years, higher * POUND - UNDER), Work(LIMITS["standard"]), {})
        assert found.plan is None, higher


def test_little_work_gives_a_lower_income_or_a_wider_bound() -> None:
    asked = next(invented())
    quick = schedule(ScheduleQuestion(asked, STEADY_INCOME, effort="quick"), BOOK)
    thorough = schedule(ScheduleQuestion(asked, STEADY_INCOME, effort="thorough"), BOOK)
    assert amounts(quick)[0] <= amounts(thorough)[1]
    assert amounts(thorough)[0] <= amounts(quick)[1]


def test_scenarios_have_their_own_income() -> None:
    asked = household(person(1985, isa=Isa(50_000 * POUND)), 5)
    low = replace(asked.assumptions, isa_growth=-300)
    result = schedule(ScheduleQuestion(asked, STEADY_INCOME, {"low": low}), BOOK)
    (scenario,) = result.scenarios
    assert scenario.steady_income is not None
    assert 9_000 * POUND < scenario.steady_income.amount < 10_000 * POUND


def test_the_summary_says_how_much_and_that_no_more_can_be_paid() -> None:
    result = steadiest(household(person(1985, isa=Isa(50_003 * POUND)), 5, Assumptions(price_inflation=0)))
    first, second, *_ = told(result).summary
    assert first == "This plan pays £10,000 a year after tax until 5 April 2031."
    assert second == "One pound a year more could not be paid throughout."


# Wishes that cannot be met


@pytest.mark.parametrize("goal", ["personal_allowance", "most_after_tax", "steady_income"])
def test_a_wish_says_what_is_locked_and_the_nearest_that_can_be_met(goal: Any) -> None:
    """30,000 has to last until 1 June 2038, in the thirteenth tax year."""
    asked = household(person(1981, 200_000, cash=30_000 * POUND), 20)
    too_much = replace(asked, spending=(Spending(20_000 * POUND),))
    with pytest.raises(RuleViolation) as refused:
        schedule(ScheduleQuestion(too_much, goal), BOOK)
    (fault,) = refused.value.faults
    assert "The pension cannot be drawn before 1 June 2038, at age 57." in fault.detail
    assert fault.detail.endswith("A plan with this aim can meet £2,500 a year instead of £20,000.")
    schedule(ScheduleQuestion(replace(asked, spending=(Spending(2_500 * POUND),)), goal), BOOK)
    with pytest.raises(RuleViolation):
        schedule(ScheduleQuestion(replace(asked, spending=(Spending(2_501 * POUND),)), goal), BOOK)


@pytest.mark.parametrize("wanted", [9_000, 30_000, 700_000])
def test_the_nearest_of_a_plain_aim_is_the_highest_that_it_meets(wanted: int) -> None:
    """Nothing is locked here: the pension runs out."""
    asked = household(person(1960, 150_000, 20_000, isa=Isa(10_000 * POUND)), 25)

    def spending(pounds: int) -> ScheduleQuestion:
        return ScheduleQuestion(replace(asked, spending=(Spending(pounds * POUND),)), "basic_rate_band")

    with pytest.raises(RuleViolation) as refused:
        schedule(spending(wanted), BOOK)
    found = re.search(r"can meet £([0-9,]+) a year instead", refused.value.faults[0].detail)
    assert found is not None
    nearest = int(found[1].replace(",", ""))
    schedule(spending(nearest), BOOK)
    with pytest.raises(RuleViolation):
        schedule(spending(nearest + 1), BOOK)


def test_the_nearest_of_a_plain_aim_takes_no_more_than_its_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was found to be met until then is told."""
    asked = household(person(1960, 150_000, isa=Isa(10_000 * POUND)), 25, spending=(Spending(20_000 * POUND),))
    carried_out: list[int] = []
    project = wishes.projected

    def counted(*given: Any) -> Any:
        carried_out.append(1)
        return project(*given)

    monkeypatch.setattr(wishes, "projected", counted)
    with pytest.raises(RuleViolation) as refused:
        schedule(ScheduleQuestion(asked, "personal_allowance"), BOOK)
    detail, all_of_them = refused.value.faults[0].detail, len(carried_out)
    carried_out.clear()
    monkeypatch.setattr(wishes, "_MOST_WORK", 1)
    with pytest.raises(RuleViolation) as refused:
        schedule(ScheduleQuestion(asked, "personal_allowance"), BOOK)
    assert len(carried_out) < all_of_them
    assert refused.value.faults[0].detail != detail
    assert "can meet" in refused.value.faults[0].detail


def test_of_several_amounts_the_nearest_is_a_share_of_each() -> None:
    asked = household(person(1985, isa=Isa(50_000 * POUND)), 5)
    items = (Spending(15_000 * POUND), Spending(5_000 * POUND))
    with pytest.raises(RuleViolation) as refused:
        schedule(ScheduleQuestion(replace(asked, spending=items), "most_after_tax"), BOOK)
    assert refused.value.faults[0].detail.endswith("A plan with this aim can meet 50% of each amount.")


def test_where_nothing_helps_no_nearest_is_told() -> None:
    """A minimum of cash that is not there cannot be kept, whatever is spent."""
    asked = household(
        person(1985, cash=1_000 * POUND), 2, minimum_cash=2_000 * POUND, spending=(Spending(500 * POUND),)
    )
    with pytest.raises(RuleViolation) as refused:
        schedule(ScheduleQuestion(asked, "most_after_tax"), BOOK)
    assert "can meet" not in refused.value.faults[0].detail


def test_a_wish_of_a_pound_has_no_nearest() -> None:
    """There is no whole pound a year between it and nothing."""
    asked = household(person(1985), 2, spending=(Spending(POUND),))
    with pytest.raises(RuleViolation) as refused:
        schedule(ScheduleQuestion(asked, "most_after_tax"), BOOK)
    (fault,) = refused.value.faults
    assert fault.code == "spending-cannot-be-met"
    assert "can meet" not in fault.detail


def test_a_cell_of_next_to_no_weight_says_nothing_of_the_relaxation() -> None:
    """Found by random trial: in a cell of a ten-millionth of a year the solver's tolerance looked like a tax above the rules'."""
    pensions: list[dict[str, object]] = [
        {"uncrystallised": 12036, "drawdown": 72070},
        {"uncrystallised": 500},
        {"uncrystallised": 60000, "growth": -0.01},
        {"uncrystallised": 500, "growth": 0.05},
    ]
    person = {
        "date_of_birth": "1972-05-27",
        "tax_residence": "wales",
        "income": [{"kind": "other_taxable", "amount": 12570}],
        "contributions": [{"yearly": 5000.01, "relief": "relief_at_source"}],
        "pensions": pensions,
    }
    asked = {
        "household": {"people": [person], "minimum_cash": 14337},
        "start_date": "2030-04-06",
        "end_date": "2055-04-05",
        "aim": {"goal": "steady_income"},
        "lump_sums": "never",
        "assumptions": {"isa_growth": 0.05, "cash_interest": 0.045},
    }
    client = create_app(Settings.for_tests()).test_client()
    proof = client.post("/v1/allowance-schedule", json=asked).get_json()["proof"]
    assert proof["proven"]
    assert proof["wealth_after_tax"] <= proof["bound"] <= 2 * proof["wealth_after_tax"]


@pytest.mark.parametrize("number", [3, 4, 5])
def test_no_plan_that_it_is_compared_with_leaves_more(number: int) -> None:
    """Found as costly requests: the work is over once the income is known. The plain plans that the answer shows beside its plan
    pay the same income, so it is never worse than they are."""
    find = json.loads((FOLDER / f"allowance-schedule-quick-{number}.json").read_text("utf-8"))
    result = schedule(question("allowance-schedule", find["request"]), BOOK)
    others = [one.projection.wealth for one in result.comparisons if one.projection is not None]
    assert others
    assert result.projection.wealth >= max(others)


def test_an_income_that_can_be_paid_is_found_where_there_is_no_work_for_a_level() -> None:
    """A couple with eleven pensions and three scenarios beside the plan, found as a costly request with quick effort."""
    find = json.loads((FOLDER / "allowance-schedule-quick-3.json").read_text("utf-8"))
    result = schedule(question("allowance-schedule", find["request"]), BOOK)
    found = [result.steady_income, *(scenario.steady_income for scenario in result.scenarios)]
    assert len(found) == 4
    assert all(one is not None and 0 < one.amount <= one.bound for one in found)
