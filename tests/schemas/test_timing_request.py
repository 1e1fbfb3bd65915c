"""What a request to compare lump sum timing may hold: every fault with its pointer and code, all at once, by both readers."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from datetime import date
from fractions import Fraction
from typing import Any

import pytest
from flask.testing import FlaskClient

from service.http.body import loaded, strict
from service.law.lump_sums import Pension
from service.planning.estates import EstateFacts, Gift, HomeGivenUp
from service.planning.household import Assumptions, Household, Isa, Member, PensionHeld, Spending
from service.planning.timing.comparison import TimingQuestion
from service.planning.timing.deaths import Death
from service.planning.timing.options import Option
from service.schemas.quick import quick_reader
from service.schemas.timing import request as schemas
from tests.bodies import answered, faults_of, pointers_of, refused_by_both_readers, text_with

URL = "/v1/lump-sum-timing"
SCHEMA = schemas.TimingSchema()
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
    "to_age": 67,
    "options": [{"lump_sums": "all_now"}],
}
FULL: dict[str, Any] = {
    "household": {
        "people": [
            {
                "date_of_birth": "1962-06-01",
                "tax_residence": "scotland",
                "pensions": [{"uncrystallised": 9, "drawdown": 10}],
                "isa": {"value": 12, "subscribed_this_year": 13, "cash_isa": True},
                "cash": 14,
                "withdrawal_cap": 1_000_000,
                "flexibly_accessed": False,
            },
            {
                "date_of_birth": "1963-08-01",
                "tax_residence": "wales",
                "pensions": [{"uncrystallised": 15}],
                "flexibly_accessed": False,
            },
        ],
        "spending": [{"amount": 0, "increases": "prices"}],
        "estate": {
            "home": 17,
            "home_to_descendants": True,
            "other_assets": 18,
            "debts": 19,
            "increases": 0.0125,
            "first_person_share": 0.4,
            "charity_share": 0.1,
            "lifetime_gifts": [
                {"date": "2020-01-31", "amount": 20, "person": 0},
                {"date": "2021-01-31", "amount": 21, "person": 1},
            ],
            "nil_rate_band_brought_forward": 0,
            "residence_nil_rate_band_brought_forward": 0,
            "spouses": False,
            "first_death": "to_beneficiaries",
            "home_given_up": {"value": 22, "residence_nil_rate_band": 23, "rest_to_descendants": False},
            "pension_paid_as": "drawdown",
            "pension_paid_within_two_years": False,
            "pension_to_non_qualifying_person": False,
            "survivor_spending": 0.6667,
        },
    },
    "start_date": "2026-07-01",
    "to_age": 70,
    "options": [
        {"lump_sums": "all_now", "aim": {"goal": "higher_rate_band"}},
        {"lump_sums": "phased", "yearly": "isa_allowance"},
        {"lump_sums": "phased", "yearly": 16.01, "aim": {"goal": "spending_only"}},
        {"lump_sums": "phased"},
        {"lump_sums": "with_each_withdrawal", "aim": {"goal": "personal_allowance"}},
        {"lump_sums": "at_age", "age": 67},
        {"lump_sums": "never"},
    ],
    "aim": {"goal": "basic_rate_band"},
    "deaths": [
        {"person": 0, "age": 66},
        {"person": 1, "age": 65},
        {"person": 0, "age": 67, "survivor_age": 68},
    ],
    "beneficiary_tax_rate": 0.4,
    "assumptions": {
        "pension_growth": 0.04750001,
        "isa_growth": -0.1,
        "cash_interest": 0.01,
        "price_inflation": 0.02,
        "thresholds_after_freeze": "prices",
        "tax_rate_on_remaining_pension": 1,
        "spending_met": "start",
        "scenarios": {"low": {"pension_growth": 0}, "high": {"isa_growth": 0.1, "cash_interest": 0.05}},
    },
    "break_even_growth": {"low": -0.05, "high": 0.15},
}


# What is read


def asked(body: dict[str, Any]) -> TimingQuestion:
    return loaded(json.dumps(body).encode(), SCHEMA, QUICK, schemas.question)


def test_what_is_left_out_has_its_default() -> None:
    member = Member(date(1962, 6, 1), "england", Pension(40_000_000), pensions=(PensionHeld(40_000_000),))
    assert asked(LEAST) == TimingQuestion(
        household=Household(date(2026, 4, 6), date(2029, 6, 1), (member,), (), "with_each_withdrawal", Assumptions()),
        to_age=67,
        options=(Option("all_now", "personal_allowance", None, None),),
        deaths=(),
        estate=EstateFacts(
            home=0,
            home_to_descendants=False,
            other_assets=0,
            debts=0,
            increases=0,
            first_person_share=5_000,
            charity_share=0,
            gifts=(),
            nil_rate_band_brought_forward=0,
            residence_nil_rate_band_brought_forward=0,
            spouses=True,
            first_death="to_spouse",
            home_given_up=None,
            pension_paid_as="lump_sum",
            pension_paid_within_two_years=True,
            pension_to_non_qualifying_person=False,
            survivor_spending=10_000,
        ),
        beneficiary_tax_rate=2_000,
        growth_range=(0, 1_000),
        scenarios={},
    )


def test_everything_that_is_given_is_read() -> None:
    assumed = Assumptions(Fraction(4_750_001, 10_000), -1_000, 100, 200, "prices", 10_000, "start")
    growth = assumed.pension_growth
    first = Member(
        date(1962, 6, 1),
        "scotland",
        Pension(900, drawdown=1_000),
        Isa(1_200, 1_300, True),
        1_400,
        pensions=(PensionHeld(900, 1_000, growth=growth),),
        withdrawal_cap=100_000_000,
    )
    second = Member(date(1963, 8, 1), "wales", Pension(1_500), pensions=(PensionHeld(1_500, growth=growth),))
    assert asked(FULL) == TimingQuestion(
        household=Household(
            start=date(2026, 7, 1),
            end=date(2032, 6, 1),
            people=(first, second),
            spending=(Spending(0, increases="prices"),),
            assumptions=assumed,
        ),
        to_age=70,
        options=(
            Option("all_now", "higher_rate_band"),
            Option("phased", "basic_rate_band", "isa_allowance"),
            Option("phased", "spending_only", 1_601),
            Option("phased", "basic_rate_band"),
            Option("with_each_withdrawal", "personal_allowance"),
            Option("at_age", "basic_rate_band", age=67),
            Option("never", "basic_rate_band"),
        ),
        deaths=(Death(0, 66), Death(1, 65), Death(0, 67, 68)),
        estate=EstateFacts(
            home=1_700,
            home_to_descendants=True,
            other_assets=1_800,
            debts=1_900,
            increases=125,
            first_person_share=4_000,
            charity_share=1_000,
            gifts=(Gift(date(2020, 1, 31), 2_000, 0), Gift(date(2021, 1, 31), 2_100, 1)),
            spouses=False,
            first_death="to_beneficiaries",
            home_given_up=HomeGivenUp(2_200, 2_300, rest_to_descendants=False),
            pension_paid_as="drawdown",
            pension_paid_within_two_years=False,
            pension_to_non_qualifying_person=False,
            survivor_spending=6_667,
        ),
        beneficiary_tax_rate=4_000,
        growth_range=(-500, 1_500),
        scenarios={
            "low": replace(assumed, pension_growth=0),
            "high": replace(assumed, isa_growth=1_000, cash_interest=500),
        },
    )


def test_bands_brought_forward_are_read_for_one_person() -> None:
    bands = {"nil_rate_band_brought_forward": 0.4567, "residence_nil_rate_band_brought_forward": 1}
    estate = asked({**LEAST, "household": {**LEAST["household"], "estate": bands}}).estate
    assert (estate.nil_rate_band_brought_forward, estate.residence_nil_rate_band_brought_forward) == (4_567, 10_000)


def test_a_birth_on_29_february_reaches_its_age_on_1_march() -> None:
    # A person attains an age at the start of the birthday (Family Law Reform Act 1969 s.9); in a year without the day, 1
    # March is from memory.
    body = copy.deepcopy(LEAST)
    body["household"]["people"][0]["date_of_birth"] = "1960-02-29"
    assert [asked({**body, "to_age": age}).household.end for age in (67, 68)] == [date(2027, 3, 1), date(2028, 2, 29)]


# The two readers agree


VALUES = (
    *("null", "true", "1", "67", "1.5", "0.12345", "0.123456789", "-0.1"),
    *('"prices"', '"isa_allowance"', '"x"', "{}", "[]", "[{}]", "[{},{},{}]"),
)


def test_the_quick_reader_and_the_strict_one_agree_about_every_field() -> None:
    assert refused_by_both_readers(FULL, VALUES, SCHEMA, schemas.question) > 800


# What is refused


@pytest.mark.parametrize(
    "pointer",
    [
        "/start_date",
        "/to_age",
        "/household",
        "/household/people",
        "/options",
        "/options/0/lump_sums",
        "/options/0/aim/goal",
        "/aim/goal",
        "/deaths/0/age",
        "/household/estate/lifetime_gifts/0/date",
        "/household/estate/lifetime_gifts/0/amount",
        "/household/estate/home_given_up/value",
        "/household/estate/home_given_up/residence_nil_rate_band",
        "/break_even_growth/low",
        "/break_even_growth/high",
    ],
)
def test_what_must_be_there(client: FlaskClient, pointer: str) -> None:
    assert faults_of(client, URL, text_with(FULL, pointer, None)) == [(f"#{pointer}", "missing")]


@pytest.mark.parametrize(
    "place",
    [
        "",
        "/options/0",
        "/options/0/aim",
        "/aim",
        "/deaths/0",
        "/household/estate",
        "/household/estate/lifetime_gifts/0",
        "/household/estate/home_given_up",
        "/break_even_growth",
    ],
)
def test_what_must_not_be_there(client: FlaskClient, place: str) -> None:
    assert faults_of(client, URL, text_with(FULL, f"{place}/more", "1")) == [(f"#{place}/more", "unknown-field")]


def test_nothing_may_be_null(client: FlaskClient) -> None:
    for pointer in pointers_of(FULL):
        if not pointer.split("/")[-1].isdigit():
            assert faults_of(client, URL, text_with(FULL, pointer, "null")) == [(f"#{pointer}", "null")]


_SHARE = (("0", "1", "1.0", "0.4999"), ("-0.0001", "1.0001", "0.49999", '"0.5"'))
_MONEY = (("0", "100000000", "0.01"), ("-0.01", "100000000.01", "0.001", '"1"'))
_GROWTH = (("-0.1", "0.2", "0.00000001", "-0.09999999"), ("-0.10000001", "0.20000001", "0.000000001", '"0.1"'))
_AGE = (("18", "120", "70.0"), ("17", "121", "70.5", '"70"', "true"))
# Each with the values on the edge that are accepted, and those just past it.
EDGES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "/to_age": _AGE,
    "/options/0/lump_sums": (('"all_now"', '"with_each_withdrawal"', '"never"'), ('"now"', '""', "1")),
    "/options/1/yearly": (('"isa_allowance"', *_MONEY[0]), ('"isa"', *_MONEY[1], "{}")),
    "/options/5/age": (("20", "120"), ("19", "121", "67.5", '"67"')),
    "/options/0/aim/goal": (
        ('"personal_allowance"', '"basic_rate_band"', '"higher_rate_band"', '"spending_only"'),
        ('"most_after_tax"', '"none"', "0"),
    ),
    "/aim/goal": (('"spending_only"',), ('"most_after_tax"',)),
    "/deaths/0/person": (("0", "1", "1.0"), ("2", "-1", "0.5", '"first"', '"0"', "true")),
    "/deaths/0/age": _AGE,
    "/deaths/2/survivor_age": _AGE,
    "/household/estate/home": _MONEY,
    "/household/estate/home_to_descendants": (("true", "false"), ("1", '"true"')),
    "/household/estate/other_assets": _MONEY,
    "/household/estate/debts": _MONEY,
    "/household/estate/increases": (('"none"', '"prices"', "-0.1", "0.2"), ('"rates"', "0.20001", "0.00001")),
    "/household/estate/first_person_share": _SHARE,
    "/household/estate/charity_share": _SHARE,
    "/household/estate/lifetime_gifts/0/date": (('"1900-01-01"', '"2030-02-28"'), ('"1899-12-31"', '"2030-02-29"')),
    "/household/estate/lifetime_gifts/0/amount": _MONEY,
    "/household/estate/lifetime_gifts/0/person": (("0", "1"), ("2", '"both"', "false")),
    "/household/estate/nil_rate_band_brought_forward": _SHARE,
    "/household/estate/residence_nil_rate_band_brought_forward": _SHARE,
    "/household/estate/spouses": (("true", "false"), ("1", '"yes"')),
    "/household/estate/first_death": (('"to_spouse"', '"to_beneficiaries"'), ('"spouse"', "0")),
    "/household/estate/home_given_up/value": _MONEY,
    "/household/estate/home_given_up/residence_nil_rate_band": (_MONEY[0][1:], _MONEY[1]),
    "/household/estate/home_given_up/rest_to_descendants": (("true", "false"), ("1", '"yes"')),
    "/household/estate/pension_paid_within_two_years": (("true", "false"), ("0", '"no"')),
    "/household/estate/pension_to_non_qualifying_person": (("false",), ("0", '"no"')),
    "/household/estate/pension_paid_as": (('"lump_sum"', '"drawdown"'), ('"annuity"', "0")),
    "/household/estate/survivor_spending": _SHARE,
    "/beneficiary_tax_rate": _SHARE,
    "/assumptions/pension_growth": _GROWTH,
    "/assumptions/isa_growth": _GROWTH,
    "/assumptions/cash_interest": (("0", "0.2"), ("-0.0001", "0.2001", "0.00005")),
    "/assumptions/scenarios/low/pension_growth": _GROWTH,
    "/assumptions/scenarios/low/isa_growth": _GROWTH,
    "/break_even_growth/low": (("-0.1", "0.1499"), ("-0.1001", "0.2001", "0.00005")),
    "/break_even_growth/high": (("-0.0499", "0.2"), ("-0.1001", "0.2001", "0.00005")),
}


@pytest.mark.parametrize("pointer", EDGES)
def test_the_edges_of_a_field(client: FlaskClient, pointer: str) -> None:
    accepted, refused = EDGES[pointer]
    for value in accepted:
        schemas.question(SCHEMA.load(strict(text_with(FULL, pointer, value))))
    for value in refused:
        assert faults_of(client, URL, text_with(FULL, pointer, value)) == [(f"#{pointer}", "invalid-value")], value


@pytest.mark.parametrize(
    ("pointer", "item", "least", "most"),
    [
        ("/household/people", FULL["household"]["people"][1], 1, 2),
        ("/household/people/0/pensions", {"uncrystallised": 0}, 0, 20),
        ("/options", {"lump_sums": "never"}, 1, 10),
        ("/deaths", {"person": 0, "age": 66}, 0, 10),
        ("/household/estate/lifetime_gifts", {"date": "2026-01-01", "amount": 1, "person": 0}, 0, 50),
        ("/household/spending", {"amount": 0}, 0, 50),
    ],
)
def test_how_many(client: FlaskClient, pointer: str, item: dict[str, Any], least: int, most: int) -> None:
    for count in (least, most):
        SCHEMA.load(strict(text_with(FULL, pointer, json.dumps([item] * count))))
    for count in ({least - 1} - {-1}) | {most + 1}:
        assert faults_of(client, URL, text_with(FULL, pointer, json.dumps([item] * count))) == [
            (f"#{pointer}", "invalid-value")
        ]


def test_every_fault_at_once(client: FlaskClient) -> None:
    body = copy.deepcopy(FULL)
    del body["to_age"], body["options"][0]["lump_sums"], body["break_even_growth"]["high"]
    body["options"][2]["yearly"] = "16"
    body["options"][5]["aim"] = {"goal": "most_after_tax"}
    body["deaths"][1]["person"] = 2
    body["household"]["estate"].update(home=-1, charity_share=10, downsizing=True)
    body["household"]["estate"]["lifetime_gifts"][1]["amount"] = 0.001
    body["assumptions"]["scenarios"]["low"]["price_inflation"] = 0.02
    assert sorted(faults_of(client, URL, json.dumps(body).encode())) == [
        ("#/assumptions/scenarios/low/price_inflation", "unknown-field"),
        ("#/break_even_growth/high", "missing"),
        ("#/deaths/1/person", "invalid-value"),
        ("#/household/estate/charity_share", "invalid-value"),
        ("#/household/estate/downsizing", "unknown-field"),
        ("#/household/estate/home", "invalid-value"),
        ("#/household/estate/lifetime_gifts/1/amount", "invalid-value"),
        ("#/options/0/lump_sums", "missing"),
        ("#/options/2/yearly", "invalid-value"),
        ("#/options/5/aim/goal", "invalid-value"),
        ("#/to_age", "missing"),
    ]


# What the rules refuse

OF_THE_LAW = ("not-spouses", "lump-sum-only", "bands-of-one-person")
COUPLE: dict[str, Any] = {
    **LEAST,
    "household": {"people": [*LEAST["household"]["people"], FULL["household"]["people"][1]]},
}


@pytest.mark.parametrize(
    ("pointer", "value", "where", "code"),
    [
        # The household's own faults, with the age in place of the last day.
        ("/start_date", '"2019-04-05"', "#/start_date", "no-figures"),
        ("/household/people/0/income", '[{"kind": "annuity"}]', "#/household/people/0/income/0", "one-of-two"),
        (
            "/household/spending",
            '[{"amount": 1, "from": "2027-01-02", "to": "2027-01-01"}]',
            "#/household/spending/0/to",
            "to-before-from",
        ),
        # The birthday before the first day, and on it.
        ("/to_age", "63", "#/to_age", "age-already-reached"),
        ("/start_date", '"2029-06-01"', "#/to_age", "age-already-reached"),
        # The range of growth.
        ("/break_even_growth", '{"low": 0.05, "high": 0.05}', "#/break_even_growth/high", "range-empty"),
        ("/break_even_growth", '{"low": 0.05, "high": -0.05}', "#/break_even_growth/high", "range-empty"),
        # What belongs to another option.
        ("/options", '[{"lump_sums": "at_age"}]', "#/options/0/age", "missing"),
        ("/options", '[{"lump_sums": "never"}, {"lump_sums": "all_now", "age": 65}]', "#/options/1/age", "only-with"),
        ("/options", '[{"lump_sums": "phased", "age": 65}]', "#/options/0/age", "only-with"),
        ("/options", '[{"lump_sums": "with_each_withdrawal", "yearly": 0}]', "#/options/0/yearly", "only-with"),
        ("/options", '[{"lump_sums": "never", "yearly": "isa_allowance"}]', "#/options/0/yearly", "only-with"),
        # Deaths of one person: before the first day, after the last.
        ("/deaths", '[{"age": 63}]', "#/deaths/0/age", "death-outside-the-years"),
        ("/deaths", '[{"age": 67}, {"age": 68}]', "#/deaths/1/age", "death-outside-the-years"),
        ("/deaths", '[{"person": 1, "age": 63}]', "#/deaths/0/person", "no-such-person"),
        ("/deaths", '[{"age": 64, "survivor_age": 65}]', "#/deaths/0/survivor_age", "no-survivor"),
        (
            "/household/estate",
            '{"lifetime_gifts": [{"date": "2026-01-01", "amount": 1, "person": 1}]}',
            "#/household/estate/lifetime_gifts/0/person",
            "no-such-person",
        ),
    ],
)
def test_what_the_rules_refuse(client: FlaskClient, pointer: str, value: str, where: str, code: str) -> None:
    assert faults_of(client, URL, text_with(LEAST, pointer, value)) == [(where, code)]


@pytest.mark.parametrize(
    ("pointer", "value", "where", "code"),
    [
        # The first dies on 1 June 2027 at 65, 2028 at 66 or 2029 at 67; the second is 63 on 1 August 2026.
        (
            "/deaths",
            '[{"person": 0, "age": 66, "survivor_age": 64}]',
            "#/deaths/0/survivor_age",
            "death-outside-the-years",
        ),
        (
            "/deaths",
            '[{"person": 0, "age": 66, "survivor_age": 66}]',
            "#/deaths/0/survivor_age",
            "death-outside-the-years",
        ),
        ("/deaths", '[{"person": 1, "age": 66}]', "#/deaths/0/age", "death-outside-the-years"),
        (
            "/household/estate",
            '{"spouses": false, "first_death": "to_spouse"}',
            "#/household/estate/first_death",
            "not-spouses",
        ),
        (
            "/household/estate",
            '{"spouses": false, "home_given_up": {"value": 1, "residence_nil_rate_band": 0}}',
            "#/household/estate/home_given_up/residence_nil_rate_band",
            "no-band",
        ),
        (
            "/household/estate",
            '{"spouses": false, "pension_paid_as": "drawdown", "pension_to_non_qualifying_person": true}',
            "#/household/estate/pension_paid_as",
            "lump-sum-only",
        ),
        (
            "/household/estate",
            '{"nil_rate_band_brought_forward": 0.0001}',
            "#/household/estate/nil_rate_band_brought_forward",
            "bands-of-one-person",
        ),
        (
            "/household/estate",
            '{"residence_nil_rate_band_brought_forward": 1}',
            "#/household/estate/residence_nil_rate_band_brought_forward",
            "bands-of-one-person",
        ),
    ],
)
def test_what_the_rules_refuse_a_couple(client: FlaskClient, pointer: str, value: str, where: str, code: str) -> None:
    problem = "rule-violation" if code in OF_THE_LAW else "invalid-request"
    assert faults_of(client, URL, text_with(COUPLE, pointer, value), problem) == [(where, code)]


@pytest.mark.parametrize(
    ("body", "pointer", "value"),
    [
        (LEAST, "/deaths", '[{"age": 64}, {"age": 67}]'),
        (COUPLE, "/deaths", '[{"person": 0, "age": 66, "survivor_age": 65}, {"person": 1, "age": 65}]'),
        (COUPLE, "/household/estate", '{"lifetime_gifts": [{"date": "2026-01-01", "amount": 1, "person": 1}]}'),
        (LEAST, "/start_date", '"2029-05-31"'),
    ],
)
def test_what_is_just_allowed(client: FlaskClient, body: dict[str, Any], pointer: str, value: str) -> None:
    reply = client.post(URL, data=text_with(body, pointer, value), content_type="application/json")
    assert reply.status_code == 200, reply.get_data(as_text=True)


def test_both_deaths_of_a_couple_on_one_day(client: FlaskClient) -> None:
    body = copy.deepcopy(COUPLE)
    body["household"]["people"][1]["date_of_birth"] = body["household"]["people"][0]["date_of_birth"]
    body["deaths"] = [{"person": 0, "age": 66, "survivor_age": 66}]
    found = faults_of(client, URL, json.dumps(body).encode())
    assert found == [("#/deaths/0/survivor_age", "death-outside-the-years")]


@pytest.mark.parametrize(
    ("born", "to_age", "faults"),
    [
        ("1970-04-06", 115, []),
        # On 6 April 2086 the sixty-first tax year begins.
        ("1970-04-06", 116, [("#/to_age", "plan-too-long")]),
        ("2026-04-07", 50, [("#/household/people/0/date_of_birth", "not-yet-born")]),
        ("2026-04-07", 60, [("#/to_age", "plan-too-long"), ("#/household/people/0/date_of_birth", "not-yet-born")]),
    ],
)
def test_births_and_ages_that_do_not_go_together(
    client: FlaskClient, born: str, to_age: int, faults: list[tuple[str, str]]
) -> None:
    body = copy.deepcopy(LEAST)
    body["household"]["people"][0]["date_of_birth"] = born
    text = json.dumps({**body, "to_age": to_age}).encode()
    if faults:
        assert faults_of(client, URL, text) == faults
    else:
        assert client.post(URL, data=text, content_type="application/json").status_code == 200


def test_the_rules_refuse_all_at_once(client: FlaskClient) -> None:
    body = copy.deepcopy(LEAST)
    body["deaths"] = [{"age": 90}, {"age": 66, "survivor_age": 66}]
    body["household"]["spending"] = [{"amount": 1, "from": "2027-01-02", "to": "2027-01-01"}]
    body["break_even_growth"] = {"low": 0.1, "high": 0}
    assert faults_of(client, URL, json.dumps(body).encode()) == [
        ("#/household/spending/0/to", "to-before-from"),
        ("#/break_even_growth/high", "range-empty"),
        ("#/deaths/0/age", "death-outside-the-years"),
        ("#/deaths/1/survivor_age", "no-survivor"),
    ]


@pytest.mark.parametrize(("body", "person", "code"), [(COUPLE, None, "missing"), (LEAST, 1, "no-such-person")])
def test_whose_death_or_gift_is_meant_has_to_be_clear(
    client: FlaskClient, body: dict[str, Any], person: int | None, code: str
) -> None:
    whose = {} if person is None else {"person": person}
    gifts = [{"date": "2026-01-01", "amount": 1, **whose}]
    for pointer, value in (("/deaths", [{"age": 65, **whose}]), ("/household/estate", {"lifetime_gifts": gifts})):
        where = f"#{pointer}/0/person" if pointer == "/deaths" else f"#{pointer}/lifetime_gifts/0/person"
        assert faults_of(client, URL, text_with(body, pointer, json.dumps(value))) == [(where, code)]


def test_what_does_not_go_together_is_told_with_every_other_fault_of_the_shape(client: FlaskClient) -> None:
    body = copy.deepcopy(LEAST)
    body["household"]["people"][0]["income"] = [{"kind": "annuity"}, {"kind": "annuity", "share_of_full_rate": 1}]
    body["options"] = [
        {"lump_sums": "at_age"},
        {"lump_sums": "never", "age": 60, "yearly": 1},
        {"lump_sums": "nevr", "age": 60},
    ]
    body["household"]["people"][0]["cash"] = True
    assert sorted(faults_of(client, URL, json.dumps(body).encode())) == [
        ("#/household/people/0/cash", "invalid-value"),
        ("#/household/people/0/income/0", "one-of-two"),
        ("#/household/people/0/income/1/share_of_full_rate", "only-with"),
        ("#/options/0/age", "missing"),
        ("#/options/1/age", "only-with"),
        ("#/options/1/yearly", "only-with"),
        ("#/options/2/lump_sums", "invalid-value"),
    ]


def test_an_age_already_reached_brings_no_nonsense_about_deaths(client: FlaskClient) -> None:
    body = {**LEAST, "to_age": 60, "deaths": [{"age": 61}, {"age": 70}]}
    assert faults_of(client, URL, json.dumps(body).encode()) == [("#/to_age", "age-already-reached")]


# What comes back


def test_the_answer_in_pounds_and_fractions(client: FlaskClient) -> None:
    """A quarter of 400,000 at once, 20,000 of it subscribed on each 6 April (SI 1998/1870 reg.4ZA); 12,570 drawn on 5 April
    without tax (Finance Act 2021 s.5), which waits for the next tax year's room."""
    found = answered(client, URL, LEAST)
    assert list(found) == [
        "summary", "from", "to", "assumptions", "options", "ranking", "break_evens", "rules", "warnings", "notice"
    ]  # fmt: skip
    assert (found["from"], found["to"]) == ("2026-04-06", "2029-06-01")
    assert found["assumptions"]["beneficiary_tax_rate"] == 0.2
    assert found["assumptions"]["tax_on_remaining_pension"] == {"drawn_over_years": 20}
    assert found["assumptions"]["spending_met"] == "evenly"
    (option,) = found["options"]
    assert (option["lump_sums"], option["aim"], option["outcome"]) == (
        "all_now",
        {"goal": "personal_allowance"},
        "found",
    )
    assert [(year["tax_year"], year["from"], year["to"]) for year in option["years"]] == [
        ("2026-27", "2026-04-06", "2027-04-05"),
        ("2027-28", "2027-04-06", "2028-04-05"),
        ("2028-29", "2028-04-06", "2029-04-05"),
        ("2029-30", "2029-04-06", "2029-06-01"),
    ]
    one = option["years"][0]["people"][0]
    assert (one["lump_sum"], one["isa_subscription"]) == (100_000, 20_000)
    assert one["allowances"]["tax_free_lump_sums"] == {"used": 100_000, "left": 168_275, "available": 0}
    assert one["withdrawals"] == [
        {
            "pension": 0,
            "gross": 12_570,
            "tax_free": 0,
            "taxable": 12_570,
            "from_uncrystallised": 0,
            "from_drawdown": 12_570,
        }
    ]
    assert one["pensions"] == [
        {
            "pension": 0,
            "opening": 400_000,
            "growth": 0,
            "paid_in": 0,
            "paid_out": 112_570,
            "closing": 287_430,
            "uncrystallised": 0,
            "drawdown": 287_430,
        }
    ]
    assert one["cash"] == {"opening": 0, "interest": 0, "paid_in": 112_570, "paid_out": 20_000, "closing": 92_570}
    # In the part year nothing is drawn, because nothing is spent.
    assert option["years"][3]["people"][0]["withdrawals"][0]["gross"] == 0
    totals = option["totals"]
    assert (totals["in_pensions"], totals["in_isas"], totals["in_cash"]) == (300_000 - 3 * 12_570, 80_000, 57_710)
    # 262,290 in drawdown are 13,114.50 a year for 20 years, of which 544.50 bear 20%.
    assert totals["wealth_after_tax"] == 262_290 - 2_178 + 137_710
    assert found["break_evens"] == {"growth": {"low": 0, "high": 0.1}, "pairs": []}
    assert found["ranking"]["wealth_after_tax"] == [{"option": 0, "amount": totals["wealth_after_tax"]}]


@pytest.mark.parametrize(
    ("option", "shown"),
    [
        ({"lump_sums": "phased"}, {"yearly": "isa_allowance"}),
        ({"lump_sums": "phased", "yearly": "isa_allowance"}, {"yearly": "isa_allowance"}),
        ({"lump_sums": "phased", "yearly": 1234.5}, {"yearly": 1234.5}),
        ({"lump_sums": "at_age", "age": 65}, {"age": 65}),
        ({"lump_sums": "with_each_withdrawal"}, {}),
    ],
)
def test_an_option_is_repeated_with_what_was_left_out(
    client: FlaskClient, option: dict[str, Any], shown: dict[str, Any]
) -> None:
    (found,) = answered(client, URL, {**LEAST, "options": [option], "aim": {"goal": "spending_only"}})["options"]
    told = {key: value for key, value in found.items() if key not in ("totals", "years", "deaths")}
    asked = {"option": 0, "lump_sums": option["lump_sums"], **shown, "aim": {"goal": "spending_only"}}
    assert told == {**asked, "outcome": "found"}


def test_what_cannot_be_carried_out_says_why_and_is_in_no_order(client: FlaskClient) -> None:
    """To spend 18,600, of which 12,570 bears no tax and the rest a fifth (Finance Act 2021 s.5), 20,107.50 has to be drawn
    where nothing is tax free: twice that is more than 40,000."""
    body = copy.deepcopy(LEAST)
    body |= {"options": [{"lump_sums": "never"}, {"lump_sums": "all_now"}], "aim": {"goal": "spending_only"}}
    body["household"]["people"] = [{**LEAST["household"]["people"][0], "pensions": [{"uncrystallised": 40_000}]}]
    body["household"]["spending"] = [{"amount": 18_600, "to": "2028-04-05"}]
    found = answered(client, URL, body)
    never, now = found["options"]
    assert never == {
        "option": 0,
        "lump_sums": "never",
        "aim": {"goal": "spending_only"},
        "outcome": "impossible",
        "reason": never["reason"],
    }
    assert "2027-28" in never["reason"]
    assert now["outcome"] == "found"
    assert [placed["option"] for placed in found["ranking"]["wealth_after_tax"]] == [1]
    assert found["break_evens"]["pairs"] == []


def test_a_growth_at_which_two_change_places_can_be_asked_about_again(client: FlaskClient) -> None:
    options = [{"lump_sums": "all_now"}, {"lump_sums": "phased", "yearly": "isa_allowance"}]
    assumptions = {"pension_growth": 0.05, "isa_growth": 0.045, "cash_interest": 0.03}
    found = answered(client, URL, {**LEAST, "options": options, "assumptions": assumptions})
    (pair,) = found["break_evens"]["pairs"]
    assert (pair["options"], pair["growth"]["outcome"]) == ([0, 1], "changes")
    (change,) = pair["growth"]["changes"]
    again = {name: change[name] for name in ("pension_growth", "isa_growth")}
    assert again["isa_growth"] == pytest.approx(again["pension_growth"] - 0.005, abs=1e-12)
    body = {**LEAST, "options": options, "assumptions": {**assumptions, **again}}
    first, second = (option["totals"]["wealth_after_tax"] for option in answered(client, URL, body)["options"])
    assert first - second == pytest.approx(change["difference"], abs=0.001)
    assert abs(first - second) <= 1


def test_scenarios_come_back_by_name(client: FlaskClient) -> None:
    scenarios = {"high": {"pension_growth": 0.05}, "low": {}}
    found = answered(client, URL, {**LEAST, "assumptions": {"pension_growth": 0.01, "scenarios": scenarios}})["ranking"]
    assert list(found["scenarios"]) == ["low", "high"]
    assert found["scenarios"]["low"] == found["wealth_after_tax"]
    assert found["scenarios"]["high"][0]["amount"] > found["wealth_after_tax"][0]["amount"]
    assert "scenarios" not in answered(client, URL, LEAST)["ranking"]


def test_of_queries_only_charts_are_offered(client: FlaskClient) -> None:
    reply = client.post(f"{URL}?include=curve", json=LEAST)
    assert (reply.status_code, reply.get_json()["code"]) == (422, "invalid-request")
    assert reply.get_json()["detail"] == 'include does not take "curve"; it takes charts.'
