"""For each calculation a body that says everything its operation can be told, and what its values are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Question:
    """A body that says everything its operation can be told, and the pointers of its values by what they are."""

    url: str
    full: dict[str, Any]
    money: tuple[str, ...]
    dates: tuple[str, ...]
    booleans: tuple[str, ...]
    words: tuple[str, ...]
    whole_numbers: tuple[str, ...]
    rates: tuple[str, ...]
    growth_rates: tuple[str, ...]
    objects: tuple[str, ...]
    lists: tuple[str, ...]
    required: tuple[str, ...]
    elsewhere: tuple[str, ...]
    """Values that no list above names, because another of their kind stands there already."""


HOUSEHOLD: dict[str, Any] = {
    "people": [
        {
            "name": "Wren",
            "date_of_birth": "1966-05-14",
            "tax_residence": "england",
            "income": [
                {
                    "kind": "employment",
                    "amount": 30000,
                    "from": "2020-01-01",
                    "to": "2027-01-31",
                    "increases": "none",
                },
                {"kind": "state_pension", "share_of_full_rate": 1},
            ],
            "contributions": [
                {
                    "amount": 100,
                    "date": "2026-07-01",
                    "payer": "self",
                    "relief": "relief_at_source",
                    "saving": "money_purchase",
                    "pension": 0,
                },
                {"yearly": 300, "from": "2026-04-06", "to": "2027-01-31", "payer": "employer"},
            ],
            "gift_aid_donations": 0,
            "marriage_allowance": "none",
            "blind_persons_allowance": False,
            "child_benefit": 0,
            "pensions": [
                {
                    "name": "old works scheme",
                    "uncrystallised": 400000,
                    "drawdown": 20000,
                    "protected_pension_age": 55,
                    "protected_tax_free_share": 0.3,
                    "safeguarded_benefits": 0,
                    "guaranteed_annuity_rate": False,
                    "exit_charge": 0,
                    "scheme_kind": "personal",
                    "transfer_planned": False,
                    "transfer_flag": "none",
                    "nomination": "made",
                    "nomination_reviewed_on": "2025-12-01",
                    "growth": 0.04,
                    "yearly_charge": 0.01,
                }
            ],
            "lump_sum_allowances": {
                "lump_sum_allowance_used": 0,
                "lump_sum_and_death_benefit_allowance_used": 0,
                "lifetime_allowance_used": 0,
                "protected_lump_sum_allowance": 375000,
                "protected_lump_sum_and_death_benefit_allowance": 1500000,
                "tax_free_received_before_6_april_2024": 0,
            },
            "flexibly_accessed": False,
            "isa": {
                "value": 4000,
                "subscribed_this_year": 0,
                "cash_subscribed_this_year": 0,
                "withdrawn_this_year": 0,
                "cash_isa": False,
                "flexible": False,
            },
            "cash": 4000,
            "withdrawal_cap": 1000000,
            "already_this_tax_year": {
                "income": [{"kind": "employment", "amount": 0}],
                "taxable_withdrawals": 0,
                "tax_free_withdrawals": 0,
            },
            "circumstances": {
                "deposit_firms": 1,
                "usual_contributions": 100,
                "contribution_increase_planned": False,
                "lump_sums_in_last_12_months": 0,
                "carry_forward": 0,
                "saves_in_other_schemes": False,
                "small_pots_taken": 0,
                "benefits": {
                    "universal_credit": False,
                    "pension_credit": False,
                    "housing_benefit": False,
                    "council_tax_support": False,
                    "care_support": False,
                    "new_style_employment_and_support_allowance": False,
                    "new_style_jobseekers_allowance": False,
                },
                "gifts_planned": 0,
                "student_loans": {
                    "plan_1": False,
                    "plan_2": False,
                    "plan_4": False,
                    "plan_5": False,
                    "postgraduate": False,
                },
                "children": 0,
                "tax_free_childcare": 0,
                "child_has_maintenance_loan": False,
                "self_assessment": False,
                "ill_health": "none",
                "uk_resident": True,
                "crown_employee_abroad": False,
                "inherited_pension": {"scheme_knew_on": "2025-01-01", "died_before_75": True},
                "guidance_taken": True,
                "regulated_adviser": True,
                "unexpected_contact": False,
            },
        },
        {"date_of_birth": "1967-02-20", "tax_residence": "wales"},
    ],
    "minimum_cash": 0,
    "spending": [{"amount": 4000, "from": "2027-04-06", "to": "2028-04-05", "increases": 0.01}],
    "estate": {
        "home": 400000,
        "home_to_descendants": True,
        "other_assets": 4000,
        "debts": 4000,
        "increases": 0.01,
        "first_person_share": 0.5,
        "charity_share": 0.1,
        "lifetime_gifts": [{"date": "2025-12-01", "amount": 4000, "person": 1}],
        "nil_rate_band_brought_forward": 0,
        "residence_nil_rate_band_brought_forward": 0,
        "spouses": True,
        "first_death": "to_spouse",
        "home_given_up": {"value": 300000, "residence_nil_rate_band": 150000, "rest_to_descendants": True},
        "pension_paid_as": "lump_sum",
        "pension_paid_within_two_years": True,
        "pension_to_non_qualifying_person": False,
        "survivor_spending": 0.7,
    },
}
"""A household of which everything is said that can be said: the same in every request."""


def _of_the_first(*names: str) -> tuple[str, ...]:
    return tuple(f"/household/people/0/{name}" for name in names)


def _of_the_estate(*names: str) -> tuple[str, ...]:
    return tuple(f"/household/estate/{name}" for name in names)


_MONEY = (
    *_of_the_first(
        "income/0/amount",
        "contributions/0/amount",
        "contributions/1/yearly",
        "gift_aid_donations",
        "child_benefit",
        "pensions/0/uncrystallised",
        "pensions/0/drawdown",
        "pensions/0/safeguarded_benefits",
        "pensions/0/exit_charge",
        "lump_sum_allowances/lump_sum_allowance_used",
        "lump_sum_allowances/lump_sum_and_death_benefit_allowance_used",
        "lump_sum_allowances/protected_lump_sum_allowance",
        "lump_sum_allowances/protected_lump_sum_and_death_benefit_allowance",
        "lump_sum_allowances/tax_free_received_before_6_april_2024",
        "isa/value",
        "isa/subscribed_this_year",
        "isa/cash_subscribed_this_year",
        "isa/withdrawn_this_year",
        "cash",
        "withdrawal_cap",
        "already_this_tax_year/income/0/amount",
        "already_this_tax_year/taxable_withdrawals",
        "already_this_tax_year/tax_free_withdrawals",
        "circumstances/usual_contributions",
        "circumstances/lump_sums_in_last_12_months",
        "circumstances/carry_forward",
        "circumstances/gifts_planned",
        "circumstances/tax_free_childcare",
    ),
    "/household/spending/0/amount",
    "/household/minimum_cash",
    *_of_the_estate(
        "home",
        "other_assets",
        "debts",
        "lifetime_gifts/0/amount",
        "home_given_up/value",
        "home_given_up/residence_nil_rate_band",
    ),
)
_DATES = (
    *_of_the_first(
        "date_of_birth",
        "income/0/from",
        "income/0/to",
        "contributions/0/date",
        "contributions/1/from",
        "contributions/1/to",
        "pensions/0/nomination_reviewed_on",
        "circumstances/inherited_pension/scheme_knew_on",
    ),
    "/household/spending/0/from",
    "/household/spending/0/to",
    "/household/estate/lifetime_gifts/0/date",
)
_BOOLEANS = (
    *_of_the_first(
        "blind_persons_allowance",
        "pensions/0/guaranteed_annuity_rate",
        "pensions/0/transfer_planned",
        "flexibly_accessed",
        "isa/cash_isa",
        "isa/flexible",
        "circumstances/contribution_increase_planned",
        "circumstances/saves_in_other_schemes",
        "circumstances/benefits/universal_credit",
        "circumstances/benefits/pension_credit",
        "circumstances/benefits/housing_benefit",
        "circumstances/benefits/council_tax_support",
        "circumstances/benefits/care_support",
        "circumstances/benefits/new_style_employment_and_support_allowance",
        "circumstances/benefits/new_style_jobseekers_allowance",
        "circumstances/child_has_maintenance_loan",
        "circumstances/student_loans/plan_1",
        "circumstances/student_loans/plan_2",
        "circumstances/student_loans/plan_4",
        "circumstances/student_loans/plan_5",
        "circumstances/student_loans/postgraduate",
        "circumstances/self_assessment",
        "circumstances/uk_resident",
        "circumstances/crown_employee_abroad",
        "circumstances/inherited_pension/died_before_75",
        "circumstances/guidance_taken",
        "circumstances/regulated_adviser",
        "circumstances/unexpected_contact",
    ),
    *_of_the_estate(
        "home_to_descendants",
        "spouses",
        "home_given_up/rest_to_descendants",
        "pension_paid_within_two_years",
        "pension_to_non_qualifying_person",
    ),
)
_WORDS = (
    *_of_the_first(
        "tax_residence",
        "already_this_tax_year/income/0/kind",
        "income/0/kind",
        "contributions/0/payer",
        "contributions/0/relief",
        "contributions/0/saving",
        "marriage_allowance",
        "pensions/0/scheme_kind",
        "pensions/0/transfer_flag",
        "pensions/0/nomination",
        "circumstances/ill_health",
    ),
    *_of_the_estate("first_death", "pension_paid_as"),
)
_WHOLE_NUMBERS = (
    *_of_the_first(
        "contributions/0/pension",
        "pensions/0/protected_pension_age",
        "circumstances/deposit_firms",
    ),
    "/household/estate/lifetime_gifts/0/person",
)
_RATES = (
    *_of_the_first(
        "income/0/increases",
        "income/1/share_of_full_rate",
        "pensions/0/protected_tax_free_share",
        "pensions/0/yearly_charge",
        "lump_sum_allowances/lifetime_allowance_used",
    ),
    "/household/spending/0/increases",
    *_of_the_estate(
        "increases",
        "first_person_share",
        "charity_share",
        "nil_rate_band_brought_forward",
        "residence_nil_rate_band_brought_forward",
        "survivor_spending",
    ),
)
_GROWTH_RATES = _of_the_first("pensions/0/growth")
_OBJECTS = (
    "/household",
    "/household/people/0",
    *_of_the_first(
        "income/0",
        "contributions/0",
        "pensions/0",
        "lump_sum_allowances",
        "isa",
        "circumstances",
        "circumstances/benefits",
        "circumstances/student_loans",
        "circumstances/inherited_pension",
    ),
    "/household/spending/0",
    "/household/estate",
    "/household/estate/lifetime_gifts/0",
    "/household/estate/home_given_up",
)
_LISTS = (
    "/household/people",
    *_of_the_first("income", "contributions", "pensions"),
    "/household/spending",
    "/household/estate/lifetime_gifts",
)
_REQUIRED = (
    "/household",
    "/household/people",
    *_of_the_first(
        "date_of_birth",
        "tax_residence",
        "already_this_tax_year/income/0/kind",
        "income/0/kind",
        "pensions/0/uncrystallised",
        "circumstances/inherited_pension/scheme_knew_on",
        "circumstances/inherited_pension/died_before_75",
    ),
    "/household/spending/0/amount",
    *_of_the_estate(
        "lifetime_gifts/0/date",
        "lifetime_gifts/0/amount",
        "home_given_up/value",
        "home_given_up/residence_nil_rate_band",
    ),
)
_ELSEWHERE = (
    *_of_the_first(
        "name",
        "income/1/kind",
        "contributions/1/payer",
        "pensions/0/name",
        "circumstances/small_pots_taken",
        "circumstances/children",
    ),
    "/household/people/1/date_of_birth",
    "/household/people/1/tax_residence",
)

WITHDRAWAL = Question(
    url="/v1/withdrawal-tax",
    full={
        "household": HOUSEHOLD,
        "tax_year": "2026-27",
        "withdrawal": {"person": 0, "pension": 0, "method": "ufpls", "amount": 4000, "date": "2026-12-01"},
        "payroll": {"code": "1257L", "basis": "cumulative", "month": 8, "pay_to_date": 0, "tax_to_date": 0},
        "law": "known",
    },
    money=(*_MONEY, "/withdrawal/amount", "/payroll/pay_to_date", "/payroll/tax_to_date"),
    dates=(*_DATES, "/withdrawal/date"),
    booleans=_BOOLEANS,
    words=(*_WORDS, "/law", "/tax_year", "/withdrawal/method", "/payroll/code", "/payroll/basis"),
    whole_numbers=(*_WHOLE_NUMBERS, "/withdrawal/person", "/payroll/month"),
    rates=_RATES,
    growth_rates=_GROWTH_RATES,
    objects=(*_OBJECTS, "/withdrawal", "/payroll"),
    lists=_LISTS,
    required=(
        *_REQUIRED,
        "/tax_year",
        "/withdrawal",
        "/withdrawal/method",
        "/payroll/code",
        "/payroll/basis",
        "/payroll/month",
    ),
    elsewhere=(*_ELSEWHERE, "/withdrawal/pension"),
)
_ASSUMED = {
    "pension_growth": 0.04,
    "isa_growth": 0.04,
    "cash_interest": 0.02,
    "price_inflation": 0.02,
    "thresholds_after_freeze": "frozen",
    "tax_on_remaining_pension": {"rate": 0.2},
    "spending_met": "start",
    "scenarios": {"low": {"pension_growth": 0, "isa_growth": 0, "cash_interest": 0}},
}
_ASSUMED_RATES = (
    "/assumptions/cash_interest",
    "/assumptions/price_inflation",
    "/assumptions/tax_on_remaining_pension/rate",
    "/assumptions/scenarios/low/cash_interest",
)
_ASSUMED_GROWTH = (
    "/assumptions/pension_growth",
    "/assumptions/isa_growth",
    "/assumptions/scenarios/low/pension_growth",
    "/assumptions/scenarios/low/isa_growth",
)
_ASSUMED_OBJECTS = (
    "/assumptions",
    "/assumptions/tax_on_remaining_pension",
    "/assumptions/scenarios",
    "/assumptions/scenarios/low",
)
_COURSES: dict[str, Any] = {
    "source": "random",
    "seed": 11,
    "number_of_paths": 2,
    "volatility": {"pension_growth": 0.1, "isa_growth": 0.08, "cash_interest": 0.005, "price_inflation": 0.01},
    "correlation": {
        "pension_isa": 0.5,
        "pension_cash": 0.1,
        "pension_prices": 0.1,
        "isa_cash": 0.1,
        "isa_prices": 0.1,
        "cash_prices": 0.5,
    },
}
_COURSES_WORDS = ("/markets/source",)
_COURSES_RATES = ("/markets/volatility/pension_growth",)
_COURSES_OBJECTS = ("/markets", "/markets/volatility", "/markets/correlation")
_COURSES_REQUIRED = ("/markets/source", "/markets/seed", "/markets/volatility")
_COURSES_ELSEWHERE = (
    "/markets/seed",
    "/markets/number_of_paths",
    "/markets/volatility/isa_growth",
    "/markets/volatility/cash_interest",
    "/markets/volatility/price_inflation",
    *(f"/markets/correlation/{pair}" for pair in _COURSES["correlation"]),
)
PLAN = Question(
    url="/v1/allowance-schedule",
    full={
        "household": HOUSEHOLD,
        "start_date": "2026-04-06",
        "end_date": "2028-04-05",
        "aim": {"goal": "personal_allowance"},
        "lump_sums": "with_each_withdrawal",
        "assumptions": _ASSUMED,
        "search": {"effort": "quick"},
        "beneficiary_tax_rate": 0.4,
        "sensitivity": {
            "growth": 0.01,
            "price_inflation": 0.005,
            "tax_rate_on_remaining_pension": 0.05,
            "length_of_life": 3,
        },
        "law": "known",
        "markets": {**_COURSES, "compare": [{"plan": "basic_rate_band", "lump_sums": "never"}]},
    },
    money=_MONEY,
    dates=(*_DATES, "/start_date", "/end_date"),
    booleans=_BOOLEANS,
    words=(
        *_WORDS,
        "/law",
        "/lump_sums",
        "/aim/goal",
        "/assumptions/thresholds_after_freeze",
        "/assumptions/spending_met",
        "/search/effort",
        *_COURSES_WORDS,
        "/markets/compare/0/plan",
        "/markets/compare/0/lump_sums",
    ),
    whole_numbers=(*_WHOLE_NUMBERS, "/sensitivity/length_of_life"),
    rates=(*_RATES, *_ASSUMED_RATES, "/beneficiary_tax_rate", "/sensitivity/growth", *_COURSES_RATES),
    growth_rates=(*_GROWTH_RATES, *_ASSUMED_GROWTH),
    objects=(*_OBJECTS, *_ASSUMED_OBJECTS, "/aim", "/search", "/sensitivity", *_COURSES_OBJECTS, "/markets/compare/0"),
    lists=(*_LISTS, "/markets/compare"),
    required=(
        *_REQUIRED,
        "/start_date",
        "/end_date",
        "/aim",
        "/aim/goal",
        *_COURSES_REQUIRED,
        "/markets/compare/0/plan",
    ),
    elsewhere=(
        *_ELSEWHERE,
        *_COURSES_ELSEWHERE,
        "/sensitivity/price_inflation",
        "/sensitivity/tax_rate_on_remaining_pension",
    ),
)
WARNINGS = Question(
    url="/v1/warnings",
    full={
        "household": HOUSEHOLD,
        "date": "2026-06-01",
        "withdrawals": [{"person": 0, "pension": 0, "method": "ufpls", "amount": 4000, "date": "2026-12-01"}],
        "isa_subscriptions": [{"person": 0, "amount": 3000, "date": "2026-12-05", "cash_isa": False}],
        "law": "known",
    },
    money=(*_MONEY, "/withdrawals/0/amount", "/isa_subscriptions/0/amount"),
    dates=(*_DATES, "/date", "/withdrawals/0/date", "/isa_subscriptions/0/date"),
    booleans=(*_BOOLEANS, "/isa_subscriptions/0/cash_isa"),
    words=(*_WORDS, "/law", "/withdrawals/0/method"),
    whole_numbers=(*_WHOLE_NUMBERS, "/withdrawals/0/person", "/isa_subscriptions/0/person"),
    rates=_RATES,
    growth_rates=_GROWTH_RATES,
    objects=(*_OBJECTS, "/withdrawals/0", "/isa_subscriptions/0"),
    lists=(*_LISTS, "/withdrawals", "/isa_subscriptions"),
    required=(
        *_REQUIRED,
        "/date",
        "/withdrawals/0/method",
        "/withdrawals/0/amount",
        "/withdrawals/0/date",
        "/isa_subscriptions/0/amount",
        "/isa_subscriptions/0/date",
    ),
    elsewhere=(*_ELSEWHERE, "/withdrawals/0/pension"),
)
TIMING = Question(
    url="/v1/lump-sum-timing",
    full={
        "household": HOUSEHOLD,
        "start_date": "2026-04-06",
        "to_age": 63,
        "options": [
            {"lump_sums": "at_age", "age": 61, "aim": {"goal": "spending_only"}},
            {"lump_sums": "phased", "yearly": 4000},
        ],
        "aim": {"goal": "personal_allowance"},
        "deaths": [{"person": 0, "age": 61, "survivor_age": 62}],
        "beneficiary_tax_rate": 0.2,
        "assumptions": _ASSUMED,
        "break_even_growth": {"low": 0, "high": 0.1},
        "sensitivity": {
            "growth": 0.01,
            "price_inflation": 0.005,
            "tax_rate_on_remaining_pension": 0.05,
            "length_of_life": 3,
        },
        "law": "known",
        "markets": _COURSES,
    },
    money=(*_MONEY, "/options/1/yearly"),
    dates=(*_DATES, "/start_date"),
    booleans=_BOOLEANS,
    words=(
        *_WORDS,
        *_COURSES_WORDS,
        "/law",
        "/options/0/lump_sums",
        "/options/0/aim/goal",
        "/aim/goal",
        "/assumptions/thresholds_after_freeze",
        "/assumptions/spending_met",
    ),
    whole_numbers=(
        *_WHOLE_NUMBERS,
        "/to_age",
        "/options/0/age",
        "/deaths/0/person",
        "/deaths/0/age",
        "/deaths/0/survivor_age",
        "/sensitivity/length_of_life",
    ),
    rates=(
        *_RATES,
        *_COURSES_RATES,
        *_ASSUMED_RATES,
        "/beneficiary_tax_rate",
        "/break_even_growth/low",
        "/break_even_growth/high",
        "/sensitivity/growth",
    ),
    growth_rates=(*_GROWTH_RATES, *_ASSUMED_GROWTH),
    objects=(
        *_OBJECTS,
        *_COURSES_OBJECTS,
        *_ASSUMED_OBJECTS,
        "/options/0",
        "/options/0/aim",
        "/aim",
        "/deaths/0",
        "/break_even_growth",
        "/sensitivity",
    ),
    lists=(*_LISTS, "/options", "/deaths"),
    required=(
        *_REQUIRED,
        *_COURSES_REQUIRED,
        "/start_date",
        "/to_age",
        "/options",
        "/options/0/lump_sums",
        "/options/0/aim/goal",
        "/aim/goal",
        "/deaths/0/age",
        "/break_even_growth/low",
        "/break_even_growth/high",
    ),
    elsewhere=(
        *_ELSEWHERE,
        *_COURSES_ELSEWHERE,
        "/options/1/lump_sums",
        "/sensitivity/price_inflation",
        "/sensitivity/tax_rate_on_remaining_pension",
    ),
)

QUESTIONS = (WITHDRAWAL, PLAN, TIMING, WARNINGS)
