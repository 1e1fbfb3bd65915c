"""What cannot be asked of POST /v1/warnings, and how a request becomes circumstances."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from service.http.body import loaded, slowly_loaded
from service.http.provider import encode
from service.planning.check.check import circumstances_of
from service.planning.faults import RuleViolation
from service.schemas.check import request as schemas
from service.schemas.quick import quick_reader
from tests.households import BOOK
from tests.planning.warning_requests import SCHEMA, found_in, income, into_isa, request, saved, w
from tests.planning.warnings.every_topic import CASES


def refused(body: dict[str, Any]) -> list[tuple[tuple[str | int, ...], str]]:
    """The places and codes of a request's rule violations."""
    with pytest.raises(RuleViolation) as caught:
        found_in(body)
    return [(fault.path, fault.code) for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("body", "place", "code"),
    [
        (request(date="2019-04-05"), ("date",), "no-figures"),
        (request(date="2031-04-06"), ("date",), "no-figures"),
        (request(date_of_birth="2026-06-02"), ("household", "people", 0, "date_of_birth"), "not-yet-born"),
        (request(w("ufpls", 1, "2026-05-31")), ("withdrawals", 0, "date"), "before-the-date"),
        (request(w("ufpls", 1, "2031-04-06")), ("withdrawals", 0, "date"), "no-figures"),
        (
            request(subscriptions=[into_isa(1, "2026-05-31")]),
            ("isa_subscriptions", 0, "date"),
            "before-the-date",
        ),
        (
            request(subscriptions=[into_isa(1, "2031-04-06")]),
            ("isa_subscriptions", 0, "date"),
            "no-figures",
        ),
        (
            request(contributions=[saved(1, "2031-04-06")]),
            ("household", "people", 0, "contributions", 0, "date"),
            "no-figures",
        ),
        (
            request(date="2023-06-01", lump_sum_allowance_used=1),
            ("household", "people", 0, "lump_sum_allowances", "lump_sum_allowance_used"),
            "no-such-allowance-yet",
        ),
        (
            request(inherited_pension={"scheme_knew_on": "2026-06-02", "died_before_75": True}),
            ("household", "people", 0, "circumstances", "inherited_pension", "scheme_knew_on"),
            "in-the-future",
        ),
        (
            request(pension={"nomination_reviewed_on": "2026-06-02"}),
            ("household", "people", 0, "pensions", 0, "nomination_reviewed_on"),
            "in-the-future",
        ),
        (
            request(w("drawdown", 200_000.01)),
            ("withdrawals", 0, "amount"),
            "more-than-the-pot",
        ),
    ],
)
def test_what_cannot_be_is_refused(body: dict[str, Any], place: tuple[str | int, ...], code: str) -> None:
    assert refused(body) == [(place, code)]


@pytest.mark.parametrize(
    "body",
    [
        request(date="2019-04-06"),
        request(date="2031-04-05"),
        request(date_of_birth="2026-06-01"),
        request(w("ufpls", 1, "2026-06-01"), w("ufpls", 1, "2031-04-05")),
        request(w("drawdown", 200_000), w("ufpls", 200_000)),
        # Contributions of the past are looked at by the recycling rule, however old.
        request(contributions=[saved(1, "2010-01-01")]),
        request(date="2024-04-06", lump_sum_allowance_used=1),
        request(inherited_pension={"scheme_knew_on": "2026-06-01", "died_before_75": True}),
    ],
)
def test_what_just_can_be_is_answered(body: dict[str, Any]) -> None:
    found_in(body)


def test_all_faults_are_told_at_once() -> None:
    body = request(w("ufpls", 1, "2026-05-31"), w("ufpls", 1, "2035-01-01"), date_of_birth="2030-01-01")
    assert [code for _, code in refused(body)] == ["not-yet-born", "before-the-date", "no-figures"]


def test_more_than_there_is_on_the_day_whatever_the_order_of_the_request() -> None:
    """300 of drawdown: a lump sum of 100 on the same day, or the day before, moves 300 there, and one after it does not."""
    pension = {"uncrystallised": 400, "drawdown": 0}
    income_first = w("drawdown", 300, "2026-09-02")
    for day in ("2026-09-01", "2026-09-02"):
        found_in(request(income_first, w("pcls", 100, day), pension=pension))
    late = request(income_first, w("pcls", 100, "2026-09-03"), pension=pension)
    assert refused(late) == [(("withdrawals", 0, "amount"), "more-than-the-pot")]


def test_both_people_are_told_that_there_is_not_enough() -> None:
    body = request(
        w("ufpls", 200_001), partner={"pension": {"uncrystallised": 5}, "withdrawals": [w("ufpls", 6, "2026-09-01")]}
    )
    assert [path for path, _ in refused(body)] == [("withdrawals", 0, "amount"), ("withdrawals", 1, "amount")]


def test_the_tax_of_a_year_is_that_of_all_its_withdrawals() -> None:
    """12,570 free, then 20%: 10,000 and 5,000 of drawdown on 12,570 of pay is 3,000 (Income Tax Act 2007 s.10)."""
    body = request(
        w("drawdown", 5_000, "2026-10-01"), w("drawdown", 10_000, "2026-09-01"), income=income(employment=12_570)
    )
    (one,) = circumstances_of(schemas.question(SCHEMA.load(body)), BOOK).people
    (year,) = one.years
    assert year.with_it.total == 300_000
    assert year.without.total == 0
    assert [taken.path[-1] for taken in year.taken] == [1, 0]
    # Only the first payment is taxed by an emergency code.
    assert [taken.payroll is not None for taken in year.taken] == [True, False]


def test_the_pension_and_the_allowances_go_on_from_year_to_year() -> None:
    """A lump sum of 25,000 leaves 75,000 in drawdown and 243,275 of 268,275 (ITEPA 2003 s.637P)."""
    body = request(
        w("pcls", 25_000), w("drawdown", 5_000, "2027-06-01"), pension={"uncrystallised": 100_000, "drawdown": 0}
    )
    (one,) = circumstances_of(schemas.question(SCHEMA.load(body)), BOOK).people
    first, second = one.years
    assert (first.after.uncrystallised, first.after.drawdown) == (0, 7_500_000)
    assert second.left_before.lump_sum_allowance == 24_327_500
    assert (second.after.drawdown, second.triggered) == (7_000_000, True)


@pytest.mark.parametrize("code", CASES)
def test_the_quick_reader_reads_as_the_strict_one(code: str) -> None:
    quick = quick_reader(SCHEMA)
    for pair in CASES[code]:
        for body in pair:
            text = encode(body)
            assert loaded(text, SCHEMA, quick, schemas.question) == slowly_loaded(text, SCHEMA, schemas.question)


def test_a_request_is_not_changed_by_being_answered() -> None:
    body = request(w("ufpls", 1_000), benefits={"pension_credit": True}, student_loans={"plan_1": True})
    before = copy.deepcopy(body)
    found_in(body)
    assert body == before
