"""Lump sums and their allowances: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, request, saved, w
from tests.planning.warnings.pairs import Case, Pair, either_side

# ITEPA 2003 ss.637P and 637R: 268,275 and 1,073,100; Finance Act 2004 to 2023-24: 1,073,100.
GONE = 268_275
PROTECTED = {"uncrystallised": 200_000, "drawdown": 0, "protected_tax_free_share": 0.4}
MUCH_USED: Case = {
    "date": "2021-06-01",
    "lifetime_allowance_used": 0.7,
    "pension": {"uncrystallised": 1_000_000, "drawdown": 0},
}
NOTHING_LEFT: Case = {"date": "2021-06-01", "lifetime_allowance_used": 1, "pension": {"drawdown": 0}}


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
        # Finance Act 2004 Sch.36 paras 31-34: 40% of 200,000, with nothing in drawdown yet.
        (request(w("pcls", 80_000.01), pension=PROTECTED), request(w("pcls", 80_000), pension=PROTECTED)),
        (
            request(w("pcls", 80_000), pension={**PROTECTED, "drawdown": 0.01}),
            request(w("pcls", 80_000), pension=PROTECTED),
        ),
        # PTM088650: 75 on the day, and the day before, with nothing left of the lifetime allowance.
        (
            request(w("ufpls", 1_000, "2021-09-01"), date_of_birth="1946-09-01", **NOTHING_LEFT),
            request(w("ufpls", 1_000, "2021-09-01"), date_of_birth="1946-09-02", **NOTHING_LEFT),
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
        ),
        # Of what is above the limit, small_pot_above_limit says that it does not fit.
        (
            request(w("small_pot", 10_000), pension={"uncrystallised": 10_000.01, "drawdown": 0}),
            request(w("small_pot", 10_000.01), pension={"uncrystallised": 10_000.01, "drawdown": 0}),
        ),
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
        # ITEPA 2003 s.637R: 1,073,100, treated alike; no such allowance before 6 April 2024.
        (
            request(protected_lump_sum_and_death_benefit_allowance=1_073_099.99),
            request(protected_lump_sum_and_death_benefit_allowance=1_073_100),
        ),
        (
            request(protected_lump_sum_and_death_benefit_allowance=500_000, date="2024-04-06"),
            request(protected_lump_sum_and_death_benefit_allowance=500_000, date="2024-04-05"),
        ),
    ],
    # Finance Act 2004 Sch.36 paras 31-34: a penny more than the quarter.
    "protected_lump_sum_relied_on": [
        (request(w("pcls", 50_000.01), pension=PROTECTED), request(w("pcls", 50_000), pension=PROTECTED)),
        (
            request(w("pcls_and_drawdown", 200_000), pension=PROTECTED),
            request(w("pcls_and_drawdown", 199_999.99), pension=PROTECTED),
        ),
        (
            request(w("pcls_and_drawdown", 200_000), pension=PROTECTED),
            request(w("ufpls", 200_000), pension=PROTECTED),
        ),
    ],
    # Finance (No. 2) Act 2023 s.23, from memory.
    "contributions_may_end_protection": [
        (
            request(protected_lump_sum_allowance=268_275.01, contributions=[saved(100)]),
            request(protected_lump_sum_allowance=268_275, contributions=[saved(100)]),
        ),
        (
            request(protected_lump_sum_and_death_benefit_allowance=1_073_100.01, contributions=[saved(100)]),
            request(protected_lump_sum_and_death_benefit_allowance=1_073_100, contributions=[saved(100)]),
        ),
        (
            request(protected_lump_sum_allowance=375_000, contributions=[saved(100)]),
            request(protected_lump_sum_allowance=375_000, contributions=[]),
        ),
        (
            request(protected_lump_sum_allowance=375_000, contributions=[saved(100, "2023-12-01")], date="2023-06-01"),
            request(protected_lump_sum_allowance=375_000, contributions=[saved(100, "2022-12-01")], date="2022-06-01"),
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
    ]
    + [
        # PTM088650: 75 on the day, and the day before.
        (
            request(w("ufpls", 400_000, "2021-09-01"), date_of_birth="1946-09-02", **MUCH_USED),
            request(w("ufpls", 400_000, "2021-09-01"), date_of_birth="1946-09-01", **MUCH_USED),
        )
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


def test_what_is_no_ufpls_is_not_called_one_and_is_no_flexible_access() -> None:
    """Notes to the Taxation of Pensions Act 2014, 125: with nothing left of the lifetime allowance all of it is an excess lump
    sum, charged 55%."""
    body = request(w("ufpls", 50_000, "2021-09-01"), date_of_birth="1956-01-01", **NOTHING_LEFT)
    found = by_code(body)
    told = found["lifetime_allowance_exceeded"]
    assert told.cost == 2_750_000
    assert told.detail.startswith("£50,000 of this is a lifetime allowance excess lump sum and is charged £27,500.")
    assert "money_purchase_annual_allowance_triggered" not in found
    assert [one.code for one in found.values() if "UFPLS" in one.detail] == []
