"""PAYE on one payment, worked out a second time with decimals from HMRC's routine, and the properties it must have.

The routine: HMRC, Specification for PAYE Tax Table Routines, v24.0 (February 2026). HMRC's own test data are among the
published cases; here are figures derived from the routine, and rules that hold for every payment.
"""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.law.payroll import Deduction, deduction, free_pay_of_month, is_in_use, parse_code
from tests.households import BOOK, YEARS, years

CODES = (
    "1257L", "1250L", "S1257L", "C1257L", "45L", "500L", "501L", "1000T", "1001M", "C1131N", "0L", "1L", "999999L",
    "0T", "S0T", "C0T", "K1", "K475", "K500", "K501", "SK12", "CK2500", "BR", "SBR", "CBR", "D0", "D1", "SD0", "SD1",
    "SD2", "SD3", "CD0", "CD1", "NT",
)  # fmt: skip


def codes_of(tax_year: str) -> tuple[str, ...]:
    """The codes above that the year has."""
    return tuple(code for code in CODES if is_in_use(BOOK.years[tax_year].payroll, parse_code(code)))


def limits_of(tax_year: str, nation: str) -> list[int]:
    """The yearly limits of a nation's bands, pence."""
    bands = BOOK.years[tax_year].figures.bands(f"income_tax.bands_{nation}")
    return [band.up_to for band in bands if band.up_to is not None]


def deducted(tax_year: str, code: str, payment: int, **facts: Any) -> Deduction:
    return deduction(BOOK.years[tax_year].payroll, parse_code(code), payment, **facts)


# The same by the routine's own words, in pounds, from the figures alone.


def cut(amount: Decimal, places: int) -> Decimal:
    """Drop what is beyond so many decimal places."""
    return amount.quantize(Decimal(1).scaleb(-places), ROUND_FLOOR)


def up(amount: Decimal, places: int) -> Decimal:
    return amount.quantize(Decimal(1).scaleb(-places), ROUND_CEILING)


def adjustment_of(number: int) -> Decimal:
    """Para 4.3.1: blocks of 500, each 5,000/12 up to the penny, and the rest of the number with 9 pounds added."""
    if number == 0:
        return Decimal(0)
    blocks, rest = 0, number
    while rest > 500:
        blocks, rest = blocks + 1, rest - 500
    return blocks * Decimal("416.67") + up(Decimal(rest * 10 + 9) / 12, 2)


def routine(
    tax_year: str, code: str, payment: Decimal, months: int, pay_before: Decimal, tax_before: Decimal
) -> Decimal:
    """Tax on a payment, pounds; section 8 when ``months`` is 1 and nothing went before."""
    figures = BOOK.years[tax_year].figures
    limit = cut(payment / 2, 2)  # para 4.5.2
    if code == "NT":
        return -tax_before
    flat = figures.rates("payroll.flat_rate_codes")
    pay = payment + pay_before
    if code in flat:
        return min(limit, cut(cut(pay, 0) * flat[code] / 10_000, 2) - tax_before)
    prefix = code[0] if code[0] in "SC" else ""
    rest = code.removeprefix(prefix)
    if rest == "0T":
        unrounded = pay
    elif rest[0] == "K":
        unrounded = pay + adjustment_of(int(rest[1:])) * months
    else:
        unrounded = pay - adjustment_of(int(rest[:-1])) * months
    if unrounded <= 0:
        return min(limit, -tax_before)
    whole = cut(unrounded, 0)
    nation = {"": "england", "S": "scotland", "C": "wales"}[prefix]
    year_limit = year_tax = c_below = k_below = Decimal(0)
    for band in figures.bands(f"income_tax.bands_{nation}"):
        rate = Decimal(band.rate) / 10_000
        if band.up_to is not None:
            upper = Decimal(band.up_to) / 100
            c = cut(upper * months / 12, 4)
            if up(c, 0) < unrounded:
                year_tax += (upper - year_limit) * rate
                year_limit, c_below, k_below = upper, c, cut(year_tax * months / 12, 4)
                continue
        return min(limit, cut(k_below + cut((whole - c_below) * rate, 4), 2) - tax_before)
    raise AssertionError("the last band has no limit")


@st.composite
def payments(draw: Any) -> tuple[str, str, int, bool, int, int, int]:
    """Year, code, payment, whether cumulative, month, pay and tax before; pence. Often at the edge of a band."""
    tax_year = draw(years)
    code = draw(st.sampled_from(codes_of(tax_year)))
    month = draw(st.integers(1, 12))
    parsed = parse_code(code)
    limits = [limit // 12 for nation in ("england", "scotland") for limit in limits_of(tax_year, nation)]
    free_pay = free_pay_of_month(parsed.number) * (-1 if parsed.kind == "k" else 1)
    edge = st.tuples(st.sampled_from((0, *limits)), st.integers(-250, 250)).map(
        lambda pair: max(0, pair[0] + free_pay + pair[1])
    )
    payment = draw(st.one_of(edge, st.integers(0, 200_000), st.integers(0, 50_000_000)))
    cumulative = draw(st.booleans())
    before = draw(st.one_of(st.just(0), st.integers(0, 10_000_000)))
    taxed = draw(st.one_of(st.just(0), st.integers(0, 4_000_000)))
    return tax_year, code, payment, cumulative, month, before, taxed


@settings(max_examples=600, deadline=None)
@given(payments())
@example(("2026-27", "1257L", 418_926, False, 1, 0, 0))  # unrounded pay of 3,141.00, just below the first limit
@example(("2026-27", "1257L", 419_026, False, 1, 0, 0))  # 3,142.00, the limit up to the pound
@example(("2026-27", "1257L", 419_027, False, 1, 0, 0))  # a penny above it
def test_as_the_routine_says(case: tuple[str, str, int, bool, int, int, int]) -> None:
    tax_year, code, payment, cumulative, month, before, taxed = case
    found = deducted(tax_year, code, payment, cumulative=cumulative, month=month, pay_to_date=before, tax_to_date=taxed)
    asked = (month, Decimal(before) / 100, Decimal(taxed) / 100) if cumulative else (1, Decimal(0), Decimal(0))
    assert Decimal(found.tax) / 100 == routine(tax_year, code, Decimal(payment) / 100, *asked)


@settings(max_examples=600, deadline=None)
@given(payments(), st.one_of(st.integers(0, 200), st.integers(0, 3_000_000)))
def test_a_larger_payment_never_bears_less(case: tuple[str, str, int, bool, int, int, int], more: int) -> None:
    tax_year, code, payment, cumulative, month, before, taxed = case
    facts = {"cumulative": cumulative, "month": month, "pay_to_date": before, "tax_to_date": taxed}
    small = deducted(tax_year, code, payment, **facts)
    large = deducted(tax_year, code, payment + more, **facts)
    assert small.tax <= large.tax
    assert small.taxable_pay <= large.taxable_pay


@settings(max_examples=500, deadline=None)
@given(payments())
def test_never_more_than_half_of_the_payment(case: tuple[str, str, int, bool, int, int, int]) -> None:
    """Para 4.5.2; PAYE Regulations 2003 (SI 2003/2682) reg.23."""
    tax_year, code, payment, cumulative, month, before, taxed = case
    found = deducted(tax_year, code, payment, cumulative=cumulative, month=month, pay_to_date=before, tax_to_date=taxed)
    assert 2 * found.tax <= payment
    assert cumulative or found.tax >= 0
    assert found.taxable_pay % 100 == 0
    if found.limited:
        assert found.tax == payment // 2


def test_the_half_is_reached_under_a_k_code_and_not_by_an_ordinary_one() -> None:
    assert deducted("2026-27", "K2000", 50_000) == Deduction(25_000, -166_743, 216_700, limited=True)
    assert not deducted("2026-27", "1257L", 50_000_000).limited


@pytest.mark.parametrize("tax_year", YEARS)
def test_every_penny_around_every_limit(tax_year: str) -> None:
    """No step back where the band changes, which is decided with a limit up to the pound but taxed with the exact one."""
    for code in ("1257L", "S1257L", "0T", "S0T"):
        parsed = parse_code(code)
        free_pay = free_pay_of_month(parsed.number)
        for limit in limits_of(tax_year, "scotland" if parsed.prefix == "S" else "england"):
            start = limit // 12 + free_pay - 150
            taxes = [deducted(tax_year, code, payment).tax for payment in range(start, start + 300)]
            assert taxes == sorted(taxes)
            # A pound more bears no more than the highest rate of any year, 48%, and a penny for rounding.
            assert max(larger - smaller for smaller, larger in pairwise(taxes)) <= 49


@settings(max_examples=200, deadline=None)
@given(years, st.sampled_from(("1257L", "S1257L", "C1257L", "0T", "BR", "K100")), st.integers(0, 2_000_000), st.data())
def test_a_cumulative_code_forgets_how_the_pay_was_cut(tax_year: str, code: str, pay: int, data: st.DataObject) -> None:
    """Two payments in a month bear together what one bears, as long as half of each is not exceeded."""
    first = data.draw(st.integers(0, pay))
    month = data.draw(st.integers(1, 12))
    whole = deducted(tax_year, code, pay, cumulative=True, month=month)
    one = deducted(tax_year, code, first, cumulative=True, month=month)
    two = deducted(tax_year, code, pay - first, cumulative=True, month=month, pay_to_date=first, tax_to_date=one.tax)
    if not (whole.limited or one.limited or two.limited):
        assert one.tax + two.tax == whole.tax


@pytest.mark.parametrize(
    ("number", "pence"),
    [
        (0, 0),
        (1, 159),  # 19/12
        (500, 41_742),  # 5,009/12 = 417.4166
        (501, 41_667 + 159),
        (1000, 41_667 + 41_742),
        (1001, 2 * 41_667 + 159),
        (1250, 104_243),
        (1257, 104_826),
    ],
)
def test_free_pay_of_a_month(number: int, pence: int) -> None:
    """Para 4.3.1, worked by hand: 1257 is twice 416.67 and 2,579/12 up to the penny, 214.92."""
    assert free_pay_of_month(number) == pence


# Derived from the routine and the year's bands, not published: one payment on the month 1 basis, in pounds.
DERIVED = {
    ("1257L", "2026-27"): {
        1_048: "0.00", 1_200: "30.20", 5_000: "952.06", 7_500: "1952.06", 11_250: "3452.06", 15_000: "5128.20",
        18_750: "6815.70", 20_000: "7378.20", 37_500: "15253.20", 75_000: "32128.20",
    },
    ("S1257L", "2026-27"): {
        1_048: "0.00", 1_200: "28.69", 5_000: "1097.87", 7_500: "2185.32", 11_250: "3872.82", 15_000: "5666.00",
        18_750: "7466.00", 20_000: "8066.00", 37_500: "16466.00", 75_000: "34466.00",
    },
    ("1257L", "2022-23"): {
        1_048: "0.00", 1_200: "30.20", 5_000: "952.06", 7_500: "1952.06", 11_250: "3452.06", 15_000: "5024.61",
    },
    ("1250L", "2019-20"): {
        1_048: "1.00", 1_200: "31.40", 5_000: "957.80", 7_500: "1957.80", 11_250: "3457.80", 15_000: "5030.65",
    },
    ("0T", "2026-27"): {7_500: "2371.66"},
    ("BR", "2026-27"): {7_500: "1500.00"},
    ("D0", "2026-27"): {7_500: "3000.00"},
    ("D1", "2026-27"): {7_500: "3375.00"},
}  # fmt: skip
SAME_BANDS = {
    "2026-27": ("2023-24", "2024-25", "2025-26", "2026-27"),
    "2022-23": ("2021-22", "2022-23"),
    "2019-20": ("2019-20", "2020-21"),
}
POINTS = [
    (tax_year, code, pounds, tax)
    for (code, column), points in DERIVED.items()
    for tax_year in (SAME_BANDS[column] if not code.startswith("S") else (column,))
    for pounds, tax in points.items()
]


@pytest.mark.parametrize(("tax_year", "code", "pounds", "tax"), POINTS)
def test_derived_points(tax_year: str, code: str, pounds: int, tax: str) -> None:
    """By hand from the routine, e.g. 7,500 under 1257L: 6,451 taxable, 628.3333 + (6,451 - 3,141.6666) x 40%, down."""
    assert deducted(tax_year, code, pounds * 100).tax == Decimal(tax) * 100


@pytest.mark.parametrize(
    ("text", "kind", "prefix", "number"),
    [
        ("1257L", "suffix", "", 1257),
        ("S1257M", "suffix", "S", 1257),
        ("C1131N", "suffix", "C", 1131),
        ("0T", "suffix", "", 0),
        ("S0T", "suffix", "S", 0),
        ("K475", "k", "", 475),
        ("SK12", "k", "S", 12),
        ("BR", "flat", "", 0),
        ("SD2", "flat", "S", 0),
        ("CD1", "flat", "C", 0),
        ("NT", "no_tax", "", 0),
    ],
)
def test_codes(text: str, kind: str, prefix: str, number: int) -> None:
    code = parse_code(text)
    assert (code.kind, code.prefix, code.number) == (kind, prefix, number)


@pytest.mark.parametrize(
    "text", ["", "L", "1257", "1257l", " 1257L", "1257L\n", "X1257L", "1257LX", "K", "DR", "D4", "SKL"]
)
def test_what_is_no_code(text: str) -> None:
    with pytest.raises(ValueError, match="not a PAYE code"):
        parse_code(text)


def test_the_code_of_the_scottish_top_rate_moved_when_the_advanced_rate_came() -> None:
    """SD3 exists from 2024-25 (Scottish advanced rate); SD2 was the top rate before: 47% in 2023-24."""
    rules = {tax_year: BOOK.years[tax_year].payroll for tax_year in YEARS}
    in_use = [tax_year for tax_year in YEARS if is_in_use(rules[tax_year], parse_code("SD3"))]
    assert in_use == [tax_year for tax_year in YEARS if tax_year >= "2024-25"]
    assert deducted("2023-24", "SD2", 100_000).tax == 47_000
    assert deducted("2024-25", "SD2", 100_000).tax == 45_000
    assert deducted("2024-25", "SD3", 100_000).tax == 48_000
