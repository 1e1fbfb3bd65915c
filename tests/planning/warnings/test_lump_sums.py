"""Lump sums and their allowances: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, request, w
from tests.planning.warnings.pairs import Case, Pair, either_side

# ITEPA 2003 ss.637P and 637R: 268,275 and 1,073,100; Finance Act 2004 to 2023-24: 1,073,100.
GONE = 268_275


CASES: dict[str, list[Pair]] = {
    "lump_sum_above_permitted_maximum": [
        (request(w("pcls", 50_000.01)), request(w("pcls", 50_000))),
        (
            request(w("pcls", 20_000.01), lump_sum_allowance_used=GONE - 20_000),
            request(w("pcls", 20_000), lump_sum_allowance_used=GONE - 20_000),
        ),
        (
            request(w("pcls", 50_000.01, "2020-09-01"), date="2020-06-01"),
            request(w("pcls", 50_000, "2020-09-01"), date="2020-06-01"),
        ),
    ],
    "small_pot_above_limit": [(request(w("small_pot", 10_000.01)), request(w("small_pot", 10_000)))],
    "too_many_small_pots": [
        (
            request(w("small_pot", 1_000), pension={"scheme_kind": "personal"}, small_pots_taken=3),
            request(w("small_pot", 1_000), pension={"scheme_kind": "personal"}, small_pots_taken=2),
        ),
        (
            request(w("small_pot", 1_000), pension={"scheme_kind": "personal"}, small_pots_taken=3),
            request(w("small_pot", 1_000), pension={"scheme_kind": "occupational"}, small_pots_taken=3),
        ),
    ],
    "small_pots_not_given": [
        (request(w("small_pot", 1_000)), request(w("small_pot", 1_000), pension={"scheme_kind": "occupational"})),
        (
            request(w("small_pot", 1_000), small_pots_taken=3),
            request(w("small_pot", 1_000), small_pots_taken=2),
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
            request(w("pcls", 10_000), lump_sum_allowance_used=GONE - 10_000),
            request(w("pcls", 9_999.99), lump_sum_allowance_used=GONE - 10_000),
        ),
        # 10% of 1,073,100 is left of the lifetime allowance.
        (
            request(
                w("ufpls", 107_310, "2020-09-01"),
                date="2020-06-01",
                pension={"uncrystallised": 300_000},
                lifetime_allowance_used=0.9,
            ),
            request(
                w("ufpls", 90_000, "2020-09-01"),
                date="2020-06-01",
                pension={"uncrystallised": 300_000},
                lifetime_allowance_used=0.9,
            ),
        ),
    ],
    "lump_sum_allowance_nearly_used": [
        # 10,000 of 50,000: 160,000 is left, a quarter of it is 40,000.
        (
            request(w("pcls", 10_000), lump_sum_allowance_used=GONE - 49_999.99),
            request(w("pcls", 10_000), lump_sum_allowance_used=GONE - 50_000),
        ),
        (
            request(w("pcls", 10_000), lump_sum_allowance_used=GONE - 20_000),
            request(w("drawdown", 10_000), lump_sum_allowance_used=GONE - 20_000),
        ),
    ],
    "death_benefit_allowance_nearly_used": [
        # 10,000 is taken: 390,000 is left in the pension.
        (
            request(w("pcls", 10_000), lump_sum_and_death_benefit_allowance_used=673_100.01),
            request(w("pcls", 10_000), lump_sum_and_death_benefit_allowance_used=673_100),
        ),
        # 75 on the last day of the tax year.
        (
            request(
                w("pcls", 10_000),
                date_of_birth="1952-04-06",
                lump_sum_and_death_benefit_allowance_used=700_000,
            ),
            request(
                w("pcls", 10_000),
                date_of_birth="1952-04-05",
                lump_sum_and_death_benefit_allowance_used=700_000,
            ),
        ),
    ],
    # What counts against the one counts against the other (ITEPA 2003 ss.637P, 637R).
    "lump_sum_allowances_used_disagree": [
        (
            request(lump_sum_allowance_used=5_000, lump_sum_and_death_benefit_allowance_used=4_999.99),
            request(lump_sum_allowance_used=5_000, lump_sum_and_death_benefit_allowance_used=5_000),
        ),
        (
            request(lump_sum_allowance_used=0.01, lump_sum_and_death_benefit_allowance_used=0),
            request(lump_sum_allowance_used=0.01),
        ),
    ],
    "protected_lump_sum_allowance_ignored": [
        (
            request(protected_lump_sum_allowance=268_274.99),
            request(protected_lump_sum_allowance=268_275),
        ),
        # A quarter of 1,055,000 in 2019-20, and of 1,073,100 in 2020-21.
        (
            request(date="2020-04-06", protected_lump_sum_allowance=263_750),
            request(date="2020-04-05", protected_lump_sum_allowance=263_750),
        ),
        (
            request(date="2020-04-05", protected_lump_sum_allowance=263_749.99),
            request(date="2020-04-05"),
        ),
    ],
    "no_lump_sum_allowance_left": [
        (
            request(w("ufpls", 1_000), lump_sum_allowance_used=GONE),
            request(w("ufpls", 1_000), lump_sum_allowance_used=GONE - 0.01),
        )
    ],
    "all_tax_free_cash_at_once": [
        (request(w("pcls", 50_000)), request(w("pcls", 49_999))),
        (
            request(w("pcls", 50_000)),
            request(w("pcls", 50_000), lump_sum_allowance_used=GONE - 50_000),
        ),
        # Before 6 April 2024 there was no such allowance.
        (request(w("pcls", 50_000)), request(w("pcls", 50_000, "2023-09-01"), date="2023-06-01")),
    ],
    "lifetime_allowance_exceeded": [
        (
            request(
                w("ufpls", 107_310.01, day),
                date=today,
                pension={"uncrystallised": 300_000},
                lifetime_allowance_used=0.9,
            ),
            request(
                w("ufpls", 107_310, day),
                date=today,
                pension={"uncrystallised": 300_000},
                lifetime_allowance_used=0.9,
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
                pension={"uncrystallised": 107_390.69},
                lifetime_allowance_used=0.9,
            ),
            request(
                w("ufpls", 40_000, "2020-09-01"),
                date="2020-06-01",
                pension={"uncrystallised": 107_390.68},
                lifetime_allowance_used=0.9,
            ),
        ),
    ],
    # Finance Act 2024 Sch.9 para 126: 40% of 1,073,100 is 429,240, a quarter of it 107,310.
    "tax_free_received_before_april_2024_decides": [
        (
            request(w("pcls", 1_000), lifetime_allowance_used=0.4),
            request(
                w("pcls", 1_000),
                lifetime_allowance_used=0.4,
                tax_free_received_before_6_april_2024=107_310,
            ),
        ),
        (
            request(w("pcls", 1_000), lifetime_allowance_used=0.4),
            request(w("pcls", 1_000), lifetime_allowance_used=0.4, lump_sum_allowance_used=0.01),
        ),
        (
            request(w("pcls", 1_000, "2024-04-06"), date="2024-04-06", lifetime_allowance_used=0.4),
            request(w("pcls", 1_000, "2024-04-05"), date="2024-04-05", lifetime_allowance_used=0.4),
        ),
    ],
    "transitional_certificate_worth_considering": [
        (
            request(
                w("pcls", 1_000),
                lifetime_allowance_used=0.4,
                tax_free_received_before_6_april_2024=107_309.99,
            ),
            request(
                w("pcls", 1_000),
                lifetime_allowance_used=0.4,
                tax_free_received_before_6_april_2024=107_310,
            ),
        )
    ],
    "transitional_certificate_harmful": [
        (
            request(
                w("pcls", 1_000),
                lifetime_allowance_used=0.4,
                tax_free_received_before_6_april_2024=107_310.01,
            ),
            request(
                w("pcls", 1_000),
                lifetime_allowance_used=0.4,
                tax_free_received_before_6_april_2024=107_310,
            ),
        )
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)
