"""A plain aim on many paths: each path is a plan by the exact rules, and what is told of them all is so."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, Household, Isa, Member, Spending
from service.planning.markets.markets import Markets, Option, OverPaths, over_paths
from service.planning.markets.path import carried_out, in_a_year, policy_of, years_of
from service.planning.markets.percentiles import Percentiles, percentiles
from service.planning.markets.returns import Given, MarketPath, Random, Sequences, YearReturns, paths_of
from service.planning.projection.policies import BANDS, PLAIN_PLANS, Band, PlainPlan, PlainPlans, projected
from service.planning.projection.settlement import Settled
from service.planning.projection.timeline import Timeline, timeline
from service.planning.schedule.schedule import ScheduleQuestion, schedule
from tests.households import BOOK, plans

A_PATH = st.tuples(
    st.integers(-4_000, 6_000), st.integers(-4_000, 6_000), st.integers(0, 1_500), st.integers(-300, 1_500)
).map(lambda rates: YearReturns(*rates))
FEW = settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow], deadline=None)


def on(path: MarketPath, household: Household, plan: PlainPlan) -> tuple[Settled, ...]:
    return tuple(carried_out(years_of(timeline(household, BOOK), path, BOOK), plan))


def over(household: Household, markets: Markets, plan: PlainPlan = "personal_allowance") -> OverPaths:
    return over_paths(timeline(household, BOOK), plan, markets, 0, BOOK)


# Without volatility


@FEW
@given(plans(), st.sampled_from(PLAIN_PLANS), st.integers(0, 1_000))
def test_without_volatility_every_path_is_the_plain_plan_to_the_penny(
    household: Household, plan: PlainPlan, seed: int
) -> None:
    years = timeline(household, BOOK)
    try:
        plain = PlainPlans(years).plan(plan)
    except RuleViolation:
        assume(False)
    found = over(household, Markets(Random(seed, 2, (0, 0, 0, 0))), plan)
    assert found.met_throughout == 2
    assert set(found.wealth_after_tax) == {plain.wealth}
    assert set(found.wealth_after_tax_in_prices_of_start) == {plain.in_prices_of_start(plain.wealth)}
    for year, settled in zip(found.years, plain.years, strict=True):
        assert set(year.income_tax) == {sum(record.income_tax for record in settled.people)}
        assert set(year.withdrawn) == {sum(record.gross for record in settled.people)}


@FEW
@given(plans(), st.sampled_from(BANDS), st.integers(-200, 900), st.integers(0, 900))
def test_a_path_that_is_the_same_every_year_is_the_plan_under_that_assumption(
    household: Household, band: Band, growth: int, inflation: int
) -> None:
    """Prices as well, by which incomes, spending and the State Pension rise: the plan works them out by powers of one rate."""
    assumed = replace(household.assumptions, thresholds_after_freeze="frozen")
    household = replace(household, assumptions=assumed)
    other = replace(assumed, pension_growth=growth, isa_growth=growth, cash_interest=100, price_inflation=inflation)
    years = timeline(replace(household, assumptions=other), BOOK)
    path = (YearReturns(growth, growth, 100, inflation),) * len(years.periods)
    try:
        plain = PlainPlans(years).plan(band)
    except RuleViolation:
        plain = None
    found = on(path, household, band)
    assert any(year.short for year in found) == (plain is None)
    if plain is not None:
        assert [year.holdings for year in found] == [year.holdings for year in plain.years]
        of_path = years_of(timeline(household, BOOK), path, BOOK).whole
        assert list(of_path.price_levels()) == list(years.price_levels())


# By hand


def one(**facts: Any) -> Member:
    return Member(date(1962, 6, 1), "england", **{"pension": Pension(0, 10_000_000), **facts})


def two_years(*people: Member, **facts: Any) -> Household:
    return Household(date(2026, 4, 6), date(2028, 4, 5), people, **facts)


def test_two_paths_by_hand() -> None:
    """100,000 in drawdown funds, and no income: the personal allowance of 12,570 is drawn and subscribed each year.

    First path: 100,000 + 10% - 12,570 = 97,430; - 20% = 77,944, - 12,570 = 65,374. ISA: 12,570 + 5% + 12,570 = 25,768.50.
    Second: 100,000 - 12,570 = 87,430; + 10% = 96,173, - 12,570 = 83,603. ISA: 12,570 + 12,570 = 25,140.
    """
    source = Given((Sequences((1_000, -2_000), (0, 500)), Sequences((0, 1_000), (0, 0))))
    found = over(two_years(one()), Markets(source))
    first, second = 6_537_400 + 2_576_850, 8_360_300 + 2_514_000
    assert found.years[1].wealth_before_tax == Percentiles(first, first, first, second, second)
    assert found.years[0].wealth_before_tax == Percentiles(*[10_000_000] * 3, *[11_000_000] * 2)
    assert set(found.years[1].withdrawn) == {1_257_000}
    assert found.first_years[1][0].isa_subscription == (1_257_000,) * 3
    assert (found.met_throughout, found.worst.place, found.worst.fails) == (2, 0, None)


def test_spending_that_one_path_cannot_meet_by_hand() -> None:
    """10,000 of cash and 6,000 to spend at the end of each year. Without interest 2,000 is missing in the second year. With 50%
    in the first, 5,000 of interest bear no tax, and 9,000 is left for the second."""
    household = two_years(
        one(pension=Pension(0), cash=1_000_000, isa=Isa()),
        spending=(Spending(600_000),),
        assumptions=Assumptions(spending_met="end"),
    )
    source = Given((Sequences(cash=(5_000, 0)), Sequences(cash=(0, 0), prices=(0, 100))))
    found = over(household, Markets(source))
    assert [year.spending_met for year in found.years] == [2, 1]
    worst = found.worst
    assert (worst.place, worst.fails, worst.years_not_met) == (1, 1, 1)
    assert found.years[worst.fails].ages == (65,)
    assert worst.not_met == 198_020  # 2,000 in prices of the start: / 1.01


def test_spending_that_is_met_again_later_is_still_not_met_throughout() -> None:
    """Born on 1 June 1973: the pension opens at 57, in 2030-31 (FA 2004 s.279 from 6 April 2028). Until then there is nothing."""
    household = Household(
        date(2029, 4, 6), date(2031, 4, 5), (one()._replace(date_of_birth=date(1973, 6, 1)),), (Spending(100_000),)
    )
    found = over(household, Markets(Random(1, 3, (0, 0, 0, 0))))
    assert [year.spending_met for year in found.years] == [0, 0]
    assert (found.worst.fails, found.worst.years_not_met, found.worst.not_met) == (0, 1, 100_000)


def test_prices_of_a_path_move_spending_from_the_next_year_on() -> None:
    """100 spent of 1,000 of cash, prices up by 20% in the first year and 50% in the second: 100, 120, 180."""
    household = Household(
        date(2026, 4, 6),
        date(2029, 4, 5),
        (one(pension=Pension(0), cash=100_000),),
        spending=(Spending(10_000, increases="prices"),),
    )
    path = tuple(YearReturns(0, 0, 0, rise) for rise in (2_000, 5_000, 0))
    assert [sum(record.spent for record in year.people) for year in on(path, household, "personal_allowance")] == [
        10_000,
        12_000,
        18_000,
    ]


# By restarting: a second way to the same path


def test_a_path_is_a_chain_of_plans_of_one_year_each() -> None:
    """Each year planned by itself from what the year before left, with that year's rates as its assumptions."""
    rates = ((900, 700, 250), (-3_100, -2_000, 100), (1_500, 900, 0), (400, -700, 425), (-1_200, 300, 310))
    path = tuple(YearReturns(pension, isa, cash, 0) for pension, isa, cash in rates)
    people = (
        one(pension=Pension(0, 24_000_000), cash=2_500_000, isa=Isa(3_000_000)),
        one(pension=Pension(0, 9_000_000)),
    )
    spending = (Spending(4_200_000),)
    whole = Household(date(2026, 4, 6), date(2031, 4, 5), people, spending)
    held = people
    for position, year in enumerate(on(path, whole, "personal_allowance")):
        pension, isa, cash = rates[position]
        start = date(2026 + position, 4, 6)
        alone = Household(
            start, date(2027 + position, 4, 5), held, spending, assumptions=Assumptions(pension, isa, cash)
        )
        found = schedule(ScheduleQuestion(alone, "personal_allowance"), BOOK).projection.years[0]
        assert found.holdings == year.holdings
        held = tuple(
            member._replace(pension=after.pension, isa=Isa(after.isa), cash=after.cash)
            for member, after in zip(held, found.holdings, strict=True)
        )


# Whatever the path


@FEW
@given(plans(), st.sampled_from(PLAIN_PLANS), st.data())
def test_money_is_conserved_on_every_path(household: Household, plan: PlainPlan, data: st.DataObject) -> None:
    household = replace(household, assumptions=replace(household.assumptions, thresholds_after_freeze="frozen"))
    years = timeline(household, BOOK)
    path = tuple(data.draw(A_PATH) for _ in years.periods)
    before = sum(member.cash + member.isa.value + member.pension.uncrystallised + member.pension.drawdown
                 for member in household.people)  # fmt: skip
    for year in on(path, household, plan):
        records = year.people
        after = sum(
            held.cash + held.isa + held.pension.uncrystallised + held.pension.drawdown for held in year.holdings
        )
        come = sum(
            record.pension_growth
            + record.isa_growth
            + record.opened.interest
            + record.opened.year.received
            + record.opened.year.paid_in.amount
            for record in records
        )
        gone = sum(record.spent + record.income_tax for record in records)
        # Tax and own contributions that nobody has the money for are missing: they are not taken from nothing.
        in_hand = sum(
            record.opened.before.cash
            + record.opened.interest
            + record.opened.year.received
            + record.gross
            + record.from_isa
            - record.income_tax
            for record in records
        )
        unpaid = max(0, -in_hand)
        assert after == before + come - gone + unpaid
        for held in year.holdings:
            assert min(held.cash, held.isa, held.pension.uncrystallised, held.pension.drawdown) >= 0
        before = after


def test_the_policy_reacts_to_what_there_is() -> None:
    """After a fall the pension is spread over the same years, so less is drawn; by hand, born 1955: State Pension age is reached,
    and 100,000 is spread from 6 April 2026 to the 90th birthday, 1 June 2045."""
    member = one(pension=Pension(0, 10_000_000))._replace(date_of_birth=date(1955, 6, 1))
    household = two_years(member)
    calm, fallen = (
        on(((YearReturns(rate, 0, 0, 0)), YearReturns(0, 0, 0, 0)), household, "evenly") for rate in (0, -5_000)
    )
    days = (date(2045, 6, 1) - date(2026, 4, 6)).days + 1
    assert calm[0].people[0].gross == 10_000_000 * 365 // days
    assert fallen[0].people[0].gross == 5_000_000 * 365 // days
    assert fallen[1].people[0].gross < calm[1].people[0].gross


# What is told of all paths


def couple_that_runs_short() -> Household:
    return Household(
        date(2026, 4, 6),
        date(2046, 4, 5),
        (one(pension=Pension(30_000_000), isa=Isa(4_000_000), cash=1_000_000), one(pension=Pension(12_000_000))),
        (Spending(2_900_000, increases="prices"),),
        assumptions=Assumptions(500, 450, 200, 200),
    )


VARIED = Random(3, 60, (1_300, 1_200, 60, 120), ((("pension", "isa"), 9_000),))


def test_a_year_of_a_path_differs_in_its_rates_alone() -> None:
    """Whatever else is assumed, and whatever else a household or tax years have, stays: each field has something of its own."""

    def something(kind: type[Any]) -> Any:
        return kind(**{each.name: object() for each in fields(kind)})

    assumed, household, whole = something(Assumptions), something(Household), something(Timeline)
    expected = replace(assumed, pension_growth=1, isa_growth=2, cash_interest=3)
    assert assumed.with_rates(1, 2, 3) == expected
    assert household.assuming(expected) == replace(household, assumptions=expected)
    whole = replace(whole, household=replace(household, assumptions=assumed))
    assert in_a_year(whole, YearReturns(1, 2, 3, 4)) == replace(whole, household=household.assuming(expected))


def test_the_share_of_paths_with_spending_met_never_rises_and_is_what_the_paths_say() -> None:
    household = couple_that_runs_short()
    found = over(household, Markets(VARIED))
    met = [year.spending_met for year in found.years]
    assert met == sorted(met, reverse=True)
    assert 0 < met[-1] < met[0] == 60
    again = [on(path, household, "personal_allowance") for path in _paths(household)]
    for position, year in enumerate(found.years):
        assert year.spending_met == sum(not any(each.short for each in path[: position + 1]) for path in again)
        assert year.income_tax == percentiles(sum(one.income_tax for one in path[position].people) for path in again)
    fails = [next((t for t, year in enumerate(path) if year.short), 99) for path in again]
    assert found.worst.fails == min(fails) == fails[found.worst.place]


def test_the_worst_path_can_be_asked_about_again() -> None:
    household = couple_that_runs_short()
    worst = over(household, Markets(VARIED)).worst
    sequences = Sequences(*(tuple(int(rate) for rate in rates) for rates in zip(*worst.path, strict=True)))
    again = over(household, Markets(Given((sequences,)))).worst
    assert again == worst._replace(place=0)


def test_what_options_lose_against_the_best_on_each_path() -> None:
    """Reckoned again from each option alone."""
    household = couple_that_runs_short()
    options = (Option("basic_rate_band"), Option("evenly"), Option("personal_allowance", "all_now"))
    found = over(household, Markets(VARIED, options))
    alone = []
    for option in (Option("personal_allowance"), *options):
        own = replace(household, lump_sums=option.lump_sums or household.lump_sums)
        single = [over(own, Markets(Given((_sequences(path),))), option.plan) for path in _paths(household)]
        alone.append([each.wealth_after_tax_in_prices_of_start.p50 - each.worst.not_met for each in single])
    for place, compared in enumerate(found.compared):
        losses = [max(of_path) - of_path[place] for of_path in zip(*alone, strict=True)]
        assert compared.regret.best_in == losses.count(0)
        assert compared.regret.largest_loss == max(losses)
        assert compared.outcome == percentiles(alone[place])
    assert sum(compared.regret.best_in for compared in found.compared) >= found.paths
    assert found.compared[found.least_regret].regret.largest_loss == min(
        each.regret.largest_loss for each in found.compared
    )


def _paths(household: Household) -> list[MarketPath]:
    return list(paths_of(VARIED, household.assumptions, 0, 20))


def _sequences(path: MarketPath) -> Sequences:
    return Sequences(*(tuple(int(rate) for rate in rates) for rates in zip(*path, strict=True)))


@given(st.lists(st.integers(-50, 50), min_size=1, max_size=60))
def test_percentiles_are_amounts_that_so_many_do_not_exceed(amounts: list[int]) -> None:
    for per_cent, amount in zip((5, 25, 50, 75, 95), percentiles(amounts), strict=True):
        assert amount in amounts
        assert 100 * sum(each <= amount for each in amounts) >= per_cent * len(amounts)
        assert 100 * sum(each < amount for each in amounts) < per_cent * len(amounts)


def test_a_policy_of_a_path_is_that_of_the_plain_plan() -> None:
    """On the course that the plan assumes, whichever plain plan."""
    years = timeline(couple_that_runs_short(), BOOK)
    short = replace(years.household, spending=(Spending(1_500_000),))
    years = timeline(short, BOOK)
    for plan in PLAIN_PLANS:
        assert projected(years, policy_of(years, plan)).years == PlainPlans(years).plan(plan).years


@pytest.mark.parametrize("goal", ["most_after_tax", "steady_income"])
def test_an_aim_that_is_searched_for_is_refused(goal: Any) -> None:
    question = ScheduleQuestion(couple_that_runs_short(), goal, markets=Markets(VARIED))
    with pytest.raises(RuleViolation) as refused:
        schedule(question, BOOK)
    assert [(fault.path, fault.code) for fault in refused.value.faults] == [
        (("aim", "goal"), "markets-need-a-plain-aim")
    ]
