"""What a run has finished is there whole or not at all."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from book.parts import Run
from book.reading import BookError
from book.sheets import Sheet
from tests.examples.conftest import SCRIPTS

ABOUT = {"book": "a"}
LINES = Sheet("results", "ndjson", ())


def writing(*lines: bytes) -> Callable[[Path], None]:
    return lambda folder: LINES.write(folder / LINES.name, lines)


def test_parts_are_joined_in_their_order_however_they_came(tmp_path: Path) -> None:
    run = Run(tmp_path / "out", ABOUT)
    with run.begun(start_over=False):
        for index in (2, 0, 11, 1):
            run.save(index, {"records": index}, writing(str(index).encode()))
        assert run.saved() == {index: {"records": index} for index in (0, 1, 2, 11)}
        assert not run.finished
        run.join([LINES])
        run.end({"all": "well"})
    assert (tmp_path / "out" / "results.ndjson").read_bytes() == b"0\n1\n2\n11\n"
    assert run.finished
    assert run.summary() == {"all": "well"}


def test_a_chunk_that_could_not_be_written_does_not_count(tmp_path: Path) -> None:
    def half(folder: Path) -> None:
        writing(b"half")(folder)
        raise OSError("the disk is full")

    run = Run(tmp_path, ABOUT)
    with pytest.raises(OSError, match="full"), run.begun(start_over=False):
        run.save(0, {}, half)
    with run.begun(start_over=False):
        assert run.saved() == {}
        run.save(0, {"records": 1}, writing(b"whole"))
        assert run.saved() == {0: {"records": 1}}


def test_a_chunk_saved_twice_is_there_once(tmp_path: Path) -> None:
    run = Run(tmp_path, ABOUT)
    with run.begun(start_over=False):
        run.save(0, {"records": 1}, writing(b"first"))
        run.save(0, {"records": 1}, writing(b"first"))
        assert list(run.saved()) == [0]
        run.join([LINES])
    assert (tmp_path / "results.ndjson").read_bytes() == b"first\n"


def test_a_run_that_differs_is_not_resumed(tmp_path: Path) -> None:
    with Run(tmp_path, ABOUT).begun(start_over=False):
        pass
    other = Run(tmp_path, {"book": "b"})
    with pytest.raises(BookError, match="differs in book"), other.begun(start_over=False):
        pass
    with other.begun(start_over=True):
        assert other.saved() == {}


def test_a_run_that_was_being_forgotten_when_it_was_killed_is_nobodys(tmp_path: Path) -> None:
    run = Run(tmp_path, ABOUT)
    with run.begun(start_over=False):
        run.save(0, {}, writing(b"old"))
        run.end({})
    (tmp_path / "run.json").write_text('{"finished": false}')
    with pytest.raises(BookError, match="--start-over"), run.begun(start_over=False):
        pass
    with run.begun(start_over=True):
        assert run.saved() == {}
        assert not (tmp_path / "summary.json").exists()


def test_two_runs_in_one_folder_at_once_are_refused(tmp_path: Path) -> None:
    script = (
        f"import sys; sys.path.insert(0, {str(SCRIPTS)!r})\n"
        "from pathlib import Path\nfrom book.parts import Run\nfrom book.reading import BookError\n"
        f"try:\n    with Run(Path({str(tmp_path)!r}), {ABOUT!r}).begun(start_over=False): print('begun')\n"
        "except BookError as error: print(error)\n"
    )

    def another() -> str:
        return subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True).stdout

    with Run(tmp_path, ABOUT).begun(start_over=False):
        assert "is in use by another run" in another()
    assert another() == "begun\n"
