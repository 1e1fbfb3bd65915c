"""A book of clients from a CSV, Parquet or NDJSON file, one record at a time, so that its size does not matter."""

from __future__ import annotations

import csv
import hashlib
import io
import itertools
import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
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
SEPARATORS: Mapping[str, str] = {"comma": ",", "semicolon": ";", "tab": "\t"}
ENCODINGS = ("utf-8", "utf-16", "windows-1252")
_READ_BYTES = 1 << 20
_BEGINNING_BYTES = 4_000
"""As much of a file as is looked at to see what encoding it has."""
_BYTE_ORDER_MARK = b"\xef\xbb\xbf"
_UTF_16_MARKS = (b"\xff\xfe", b"\xfe\xff")
_NOT_DECODED = re.compile("[\udc80-\udcff]")
_BLANKS = b" \t\r\n"


class BookError(Exception):
    """The book cannot be used; the message is one line for the person who runs the script."""


@dataclass(frozen=True, slots=True)
class Notation:
    """How a CSV file is written. ``separator`` is found from the names of the columns where it is None; with ``uk_dates`` days
    may be written DD/MM/YYYY, in the text columns of Parquet too."""

    separator: str | None = None
    encoding: str = ENCODINGS[0]
    uk_dates: bool = False


PLAIN = Notation()


class Record(NamedTuple):
    """One client. ``number`` counts from 1 in the order of the book.

    ``request`` is None where it cannot be read. Then ``line`` is sent all the same, for the service to say what is wrong
    with it; and where there is no line either, ``fault`` says why nothing can be sent. ``line`` is None for a row of a table.
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


def settled(path: Path, notation: Notation) -> Notation:
    """The notation of a book, with the separator that was found. BookError where the file is plainly written otherwise."""
    if kind_of(path) != "csv":
        return notation
    _check_encoding(path, notation.encoding)
    return replace(notation, separator=_Table(path, notation).separator)


def check_columns(path: Path, notation: Notation = PLAIN, *, ignore_others: bool) -> None:
    """BookError where a table lacks the column of ids, or has unknown columns that nobody said to leave out."""
    kind = kind_of(path)
    if kind == "ndjson":
        return
    hint = ""
    if kind == "parquet":
        # Imported here and below, so that only those who keep their book in Parquet need the package.
        from book import parquet

        names = parquet.column_names(path)
    else:
        table = _Table(path, notation)
        names = list(table.columns)
        if any(_NOT_DECODED.search(name) for name in names):
            raise BookError(f"{path.name}: {_not_decoded(' '.join(names), notation, 'the first line')}")
        hint = _other_separator(names)
    if layout.ID not in names:
        raise BookError(f'{path.name}: there is no column "{layout.ID}"; columns found: {_listed(names)}{hint}')
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise BookError(f"{path.name}: columns named twice: {', '.join(twice)}")
    unknown = layout.unknown_columns(names)
    if unknown and not ignore_others:
        raise BookError(
            f"{path.name}: unknown columns: {', '.join(map(_with_nearest, unknown))}; correct the names, or leave these "
            "columns out with --ignore-other-columns"
        )


def _with_nearest(name: str) -> str:
    if not name:
        return "one without a name"
    nearest = layout.nearest_column(name)
    return f'"{name}" (did you mean "{nearest}"?)' if nearest else f'"{name}"'


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names) or "none"


def _other_separator(names: Iterable[str]) -> str:
    """What to try where a name holds what separates names in other files."""
    for word, separator in SEPARATORS.items():
        if any(separator in name for name in names):
            return f"; the separator may be the {word}: add --separator {word}"
    return ""


def _check_encoding(path: Path, encoding: str) -> None:
    """BookError where the beginning of a file shows that it has another encoding, with what to type."""
    try:
        with path.open("rb") as file:
            beginning = file.read(_BEGINNING_BYTES)
    except OSError as error:
        raise BookError(f"{path}: {error.strerror}") from None
    is_utf_16 = beginning.startswith(_UTF_16_MARKS) or b"\0" in beginning[:2]
    if is_utf_16 and encoding != "utf-16":
        raise BookError(f"{path.name} looks like UTF-16; add --encoding utf-16, or save it as CSV UTF-8")
    if beginning and not is_utf_16 and encoding == "utf-16":
        raise BookError(f"{path.name} does not look like UTF-16; leave out --encoding")
    if beginning.startswith(_BYTE_ORDER_MARK) and encoding != "utf-8":
        raise BookError(f"{path.name} begins with a UTF-8 byte order mark; leave out --encoding")


def _not_decoded(text: str, notation: Notation, what: str) -> str:
    """Why some text could not be decoded, and what to type where it looks like another encoding."""
    if notation.encoding != "utf-8":
        return f"{what} is not {notation.encoding}"
    try:
        text.encode("utf-8", "surrogateescape").decode("windows-1252")
    except UnicodeDecodeError:
        return f"{what} is not UTF-8"
    return (
        f"{what} is not UTF-8 and looks like Windows-1252: add --encoding windows-1252, or save the file as CSV UTF-8"
    )


def records(path: Path, notation: Notation = PLAIN) -> Iterator[Record]:
    """Every record of a book, in order. A record that is broken in itself harms no other.

    BookError where the records cannot be told apart.
    """
    kind = kind_of(path)
    if kind == "ndjson":
        return (_from_line(number, line) for number, (_, line) in enumerate(_lines(path), 1))
    rows: Iterator[Mapping[str, object] | _Broken]
    if kind == "parquet":
        from book import parquet

        rows = iter(parquet.rows(path))
    else:
        rows = _Table(path, notation).rows()
    return (_from_row(number, row, notation) for number, row in enumerate(rows, 1))


def chunks(found: Iterable[Record], size: int) -> Iterator[Chunk]:
    """The records in chunks of ``size``; the last may be shorter."""
    found, index = iter(found), 0
    while held := list(itertools.islice(found, size)):
        yield Chunk(index, held)
        index += 1


def count(path: Path, notation: Notation = PLAIN) -> int:
    """How many records a book holds. BookError where they cannot be told apart."""
    kind = kind_of(path)
    if kind == "parquet":
        from book import parquet

        return sum(parquet.group_sizes(path))
    return sum(1 for _ in (_lines(path) if kind == "ndjson" else _Table(path, notation).starts()))


def pieces(path: Path, size: int, notation: Notation = PLAIN) -> list[Piece]:
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
    table = _Table(path, notation)
    return _cut(table.starts(), size, table.columns)


def chunk_of(path: Path, piece: Piece, notation: Notation = PLAIN) -> Chunk:
    """The records of a piece; ``notation`` is the settled one."""
    kind = kind_of(path)
    rows: Iterator[Mapping[str, object] | _Broken]
    if kind == "parquet":
        from book import parquet

        rows = iter(parquet.rows_of_group(path, piece.start))
    elif kind == "ndjson":
        lines = itertools.islice(_lines(path, piece.start), piece.count)
        return Chunk(piece.index, [_from_line(number, line) for number, (_, line) in enumerate(lines, piece.first)])
    else:
        rows = itertools.islice(_Table(path, notation, piece.columns).rows(piece.start), piece.count)
    return Chunk(piece.index, [_from_row(number, row, notation) for number, row in enumerate(rows, piece.first)])


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


class _Broken(NamedTuple):
    """A row that cannot be used, and why; its id where that can be read."""

    id: str | None
    fault: str


def _from_row(number: int, row: Mapping[str, object] | _Broken, notation: Notation) -> Record:
    if isinstance(row, _Broken):
        return Record(number, row.id, None, fault=row.fault)
    key = layout.cell(row.get(layout.ID), "text")
    request = layout.request_of(row, uk_dates=notation.uk_dates)
    return Record(number, key if type(key) in (str, int) else None, request)


class _Table:
    """A CSV file, read line by line so that it is known at which byte each row begins."""

    def __init__(self, path: Path, notation: Notation, columns: tuple[str, ...] = ()) -> None:
        self._path, self._notation = path, notation
        self._codec = _codec(path, notation.encoding)
        self._first = 0
        self._read = 0
        self.separator = notation.separator or self._found_separator()
        self.columns = columns
        if not columns:
            header = next(self._cells(0), [])
            self._first = self._read
            self.columns = tuple(name.strip() for name in header)

    def _found_separator(self) -> str:
        """The separator that makes the most known columns of the first line, or the most columns; else the comma."""
        first = next(self._lines(0), "")

        def known(separator: str) -> tuple[int, int]:
            names = next(csv.reader([first], delimiter=separator), [])
            return sum(name.strip() in layout.COLUMNS for name in names), len(names)

        return max(SEPARATORS.values(), key=known)

    def rows(self, start: int | None = None) -> Iterator[Mapping[str, object] | _Broken]:
        """Each row by the names of its columns, from a byte on, but for rows in which nothing stands."""
        for row in self._cells(self._first if start is None else start):
            if not _holds_something(row):
                continue
            if len(row) != len(self.columns):
                yield _Broken(
                    self._id_in(row),
                    f"The row has {len(row)} cells; the header names {len(self.columns)} columns.",
                )
            elif any(not text.isascii() and _NOT_DECODED.search(text) for text in row):
                yield _Broken(self._id_in(row), f"{_not_decoded(''.join(row), self._notation, 'The row')}.")
            else:
                yield dict(zip(self.columns, row, strict=True))

    def _id_in(self, row: list[str]) -> str | None:
        """The id of a broken row: in a row with too few or too many cells only the first is certain to be in its column."""
        place = self.columns.index(layout.ID) if layout.ID in self.columns else -1
        if place < 0 or (place > 0 and len(row) != len(self.columns)):
            return None
        return None if _NOT_DECODED.search(row[place]) else row[place].strip() or None

    def starts(self) -> Iterator[int]:
        """The byte at which each row begins."""
        start = self._first
        for row in self._cells(start):
            if _holds_something(row):
                yield start
            start = self._read

    def _cells(self, start: int) -> Iterator[list[str]]:
        # Strict: a quotation mark that is never closed would else swallow the rows after it.
        rows = csv.reader(self._lines(start), strict=True, delimiter=self.separator)
        try:
            yield from rows
        except csv.Error as error:
            raise BookError(
                f"{self._path.name}: the rows cannot be told apart about {rows.line_num:,} lines after byte {start:,}: {error}"
            ) from None

    def _lines(self, start: int) -> Iterator[str]:
        self._read = start
        # A byte that cannot be decoded becomes half of a surrogate pair, by which its row is known later.
        errors = "strict" if self._notation.encoding == "utf-16" else "surrogateescape"
        with self._path.open("rb") as file:
            file.seek(start)
            with io.TextIOWrapper(file, self._codec, errors, newline="\n") as lines:
                try:
                    for line in lines:
                        begins = self._read
                        self._read += len(line.encode(self._codec, errors))
                        yield line.removeprefix("\ufeff") if begins == 0 else line
                except UnicodeDecodeError as error:
                    raise BookError(f"{self._path.name} is not {self._notation.encoding}: {error.reason}") from None


def _holds_something(row: list[str]) -> bool:
    return any(cell and not cell.isspace() for cell in row)


def _codec(path: Path, encoding: str) -> str:
    """Python's name of an encoding, one that writes no mark of its own: of UTF-16 the order that the file's mark says."""
    if encoding != "utf-16":
        return encoding
    with path.open("rb") as file:
        beginning = file.read(2)
    return "utf-16-be" if beginning == _UTF_16_MARKS[1] or beginning[:1] == b"\0" else "utf-16-le"


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
