"""The columns of a book stand for the request's fields, all that a quote of one pension needs, and change nothing on the way."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from book import layout
from service import calculator
from service.planning.household import INCOME_KINDS
from service.schemas.quote.request import withdrawal_tax_schema
from service.schemas.shared import ObjectList, StrictNested, StrictSchema
from tests.examples.conftest import SCRIPTS

PERSON = "household/people/*"
LEFT_OUT = (
    # All clients of a run are asked about by one law.
    "law",
    "compare_law",
    # One person, whose one pension it is.
    "withdrawal/person",
    "withdrawal/pension",
    f"{PERSON}/name",
    f"{PERSON}/pensions/*/name",
    # Incomes and contributions have one amount a year, and the contributions are the person's own.
    f"{PERSON}/income/*/from",
    f"{PERSON}/income/*/to",
    f"{PERSON}/income/*/share_of_full_rate",
    f"{PERSON}/contributions/*/amount",
    f"{PERSON}/contributions/*/date",
    f"{PERSON}/contributions/*/from",
    f"{PERSON}/contributions/*/to",
    f"{PERSON}/contributions/*/payer",
    f"{PERSON}/contributions/*/saving",
    f"{PERSON}/contributions/*/pension",
    # What a quote does not look at.
    "household/spending",
    "household/minimum_cash",
    f"{PERSON}/withdrawal_cap",
    f"{PERSON}/already_this_tax_year",
    "household/estate",
    f"{PERSON}/income/*/increases",
    f"{PERSON}/pensions/*/safeguarded_benefits",
    f"{PERSON}/pensions/*/guaranteed_annuity_rate",
    f"{PERSON}/pensions/*/exit_charge",
    f"{PERSON}/pensions/*/scheme_kind",
    f"{PERSON}/pensions/*/transfer_planned",
    f"{PERSON}/pensions/*/transfer_flag",
    f"{PERSON}/pensions/*/nomination",
    f"{PERSON}/pensions/*/nomination_reviewed_on",
    f"{PERSON}/pensions/*/growth",
    f"{PERSON}/pensions/*/yearly_charge",
    f"{PERSON}/pensions/*/small_pot_in",
    f"{PERSON}/lump_sum_allowances/tax_free_received_before_6_april_2024",
    f"{PERSON}/isa",
    f"{PERSON}/cash",
    f"{PERSON}/circumstances",
)
"""The fields, and objects with all their fields, that a book has no columns for."""


def fields_of(schema: StrictSchema, above: str = "") -> set[str]:
    """The place of every single field of a request; * is any entry of a list."""
    found: set[str] = set()
    for name, field in schema.load_fields.items():
        place = f"{above}{field.data_key or name}"
        if isinstance(field, ObjectList):
            found |= fields_of(field.inner.schema, f"{place}/*/")
        else:
            found |= fields_of(field.schema, f"{place}/") if isinstance(field, StrictNested) else {place}
    return found


def lies_in(place: str, above: str) -> bool:
    return f"{place}/".startswith(f"{above}/")


def test_every_field_of_the_request_has_a_column_or_is_left_out_and_every_column_a_field() -> None:
    fields, filled = fields_of(withdrawal_tax_schema(("2026-27",))), set[str]()
    for column in layout.FIELDS:
        place = re.sub(r"(?<=/)(-|[0-9]+)(?=/)", "*", column.place)
        filled |= {place, *(f"{place.rpartition('/')[0]}/{name}" for name, _ in column.beside)}
    assert filled <= fields
    assert {field for field in fields if any(lies_in(field, above) for above in LEFT_OUT)} == fields - filled
    assert [above for above in LEFT_OUT if not any(lies_in(field, above) for field in fields)] == []
    assert [value for column in layout.FIELDS for name, value in column.beside if name == "kind"] == [*INCOME_KINDS]
    assert len(set(layout.COLUMNS)) == len(layout.COLUMNS)


def test_a_row_and_the_request_that_it_describes() -> None:
    row = dict.fromkeys(layout.COLUMNS, "")
    row |= {"id": "A 1", "tax_year": "2026-27", "date_of_birth": "1966-05-14", "tax_residence": "england"}
    row |= {"employment": "30000", "savings_interest": " 420.50 ", "blind_persons_allowance": "TRUE"}
    row |= {"uncrystallised": "400000", "method": "ufpls", "amount": "40000", "date": "2026-12-01"}
    row |= {"payroll_code": "1257L", "payroll_basis": "cumulative", "payroll_month": "8"}
    row |= {"relief_at_source_contributions_gross": "2,500", "lifetime_allowance_used": "0.82"}
    row |= {"protected_pension_age": "50", "flexibly_accessed": "false"}
    person = {
        "date_of_birth": "1966-05-14",
        "tax_residence": "england",
        "blind_persons_allowance": True,
        "contributions": [{"relief": "relief_at_source", "yearly": 2500}],
        "income": [{"kind": "employment", "amount": 30000}, {"kind": "savings_interest", "amount": 420.5}],
        "pensions": [{"uncrystallised": 400000, "protected_pension_age": 50}],
        "lump_sum_allowances": {"lifetime_allowance_used": 0.82},
        "flexibly_accessed": False,
    }
    assert layout.request_of(row) == {
        "household": {"people": [person]},
        "tax_year": "2026-27",
        "withdrawal": {"method": "ufpls", "amount": 40000, "date": "2026-12-01"},
        "payroll": {"code": "1257L", "basis": "cumulative", "month": 8},
    }


def test_an_empty_row_still_has_the_parts_that_the_service_will_miss_fields_in() -> None:
    assert layout.request_of(dict.fromkeys(layout.COLUMNS)) == {
        "household": {"people": [{"pensions": [{}]}]},
        "withdrawal": {},
    }


EVERYTHING = {
    "tax_year": "2026-27",
    "date_of_birth": "1950-05-14",
    "tax_residence": "scotland",
    "marriage_allowance": "none",
    "blind_persons_allowance": "true",
    **dict.fromkeys(layout.COLUMNS[layout.COLUMNS.index("relief_at_source_contributions_gross") :], "1000"),
    "lifetime_allowance_used": "0.2",
    "protected_pension_age": "50",
    "protected_tax_free_share": "0.3",
    "flexibly_accessed": "true",
    "method": "ufpls",
    "amount": "400",
    "net_wanted": "",
    "date": "2026-12-01",
    "payroll_code": "S1257L",
    "payroll_basis": "cumulative",
    "payroll_month": "9",
}


def answer_to(row: dict[str, str]) -> dict[str, Any]:
    """The service's answer to the record that a row describes."""
    line, _ = calculator("withdrawal-tax").answers(json.dumps({"id": "A", "request": layout.request_of(row)}).encode())
    answer: dict[str, Any] = json.loads(line)
    return answer


def test_a_row_with_everything_in_it_is_answered() -> None:
    assert [name for name in layout.COLUMNS if not EVERYTHING.get(name)] == ["id", "net_wanted"]
    assert answer_to(EVERYTHING)["status"] == 200


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("relief_at_source_contributions_gross", "-1"),
        ("relief_at_source_contributions_gross", "a little"),
        ("lifetime_allowance_used", "8"),
        ("lifetime_allowance_used", "8%"),
        ("lump_sum_allowance_used", "-1"),
        ("protected_pension_age", "55.5"),
        ("protected_tax_free_share", "30"),
        ("flexibly_accessed", "perhaps"),
        ("uncrystallised", ""),
        ("date_of_birth", ""),
        ("dividends", "-1"),
        ("employment", "twelve"),
        ("amount", "5000"),
        ("payroll_month", "13"),
    ],
)
def test_a_fault_that_the_service_finds_is_told_by_its_column(column: str, value: str) -> None:
    row = {**EVERYTHING, column: value}
    answer = answer_to(row)
    assert answer["status"] == 422
    [fault] = answer["problem"]["errors"]
    assert [found.name for found in layout.columns_at(layout.request_of(row), fault["pointer"])] == [column]


@given(st.decimals(allow_nan=False, allow_infinity=False))
def test_a_number_keeps_its_value_or_stays_text(number: Decimal) -> None:
    text = str(number)
    read = layout.cell(text, "number")
    assert read == text or Decimal(json.dumps(read)) == number


@given(st.decimals(0, 10_000_000, places=2))
def test_an_amount_as_people_write_it_is_the_same_number(amount: Decimal) -> None:
    for text in (f"{amount:,}", f"£{amount:,}", f" £ {amount} ", f"£{amount}"):
        read = layout.cell(text, "pounds")
        assert Decimal(json.dumps(read)) == amount


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)))
def test_a_uk_date_is_read_only_where_it_was_said_so(day: date) -> None:
    row = {"date_of_birth": f"{day:%d/%m/%Y}", "date": f"{day.day}/{day.month}/{day.year}", "tax_year": "2026-27"}
    read = layout.request_of(row, uk_dates=True)
    born = read["household"]["people"][0]["date_of_birth"]
    assert (born, read["withdrawal"]["date"]) == (day.isoformat(), day.isoformat())
    assert layout.request_of(row)["household"]["people"][0]["date_of_birth"] == row["date_of_birth"]
    assert layout.cell(day.isoformat(), "day", uk_dates=True) == day.isoformat()


@pytest.mark.parametrize("text", ["31/02/2026", "14/13/2026", "14-05-2026", "14/05/26", "May 2026"])
def test_what_is_no_uk_date_is_left_for_the_service_to_refuse(text: str) -> None:
    assert layout.cell(text, "day", uk_dates=True) == text


ROW = {
    "state_pension": "12000",
    "dividends": "-3",
    "employment": "a lot",
    "date_of_birth": "14/05/1966",
    "date": "1 May",
    "lifetime_allowance_used": "82%",
    "blind_persons_allowance": "perhaps",
    "payroll_month": "June",
    "relief_at_source_contributions_gross": "some",
    "protected_pension_age": "50",
    "method": "ufpls",
}
PLACES = {
    "#/household/people/0/income/0/amount": (["state_pension"], None),
    "#/household/people/0/income/1/amount": (["dividends"], None),
    "#/household/people/0/income/1/kind": ([], None),
    "#/household/people/0/income/1": (["dividends"], None),
    "#/household/people/0/income/2/amount": (
        ["employment"],
        "'a lot' is not an amount in pounds, such as 1234.50 or £1,234.50",
    ),
    "#/household/people/0/income": ([*INCOME_KINDS], None),
    "#/household/people/0/contributions/0/yearly": (
        ["relief_at_source_contributions_gross"],
        "'some' is not an amount in pounds, such as 1234.50 or £1,234.50",
    ),
    "#/household/people/0/contributions/0": (["relief_at_source_contributions_gross"], None),
    "#/household/people/0/contributions/1": ([], None),
    "#/household/people/0/date_of_birth": (
        ["date_of_birth"],
        "'14/05/1966' is not a date written YYYY-MM-DD; if it is 1966-05-14, add --uk-dates",
    ),
    "#/withdrawal/date": (["date"], "'1 May' is not a date written YYYY-MM-DD"),
    "#/household/people/0/lump_sum_allowances/lifetime_allowance_used": (
        ["lifetime_allowance_used"],
        "'82%' is not a fraction, such as 0.82 for 82%",
    ),
    "#/household/people/0/blind_persons_allowance": (
        ["blind_persons_allowance"],
        "'perhaps' is neither true nor false",
    ),
    "#/payroll/month": (["payroll_month"], "'June' is not a number"),
    "#/household/people/0/pensions/0/protected_pension_age": (["protected_pension_age"], None),
    "#/household/people/0/pensions/0": (
        ["uncrystallised", "drawdown", "protected_pension_age", "protected_tax_free_share"],
        None,
    ),
    "#/household/people/0/pensions/1": ([], None),
    "#/household/people/1/date_of_birth": ([], None),
    "#/withdrawal/method": (["method"], None),
    "#/withdrawal": (["method", "amount", "net_wanted", "date"], None),
    "#/household/people/0/income/3/amount": ([], None),
    "#/tax_year/more": ([], None),
    "#/nowhere": ([], None),
    "#": ([], None),
}


@pytest.mark.parametrize("pointer", PLACES)
def test_a_place_of_the_request_is_known_by_its_columns(pointer: str) -> None:
    names, told = PLACES[pointer]
    request = layout.request_of(ROW)
    columns = layout.columns_at(request, pointer)
    assert [column.name for column in columns] == names
    if len(columns) == 1:
        assert layout.unreadable(request, pointer, columns[0]) == told


def test_entries_of_a_list_by_their_number_and_new_ones() -> None:
    request: dict[str, Any] = {}
    for place in ("people/0/pensions/0", "people/0/pensions/0", "people/1", "people/0/income/-", "people/0/income/-"):
        layout.part_at(request, place.split("/"))["x"] = place
    assert request == {
        "people": [
            {"pensions": [{"x": "people/0/pensions/0"}], "income": [{"x": "people/0/income/-"}] * 2},
            {"x": "people/1"},
        ]
    }


@given(st.integers(0, 10_000_000_000))
def test_every_amount_in_pence_becomes_a_number(pence: int) -> None:
    text = f"{pence // 100}.{pence % 100:02}"
    read = layout.cell(text, "number")
    assert isinstance(read, float)
    assert Decimal(json.dumps(read)) * 100 == pence


@pytest.mark.parametrize("text", ["12,34", "1,0000", "-£5", "$5", "£007", "£1.5m", "1.234,50", "£", "(1,000)", "82%"])
def test_what_is_not_plainly_an_amount_is_left_too(text: str) -> None:
    assert layout.cell(text, "pounds") == text


@pytest.mark.parametrize("text", ["1,000", "£5", "0x10", "1e3", "١٢", "007", "12.", ".5", "nan", "--1", "1" * 40])
def test_what_is_not_plainly_a_number_is_left_for_the_service_to_refuse(text: str) -> None:
    assert layout.cell(text, "number") == text


def test_typed_cells_of_a_parquet_file() -> None:
    assert layout.cell(Decimal("420.50"), "number") == 420.5
    assert layout.cell(date(2026, 12, 1), "day") == "2026-12-01"
    assert layout.cell(datetime(2026, 12, 1, tzinfo=UTC), "day", uk_dates=True) == "2026-12-01"
    assert layout.cell(datetime(2026, 12, 1, 9, tzinfo=UTC), "day") != "2026-12-01"
    assert layout.cell(False, "truth") is False
    assert layout.cell(0, "number") == 0
    assert layout.cell(float("nan"), "number") == "nan"
    assert layout.cell(None, "number") is None


def results_with(fields: tuple[str, ...] = ()) -> list[dict[str, Any]]:
    """The service's results, or those fields of them, for two withdrawals that together fill every column."""
    person = {
        "date_of_birth": "1966-05-14",
        "tax_residence": "england",
        "pensions": [{"uncrystallised": 2_000_000}],
    }
    bodies = [
        {
            "id": year,
            "request": {
                "household": {"people": [person]},
                "tax_year": year,
                "withdrawal": {"method": "ufpls", "amount": 1_500_000},
            },
        }
        for year in ("2022-23", "2026-27")
    ]
    *lines, _ = calculator("withdrawal-tax", fields).answers("\n".join(map(json.dumps, bodies)).encode())
    return [json.loads(line)["result"] for line in lines]


def rows_of(results: list[dict[str, Any]]) -> list[list[Any]]:
    return [layout.result_row(json.dumps(result).encode()) for result in results]


def test_every_column_of_the_results_is_filled_by_some_answer() -> None:
    rows = rows_of(results_with())
    filled = [any(cell is not None for cell in cells) for cells in zip(*rows, strict=True)]
    assert filled == [True] * (len(layout.RESULTS) + 1)
    (charge,) = (place for place, column in enumerate(layout.RESULTS) if column.name == "lifetime_allowance_charge")
    assert rows[0][charge] > 0
    assert rows[1][charge] is None


def places_in(value: Any, above: str = "") -> set[str]:
    """The keys, joined by points, that lead to whatever in an answer is neither an object nor a list."""
    if isinstance(value, list):
        return {place for item in value for place in places_in(item, above)}
    if isinstance(value, dict):
        return {place for key, item in value.items() for place in places_in(item, f"{above}.{key}" if above else key)}
    return {above}


def test_what_is_asked_for_fills_the_columns_and_nothing_else() -> None:
    results = results_with(layout.ASKED_FOR)
    assert rows_of(results) == rows_of(results_with())
    assert places_in(results) == set(layout.ASKED_FOR)


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)), st.integers(2019, 2030))
def test_a_day_moves_to_the_same_day_of_another_tax_year(day: date, start: int) -> None:
    request = {"tax_year": "x", "withdrawal": {"date": day.isoformat(), "amount": 1}}
    moved = layout.in_tax_year(request, f"{start}-{(start + 1) % 100:02}")
    there = date.fromisoformat(moved["withdrawal"]["date"])
    assert date(start, 4, 6) <= there <= date(start + 1, 4, 5)
    assert (there.month, there.day) in {(day.month, day.day), (2, 28)}
    assert moved["withdrawal"]["amount"] == 1
    assert request["withdrawal"]["date"] == day.isoformat()


def test_a_date_that_is_none_moves_nowhere() -> None:
    moved = layout.in_tax_year({"withdrawal": {"date": "soon"}}, "2025-26")
    assert moved == {"tax_year": "2025-26", "withdrawal": {"date": "soon"}}


def test_every_column_is_described_once() -> None:
    page = (SCRIPTS / "README.md").read_text(encoding="utf-8")
    first_cells = [line.split("|")[1] for line in page.splitlines() if line.startswith("| `")]
    assert sorted(re.findall(r"`(\w+)`", "".join(first_cells))) == sorted(layout.COLUMNS)
