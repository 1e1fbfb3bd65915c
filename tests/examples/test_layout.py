"""The columns of a book stand for the request's fields, all of them, and change nothing on the way."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from book import layout
from service import calculator
from service.planning.household import INCOME_KINDS
from service.schemas.quote.request import withdrawal_tax_schema
from service.schemas.shared import ObjectList, StrictNested, StrictSchema
from tests.examples.conftest import SCRIPTS


def fields_of(schema: StrictSchema, above: tuple[str, ...] = ()) -> set[tuple[str, ...]]:
    """The path of every single field of a request."""
    found: set[tuple[str, ...]] = set()
    for name, field in schema.load_fields.items():
        path = (*above, field.data_key or name)
        found |= fields_of(field.schema, path) if isinstance(field, StrictNested) else {path}
    return found


def test_every_field_of_the_request_has_a_column_and_every_column_a_field() -> None:
    schema = withdrawal_tax_schema(("2026-27",))
    person = schema.load_fields["person"].schema
    assert isinstance(person.load_fields["income"], ObjectList)
    assert fields_of(schema) == {column.path for column in layout.FIELDS} | {("person", "income")}
    assert set(layout.INCOMES) == set(INCOME_KINDS)
    assert len(set(layout.COLUMNS)) == len(layout.COLUMNS)


def test_a_row_and_the_request_that_it_describes() -> None:
    row = dict.fromkeys(layout.COLUMNS, "")
    row |= {"id": "A 1", "tax_year": "2026-27", "date_of_birth": "1966-05-14", "tax_residence": "england"}
    row |= {"employment": "30000", "savings_interest": " 420.50 ", "blind_persons_allowance": "TRUE"}
    row |= {"uncrystallised": "400000", "method": "ufpls", "amount": "40000", "date": "2026-12-01"}
    row |= {"payroll_code": "1257L", "payroll_basis": "cumulative", "payroll_month": "8"}
    assert layout.request_of(row) == {
        "tax_year": "2026-27",
        "person": {
            "date_of_birth": "1966-05-14",
            "tax_residence": "england",
            "blind_persons_allowance": True,
            "income": [{"kind": "employment", "amount": 30000}, {"kind": "savings_interest", "amount": 420.5}],
        },
        "pension": {"uncrystallised": 400000},
        "withdrawal": {"method": "ufpls", "amount": 40000, "date": "2026-12-01"},
        "payroll": {"code": "1257L", "basis": "cumulative", "month": 8},
    }


def test_an_empty_row_still_has_the_parts_that_the_service_will_miss_fields_in() -> None:
    assert layout.request_of(dict.fromkeys(layout.COLUMNS)) == {"person": {}, "pension": {}, "withdrawal": {}}


@given(st.decimals(allow_nan=False, allow_infinity=False))
def test_a_number_keeps_its_value_or_stays_text(number: Decimal) -> None:
    text = str(number)
    read = layout.cell(text, "number")
    assert read == text or Decimal(json.dumps(read)) == number


@given(st.integers(0, 10_000_000_000))
def test_every_amount_in_pence_becomes_a_number(pence: int) -> None:
    text = f"{pence // 100}.{pence % 100:02}"
    read = layout.cell(text, "number")
    assert isinstance(read, float)
    assert Decimal(json.dumps(read)) * 100 == pence


@pytest.mark.parametrize("text", ["1,000", "£5", "0x10", "1e3", "١٢", "007", "12.", ".5", "nan", "--1", "1" * 40])
def test_what_is_not_plainly_a_number_is_left_for_the_service_to_refuse(text: str) -> None:
    assert layout.cell(text, "number") == text


def test_typed_cells_of_a_parquet_file() -> None:
    assert layout.cell(Decimal("420.50"), "number") == 420.5
    assert layout.cell(date(2026, 12, 1), "text") == "2026-12-01"
    assert layout.cell(datetime(2026, 12, 1, tzinfo=UTC), "text") == "2026-12-01"
    assert layout.cell(datetime(2026, 12, 1, 9, tzinfo=UTC), "text") != "2026-12-01"
    assert layout.cell(False, "truth") is False
    assert layout.cell(0, "number") == 0
    assert layout.cell(float("nan"), "number") == "nan"
    assert layout.cell(None, "number") is None


def test_every_column_of_the_results_is_filled_by_some_answer() -> None:
    person = {"date_of_birth": "1966-05-14", "tax_residence": "england"}
    bodies = [
        {
            "id": year,
            "request": {
                "tax_year": year,
                "person": person,
                "pension": {"uncrystallised": 2_000_000},
                "withdrawal": {"method": "ufpls", "amount": 1_500_000},
            },
        }
        for year in ("2022-23", "2026-27")
    ]
    answers = calculator("withdrawal-tax").answers("\n".join(map(json.dumps, bodies)).encode())
    rows = [layout.result_row(json.dumps(json.loads(line)["result"]).encode()) for line in list(answers)[:-1]]
    filled = [any(cell is not None for cell in cells) for cells in zip(*rows, strict=True)]
    assert filled == [True] * (len(layout.RESULTS) + 1)
    (charge,) = (place for place, column in enumerate(layout.RESULTS) if column.name == "lifetime_allowance_charge")
    assert rows[0][charge] > 0
    assert rows[1][charge] is None


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
