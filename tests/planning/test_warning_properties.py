"""What holds of all warnings, what the published examples say, and how quiet ordinary households are."""

from __future__ import annotations

import copy
import re
from collections import Counter
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from marshmallow import Schema

from service.law.lump_sums import METHODS
from service.planning.faults import RuleViolation
from service.planning.warnings.registry import CATALOGUE
from service.planning.warnings.warning import EFFECTS, SEVERITIES, ClientWarning
from service.schemas.shared import ObjectList, StrictNested
from tests.planning.warning_requests import (
    SCHEMA,
    amounts_not_told,
    by_code,
    figures_that_differ,
    found_in,
    heard_in,
    income,
    into_isa,
    merged,
    request,
    request_of,
    saved,
    w,
)
from tests.planning.warnings.every_topic import CASES

ALL_CASES = [pytest.param(body, id=f"{code}-{i}") for code, pairs in CASES.items() for i, (body, _) in enumerate(pairs)]


# Well made


def has_place(schema: Schema, path: tuple[str | int, ...]) -> bool:
    """Whether a place may stand in a request of this schema, whether it is given or left out."""
    if not path:
        return True
    key, rest = path[0], path[1:]
    found = {field.data_key or name: field for name, field in schema.load_fields.items()}.get(str(key))
    if found is None:
        return False
    if isinstance(found, StrictNested):
        return has_place(found.schema, rest)
    if isinstance(found, ObjectList):
        assert isinstance(found.inner, StrictNested)
        return not rest or (isinstance(rest[0], int) and has_place(found.inner.schema, rest[1:]))
    return not rest


@pytest.mark.parametrize("body", ALL_CASES)
def test_every_warning_is_well_made(body: dict[str, Any]) -> None:
    found = found_in(body)
    first = [warning for warning in found if warning.first]
    assert found[: len(first)] == first
    assert {warning.code for warning in first} <= {"ill_health_route"}
    ranks = [EFFECTS.index(warning.effect) for warning in found[len(first) :]]
    assert ranks == sorted(ranks)
    costs = [(SEVERITIES.index(one.severity), -one.cost) for one in found if one.effect == "costs"]
    assert costs == sorted(costs)
    for warning in found:
        entry = CATALOGUE[warning.code]
        assert (warning.effect, warning.title, warning.sources) == (entry.effect, entry.title, entry.sources)
        assert warning.detail.endswith(".")
        assert warning.cost >= 0
        assert not re.search(r"£-|-£|  |\bNone\b", warning.detail)
        assert has_place(SCHEMA, warning.path), warning.path
    places = [(warning.code, warning.path, warning.tax_year) for warning in found]
    assert len(set(places)) == len(places)


@pytest.mark.parametrize("body", ALL_CASES)
def test_a_figure_that_is_told_is_that_of_the_tax_year(body: dict[str, Any]) -> None:
    """Under the name of a statutory figure stands the value that /v1/tax-years gives for the year, and no other; and no
    sentence tells an amount that this does not see."""
    for warning in found_in(body):
        assert figures_that_differ(warning) == [], warning.code
        assert amounts_not_told(warning) == set(), warning.code


def test_the_checks_of_figures_see_a_wrong_one() -> None:
    (found,) = [one for one in found_in(request(w("small_pot", 10_001))) if one.code == "small_pot_above_limit"]
    assert (figures_that_differ(found), amounts_not_told(found)) == ([], set())
    wrong = found._replace(money={**found.money, "small_pot_limit": 1_000_100})
    assert (figures_that_differ(wrong), amounts_not_told(wrong)) == (["small_pot_limit"], {"£10,000"})


# Order, repetition, more facts


@st.composite
def households(draw: Any) -> dict[str, Any]:
    """A couple or one person with several withdrawals that a pension can bear, and some facts."""
    today = draw(st.sampled_from(("2020-06-01", "2023-06-01", "2026-06-01", "2027-06-01")))
    start = date.fromisoformat(today)

    def day(most: int = 1_000) -> str:
        return (start + timedelta(days=draw(st.integers(0, most)))).isoformat()

    def person() -> dict[str, Any]:
        methods = st.lists(st.sampled_from(METHODS), max_size=3)
        return {
            "date_of_birth": draw(
                st.sampled_from(("1945-03-01", "1952-06-01", "1961-01-06", "1972-01-01", "1976-01-01"))
            ),
            "tax_residence": draw(st.sampled_from(("england", "scotland"))),
            "income": income(
                employment=draw(st.sampled_from((0, 12_000, 49_000, 99_000))),
                state_pension=draw(st.sampled_from((0, 12_571))),
                savings_interest=draw(st.sampled_from((0, 1_200))),
            ),
            "pension": {"uncrystallised": 500_000, "drawdown": draw(st.sampled_from((0, 300_000, 300_000)))},
            "withdrawals": [
                w(method, draw(st.sampled_from((0, 900, 9_000, 60_000))), day()) for method in draw(methods)
            ],
        }

    people = [person() for _ in range(draw(st.integers(1, 2)))]
    return {"date": today, "people": people}


FACTS: dict[str, tuple[Any, ...]] = {
    "cash": (500, 15_500, 300_000),
    "deposit_firms": (1, 3),
    "contributions": ([], [saved(21_000, "2026-08-01")], [saved(70_000, "2027-08-01", payer="employer")]),
    "usual_contributions": (0, 12_000),
    "contribution_increase_planned": (True, False),
    "lump_sums_in_last_12_months": (8_000,),
    "carry_forward": (0, 20_000),
    "saves_in_other_schemes": (True, False),
    "tax_free_received_before_6_april_2024": (0, 200_000),
    "benefits": (
        {},
        {"universal_credit": True},
        {"pension_credit": True, "care_support": True},
        {"housing_benefit": True},
    ),
    "gifts_planned": (0, 500),
    "student_loans": ({}, {"plan_1": True, "postgraduate": True}),
    "children": (0, 2),
    "child_benefit": (0, 2_000),
    "tax_free_childcare": (0, 2_000),
    "child_has_maintenance_loan": (True, False),
    "self_assessment": (True, False),
    "ill_health": ("none", "unable_to_work", "life_expectancy_under_a_year"),
    "uk_resident": (True, False),
    "crown_employee_abroad": (True, False),
    "inherited_pension": ({"scheme_knew_on": "2019-01-01", "died_before_75": True},),
    "guidance_taken": (True, False),
    "regulated_adviser": (True, False),
    "unexpected_contact": (True, False),
    "isa.value": (0, 40_000),
    "isa.subscribed_this_year": (0, 15_000),
    "isa.flexible": (True, False),
    "subscriptions": ([into_isa(22_000, "2028-01-01", cash_isa=True), into_isa(3_000, "2028-02-01")],),
    "lump_sum_allowance_used": (0,),
    "lifetime_allowance_used": (0.4, 1),
    "flexibly_accessed": (True,),
    "pension.safeguarded_benefits": (0, 40_000),
    "pension.guaranteed_annuity_rate": (True, False),
    "pension.protected_tax_free_share": (0.3,),
    "pension.exit_charge": (0, 700),
    "employer_contributions": (0, 3_000),
    "pension.scheme_kind": ("personal", "occupational"),
    "small_pots_taken": (0, 3),
    "pension.transfer_planned": (True, False),
    "pension.transfer_flag": ("none", "amber", "red"),
    "pension.nomination": ("none", "made"),
    "pension.nomination_reviewed_on": ("2020-01-01",),
}
"""Facts a request may leave out. Not those whose absence says that nothing is held which would permit more: a protected
pension age, protected lump sum allowances, and money taken out of an ISA that may be put back."""

AUTHORITIES = {
    # FA 2004 s.165, pension rule 1: the ill-health condition permits payment at any age.
    "ill_health": ("below_minimum_pension_age",),
    # Sch.36 paras 31-34: a protected lump sum; with it more is paid, which changes what is usual of it.
    "pension.protected_tax_free_share": ("lump_sum_above_permitted_maximum", "recycling_rule_applies"),
}
"""The facts that are themselves an authority for a payment, and what they permit. A protected pension age and protected
allowances are others; see ``FACTS``."""

facts = st.dictionaries(st.sampled_from(sorted(FACTS)), st.integers(0, 5), max_size=14)
ESTATES = (
    None,
    {"home": 400_000},
    {
        "home": 2_100_000,
        "home_to_descendants": True,
        "nil_rate_band_brought_forward": 0,
        "residence_nil_rate_band_brought_forward": 0,
    },
    {"home": 310_000, "first_death": "to_spouse"},
)


def with_facts(body: dict[str, Any], chosen: dict[str, int], estate: dict[str, Any] | None = None) -> dict[str, Any]:
    """A request for people whose facts are given by name, with more of the first person."""
    whole = copy.deepcopy(body)
    for name, number in chosen.items():
        value: Any = FACTS[name][number % len(FACTS[name])]
        for key in reversed(name.split(".")):
            value = {key: value}
        whole["people"][0] = merged(whole["people"][0], value)
    return request_of(whole["date"], whole["people"], estate)


def told(warnings: list[ClientWarning]) -> Counter[tuple[Any, ...]]:
    """Warnings without their places and order, as far as the order of a request decides those."""
    return Counter(
        (one.code, one.detail, tuple(one.money.items()), one.cost, one.tax_year, one.standing) for one in warnings
    )


bounded = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@bounded
@given(households(), facts, st.sampled_from(ESTATES), st.randoms(use_true_random=False))
def test_the_order_of_withdrawals_in_a_request_is_irrelevant(
    body: dict[str, Any], chosen: dict[str, int], estate: dict[str, Any] | None, random: Any
) -> None:
    whole = with_facts(body, chosen, estate)
    other = copy.deepcopy(whole)
    random.shuffle(other.get("withdrawals", []))
    random.shuffle(other.get("isa_subscriptions", []))
    for person in other["household"]["people"]:
        random.shuffle(person.get("contributions", []))
    try:
        found = found_in(whole)
    except RuleViolation:
        with pytest.raises(RuleViolation):
            found_in(other)
        return
    assert told(found_in(other)) == told(found)
    assert found_in(whole) == found


@bounded
@given(households(), facts, facts, st.sampled_from(ESTATES))
def test_only_an_authority_removes_what_is_not_permitted(
    body: dict[str, Any], known: dict[str, int], more: dict[str, int], estate: dict[str, Any] | None
) -> None:
    few, many = with_facts(body, known), with_facts(body, {**more, **known}, estate)
    try:
        before, after = found_in(few), found_in(many)
    except RuleViolation:
        return
    places = {(one.code, one.path) for one in after}
    removed = {one.code for one in before if one.effect == "not_permitted" and (one.code, one.path) not in places}
    assert removed <= {code for fact in more for code in AUTHORITIES.get(fact, ())}
    for warning in after:
        assert has_place(SCHEMA, warning.path)
        assert (figures_that_differ(warning), amounts_not_told(warning)) == ([], set())
        assert not re.search(r"£-|-£|\bNone\b", warning.detail)


# What one answer says does not contradict itself


OF_THE_HOUSEHOLD = frozenset(
    (
        "universal_credit_reduced", "universal_credit_ends", "pension_credit_reduced", "housing_benefit_reduced",
        "housing_benefit_ends", "benefits_not_given", "creditors_can_reach_cash",
        "withdrawal_enters_the_estate", "pension_counts_in_the_estate", "pension_counts_later", "estate_not_given",
        "estate_facts_decide", "spouse_exemption_not_given", "spouse_exemption_postpones", "residence_band_tapered",
    )
)  # fmt: skip
"""What is about both together: income, capital and an estate that are counted together, debts, and figures of the law."""

TO_CLAIM_BACK = frozenset(("payroll_takes_more_than_is_due",))
STILL_TO_PAY = frozenset(("payroll_takes_less_than_is_due", "state_pension_untaxed_at_source"))

OF_A_PERMITTED_PAYMENT = (
    TO_CLAIM_BACK
    | STILL_TO_PAY
    | {
        "drawdown_under_new_minimum_pension_age",
        "access_closes_again",
        "protected_pension_age_relied_on",
        "money_purchase_annual_allowance_triggered",
        "recycling_rule_applies",
        "recycling_charges",
        "recycling_may_apply",
    }
)
"""What can be true only of a payment that is permitted."""

OPPOSITES = (
    # Of one person's tax year.
    (TO_CLAIM_BACK, STILL_TO_PAY),
    ({"isa_limit_exceeded"}, {"isa_flexibility_not_given", "flexible_isa_replacement"}),
    ({"cash_isa_limit_exceeded"}, {"cash_isa_limit_depends_on_age"}),
    ({"recycling_rule_applies"}, {"recycling_may_apply", "usual_contributions_not_given"}),
)
"""Warnings of which one says the opposite of the other."""

ONE_CHARGE = (
    {"annual_allowance_charge", "annual_allowance_charge_without_carry_forward"},
    {"tax_charges", "tax_charges_if_planned"},
    {"child_benefit_charge"},
)
"""The figures that tell one charge."""


@bounded
@given(households(), facts, st.sampled_from(ESTATES), st.booleans())
def test_no_answer_contradicts_itself(
    body: dict[str, Any], known: dict[str, int], estate: dict[str, Any] | None, named: bool
) -> None:
    """Claim back and still to pay, permitted and not permitted, two amounts for one charge; and of two people, each warning
    about one says which in its data and in its words."""
    whole = with_facts(body, known, estate)
    people = whole["household"]["people"]
    names = ["Wren", "Tamar"] if named else ["the first person", "the second person"]
    if named:
        for one, name in zip(people, names, strict=False):
            one["name"] = name
    try:
        found = found_in(whole)
    except RuleViolation:
        return
    for warning in found:
        if len(people) == 2:
            assert (warning.person is None) == (warning.code in OF_THE_HOUSEHOLD), warning.code
            if warning.person is not None:
                assert names[warning.person] in warning.detail.replace("The ", "the "), warning.code
    by_person_and_year: dict[Any, set[str]] = {}
    charges: dict[Any, set[int]] = {}
    for warning in found:
        by_person_and_year.setdefault((warning.person, warning.tax_year), set()).add(warning.code)
        for number, same in enumerate(ONE_CHARGE):
            told = {amount for name, amount in warning.money.items() if name in same}
            # Each unauthorised payment is charged by itself.
            place = warning.path if "tax_charges" in same else ()
            charges.setdefault((number, warning.person, warning.tax_year, place), set()).update(told)
    for codes in by_person_and_year.values():
        for some, others in OPPOSITES:
            assert not (codes & some and codes & others), codes
    for key, amounts in charges.items():
        assert len(amounts) <= 1, key
    small = {(one.path[:2], one.code) for one in found if one.code.startswith("small_pot")}
    for place in {place for place, _ in small}:
        assert not {(place, "small_pot_above_limit"), (place, "small_pot_must_end_the_arrangement")} <= small
    refused = {one.path for one in found if one.code == "below_minimum_pension_age"}
    for person in range(len(people)):
        theirs = {("withdrawals", j) for j, one in enumerate(whole.get("withdrawals", ())) if one["person"] == person}
        if theirs and theirs <= refused:
            assert not {one.code for one in found if one.person == person} & OF_A_PERMITTED_PAYMENT


# Published examples


def test_recycling_of_a_lump_sum_paid_straight_back_in() -> None:
    """HMRC PTM133850, example 1: contributions of 32,500, and the lump sum of 25,000 becomes an unauthorised payment."""
    body = request(
        w("pcls", 25_000),
        date_of_birth="1969-01-01",
        pension={"uncrystallised": 100_000},
        income=income(employment=75_000),
        contributions=[saved(7_500, "2026-07-01"), saved(25_000, "2026-09-02")],
        usual_contributions=7_500,
        contribution_increase_planned=True,
    )
    found = by_code(body)["recycling_rule_applies"]
    assert found.effect == "not_permitted"
    assert found.money["contributions_in_recycling_window"] == 3_250_000
    assert found.money["contributions_above_usual"] == 2_500_000
    assert found.money["increase_threshold_by_lump_sums"] == 750_000
    assert found.money["unauthorised_payment"] == 2_500_000


def test_the_charge_of_an_example_of_the_annual_allowance() -> None:
    """By an open tax and benefit model's test of 2026-27: 95,000 after 5,000 of net pay, 80,000 of defined benefit input,
    nothing carried forward: 20,000 above the allowance, charged 8,000."""
    body = request(
        income=income(employment=95_000), contributions=[saved(80_000, saving="defined_benefit")], carry_forward=0
    )
    found = by_code(body)["annual_allowance_exceeded"]
    assert found.money["above_annual_allowance_and_carry_forward"] == 2_000_000
    assert found.money["annual_allowance_charge"] == found.cost == 800_000


def test_the_allowance_of_an_example_with_employers_contributions() -> None:
    """The same model's test of 2024-25: 210,000 of pay and 80,000 from the employer leave an allowance of 45,000."""
    body = request(
        date="2024-06-01",
        income=income(employment=210_000),
        contributions=[saved(80_000, "2024-07-01", payer="employer")],
        carry_forward=0,
    )
    found = by_code(body)["annual_allowance_exceeded"]
    assert found.money["persons_annual_allowance"] == 4_500_000


@pytest.mark.parametrize(
    ("pay", "allowance"), [(260_003, 59_999), (280_000, 50_000), (280_001.50, 50_000), (400_000, 10_000)]
)
def test_the_tapered_allowance_of_published_tests(pay: float, allowance: int) -> None:
    """Finance Act 2004 s.228ZA by the same model's tests of 2024-25; the last is the minimum."""
    body = request(
        date="2024-06-01", income=income(employment=pay), contributions=[saved(70_000, "2024-07-01")], carry_forward=0
    )
    assert by_code(body)["annual_allowance_exceeded"].money["persons_annual_allowance"] == allowance * 100


@pytest.mark.parametrize(("flexible", "left"), [(True, 13_000), (False, 10_000)])
def test_what_may_be_put_back_into_an_isa(flexible: bool, left: int) -> None:
    """gov.uk, Individual Savings Accounts: of 20,000, 10,000 is paid in and 3,000 taken out."""
    facts_of_isa = {"subscribed_this_year": 10_000, "withdrawn_this_year": 3_000, "flexible": flexible}
    body = request(cash=50_000, isa=facts_of_isa, subscriptions=[into_isa(20_000)])
    assert by_code(body)["isa_limit_exceeded"].money["isa_allowance_left"] == left * 100


def test_the_rest_of_the_cash_isa_limit() -> None:
    """Budget 2025: 12,000 of cash within 20,000; 8,000 is left for other ISAs."""
    planned = [into_isa(12_000, "2027-10-01", cash_isa=True), into_isa(8_000, "2027-10-01")]
    body = request(date="2027-06-01", date_of_birth="1970-01-01", cash=50_000, subscriptions=planned)
    assert not {"isa_limit_exceeded", "cash_isa_limit_exceeded"} & set(by_code(body))


@pytest.mark.parametrize(
    ("amount", "charge"),
    [
        # Finance Act 2004 ss.208-213: 40%, and 55% from a quarter of the fund on.
        (99_999.99, 39_999.99),
        (100_000, 55_000),
    ],
)
def test_the_charges_on_an_unauthorised_payment(amount: float, charge: float) -> None:
    body = request(w("ufpls", amount), date_of_birth="1980-01-01", pension={"uncrystallised": 400_000, "drawdown": 0})
    assert by_code(body)["unauthorised_payment_charges"].cost == round(charge * 100)


def test_what_a_band_costs() -> None:
    """10,000 above 50,270 at 40% instead of 20%: 2,000 (Finance Act 2026 s.2)."""
    found = by_code(request(w("drawdown", 30_270), income=income(employment=30_000)))["higher_rate_entered"]
    assert (found.money["taxed_in_the_band"], found.cost) == (1_000_000, 200_000)


def test_what_the_loss_of_the_allowance_costs() -> None:
    """110,000 of income: 5,000 of the allowance lost, at 40% (Income Tax Act 2007 s.35)."""
    found = by_code(request(w("drawdown", 50_000), income=income(employment=60_000)))["personal_allowance_withdrawn"]
    assert (found.money["personal_allowance_lost"], found.cost) == (500_000, 200_000)


def test_what_a_student_loan_costs() -> None:
    """9% of 10,000 above 29,385 (SI 2009/470)."""
    body = request(w("drawdown", 10_000), income=income(employment=29_385), student_loans={"plan_2": True})
    assert by_code(body)["student_loan_repayment"].cost == 90_000


def test_what_capital_costs() -> None:
    """Universal Credit Regulations 2013 reg.72: 4.35 a month for each 250 or part above 6,000: 6,000.01 and 6,250.01;
    Pension Credit: 1 a week for each 500 or part above 10,000."""
    for cash, monthly in ((5_000.01, 435), (5_250, 435), (5_250.01, 870)):
        body = request(w("pcls", 1_000), benefits={"universal_credit": True}, cash=cash)
        assert by_code(body)["universal_credit_reduced"].money["universal_credit_lost_a_month"] == monthly
    body = request(w("pcls", 1_000), benefits={"pension_credit": True}, cash=9_500.01)
    assert by_code(body)["pension_credit_reduced"].money["pension_credit_lost_a_week"] == 200


def test_what_the_estate_costs() -> None:
    """40% of what is over 325,000 (Inheritance Tax Act 1984 Sch.1): 10,000 of it by the pension in 2027-28. The taper
    takes 50,000 of the residence band at 2,100,000: 20,000 of tax (s.8D(5))."""
    estate = {
        "home": 235_000,
        "home_to_descendants": False,
        "nil_rate_band_brought_forward": 0,
        "residence_nil_rate_band_brought_forward": 0,
        "first_death": "to_beneficiaries",
    }
    body = request(date="2027-06-01", pension={"uncrystallised": 100_000, "drawdown": 0}, estate=estate)
    assert by_code(body)["pension_counts_in_the_estate"].cost == 400_000
    large = {**estate, "home": 2_000_000, "home_to_descendants": True}
    body = request(date="2027-06-01", pension={"uncrystallised": 100_000, "drawdown": 0}, estate=large)
    assert by_code(body)["residence_band_tapered"].money["residence_band_lost"] == 5_000_000
    assert by_code(body)["residence_band_tapered"].cost == 2_000_000


# The same request in four tax years


REGIMES = {
    "2020-06-01": {
        "lifetime_allowance_exceeded", "additional_rate_entered", "personal_allowance_withdrawn",
        "money_purchase_annual_allowance_triggered",
    },
    "2023-06-01": {
        "lifetime_allowance_exceeded", "additional_rate_entered", "personal_allowance_withdrawn",
        "money_purchase_annual_allowance_triggered",
    },
    "2026-06-01": {
        "additional_rate_entered", "personal_allowance_withdrawn",
        "money_purchase_annual_allowance_triggered", "withdrawal_enters_the_estate",
    },
    "2027-06-01": {
        "additional_rate_entered", "personal_allowance_withdrawn",
        "money_purchase_annual_allowance_triggered", "pension_counts_in_the_estate",
    },
}  # fmt: skip


@pytest.mark.parametrize("today", REGIMES)
def test_the_same_request_tells_what_is_true_in_its_tax_year(today: str) -> None:
    """300,000 of a pot of 900,000, 80% of the lifetime allowance used: excess taxed at 55% in 2020-21, as income in 2023-24,
    no such thing from 2024-25; the estate is over its bands."""
    facts_of_estate = {
        "home_to_descendants": False,
        "nil_rate_band_brought_forward": 0,
        "residence_nil_rate_band_brought_forward": 0,
        "first_death": "to_beneficiaries",
    }
    body = request(
        w("ufpls", 300_000, f"{today[:4]}-09-01"),
        date=today,
        pension={"uncrystallised": 900_000, "drawdown": 0},
        lifetime_allowance_used=0.8,
        income=income(employment=30_000),
        children=0,
        estate={"home": 325_000 if today > "2024" else 0, **facts_of_estate},
    )
    found = found_in(body)
    told = {one.code for one in found if one.effect == "costs" or (one.severity == "on_death" and one.cost)}
    assert told == REGIMES[today]
    if today < "2024":
        (excess,) = [one for one in found if one.code == "lifetime_allowance_exceeded"]
        # 300,000 less 20% of 1,073,100.
        assert excess.money["above_lifetime_allowance"] == 8_538_000
        assert excess.cost == (4_695_900 if today < "2023" else 0)


# Quiet


def test_a_plain_small_permitted_withdrawal_says_next_to_nothing() -> None:
    """Retired, drawing before, everything that matters given."""
    body = request(
        w("drawdown", 3_000),
        income=income(state_pension=11_000, defined_benefit_pension=8_000),
        pension={"uncrystallised": 0, "drawdown": 60_000},
        flexibly_accessed=True,
        cash=5_000,
        isa={"value": 20_000},
        subscriptions=[into_isa(2_500)],
        estate={
            "home": 250_000,
            "home_to_descendants": True,
            "nil_rate_band_brought_forward": 0,
            "residence_nil_rate_band_brought_forward": 0,
            "first_death": "to_spouse",
        },
    )
    assert found_in(body) == []


def test_nothing_asked_nothing_said() -> None:
    assert found_in(request(pension={"uncrystallised": 50_000, "drawdown": 0})) == []


HOUSEHOLDS: dict[str, tuple[dict[str, Any], dict[str, int]]] = {
    "retired, a first small UFPLS": (
        request(
            w("ufpls", 8_000),
            date_of_birth="1958-01-01",
            income=income(state_pension=12_000, defined_benefit_pension=3_000),
            pension={"uncrystallised": 80_000, "drawdown": 0},
        ),
        {"check": 1},
    ),
    "working at 58, tax-free cash into an ISA": (
        request(
            w("pcls", 20_000),
            date_of_birth="1968-01-01",
            income=income(employment=45_000),
            pension={"uncrystallised": 180_000, "drawdown": 0},
            subscriptions=[into_isa(20_000)],
        ),
        {"check": 1},
    ),
    "the same, with what was asked for given": (
        request(
            w("pcls", 20_000),
            date_of_birth="1968-01-01",
            income=income(employment=45_000),
            pension={"uncrystallised": 180_000, "drawdown": 0, "safeguarded_benefits": 0},
            subscriptions=[into_isa(20_000)],
            contributions=[saved(3_600)],
            usual_contributions=3_600,
            guidance_taken=True,
        ),
        {},
    ),
    "couple, one draws up to the higher rate": (
        request(
            w("drawdown", 20_000),
            date_of_birth="1960-01-01",
            income=income(state_pension=11_500, annuity=10_000),
            pension={"uncrystallised": 0, "drawdown": 250_000},
            flexibly_accessed=True,
            partner={"date_of_birth": "1961-06-01", "income": income(employment=16_000)},
        ),
        {"costs": 1},
    ),
    "higher earner with savings": (
        request(
            w("ufpls", 40_000),
            date_of_birth="1965-01-01",
            income=income(employment=40_000, savings_interest=900),
            pension={"uncrystallised": 300_000, "drawdown": 0},
            regulated_adviser=True,
        ),
        {"costs": 3, "check": 2},
    ),
    "large pot, whole of it in drawdown": (
        request(
            w("pcls", 200_000),
            date_of_birth="1963-01-01",
            income=income(defined_benefit_pension=25_000),
            pension={"uncrystallised": 800_000, "drawdown": 0, "safeguarded_benefits": 0},
            guidance_taken=True,
            estate={
                "home": 600_000,
                "home_to_descendants": True,
                "nil_rate_band_brought_forward": 1,
                "residence_nil_rate_band_brought_forward": 1,
                "first_death": "to_beneficiaries",
            },
        ),
        {"check": 3},
    ),
    "low income on Pension Credit": (
        request(
            w("small_pot", 4_000),
            date_of_birth="1955-01-01",
            income=income(state_pension=9_000),
            pension={"uncrystallised": 4_000, "drawdown": 0},
            benefits={"pension_credit": True, "council_tax_support": True},
            cash=9_000,
        ),
        {"costs": 1, "check": 3},
    ),
    "too young": (
        request(w("ufpls", 10_000), date_of_birth="1980-01-01", pension={"uncrystallised": 60_000, "drawdown": 0}),
        {"not_permitted": 1, "costs": 1, "check": 1},
    ),
    "two payments over two tax years": (
        request(
            w("ufpls", 16_760, "2026-12-01"),
            w("ufpls", 16_760, "2027-04-06"),
            date_of_birth="1964-01-01",
            pension={"uncrystallised": 150_000, "drawdown": 0, "guaranteed_annuity_rate": False},
            cash=20_000,
            subscriptions=[into_isa(16_760, "2026-12-05"), into_isa(16_760, "2027-04-10")],
            guidance_taken=True,
        ),
        {"costs": 1, "check": 1},
    ),
}


@pytest.mark.parametrize("name", HOUSEHOLDS)
def test_how_much_ordinary_households_are_told(name: str) -> None:
    """Recorded counts by effect: a change that makes ordinary people hear more should be seen."""
    body, counts = HOUSEHOLDS[name]
    found = heard_in(body)
    assert Counter(one.effect for one in found) == counts, [one.code for one in found]


def test_ordinary_households_are_told_little() -> None:
    numbers = [len(heard_in(body)) for body, _ in HOUSEHOLDS.values()]
    assert max(numbers) <= 5
    assert sum(numbers) <= 3 * len(numbers)
