"""Plain columns, one client a row, and the fields of the request and of the answer that they stand for.

An empty cell leaves its field out. A cell that cannot be read as its column's unit goes to the service as the text it is and
is refused there: nothing is repaired or rounded on the way.
"""

from __future__ import annotations

import difflib
import itertools
import math
import operator
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal, NamedTuple

import msgspec

Unit = Literal["text", "day", "pounds", "number", "fraction", "truth"]
"""What the cells of a column of a book are."""
Kind = Literal["text", "number", "truth", "money"]
"""What the cells of a column of the results are."""


class Column(NamedTuple):
    """A column of a book, and where its cells go in the request.

    ``place`` is a JSON Pointer without the first slash (RFC 6901): a number is an entry of a list, and ``-`` a new entry at its
    end, in which ``beside`` stands with the cell.
    """

    name: str
    unit: Unit
    place: str
    beside: tuple[tuple[str, str], ...] = ()


class ResultColumn(NamedTuple):
    """A column of the results, and where its cells come from in the answer."""

    name: str
    path: tuple[str, ...]
    kind: Kind = "money"


def _income(name: str) -> Column:
    """A kind of income: the year's amount, all incomes of the kind together."""
    return Column(name, "pounds", "household/people/0/income/-/amount", (("kind", name),))


ID = "id"
FIELDS = (
    Column("tax_year", "text", "tax_year"),
    Column("date_of_birth", "day", "household/people/0/date_of_birth"),
    Column("tax_residence", "text", "household/people/0/tax_residence"),
    Column("marriage_allowance", "text", "household/people/0/marriage_allowance"),
    Column("blind_persons_allowance", "truth", "household/people/0/blind_persons_allowance"),
    Column(
        "relief_at_source_contributions_gross",
        "pounds",
        "household/people/0/contributions/-/yearly",
        (("relief", "relief_at_source"),),
    ),
    Column("gift_aid_donations_gross", "pounds", "household/people/0/gift_aid_donations"),
    Column("child_benefit", "pounds", "household/people/0/child_benefit"),
    _income("employment"),
    _income("self_employment"),
    _income("state_pension"),
    _income("defined_benefit_pension"),
    _income("annuity"),
    _income("other_taxable"),
    _income("property_income"),
    _income("savings_interest"),
    _income("dividends"),
    Column("uncrystallised", "pounds", "household/people/0/pensions/0/uncrystallised"),
    Column("drawdown", "pounds", "household/people/0/pensions/0/drawdown"),
    Column("lump_sum_allowance_used", "pounds", "household/people/0/lump_sum_allowances/lump_sum_allowance_used"),
    Column(
        "lump_sum_and_death_benefit_allowance_used",
        "pounds",
        "household/people/0/lump_sum_allowances/lump_sum_and_death_benefit_allowance_used",
    ),
    Column("lifetime_allowance_used", "fraction", "household/people/0/lump_sum_allowances/lifetime_allowance_used"),
    Column(
        "protected_lump_sum_allowance", "pounds", "household/people/0/lump_sum_allowances/protected_lump_sum_allowance"
    ),
    Column(
        "protected_lump_sum_and_death_benefit_allowance",
        "pounds",
        "household/people/0/lump_sum_allowances/protected_lump_sum_and_death_benefit_allowance",
    ),
    Column("protected_pension_age", "number", "household/people/0/pensions/0/protected_pension_age"),
    Column("protected_tax_free_share", "fraction", "household/people/0/pensions/0/protected_tax_free_share"),
    Column("flexibly_accessed", "truth", "household/people/0/flexibly_accessed"),
    Column("method", "text", "withdrawal/method"),
    Column("amount", "pounds", "withdrawal/amount"),
    Column("net_wanted", "pounds", "withdrawal/net_wanted"),
    Column("date", "day", "withdrawal/date"),
    Column("payroll_code", "text", "payroll/code"),
    Column("payroll_basis", "text", "payroll/basis"),
    Column("payroll_month", "number", "payroll/month"),
    Column("payroll_pay_to_date", "pounds", "payroll/pay_to_date"),
    Column("payroll_tax_to_date", "pounds", "payroll/tax_to_date"),
)
"""The one table of what columns stand for: where the request changes its shape, the places change here, and PARTS."""
PARTS = ("household/people/0/pensions/0", "withdrawal")
"""The objects that a request has even when they are empty, so that the service names what they lack."""

COLUMNS = (ID, *(column.name for column in FIELDS))
_BY_NAME = {column.name: column for column in FIELDS}

RESULTS = (
    ResultColumn("tax_year", ("tax_year",), "text"),
    ResultColumn("rules_version", ("rules", "version"), "text"),
    ResultColumn("rules_standing", ("rules", "standing"), "text"),
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
ASKED_FOR = (*(".".join(column.path) for column in RESULTS), f"{WARNINGS}.code")
"""The fields of an answer that those columns are made of, as the service's ``fields`` names them."""

_THOUSANDS = re.compile(r"£? ?([0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)((?:\.[0-9]+)?)")
_UK_DAY = re.compile(r"([0-9]{1,2})/([0-9]{1,2})/([0-9]{4})")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_UNREADABLE: Mapping[Unit, str] = {
    "pounds": "is not an amount in pounds, such as 1234.50 or £1,234.50",
    "number": "is not a number",
    "fraction": "is not a fraction, such as 0.82 for 82%",
    "truth": "is neither true nor false",
}
_WHOLE = re.compile(r"-?(0|[1-9][0-9]{0,14})")
_DECIMAL = re.compile(r"-?(0|[1-9][0-9]{0,14})\.[0-9]{1,15}")


def unknown_columns(names: Iterable[str]) -> list[str]:
    """The columns of a book that no field of the request is known for."""
    return [name for name in names if name not in COLUMNS]


def nearest_column(name: str) -> str | None:
    """The known column whose name is most like a name, if any is much like it."""
    plain = "_".join(name.casefold().split())
    return next(iter(difflib.get_close_matches(plain, COLUMNS, 1)), None)


def request_of(row: Mapping[str, object], *, uk_dates: bool = False) -> dict[str, Any]:
    """The request that a row describes; PARTS are there even when empty.

    With ``uk_dates`` days may be written DD/MM/YYYY.
    """
    request: dict[str, Any] = {}
    for place in PARTS:
        part_at(request, place.split("/"))
    for name, given in row.items():
        if given is None or given == "" or name not in _BY_NAME:
            continue
        column = _BY_NAME[name]
        value = cell(given, column.unit, uk_dates=uk_dates)
        if value is None:
            continue
        *above, last = column.place.split("/")
        part = part_at(request, above)
        part.update(column.beside)
        part[last] = value
    return request


def part_at(request: dict[str, Any], steps: Sequence[str]) -> Any:
    """The object at a place of a request; what is not there yet is put there."""
    here: Any = request
    for step, below in zip(steps, [*steps, ""][1:], strict=True):
        empty: Any = [] if below == "-" or below.isdigit() else {}
        if isinstance(here, dict):
            here = here.setdefault(step, empty)
        elif step == "-" or int(step) == len(here):
            here.append(empty)
            here = here[-1]
        else:
            here = here[int(step)]
    return here


def columns_at(request: Mapping[str, Any], pointer: str) -> list[Column]:
    """The columns that a place of a request was made from: one for a value, several for an object, none for all of it.

    ``pointer`` is a JSON Pointer as the service gives it, such as ``#/household/people/0/income/0/amount``.
    """
    if "/" not in pointer:
        return []
    steps = _steps(pointer)
    return [column for column in FIELDS if _lies_at(column, steps, request)]


def unreadable(request: Mapping[str, Any], pointer: str, column: Column) -> str | None:
    """Why the cell of a column could not be read as its unit, from what was sent in its place; None where it could."""
    value: Any = request
    for step in _steps(pointer):
        value = _below(value, step)
    if type(value) is not str:
        return None
    if column.unit == "day":
        day = uk_day(value)
        if day is not None:
            return f"{value!r} is not a date written YYYY-MM-DD; if it is {day}, add --uk-dates"
        if _UK_DAY.fullmatch(value) or _DAY.fullmatch(value):
            return None if _is_day(value) else f"{value!r} is not a day in the calendar"
        return f"{value!r} is not a date written YYYY-MM-DD"
    return f"{value!r} {_UNREADABLE[column.unit]}" if column.unit in _UNREADABLE else None


def _steps(pointer: str) -> list[str]:
    return pointer.split("/")[1:]


def _lies_at(column: Column, steps: Sequence[str], request: Mapping[str, Any]) -> bool:
    """Whether the cells of a column come to lie at a place of a request, or within it."""
    own = column.place.split("/")
    here: Any = request
    for mine, step in zip(own, steps, strict=False):
        here = _below(here, step)
        if mine == "-":
            if not isinstance(here, Mapping) or any(here.get(name) != value for name, value in column.beside):
                return False
        elif mine != step:
            return False
    return len(steps) <= len(own)


def _below(here: Any, step: str) -> Any:
    """What is at one step below a value of JSON; None where there is nothing."""
    if isinstance(here, Mapping):
        return here.get(step)
    return here[int(step)] if isinstance(here, list) and step.isdigit() and int(step) < len(here) else None


def cell(value: object, unit: Unit, *, uk_dates: bool = False) -> Any:
    """A cell as a JSON value, None where it is empty. What does not fit its unit stays the text it is."""
    if type(value) is not str:
        value = _plain(value)
        if not isinstance(value, str):
            return value
    text = value.strip()
    if not text:
        return None
    if unit in ("pounds", "number", "fraction"):
        written = _THOUSANDS.fullmatch(text) if unit == "pounds" else None
        number = exact_number(written[1].replace(",", "") + written[2] if written else text)
        return text if isinstance(number, str) else number
    if unit == "truth":
        return {"true": True, "false": False}.get(text.lower(), text)
    if unit == "day" and uk_dates:
        return uk_day(text) or text
    return text


def uk_day(text: str) -> str | None:
    """A day written DD/MM/YYYY as YYYY-MM-DD; None where the text is no such day."""
    written = _UK_DAY.fullmatch(text)
    if written is None:
        return None
    day, month, year = map(int, written.groups())
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return None


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


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
