"""The files that come out: written as parts, chunk by chunk, and joined in order at the end.

CSV is written to be opened in a spreadsheet too. It begins with a byte order mark, without which pound signs are misread, and no
text in it begins as a formula does: https://owasp.org/www-community/attacks/CSV_Injection.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from book.layout import RESULTS, WARNINGS
from book.reading import FileKind

RECORD = (("record", "whole"), ("id", "text"))
RESULT_COLUMNS = (*RECORD, *((column.name, column.kind) for column in RESULTS), (WARNINGS, "text"))
FAILURE_COLUMNS = (*RECORD, ("status", "whole"), ("code", "text"), ("columns", "text"), ("detail", "text"))
_MARK = "\ufeff"
_BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


class Sheet:
    """One file: of rows under fixed columns (CSV, Parquet), or of lines as they are given (NDJSON).

    ``columns`` are names and kinds: text, number, whole, truth or money.
    """

    def __init__(self, stem: str, kind: FileKind, columns: Sequence[tuple[str, str]]) -> None:
        self.name = f"{stem}.{kind}"
        self._kind, self._columns = kind, columns

    def write(self, path: Path, rows: Sequence[Any]) -> None:
        """A part: rows of cells, or lines as bytes. Each CSV part begins as the whole does, so that it can stand alone."""
        if self._kind == "parquet":
            # Imported here, so that only those who keep their book in Parquet need the package.
            from book import parquet

            parquet.write(path, self._columns, rows)
        elif self._kind == "csv":
            texts = [_TEXT[kind] for _, kind in self._columns]
            with path.open("w", encoding="utf-8", newline="") as file:
                file.write(self._header())
                csv.writer(file).writerows(
                    [None if value is None else text(value) for value, text in zip(row, texts, strict=True)]
                    for row in rows
                )
        else:
            path.write_bytes(b"".join(line + b"\n" for line in rows))

    def join(self, target: Path, parts: Sequence[Path]) -> None:
        """One file with what all parts hold, in order."""
        if self._kind == "parquet":
            from book import parquet

            parquet.join(target, self._columns, parts)
            return
        with target.open("wb") as file:
            if self._kind == "csv":
                file.write(self._header().encode())
            for part in parts:
                with part.open("rb") as source:
                    if self._kind == "csv":
                        source.readline()
                    shutil.copyfileobj(source, file)

    def _header(self) -> str:
        return _MARK + ",".join(name for name, _ in self._columns) + "\r\n"


def harmless(text: Any) -> str:
    """A text that no spreadsheet takes for a formula: an apostrophe is put before one that begins so."""
    written = str(text)
    return f"'{written}" if written.startswith(_BEGINS_A_FORMULA) else written


_TEXT: Mapping[str, Callable[[Any], str]] = {
    "text": harmless,
    "number": str,
    "whole": str,
    "truth": lambda value: "true" if value else "false",
    "money": lambda value: f"{value:.2f}",  # nothing is rounded: the service's amounts have at most two decimals
}
