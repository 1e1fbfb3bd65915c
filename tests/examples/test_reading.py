"""A book is read record by record: what is broken harms no other record, and what cannot be told apart stops the run."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from book.reading import BookError, check_columns, chunk_of, chunks, count, kind_of, pieces, records

HEADER = b"id,tax_year,amount\r\n"


def csv_file(folder: Path, content: bytes) -> Path:
    path = folder / "book.csv"
    path.write_bytes(content)
    return path


def test_rows_that_are_broken_harm_no_other(tmp_path: Path) -> None:
    path = csv_file(
        tmp_path,
        b"\xef\xbb\xbf"
        + HEADER
        + b'A,2026-27,1\n"B\nand, more",2026-27,2\r\n\r\nC,2026-27\nD,caf\xe9,4\n,2026-27,5\nF,2026-27,6',
    )
    found = list(records(path))
    assert [(record.number, record.id, record.fault) for record in found] == [
        (1, "A", ""),
        (2, "B\nand, more", ""),
        (3, None, "The row has 2 cells; the header names 3 columns."),
        (4, None, "The row is not UTF-8."),
        (5, None, ""),
        (6, "F", ""),
    ]
    assert found[5].request == {"tax_year": "2026-27", "person": {}, "pension": {}, "withdrawal": {"amount": 6}}
    assert count(path) == 6


def test_lines_are_kept_as_they_are_and_blank_ones_left_out(tmp_path: Path) -> None:
    path = tmp_path / "book.ndjson"
    lines = [
        b'{"id": 1, "request": {"tax_year": "2026-27"}}',
        b"{",
        b'{"id": "b", "id": "c", "request": {}}',
        b'{"id": "d", "request": 7}',
        b'{"id": "e", "request": {}, "more": 1}',
        b"\xff",
        b"[" * 5_000,
    ]
    path.write_bytes(b"\xef\xbb\xbf" + b"\r\n\n ".join(lines))
    found = list(records(path))
    assert [record.line for record in found] == lines
    assert [record.id for record in found] == [1, None, None, "d", "e", None, None]
    assert [record.request for record in found] == [{"tax_year": "2026-27"}] + [None] * 6
    assert not any(record.fault for record in found)
    assert count(path) == len(lines)


@pytest.mark.parametrize("size", [1, 7, 100, 5_000])
@pytest.mark.parametrize("kind", ["csv", "ndjson"])
def test_pieces_hold_the_same_chunks(folder: Path, kind: str, size: int) -> None:
    path = folder / f"book.{kind}"
    whole = list(chunks(records(path), size))
    # The first, the second, and the last: reading all of many small pieces would take long.
    places = pieces(path, size)
    assert [piece.count for piece in places] == [len(chunk.records) for chunk in whole]
    for place in {0, min(1, len(whole) - 1), len(whole) - 1}:
        assert chunk_of(path, places[place]) == whole[place]


def test_pieces_of_awkward_rows(tmp_path: Path) -> None:
    path = csv_file(tmp_path, b"\xef\xbb\xbf" + HEADER + b'A,"x\ny",1\r\n\r\n"B ""q""\n",y,2\nC,z\nD,w,4')
    (whole,) = chunks(records(path), 9)
    apart = [record for piece in pieces(path, 1) for record in chunk_of(path, piece).records]
    assert apart == whole.records


def test_the_pieces_of_a_parquet_file_are_its_row_groups(tmp_path: Path) -> None:
    path = tmp_path / "book.parquet"
    table = pa.table(
        {
            "id": ["a", "b", "c"],
            "date": [date(2026, 5, 1), None, date(2026, 6, 1)],
            "amount": [Decimal("1.50"), Decimal("2.00"), None],
            "flexibly_accessed": [True, False, None],
        }
    )
    pq.write_table(table, path, row_group_size=2)
    whole = list(records(path))
    first, second = (chunk_of(path, piece) for piece in pieces(path, 1))
    assert [*first.records, *second.records] == whole
    assert (first.index, len(first.records), second.index, len(second.records)) == (0, 2, 1, 1)
    assert whole[0].request == {
        "person": {},
        "pension": {"flexibly_accessed": True},
        "withdrawal": {"date": "2026-05-01", "amount": 1.5},
    }
    assert count(path) == 3


def test_a_column_that_would_be_left_out_in_silence_is_told(tmp_path: Path) -> None:
    path = csv_file(tmp_path, b"id,tax_yaer,name\nA,2026-27,Somebody\n")
    with pytest.raises(BookError, match="stand for nothing: tax_yaer, name"):
        check_columns(path, ignore_others=False)
    check_columns(path, ignore_others=True)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "no column 'id'"),
        (b"tax_year\n2026-27\n", "no column 'id'"),
        (b"id,amount,amount\n", "named twice: amount"),
    ],
)
def test_a_header_that_cannot_be_used(tmp_path: Path, content: bytes, told: str) -> None:
    with pytest.raises(BookError, match=told):
        check_columns(csv_file(tmp_path, content), ignore_others=True)


@pytest.mark.parametrize("row", [b'A,2026-27,"' + b"9" * 200_000, b'A,2026-27,"1\nB,2026-27,2\n', b'A,"2026"-27,1\n'])
def test_rows_that_cannot_be_told_apart_stop_the_run(tmp_path: Path, row: bytes) -> None:
    with pytest.raises(BookError, match="cannot be told apart"):
        count(csv_file(tmp_path, HEADER + row))


def test_files_of_other_kinds(tmp_path: Path) -> None:
    with pytest.raises(BookError, match=r"must end in one of \.csv"):
        kind_of(Path("book.xlsx"))
    path = tmp_path / "book.parquet"
    path.write_bytes(b"PAR1 no more")
    with pytest.raises(BookError, match=r"book\.parquet: "):
        count(path)
