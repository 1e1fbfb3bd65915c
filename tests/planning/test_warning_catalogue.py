"""Every warning has a case just inside and one just outside, for each regime it spans: a penny, a day or a fact apart.

Statutory amounts here are typed from the sources named beside them, not read from the figures.
"""

from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from marshmallow import Schema

from service import planning
from service.planning.warnings import access, allowances, benefits, death, income_tax, isas, recycling, rules, scheme
from service.planning.warnings.catalogue import CATALOGUE, in_force
from service.planning.warnings.warning import EFFECTS
from service.schemas.shared import ObjectList, StrictNested
from tests.households import BOOK
from tests.planning import test_schedule_warnings as of_plans
from tests.planning import test_warnings as of_quotes
from tests.planning.warning_requests import SCHEMA, by_code, found_in, income, into_isa, request, saved, w

TOPICS: tuple[ModuleType, ...] = (access, allowances, benefits, death, income_tax, isas, recycling, scheme)
DRAWN = w("drawdown", 1_000)
A_DAY_IN = {"2020-21": "2020-06-01", "2023-24": "2023-06-01", "2026-27": "2026-06-01", "2027-28": "2027-06-01"}
LATER = {"2020-21": "2020-09-01", "2023-24": "2023-09-01", "2026-27": "2026-09-01", "2027-28": "2027-09-01"}
YEARS = tuple(A_DAY_IN)
RED = {"uncrystallised": 200_000, "transfer": "red_flag"}

Case = dict[str, Any]
Pair = tuple[Case, Case]


def drawn(year: str, amount: float, **more: Any) -> Case:
    """Income from drawdown in a tax year."""
    return request(w("drawdown", amount, LATER[year]), date=A_DAY_IN[year], **more)


def each(years: tuple[str, ...], inside: Any, outside: Any) -> list[Pair]:
    """A pair for each tax year, made by functions of it."""
    return [(inside(year), outside(year)) for year in years]


def born(day: str) -> Case:
    return request(DRAWN, date_of_birth=day)


def estate(value: float, **more: bool) -> dict[str, Any]:
    return {"value": value, "home_to_descendants": False, "bands_of_late_spouse": False, "all_to_spouse": False, **more}


ACCESS: dict[str, list[Pair]] = {
    # Finance Act 2004 s.279: 55; Finance Act 2022 s.10: 57 from 6 April 2028.
    "below_minimum_pension_age": [
        (born("1971-09-02"), born("1971-09-01")),
        (
            request(w("drawdown", 1_000, "2020-09-01"), date="2020-06-01", date_of_birth="1965-09-02"),
            request(w("drawdown", 1_000, "2020-09-01"), date="2020-06-01", date_of_birth="1965-09-01"),
        ),
        # Caught between: 56 on 5 April 2028, and 56 still on 6 April, when it is 57.
        (
            request(w("drawdown", 1_000, "2028-04-06"), date_of_birth="1972-01-01"),
            request(w("drawdown", 1_000, "2028-04-05"), date_of_birth="1972-01-01"),
        ),
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-02"),
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-01"),
        ),
        (born("1976-09-01"), request(DRAWN, date_of_birth="1976-09-01", pension={"minimum_pension_age": 50})),
    ],
    "unauthorised_payment_charges": [(born("1971-09-02"), born("1971-09-01"))],
    "ill_health_route": [
        (born("1971-09-02"), born("1971-09-01")),
        (born("1971-09-02"), request(DRAWN, date_of_birth="1971-09-02", ill_health="none")),
    ],
    "access_closes_again": [
        # 57 on 7 April 2028, and on 6 April 2028.
        (born("1971-04-07"), born("1971-04-06")),
        (born("1971-04-07"), request(DRAWN, date_of_birth="1971-04-07", pension={"minimum_pension_age": 55})),
        (born("1971-04-07"), request(DRAWN, date_of_birth="1971-04-07", pension={"uncrystallised": 0})),
        (
            request(w("drawdown", 1_000, "2028-04-05"), date_of_birth="1971-04-07"),
            request(w("drawdown", 1_000, "2028-04-07"), date_of_birth="1971-04-07"),
        ),
    ],
}

WORKS = {"income": income(employment=30_000)}
SAVING: dict[str, list[Pair]] = {
    "money_purchase_annual_allowance_triggered": [
        (request(w("ufpls", 1)), request(w("pcls", 1))),
        (request(w("ufpls", 1)), request(w("small_pot", 1))),
        (request(DRAWN), request(DRAWN, pension={"flexibly_accessed": True})),
        (request(w("pcls_and_drawdown", 4)), request()),
    ],
    "tell_other_schemes": [
        (request(DRAWN, **WORKS), request(DRAWN)),
        (request(DRAWN, saves_in_other_schemes=True), request(DRAWN, saves_in_other_schemes=False, **WORKS)),
        (request(DRAWN, contributions=[saved(1)]), request(DRAWN, contributions=[])),
        (request(DRAWN, relief_at_source_contributions=1), request(DRAWN)),
        (request(DRAWN, **WORKS), request(w("pcls", 1_000), **WORKS)),
    ],
    # Finance Act 2004 s.227ZA: 4,000 to 2022-23, 10,000 since (PTM056540).
    "contributions_above_money_purchase_annual_allowance": [
        *(
            (
                drawn(year, 1_000, contributions=[saved(limit + 0.01, f"20{year[5:]}-01-01")]),
                drawn(year, 1_000, contributions=[saved(limit, f"20{year[5:]}-01-01")]),
            )
            for year, limit in zip(YEARS, (4_000, 10_000, 10_000, 10_000), strict=True)
        ),
        # Saving before the first flexible access is not counted.
        (
            request(DRAWN, contributions=[saved(20_000, "2026-09-02")]),
            request(DRAWN, contributions=[saved(20_000, "2026-09-01")]),
        ),
        (
            request(contributions=[saved(20_000, "2026-09-01")], pension={"flexibly_accessed": True}),
            request(contributions=[saved(20_000, "2026-09-01")]),
        ),
        (
            request(DRAWN, contributions=[saved(20_000)]),
            request(DRAWN, contributions=[saved(20_000, saving="defined_benefit")]),
        ),
    ],
    # Finance Act 2004 s.228ZA, by the tests of an open tax and benefit model: 260,003 and 200,001 leave 59,999.
    "annual_allowance_tapered": [
        (
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[saved(1_000)]),
            request(w("drawdown", 60_001), income=income(employment=200_000), contributions=[saved(1_000)]),
        ),
        # 2020-21: above 240,000 of adjusted income.
        (
            drawn("2020-21", 40_002, income=income(employment=200_000), contributions=[saved(1, "2021-01-01")]),
            drawn("2020-21", 40_001, income=income(employment=200_000), contributions=[saved(1, "2021-01-01")]),
        ),
        (
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[saved(1_000)]),
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[]),
        ),
    ],
    "annual_allowance_exceeded": [
        (
            request(contributions=[saved(60_000.01)], carry_forward=0),
            request(contributions=[saved(60_000)], carry_forward=0),
        ),
        (
            request(contributions=[saved(70_000.01)], carry_forward=10_000),
            request(contributions=[saved(70_000)], carry_forward=10_000),
        ),
        # 40,000 to 2022-23.
        (
            request(date="2020-06-01", contributions=[saved(40_000.01, "2020-07-01")], carry_forward=0),
            request(date="2020-06-01", contributions=[saved(40_000, "2020-07-01")], carry_forward=0),
        ),
        # The same model's: 210,000 of pay and 80,000 from the employer leave 45,000.
        (
            request(
                contributions=[saved(80_000, payer="employer")], carry_forward=34_999, income=income(employment=210_000)
            ),
            request(
                contributions=[saved(80_000, payer="employer")], carry_forward=35_000, income=income(employment=210_000)
            ),
        ),
    ],
    "carry_forward_decides": [
        (request(contributions=[saved(60_000.01)]), request(contributions=[saved(60_000)])),
        (request(contributions=[saved(70_000)]), request(contributions=[saved(70_000)], carry_forward=10_000)),
    ],
    # s.227B: 60,000 less 10,000, and only where more than 10,000 is paid into money purchase saving.
    "defined_benefit_saving_above_alternative_allowance": [
        (
            request(DRAWN, contributions=[saved(10_001), saved(50_000.01, saving="defined_benefit")]),
            request(DRAWN, contributions=[saved(10_001), saved(50_000, saving="defined_benefit")]),
        ),
        (
            request(DRAWN, contributions=[saved(10_000.01), saved(55_000, saving="defined_benefit")]),
            request(DRAWN, contributions=[saved(10_000), saved(55_000, saving="defined_benefit")]),
        ),
    ],
    "contributions_not_given": [
        (request(DRAWN, **WORKS), request(DRAWN, contributions=[], **WORKS)),
        (request(DRAWN, **WORKS), request(DRAWN)),
        (request(w("pcls", 7_500.01), **WORKS), request(w("pcls", 7_500), **WORKS)),
    ],
}

# ITEPA 2003 ss.637P and 637R: 268,275 and 1,073,100; Finance Act 2004 to 2023-24: 1,073,100.
GONE = 268_275
LUMP_SUMS: dict[str, list[Pair]] = {
    "lump_sum_above_permitted_maximum": [
        (request(w("pcls", 50_000.01)), request(w("pcls", 50_000))),
        (
            request(w("pcls", 20_000.01), pension={"lump_sum_allowance_used": GONE - 20_000}),
            request(w("pcls", 20_000), pension={"lump_sum_allowance_used": GONE - 20_000}),
        ),
        (
            request(w("pcls", 50_000.01, "2020-09-01"), date="2020-06-01"),
            request(w("pcls", 50_000, "2020-09-01"), date="2020-06-01"),
        ),
    ],
    "small_pot_above_limit": [(request(w("small_pot", 10_000.01)), request(w("small_pot", 10_000)))],
    "too_many_small_pots": [
        (
            request(w("small_pot", 1_000), pension={"small_pots_taken": 3, "scheme": "personal"}),
            request(w("small_pot", 1_000), pension={"small_pots_taken": 2, "scheme": "personal"}),
        ),
        (
            request(w("small_pot", 1_000), pension={"small_pots_taken": 3, "scheme": "personal"}),
            request(w("small_pot", 1_000), pension={"small_pots_taken": 3, "scheme": "occupational"}),
        ),
    ],
    "small_pots_not_given": [
        (request(w("small_pot", 1_000)), request(w("small_pot", 1_000), pension={"scheme": "occupational"})),
        (
            request(w("small_pot", 1_000), pension={"small_pots_taken": 3}),
            request(w("small_pot", 1_000), pension={"small_pots_taken": 2}),
        ),
    ],
    "small_pot_must_end_the_arrangement": [
        (
            request(w("small_pot", 5_000), pension={"uncrystallised": 5_000.01, "drawdown": 0}),
            request(w("small_pot", 5_000), pension={"uncrystallised": 5_000, "drawdown": 0}),
        )
    ],
    "tax_free_allowance_used_up": [
        (
            request(w("pcls", 10_000), pension={"lump_sum_allowance_used": GONE - 10_000}),
            request(w("pcls", 9_999.99), pension={"lump_sum_allowance_used": GONE - 10_000}),
        ),
        # 10% of 1,073,100 is left of the lifetime allowance.
        (
            request(
                w("ufpls", 107_310, "2020-09-01"),
                date="2020-06-01",
                pension={"uncrystallised": 300_000, "lifetime_allowance_used_percent": 90},
            ),
            request(
                w("ufpls", 90_000, "2020-09-01"),
                date="2020-06-01",
                pension={"uncrystallised": 300_000, "lifetime_allowance_used_percent": 90},
            ),
        ),
    ],
    "lump_sum_allowance_nearly_used": [
        # 10,000 of 50,000: 160,000 is left, a quarter of it is 40,000.
        (
            request(w("pcls", 10_000), pension={"lump_sum_allowance_used": GONE - 49_999.99}),
            request(w("pcls", 10_000), pension={"lump_sum_allowance_used": GONE - 50_000}),
        ),
        (
            request(w("pcls", 10_000), pension={"lump_sum_allowance_used": GONE - 20_000}),
            request(w("drawdown", 10_000), pension={"lump_sum_allowance_used": GONE - 20_000}),
        ),
    ],
    "death_benefit_allowance_nearly_used": [
        # 10,000 is taken: 390,000 is left in the pension.
        (
            request(w("pcls", 10_000), pension={"lump_sum_and_death_benefit_allowance_used": 673_100.01}),
            request(w("pcls", 10_000), pension={"lump_sum_and_death_benefit_allowance_used": 673_100}),
        ),
        # 75 on the last day of the tax year.
        (
            request(
                w("pcls", 10_000),
                date_of_birth="1952-04-06",
                pension={"lump_sum_and_death_benefit_allowance_used": 700_000},
            ),
            request(
                w("pcls", 10_000),
                date_of_birth="1952-04-05",
                pension={"lump_sum_and_death_benefit_allowance_used": 700_000},
            ),
        ),
    ],
    "no_lump_sum_allowance_left": [
        (
            request(w("ufpls", 1_000), pension={"lump_sum_allowance_used": GONE}),
            request(w("ufpls", 1_000), pension={"lump_sum_allowance_used": GONE - 0.01}),
        )
    ],
    "all_tax_free_cash_at_once": [
        (request(w("pcls", 50_000)), request(w("pcls", 49_999))),
        (
            request(w("pcls", 50_000)),
            request(w("pcls", 50_000), pension={"lump_sum_allowance_used": GONE - 50_000}),
        ),
        # Before 6 April 2024 there was no such allowance.
        (request(w("pcls", 50_000)), request(w("pcls", 50_000, "2023-09-01"), date="2023-06-01")),
    ],
    "lifetime_allowance_exceeded": [
        (
            request(
                w("ufpls", 107_310.01, day),
                date=today,
                pension={"uncrystallised": 300_000, "lifetime_allowance_used_percent": 90},
            ),
            request(
                w("ufpls", 107_310, day),
                date=today,
                pension={"uncrystallised": 300_000, "lifetime_allowance_used_percent": 90},
            ),
        )
        for today, day in (("2020-06-01", "2020-09-01"), ("2023-06-01", "2023-09-01"))
    ],
    "lifetime_allowance_nearly_used": [
        # 40,000 is crystallised, 3.72% of the allowance by HMRC's rounding: 67,390.68 is left of the tenth.
        (
            request(
                w("ufpls", 40_000, "2020-09-01"),
                date="2020-06-01",
                pension={"uncrystallised": 107_390.69, "lifetime_allowance_used_percent": 90},
            ),
            request(
                w("ufpls", 40_000, "2020-09-01"),
                date="2020-06-01",
                pension={"uncrystallised": 107_390.68, "lifetime_allowance_used_percent": 90},
            ),
        ),
    ],
    # Finance Act 2024 Sch.9 para 126: 40% of 1,073,100 is 429,240, a quarter of it 107,310.
    "tax_free_received_before_april_2024_decides": [
        (
            request(w("pcls", 1_000), pension={"lifetime_allowance_used_percent": 40}),
            request(
                w("pcls", 1_000),
                pension={"lifetime_allowance_used_percent": 40},
                tax_free_received_before_april_2024=107_310,
            ),
        ),
        (
            request(w("pcls", 1_000), pension={"lifetime_allowance_used_percent": 40}),
            request(w("pcls", 1_000), pension={"lifetime_allowance_used_percent": 40, "lump_sum_allowance_used": 0.01}),
        ),
        (
            request(w("pcls", 1_000, "2024-04-06"), date="2024-04-06", pension={"lifetime_allowance_used_percent": 40}),
            request(w("pcls", 1_000, "2024-04-05"), date="2024-04-05", pension={"lifetime_allowance_used_percent": 40}),
        ),
    ],
    "transitional_certificate_worth_considering": [
        (
            request(
                w("pcls", 1_000),
                pension={"lifetime_allowance_used_percent": 40},
                tax_free_received_before_april_2024=107_309.99,
            ),
            request(
                w("pcls", 1_000),
                pension={"lifetime_allowance_used_percent": 40},
                tax_free_received_before_april_2024=107_310,
            ),
        )
    ],
    "transitional_certificate_harmful": [
        (
            request(
                w("pcls", 1_000),
                pension={"lifetime_allowance_used_percent": 40},
                tax_free_received_before_april_2024=107_310.01,
            ),
            request(
                w("pcls", 1_000),
                pension={"lifetime_allowance_used_percent": 40},
                tax_free_received_before_april_2024=107_310,
            ),
        )
    ],
}


def recycled(lump_sum: float = 25_000, paid: float = 32_500, usual: float = 7_500, **more: Any) -> Case:
    """PTM133850 example 1: a pot of 100,000, earnings of 75,000, 7,500 usually saved, a lump sum of 25,000 paid in."""
    facts: Case = {
        "pension": {"uncrystallised": 100_000, "drawdown": 0},
        "income": income(employment=75_000),
        "contributions": [saved(paid)],
        "usual_contributions": usual,
        "increase_planned": True,
        **more,
    }
    return request(w("pcls", lump_sum), date_of_birth="1969-01-01", **facts)


RECYCLING: dict[str, list[Pair]] = {
    "recycling_rule_applies": [
        (recycled(), recycled(increase_planned=False)),
        # 30% of 25,000 is 7,500: more than that on top of the usual 7,500.
        (recycled(paid=15_000.01), recycled(paid=15_000)),
        # More than 7,500 of lump sums in twelve months.
        (recycled(7_500.01), recycled(7_500)),
        # PTM133850 example 2: those of the twelve months before are added; 9,000 of 2013-14 as 5,000 and 4,000.
        (
            recycled(5_000, lump_sums_in_last_12_months=2_500.01),
            recycled(5_000, lump_sums_in_last_12_months=2_500),
        ),
        # More than 30% over the usual level: 100,000 usual, 130,000 paid.
        (recycled(paid=130_000.01, usual=100_000), recycled(paid=130_000, usual=100_000)),
        # The tax year, two before and two after.
        (
            recycled(contributions=[saved(32_500, "2028-04-06")]),
            recycled(contributions=[saved(32_500, "2029-04-06")]),
        ),
        (
            recycled(contributions=[saved(32_500, "2024-04-06")]),
            recycled(contributions=[saved(32_500, "2024-04-05")]),
        ),
        # A UFPLS is outside the rule.
        (
            recycled(),
            request(
                w("ufpls", 100_000),
                pension={"uncrystallised": 100_000},
                contributions=[saved(32_500)],
                usual_contributions=7_500,
                increase_planned=True,
            ),
        ),
    ],
}


def unplanned(paid: float) -> Case:
    whole = recycled(paid=paid)
    del whole["people"][0]["increase_planned"]
    return whole


def unusual(paid: float) -> Case:
    whole = recycled(paid=paid)
    del whole["people"][0]["usual_contributions"]
    return whole


RECYCLING["recycling_may_apply"] = [(unplanned(15_000.01), unplanned(15_000)), (unplanned(15_000.01), recycled())]
RECYCLING["usual_contributions_not_given"] = [(unusual(7_500.01), unusual(7_500)), (unusual(15_000), recycled())]


def entered(code: str, nation: str, ends: dict[str, int]) -> dict[str, list[Pair]]:
    """A band begins at this total income in each tax year: a penny more enters it."""
    pairs = [
        (
            drawn(year, end - 9_999.99, tax_residence=nation, income=income(employment=10_000)),
            drawn(year, end - 10_000, tax_residence=nation, income=income(employment=10_000)),
        )
        for year, end in ends.items()
    ]
    return {code: pairs}


BANDS: dict[str, list[Pair]] = {
    # Finance Act 2019 s.5, Finance Act 2021 s.5: 50,000 and 50,270 of total income with a full allowance.
    **entered(
        "higher_rate_entered", "england", {"2020-21": 50_000, "2023-24": 50_270, "2026-27": 50_270, "2027-28": 50_270}
    ),
    # gov.scot: 62,430 of taxable income from 2024-25, 75,000 of total income.
    **entered("advanced_rate_entered", "scotland", {"2026-27": 75_000, "2027-28": 75_000}),
    # Income Tax Act 2007 s.10: 150,000 to 2022-23, 125,140 since.
    **entered(
        "additional_rate_entered",
        "wales",
        {"2020-21": 150_000, "2023-24": 125_140, "2026-27": 125_140, "2027-28": 125_140},
    ),
    **entered(
        "top_rate_entered", "scotland", {"2020-21": 150_000, "2023-24": 125_140, "2026-27": 125_140, "2027-28": 125_140}
    ),
}
BANDS["higher_rate_entered"] += [
    # gov.scot: 43,430 in 2020-21, 43,662 since.
    *entered("", "scotland", {"2020-21": 43_430, "2026-27": 43_662})[""],
    # Not where other income is there already.
    (
        drawn("2026-27", 1_000, income=income(employment=50_270)),
        drawn("2026-27", 1_000, income=income(employment=50_271)),
    ),
]
BANDS["advanced_rate_entered"] += [
    (
        drawn("2026-27", 70_000, tax_residence="scotland", income=income(employment=10_000)),
        drawn("2023-24", 70_000, tax_residence="scotland", income=income(employment=10_000)),
    )
]

TAX: dict[str, list[Pair]] = {
    # Income Tax Act 2007 s.35(2)-(3): a pound for every two over 100,000, what is left up to the pound.
    "personal_allowance_withdrawn": [
        (
            drawn(year, 40_002, income=income(employment=60_000)),
            drawn(year, 40_001.99, income=income(employment=60_000)),
        )
        for year in YEARS
    ],
    # s.12B: 1,000 within the basic rate, 500 above.
    "savings_allowance_lost": [
        *(
            (
                drawn(year, higher - 10_999.99, income=income(employment=10_000, savings_interest=1_000)),
                drawn(year, higher - 11_000, income=income(employment=10_000, savings_interest=1_000)),
            )
            for year, higher in zip(YEARS, (50_000, 50_270, 50_270, 50_270), strict=True)
        ),
        (
            drawn("2026-27", 50_000, income=income(employment=10_000, savings_interest=500.01)),
            drawn("2026-27", 50_000, income=income(employment=10_000, savings_interest=500)),
        ),
    ],
    # s.55B.
    "marriage_allowance_lost": [
        (
            drawn(year, higher - 29_999.99, income=income(employment=30_000), marriage_allowance="receives"),
            drawn(year, higher - 30_000, income=income(employment=30_000), marriage_allowance="receives"),
        )
        for year, higher in zip(YEARS, (50_000, 50_270, 50_270, 50_270), strict=True)
    ],
    "marriage_allowance_not_available": [
        # The giver's allowance is 1,260 smaller.
        (
            drawn("2026-27", 19_010.01, income=income(employment=30_000), marriage_allowance="gives"),
            drawn("2026-27", 19_010, income=income(employment=30_000), marriage_allowance="gives"),
        )
    ],
    # ITEPA 2003 s.681C: a point for every 100 above 50,000 to 2023-24, for every 200 above 60,000 since.
    "child_benefit_charge": [
        (
            drawn(year, threshold - 29_900 + extra, income=income(employment=30_000), child_benefit=2_000),
            drawn(year, threshold - 29_900 + extra - 0.01, income=income(employment=30_000), child_benefit=2_000),
        )
        for year, threshold, extra in (
            ("2020-21", 50_000, 0),
            ("2023-24", 50_000, 0),
            ("2026-27", 60_000, 100),
            ("2027-28", 60_000, 100),
        )
    ],
    "child_benefit_charge_falls_on_partner": [
        (
            request(
                child_benefit=2_000,
                income=income(employment=61_000),
                partner={
                    "pension": {"uncrystallised": 0, "drawdown": 100_000},
                    "withdrawals": [w("drawdown", amount)],
                    "income": income(employment=60_000),
                },
            ),
            request(
                child_benefit=2_000,
                income=income(employment=61_000),
                partner={
                    "pension": {"uncrystallised": 0, "drawdown": 100_000},
                    "withdrawals": [w("drawdown", 1_000)],
                    "income": income(employment=60_000),
                },
            ),
        )
        for amount in (1_000.01,)
    ],
    # SI 2015/448 reg.15: 100,000.
    "tax_free_childcare_lost": [
        (
            drawn(year, 40_000.01, income=income(employment=60_000), tax_free_childcare=2_000),
            drawn(year, 40_000, income=income(employment=60_000), tax_free_childcare=2_000),
        )
        for year in YEARS
    ]
    + [
        (
            drawn("2026-27", 1, income=income(employment=100_000), tax_free_childcare=2_000),
            drawn("2026-27", 1, income=income(employment=100_000.01), tax_free_childcare=2_000),
        )
    ],
    "family_facts_not_given": [
        (
            drawn("2026-27", 30_000.01, income=income(employment=30_000)),
            drawn("2026-27", 30_000, income=income(employment=30_000)),
        ),
        (
            drawn("2023-24", 20_000.01, income=income(employment=30_000)),
            drawn("2023-24", 20_000, income=income(employment=30_000)),
        ),
        (
            drawn("2026-27", 40_000, income=income(employment=30_000)),
            drawn("2026-27", 40_000, income=income(employment=30_000), children=0),
        ),
        (
            drawn("2026-27", 40_000, income=income(employment=30_000), children=2),
            drawn("2026-27", 40_000, income=income(employment=30_000), children=2, child_benefit=0),
        ),
        (
            drawn("2026-27", 40_000, income=income(employment=70_000), children=2, child_benefit=2_000),
            drawn(
                "2026-27",
                40_000,
                income=income(employment=70_000),
                children=2,
                child_benefit=2_000,
                tax_free_childcare=0,
            ),
        ),
    ],
    # SI 2009/470 reg.29(4)(c): more than 2,000 of unearned income, and more than the threshold in all.
    "student_loan_repayment": [
        (
            drawn("2026-27", 2_000.12, income=income(employment=27_385), student_loans={"plan_2": True}),
            drawn("2026-27", 2_000, income=income(employment=29_385), student_loans={"plan_2": True}),
        ),
        (
            drawn("2026-27", 5_000.12, income=income(employment=24_385), student_loans={"plan_2": True}),
            drawn("2026-27", 5_000.11, income=income(employment=24_385), student_loans={"plan_2": True}),
        ),
        (
            drawn("2020-21", 5_000.12, income=income(employment=14_390), student_loans={"plan_1": True}),
            drawn("2020-21", 5_000.11, income=income(employment=14_390), student_loans={"plan_1": True}),
        ),
        # Plan 4 began in 2021-22.
        (
            drawn("2023-24", 30_000, student_loans={"plan_4": True}),
            drawn("2020-21", 30_000, student_loans={"plan_4": True}),
        ),
        (
            drawn("2027-28", 21_000.17, student_loans={"postgraduate": True}),
            drawn("2027-28", 21_000.16, student_loans={"postgraduate": True}),
        ),
        (drawn("2026-27", 40_000, student_loans={"plan_2": True}), drawn("2026-27", 40_000, student_loans={})),
    ],
    # Taxes Management Act 1970 s.59A, from memory: more than 1,000. A small pot is taxed at 20%, and 40% is due: 7,500 of
    # it taxed. The year's tax is large, so that of 20% of it less than 1,500 is under-deducted.
    "payments_on_account": [
        (
            request(w("small_pot", 10_000), income=income(employment=12_000, dividends=42_000), self_assessment=True),
            request(w("small_pot", 6_000), income=income(employment=12_000, dividends=42_000), self_assessment=True),
        ),
        (
            request(w("small_pot", 10_000), income=income(employment=12_000, dividends=42_000), self_assessment=True),
            request(w("small_pot", 10_000), income=income(employment=12_000, dividends=42_000), self_assessment=False),
        ),
    ],
    "tax_return_needed": [
        (
            drawn("2026-27", 30_200, income=income(employment=30_000), child_benefit=2_000),
            drawn("2026-27", 30_199.99, income=income(employment=30_000), child_benefit=2_000),
        ),
        (
            drawn("2026-27", 30_200, income=income(employment=30_000), child_benefit=2_000),
            drawn("2026-27", 30_200, income=income(employment=30_000), child_benefit=2_000, self_assessment=True),
        ),
    ],
    # The emergency code frees 1,048.26 a month (HMRC's routine, 1257L): taxable 1,049.26 is taxed, 20p on the pound.
    "payroll_takes_more_than_is_due": [
        (drawn(year, free + 1), drawn(year, free + 0.99))
        for year, free in (("2020-21", 1_042.43), ("2026-27", 1_048.26))
    ]
    + [(drawn("2026-27", 5_000), drawn("2026-27", 5_000, pension={"flexibly_accessed": True}))],
    "payroll_takes_less_than_is_due": [
        (
            drawn("2026-27", 1_000, income=income(employment=11_570.03)),
            drawn("2026-27", 1_000, income=income(employment=11_570)),
        )
    ],
    "second_payment_in_the_year": [
        (request(DRAWN, w("drawdown", 1, "2027-04-05")), request(DRAWN, w("drawdown", 1, "2027-04-06"))),
        (request(DRAWN, w("drawdown", 1, "2027-04-05")), request(DRAWN, w("pcls", 1, "2027-04-05"))),
    ],
    # Finance Act 2019 s.5: 12,500; SI 2021/111: 12,570.
    "state_pension_uses_personal_allowance": [
        (
            drawn(year, 1_000, income=income(state_pension=allowance + 0.01)),
            drawn(year, 1_000, income=income(state_pension=allowance)),
        )
        for year, allowance in zip(YEARS, (12_500, 12_570, 12_570, 12_570), strict=True)
    ],
    "state_pension_untaxed_at_source": [
        (
            drawn("2026-27", 2_570.03, income=income(state_pension=10_000)),
            drawn("2026-27", 2_570, income=income(state_pension=10_000)),
        ),
        (
            drawn("2026-27", 5_000, income=income(state_pension=10_000)),
            drawn("2026-27", 5_000, income=income(defined_benefit_pension=10_000)),
        ),
    ],
    "scottish_property_income": [
        (
            drawn("2027-28", 1_000, tax_residence="scotland", income=income(property=1)),
            drawn("2026-27", 1_000, tax_residence="scotland", income=income(property=1)),
        )
    ],
    "rates_not_yet_set": [(drawn("2027-28", 1), drawn("2026-27", 1))],
}


def isa(*amounts: float, date: str = "2026-06-01", **facts: Any) -> Case:
    """Subscriptions of a tax year with what the ISAs hold."""
    day = f"{int(date[:4])}-10-01"
    subscriptions = [into_isa(amount, day) for amount in amounts]
    return request(date=date, cash=100_000, isa={"subscriptions": subscriptions, **facts})


def cash_isa(amount: float, day: str = "2027-10-01", date_of_birth: str = "1970-01-01") -> Case:
    more: Case = {"date_of_birth": date_of_birth}
    return request(
        date="2026-06-01", cash=50_000, isa={"subscriptions": [into_isa(amount, day, cash_isa=True)]}, **more
    )


ISAS: dict[str, list[Pair]] = {
    # SI 1998/1870 reg.4ZA: 20,000 in every tax year from 2017-18.
    "isa_limit_exceeded": [
        *((isa(20_000.01, date=A_DAY_IN[year]), isa(20_000, date=A_DAY_IN[year])) for year in YEARS),
        (isa(16_000, 0.01, subscribed_this_year=4_000), isa(16_000, subscribed_this_year=4_000)),
        # gov.uk, Individual Savings Accounts: 10,000 paid in and 3,000 taken out leave 13,000 if flexible, 10,000 if not.
        (
            isa(13_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=True),
            isa(13_000, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=True),
        ),
        (
            isa(10_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=False),
            isa(10_000, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=False),
        ),
        # gov.uk, How ISAs work: 15,000, 2,000 and 3,000 are 20,000 and valid; so are 11,000, 2,000, 3,000 and 4,000.
        (isa(15_000, 2_000, 3_000, 0.01), isa(15_000, 2_000, 3_000)),
        (isa(11_000, 2_000, 3_000, 4_000.01), isa(11_000, 2_000, 3_000, 4_000)),
        # On 6 April a new limit begins.
        (
            request(cash=50_000, isa={"subscriptions": [into_isa(20_000), into_isa(5_000, "2027-04-05")]}),
            request(cash=50_000, isa={"subscriptions": [into_isa(20_000), into_isa(5_000, "2027-04-06")]}),
        ),
    ],
    "isa_rest_next_tax_year": [
        (isa(20_000.01), isa(20_000)),
        # No figures for the year after the last.
        (isa(20_001, date="2029-06-01"), isa(20_001, date="2030-06-01")),
    ],
    "partner_has_isa_room": [
        (
            request(
                cash=100_000,
                isa={"subscriptions": [into_isa(20_001)]},
                partner={"isa": {"subscribed_this_year": 19_999.99}},
            ),
            request(
                cash=100_000,
                isa={"subscriptions": [into_isa(20_001)]},
                partner={"isa": {"subscribed_this_year": 20_000}},
            ),
        ),
        (
            request(cash=100_000, isa={"subscriptions": [into_isa(20_001)]}, partner={}),
            request(cash=100_000, isa={"subscriptions": [into_isa(20_000)]}, partner={}),
        ),
    ],
    "isa_flexibility_not_given": [
        (
            isa(10_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000),
            isa(10_000, subscribed_this_year=10_000, withdrawn_this_year=3_000),
        ),
        (
            isa(13_000, subscribed_this_year=10_000, withdrawn_this_year=3_000),
            isa(13_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000),
        ),
    ],
    "flexible_isa_replacement": [
        (
            isa(10_000.01, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=True),
            isa(10_000, subscribed_this_year=10_000, withdrawn_this_year=3_000, flexible=True),
        )
    ],
    # HMRC's newsletter 19: 12,000 below 65 from 6 April 2027.
    "cash_isa_limit_exceeded": [
        (cash_isa(12_000.01), cash_isa(12_000)),
        (cash_isa(12_001, "2027-04-06"), cash_isa(12_001, "2027-04-05")),
        (cash_isa(12_001, date_of_birth="1962-10-02"), cash_isa(12_001, date_of_birth="1962-10-01")),
        (
            cash_isa(12_001),
            request(
                date_of_birth="1970-01-01",
                cash=50_000,
                isa={"subscriptions": [into_isa(12_001, "2027-10-01", cash_isa=False)]},
            ),
        ),
    ],
    "isa_not_uk_resident": [
        (
            request(cash=5, isa={"subscriptions": [into_isa(1)]}, uk_resident=False, crown_employee_abroad=False),
            request(cash=5, isa={"subscriptions": [into_isa(1)]}, uk_resident=False, crown_employee_abroad=True),
        ),
        (
            request(cash=5, isa={"subscriptions": [into_isa(1)]}, uk_resident=False, crown_employee_abroad=False),
            request(cash=5, isa={"subscriptions": [into_isa(1)]}, uk_resident=True, crown_employee_abroad=False),
        ),
    ],
    "crown_service_not_given": [
        (
            request(cash=5, isa={"subscriptions": [into_isa(1)]}, uk_resident=False),
            request(cash=5, isa={"subscriptions": []}, uk_resident=False),
        )
    ],
    "subscribed_before_paid_out": [
        (
            request(w("ufpls", 5_000, "2026-10-02"), isa={"subscriptions": [into_isa(5_000, "2026-10-01")]}),
            request(w("ufpls", 5_000, "2026-10-01"), isa={"subscriptions": [into_isa(5_000, "2026-10-01")]}),
        ),
        (
            request(DRAWN, cash=4_999.99, isa={"subscriptions": [into_isa(5_000, "2026-08-31")]}),
            request(DRAWN, cash=5_000, isa={"subscriptions": [into_isa(5_000, "2026-08-31")]}),
        ),
    ],
    # PRA PS24/25: 85,000, and 120,000 for failures from 1 December 2025.
    "cash_above_deposit_protection": [
        (request(cash=120_000.01), request(cash=120_000)),
        (request(cash=85_000.01, date="2025-11-30"), request(cash=85_000, date="2025-11-30")),
        (request(cash=100_000, date="2025-11-30"), request(cash=100_000, date="2025-12-01")),
        (request(cash=85_000.01, date="2020-06-01"), request(cash=85_000, date="2020-06-01")),
        (request(cash=240_000.01, deposit_firms=2), request(cash=240_000, deposit_firms=2)),
        (
            request(cash=125_000, isa={"subscriptions": [into_isa(4_999.99)]}),
            request(cash=125_000, isa={"subscriptions": [into_isa(5_000)]}),
        ),
    ],
}

NO_FUND = {"uncrystallised": 0, "drawdown": 0}
HELD = {"uncrystallised": 100_000, "drawdown": 0}


def leaves(value: float, year: str = "2026-27", /, *withdrawals: Any, pension: Any = HELD, **more: bool) -> Case:
    """An estate beside a pension, in a tax year."""
    return request(*withdrawals, date=A_DAY_IN[year], pension=pension, estate=estate(value, **more))


DEATH: dict[str, list[Pair]] = {
    # Inheritance Tax Act 1984 Sch.1: 325,000. A lump sum of 10,000 adds that much before 6 April 2027.
    "withdrawal_enters_the_estate": [
        (
            leaves(315_000.01, year, w("pcls", 10_000, LATER[year])),
            leaves(315_000, year, w("pcls", 10_000, LATER[year])),
        )
        for year in YEARS[:3]
    ]
    + [
        # Twice the band, and with residence bands of 175,000.
        (
            leaves(640_000.01, "2026-27", w("pcls", 10_000), bands_of_late_spouse=True),
            leaves(640_000, "2026-27", w("pcls", 10_000), bands_of_late_spouse=True),
        ),
        (
            leaves(490_000.01, "2026-27", w("pcls", 10_000), home_to_descendants=True),
            leaves(490_000, "2026-27", w("pcls", 10_000), home_to_descendants=True),
        ),
        (
            leaves(400_000, "2026-27", w("pcls", 10_000, "2027-04-05")),
            leaves(400_000, "2026-27", w("pcls", 10_000, "2027-04-06")),
        ),
    ],
    # Finance Act 2026 s.71: deaths on or after 6 April 2027.
    "pension_counts_in_the_estate": [
        (leaves(225_000.01, "2027-28"), leaves(225_000, "2027-28")),
        (
            request(date="2027-04-06", pension=HELD, estate=estate(300_000)),
            request(date="2027-04-05", pension=HELD, estate=estate(300_000)),
        ),
        (leaves(300_000, "2027-28"), leaves(300_000, "2027-28", all_to_spouse=True)),
    ],
    "pension_counts_later": [
        (leaves(225_000.01), leaves(225_000)),
        (leaves(300_000, "2020-21"), leaves(300_000, "2027-28")),
        (leaves(300_000), leaves(300_000, pension=NO_FUND)),
    ],
    "spouse_exemption_postpones": [
        (leaves(325_000.01, all_to_spouse=True), leaves(325_000, all_to_spouse=True)),
        (leaves(225_000.01, "2027-28", all_to_spouse=True), leaves(225_000, "2027-28", all_to_spouse=True)),
        (leaves(400_000, all_to_spouse=True), leaves(400_000)),
    ],
    # s.8D(5): 2,000,000.
    "residence_band_tapered": [
        (leaves(2_000_000.02, home_to_descendants=True), leaves(2_000_000, home_to_descendants=True)),
        (leaves(1_900_000.02, "2027-28", home_to_descendants=True), leaves(1_900_000.02, home_to_descendants=True)),
        (leaves(2_000_000.02, home_to_descendants=True), leaves(2_000_000.02)),
    ],
    "estate_not_given": [
        (
            request(DRAWN, pension={"uncrystallised": 300_000, "drawdown": 26_000.01}),
            request(DRAWN, pension={"uncrystallised": 300_000, "drawdown": 26_000}),
        ),
        (
            request(pension=NO_FUND, cash=100_000, isa={"value": 225_000.01}),
            request(pension=NO_FUND, cash=100_000, isa={"value": 225_000}),
        ),
        (request(), request(estate={"value": 0})),
    ],
    # ITEPA 2003 ss.637H-637M: 75, by the end of the tax year.
    "heirs_pay_income_tax": [
        (request(date_of_birth="1952-04-05"), request(date_of_birth="1952-04-06")),
        (request(date_of_birth="1950-01-01"), request(date_of_birth="1950-01-01", pension=NO_FUND)),
    ],
    "heirs_pay_income_tax_soon": [
        (request(date_of_birth="1953-04-05"), request(date_of_birth="1953-04-06")),
        (request(date_of_birth="1952-04-06"), request(date_of_birth="1952-04-05")),
    ],
    "nominations_to_review": [
        (request(pension={"nomination": "none"}), request(pension={"nomination": "made"})),
        (
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2027-04-05"}),
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2027-04-06"}),
        ),
        (
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2020-01-01"}),
            request(date="2027-04-05", pension={"nomination": "made", "nomination_reviewed_on": "2020-01-01"}),
        ),
    ],
    # Two years from the day the scheme knew.
    "two_year_window_running": [
        (
            request(inherited_pension={"scheme_knew_on": "2024-06-02", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2024-06-01", "died_before_75": True}),
        ),
        (
            request(inherited_pension={"scheme_knew_on": "2026-01-01", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2026-01-01", "died_before_75": False}),
        ),
    ],
    "two_year_window_passed": [
        (
            request(inherited_pension={"scheme_knew_on": "2024-06-01", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2024-06-02", "died_before_75": True}),
        ),
    ],
}


def unknown(value: float, *missing: str) -> Case:
    """An estate with some facts left out."""
    whole = leaves(value, pension=NO_FUND)
    for name in missing:
        del whole["estate"][name]
    return whole


DEATH["spouse_exemption_not_given"] = [
    (unknown(325_000.01, "all_to_spouse"), unknown(325_000, "all_to_spouse")),
    (unknown(400_000, "all_to_spouse"), unknown(400_000)),
]
DEATH["estate_facts_decide"] = [
    (unknown(325_000.01, "home_to_descendants"), unknown(325_000, "home_to_descendants")),
    (unknown(500_000, "home_to_descendants"), unknown(500_000.01, "home_to_descendants")),
    (unknown(650_000, "bands_of_late_spouse"), unknown(650_000.01, "bands_of_late_spouse")),
]


def receives(*withdrawals: Any, benefit: str, **more: Any) -> Case:
    return request(*withdrawals, benefits={benefit: True}, **more)


LUMP = w("pcls", 1_000)
BENEFITS: dict[str, list[Pair]] = {
    # Universal Credit Regulations 2013 regs 18, 72: 6,000 and 16,000, and 4.35 a month for each 250 or part.
    "universal_credit_reduced": [
        (
            receives(LUMP, benefit="universal_credit", cash=5_000.01),
            receives(LUMP, benefit="universal_credit", cash=5_000),
        ),
        (
            receives(LUMP, benefit="universal_credit", isa={"value": 5_000.01}),
            receives(LUMP, benefit="pension_credit", isa={"value": 5_000.01}),
        ),
    ],
    "universal_credit_ends": [
        (
            receives(LUMP, benefit="universal_credit", cash=15_000.01),
            receives(LUMP, benefit="universal_credit", cash=15_000),
        ),
        (
            receives(LUMP, benefit="universal_credit", cash=16_000),
            receives(LUMP, benefit="universal_credit", cash=16_000.01),
        ),
    ],
    # State Pension Credit Regulations 2002: 10,000, and 1 a week for each 500 or part.
    "pension_credit_reduced": [
        (
            receives(LUMP, benefit="pension_credit", cash=9_000.01),
            receives(LUMP, benefit="pension_credit", cash=9_000),
        )
    ],
    # Pensions Act 1995 Sch.4: born on 6 January 1961, 66 years and 10 months: 6 November 2027.
    "notional_income": [
        (
            receives(benefit="pension_credit", date_of_birth="1960-04-05"),
            receives(benefit="pension_credit", date_of_birth="1961-01-06"),
        ),
        (
            receives(benefit="housing_benefit", date_of_birth="1950-01-01"),
            receives(benefit="council_tax_support", date_of_birth="1950-01-01"),
        ),
        (
            receives(benefit="pension_credit", date_of_birth="1950-01-01"),
            receives(benefit="pension_credit", date_of_birth="1950-01-01", pension=NO_FUND),
        ),
    ],
    "deprivation_of_capital": [
        (receives(LUMP, benefit="universal_credit"), receives(LUMP, benefit="universal_credit", gifts_planned=0)),
        (
            receives(LUMP, benefit="care_support", gifts_planned=0.01),
            receives(LUMP, benefit="care_support", gifts_planned=0),
        ),
        (receives(LUMP, benefit="universal_credit"), receives(benefit="universal_credit")),
    ],
    # ITEPA 2003 s.681I: more than 35,000, from 2025-26.
    "winter_fuel_payment_repaid": [
        (
            request(w("drawdown", 5_000.01), date_of_birth="1955-01-01", income=income(defined_benefit_pension=30_000)),
            request(w("drawdown", 5_000), date_of_birth="1955-01-01", income=income(defined_benefit_pension=30_000)),
        ),
        (
            request(
                w("drawdown", 6_000, "2025-04-06"),
                date="2025-04-06",
                date_of_birth="1950-01-01",
                income=income(state_pension=30_000),
            ),
            request(
                w("drawdown", 6_000, "2025-04-05"),
                date="2025-04-05",
                date_of_birth="1950-01-01",
                income=income(state_pension=30_000),
            ),
        ),
        (
            request(w("drawdown", 6_000), date_of_birth="1960-04-05", income=income(employment=30_000)),
            request(w("drawdown", 6_000), date_of_birth="1961-01-06", income=income(employment=30_000)),
        ),
        (
            request(w("drawdown", 6_000), date_of_birth="1950-01-01", income=income(state_pension=30_000), benefits={}),
            request(
                w("drawdown", 6_000),
                date_of_birth="1950-01-01",
                income=income(state_pension=30_000),
                benefits={"pension_credit": True},
            ),
        ),
        (
            drawn("2027-28", 5_000.01, date_of_birth="1950-01-01", income=income(state_pension=30_000)),
            drawn("2027-28", 5_000, date_of_birth="1950-01-01", income=income(state_pension=30_000)),
        ),
    ],
    "council_tax_support_may_fall": [
        (receives(LUMP, benefit="council_tax_support"), receives(benefit="council_tax_support"))
    ],
    # LAC(DHSC)(2024)1: 14,250 and 23,250.
    "care_support_ends": [
        (receives(LUMP, benefit="care_support", cash=22_250.01), receives(LUMP, benefit="care_support", cash=22_250)),
        (receives(LUMP, benefit="care_support", cash=23_250), receives(LUMP, benefit="care_support", cash=23_250.01)),
    ],
    "care_contribution_rises": [
        (receives(LUMP, benefit="care_support", cash=13_250.01), receives(LUMP, benefit="care_support", cash=13_250)),
        (
            receives(LUMP, benefit="care_support", cash=13_250.01),
            receives(LUMP, benefit="care_support", cash=13_250.01, tax_residence="wales"),
        ),
    ],
    "care_limits_of_the_nation_not_held": [
        (
            receives(LUMP, benefit="care_support", tax_residence="scotland"),
            receives(LUMP, benefit="care_support", tax_residence="england"),
        )
    ],
    "benefits_not_given": [
        (
            request(LUMP, income=income(annuity=12_569.99)),
            request(LUMP, income=income(annuity=12_570)),
        ),
        (request(LUMP, cash=16_000), request(LUMP, cash=16_000.01)),
        (request(LUMP), request(LUMP, benefits={})),
        (
            request(LUMP, income=income(annuity=20_000), partner={"income": income(annuity=5_139.99)}),
            request(LUMP, income=income(annuity=20_000), partner={"income": income(annuity=5_140)}),
        ),
        (
            drawn("2020-21", 1_000, income=income(annuity=12_499.99)),
            drawn("2020-21", 1_000, income=income(annuity=12_500)),
        ),
    ],
}

KNOWN = {"safeguarded_benefits": 0}
SCHEME: dict[str, list[Pair]] = {
    # Pension Schemes Act 2015 s.48 and SI 2015/742: more than 30,000, from memory.
    "advice_required_for_safeguarded_benefits": [
        (
            request(w("ufpls", 1), pension={"safeguarded_benefits": 30_000.01}),
            request(w("ufpls", 1), pension={"safeguarded_benefits": 30_000}),
        ),
        (
            request(w("ufpls", 1), pension={"safeguarded_benefits": 40_000}),
            request(w("drawdown", 1), pension={"safeguarded_benefits": 40_000}),
        ),
        (
            request(pension={"safeguarded_benefits": 40_000, "transfer": "planned"}),
            request(pension={"safeguarded_benefits": 40_000, "transfer": "none"}),
        ),
    ],
    "guaranteed_annuity_rate_lost": [
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True}),
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": False}),
        ),
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True}),
            request(w("drawdown", 1), pension={"guaranteed_annuity_rate": True}),
        ),
    ],
    "protected_lump_sum_lost": [
        (
            request(w("ufpls", 100), pension={"protected_tax_free_share": 0.2501}),
            request(w("ufpls", 100), pension={"protected_tax_free_share": 0.25}),
        ),
        (
            request(w("ufpls", 100), pension={"protected_tax_free_share": 0.3}),
            request(w("pcls", 100), pension={"protected_tax_free_share": 0.3}),
        ),
    ],
    "exit_charge": [
        (request(DRAWN, pension={"exit_charge": 0.01}), request(DRAWN, pension={"exit_charge": 0})),
        (request(DRAWN, pension={"exit_charge": 50}), request(pension={"exit_charge": 50})),
    ],
    "employer_contributions_lost": [
        (
            request(
                w("ufpls", 9_999.01), pension={"uncrystallised": 10_000, "drawdown": 0, "employer_contributions": 900}
            ),
            request(
                w("ufpls", 9_999), pension={"uncrystallised": 10_000, "drawdown": 0, "employer_contributions": 900}
            ),
        ),
        (
            request(pension={"employer_contributions": 900, "transfer": "planned"}),
            request(pension={"employer_contributions": 900}),
        ),
    ],
    "pension_features_not_given": [
        (request(w("ufpls", 30_000.01)), request(w("ufpls", 30_000))),
        (request(w("ufpls", 40_000)), request(w("ufpls", 40_000), pension=KNOWN)),
    ],
    # SI 2021/1237: from 30 November 2021.
    "transfer_red_flag": [
        (request(pension=RED), request(pension={"transfer": "amber_flag"})),
        (request(pension=RED, date="2021-11-30"), request(pension=RED, date="2021-11-29")),
    ],
    "transfer_amber_flag": [
        (request(pension={"transfer": "amber_flag"}), request(pension={"transfer": "planned"})),
        (
            request(pension={"transfer": "amber_flag"}, date="2021-11-30"),
            request(pension={"transfer": "amber_flag"}, date="2021-11-29"),
        ),
    ],
    "unexpected_contact": [(request(unexpected_contact=True), request(unexpected_contact=False))],
    "guidance_appointment": [
        (
            request(LUMP, pension=HELD, date_of_birth="1976-06-01"),
            request(LUMP, pension=HELD, date_of_birth="1976-06-02"),
        ),
        (request(LUMP, pension=HELD), request(LUMP, pension=HELD, guidance_taken=True)),
        (request(LUMP, pension=HELD), request(LUMP, pension=HELD, regulated_adviser=True)),
        (request(LUMP, pension=HELD), request(LUMP, pension={**HELD, "drawdown": 0.01})),
    ],
    "take_regulated_advice": [
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True}),
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True}, regulated_adviser=True),
        ),
        (
            request(w("ufpls", 1), pension={"safeguarded_benefits": 0.01}),
            request(w("ufpls", 1), pension={"safeguarded_benefits": 0}),
        ),
        (
            request(w("ufpls", 1), pension={"protected_tax_free_share": 0.26}),
            request(w("ufpls", 1), pension={"protected_tax_free_share": 0.25}),
        ),
    ],
}

CASES: dict[str, list[Pair]] = {
    **ACCESS, **SAVING, **LUMP_SUMS, **RECYCLING, **BANDS, **TAX, **ISAS, **DEATH, **BENEFITS, **SCHEME,
}  # fmt: skip
EITHER_SIDE = [
    pytest.param(code, inside, outside, id=f"{code}-{number}")
    for code, pairs in CASES.items()
    for number, (inside, outside) in enumerate(pairs)
]


@pytest.mark.parametrize(("code", "inside", "outside"), EITHER_SIDE)
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


# The catalogue


PLANNING = Path(planning.__file__).parent


def made(folder: Path) -> Iterator[str]:
    """The first argument of every call of ``warn`` in a folder, where it stands there as a word."""
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "warn":
                code = node.args[0]
                if isinstance(code, ast.Constant):
                    assert isinstance(code.value, str)
                    yield code.value


def asserted(kind: type[ast.cmpop]) -> set[str]:
    """The words that some test of the planning layer asserts to be in, or not in, something."""
    return {
        node.left.value
        for path in Path(__file__).parent.glob("test_*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Compare) and isinstance(node.left, ast.Constant) and isinstance(node.ops[0], kind)
    }


def test_every_warning_is_in_the_catalogue_and_nothing_else() -> None:
    by_band = {f"{band}_rate_entered" for band in ("higher", "advanced", "additional", "top")}
    assert set(made(PLANNING)) | by_band == set(CATALOGUE)
    # A rule makes one warning of its own, so that one code means one thing.
    of_rules = list(made(PLANNING / "warnings"))
    assert len(of_rules) == len(set(of_rules))


def test_every_warning_has_its_pair() -> None:
    """In a table of pairs, or by a test that asserts both that it is told and that it is not."""
    in_tables = set(CASES) | set(of_quotes.CASES) | set(of_plans.CASES)
    assert in_tables <= set(CATALOGUE)
    assert set(CATALOGUE) - in_tables <= asserted(ast.In) & asserted(ast.NotIn)
    assert all(pairs for pairs in CASES.values())


def test_every_rule_is_used() -> None:
    listed = [rule for name, rules_of in vars(rules).items() if name.startswith("OF_") for rule in rules_of]
    public = {
        function
        for module in TOPICS
        for name, function in inspect.getmembers(module, inspect.isroutine)
        if function.__module__ == module.__name__ and not name.startswith("_")
    }
    assert len(listed) == len(set(listed))
    # One function for one code, and named by it; but one for all bands, whichever a tax year has.
    assert {rule.__name__ for rule in listed} - set(CATALOGUE) == {"higher_bands_entered"}
    assert set(listed) == public


@pytest.mark.parametrize("name", BOOK.years)
def test_every_band_above_the_basic_rates_is_told(name: str) -> None:
    for taxed in BOOK.years[name].income_tax.values():
        above = taxed.scales.lower.names[taxed.scales.last_basic_band + 1 :]
        assert {f"{band}_entered" for band in above} <= set(CATALOGUE)


@pytest.mark.parametrize("code", CATALOGUE)
def test_an_entry_says_everything(code: str) -> None:
    entry = CATALOGUE[code]
    assert re.fullmatch(r"[a-z][a-z0-9_]*", code)
    assert entry.effect in EFFECTS
    assert entry.title
    assert not entry.title.endswith(".")
    assert entry.applies_when.endswith(".")
    assert entry.facts
    assert entry.sources
    assert all(source.strip() for source in entry.sources)
    assert entry.since is None or entry.until is None or entry.since <= entry.until
    # Amounts stand in the figures.
    assert "£" not in entry.applies_when
    assert not re.search(r"\d,\d", entry.applies_when)


ONLY_ELSEWHERE = {"payroll.code", "spending", "aim", "isa.cash_isa"}
"""Fields that only a quote or a plan has."""


def names_of(schema: Schema, before: str = "") -> Iterator[str]:
    """The names of a request's fields as the catalogue writes them: those of a person without the person."""
    for name, field in schema.load_fields.items():
        whole = before + (field.data_key or name)
        yield whole
        inner = field.inner if isinstance(field, ObjectList) else field
        if isinstance(inner, StrictNested):
            yield from names_of(inner.schema, "" if whole == "people" else f"{whole}.")


def test_every_fact_of_the_catalogue_is_a_field_and_every_field_a_fact() -> None:
    facts = {fact for entry in CATALOGUE.values() for fact in entry.facts}
    fields = set(names_of(SCHEMA))
    assert facts - fields == ONLY_ELSEWHERE
    # What no entry names by itself: the containers, what is named as a whole, and what all tax rests on.
    unnamed = fields - facts
    named_within = {name for name in unnamed if any(fact.startswith(f"{name}.") for fact in facts)}
    inside_named = {name for name in unnamed if name.rpartition(".")[0] in facts}
    assert unnamed - named_within - inside_named == {
        "people",
        "blind_persons_allowance",
        "pension.protected_lump_sum_allowance",
        "pension.protected_lump_sum_and_death_benefit_allowance",
    }


@pytest.mark.parametrize(("code", "inside"), [(code, inside) for code, pairs in CASES.items() for inside, _ in pairs])
def test_a_warning_is_told_only_while_its_law_runs(code: str, inside: Case) -> None:
    for warning in found_in(inside):
        assert warning.tax_year is not None
        first = int(warning.tax_year[:4])
        assert in_force(warning.code, date(first, 4, 6)) or in_force(warning.code, date(first + 1, 4, 5))


def test_dates_of_the_catalogue() -> None:
    """A day before, on, and after."""
    assert not in_force("pension_counts_in_the_estate", date(2027, 4, 5))
    assert in_force("pension_counts_in_the_estate", date(2027, 4, 6))
    assert in_force("withdrawal_enters_the_estate", date(2027, 4, 5))
    assert not in_force("withdrawal_enters_the_estate", date(2027, 4, 6))
