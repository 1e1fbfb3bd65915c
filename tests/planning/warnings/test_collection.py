"""How what is due is collected: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

from typing import Any

import pytest

from service.planning.check.check import circumstances_of
from service.planning.warnings.registry import each_found
from service.schemas.check import request as schemas
from tests.households import BOOK
from tests.planning.warning_requests import SCHEMA, by_code, income, request, w
from tests.planning.warnings.pairs import DRAWN, YEARS, Case, Pair, drawn, either_side

UFPLS = w("ufpls", 40_000)

CASES: dict[str, list[Pair]] = {
    # HMRC PAYE94055: the forms are for UK residents; a treaty frees from UK tax once HMRC has sent a code.
    "not_uk_resident_tax": [
        (drawn("2026-27", 10_000, uk_resident=False), drawn("2026-27", 10_000, uk_resident=True)),
        (drawn("2026-27", 10_000, uk_resident=False), drawn("2026-27", 10_000)),
        (
            drawn("2026-27", 10_000, uk_resident=False),
            request(w("pcls", 10_000), uk_resident=False),
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
        # Plan 5: 25,000, to be repaid from April 2026 (SI 2009/470).
        (
            drawn("2026-27", 5_000.12, income=income(employment=20_000), student_loans={"plan_5": True}),
            drawn("2026-27", 5_000.11, income=income(employment=20_000), student_loans={"plan_5": True}),
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
        # Reg.29(1)(b): only where a return is filed.
        (
            drawn("2026-27", 40_000, student_loans={"plan_2": True}, self_assessment=True),
            drawn("2026-27", 40_000, student_loans={"plan_2": True}, self_assessment=False),
        ),
    ],
    # Taxes Management Act 1970 s.59A and SI 1996/1654, from memory: not where less than 1,000, or less than a fifth of the
    # year's tax, is left to pay. A small pot is taxed at 20%, and 40% is due: 7,500 of it taxed.
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
    # The emergency code frees 1,048.26 a month (HMRC's routine, 1257L): 20p on each whole pound above is 1.00 of 5, and a
    # pound is the least that is told.
    "payroll_takes_more_than_is_due": [
        (drawn(year, free + 5), drawn(year, free + 4.99))
        for year, free in (("2020-21", 1_042.43), ("2026-27", 1_048.26))
    ]
    + [
        (drawn("2026-27", 5_000), drawn("2026-27", 5_000, flexibly_accessed=True)),
        # BR takes 1,500 of the 7,500 of a small pot that are taxed; 1,499.00 or 1,499.01 are due above the allowance.
        (
            request(w("small_pot", 10_000), income=income(employment=12_565)),
            request(w("small_pot", 10_000), income=income(employment=12_565.05)),
        ),
        # 55 on 1 September 2026 or a day later: of a payment that is not permitted no payroll is told.
        (request(UFPLS, date_of_birth="1971-09-01"), request(UFPLS, date_of_birth="1971-09-02")),
    ],
    "payroll_takes_less_than_is_due": [
        (
            drawn("2026-27", 1_000, income=income(employment=11_575)),
            drawn("2026-27", 1_000, income=income(employment=11_574.95)),
        ),
        (
            request(UFPLS, date_of_birth="1971-09-01", income=income(employment=150_000)),
            request(UFPLS, date_of_birth="1971-09-02", income=income(employment=150_000)),
        ),
        # Because of a State Pension it is told of that.
        (
            drawn("2026-27", 1_000, income=income(employment=12_570)),
            drawn("2026-27", 1_000, income=income(state_pension=12_570)),
        ),
        # 1,480 of a small pot is above 50,270, so that 296 more is due on it than 20%; the emergency code takes 16,378.20 of
        # the other payment, 378.20 more than 40%. Over the year that is too much, and is told of that payment alone.
        (
            request(w("small_pot", 9_000), income=income(employment=45_000)),
            request(w("small_pot", 9_000), w("drawdown", 40_000, "2026-10-01"), income=income(employment=45_000)),
        ),
        # But not of a small pot, which is taxed at 20% with no allowance: 40% is due above 50,270.
        (
            request(w("small_pot", 10_000), income=income(state_pension=10_000, employment=42_000)),
            request(w("small_pot", 10_000), income=income(state_pension=10_000, employment=30_000)),
        ),
    ],
    # PAYE94045: small pots are taxed at the basic rate, each by its own scheme. PAYE94055: later payments use the new code.
    "second_payment_in_the_year": [
        (request(DRAWN, w("drawdown", 1, "2027-04-05")), request(DRAWN, w("drawdown", 1, "2027-04-06"))),
        (request(DRAWN, w("drawdown", 1, "2027-04-05")), request(DRAWN, w("pcls", 1, "2027-04-05"))),
        (
            request(DRAWN, w("drawdown", 1_000, "2026-10-01")),
            request(DRAWN, w("drawdown", 1_000, "2026-10-01"), flexibly_accessed=True),
        ),
        (
            request(DRAWN, w("drawdown", 1_000, "2026-10-01")),
            request(w("small_pot", 1_000), w("small_pot", 1_000, "2026-10-01")),
        ),
        # A small pot first: the emergency code is still to come, and then there must be two.
        (
            request(w("small_pot", 1_000), w("drawdown", 1, "2026-10-01"), w("drawdown", 1, "2026-10-02")),
            request(w("small_pot", 1_000), w("drawdown", 1, "2026-10-01")),
        ),
    ],
    # Finance Act 2019 s.5: 12,500; SI 2021/111: 12,570.
    "state_pension_uses_personal_allowance": [
        (
            drawn(year, 1_000, income=income(state_pension=allowance + 0.01)),
            drawn(year, 1_000, income=income(state_pension=allowance)),
        )
        for year, allowance in zip(YEARS, (12_500, 12_570, 12_570, 12_570), strict=True)
    ],
    # Above 12,570 in all, 20%: 0.006 is a penny, 0.004 none. The emergency code takes nothing of 1,000.
    "state_pension_untaxed_at_source": [
        (
            drawn("2026-27", 1_000, income=income(state_pension=11_570.03)),
            drawn("2026-27", 1_000, income=income(state_pension=11_570.02)),
        ),
        (
            drawn("2026-27", 1_000, income=income(state_pension=12_000)),
            drawn("2026-27", 1_000, income=income(defined_benefit_pension=12_000)),
        ),
        # Another pension that uses the whole allowance leaves the State Pension none to use (s.35).
        (
            drawn("2026-27", 1_000, income=income(state_pension=5_000, defined_benefit_pension=12_569.99)),
            drawn("2026-27", 1_000, income=income(state_pension=5_000, defined_benefit_pension=12_570)),
        ),
        # The tax of the State Pension itself, if no other payer's code collects it.
        (
            drawn("2026-27", 0.02, income=income(state_pension=12_570.03)),
            drawn("2026-27", 0.02, income=income(state_pension=12_570)),
        ),
        (
            drawn("2026-27", 0.02, income=income(state_pension=14_000)),
            drawn("2026-27", 0.02, income=income(state_pension=14_000, annuity=1)),
        ),
        # A small pot is taxed at the basic rate, with no allowance.
        (
            drawn("2026-27", 1_000, income=income(state_pension=14_000)),
            request(w("small_pot", 10_000), income=income(state_pension=14_000)),
        ),
        # Never beside too much: 80,000 on the emergency code.
        (
            drawn("2026-27", 1_000, income=income(state_pension=12_000)),
            drawn("2026-27", 80_000, income=income(state_pension=12_000)),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


def test_what_two_payments_of_a_year_leave_is_told_once() -> None:
    """By hand: 296 too little is deducted from a small pot and 378.20 too much from the payment after it."""
    both = request(w("small_pot", 9_000), w("drawdown", 40_000, "2026-10-01"), income=income(employment=45_000))
    found = by_code(both)["payroll_takes_more_than_is_due"]
    assert (found.path, dict(found.money)) == (
        ("withdrawals", 1),
        {"over_deducted": 8_220, "tax_deducted": 1_637_820},
    )


def test_a_new_child_benefit_charge_must_be_told_to_hmrc() -> None:
    """Taxes Management Act 1970 s.7: by 5 October after the tax year. Not where a return is filed, or the charge is not new."""

    def told(**more: Any) -> str:
        return by_code(drawn("2026-27", 30_200, child_benefit=2_000, **more))["child_benefit_charge"].detail

    new, old = income(employment=30_000), income(employment=60_200)
    assert "must be reported to HMRC" in told(income=new)
    assert "by 5 October 2027. We were not told whether a return is already filed." in told(income=new)
    assert told(income=new, self_assessment=False).endswith("by 5 October 2027.")
    assert "reported" not in told(income=new, self_assessment=True)
    assert "reported" not in told(income=old)


def test_another_pension_that_uses_the_allowance_is_what_leaves_tax_to_pay() -> None:
    """With 12,570 of another pension, too little is deducted from a payment because of that pension (ITA 2007 s.35)."""
    found = by_code(drawn("2026-27", 1_000, income=income(state_pension=5_000, defined_benefit_pension=12_570)))
    assert "payroll_takes_less_than_is_due" in found
    shared = by_code(drawn("2026-27", 1_000, income=income(state_pension=5_000, defined_benefit_pension=8_000)))
    assert "but it uses part of the allowance." in shared["state_pension_untaxed_at_source"].detail


def on_account(first: float, second: float) -> int | None:
    """What payments on account are said to rest on where two payments of a year are deducted so much too much, or too little
    below nil; None where none is told. The year's tax is 2,486.00 (15,000 and 10,000 less 12,570, at 20%)."""
    case = circumstances_of(
        schemas.question(
            SCHEMA.load(
                request(
                    w("drawdown", 7_500, "2026-07-01"),
                    w("drawdown", 7_500, "2026-10-01"),
                    income=income(employment=10_000),
                    self_assessment=True,
                )
            )
        ),
        BOOK,
    )
    (person,) = case.people
    (year,) = person.years
    assert year.with_it.total == 2_486_00
    payroll = year.taken[0].payroll
    assert payroll is not None
    taken = tuple(
        one._replace(
            payroll=payroll._replace(over_deducted=max(0, round(100 * out)), under_deducted=max(0, round(-100 * out)))
        )
        for one, out in zip(year.taken, (first, second), strict=True)
    )
    told = each_found(case._replace(people=(person._replace(years=(year._replace(taken=taken),)),)))
    return next(
        (one.money["not_deducted_at_source"] for one in told if one.code == "payments_on_account"),
        None,
    )


@pytest.mark.parametrize(
    # Taxes Management Act 1970 s.59A(1): what counts is what the year's tax exceeds all that is "deducted at source" by, so that
    # what one payment is deducted too much comes off what another is deducted too little; "not less than" 1,000 (SI 1996/1654
    # reg.3). A fifth of the tax of the year, 497.20, is less than that.
    ("first", "second", "told"),
    [
        (0, -1_000, 1_000_00),
        (0, -999.99, None),
        (900, -1_900, 1_000_00),
        (900, -1_899.99, None),
        (-1_900, 900, 1_000_00),
        (-1_899.99, 900, None),
        (-400, -600, 1_000_00),
        (-400, -599.99, None),
        (1_900, -900, None),
    ],
)
def test_payments_on_account_net_what_is_deducted_too_much(first: float, second: float, told: int | None) -> None:
    assert on_account(first, second) == told
