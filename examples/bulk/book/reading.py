"""A book of clients from a CSV, Parquet or NDJSON file, one record at a time, so that its size does not matter."""

from __future__ import annotations

import csv
import hashlib
import itertools
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, NamedTuple

from book import layout

FileKind = Literal["csv", "ndjson", "parquet"]
SUFFIXES: Mapping[str, FileKind] = {
    ".csv": "csv",
    ".ndjson": "ndjson",
    ".jsonl": "ndjson",
    ".parquet": "parquet",
    ".pq": "parquet",
}
_READ_BYTES = 1 << 20
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_NOT_UTF_8 = re.compile("[\udc80-\udcff]")
_BLANKS = b" \t\r\n"


class BookError(Exception):
    """The book cannot be used; the message is one line for the person who runs the script."""


class Record(NamedTuple):
    """One client. ``number`` counts from 1 in the order of the book.

    ``request`` is None where it cannot be read. Then ``line`` is sent all the same, for the service to say what is wrong
    with it; and where there is no line either, ``fault`` says why nothing can be sent.
    """

    number: int
    id: str | int | None
    request: dict[str, Any] | None
    line: bytes | None = None
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Records that follow one another. ``index`` counts from 0."""

    index: int
    records: list[Record]


@dataclass(frozen=True, slots=True)
class Piece:
    """Where a chunk is in its file, for somebody else to read it: ``start`` is the byte where it begins (CSV, NDJSON) or
    the number of its row group (Parquet). ``first`` is the number of its first record, ``columns`` a CSV file's."""

    index: int
    first: int
    count: int
    start: int
    columns: tuple[str, ...] = ()


def kind_of(path: Path) -> FileKind:
    """The kind of a file by its name. BookError for another."""
    try:
        return SUFFIXES[path.suffix.lower()]
    except KeyError:
        raise BookError(f"{path.name}: the name must end in one of {', '.join(SUFFIXES)}") from None


def fingerprint(path: Path) -> str:
    """SHA-256 of a file: what tells whether a book is the one that a run began with."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(_READ_BYTES):
                digest.update(block)
    except OSError as error:
        raise BookError(f"{path}: {error.strerror}") from None
    return digest.hexdigest()


def check_columns(path: Path, *, ignore_others: bool) -> None:
    """BookError where a table lacks the column of ids, or has columns that would be left out without a word."""
    kind = kind_of(path)
    if kind == "ndjson":
        return
    if kind == "parquet":
        # Imported here and below, so that only those who keep their book in Parquet need the package.
        from book import parquet

        names = parquet.column_names(path)
    else:
        names = list(_Table(path).columns)
    if layout.ID not in names:
        raise BookError(f"{path.name}: there is no column {layout.ID!r}")
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise BookError(f"{path.name}: columns named twice: {', '.join(twice)}")
    unknown = layout.unknown_columns(names)
    if unknown and not ignore_others:
        raise BookError(
            f"{path.name}: columns that stand for nothing: {', '.join(unknown)} (--ignore-other-columns leaves them out)"
        )


def records(path: Path) -> Iterator[Record]:
    """Every record of a book, in order. A record that is broken in itself harms no other.

    BookError where the records cannot be told apart.
    """
    kind = kind_of(path)
    if kind == "parquet":
        from book import parquet

        return map(_from_row, itertools.count(1), parquet.rows(path))
    if kind == "ndjson":
        return (_from_line(number, line) for number, (_, line) in enumerate(_lines(path), 1))
    return map(_from_row, itertools.count(1), _Table(path).rows())


def chunks(found: Iterable[Record], size: int) -> Iterator[Chunk]:
    """The records in chunks of ``size``; the last may be shorter."""
    found, index = iter(found), 0
    while held := list(itertools.islice(found, size)):
        yield Chunk(index, held)
        index += 1


def count(path: Path) -> int:
    """How many records a book holds. BookError where they cannot be told apart."""
    kind = kind_of(path)
    if kind == "parquet":
        from book import parquet

        return sum(parquet.group_sizes(path))
    return sum(1 for _ in (_lines(path) if kind == "ndjson" else _Table(path).rows()))


def pieces(path: Path, size: int) -> list[Piece]:
    """Where each chunk of ``size`` records begins; in Parquet each row group is a chunk, whatever its size."""
    kind = kind_of(path)
    if kind == "parquet":
        from book import parquet

        sizes = parquet.group_sizes(path)
        firsts = itertools.accumulate(sizes, initial=1)
        return [
            Piece(group, first, rows, group) for group, (first, rows) in enumerate(zip(firsts, sizes, strict=False))
        ]
    if kind == "ndjson":
        return _cut((start for start, _ in _lines(path)), size, ())
    table = _Table(path)
    return _cut(table.starts(), size, table.columns)


def chunk_of(path: Path, piece: Piece) -> Chunk:
    """The records of a piece."""
    kind = kind_of(path)
    rows: Iterator[Mapping[str, object] | str]
    if kind == "parquet":
        from book import parquet

        rows = iter(parquet.rows_of_group(path, piece.start))
    elif kind == "ndjson":
        lines = itertools.islice(_lines(path, piece.start), piece.count)
        return Chunk(piece.index, [_from_line(number, line) for number, (_, line) in enumerate(lines, piece.first)])
    else:
        rows = itertools.islice(_Table(path, piece.columns).rows(piece.start), piece.count)
    return Chunk(piece.index, [_from_row(number, row) for number, row in enumerate(rows, piece.first)])


def _cut(starts: Iterable[int], size: int, columns: tuple[str, ...]) -> list[Piece]:
    begins, total = list[int](), 0
    for start in starts:
        if total % size == 0:
            begins.append(start)
        total += 1
    return [
        Piece(index, 1 + index * size, min(size, total - index * size), start, columns)
        for index, start in enumerate(begins)
    ]


def _from_row(number: int, row: Mapping[str, object] | str) -> Record:
    """A record from a row; a text in place of a row is the reason why there is none."""
    if isinstance(row, str):
        return Record(number, None, None, fault=row)
    key = layout.cell(row.get(layout.ID), "text")
    return Record(number, key if type(key) in (str, int) else None, layout.request_of(row))


class _Table:
    """A CSV file, read line by line so that it is known at which byte each row begins."""

    def __init__(self, path: Path, columns: tuple[str, ...] = ()) -> None:
        self._path = path
        self._first = 0
        self._read = 0
        self.columns = columns
        if not columns:
            header = next(self._cells(0), [])
            self._first = self._read
            self.columns = tuple(name.strip() for name in header)

    def rows(self, start: int | None = None) -> Iterator[Mapping[str, object] | str]:
        """Each row by the names of its columns, from a byte on; a text where a row cannot be used, saying why."""
        for row in self._cells(self._first if start is None else start):
            if not row:
                continue
            if len(row) != len(self.columns):
                yield f"The row has {len(row)} cells; the header names {len(self.columns)} columns."
            elif any(not text.isascii() and _NOT_UTF_8.search(text) for text in row):
                yield "The row is not UTF-8."
            else:
                yield dict(zip(self.columns, row, strict=True))

    def starts(self) -> Iterator[int]:
        """The byte at which each row begins."""
        start = self._first
        for row in self._cells(start):
            if row:
                yield start
            start = self._read

    def _cells(self, start: int) -> Iterator[list[str]]:
        # Strict: a quotation mark that is never closed would else swallow the rows after it.
        rows = csv.reader(self._lines(start), strict=True)
        try:
            yield from rows
        except csv.Error as error:
            raise BookError(
                f"{self._path.name}: the rows cannot be told apart about {rows.line_num:,} lines after byte {start:,}: {error}"
            ) from None

    def _lines(self, start: int) -> Iterator[str]:
        self._read = start
        with self._path.open("rb") as file:
            file.seek(start)
            for line in file:
                self._read += len(line)
                if start == 0 and self._read == len(line):
                    line = line.removeprefix(_BYTE_ORDER_MARK)
                # A byte that is not UTF-8 becomes half of a surrogate pair, by which its row is known later.
                yield line.decode("utf-8", errors="surrogateescape")


def _lines(path: Path, start: int = 0) -> Iterator[tuple[int, bytes]]:
    """The lines of an NDJSON file that are not blank, each with the byte at which it begins."""
    with path.open("rb") as file:
        file.seek(start)
        for raw in file:
            line = (raw.removeprefix(_BYTE_ORDER_MARK) if start == 0 else raw).strip(_BLANKS)
            if line:
                yield start, line
            start += len(raw)


def _from_line(number: int, line: bytes) -> Record:
    try:
        document = json.loads(
            line.decode("utf-8"),
            parse_float=layout.exact_float,
            parse_constant=_no_constant,
            object_pairs_hook=_object,
        )
        key, request = document["id"], document["request"]
    except (ValueError, RecursionError, KeyError, TypeError):
        return Record(number, None, None, line)
    can_be_changed = isinstance(request, dict) and len(document) == 2
    return Record(number, key if type(key) in (str, int) else None, request if can_be_changed else None, line)


def _no_constant(text: str) -> Any:
    raise ValueError(text)


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    document = dict(pairs)
    if len(document) != len(pairs):
        raise ValueError("a key is given twice")
    return document
