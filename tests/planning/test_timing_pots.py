"""Lump sum timing of somebody whose pensions grow differently or may be taken from different ages."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from datetime import date
from itertools import permutations
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings

from service.law.ages import age_on
from service.planning.estates import EstateFacts
from service.planning.household import Household
from service.planning.projection.pots import Funds, together
from service.planning.projection.timeline import timeline
from service.planning.timing.deaths import Death, death_years, outcome
from service.planning.timing.options import SPENDING_ONLY, Course, Option, carried_out
from tests.bodies import answered, faults_of
from tests.contract.agreement import component, validator
from tests.households import BOOK, plans
from tests.planning.test_pots import held, household, person
from tests.planning.test_timing import courses

TIMINGS = "/v1/lump-sum-timing"
NOTHING_ELSE = Option("all_now", SPENDING_ONLY)


def course(option: Option, *people: Any, **more: Any) -> Course:
    return carried_out(timeline(household(*people, **more), BOOK), option)


def pots_on_first_days(found: Course, i: int = 0) -> list[tuple[int, ...]]:
    """What each pot of a person pays of the lump sum on each period's first day, pence."""
    first_days = [year.begun[i] for year in found.years]
    return [
        tuple(sum(before) - sum(after) for before, after in zip(one.before.pots, one.after.pots, strict=True))
        for one in first_days
    ]


# By hand


def test_a_locked_pension_pays_its_quarter_once_its_age_is_reached() -> None:
    """Born 1 June 1973. A protected age of 50 opens 60,000 at 3% at once: a quarter is 15,000 (Finance Act 2004 Sch.29 para 3).
    The other, 120,000 at 5%, opens at 57 (Finance Act 2022 s.10), reached on 1 June 2030, and pays on 6 April 2031, after five
    years of growth: 120,000 x 1.05^5 is 153,153.79, and a quarter of it, to the penny downwards, 38,288.44."""
    found = course(NOTHING_ELSE, person(held(60_000, 300, age=50), held(120_000, 500), born=date(1973, 6, 1)), years=6)
    assert pots_on_first_days(found) == [(1_500_000, 0), (0, 0), (0, 0), (0, 0), (0, 0), (0, 3_828_844)]
    first, last = found.years[0].settled.people[0].after, found.years[5].begun[0].after
    assert first.pots == (Funds(0, 4_500_000 * 103 // 100), Funds(12_600_000, 0))
    assert last.pots[1] == Funds(15_315_379 - 4 * 3_828_844, 3 * 3_828_844)


def test_stages_come_from_what_grows_the_least_first() -> None:
    """Stages of 10,000 move 40,000 each, 30,000 of it to drawdown. 50,000 at 2% pays the first. What is left uncrystallised of
    it, 10,000 at 2%, pays 2,550 of the second; the other pays 7,450, for which 29,800 moves."""
    found = course(Option("phased", SPENDING_ONLY, 1_000_000), person(held(90_000, 600), held(50_000, 200)), years=2)
    assert pots_on_first_days(found) == [(0, 1_000_000), (745_000, 255_000)]
    second = found.years[1].begun[0].after
    assert second.pots == (Funds(9_540_000 - 2_980_000, 2_980_000 - 745_000), Funds(0, 3_060_000 + 1_020_000 - 255_000))


def test_above_the_allowance_the_lump_sum_comes_from_what_grows_the_least() -> None:
    """The lump sum allowance of 268,275 (ITEPA 2003 s.637P) is a quarter of 1,073,100: all of the slower 800,000, and 273,100."""
    found = course(NOTHING_ELSE, person(held(1_000_000, 600), held(800_000, 200)))
    begun = found.years[0].begun[0]
    assert begun.lump_sum == 26_827_500
    assert begun.after.pots == (Funds(72_690_000, 27_310_000 * 3 // 4), Funds(0, 60_000_000))


def test_an_age_asked_for_waits_for_the_pension_s_own() -> None:
    """Asked for at 55: the pension that opens at 50 pays on the first 6 April from then on, the other when it opens."""
    found = course(
        Option("at_age", SPENDING_ONLY, age=55),
        person(held(60_000, 300, age=50), held(120_000, 500), born=date(1973, 6, 1)),
        years=6,
    )
    paid = pots_on_first_days(found)
    assert [[bool(amount) for amount in year] for year in paid] == [
        [False, False], [False, False], [False, False], [True, False], [False, False], [False, True]
    ]  # fmt: skip


SPOUSES = EstateFacts()


@pytest.mark.parametrize(("born", "age"), [(date(1953, 4, 5), 75), (date(1954, 4, 5), 74)])
@pytest.mark.parametrize("own", [(held(40_000, 100),), (held(40_000, 100), held(30_000, 400))])
def test_what_a_survivor_inherits_goes_on_growing_as_it_did(born: date, age: int, own: tuple[Any, ...]) -> None:
    """Two pensions at 2% and 6% pass to the survivor on 5 April 2028, from 75 on as drawdown funds and before that free of
    income tax (ITEPA 2003 s.579CZA). Nobody draws anything, so each pound grows at its own rate for all five years."""
    died = person(held(0, 200, drawdown=50_000), held(0, 600, drawdown=80_000), born=born)
    home = household(died, person(*own, born=date(1960, 6, 1)), years=5)
    home = replace(home, assumptions=replace(home.assumptions, pension_growth=200, pension_growths=(200, 100)))
    whole = timeline(home, BOOK)
    carried = carried_out(whole, Option("never", SPENDING_ONLY))
    death = Death(0, age)
    found = outcome(carried, death_years(whole, death, SPOUSES, BOOK), SPOUSES, 2_000, BOOK)
    assert found.survivor is not None
    assert found.deaths[0].day == date(2028, 4, 5)
    grown = [
        50_000 * 1.02**5,
        80_000 * 1.06**5,
        *(one.uncrystallised / 100 * (1 + one.growth / 1e4) ** 5 for one in own),
    ]
    assert found.deaths[1].estate.pension / 100 == pytest.approx(sum(grown), abs=0.05)
    begun = found.survivor.years[0].begun[0].before
    if age >= 75:
        assert found.survivor.inherited == ()
        assert together(begun.pots) == Funds(begun.pension.uncrystallised, begun.pension.drawdown)
        assert begun.pension.drawdown == sum(sum(pot) for pot in carried.years[1].settled.people[0].after.pots)
    else:
        assert [one.growth for one in found.survivor.inherited] == [200, 600]
        assert begun.pension.drawdown == 0


# Whatever the household


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(home=plans(2_500))
def test_every_pot_adds_up_and_pays_nothing_before_its_age(home: Household) -> None:
    for found in courses(home):
        for i, member in enumerate(home.people):
            for period, year in zip(found.timeline.periods, found.years, strict=True):
                begun, record = year.begun[i], year.settled.people[i]
                assert len(begun.after.pots) == len(member.pots)
                if not member.pots:
                    continue
                grown, after, unearned = record.opened.pots, record.after.pots, record.pots_not_grown or (Funds(),) * 9
                assert together(after) == Funds(record.after.pension.uncrystallised, record.after.pension.drawdown)
                assert together(begun.after.pots) == Funds(
                    begun.after.pension.uncrystallised, begun.after.pension.drawdown
                )
                lump_sums, drawn = 0, 0
                for k, pot in enumerate(member.pots):
                    before, open_now = begun.before.pots[k], begun.after.pots[k]
                    growth, paid_in = record.opened.pot_growth[k], record.opened.year.pots[k].paid_in.amount
                    assert sum(open_now) + growth + paid_in == sum(grown[k])
                    paid = sum(before) - sum(open_now)
                    out = [grown[k][kind] - unearned[k][kind] - after[k][kind] for kind in range(2)]
                    assert min(paid, *out, *after[k]) >= 0
                    age = pot.protected_pension_age or period.rules.minimum_pension_age
                    assert not paid or age_on(member.date_of_birth, period.first) >= age
                    assert not any(out) or age_on(member.date_of_birth, period.last) >= age
                    lump_sums, drawn = lump_sums + paid, drawn + sum(out)
                assert (lump_sums, drawn) == (begun.lump_sum, record.gross)


def several(*pensions: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A request of somebody of 63 with these pensions, and of a spouse with one."""
    people = [
        {
            "date_of_birth": "1962-06-01",
            "tax_residence": "england",
            "flexibly_accessed": False,
            "pensions": list(pensions),
        },
        {
            "date_of_birth": "1964-02-01",
            "tax_residence": "wales",
            "pensions": [{"uncrystallised": 90_000}],
            "cash": 9_000,
        },
    ]
    return {
        "household": {"people": people, "spending": [{"amount": 21_000}]},
        "start_date": "2026-04-06",
        "to_age": 84,
        "options": [{"lump_sums": "all_now"}, {"lump_sums": "phased"}, {"lump_sums": "with_each_withdrawal"}],
        "deaths": [{"person": 0, "age": 77, "survivor_age": 79}, {"person": 0, "age": 70}, {"person": 1, "age": 76}],
        "assumptions": {"pension_growth": 0.05, "isa_growth": 0.045, "cash_interest": 0.02},
        "sensitivity": {},
    } | more


def without_places(answer: dict[str, Any]) -> dict[str, Any]:
    """What an answer says of the household, without what is told pension by pension."""
    kept = copy.deepcopy(
        {key: value for key, value in answer.items() if key not in ("rules", "assumptions", "warnings")}
    )
    for option in kept["options"]:
        for year in option["years"]:
            for one in year["people"]:
                del one["pensions"], one["withdrawals"]
    return kept


THREE = (
    {"uncrystallised": 150_000, "growth": 0.03},
    {"uncrystallised": 40_000, "drawdown": 25_000, "growth": 0.06, "yearly_charge": 0.0125},
    {"uncrystallised": 70_000, "growth": 0.055, "protected_pension_age": 66},
)


def test_the_order_in_which_pensions_are_given_makes_no_difference(client: FlaskClient) -> None:
    first, *others = [without_places(answered(client, TIMINGS, several(*order))) for order in permutations(THREE)]
    assert first["break_evens"]["pairs"]
    assert all(other == first for other in others)


def amounts_of(node: Any) -> list[float]:
    """All numbers of an answer, in order."""
    if isinstance(node, dict):
        return [number for value in node.values() for number in amounts_of(value)]
    if isinstance(node, list):
        return [number for value in node for number in amounts_of(value)]
    return [node] if isinstance(node, (int, float)) and not isinstance(node, bool) else []


@pytest.mark.parametrize(
    "terms",
    [{"protected_pension_age": 55}, {"growth": 0.06, "yearly_charge": 0.01}],
    ids=["another age that is reached", "the same growth after a charge"],
)
def test_pensions_that_are_told_apart_and_behave_alike_come_to_what_one_comes_to(
    client: FlaskClient, terms: dict[str, Any]
) -> None:
    """Each pot is rounded by itself, so pennies may differ."""
    growth = {"growth": 0.0494} if "growth" in terms else {}
    one = without_places(answered(client, TIMINGS, several({"uncrystallised": 200_000, **growth})))
    two = without_places(
        answered(client, TIMINGS, several({"uncrystallised": 120_000, **growth}, {"uncrystallised": 80_000} | terms))
    )
    for part in ("ranking", "sensitivity", "options"):
        if part == "sensitivity" and growth:
            continue  # a step of the growth before the charge is a little less after it
        assert amounts_of(two[part]) == pytest.approx(amounts_of(one[part]), abs=1.0)


def test_at_a_break_even_every_pension_moves_by_as_much(client: FlaskClient) -> None:
    """Asked again with every growth moved by `above_assumed`, the two options leave the same within a pound."""
    pensions = ({"uncrystallised": 300_000, "growth": 0.02}, {"uncrystallised": 100_000, "growth": 0.06})
    body = several(*pensions, deaths=[], options=[{"lump_sums": "all_now"}, {"lump_sums": "phased"}])
    del body["household"]["spending"], body["sensitivity"]
    body["household"]["people"] = body["household"]["people"][:1]
    found = answered(client, TIMINGS, body)
    assert found["break_evens"]["growth"]["assumed_on_average"] == 0.03
    (change,) = found["break_evens"]["pairs"][0]["growth"]["changes"]
    by = change["above_assumed"]
    assert change["pension_growth"] == pytest.approx(0.03 + by, abs=1e-9)
    assert change["isa_growth"] == pytest.approx(0.045 + by, abs=1e-9)
    moved = copy.deepcopy(body)
    for pension in moved["household"]["people"][0]["pensions"]:
        pension["growth"] = round(pension["growth"] + by, 8)
    moved["assumptions"]["isa_growth"] = change["isa_growth"]
    first, second = answered(client, TIMINGS, moved)["ranking"]["wealth_after_tax"]
    assert abs(first["amount"] - second["amount"]) <= 1
    (told,) = [sentence for sentence in found["summary"] if "on average" in sentence]
    assert told.endswith(
        "The comparison assumes 3.00% a year on average. The growth of every pension is changed by as much."
    )


def test_a_scenario_has_an_order_of_its_own(client: FlaskClient) -> None:
    """With 4% for all, the pension that bears a charge grows the least; by their own growth it is the other one. What a scenario
    leaves is what the comparison leaves that assumes it."""
    pensions = (
        {"uncrystallised": 90_000, "growth": 0.03},
        {"uncrystallised": 90_000, "growth": 0.06, "yearly_charge": 0.01},
    )
    body = several(*pensions, deaths=[])
    body["assumptions"]["scenarios"] = {"low": {"pension_growth": 0.04}}
    plain = [{name: value for name, value in one.items() if name != "growth"} for one in pensions]
    direct = several(*plain, deaths=[])
    direct["assumptions"]["pension_growth"] = 0.04
    assert (
        answered(client, TIMINGS, body)["ranking"]["scenarios"]["low"]
        == answered(client, TIMINGS, direct)["ranking"]["wealth_after_tax"]
    )


# Beside markets, and what is told


def test_courses_of_markets_take_different_ages_and_one_growth(client: FlaskClient) -> None:
    """On a course that is the one assumed, all is as assumed, deaths included."""
    steady = {"source": "random", "seed": 1, "number_of_paths": 1, "volatility": {"pension_growth": 0}}
    pensions = ({"uncrystallised": 150_000}, {"uncrystallised": 80_000, "protected_pension_age": 66})
    found = answered(client, TIMINGS, several(*pensions, markets=steady))
    for option, on_paths in zip(found["options"], found["markets"]["options"], strict=True):
        assert on_paths["years"][-1]["wealth_after_tax"]["p50"] == option["totals"]["wealth_after_tax"]
        for death, on_death in zip(option["deaths"], on_paths["deaths"], strict=True):
            assert on_death["beneficiaries_receive"]["p50"] == death["beneficiaries_receive"]
    apart = several(*THREE, markets=steady)
    assert faults_of(client, TIMINGS, json.dumps(apart).encode()) == [
        ("#/household/people/0/pensions", "pensions-on-different-terms"),
        ("#/household/people", "pensions-on-different-terms"),
    ]


def test_a_pension_that_is_not_open_yet_is_named_in_the_warning(client: FlaskClient) -> None:
    body = several(*THREE, options=[{"lump_sums": "all_now"}, {"lump_sums": "never"}])
    found = answered(client, TIMINGS, body)
    (warning,) = [one for one in found["warnings"] if one["code"] == "below_minimum_pension_age"]
    assert (warning["person"], warning["pension"], warning["figures"]) == (0, 2, {"access_age": 66})
    assert warning["detail"].endswith(
        "This is about £70,000 of the pension money. Its lump sum is taken from 6 April 2029 on."
    )
    assert "A pension is used only once its own minimum age is reached." in found["summary"]
    paid = [
        (year["tax_year"], one["lump_sum"])
        for year in found["options"][0]["years"]
        for one in year["people"][0]["pensions"]
        if one["pension"] == 2 and one["lump_sum"]
    ]
    assert [tax_year for tax_year, _ in paid] == ["2029-30"]


def test_answers_are_as_the_agreement_says(client: FlaskClient) -> None:
    two_people = several({"uncrystallised": 200_000, "growth": 0.03})
    for body in (several(*THREE), two_people):
        found = answered(client, TIMINGS, body)
        errors = validator(component("LumpSumTimingAnswer")).iter_errors(found)
        assert [(error.instance_path, error.message) for error in errors] == []
        assert ("pension_growths" in found["assumptions"]) == (len(body["household"]["people"]) == 2)


def test_each_pension_tells_its_part_of_a_lump_sum(client: FlaskClient) -> None:
    found = answered(client, TIMINGS, several(*THREE))
    for option in found["options"]:
        for year in option["years"]:
            one, other = year["people"]
            assert sum(part["lump_sum"] for part in one["pensions"]) == pytest.approx(one["lump_sum"])
            assert "lump_sum" not in other["pensions"][0]  # one pension: the person's lump sum is its own
            for part in one["pensions"]:
                moved = part["opening"] + part["growth"] + part["paid_in"] - part["paid_out"]
                assert moved == pytest.approx(part["closing"], abs=0.001)
