"""What payroll has taken against what is due: cases worked by hand, and that no two sentences of an answer disagree.

PAYE Regulations 2003 (SI 2003/2682) reg.23: on a cumulative code the payer deducts, or repays, the difference to the tax
already taken in the year. HMRC works a repayment out for the year (SAM110271).
"""

from __future__ import annotations

import json
import re
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, assume, example, given, settings

from service.law.lump_sums import Pension
from service.planning.check.check import circumstances_of
from service.planning.faults import RuleViolation
from service.planning.household import Income, Person
from service.planning.payroll import PayrollFacts, PayrollOutcome
from service.planning.quote.circumstances import warnings_for
from service.planning.quote.quote import Question, Quote, Withdrawal, quote
from service.planning.warnings.registry import all_found
from service.planning.warnings.warning import ClientWarning
from service.schemas.check import request as schemas
from tests.households import BOOK
from tests.planning.test_warning_properties import facts, households, with_facts
from tests.planning.test_withdrawal_properties import questions
from tests.planning.warning_requests import PERSON, SCHEMA, by_code, found_in, income, request, w

RETIRED = date(1958, 3, 3)


def quoted(
    amount: int,
    payroll: PayrollFacts | None,
    *,
    pot: int = 9_000_000,
    tax_year: str = "2026-27",
    nation: str = "england",
    **incomes: int,
) -> Quote:
    """Income from drawdown, pence."""
    person = Person(RETIRED, nation, tuple(Income(kind, each) for kind, each in incomes.items()))
    pension = Pension(0, drawdown=pot, flexibly_accessed=True)
    return quote(Question(tax_year, person, pension, Withdrawal("drawdown", amount), payroll), BOOK)


def sums(outcome: PayrollOutcome) -> tuple[int, int, int, int]:
    """Deducted, refunded, too much, too little."""
    return outcome.deduction.tax, outcome.refund, outcome.over_deducted, outcome.under_deducted


def codes(answer: Quote) -> set[str]:
    """The codes that speak of what payroll takes."""
    names = ("payroll", "state_pension_untaxed", "pay_to_date")
    return {found.code for found in warnings_for(answer) if found.code.startswith(names)}


# By hand. 2026-27, England: allowance 12,570, 20% up to 37,700 above it (ITA 2007 ss.10, 35).


def test_nothing_is_due_through_payroll_under_code_nt() -> None:
    """PAYE13002: NT is no tax. 200 taken before are paid back, and nothing of that is to be kept for HMRC."""
    found = quoted(100_000, PayrollFacts("NT", "cumulative", 2, 100_000, 20_000), other_taxable=100_000)
    assert sums(found.payroll) == (-20_000, 20_000, 0, 0)
    assert found.payroll.paid_out == 120_000
    assert found.payroll.reclaim.form == "none"
    assert "a refund of £200 " in found.payroll.explanation
    assert codes(found) == set()
    # The pay to date is not in the income: that is asked about, and nothing else.
    assert codes(quoted(100_000, PayrollFacts("NT", "cumulative", 2, 100_000, 20_000))) == {"pay_to_date_above_income"}
    assert sums(quoted(100_000, PayrollFacts("NT", "month_1"), employment=3_000_000).payroll) == (0, 0, 0, 0)


def test_a_second_payment_after_the_emergency_code() -> None:
    """10,000 under 1257L month 1 bore 2,952.06: 8,951 after free pay of 1,048.26, the first 3,141.66 of it at 20%.

    In month 8, 15,000 in all less 8 times 1,048.26 leaves 6,613 at 20%: 1,322.60, so that 1,629.46 is paid back. Due for the
    year is 20% of 15,000 - 12,570, 486: 836.60 too much is left.
    """
    found = quoted(500_000, PayrollFacts("1257L", "cumulative", 8, 1_000_000, 295_206), other_taxable=1_000_000)
    assert found.on_withdrawal == 48_600
    assert sums(found.payroll) == (-162_946, 162_946, 83_660, 0)
    assert found.payroll.reclaim.way == "later_payments"
    assert codes(found) == {"payroll_takes_more_than_is_due"}
    (warning,) = (one for one in warnings_for(found) if one.code == "payroll_takes_more_than_is_due")
    assert "refund of £1,629.46" in warning.detail
    assert dict(warning.money) == {"over_deducted": 83_660, "refund": 162_946}


def test_the_tax_that_a_k_code_collects_for_a_state_pension_is_not_claimed_back() -> None:
    """PAYE11095: K143 adds 1,439 a year, 119.92 a month: 1,119 at 20% is 223.80. The payment adds 200; 286 more is due on
    the State Pension of 14,000, and 486 for the year."""
    found = quoted(100_000, PayrollFacts("K143", "month_1"), state_pension=1_400_000)
    assert (found.without.total, found.with_it.total) == (28_600, 48_600)
    assert sums(found.payroll) == (22_380, 0, 0, 0)
    assert found.payroll.reclaim.form == "none"
    assert codes(found) == set()
    # On a cumulative code the same: two months, 2,000 and 239.84, 2,239 at 20%; 400 and 286 are due for the year.
    twice = quoted(
        100_000,
        PayrollFacts("K143", "cumulative", 2, 100_000, 22_380),
        state_pension=1_400_000,
        other_taxable=100_000,
    )
    assert sums(twice.payroll) == (22_400, 0, 0, 0)
    # More than the whole year's tax is too much: 500 were taken before, and 223.80 more are taken now; 686 are due.
    much = quoted(
        100_000,
        PayrollFacts("K143", "cumulative", 2, 100_000, 50_000),
        state_pension=1_400_000,
        other_taxable=100_000,
    )
    assert sums(much.payroll) == (44_780 - 50_000, 5_220, 0, 0)
    # A K code for other income than this year's takes half of the payment at most: nothing else is taxed, and 500 go.
    half = quoted(100_000, PayrollFacts("K9000", "month_1"))
    assert sums(half.payroll) == (50_000, 0, 50_000, 0)
    assert (half.payroll.reclaim.form, half.payroll.reclaim.way) == ("none", "hmrc")


def test_a_pension_used_up_on_a_cumulative_code() -> None:
    """20,000 in month 3: 3 times 1,048.26 free leaves 16,855, the first 9,425 of it at 20% and 7,430 at 40%, 4,857; due are
    20% of 7,430, 1,486. No later payment refunds the rest: PAYE94055, scenario 1."""
    found = quoted(2_000_000, PayrollFacts("1257L", "cumulative", 3), pot=2_000_000)
    assert sums(found.payroll) == (485_700, 0, 337_100, 0)
    assert found.payroll.reclaim.form == "P50Z"
    assert codes(found) == {"payroll_takes_more_than_is_due"}
    # Scenario 2, and what remains in the pension.
    other = quoted(2_000_000, PayrollFacts("1257L", "cumulative", 3), pot=2_000_000, annuity=100)
    assert other.payroll.reclaim.form == "P53Z"
    assert quoted(2_000_000, PayrollFacts("1257L", "cumulative", 3), pot=2_000_001).payroll.reclaim.form == "none"
    # Earlier payments from the pension itself are no other income.
    last = quoted(500_000, PayrollFacts("1257L", "cumulative", 8, 10**6, 295_206), pot=500_000, other_taxable=10**6)
    assert last.payroll.reclaim.form == "P50Z"


def test_a_refund_of_more_than_is_owed_leaves_tax_to_pay() -> None:
    """The allowance is used by pay from elsewhere: of 2,000 in two months 400 are due, 200 were taken, and 1257L refunds
    them, since 2 times 1,048.26 is free."""
    found = quoted(
        100_000,
        PayrollFacts("1257L", "cumulative", 2, 100_000, 20_000),
        employment=2_000_000,
        other_taxable=100_000,
    )
    assert sums(found.payroll) == (-20_000, 20_000, 0, 40_000)
    (warning,) = (one for one in warnings_for(found) if one.code == "payroll_takes_less_than_is_due")
    assert "The refund of £200 in this payment is more than is owed over the year." in warning.detail


def test_pay_to_date_that_is_not_in_the_income_is_counted_in_the_comparison() -> None:
    """The same person as above, the income left out: the 10,000 were paid, and their tax of the year is compared."""
    found = quoted(500_000, PayrollFacts("1257L", "cumulative", 8, 1_000_000, 295_206))
    assert sums(found.payroll) == (-162_946, 162_946, 83_660, 0)
    assert codes(found) == {"payroll_takes_more_than_is_due", "pay_to_date_above_income"}


def test_where_nothing_is_taxable_payroll_has_nothing_to_say() -> None:
    facts_so_far = PayrollFacts("1257L", "cumulative", 8, 1_000_000, 295_206)
    person = Person(RETIRED, "england", (Income("other_taxable", 1_000_000),))
    found = quote(Question("2026-27", person, Pension(10_000_000), Withdrawal("pcls", 100_000), facts_so_far), BOOK)
    assert sums(found.payroll) == (0, 0, 0, 0)


@pytest.mark.parametrize("nation", ["england", "scotland", "wales", "northern_ireland"])
def test_the_emergency_code_of_each_nation(nation: str) -> None:
    found = quoted(100_000, None, nation=nation).payroll
    assert found.facts.code == "1257L"
    assert ("the UK emergency code" in found.explanation) == (nation in ("scotland", "wales"))


# The State Pension: 12,570 of it is within the allowance.


def test_a_small_pot_beside_a_state_pension() -> None:
    """BR takes 20% of 7,125, and 20% of 6,555 is due: 114 too much, form P53, and nothing about a second allowance."""
    person = Person(RETIRED, "england", (Income("state_pension", 1_200_000),))
    found = quote(Question("2026-27", person, Pension(950_000), Withdrawal("small_pot", 950_000)), BOOK)
    assert sums(found.payroll) == (142_500, 0, 11_400, 0)
    assert found.payroll.reclaim.form == "P53"
    assert codes(found) == {"payroll_takes_more_than_is_due"}


def test_a_whole_pension_beside_a_state_pension() -> None:
    """80,000 as a UFPLS on the emergency code: 60,000 taxable. Much too much is taken, and nothing is left to pay."""
    person = Person(RETIRED, "england", (Income("state_pension", 1_200_000),))
    found = quote(Question("2026-27", person, Pension(8_000_000), Withdrawal("ufpls", 8_000_000)), BOOK)
    assert found.payroll.over_deducted == 914_620
    assert found.payroll.reclaim.form == "P50Z"
    assert codes(found) == {"payroll_takes_more_than_is_due"}


def test_a_state_pension_that_leaves_tax_to_pay() -> None:
    """1,000 beside 12,000 adds 20% of 430, 86, and the emergency code takes nothing. Beside 14,000 it adds 200, and 286 is
    due on the State Pension itself; a payment that adds nothing leaves the 286."""
    under = {found.code: found for found in warnings_for(quoted(100_000, None, state_pension=1_200_000))}
    assert "payroll_takes_less_than_is_due" not in under
    one = under["state_pension_untaxed_at_source"]
    assert dict(one.money) == {"state_pension": 1_200_000, "under_deducted": 8_600}
    above = {found.code: found for found in warnings_for(quoted(100_000, None, state_pension=1_400_000))}
    assert dict(above["state_pension_untaxed_at_source"].money) == {
        "state_pension": 1_400_000,
        "under_deducted": 20_000,
        "tax_on_state_pension": 28_600,
    }
    alone = {found.code: found for found in warnings_for(quoted(2, None, state_pension=1_400_000))}
    assert dict(alone["state_pension_untaxed_at_source"].money) == {
        "state_pension": 1_400_000,
        "tax_on_state_pension": 28_600,
    }


def test_a_state_pension_above_the_allowance_is_told_once() -> None:
    body = request(w("drawdown", 1_000), w("drawdown", 1_000, "2027-06-01"), income=income(state_pension=14_000))
    (one,) = (one for one in found_in(body) if one.code == "state_pension_uses_personal_allowance")
    assert one.tax_year == "2026-27"
    assert one.detail.startswith("Your State Pension of £14,000 is more than")


# The form in a request with several payments


def form_told(*withdrawals: dict[str, Any], **person: Any) -> str:
    return by_code(request(*withdrawals, **person))["payroll_takes_more_than_is_due"].detail


def test_a_form_only_where_no_further_payment_is_due() -> None:
    """gov.uk, P55 (from memory): not for those who take regular payments."""
    first, second = w("drawdown", 5_000), w("drawdown", 5_000, "2026-10-01")
    assert "Form P55 reclaims it" in form_told(first)
    assert "Later payments in 2026-27" in form_told(first, second)
    assert "P55" not in form_told(first, second)
    # A lump sum is no taxable payment, and the next tax year has a form of its own.
    assert "Form P55 reclaims it" in form_told(first, w("pcls", 5_000, "2026-10-01"))
    assert "Form P55 reclaims it" in form_told(first, w("drawdown", 5_000, "2027-04-06"))


def test_each_of_two_small_pots_has_its_own_form() -> None:
    """PAYE94045: each is taxed at the basic rate. 1,500 of 7,500 is too much for someone without other income."""
    found = found_in(request(w("small_pot", 10_000), w("small_pot", 4_000, "2026-10-01")))
    told = [one for one in found if one.code == "payroll_takes_more_than_is_due"]
    assert [("form P53," in one.detail, dict(one.money)["tax_deducted"]) for one in told] == [
        (True, 150_000),
        (True, 60_000),
    ]
    assert not {"second_payment_in_the_year", "state_pension_untaxed_at_source"} & {one.code for one in found}


def test_no_form_for_someone_not_resident() -> None:
    detail = form_told(w("drawdown", 5_000), uk_resident=False)
    assert not re.search(r"P5\d", detail)
    assert "double taxation agreement" in detail


def test_a_quote_for_someone_not_resident_names_no_form_and_the_treaty(client: FlaskClient) -> None:
    """P55, P53Z and P50Z are for UK residents (gov.uk, form P50: "If you're not a UK resident ... you do not need to fill in this
    form"), and winter fuel payments for those ordinarily resident here (SI 2025/969)."""
    person: dict[str, Any] = {
        "date_of_birth": "1955-06-01",
        "tax_residence": "england",
        "income": [{"kind": "property_income", "amount": 20_000}],
        "flexibly_accessed": True,
        "pensions": [{"uncrystallised": 0, "drawdown": 90_000}],
    }
    body = {"tax_year": "2026-27", "withdrawal": {"method": "drawdown", "amount": 30_000}}
    told = {}
    for resident in (True, False):
        household = {"people": [{**person, "circumstances": {"uk_resident": resident}}]}
        found = client.post("/v1/withdrawal-tax", json={"household": household, **body}).get_json()
        told[resident] = {one["code"] for one in found["warnings"]}, found["payroll"]["reclaim"]
    assert told[True][1]["form"] == "P55"
    assert "winter_fuel_payment_repaid" in told[True][0]
    assert told[False][1]["form"] == "none"
    assert "treat" in told[False][1]["reason"] or "double taxation" in told[False][1]["reason"]
    assert "not_uk_resident_tax" in told[False][0]
    assert "winter_fuel_payment_repaid" not in told[False][0]


# No two sentences of one answer disagree.

TOO_MUCH = re.compile(r"too much tax|reclaim|corrects? (it|the tax)|Overpaid")
STILL_DUE = re.compile(r"more tax will be due|[Aa] further £|of tax is due on it")


def disagreements(outcome: PayrollOutcome, sentences: str) -> list[str]:
    """What cannot be said of one payment at the same time. ``sentences`` is all that is said of it."""
    so_far = outcome.facts.tax_to_date if outcome.facts.basis == "cumulative" else 0
    wrong = {
        "too much and still due": bool(TOO_MUCH.search(sentences)) and bool(STILL_DUE.search(sentences)),
        "too much that is not": bool(TOO_MUCH.search(sentences)) and not outcome.over_deducted,
        "a form for nothing": outcome.reclaim.form != "none" and not outcome.over_deducted,
        "both ways": min(outcome.over_deducted, outcome.under_deducted) > 0,
        "a negative deduction": "deduct -" in sentences or "-£" in sentences,
        "a refund not called one": ("refund of" in sentences) != (outcome.refund > 0),
        "more back than was taken": outcome.over_deducted > max(0, so_far + outcome.deduction.tax),
        "a form for a K code": "K" in outcome.facts.code and outcome.reclaim.form != "none",
        "a form where later payments correct it": outcome.reclaim.way == "later_payments"
        and outcome.reclaim.form != "none",
    }
    return [name for name, is_so in wrong.items() if is_so]


def of_payroll(found: list[ClientWarning]) -> list[ClientWarning]:
    return [one for one in found if one.code.startswith(("payroll_takes", "state_pension_untaxed"))]


@settings(max_examples=400, deadline=None)
@given(questions())
def test_no_two_sentences_of_a_quote_disagree(question: Question) -> None:
    answer = quote(question, BOOK)
    outcome = answer.payroll
    # A marriage allowance that comes back lowers the tax of the year, and the excess is then more than was taken.
    assume(answer.without.marriage_allowance_given == answer.with_it.marriage_allowance_given)
    details = " ".join(one.detail for one in of_payroll(warnings_for(answer)))
    assert (
        disagreements(outcome, f"{outcome.explanation} {outcome.reclaim.reason.split(' not more than ')[0]} {details}")
        == []
    )


ALREADY_PENSIONER = {
    **PERSON,
    "income": income(state_pension=14_000),
    "withdrawals": [w("small_pot", 9_500), w("drawdown", 1_000)],
}


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(households(), facts)
@example({"date": "2026-06-01", "people": [ALREADY_PENSIONER]}, {})
def test_no_two_sentences_of_a_warnings_request_disagree(body: dict[str, Any], chosen: dict[str, int]) -> None:
    document = json.loads(json.dumps(with_facts(body, chosen)), parse_float=Decimal)
    try:
        case = circumstances_of(schemas.question(SCHEMA.load(document)), BOOK)
    except RuleViolation:
        return
    found = of_payroll(all_found(case))
    for one in case.people:
        for year in one.years:
            emergency = next((taken for taken in year.taken if taken.payroll and taken.method != "small_pot"), None)
            for taken in year.taken:
                if taken.payroll is None or not taken.payment.taxable:
                    continue
                details = " ".join(
                    warning.detail
                    for warning in found
                    if warning.tax_year == year.name
                    and (
                        warning.path == taken.payroll_path
                        or (taken is emergency and warning.path == (*one.person.path, "income"))
                    )
                )
                assert disagreements(taken.payroll, details) == []
                assert not (
                    taken.payroll.reclaim.form == "P55" and emergency is not None and _followed(year.taken, taken)
                )


def _followed(taken: tuple[Any, ...], one: Any) -> bool:
    """Whether a taxable payment that is no small pot comes after this one in the tax year."""
    later = taken[taken.index(one) + 1 :]
    return any(each.payment.taxable and each.method != "small_pot" for each in later)
