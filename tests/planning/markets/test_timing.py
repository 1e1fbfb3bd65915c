"""The options of lump sum timing on many courses of markets: each course by the same rules as the one that is assumed."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from random import Random as Drawing
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from service import calculator, create_app
from service.law.ages import age_on
from service.law.lump_sums import Pension
from service.planning.estates import EstateFacts
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, Household, Isa, Member, Spending
from service.planning.markets.percentiles import Percentiles, percentiles
from service.planning.markets.returns import Given, Random, Sequences, Source, paths_of
from service.planning.projection.timeline import deflated, timeline
from service.planning.timing.comparison import Timing, TimingQuestion, timing
from service.planning.timing.deaths import Death, death_years, outcome
from service.planning.timing.options import SPENDING_ONLY, Option, carried_out
from service.planning.timing.over_paths import OptionsOverPaths
from service.settings import Settings
from tests import invented_requests
from tests.households import BOOK, plans

TOP = Path(__file__).parents[3]
TIMING = "/v1/lump-sum-timing"
CALM = Random(5, 2, (0, 0, 0, 0))
ALL_NOW, EACH = Option("all_now", SPENDING_ONLY), Option("with_each_withdrawal", "personal_allowance")
FEW = settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow], deadline=None)


def one(**facts: Any) -> Member:
    return Member(date(1962, 6, 1), "england", **{"pension": Pension(10_000_000), **facts})


def over(household: Household, source: Source, *options: Option, **facts: Any) -> tuple[Timing, OptionsOverPaths]:
    asked = TimingQuestion(household, 90, options, markets=source, **facts)
    result = timing(asked, BOOK)
    assert result.over_paths is not None
    return result, result.over_paths


# Without volatility


@FEW
@given(plans(), st.data())
def test_without_volatility_every_path_is_the_course_assumed_to_the_penny(
    household: Household, data: st.DataObject
) -> None:
    household = replace(household, assumptions=replace(household.assumptions, pension_growths=()))
    person = data.draw(st.integers(0, len(household.people) - 1))
    born = household.people[person].date_of_birth
    ages = range(age_on(born, household.start) + 1, age_on(born, household.end) + 1)
    deaths = (Death(person, data.draw(st.sampled_from(ages))),) if ages else ()
    try:
        result, found = over(household, CALM, ALL_NOW, EACH, deaths=deaths)
    except RuleViolation:
        assume(False)
    for plain, own in zip(result.options, found.options, strict=True):
        if plain.course is None:
            assert own.met_throughout == 0
            continue
        assert own.met_throughout == found.paths == 2
        for year, told in zip(plain.years, own.years, strict=True):
            assert set(told.wealth) == {year.wealth}
            assert set(told.wealth_in_prices_of_start) == {year.wealth_in_prices_of_start}
            assert set(told.income_tax) == {year.income_tax}
        for on_death, asked in zip(plain.deaths, own.deaths, strict=True):
            if on_death.outcome is not None:
                assert asked.amounts is not None
                assert asked.amounts.met_throughout == 2
                assert set(asked.amounts.received) == {on_death.outcome.net}
                assert set(asked.amounts.outcome) == {on_death.outcome.net_in_prices_of_start}


# By hand


def test_two_paths_by_hand() -> None:
    """100,000 in uncrystallised funds, nothing else, two tax years, nothing spent; an ISA takes 20,000 a year.

    All now: 25,000 is taken on 6 April 2026, 20,000 goes into an ISA and 5,000 waits; on 6 April 2027 it goes in. 75,000 stays.
    First path: pension + 10%, - 20%: 75,000 * 1.1 * 0.8 = 66,000. ISA 0%, + 5%: (20,000 + 5,000) * 1.05 = 26,250.
    Second path: pension 0%, + 10%: 82,500; ISA 0%: 25,000.
    What is left bears a flat 20%: 52,800 and 66,000 after tax. In all 79,050 and 91,000.

    Never, with nothing drawn: 100,000 * 1.1 * 0.8 = 88,000 and 110,000, a quarter of it still free of tax: 74,800 and 93,500.
    So all now is the best on the first path, by 4,250, and loses 2,500 on the second.
    """
    household = Household(
        date(2026, 4, 6), date(2028, 4, 5), (one(),), assumptions=Assumptions(tax_rate_on_remaining_pension=2_000)
    )
    source = Given((Sequences((1_000, -2_000), (0, 500)), Sequences((0, 1_000), (0, 0))))
    _, found = over(household, source, ALL_NOW, Option("never", SPENDING_ONLY))
    now, never = found.options
    assert now.years[1].wealth == Percentiles(7_905_000, 7_905_000, 7_905_000, 9_100_000, 9_100_000)
    never_left = (8_800_000 - 8_800_000 * 3 // 4 // 5, 11_000_000 - 11_000_000 * 3 // 4 // 5)
    assert never_left == (7_480_000, 9_350_000)
    assert set(never.years[1].wealth) == set(never_left)
    assert (now.regret.best_in, now.regret.largest_loss) == (1, 250_000)
    assert (never.regret.best_in, never.regret.largest_loss) == (1, 425_000)
    assert found.least_regret == 0
    assert now.first_years[0][0].withdrawn == (2_500_000,) * 3
    assert now.first_years[0][0].isa_subscription == (2_000_000,) * 3
    assert now.first_years[1][0].isa_subscription == (500_000,) * 3


def test_spending_that_one_path_cannot_meet_counts_against_the_option_by_hand() -> None:
    """10,000 of cash, 6,000 to spend at the end of each year: 2,000 is missing on the path without interest, / 1.01 for prices.
    On the other, 5,000 of interest leaves 3,000. The option is the same twice: none loses anything."""
    household = Household(
        date(2026, 4, 6),
        date(2028, 4, 5),
        (one(pension=Pension(0), cash=1_000_000, isa=Isa()),),
        spending=(Spending(600_000),),
        assumptions=Assumptions(spending_met="end"),
    )
    source = Given((Sequences(cash=(5_000, 0), isa=(5_000, 0)), Sequences(cash=(0, 0), prices=(0, 100))))
    result, found = over(household, source, ALL_NOW, EACH)
    assert result.options[0].course is None
    for option in found.options:
        assert [year.spending_met for year in option.years] == [2, 1]
        assert (option.worst.place, option.worst.fails, option.worst.not_met) == (1, 1, 198_020)
        assert min(option.outcome) == -198_020
        assert option.regret.best_in == 2


# A second way to the same


def a_couple() -> Household:
    return Household(
        date(2026, 4, 6),
        date(2044, 4, 5),
        (
            Member(date(1961, 8, 12), "england", pension=Pension(42_000_000), isa=Isa(3_000_000), cash=2_000_000),
            Member(date(1964, 2, 3), "scotland", pension=Pension(9_000_000, 4_000_000)),
        ),
        (Spending(2_300_000, increases="prices"),),
        assumptions=Assumptions(450, 400, 200, 200),
    )


VARIED = Random(3, 25, (1_300, 1_200, 60, 120), ((("pension", "isa"), 9_000),))
DEATHS = (Death(0, 74, 79), Death(1, 72))


@cache
def varied() -> OptionsOverPaths:
    return over(a_couple(), VARIED, ALL_NOW, EACH, deaths=DEATHS, estate=EstateFacts(home=40_000_000))[1]


def test_percentiles_shares_and_losses_are_what_the_options_alone_come_to_on_each_path() -> None:
    household, found = a_couple(), varied()
    base = timeline(household, BOOK)
    outcomes: list[list[int]] = []
    for number, option in enumerate((ALL_NOW, EACH)):
        own = []
        for path in paths_of(VARIED, household.assumptions, 0, len(base.periods)):
            assumed = replace(household.assumptions, price_rises=tuple(year.prices for year in path))
            whole = timeline(replace(household, assumptions=assumed), BOOK)
            course = carried_out(whole, option, path=path)
            levels = list(whole.price_levels())
            missing = sum(deflated(year.settled.short, level) for year, level in zip(course.years, levels, strict=True))
            own.append(deflated(course.wealth, levels[-1]) - missing)
        assert found.options[number].outcome == percentiles(own)
        outcomes.append(own)
    for place, option_found in enumerate(found.options):
        losses = [max(of_path) - of_path[place] for of_path in zip(*outcomes, strict=True)]
        assert option_found.regret.best_in == losses.count(0)
        assert option_found.regret.largest_loss == max(losses)
    assert sum(option_found.regret.best_in for option_found in found.options) >= found.paths
    assert (
        0 < found.options[0].regret.best_in < found.paths
    )  # neither is the best everywhere, so that something is tested


@pytest.mark.parametrize(("growth", "inflation"), [(700, 0), (-100, 350), (250, 900)])
def test_a_path_that_is_the_same_every_year_is_the_comparison_under_that_assumption(
    growth: int, inflation: int
) -> None:
    """Deaths and the survivor's years as well, whose prices begin in the middle of the path."""
    household = replace(a_couple(), spending=(Spending(1_200_000, increases="prices"),))
    assumed = Assumptions(growth, growth, 100, inflation)
    years = len(timeline(household, BOOK).periods)
    source = Given((Sequences((growth,) * years, (growth,) * years, (100,) * years, (inflation,) * years),))
    estate = EstateFacts(home=40_000_000, increases="prices", survivor_spending=7_000)
    _, found = over(household, source, ALL_NOW, EACH, deaths=DEATHS, estate=estate)
    plain = timing(TimingQuestion(replace(household, assumptions=assumed), 90, (ALL_NOW, EACH), DEATHS, estate), BOOK)
    for option, own in zip(plain.options, found.options, strict=True):
        assert option.totals is not None
        assert set(own.outcome) == {option.totals.wealth_in_prices_of_start}
        for death, asked in zip(option.deaths, own.deaths, strict=True):
            assert death.outcome is not None
            assert asked.amounts is not None
            assert set(asked.amounts.received) == {death.outcome.net}
            assert set(asked.amounts.outcome) == {death.outcome.net_in_prices_of_start}


def test_a_survivors_years_take_the_rates_of_their_own_tax_years() -> None:
    """Rates that are bad until the first death and good after it, and the other way round. The survivor's years begin on the day
    after 12 August 2035; the same are carried out here from what the first death leaves, with the rates set out by hand."""
    household = replace(a_couple(), spending=())
    years = timeline(household, BOOK)
    death = DEATHS[0]
    until = 10  # the periods from 2026-27 to 2035-36, in which he reaches 74
    for first, then in ((-500, 900), (900, -500)):
        rates = (first,) * until + (then,) * (len(years.periods) - until)
        source = Given((Sequences(rates, rates),))
        _, found = over(household, source, EACH, deaths=(death,))
        [path] = paths_of(source, household.assumptions, 0, len(years.periods))
        course = carried_out(years, EACH, path=path)
        facts = EstateFacts()
        of_death = death_years(years, death, facts, BOOK)
        assert of_death.after is not None
        assert of_death.after.periods[0].name == "2035-36"
        alone = outcome(course, of_death, facts, 2_000, BOOK, path).survivor
        assert alone is not None
        for period, year in zip(alone.timeline.periods, alone.years, strict=True):
            [record] = year.settled.people
            held = year.begun[0].after.pension
            rate = rates[9 + period.position]
            assert record.pension_growth == period.growth(held.uncrystallised, rate) + period.growth(
                held.drawdown, rate
            )
        [asked] = found.options[0].deaths
        assert asked.amounts is not None
        assert asked.amounts.received.p50 == outcome(course, of_death, facts, 2_000, BOOK, path).net


def test_the_share_with_spending_met_never_rises() -> None:
    household = replace(a_couple(), spending=(Spending(3_600_000, increases="prices"),))
    _, found = over(household, VARIED, ALL_NOW, EACH)
    for option in found.options:
        met = [year.spending_met for year in option.years]
        assert met == sorted(met, reverse=True)
        assert met[-1] < met[0]


# As a caller sees it


def request(**markets: Any) -> dict[str, Any]:
    """The published request, on fewer courses."""
    found: dict[str, Any] = json.loads((TOP / "examples/requests/timing-couple-many-markets.json").read_text("utf-8"))
    found["markets"] = {**found["markets"], "number_of_paths": 6, **markets}
    return found


def answer(client: FlaskClient, asked: dict[str, Any]) -> dict[str, Any]:
    reply = client.post(TIMING, json=asked)
    assert reply.status_code == 200, reply.text
    return dict(reply.get_json())


def test_the_same_seed_has_the_same_bytes_and_another_has_others(client: FlaskClient) -> None:
    first = client.post(TIMING, json=request(seed=1)).data
    assert create_app(Settings.for_tests()).test_client().post(TIMING, json=request(seed=1)).data == first
    assert client.post(TIMING, json=request(seed=2)).data != first


def test_the_comparison_itself_is_that_without_markets(client: FlaskClient) -> None:
    with_them = answer(client, request())
    asked = request()
    del asked["markets"]
    without = answer(client, asked)
    found = {key: value for key, value in with_them.items() if key != "markets"}
    assert {**found, "notice": without["notice"]} == without
    assert "so are the courses of markets. They came with the request." in with_them["notice"]


def test_in_bulk_and_without_a_server_it_is_the_same_answer(client: FlaskClient) -> None:
    line = json.dumps({"id": "1", "request": request()})
    reply = client.post("/v1/bulk/lump-sum-timing", data=line, content_type="application/x-ndjson")
    assert json.loads(reply.data.splitlines()[0])["result"]["markets"] == answer(client, request())["markets"]
    assert b"".join(calculator("lump-sum-timing").answers(line.encode())) == reply.data


def test_the_worst_course_can_be_given_as_it_was_told(client: FlaskClient) -> None:
    asked = request(number_of_paths=20)
    asked["options"] = asked["options"][:1]
    worst = answer(client, asked)["markets"]["options"][0]["worst_path"]
    asked["markets"] = {"source": "given", "paths": [worst["returns"]]}
    again = answer(client, asked)["markets"]["options"][0]["worst_path"]
    assert {**again, "path": worst["path"]} == worst


def test_the_sentences_say_what_the_amounts_say(client: FlaskClient) -> None:
    found = answer(client, request(number_of_paths=40))["markets"]
    best = [option["best_in"]["paths"] for option in found["options"]]
    said = " ".join(found["summary"])
    assert f"on {max(best)} of 40 courses of markets" in said or "on all 40 courses" in said
    losses = [option["largest_loss"] for option in found["options"]]
    assert losses[found["least_regret"]] == min(losses)
    assert "They are not a forecast" in found["summary"][-1]


def test_invented_comparisons_on_courses_are_answered_or_refused_with_a_reason(client: FlaskClient) -> None:
    drawing = Drawing(41)
    answered = 0
    for _ in range(12):
        asked = invented_requests.timing(drawing)
        asked["markets"] = {
            "source": "random", "seed": 1, "number_of_paths": 3, "volatility": {"pension_growth": 0.2, "isa_growth": 0.1}
        }  # fmt: skip
        reply = client.post(TIMING, json=asked)
        assert reply.status_code in (200, 422), reply.text
        if reply.status_code == 200:
            answered += 1
            found = reply.get_json()["markets"]
            for option in found["options"]:
                of_paths = option["outcome_in_prices_of_start"]
                assert list(of_paths.values()) == sorted(of_paths.values())
    assert answered > 5
