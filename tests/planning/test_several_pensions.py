"""Several pensions of one person: each has its funds and its scheme, and all share the person's allowances."""

from __future__ import annotations

import copy
import json
import re
from random import Random
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import given, settings
from hypothesis import strategies as st

from service import create_app
from service.http.body import strict
from service.planning.check.check import circumstances_of
from service.planning.warnings.circumstances import Circumstances
from service.schemas.check import request as check
from service.settings import Settings
from tests.bodies import answered, faults_of
from tests.households import BOOK, requests
from tests.invented_requests import plan, timing

QUOTES, PLANS, TIMINGS, WARNINGS = "/v1/withdrawal-tax", "/v1/allowance-schedule", "/v1/lump-sum-timing", "/v1/warnings"
CLIENT = create_app(Settings.for_tests()).test_client()
OTHERS: list[dict[str, Any]] = [
    {"uncrystallised": 0},
    {"uncrystallised": 70_000, "drawdown": 40_000, "protected_pension_age": 50, "growth": 0.07, "exit_charge": 900},
]


# Quotes


def as_the_only_pension(answer: Any) -> Any:
    """An answer about the second pension in the words of one about the only one."""
    if isinstance(answer, dict):
        return {
            key: 0 if (key, value) == ("pension", 1) else as_the_only_pension(value) for key, value in answer.items()
        }
    if isinstance(answer, list):
        return [as_the_only_pension(value) for value in answer]
    return answer.replace("/pensions/1", "/pensions/0") if isinstance(answer, str) else answer


@settings(max_examples=150, deadline=None)
@given(requests(), st.sampled_from(OTHERS))
def test_a_quote_from_one_of_two_pensions_is_that_of_the_one_alone(
    request: dict[str, Any], other: dict[str, Any]
) -> None:
    """Whether the rules allow it or not, and whatever the other pension holds. Where it is not said whether income was taken
    flexibly before, drawdown funds of any pension may speak of it: here it is said."""
    request["household"]["people"][0].setdefault("flexibly_accessed", False)
    both = copy.deepcopy(request)
    both["household"]["people"][0]["pensions"].insert(0, other)
    both["withdrawal"]["pension"] = 1
    alone, found = (CLIENT.post(f"{QUOTES}?include=curve,working", json=body) for body in (request, both))
    assert found.status_code == alone.status_code
    assert as_the_only_pension(found.get_json()) == alone.get_json()
    if found.status_code == 200:
        assert found.get_json()["withdrawal"]["pension"] == 1


# Warnings


def asked(*withdrawals: dict[str, Any], pensions: list[dict[str, Any]], **person: Any) -> dict[str, Any]:
    """A request for warnings of one person of 64."""
    whole = {"date_of_birth": "1962-06-01", "tax_residence": "england", "flexibly_accessed": False} | person
    return {
        "household": {"people": [whole | {"pensions": pensions}]},
        "date": "2026-06-01",
        "withdrawals": list(withdrawals),
    }


def take(method: str, pension: int, amount: float, date: str = "2026-09-01") -> dict[str, Any]:
    return {"pension": pension, "method": method, "amount": amount, "date": date}


def carried_out(body: dict[str, Any]) -> Circumstances:
    schema = check.WarningsSchema()
    return circumstances_of(check.question(schema.load(strict(json.dumps(body).encode()))), BOOK)


def found_by_code(client: FlaskClient, body: dict[str, Any]) -> dict[str, dict[str, Any]]:
    found = answered(client, WARNINGS, body)["warnings"]
    return {warning["code"]: warning for warning in found}


LARGE = [{"uncrystallised": 1_000_000}, {"uncrystallised": 400_000, "drawdown": 50_000}]


@pytest.mark.parametrize("in_order", [True, False])
def test_a_lump_sum_from_one_pension_uses_the_allowance_for_the_others(in_order: bool) -> None:
    """268,275 less 200,000 leaves 68,275 (ITEPA 2003 s.637P), of which the other pension can pay no more than that."""
    both = [take("pcls", 0, 200_000), take("pcls", 1, 90_000, "2026-10-01")]
    case = carried_out(asked(*(both if in_order else both[::-1]), pensions=LARGE))
    (year,) = case.people[0].years
    assert [taken.payment.gross for taken in year.taken] == [20_000_000, 6_827_500]
    assert (year.taken[1].permitted, year.left_after.lump_sum_allowance) == (6_827_500, 0)
    alone = carried_out(asked(both[1], pensions=LARGE)).people[0].years[0]
    assert alone.taken[0].payment.gross == 9_000_000


def test_a_withdrawal_leaves_the_funds_of_the_others_alone() -> None:
    case = carried_out(asked(take("ufpls", 1, 40_000), take("drawdown", 1, 10_000, "2026-10-01"), pensions=LARGE))
    first, second = (one.years[0] for one in case.people[0].pensions)
    assert (first.after.uncrystallised, first.after.drawdown, first.taken) == (100_000_000, 0, ())
    assert (second.after.uncrystallised, second.after.drawdown) == (36_000_000, 4_000_000)
    together = case.people[0].years[0].after
    assert (together.uncrystallised, together.drawdown) == (136_000_000, 4_000_000)
    assert (second.gross, case.people[0].years[0].gross) == (5_000_000, 5_000_000)


def test_flexible_access_to_one_pension_counts_for_the_others(client: FlaskClient) -> None:
    """Finance Act 2004 s.227G: the first of them brings in the money purchase annual allowance, once."""
    case = carried_out(asked(take("ufpls", 0, 9_000), take("ufpls", 1, 9_000, "2027-05-01"), pensions=LARGE))
    taken = [one for year in case.people[0].years for one in year.taken]
    assert [(one.pension, one.before.flexibly_accessed, one.triggers) for one in taken] == [
        (0, False, True),
        (1, True, False),
    ]
    body = asked(take("ufpls", 1, 9_000), take("ufpls", 0, 9_000, "2026-10-01"), pensions=LARGE)
    told = [
        warning["pointer"]
        for warning in answered(client, WARNINGS, body)["warnings"]
        if warning["code"] == "money_purchase_annual_allowance_triggered"
    ]
    assert told == ["#/withdrawals/0"]


def test_more_than_one_pension_holds_cannot_come_from_it(client: FlaskClient) -> None:
    body = asked(take("ufpls", 1, 400_001), pensions=LARGE)
    found = faults_of(client, WARNINGS, json.dumps(body).encode(), "rule-violation")
    assert found == [("#/withdrawals/0/amount", "more-than-the-pot")]


def test_a_small_pot_must_end_its_own_pension(client: FlaskClient) -> None:
    pensions = [{"uncrystallised": 400_000}, {"uncrystallised": 8_000}]
    code = "small_pot_must_end_the_arrangement"
    assert code not in found_by_code(client, asked(take("small_pot", 1, 8_000), pensions=pensions))
    found = found_by_code(client, asked(take("small_pot", 1, 5_000), pensions=pensions))[code]
    assert (found["pension"], found["figures"]) == (1, {"pension_left": 3_000})
    found = found_by_code(client, asked(take("small_pot", 0, 8_000), pensions=pensions))[code]
    assert (found["pension"], found["figures"]) == (0, {"pension_left": 392_000})


@pytest.mark.parametrize(
    ("code", "feature"),
    [
        ("exit_charge", {"exit_charge": 500}),
        ("guaranteed_annuity_rate_lost", {"guaranteed_annuity_rate": True}),
        ("advice_required_for_safeguarded_benefits", {"safeguarded_benefits": 40_000}),
        ("protected_lump_sum_lost", {"protected_tax_free_share": 0.4}),
    ],
)
def test_what_a_scheme_does_is_said_of_its_own_pension(client: FlaskClient, code: str, feature: dict[str, Any]) -> None:
    pensions = [{"uncrystallised": 60_000}, {"uncrystallised": 50_000, **feature}]
    assert code not in found_by_code(client, asked(take("ufpls", 0, 9_000), pensions=pensions))
    found = found_by_code(client, asked(take("ufpls", 1, 9_000), pensions=pensions))[code]
    (field,) = feature
    assert (found["pension"], found["person"]) == (1, 0)
    assert found["pointer"] == f"#/household/people/0/pensions/1/{field}"
    # Of two that both have it each is told by itself.
    both = asked(take("ufpls", 0, 9_000), take("ufpls", 1, 9_000), pensions=[pensions[1], pensions[1]])
    told = [
        (one["pension"], one["pointer"]) for one in answered(client, WARNINGS, both)["warnings"] if one["code"] == code
    ]
    assert told == [(k, f"#/household/people/0/pensions/{k}/{field}") for k in (0, 1)]


# Plans and comparisons


def in_parts(request: dict[str, Any]) -> dict[str, Any]:
    """A request whose every pension is two on the same terms."""
    whole = copy.deepcopy(request)
    for person in whole["household"]["people"]:
        pensions = []
        for pension in person["pensions"]:
            parts = [dict(pension), dict(pension)]
            for name in ("uncrystallised", "drawdown"):
                pence = round(pension.get(name, 0) * 100)
                parts[0][name], parts[1][name] = pence // 3 / 100, (pence - pence // 3) / 100
            pensions += parts
        person["pensions"] = pensions
    return whole


TERMS = ("growth", "yearly_charge", "protected_pension_age")


def told_of(answer: dict[str, Any]) -> dict[str, Any]:
    """An answer that says of all pensions together what else it would say of the only one: where its warnings point, what they
    call it, and what tells that pensions are put together."""
    told: dict[str, Any] = json.loads(json.dumps(answer), object_hook=_of_all)
    return told


def _of_all(node: dict[str, Any]) -> dict[str, Any]:
    dropped = ("pension", "together_with") if "pointer" in node else ("together_with",)
    kept = {key: value for key, value in node.items() if key not in dropped}
    if "pointer" in kept:
        kept["pointer"] = re.sub(r"(/people/\d/pensions)/0$", r"\1", kept["pointer"])
        kept["detail"] = kept["detail"].replace("this pension", "the pensions")
    return kept


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize(("url", "invented"), [(PLANS, plan), (TIMINGS, timing)])
def test_two_pensions_on_the_same_terms_are_one_with_their_sum(
    client: FlaskClient, url: str, invented: Any, seed: int
) -> None:
    request = invented(Random(seed))
    if url == PLANS:
        request["aim"] = {"goal": "basic_rate_band"}
    for person in request["household"]["people"]:
        terms = {key: value for key, value in person["pensions"][0].items() if key in TERMS}
        person["pensions"] = [
            {key: value for key, value in pension.items() if key not in TERMS} | terms for pension in person["pensions"]
        ]
    one, two = client.post(url, json=request), client.post(url, json=in_parts(request))
    assert two.status_code == one.status_code
    assert told_of(two.get_json()) == told_of(one.get_json())


def planned(*pensions: dict[str, Any], **assumptions: float) -> dict[str, Any]:
    return {
        "household": {
            "people": [{"date_of_birth": "1962-06-01", "tax_residence": "england", "pensions": list(pensions)}]
        },
        "start_date": "2026-04-06",
        "end_date": "2029-04-05",
        "aim": {"goal": "personal_allowance"},
        "assumptions": assumptions,
    }


def compared(*pensions: dict[str, Any], **assumptions: float) -> dict[str, Any]:
    body = planned(*pensions, **assumptions)
    del body["end_date"], body["aim"]
    return body | {"to_age": 67, "options": [{"lump_sums": "all_now"}, {"lump_sums": "phased"}]}


HELD = {"uncrystallised": 100_000}


@pytest.mark.parametrize("terms", [{"protected_pension_age": 55}, {"growth": 0.05}, {"yearly_charge": 0.01}])
def test_pensions_on_different_terms_are_told_apart(client: FlaskClient, terms: dict[str, Any]) -> None:
    plan = answered(client, PLANS, planned(HELD, HELD | terms, pension_growth=0.04))
    options = answered(client, TIMINGS, compared(HELD, HELD | terms, pension_growth=0.04))["options"]
    for years in (plan["years"], *(option["years"] for option in options)):
        assert [part["pension"] for part in years[0]["people"][0]["pensions"]] == [0, 1]


@pytest.mark.parametrize("terms", [{"growth": 0.05}, {"yearly_charge": 0.01}])
def test_on_courses_of_markets_all_pensions_move_alike(client: FlaskClient, terms: dict[str, Any]) -> None:
    course = {"source": "random", "seed": 1, "number_of_paths": 2, "volatility": {"pension_growth": 0.1}}
    for url, ask in ((PLANS, planned), (TIMINGS, compared)):
        body = ask(HELD, HELD | terms, pension_growth=0.04) | {"markets": course}
        found = faults_of(client, url, json.dumps(body).encode())
        assert found == [("#/household/people/0/pensions", "pensions-on-different-terms")]
        assert answered(client, url, ask(HELD | terms, HELD | terms, pension_growth=0.04) | {"markets": course})


@pytest.mark.parametrize(("url", "ask"), [(PLANS, planned), (TIMINGS, compared)])
@pytest.mark.parametrize("terms", [{"protected_pension_age": 55}, {"growth": 0.05}, {"yearly_charge": 0.01}])
def test_a_pension_with_nothing_in_it_has_no_say(
    client: FlaskClient, url: str, ask: Any, terms: dict[str, Any]
) -> None:
    empty = {"uncrystallised": 0}
    alone = told_of(answered(client, url, ask(HELD)))
    for pensions in ((HELD, empty | terms), (empty | terms, HELD)):
        assert told_of(answered(client, url, ask(*pensions))) == alone


def test_the_pensions_of_two_people_may_have_different_ages_and_different_growth(client: FlaskClient) -> None:
    """By hand: 100,000 at 4%, and at 5% less a charge of 1%, 1.05 x 0.99, for the whole of 2026-27."""
    partner = {"date_of_birth": "1964-06-01", "tax_residence": "wales"}
    for terms in ({"protected_pension_age": 50}, {"growth": 0.05, "yearly_charge": 0.01}):
        people = [planned(HELD)["household"]["people"][0], partner | {"pensions": [HELD | terms]}]
        household = {"household": {"people": people}}
        plan = answered(client, PLANS, planned(HELD, pension_growth=0.04) | household)
        comparison = compared(HELD, pension_growth=0.04) | household | {"options": [{"lump_sums": "never"}]}
        compared_years = answered(client, TIMINGS, comparison)["options"][0]["years"]
    for years in (plan["years"], compared_years):
        first, second = (person["pensions"][0] for person in years[0]["people"])
        assert (first["growth"], second["growth"]) == (4_000, 3_950)
    assert plan["assumptions"]["pension_growths"] == [0.04, 0.0395]
    course = {"source": "random", "seed": 1, "number_of_paths": 2, "volatility": {"pension_growth": 0.1}}
    assert faults_of(client, TIMINGS, json.dumps(comparison | {"markets": course}).encode()) == [
        ("#/household/people", "pensions-on-different-terms")
    ]


@pytest.mark.parametrize(("url", "ask"), [(PLANS, planned), (TIMINGS, compared)])
@pytest.mark.parametrize(
    ("terms", "growth"),
    [
        ({"growth": 0.05}, 0.05),
        # 1.05 x 0.99, 1 x 0.98 and 1.0333 x 0.9923.
        ({"growth": 0.05, "yearly_charge": 0.01}, 0.0395),
        ({"growth": 0, "yearly_charge": 0.02}, -0.02),
        ({"growth": 0.0333, "yearly_charge": 0.0077}, 0.02534359),
    ],
)
def test_a_pensions_growth_after_its_charge_is_the_growth_of_the_plan(
    client: FlaskClient, url: str, ask: Any, terms: dict[str, float], growth: float
) -> None:
    expected = answered(client, url, ask(HELD, pension_growth=growth))
    assert answered(client, url, ask(HELD | terms, pension_growth=0.15)) == expected
    assert answered(client, url, ask(HELD | terms, HELD | terms, pension_growth=0.15)) == answered(
        client, url, ask(HELD, HELD, pension_growth=growth)
    )
    assert expected["assumptions"]["pension_growth"] == growth


def test_a_charge_is_taken_of_the_growth_that_is_assumed(client: FlaskClient) -> None:
    """1.05 x 0.99; in a scenario, whose growth takes the place of the pension's own, 1.02 x 0.99."""
    charged = planned(HELD | {"yearly_charge": 0.01}, pension_growth=0.05)
    plain = planned(HELD, pension_growth=0.0395)
    charged["assumptions"]["scenarios"] = {"low": {"pension_growth": 0.02}, "middle": {}}
    plain["assumptions"]["scenarios"] = {"low": {"pension_growth": 0.0098}, "middle": {}}
    assert answered(client, PLANS, charged) == answered(client, PLANS, plain)
