"""PAYE on one payment: HMRC's routine, each quantity rounded as the routine rounds it.

Source: HMRC, Specification for PAYE Tax Table Routines, v24.0 (February 2026), paragraphs named below. Not checked against
the whole of it. One pay adjustment serves suffix and K codes (PAYE70025 and gov.uk,
Tables A). PAYE moves cash, not the year's liability.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal, NamedTuple

from service.figures.loader import TaxYearFigures
from service.law.kept import kept
from service.law.rounding import down_to_the_penny
from service.law.scale import Scale
from service.law.units import POUND, WHOLE, BasisPoints, Pence, Years
from service.law.value import Value

CodeKind = Literal["suffix", "k", "flat", "no_tax"]
"""A code with free pay, one with an addition to pay, one with a rate for all of it, and NT."""

CodePrefix = Literal["", "S", "C"]
"""Whose rates a code stands for: those of England and Northern Ireland, of Scotland, of Wales."""

Basis = Literal["month_1", "cumulative"]
"""Whether payroll looks at the payment alone or at the tax year so far."""

CODE_PATTERN = r"(?:[SC]?(?:[0-9]{1,6}[LMNT]|K[0-9]{1,6}|0T|BR|D[01])|SD[23]|NT)"
_CODE = re.compile(r"(?P<prefix>[SC]?)(?:(?P<number>[0-9]+)[LMNT]|K(?P<addition>[0-9]+)|(?P<other>0T|BR|D[0-3]|NT))")
_PREFIXES: Mapping[str, CodePrefix] = {"": "", "S": "S", "C": "C"}
_BLOCK = 500
_BLOCK_OF_FREE_PAY = 41_667  # a twelfth of 5,000 pounds, up to the penny (4.3.1)
_POUND_IN_FOUR_PLACES = 10_000  # the routine's quantities have four decimal places of a pound
_PENNY_IN_FOUR_PLACES = 100


@dataclass(frozen=True, slots=True)
class TaxCode:
    """A PAYE code taken apart; ``number`` is its number, 0 for 0T."""

    text: str
    prefix: CodePrefix
    kind: CodeKind
    number: int


class PeriodScale(NamedTuple):
    """A year's bands cut to some months, each figure in ten-thousandths of a pound but ``reach``, which is in pence.

    ``reach`` is each limit up to the pound, by which the band is chosen; ``limits`` and the tax ``below`` each band are
    cut to four decimal places of a pound (Definitions 9-11).
    """

    reach: tuple[Pence, ...]
    limits: tuple[int, ...]
    below: tuple[int, ...]
    rates: tuple[BasisPoints, ...]


@dataclass(frozen=True, slots=True)
class PayrollRules:
    """One tax year's payroll figures: the emergency code, the scales of months 1 to 12 for each code prefix, and in basis
    points the flat rates and the overriding limit: the share of a payment that is the most deducted from it (4.5.2).
    ``overpayment_claim_years`` after the end of the tax year overpaid tax can be claimed (TMA 1970 Sch.1AB para 3(1))."""

    emergency_code: str
    scales: Mapping[str, tuple[PeriodScale, ...]]
    flat_rates: Mapping[str, BasisPoints]
    overriding_limit: BasisPoints
    overpayment_claim_years: Years


class Deduction(Value, frozen=True):
    """What payroll takes from one payment, in pence. ``tax`` is negative for a refund on a cumulative code."""

    tax: Pence
    free_pay: Pence
    taxable_pay: Pence
    limited: bool


def rules_for(figures: TaxYearFigures) -> PayrollRules:
    """One year's payroll rules: UK bands without a prefix, Scottish and Welsh ones for S and C codes."""
    scales = {}
    for prefix, nation in (("", "england"), ("S", "scotland"), ("C", "wales")):
        year = Scale.of_bands(figures.bands(f"income_tax.bands_{nation}"))
        scales[prefix] = tuple(period_scale(year, months) for months in range(1, 13))
    return PayrollRules(
        emergency_code=figures.text("payroll.emergency_code"),
        scales=scales,
        flat_rates=figures.rates("payroll.flat_rate_codes"),
        overriding_limit=figures.rate("payroll.overriding_limit"),
        overpayment_claim_years=figures.count("payroll.overpayment_claim_years"),
    )


@kept(1024)
def parse_code(text: str) -> TaxCode:
    """A code such as 1257L, S1257L, K475, 0T, BR, SD2 or NT taken apart. ValueError for any other text."""
    match = _CODE.fullmatch(text)
    if match is None:
        raise ValueError("not a PAYE code")
    prefix, number, addition, other = match.group("prefix", "number", "addition", "other")
    if number is not None:
        return TaxCode(text, _PREFIXES[prefix], "suffix", int(number))
    if addition is not None:
        return TaxCode(text, _PREFIXES[prefix], "k", int(addition))
    if other == "0T":
        return TaxCode(text, _PREFIXES[prefix], "suffix", 0)
    return TaxCode(text, _PREFIXES[prefix], "no_tax" if other == "NT" else "flat", 0)


def tax_month(day: date) -> int:
    """The month of the tax year, from 1 to 12, that a day is in; month 1 is 6 April to 5 May."""
    return (day.month - 4 - (day.day < 6)) % 12 + 1


def is_in_use(rules: PayrollRules, code: TaxCode) -> bool:
    """Whether the code exists in the year: SD3, for one, came with the Scottish advanced rate."""
    return code.kind != "flat" or code.text in rules.flat_rates


def free_pay_of_month(number: int) -> Pence:
    """A month's pay adjustment for a code number, in pence (4.3.1): blocks of 500, the remainder up to the penny."""
    if number == 0:
        return 0
    blocks, remainder = divmod(number - 1, _BLOCK)
    pounds_of_remainder = (remainder + 1) * 10 + 9
    return blocks * _BLOCK_OF_FREE_PAY + -(-pounds_of_remainder * POUND // 12)


def period_scale(year: Scale, months: int) -> PeriodScale:
    """A year's scale cut to ``months`` twelfths (Definitions 9-11)."""
    limits = tuple(limit * _PENNY_IN_FOUR_PLACES * months // 12 for limit in year.limits)
    return PeriodScale(
        reach=tuple(-(-limit // _POUND_IN_FOUR_PLACES) * POUND for limit in limits),
        limits=limits,
        below=tuple(tax * months // (12 * _PENNY_IN_FOUR_PLACES) for tax in year.tax_below),
        rates=year.rates,
    )


def scale_tax(scale: PeriodScale, pay_after_adjustment: Pence) -> Pence:
    """Tax on pay left after the adjustment, in pence (4.4), dropped to the penny."""
    band = bisect_left(scale.reach, pay_after_adjustment)
    floor = scale.limits[band - 1] if band else 0
    over = pay_after_adjustment // POUND * _POUND_IN_FOUR_PLACES - floor
    return (scale.below[band] + over * scale.rates[band] // WHOLE) // _PENNY_IN_FOUR_PLACES


def deduction(
    rules: PayrollRules,
    code: TaxCode,
    payment: Pence,
    *,
    cumulative: bool = False,
    month: int = 1,
    pay_to_date: Pence = 0,
    tax_to_date: Pence = 0,
) -> Deduction:
    """PAYE on a taxable ``payment`` of pence. On the month 1 basis the payment stands alone (section 8).

    ``pay_to_date`` and ``tax_to_date`` are those of this year before this payment, used on the cumulative basis only.
    """
    if code.kind == "no_tax":
        return Deduction(-tax_to_date if cumulative else 0, 0, 0, False)
    months = month if cumulative else 1
    pay = payment + (pay_to_date if cumulative else 0)
    paid = tax_to_date if cumulative else 0
    adjustment = free_pay_of_month(code.number) * months
    if code.kind == "k":
        adjustment = -adjustment
    after = pay - adjustment if pay > adjustment else 0
    taxable = after // POUND * POUND
    if code.kind == "flat":
        due = down_to_the_penny(taxable * rules.flat_rates[code.text])
    else:
        due = scale_tax(rules.scales[code.prefix][months - 1], after)
    tax = due - paid
    ceiling = down_to_the_penny(payment * rules.overriding_limit)
    limited = tax > ceiling
    return Deduction(ceiling if limited else tax, adjustment, taxable, limited)
