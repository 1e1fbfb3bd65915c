"""What a run has finished, kept so that it can be stopped at any moment, by kill -9 too, and lose nothing.

Each chunk is saved as one folder that appears whole or not at all. A run that is started again skips the chunks that are
there. When all are there, they are joined in the order of the book.

    OUT/run.json         what the run is about; it is not resumed with another book or other settings
    OUT/parts/00000000   one chunk: a part of each file to be written, and part.json with its counts
    OUT/unfinished       what is being written; nothing in it counts
"""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from book.reading import BookError
from book.sheets import Sheet


class Run:
    """The folder of one run. ``about`` is what makes a run the same run: JSON values by name."""

    def __init__(self, folder: Path, about: Mapping[str, Any]) -> None:
        self._folder, self._about = folder, dict(about)
        self._parts = folder / "parts"
        self._unfinished = folder / "unfinished"
        self._note = folder / "run.json"

    @contextmanager
    def begun(self, *, start_over: bool) -> Iterator[None]:
        """Holds the folder for this process. BookError where another holds it, or it belongs to another run."""
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BookError(f"{self._folder}: {error.strerror}") from None
        with _held(self._folder / "lock"):
            if start_over and self._note.exists():
                self._forget()
            self._check()
            self._parts.mkdir(exist_ok=True)
            shutil.rmtree(self._unfinished, ignore_errors=True)
            self._unfinished.mkdir()
            yield
            shutil.rmtree(self._unfinished, ignore_errors=True)

    def _forget(self) -> None:
        """Remove what an earlier run has left. Interrupted, what is left belongs to no run, until it is forgotten again."""
        self._unfinished.mkdir(exist_ok=True)
        self._replace(self._note, {"finished": False})
        shutil.rmtree(self._parts, ignore_errors=True)
        for pattern in ("results*", "failures*", "changes*", "summary.json"):
            for path in self._folder.glob(pattern):
                path.unlink()
        self._note.unlink()

    def _check(self) -> None:
        if not self._note.exists():
            # A run that was killed before it had written its note leaves an empty folder behind.
            if any(path.name not in ("lock", self._unfinished.name) for path in self._folder.iterdir()):
                raise BookError(f"{self._folder} holds other files; name a folder that is empty or does not exist")
            self._unfinished.mkdir(exist_ok=True)
            self._replace(self._note, {**self._about, "finished": False})
            return
        known = self._read(self._note)
        different = sorted(name for name in self._about if self._about[name] != known.get(name))
        if different:
            raise BookError(
                f"{self._folder} holds a run that differs in {', '.join(different)}; name another folder, or start again "
                "with --start-over"
            )

    @property
    def finished(self) -> bool:
        """Whether the run has come to its end."""
        return bool(self._read(self._note)["finished"])

    def saved(self) -> dict[int, dict[str, Any]]:
        """The counts of every chunk that has been saved, by its index."""
        return {int(path.name): self._read(path / "part.json") for path in self._parts.iterdir()}

    def save(self, index: int, counts: Mapping[str, Any], write: Callable[[Path], None]) -> None:
        """Keep one chunk: ``write`` puts its files into a folder, which then takes its place in one step."""
        folder = Path(tempfile.mkdtemp(dir=self._unfinished))
        write(folder)
        (folder / "part.json").write_text(json.dumps(counts), encoding="utf-8")
        for path in (*folder.iterdir(), folder):
            _to_the_disk(path)
        place = self._parts / f"{index:08}"
        try:
            folder.rename(place)
        except OSError:
            # Somebody else has saved the same chunk meanwhile, such as a worker that was taken for dead.
            if not place.exists():
                raise
            shutil.rmtree(folder)
        _to_the_disk(self._parts)

    def join(self, sheets: Sequence[Sheet]) -> None:
        """Join all parts. Interrupted, it is simply done again, for the parts are still there."""
        parts = sorted(self._parts.iterdir())
        for sheet in sheets:
            half = self._unfinished / sheet.name
            sheet.join(half, [part / sheet.name for part in parts])
            _to_the_disk(half)
            half.replace(self._folder / sheet.name)

    def end(self, summary: Mapping[str, Any]) -> None:
        """Write summary.json and note that the run is finished."""
        self._replace(self._folder / "summary.json", summary)
        self._replace(self._note, {**self._about, "finished": True})

    def clear(self) -> None:
        """Remove the parts, which the joined files have made superfluous."""
        shutil.rmtree(self._parts)

    def summary(self) -> dict[str, Any]:
        """The summary of a finished run."""
        return self._read(self._folder / "summary.json")

    def _replace(self, path: Path, document: Mapping[str, Any]) -> None:
        """Write a JSON file so that it is there whole, the old one or the new."""
        half = self._unfinished / path.name
        half.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")
        _to_the_disk(half)
        half.replace(path)

    def _read(self, path: Path) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        return found


def _to_the_disk(path: Path) -> None:
    """Wait until what was written to a file or folder would outlast a loss of power."""
    if path.is_dir() and sys.platform == "win32":
        return  # folders cannot be opened there
    descriptor = os.open(path, os.O_RDWR if path.is_file() else os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextmanager
def _held(path: Path) -> Iterator[None]:
    """A lock that goes with the process, however it ends. BookError where another process holds it."""
    with path.open("a") as file:
        if sys.platform != "win32":
            import fcntl

            try:
                fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                raise BookError(f"{path.parent} is in use by another run") from None
        yield
