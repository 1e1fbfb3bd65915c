"""What `python -m service.figures` prints: files in their own form, which load as the figures they were printed from."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from service.figures.__main__ import main
from service.figures.keys import KEYS
from service.figures.loader import FOLDER, load_tax_years
from service.figures.printing import history, whole_year, year_to_come

YEARS = load_tax_years()
LAST = YEARS["2030-31"]


@pytest.mark.parametrize("name", YEARS)
def test_a_year_printed_whole_loads_as_that_year(tmp_path: Path, name: str) -> None:
    text = whole_year(YEARS[name])
    (tmp_path / f"{name}.toml").write_text(text, "utf-8")
    (year,) = load_tax_years(tmp_path).values()
    stated_here = {key: replace(figure, stated_in=name) for key, figure in YEARS[name].figures.items()}
    assert year == replace(YEARS[name], figures=stated_here)
    for figure in YEARS[name].figures.values():
        assert f"\n# stated in {figure.stated_in}\n[{figure.name}]\nvalue = " in text


def test_the_first_year_is_printed_as_its_file_states_it() -> None:
    """But for the comments: the sections of the file, and here the year that states each figure."""

    def without_comments(text: str) -> list[str]:
        return [line for line in text.splitlines() if line and not line.startswith("#")]

    written = (FOLDER / "2019-20.toml").read_text("utf-8").replace("{tax_year}", "2019-20")
    assert without_comments(whole_year(YEARS["2019-20"])) == without_comments(written)


def test_the_history_of_a_figure() -> None:
    assert (
        history(YEARS, "income_tax.dividend_allowance")
        == """\
# income_tax.dividend_allowance (money)

# 2019-20 to 2021-22, stated in 2019-20
value = 2000
source = "Finance (No. 2) Act 2017 s.8"
standing = "enacted"

# 2022-23, stated in 2022-23
value = 2000
source = "Finance (No. 2) Act 2017 s.8"
standing = "enacted"
evidence = "Seen only in a data set that cites this source."

# 2023-24, stated in 2023-24
value = 1000
source = "Finance Act 2023 s.7"
standing = "enacted"

# 2024-25 to 2030-31, stated in 2024-25
value = 500
source = "Finance Act 2023 s.7"
standing = "enacted"
"""
    )


@pytest.mark.parametrize("name", KEYS)
def test_the_history_tells_every_entry_of_a_figure(name: str) -> None:
    stated = [year.name for year in YEARS.values() if year.has(name) and year.figures[name].stated_in == year.name]
    lines = history(YEARS, name).splitlines()
    assert [line.partition("stated in ")[2] for line in lines if ", stated in " in line] == stated
    assert sum(line.startswith("value = ") for line in lines) == len(stated)


def test_a_year_to_come_is_the_last_one_again(tmp_path: Path) -> None:
    (tmp_path / "2030-31.toml").write_text(whole_year(LAST), "utf-8")
    (tmp_path / "2031-32.toml").write_text(year_to_come(LAST), "utf-8")
    last, new = load_tax_years(tmp_path).values()
    assert new.name == "2031-32"
    assert {name: figure.value for name, figure in new.figures.items()} == {
        name: figure.value for name, figure in last.figures.items()
    }


def test_a_year_to_come_leaves_out_what_it_does_not_have() -> None:
    assert "pension.lifetime_allowance" in YEARS["2023-24"].figures
    assert "pension.lifetime_allowance" not in year_to_come(YEARS["2023-24"])


@pytest.mark.parametrize(
    ("asked", "printed"),
    [
        (["2026-27"], whole_year(YEARS["2026-27"])),
        (["history", "isa.subscription_limit"], history(YEARS, "isa.subscription_limit")),
        (["next"], year_to_come(LAST)),
    ],
)
def test_the_command_line(capsys: pytest.CaptureFixture[str], asked: list[str], printed: str) -> None:
    assert main(asked) == 0
    assert capsys.readouterr() == (printed, "")


@pytest.mark.parametrize(
    "asked",
    [[], ["2018-19"], ["history"], ["history", "isa.limit"], ["2026-27", "2027-28"], ["isa.subscription_limit"]],
)
def test_what_there_is_not_is_refused(capsys: pytest.CaptureFixture[str], asked: list[str]) -> None:
    assert main(asked) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("There is no such tax year or figure.\n")
    assert "python -m service.figures history" in err


def test_it_is_run_by_name() -> None:
    told = subprocess.run(
        [sys.executable, "-m", "service.figures", "2019-20"],
        cwd=FOLDER.parents[1],
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout == whole_year(YEARS["2019-20"])
