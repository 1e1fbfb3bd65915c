"""Parquet files in and out. Kept apart, because it needs pyarrow and nothing else here does."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from book.reading import BookError

_ROWS_AT_ONCE = 1_000
_TYPES = {
    "text": pa.string(),
    "number": pa.float64(),
    "whole": pa.int64(),
    "truth": pa.bool_(),
    "money": pa.decimal128(15, 2),
}


def column_names(path: Path) -> list[str]:
    """The columns of a file. BookError where it is not Parquet."""
    return [str(name) for name in _opened(path).schema_arrow.names]


def rows(path: Path) -> Iterator[Mapping[str, object]]:
    """The rows of a file, in order, a few at a time."""
    with _opened(path) as file:
        for batch in file.iter_batches(_ROWS_AT_ONCE):
            yield from batch.to_pylist()


def group_sizes(path: Path) -> list[int]:
    """How many rows each row group of a file holds: the pieces that can be read apart."""
    metadata = _opened(path).metadata
    return [int(metadata.row_group(group).num_rows) for group in range(metadata.num_row_groups)]


def rows_of_group(path: Path, group: int) -> list[dict[str, object]]:
    """The rows of one row group."""
    with _opened(path) as file:
        found: list[dict[str, object]] = file.read_row_group(group).to_pylist()
        return found


def write(path: Path, columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[Any]]) -> None:
    """Write rows; ``columns`` are names and kinds: text, number, whole, truth or money."""
    write_groups(path, columns, [rows])


def write_groups(path: Path, columns: Sequence[tuple[str, str]], groups: Iterable[Sequence[Sequence[Any]]]) -> None:
    """Write rows in groups that can be read apart."""
    schema = _schema(columns)
    with pq.ParquetWriter(path, schema) as writer:
        for rows in groups:
            cells = list(zip(*rows, strict=True)) or [()] * len(columns)
            arrays = [
                pa.array([_typed(value, kind) for value in values], _TYPES[kind])
                for (_, kind), values in zip(columns, cells, strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(arrays, schema=schema))


def join(target: Path, columns: Sequence[tuple[str, str]], parts: Iterable[Path]) -> None:
    """One file with the rows of all parts, in order."""
    with pq.ParquetWriter(target, _schema(columns)) as writer:
        for path in parts:
            writer.write_table(pq.read_table(path))


def _schema(columns: Sequence[tuple[str, str]]) -> pa.Schema:
    return pa.schema([(name, _TYPES[kind]) for name, kind in columns])


def _opened(path: Path) -> Any:
    try:
        return pq.ParquetFile(path)
    except (pa.ArrowInvalid, OSError) as error:
        raise BookError(f"{path.name}: {error}") from None


def _typed(value: Any, kind: str) -> Any:
    # The service's amounts have at most two decimals, which Python writes back as they came.
    return Decimal(repr(value)) if kind == "money" and value is not None else value
