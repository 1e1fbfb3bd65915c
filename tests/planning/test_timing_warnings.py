"""What lump sum timing says of several options is said once, and says of which."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from service.law.lump_sums import Pension
from service.planning.household import DatedIncome, Spending
from service.planning.projection.policies import BANDS
from service.planning.timing.circumstances import timing_warnings, told_once
from service.planning.timing.options import SPENDING_ONLY, Option
from service.planning.warnings.warning import ClientWarning
from tests.planning.test_timing import asked, person

REQUESTS = Path(__file__).parents[2] / "examples" / "requests"


def found(detail: str = "The pension runs out.", **more: Any) -> ClientWarning:
    facts = {"code": "pension_runs_out", "effect": "check", "title": "The pension runs out", "person": 0, "pension": 0}
    return ClientWarning(
        **{**facts, "detail": detail, "path": ("household", "people", 0, "pensions", 0), "sources": ("x",), **more}
    )


def merged(*of_options: list[ClientWarning]) -> list[ClientWarning]:
    return list(told_once(dict(enumerate(of_options))))


def test_what_all_options_have_is_said_once_and_names_none() -> None:
    assert merged([found()], [found()]) == [found()]


def test_what_some_options_have_is_said_once_and_names_those() -> None:
    assert merged([found()], [], [found()]) == [found(options=(0, 2))]
    assert merged([], [found()], []) == [found(options=(1,))]


def test_what_options_have_in_other_words_stays_apart() -> None:
    told = merged([found("A.")], [found("B.")], [found("A.", person=1)])
    assert [(one.detail, one.person, one.options) for one in told] == [
        ("A.", 0, (0,)),
        ("B.", 0, (1,)),
        ("A.", 1, (2,)),
    ]


def test_what_flexible_access_brings_is_said_once_whenever_it_is() -> None:
    triggered = "money_purchase_annual_allowance_triggered"
    of_2027 = found("Taking income flexibly in 2027-28.", code=triggered, tax_year="2027-28")
    of_2026 = found("Taking income flexibly in 2026-27.", code=triggered, tax_year="2026-27")
    assert merged([of_2027], [of_2026], []) == [
        of_2026._replace(detail=f"{of_2026.detail} In other options this is in a later tax year.", options=(0, 1))
    ]
    assert merged([of_2026], [of_2026]) == [of_2026]


def test_two_options_that_draw_at_different_times_hear_of_the_allowance_once() -> None:
    """The one draws for the personal allowance from the first year, the other only once its cash is spent."""
    options = (Option("never", BANDS[0]), Option("never", SPENDING_ONLY))
    result = asked(person(cash=5_000_000), options=options, spending=(Spending(2_000_000),))
    told = [one for one in timing_warnings(result) if one.code == "money_purchase_annual_allowance_triggered"]
    assert [one.options for one in told] == [()]
    assert told[0].detail.endswith("In other options this is in a later tax year.")


def test_the_figures_are_those_on_which_the_options_agree_and_the_cost_is_the_highest() -> None:
    (told,) = merged(
        [found(money={"a": 1, "b": 2}, counts={"c": 3}, cost=5)],
        [found(money={"a": 1, "b": 3}, rates={"d": 4}, cost=7)],
    )
    assert (dict(told.money), dict(told.counts), dict(told.rates), told.cost) == ({"a": 1}, {}, {}, 7)


def test_the_place_is_its_own_where_it_is_one() -> None:
    first, second = found(path=("options", 0)), found(path=("options", 1))
    assert [one.path for one in merged([first], [second])] == [("options",)]
    assert [one.path for one in merged([first], [])] == [("options", 0)]
    assert [one.path for one in merged([found()], [found()], [])] == [("household", "people", 0, "pensions", 0)]


def test_an_option_that_cannot_be_carried_out_does_not_count() -> None:
    """275,000 pence more is spent than earned: only tax-free cash pays for that. The places stay those of the request."""
    poor = person(pension=Pension(1_000_000), income=(DatedIncome("employment", 1_257_000),))
    options = tuple(Option(take, SPENDING_ONLY) for take in ("never", "with_each_withdrawal", "all_now"))
    result = asked(poor, options=options, spending=(Spending(1_257_000 + 275_000),))
    assert [option.course is not None for option in result.options] == [False, True, True]
    told = {warning.code: warning.options for warning in timing_warnings(result)}
    assert told["money_purchase_annual_allowance_triggered"] == ()
    assert told["all_tax_free_cash_at_once"] == (2,)


def test_a_lump_sum_that_is_too_early_is_told_once() -> None:
    """50 on the first day, and 57 on 5 April 2033, the last day of a tax year."""
    young = person(date_of_birth=person().date_of_birth.replace(year=1976))
    options = (Option("all_now", SPENDING_ONLY), Option("all_now", BANDS[0]), Option("never", SPENDING_ONLY))
    told = [w for w in timing_warnings(asked(young, options=options, to_age=60)) if w.effect == "not_permitted"]
    assert [(w.code, w.person, w.pension, w.options) for w in told] == [("below_minimum_pension_age", 0, 0, (0, 1))]
    assert told[0].detail.endswith("The lump sum is taken from 6 April 2033 on.")
    assert "assumes" not in told[0].detail


@pytest.mark.parametrize(
    ("born", "code"),
    [("1964-03-02", "all_tax_free_cash_at_once"), ("1976-03-02", "below_minimum_pension_age")],
)
def test_pensions_that_are_put_together_are_not_called_one(client: FlaskClient, born: str, code: str) -> None:
    """One lump sum from two pensions, the second time wanted too early."""
    household = {
        "people": [
            {
                "date_of_birth": born,
                "tax_residence": "england",
                "pensions": [{"uncrystallised": 100_000}, {"uncrystallised": 60_000}],
            }
        ]
    }
    request = {"household": household, "start_date": "2026-04-06", "to_age": 75, "options": [{"lump_sums": "all_now"}]}
    warnings = client.post("/v1/lump-sum-timing", json=request).get_json()["warnings"]
    assert code in {warning["code"] for warning in warnings}
    of_one = [warning for warning in warnings if "pension" in warning or "this pension" in warning["detail"]]
    assert [warning["code"] for warning in of_one] == []


@pytest.mark.parametrize("name", ["timing-couple", "timing-before-and-after-april-2027"])
def test_no_example_says_anything_twice(client: FlaskClient, name: str) -> None:
    request = json.loads((REQUESTS / f"{name}.json").read_text("utf-8"))
    answer = client.post("/v1/lump-sum-timing", json=request).get_json()
    told = Counter((warning["code"], warning.get("person"), warning["detail"]) for warning in answer["warnings"])
    assert told
    assert [what for what, times in told.items() if times > 1] == []
    assert {place for warning in answer["warnings"] for place in warning.get("options", ())} <= set(
        range(len(request["options"]))
    )
