"""A book is read record by record: what is broken harms no other record, and what cannot be told apart stops the run."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from book.reading import (
    PLAIN,
    BookError,
    Notation,
    check_columns,
    chunk_of,
    chunks,
    count,
    kind_of,
    pieces,
    records,
    settled,
)

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
        (3, "C", "The row has 2 cells; the header names 3 columns."),
        (
            4,
            "D",
            "The row is not UTF-8 and looks like Windows-1252: add --encoding windows-1252, or save the file as CSV UTF-8.",
        ),
        (5, None, ""),
        (6, "F", ""),
    ]
    assert found[5].request == {
        "household": {"people": [{"pensions": [{}]}]},
        "tax_year": "2026-27",
        "withdrawal": {"amount": 6},
    }
    assert count(path) == 6


def test_what_a_spreadsheet_leaves_empty_is_left_out(tmp_path: Path) -> None:
    path = csv_file(tmp_path, b"id,tax_year,,\r\nA,2026-27,,\r\n,,,\r\n , ,,\r\nB,2026-27,,\r\n,,,\r\n")
    with pytest.raises(BookError, match="unknown columns: one without a name, one without a name; correct"):
        check_columns(path, ignore_others=False)
    check_columns(path, ignore_others=True)
    assert [(record.number, record.id, record.fault) for record in records(path)] == [(1, "A", ""), (2, "B", "")]
    assert count(path) == 2
    assert [chunk_of(path, piece).records[0].id for piece in pieces(path, 1)] == ["A", "B"]


def test_a_broken_row_keeps_its_id_only_where_it_is_certain(tmp_path: Path) -> None:
    path = csv_file(tmp_path, b"tax_year,id,method\n2026-27,A\n2026-27,B,caf\xe9\n2026-27,caf\xe9,x\n\x81,D,x\n")
    found = list(records(path))
    assert [record.id for record in found] == [None, "B", None, "D"]
    assert found[3].fault == "The row is not UTF-8."


ROWS = 'id;tax_year;uncrystallised;date_of_birth\r\nAnn;2026-27;£400,000.00;14/05/1966\r\n\r\n"Zoë;\n£";2026-27;5;06/06/1960\n'


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("named", [False, True])
@pytest.mark.parametrize(
    ("codec", "encoding"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8"),
        ("utf-16", "utf-16"),
        ("utf-16-le", "utf-16"),
        ("utf-16-be", "utf-16"),
        ("windows-1252", "windows-1252"),
    ],
)
def test_the_same_book_in_every_notation(
    tmp_path: Path, separator: str, named: bool, codec: str, encoding: str
) -> None:
    rows = ROWS.replace("£400,000.00", '"£400,000.00"').replace(";", separator)
    path = csv_file(tmp_path, rows.encode(codec))
    notation = settled(path, Notation(separator if named else None, encoding, uk_dates=True))
    assert notation == Notation(separator, encoding, uk_dates=True)
    check_columns(path, notation, ignore_others=False)
    first, second = records(path, notation)
    assert (first.id, second.id) == ("Ann", f"Zoë{separator}\n£")
    assert first.request == {
        "household": {"people": [{"date_of_birth": "1966-05-14", "pensions": [{"uncrystallised": 400000.0}]}]},
        "tax_year": "2026-27",
        "withdrawal": {},
    }
    assert count(path, notation) == 2
    apart = [record for piece in pieces(path, 1, notation) for record in chunk_of(path, piece, notation).records]
    assert apart == [first, second]


@pytest.mark.parametrize(
    ("codec", "encoding", "told"),
    [
        ("utf-16", "utf-8", "looks like UTF-16; add --encoding utf-16"),
        ("utf-16-be", "windows-1252", "looks like UTF-16; add --encoding utf-16"),
        ("utf-8", "utf-16", "does not look like UTF-16; leave out --encoding"),
        ("utf-8-sig", "windows-1252", "begins with a UTF-8 byte order mark; leave out --encoding"),
    ],
)
def test_another_encoding_than_was_named_is_told(tmp_path: Path, codec: str, encoding: str, told: str) -> None:
    path = csv_file(tmp_path, ROWS.encode(codec))
    with pytest.raises(BookError, match=told):
        settled(path, Notation(encoding=encoding))


def test_a_book_that_is_cut_within_a_sign_is_told(tmp_path: Path) -> None:
    path = csv_file(tmp_path, ROWS.encode("utf-16")[:-1])
    with pytest.raises(BookError, match="is not utf-16: truncated data"):
        list(records(path, Notation(encoding="utf-16")))


def test_a_first_line_in_another_encoding_is_told(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "id,prénom\n".encode("windows-1252"))
    with pytest.raises(BookError, match="the first line is not UTF-8 and looks like Windows-1252: add --encoding"):
        check_columns(path, PLAIN, ignore_others=True)


def test_a_separator_that_is_named_wrongly_is_told(tmp_path: Path) -> None:
    path = csv_file(tmp_path, ROWS.encode())
    with pytest.raises(
        BookError, match=r'no column "id"; columns found: "id;tax_.*the semicolon: add --separator semi'
    ):
        check_columns(path, Notation(","), ignore_others=True)


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
        "household": {"people": [{"flexibly_accessed": True, "pensions": [{}]}]},
        "withdrawal": {"date": "2026-05-01", "amount": 1.5},
    }
    assert count(path) == 3


def test_a_column_that_would_be_left_out_in_silence_is_told(tmp_path: Path) -> None:
    path = csv_file(tmp_path, b"id,tax_yaer,name\nA,2026-27,Somebody\n")
    with pytest.raises(BookError, match=r'unknown columns: "tax_yaer" \(did you mean "tax_year"\?\), "name"; correct'):
        check_columns(path, ignore_others=False)
    check_columns(path, ignore_others=True)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", 'no column "id"; columns found: none'),
        (b"ID;Tax Year\nA;2026-27\n", 'no column "id"; columns found: "ID", "Tax Year"$'),
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
