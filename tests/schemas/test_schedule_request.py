"""What a request for a plan may hold: every fault with its pointer and code, all at once, by both readers alike."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from flask.testing import FlaskClient

from service.http.body import loaded, strict
from service.law.lump_sums import Pension
from service.planning.household import (
    WITH_PRICES,
    Already,
    Assumptions,
    Contribution,
    DatedIncome,
    Household,
    Income,
    Isa,
    Member,
    PensionHeld,
    Spending,
)
from service.planning.schedule.schedule import ScheduleQuestion, schedule
from service.schemas.quick import quick_reader
from service.schemas.schedule import request as schemas
from tests.bodies import answered, faults_of, pointers_of, refused_by_both_readers, text_with
from tests.households import BOOK

URL = "/v1/allowance-schedule"
SCHEMA = schemas.ScheduleSchema()
QUICK = quick_reader(SCHEMA)

LEAST: dict[str, Any] = {
    "household": {
        "people": [
            {
                "date_of_birth": "1962-06-01",
                "tax_residence": "england",
                "pensions": [{"uncrystallised": 400000}],
                "flexibly_accessed": False,
            }
        ]
    },
    "start_date": "2026-04-06",
    "end_date": "2027-04-05",
    "aim": {"goal": "personal_allowance"},
}
FULL: dict[str, Any] = {
    "household": {
        "people": [
            {
                "name": "Ada",
                "date_of_birth": "1962-06-01",
                "tax_residence": "scotland",
                "income": [
                    {"kind": "state_pension", "share_of_full_rate": 0.5001},
                    {
                        "kind": "employment",
                        "amount": 100.01,
                        "from": "2020-01-01",
                        "to": "2028-06-30",
                        "increases": -0.0125,
                    },
                    {"kind": "annuity", "amount": 4, "increases": "prices"},
                    {"kind": "property_income", "amount": 5, "increases": "none"},
                ],
                "contributions": [{"yearly": 6, "relief": "relief_at_source", "to": "2028-04-05", "pension": 0}],
                "gift_aid_donations": 7,
                "marriage_allowance": "gives",
                "blind_persons_allowance": True,
                "child_benefit": 8,
                "pensions": [
                    {
                        "uncrystallised": 9,
                        "drawdown": 10,
                        "protected_pension_age": 55,
                        "growth": 0.03,
                        "yearly_charge": 0.01,
                    }
                ],
                "lump_sum_allowances": {"lifetime_allowance_used": 0.115},
                "flexibly_accessed": True,
                "isa": {"value": 12, "subscribed_this_year": 13, "cash_isa": True},
                "cash": 14,
                "withdrawal_cap": 1_000_000,
                "already_this_tax_year": {
                    "income": [{"kind": "employment", "amount": 17}],
                    "taxable_withdrawals": 18,
                    "tax_free_withdrawals": 0,
                },
            },
            {"date_of_birth": "1963-06-01", "tax_residence": "wales", "flexibly_accessed": False},
        ],
        "minimum_cash": 13.5,
        "spending": [{"amount": 16, "from": "2027-01-01", "to": "2028-01-01", "increases": 0.2}],
    },
    "start_date": "2026-07-01",
    "end_date": "2029-12-31",
    "aim": {"goal": "basic_rate_band"},
    "lump_sums": "all_now",
    "assumptions": {
        "pension_growth": 0.0475,
        "isa_growth": -0.1,
        "cash_interest": 0.01,
        "price_inflation": 0.02,
        "thresholds_after_freeze": "prices",
        "tax_rate_on_remaining_pension": 1,
        "spending_met": "start",
        "scenarios": {"low": {"pension_growth": 0}, "middle": {}, "high": {"isa_growth": 0.1, "cash_interest": 0.05}},
    },
    "search": {"effort": "quick"},
}


# What is read


def asked(body: dict[str, Any]) -> ScheduleQuestion:
    return loaded(json.dumps(body).encode(), SCHEMA, QUICK, schemas.question)


def test_what_is_left_out_has_its_default() -> None:
    member = Member(date(1962, 6, 1), "england", Pension(40_000_000), pensions=(PensionHeld(40_000_000),))
    household = Household(date(2026, 4, 6), date(2027, 4, 5), (member,))
    assert asked(LEAST) == ScheduleQuestion(household, "personal_allowance", {})
    assert (household.lump_sums, household.spending) == ("with_each_withdrawal", ())
    assert household.assumptions == Assumptions(0, 0, 0, 0, "frozen", None, "evenly", 20)
    assert (member.isa, member.cash, member.income) == (Isa(0, 0, False), 0, ())


def test_a_state_pension_rises_with_prices_and_nothing_else_does_unless_it_is_said() -> None:
    body = copy.deepcopy(LEAST)
    body["household"]["people"][0]["income"] = [{"kind": kind, "amount": 1} for kind in ("state_pension", "annuity")]
    body["household"]["people"][0]["income"].append({"kind": "state_pension", "amount": 1, "increases": "none"})
    assert [income.increases for income in asked(body).household.people[0].income] == [WITH_PRICES, 0, 0]


def test_everything_that_is_given_is_read() -> None:
    # 3 % grown and a hundredth of what has grown taken: 1.03 x 0.99 = 1.0197.
    assumed = Assumptions(197, -1_000, 100, 200, "prices", 10_000, "start")
    first = Member(
        date(1962, 6, 1),
        "scotland",
        Pension(900, drawdown=1_000, lifetime_allowance_used=1_150, flexibly_accessed=True, protected_pension_age=55),
        Isa(1_200, 1_300, True),
        1_400,
        (
            DatedIncome("state_pension", share_of_full_rate=5_001, increases=WITH_PRICES),
            DatedIncome("employment", 10_001, first=date(2020, 1, 1), last=date(2028, 6, 30), increases=-125),
            DatedIncome("annuity", 400, increases=WITH_PRICES),
            DatedIncome("property_income", 500, increases=0),
        ),
        (Contribution(relief="relief_at_source", yearly=600, last=date(2028, 4, 5), pension=0),),
        700,
        "gives",
        True,
        800,
        (PensionHeld(900, 1_000, 55, 300, 100),),
        "Ada",
        withdrawal_cap=100_000_000,
        already=Already((Income("employment", 1_700),), 1_800, 0),
    )
    second = Member(date(1963, 6, 1), "wales", Pension(0))
    spending = (Spending(1_600, date(2027, 1, 1), date(2028, 1, 1), 2_000),)
    household = Household(
        date(2026, 7, 1), date(2029, 12, 31), (first, second), spending, "all_now", assumed, None, 1_350
    )
    scenarios = {
        # No growth, and the hundredth taken.
        "low": replace(assumed, pension_growth=-100),
        "middle": assumed,
        "high": replace(assumed, isa_growth=1_000, cash_interest=500),
    }
    assert asked(FULL) == ScheduleQuestion(household, "basic_rate_band", scenarios, "quick")


# The two readers agree


VALUES = ("null", "true", "1", "1.5", "0.12345", "-0.1", '"none"', '"prices"', '"x"', "{}", "[]", "[{}]", "[{},{},{}]")


def test_the_quick_reader_and_the_strict_one_agree_about_every_field() -> None:
    assert refused_by_both_readers(FULL, VALUES, SCHEMA, schemas.question) > 400


@pytest.mark.parametrize("name", ["first", "last"])
@pytest.mark.parametrize("place", ["/household/people/0/income/1", "/household/spending/0"])
def test_the_names_inside_are_not_names_outside(client: FlaskClient, place: str, name: str) -> None:
    """The days are called from and to, whatever the program calls them."""
    found = faults_of(client, URL, text_with(FULL, f"{place}/{name}", '"2026-01-01"'))
    assert found == [(f"#{place}/{name}", "unknown-field")]


# What is refused


@pytest.mark.parametrize(
    "pointer",
    [
        "/start_date",
        "/end_date",
        "/household",
        "/household/people",
        "/aim",
        "/aim/goal",
        "/household/people/0/date_of_birth",
        "/household/people/0/tax_residence",
        "/household/people/0/pensions/0/uncrystallised",
        "/household/people/0/income/0/kind",
        "/household/spending/0/amount",
    ],
)
def test_what_must_be_there(client: FlaskClient, pointer: str) -> None:
    assert faults_of(client, URL, text_with(FULL, pointer, None)) == [(f"#{pointer}", "missing")]


@pytest.mark.parametrize(
    "place",
    [
        "",
        "/household",
        "/household/people/0",
        "/household/people/0/income/0",
        "/household/people/0/pensions/0",
        "/household/people/0/isa",
        "/aim",
        "/household/spending/0",
        "/assumptions",
        "/assumptions/scenarios",
        "/assumptions/scenarios/low",
    ],
)
def test_what_must_not_be_there(client: FlaskClient, place: str) -> None:
    assert faults_of(client, URL, text_with(FULL, f"{place}/more", "1")) == [(f"#{place}/more", "unknown-field")]


def test_nothing_may_be_null(client: FlaskClient) -> None:
    for pointer in pointers_of(FULL):
        if pointer.split("/")[-1].isdigit():
            continue
        assert faults_of(client, URL, text_with(FULL, pointer, "null")) == [(f"#{pointer}", "null")]


# Each with the values on the edge that are accepted, and those just past it.
EDGES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "/assumptions/pension_growth": (
        ("-0.1", "0.2", "0", "0.0001", "-0.0001", "0.20000", "1e-4", "0.00000001"),
        ("-0.1001", "0.2001", "0.000000001", "1", "-1", '"0.1"', "true"),
    ),
    "/assumptions/isa_growth": (("-0.1", "0.2"), ("-0.1001", "0.2001", "0.000000005")),
    "/assumptions/cash_interest": (("0", "0.2"), ("-0.0001", "0.2001", "0.00005")),
    "/assumptions/price_inflation": (("-0.1", "0.2"), ("-0.1001", "0.2001", "0.00005")),
    "/assumptions/tax_rate_on_remaining_pension": (("0", "1", "1.0", "0.4999"), ("-0.0001", "1.0001", "0.49999", "2")),
    "/assumptions/thresholds_after_freeze": (('"frozen"', '"prices"'), ('"none"', "0", "true")),
    "/assumptions/scenarios/low/pension_growth": (("-0.1", "0.2"), ("-0.10000001", "0.2001", "0.000000005")),
    "/assumptions/scenarios/low/isa_growth": (("-0.1", "0.2"), ("-0.1001", "0.2001")),
    "/assumptions/scenarios/high/cash_interest": (("0", "0.2"), ("-0.0001", "0.2001")),
    "/household/people/0/income/0/share_of_full_rate": (("0", "2", "1.2345"), ("-0.0001", "2.0001", "1.23456")),
    "/household/people/0/income/1/increases": (
        ('"none"', '"prices"', "0", "-0.1", "0.2", "0.0301"),
        ('"frozen"', '"0.1"', "0.2001", "-0.1001", "0.00001", "true", "[]"),
    ),
    "/household/spending/0/increases": (('"none"', '"prices"', "0.2"), ('"rates"', "0.2001")),
    "/household/spending/0/amount": (("0", "100000000", "0.01"), ("-0.01", "100000000.01", "0.001", '"1"')),
    "/household/people/0/income/1/amount": (("0", "100000000", "0.01"), ("-0.01", "100000000.01", "0.001")),
    "/household/people/0/contributions/0/pension": (("0",), ("-1", "20", "0.5", '"0"', "true")),
    "/household/people/0/cash": (("0", "0.01"), ("-0.01", "0.001")),
    "/household/people/0/withdrawal_cap": (("0", "0.01"), ("-0.01", "0.001", '"1"')),
    "/household/people/0/already_this_tax_year/income/0/amount": (("0", "0.01"), ("-0.01", "0.001", '"1"')),
    "/household/people/0/already_this_tax_year/income/0/kind": (('"dividends"',), ('"salary"', "1")),
    "/household/people/0/already_this_tax_year/taxable_withdrawals": (("0", "0.01"), ("-0.01", "0.001", '"1"')),
    "/household/people/0/already_this_tax_year/tax_free_withdrawals": (("0", "0"), ("-0.01", "0.001", '"1"')),
    "/household/minimum_cash": (("0", "0.01"), ("-0.01", "0.001", "true")),
    "/assumptions/spending_met": (('"start"', '"evenly"', '"end"'), ('"middle"', "0", "true")),
    "/household/people/0/isa/value": (("0", "0.01"), ("-0.01", "0.001")),
    "/household/people/0/isa/subscribed_this_year": (("0", "0.01"), ("-0.01", "0.001")),
    "/household/people/0/isa/cash_isa": (("true", "false"), ("0", '"true"')),
    "/household/people/0/income/0/kind": (('"state_pension"',), ('"salary"', "1")),
    "/household/people/0/income/1/from": (('"2020-01-01"',), ('"2020-02-30"', '"1.1.2020"', "2020")),
    "/household/spending/0/to": (('"2029-01-01"',), ('"2029-02-30"',)),
    "/start_date": (('"2026-04-06"',), ('"2026-04-31"', '"2026-27"', "2026")),
    "/aim/goal": (
        (
            *('"personal_allowance"', '"basic_rate_band"', '"higher_rate_band"', '"most_after_tax"', '"steady_income"'),
            '"most_to_beneficiaries"',
        ),
        ('"additional_rate_band"', "1"),
    ),
    "/lump_sums": (('"with_each_withdrawal"', '"all_now"', '"never"'), ('"first"', '"none"', "false")),
}


@pytest.mark.parametrize("pointer", EDGES)
def test_the_edges_of_a_field(client: FlaskClient, pointer: str) -> None:
    accepted, refused = EDGES[pointer]
    for value in accepted:
        schemas.question(SCHEMA.load(strict(text_with(FULL, pointer, value))))
    for value in refused:
        assert faults_of(client, URL, text_with(FULL, pointer, value)) == [(f"#{pointer}", "invalid-value")], value


@pytest.mark.parametrize(
    ("count", "detail"), [(0, "Must hold at least 1 item, such as "), (3, "Must hold at most 2 items; it holds 3.")]
)
def test_one_or_two_people(client: FlaskClient, count: int, detail: str) -> None:
    text = text_with(FULL, "/household/people", json.dumps([FULL["household"]["people"][1]] * count))
    assert faults_of(client, URL, text) == [("#/household/people", "invalid-value")]
    assert detail in client.post(URL, data=text, content_type="application/json").get_data(as_text=True)


@pytest.mark.parametrize(("pointer", "item"), [("/household/people/0/income", {"kind": "annuity", "amount": 1}),
                                               ("/household/spending", {"amount": 0})])  # fmt: skip
def test_at_most_fifty(client: FlaskClient, pointer: str, item: dict[str, Any]) -> None:
    SCHEMA.load(strict(text_with(FULL, pointer, json.dumps([item] * 50))))
    assert faults_of(client, URL, text_with(FULL, pointer, json.dumps([item] * 51))) == [
        (f"#{pointer}", "invalid-value")
    ]


def test_every_fault_at_once(client: FlaskClient) -> None:
    body = copy.deepcopy(FULL)
    del body["end_date"]
    body["household"]["people"][0]["income"][1]["increases"] = 1
    body["household"]["people"][1]["cash"] = "5"
    body["aim"]["goal"] = "nothing"
    body["assumptions"]["scenarios"]["low"]["price_inflation"] = 0.02
    body["assumptions"]["tax_rate_on_remaining_pension"] = 1.5
    found = faults_of(client, URL, json.dumps(body).encode())
    assert sorted(found) == [
        ("#/aim/goal", "invalid-value"),
        ("#/assumptions/scenarios/low/price_inflation", "unknown-field"),
        ("#/assumptions/tax_rate_on_remaining_pension", "invalid-value"),
        ("#/end_date", "missing"),
        ("#/household/people/0/income/1/increases", "invalid-value"),
        ("#/household/people/1/cash", "invalid-value"),
    ]


# What the rules refuse


@pytest.mark.parametrize(
    ("pointer", "value", "where", "code"),
    [
        ("/end_date", '"2026-04-05"', "#/end_date", "end-before-start"),
        ("/end_date", '"2086-04-06"', "#/end_date", "plan-too-long"),
        ("/start_date", '"2019-04-05"', "#/start_date", "no-figures"),
        ("/household/people/0/date_of_birth", '"2026-04-07"', "#/household/people/0/date_of_birth", "not-yet-born"),
        ("/household/people/0/income", '[{"kind": "annuity"}]', "#/household/people/0/income/0", "one-of-two"),
        (
            "/household/people/0/income",
            '[{"kind": "annuity", "share_of_full_rate": 1}]',
            "#/household/people/0/income/0/share_of_full_rate",
            "only-with",
        ),
        (
            "/household/people/0/income",
            '[{"kind": "annuity", "amount": 1, "from": "2027-01-02", "to": "2027-01-01"}]',
            "#/household/people/0/income/0/to",
            "to-before-from",
        ),
        (
            "/household/spending",
            '[{"amount": 1, "from": "2027-01-02", "to": "2027-01-01"}]',
            "#/household/spending/0/to",
            "to-before-from",
        ),
        ("/household/spending", '[{"amount": 500000}]', "#/household/spending", "spending-cannot-be-met"),
    ],
)
def test_what_the_rules_refuse(client: FlaskClient, pointer: str, value: str, where: str, code: str) -> None:
    problem = "rule-violation" if code == "spending-cannot-be-met" else "invalid-request"
    assert faults_of(client, URL, text_with(LEAST, pointer, value), problem) == [(where, code)]


def test_a_share_that_depends_on_sex_is_refused_where_it_stands(client: FlaskClient) -> None:
    body = copy.deepcopy(LEAST)
    body["household"]["people"][0]["date_of_birth"] = "1952-01-01"
    body["household"]["people"][0]["income"] = [{"kind": "state_pension", "share_of_full_rate": 1}]
    where = "#/household/people/0/income/0/share_of_full_rate"
    assert faults_of(client, URL, json.dumps(body).encode(), "rule-violation") == [(where, "share-depends-on-sex")]


def test_the_rules_refuse_all_at_once(client: FlaskClient) -> None:
    body = copy.deepcopy(LEAST)
    body.update(start_date="2031-04-06", end_date="2031-04-05")
    body["household"]["people"][0]["date_of_birth"] = "1952-01-01"
    body["household"]["people"][0]["income"] = [{"kind": "state_pension", "share_of_full_rate": 1}]
    # What lies in the request gives the problem its name: it has to be put right whatever the rules allow.
    assert faults_of(client, URL, json.dumps(body).encode(), "invalid-request") == [
        ("#/start_date", "no-figures"),
        ("#/end_date", "end-before-start"),
        ("#/household/people/0/income/0/share_of_full_rate", "share-depends-on-sex"),
    ]


# What comes back


@pytest.mark.parametrize(
    ("given", "rate", "years"),
    [
        ({"tax_on_remaining_pension": {"rate": 0.45}}, 4_500, 20),
        ({"tax_rate_on_remaining_pension": 0.45}, 4_500, 20),
        ({"tax_on_remaining_pension": {"drawn_over_years": 60.0}}, None, 60),
        ({}, None, 20),
    ],
)
def test_the_tax_on_what_is_left(given: dict[str, Any], rate: int | None, years: int) -> None:
    assumed = asked({**FULL, "assumptions": given}).household.assumptions
    assert (assumed.tax_rate_on_remaining_pension, assumed.remaining_pension_drawn_over) == (rate, years)


def test_the_answer_in_pounds_and_fractions(client: FlaskClient) -> None:
    """12,570 / 0.75 (Finance Act 2021 s.5, Finance Act 2023 s.5) drawn without tax and subscribed."""
    found = answered(client, URL, LEAST)
    assert list(found) == [
        "outcome", "aim", "lump_sums", "assumptions", "summary", "at_start", "years", "totals", "compared_with", "rules",
        "warnings", "notice",
    ]  # fmt: skip
    (year,) = found["years"]
    (one,) = year["people"]
    assert (year["tax_year"], year["from"], year["to"]) == ("2026-27", "2026-04-06", "2027-04-05")
    assert (found["outcome"], found["aim"]) == ("found", {"goal": "personal_allowance"})
    assert (year["standing"], one["age"], one["lump_sum"]) == ("enacted", 64, 0)
    assert one["withdrawals"] == [
        {
            "pension": 0,
            "gross": 16_760,
            "tax_free": 4_190,
            "taxable": 12_570,
            "from_uncrystallised": 16_760,
            "from_drawdown": 0,
        }
    ]
    assert one["allowances"] == {
        "personal_allowance": {"used": 12_570, "unused": 0},
        "marriage_allowance": {"given": 0, "taken_off_tax": 0},
        "basic_rate_band": {"unused": 37_700},
        "isa_allowance": {"limit": 20_000, "used": 16_760, "unused": 3_240},
        "tax_free_lump_sums": {"used": 4_190, "left": 264_085, "available": 95_810},
        "money_purchase_annual_allowance": {
            "applies": True,
            "triggered": True,
            "amount": 10_000,
            "from": "2027-04-06",
            "tax_year": "2026-27",
        },
    }
    assert one["pensions"] == [
        {
            "pension": 0,
            "opening": 400_000,
            "growth": 0,
            "paid_in": 0,
            "paid_out": 16_760,
            "closing": 383_240,
            "uncrystallised": 383_240,
            "drawdown": 0,
        }
    ]
    assert found["assumptions"]["tax_on_remaining_pension"] == {"drawn_over_years": 20}
    # What is left is 14,371.50 a year for 20 years beyond its tax-free part, of which 1,801.50 bear 20%.
    assert found["totals"]["tax_assumed_on_remaining_pension"] == 7_206
    assert found["totals"]["wealth_after_tax"] == 400_000 - 7_206
    assert found["totals"]["wealth_at_flat_rates"] == [
        {"rate": 0, "wealth_after_tax": 400_000},
        {"rate": 0.2, "wealth_after_tax": 400_000 - 57_486},
        {"rate": 0.4, "wealth_after_tax": 400_000 - 114_972},
        {"rate": 0.45, "wealth_after_tax": 400_000 - 129_343.5},
    ]
    assert found["assumptions"]["spending_met"] == "evenly"


def test_the_amounts_of_an_answer_are_those_of_the_plan_and_reconcile(client: FlaskClient) -> None:
    """Everything once: an income, interest, money from ISAs, money to a partner, part years, a lump sum first."""
    body = copy.deepcopy(FULL)
    body["household"]["people"][0].update(
        cash=3_000, isa={"value": 60_000, "cash_isa": True}, date_of_birth="1966-06-01"
    )
    body["household"]["people"][0].update(pensions=[{"uncrystallised": 90_000, "drawdown": 7_000}])
    body["household"]["people"][1].update(pensions=[{"uncrystallised": 2_000}], cash=1_000)
    body["household"]["spending"] = [{"amount": 80_000, "to": "2027-07-31"}]
    body["aim"] = {"goal": "personal_allowance"}
    body["assumptions"]["spending_met"] = "evenly"
    body["household"]["people"][0]["income"][1]["amount"] = 20_000
    found = answered(client, URL, body)
    plan = schedule(asked(body), BOOK)
    seen = dict.fromkeys(
        ("lump_sum", "income_received", "interest", "isa_withdrawal", "moved_from_partner", "income_tax"), False
    )
    for year, planned in zip(found["years"], plan.years, strict=True):
        assert year["spending"] == planned.spending / 100
        for one, person in zip(year["people"], planned.people, strict=True):
            record = person.record
            assert one["income_received"] == record.opened.year.income_inside / 100
            assert one["interest"] == one["cash"]["interest"] == record.opened.interest / 100
            assert one["income_tax"] == record.income_tax / 100
            assert one["isa_subscription"] == one["isa"]["paid_in"] == record.subscribed / 100
            assert one["isa_withdrawal"] == one["isa"]["paid_out"] == record.from_isa / 100
            assert one["spent"] == record.spent / 100
            assert one["moved_from_partner"] == record.moved / 100
            (pension,), (withdrawal,) = one["pensions"], one["withdrawals"]
            assert pension["paid_out"] == record.gross / 100
            assert pension["paid_out"] == pytest.approx(one["lump_sum"] + withdrawal["gross"], abs=0.001)
            paid = one.get("contributions", {"paid_in": 0, "own_money": 0})
            assert pension["paid_in"] == paid["paid_in"] == record.opened.year.paid_in.amount / 100
            moved = one["moved_from_partner"]
            assert one["cash"]["paid_in"] == pytest.approx(
                one["income_received"] + pension["paid_out"] + one["isa_withdrawal"] + max(0, moved), abs=0.001
            )
            assert one["cash"]["paid_out"] == pytest.approx(
                one["income_tax"] + one["spent"] + paid["own_money"] + one["isa_subscription"] + max(0, -moved),
                abs=0.001,
            )
            for held, growth in ((one["isa"], "growth"), (one["cash"], "interest"), (pension, "growth")):
                grown = held["opening"] + held[growth] + held["paid_in"] - held["paid_out"]
                assert grown == pytest.approx(held["closing"], abs=0.001)
            assert pension["closing"] == pytest.approx(pension["uncrystallised"] + pension["drawdown"], abs=0.001)
            for name in seen:
                seen[name] = seen[name] or one[name] != 0
        sums = planned.household
        assert year["household"] == {name: amount / 100 for name, amount in sums._asdict().items()}
    assert all(seen.values()), seen


def test_a_steady_income_is_answered_with_its_bound(client: FlaskClient) -> None:
    asked = {**LEAST, "aim": {"goal": "steady_income"}, "assumptions": {"scenarios": {"low": {"isa_growth": -0.01}}}}
    found = answered(client, URL, asked)
    income = found["steady_income"]
    assert income["amount"] == int(income["amount"]) <= income["bound"]
    assert income["gap"] == income["bound"] - income["amount"]
    assert found["years"][0]["spending"] <= income["amount"]
    assert found["proof"]["goal"] == found["aim"]["goal"] == "steady_income"
    assert set(found["scenarios"]["low"]["steady_income"]) == {"amount", "bound", "gap"}
    assert "steady_income" not in answered(client, URL, LEAST)


def test_the_most_to_beneficiaries_is_answered_with_what_they_receive(client: FlaskClient) -> None:
    household = {**LEAST["household"], "estate": {"home": 600_000}}
    asked = {
        **LEAST,
        "household": household,
        "aim": {"goal": "most_to_beneficiaries"},
        "beneficiary_tax_rate": 0.4,
        "assumptions": {"scenarios": {"low": {"isa_growth": -0.01}}},
        "sensitivity": {},
    }
    found = answered(client, URL, asked)
    received, proof = found["estate_at_the_end"]["beneficiaries_receive"], found["proof"]
    assert proof["goal"] == found["aim"]["goal"] == "most_to_beneficiaries"
    assert proof["beneficiaries_receive"] == received <= proof["bound"]
    assert proof["gap"] == pytest.approx(proof["bound"] - received, abs=0.001)
    assert proof["wealth_after_tax"] == found["totals"]["wealth_after_tax"]
    for compared in found["compared_with"]:
        assert compared["gain_to_beneficiaries"] == pytest.approx(
            received - compared["beneficiaries_receive"], abs=0.001
        )
        assert compared["gain_to_beneficiaries"] >= -proof["equally_good"]["given_up"] - proof["given_up_at_tax_steps"]
    assert found["scenarios"]["low"]["beneficiaries_receive"] <= received
    as_assumed = found["sensitivity"]["as_assumed"]["beneficiaries_receive"]
    cases = [case for case in found["sensitivity"]["cases"] if case["outcome"] == "found"]
    assert cases
    for case in cases:
        assert case["more_to_beneficiaries"] == pytest.approx(case["beneficiaries_receive"] - as_assumed, abs=0.001)


def test_without_an_estate_the_most_to_beneficiaries_is_not_known(client: FlaskClient) -> None:
    problem = client.post(URL, json={**LEAST, "aim": {"goal": "most_to_beneficiaries"}})
    assert problem.status_code == 422
    document = problem.get_json()
    assert (document["code"], document["errors"][0]["code"]) == ("invalid-request", "estate-needed")
    assert document["errors"][0]["pointer"] == "#/household/estate"


def test_only_a_plan_for_the_most_after_tax_has_a_proof(client: FlaskClient) -> None:
    found = answered(client, URL, {**LEAST, "aim": {"goal": "most_after_tax"}})
    proof, wealth = found["proof"], found["totals"]["wealth_after_tax"]
    assert (proof["goal"], proof["proven"], proof["stopped_by"]) == ("most_after_tax", True, "gap")
    assert proof["wealth_after_tax"] == wealth <= proof["bound"]
    assert proof["gap"] == pytest.approx(proof["bound"] - wealth, abs=0.001)
    assert proof["leaves_out"].endswith(".")
    assert "proof" not in answered(client, URL, LEAST)
    for compared in found["compared_with"]:
        assert compared["outcome"] == "found"
        assert compared["gain"] == pytest.approx(wealth - compared["wealth_after_tax"], abs=0.001)
        assert compared["gain"] >= -proof["equally_good"]["given_up"]


def test_scenarios_come_back_by_name(client: FlaskClient) -> None:
    scenarios = {"high": {"pension_growth": 0.05}, "low": {}}
    found = answered(client, URL, {**LEAST, "assumptions": {"pension_growth": 0.01, "scenarios": scenarios}})
    assert list(found["scenarios"]) == ["low", "high"]
    assert [found["scenarios"][name]["outcome"] for name in ("low", "high")] == ["found", "found"]
    assert found["scenarios"]["low"]["totals"] == found["totals"]
    assert found["scenarios"]["high"]["years"][0]["in_pensions"] == 420_000 - 16_760
    assert "scenarios" not in found["assumptions"]


def test_what_cannot_be_carried_out_beside_a_plan_says_so(client: FlaskClient) -> None:
    """Too young for a pension: 10,400 is spent of 10,000 and half of its growth; without growth 400 is missing."""
    body = copy.deepcopy(LEAST)
    body["household"]["people"][0].update(date_of_birth="1985-01-01", isa={"value": 10_000})
    body["household"]["spending"] = [{"amount": 10_400}]
    body["assumptions"] = {"isa_growth": 0.1, "scenarios": {"low": {"isa_growth": 0}}}
    low = answered(client, URL, body)["scenarios"]["low"]
    assert low == {"outcome": "impossible", "reason": low["reason"]}
    assert "£400" in low["reason"]
    # 55,000 bears 9,432 in one year and leaves 45,568; from State Pension age on there is nothing yet.
    body = copy.deepcopy(LEAST)
    body.update(end_date="2028-04-05", aim={"goal": "basic_rate_band"})
    body["household"]["people"][0].update(
        date_of_birth="1970-01-01", pensions=[{"uncrystallised": 0, "drawdown": 55_000}]
    )
    body["household"]["spending"] = [{"amount": 46_000, "from": "2027-04-06"}]
    even, _ = answered(client, URL, body)["compared_with"]
    assert even == {"plan": even["plan"], "outcome": "impossible", "reason": even["reason"]}


def test_a_lump_sum_taken_by_itself_is_beside_the_withdrawals(client: FlaskClient) -> None:
    """A quarter of 400,000 (Finance Act 2004 Sch.29 paras 1-3), and 12,570 from drawdown without tax."""
    found = answered(client, URL, {**LEAST, "lump_sums": "all_now"})
    (one,) = found["years"][0]["people"]
    (withdrawal,), (pension,) = one["withdrawals"], one["pensions"]
    assert (one["lump_sum"], withdrawal["gross"], withdrawal["tax_free"]) == (100_000, 12_570, 0)
    assert (withdrawal["from_uncrystallised"], withdrawal["from_drawdown"]) == (0, 12_570)
    assert pension["paid_out"] == found["totals"]["withdrawn"] == 112_570
    assert (found["totals"]["tax_free"], one["allowances"]["tax_free_lump_sums"]["used"]) == (100_000, 100_000)


def test_each_doubtful_figure_is_said_once(client: FlaskClient) -> None:
    caveats = answered(client, URL, {**LEAST, "end_date": "2040-04-05"})["rules"]["caveats"]
    said = [told["caveat"] for told in caveats]
    assert [sentence for sentence in said if sentence.startswith("The income tax rates from ")] == [
        "The income tax rates from 2027-28 are not yet law; those of 2026-27 are used. "
        "These figures do not include any Budget after November 2025."
    ]
    assert len({tuple(told.values()) for told in caveats}) == len(caveats)


def test_a_doubtful_figure_is_said_where_it_is_least_firm(client: FlaskClient) -> None:
    """The Scottish bands of 2026-27 are enacted, and those of later tax years are assumed."""
    body = copy.deepcopy(LEAST)
    body["household"]["people"][0]["tax_residence"] = "scotland"
    told = "The Scottish income tax rates and bands from 2027-28 are not yet set; those of 2026-27 are used."
    for end, expected in (("2027-04-05", []), ("2040-04-05", [told])):
        found = answered(client, URL, {**body, "end_date": end})
        assert [
            said["caveat"] for said in found["rules"]["caveats"] if "Scottish income tax" in said["caveat"]
        ] == expected
    assert found["rules"]["standing"] == "assumed"


def test_what_a_quote_includes_is_not_offered(client: FlaskClient) -> None:
    reply = client.post(f"{URL}?include=curve", json=LEAST)
    assert (reply.status_code, reply.get_json()["code"]) == (422, "invalid-request")
    takes = "it takes compared_years, steps and charts, with only a comma between them."
    assert reply.get_json()["detail"] == f'include does not take "curve"; {takes}'
