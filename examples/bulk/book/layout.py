"""Plain columns, one client a row, and the fields of the request and of the answer that they stand for.

An empty cell leaves its field out. A cell that cannot be read as its column's kind goes to the service as the text it is:
the service then says what is wrong with it, and nothing is repaired or rounded on the way.
"""

from __future__ import annotations

import itertools
import math
import operator
import re
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal, NamedTuple

import msgspec

Kind = Literal["text", "number", "truth"]
Money = Literal["money"]


class Column(NamedTuple):
    """A column of a book, and where its cells go in the request."""

    name: str
    path: tuple[str, ...]
    kind: Kind = "text"


class ResultColumn(NamedTuple):
    """A column of the results, and where its cells come from in the answer."""

    name: str
    path: tuple[str, ...]
    kind: Kind | Money = "money"


def _under(part: str, kind: Kind, *names: str) -> list[Column]:
    return [Column(name, (part, name), kind) for name in names]


ID = "id"
INCOMES = (
    "employment",
    "self_employment",
    "state_pension",
    "defined_benefit_pension",
    "annuity",
    "other_taxable",
    "property",
    "savings_interest",
    "dividends",
)
"""One column for each kind of income: the year's amount, all incomes of that kind together."""

FIELDS = (
    Column("tax_year", ("tax_year",)),
    *_under("person", "text", "date_of_birth", "tax_residence", "marriage_allowance"),
    *_under("person", "number", "relief_at_source_contributions", "gift_aid_donations", "child_benefit"),
    *_under("person", "truth", "blind_persons_allowance"),
    *_under(
        "pension",
        "number",
        "uncrystallised",
        "drawdown",
        "lump_sum_allowance_used",
        "lump_sum_and_death_benefit_allowance_used",
        "lifetime_allowance_used_percent",
        "protected_lump_sum_allowance",
        "protected_lump_sum_and_death_benefit_allowance",
        "minimum_pension_age",
    ),
    *_under("pension", "truth", "flexibly_accessed"),
    *_under("withdrawal", "text", "method", "date"),
    *_under("withdrawal", "number", "amount", "net_wanted"),
    Column("payroll_code", ("payroll", "code")),
    Column("payroll_basis", ("payroll", "basis")),
    Column("payroll_month", ("payroll", "month"), "number"),
    Column("payroll_pay_to_date", ("payroll", "pay_to_date"), "number"),
    Column("payroll_tax_to_date", ("payroll", "tax_to_date"), "number"),
)
COLUMNS = (ID, *(column.name for column in FIELDS), *INCOMES)
_BY_NAME = {
    **{column.name: column for column in FIELDS},
    **{kind: Column(kind, ("person", "income"), "number") for kind in INCOMES},
}

RESULTS = (
    ResultColumn("tax_year", ("tax_year",), "text"),
    ResultColumn("rules_version", ("rules", "version"), "text"),
    ResultColumn("rules_status", ("rules", "status"), "text"),
    ResultColumn("method", ("withdrawal", "method"), "text"),
    ResultColumn("gross", ("withdrawal", "gross")),
    ResultColumn("tax_free", ("withdrawal", "tax_free")),
    ResultColumn("taxable", ("withdrawal", "taxable")),
    ResultColumn("tax_on_other_income", ("income_tax", "on_other_income")),
    ResultColumn("tax_on_withdrawal", ("income_tax", "on_withdrawal")),
    ResultColumn("tax_total", ("income_tax", "total")),
    ResultColumn("effective_rate", ("income_tax", "effective_rate"), "number"),
    ResultColumn("marginal_rate", ("income_tax", "marginal_rate"), "number"),
    ResultColumn("child_benefit_charge", ("income_tax", "child_benefit_charge")),
    ResultColumn("lifetime_allowance_charge", ("lifetime_allowance", "charge")),
    ResultColumn("net_after_tax", ("net_after_tax",)),
    ResultColumn("payroll_code", ("payroll", "code"), "text"),
    ResultColumn("tax_deducted", ("payroll", "tax_deducted")),
    ResultColumn("paid_out", ("payroll", "paid_out")),
    ResultColumn("over_deducted", ("payroll", "over_deducted")),
    ResultColumn("under_deducted", ("payroll", "under_deducted")),
    ResultColumn("reclaim_form", ("payroll", "reclaim", "form"), "text"),
    ResultColumn("lump_sum_allowance_after", ("allowances_remaining", "lump_sum_allowance")),
    ResultColumn(
        "lump_sum_and_death_benefit_allowance_after", ("allowances_remaining", "lump_sum_and_death_benefit_allowance")
    ),
    ResultColumn(
        "money_purchase_annual_allowance_applies",
        ("allowances_remaining", "money_purchase_annual_allowance", "applies"),
        "truth",
    ),
    ResultColumn("personal_allowance_unused", ("allowances_remaining", "personal_allowance")),
    ResultColumn("basic_rate_band_unused", ("allowances_remaining", "basic_rate_band")),
    ResultColumn("uncrystallised_after", ("pension_after", "uncrystallised")),
    ResultColumn("drawdown_after", ("pension_after", "drawdown")),
)
WARNINGS = "warnings"
"""The last column of the results: the codes of the warnings, with spaces between them."""

_WHOLE = re.compile(r"-?(0|[1-9][0-9]{0,14})")
_DECIMAL = re.compile(r"-?(0|[1-9][0-9]{0,14})\.[0-9]{1,15}")


def unknown_columns(names: Iterable[str]) -> list[str]:
    """The columns of a book that stand for nothing."""
    return [name for name in names if name not in COLUMNS]


def request_of(row: Mapping[str, object]) -> dict[str, Any]:
    """The request that a row describes. Its parts are there even when empty, so that the service names what they lack."""
    request: dict[str, Any] = {"person": {}, "pension": {}, "withdrawal": {}}
    income = []
    for name, given in row.items():
        if given is None or given == "" or name not in _BY_NAME:
            continue
        column = _BY_NAME[name]
        value = cell(given, column.kind)
        if value is None:
            continue
        if name in INCOMES:
            income.append({"kind": name, "amount": value})
        elif len(column.path) == 1:
            request[name] = value
        else:
            part, field = column.path
            request.setdefault(part, {})[field] = value
    if income:
        request["person"]["income"] = income
    return request


def cell(value: object, kind: Kind) -> Any:
    """A cell as a JSON value, None where it is empty. What does not fit its kind stays the text it is."""
    if type(value) is not str:
        value = _plain(value)
        if not isinstance(value, str):
            return value
    text = value.strip()
    if not text:
        return None
    if kind == "number":
        return exact_number(text)
    if kind == "truth":
        return {"true": True, "false": False}.get(text.lower(), text)
    return text


def _plain(value: object) -> Any:
    """A typed cell of a Parquet file as JSON has it: a date, or a time at midnight, as text, a decimal as its digits."""
    if isinstance(value, datetime) and value.time() == datetime.min.time():
        value = value.date()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return format(value, "f")
    if value is None or isinstance(value, bool | int) or (isinstance(value, float) and math.isfinite(value)):
        return value
    return str(value)


def exact_number(text: str) -> int | float | str:
    """A number that JSON will write with exactly the digits' value, or the text where that cannot be."""
    if _WHOLE.fullmatch(text):
        return int(text)
    return exact_float(text) if _DECIMAL.fullmatch(text) else text


def exact_float(text: str) -> float | str:
    """A number as a float that is written with the same value, or the text where there is none."""
    number = float(text)
    return number if math.isfinite(number) and Decimal(repr(number)) == Decimal(text) else text


def _fields_to_read(columns: Iterable[ResultColumn], depth: int) -> type[msgspec.Struct]:
    """A class with the fields of an answer that columns are made of: whatever else an answer holds is passed over."""
    fields: list[tuple[str, Any, Any]] = []
    for name, group in itertools.groupby(sorted(columns, key=lambda column: column.path), lambda it: it.path[depth]):
        inner = list(group)
        if len(inner[0].path) == depth + 1:
            fields.append((name, _TYPES[inner[0].kind] | None, None))
        else:
            part = _fields_to_read(inner, depth + 1)
            fields.append((name, part, msgspec.field(default_factory=part)))
    return msgspec.defstruct("Part", fields)


class _Warning(msgspec.Struct):
    code: str


_TYPES: Mapping[str, Any] = {"text": str, "number": float, "truth": bool, "money": float}
_READ: msgspec.json.Decoder[Any] = msgspec.json.Decoder(
    msgspec.defstruct("Answer", [("warnings", list[_Warning])], bases=(_fields_to_read(RESULTS, 0),), kw_only=True)
)
_CELLS = operator.attrgetter(*(".".join(column.path) for column in RESULTS))


def result_row(result: bytes | msgspec.Raw) -> list[Any]:
    """A result, as JSON, as the cells of RESULTS and WARNINGS; None where it has no such field.

    Raises msgspec.DecodeError where a field is not what it should be.
    """
    answer = _READ.decode(result)
    return [*_CELLS(answer), " ".join([warning.code for warning in answer.warnings])]


def in_tax_year(request: Mapping[str, Any], tax_year: str) -> dict[str, Any]:
    """The same request in another tax year: the withdrawal on the same day of it, 29 February on the 28th."""
    moved = {**request, "tax_year": tax_year}
    withdrawal = request.get("withdrawal")
    if isinstance(withdrawal, Mapping) and isinstance(withdrawal.get("date"), str):
        moved["withdrawal"] = {**withdrawal, "date": _same_day(withdrawal["date"], int(tax_year[:4]))}
    return moved


def _same_day(text: str, start: int) -> str:
    """A day as it falls in the tax year that begins on 6 April of ``start``; the text itself where it is no day."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return text
    year = start if (day.month, day.day) >= (4, 6) else start + 1
    try:
        return day.replace(year=year).isoformat()
    except ValueError:
        return day.replace(year=year, day=28).isoformat()
