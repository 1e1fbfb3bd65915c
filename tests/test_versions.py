"""The version of the rules changes with a figure and with the code that computes or words an answer, and with nothing else."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from service import versions
from service.versions import FOLDER, LAYERS, SourcesMissingError, code_version
from tests.households import BOOK

TOP = Path(__file__).parents[1]
READY = """
import json, service
from service.settings import Settings
client = service.create_app(Settings.for_tests()).test_client()
ready, years = (client.get(path).json for path in ("/health/ready", "/v1/tax-years"))
print(json.dumps([ready["rules_version"], years["figures_version"]]))
"""


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the package, with the agreement beside it."""
    without = shutil.ignore_patterns("__pycache__")
    shutil.copytree(TOP / "openapi", tmp_path / "openapi", ignore=without)
    return Path(shutil.copytree(FOLDER, tmp_path / "service", ignore=without))


def named_by(package: Path) -> tuple[str, str]:
    """The versions of rules and figures that a service started from a package names."""
    told = subprocess.run(
        [sys.executable, "-P", "-c", READY],
        cwd=package.parent,
        env={"PYTHONPATH": str(package.parent), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        check=True,
    )
    rules, figures = json.loads(told.stdout)
    return rules, figures


def changed(path: Path, old: str, new: str) -> None:
    """``new`` where ``old`` first stands, which it must."""
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


def test_the_software_version_is_that_of_the_project() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["version"] == versions.SOFTWARE_VERSION


def test_a_copy_has_the_same_version_whatever_ends_its_lines(copy: Path) -> None:
    assert code_version(copy) == code_version()
    for path in copy.rglob("*.py"):
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
    code_version.cache_clear()
    assert code_version(copy) == code_version()


@pytest.mark.parametrize(
    "module",
    [
        "figures/later_years.py",
        "law/income_tax.py",
        "planning/quote/quote.py",
        "planning/disclosure.py",
        "schemas/quote/answer.py",
        "schemas/units.py",
        "http/quote.py",
    ],
)
def test_one_line_of_code_makes_another_version(copy: Path, module: str) -> None:
    path = copy / module
    path.write_text(path.read_text("utf-8") + "ONE_MORE = 1\n", "utf-8")
    assert code_version(copy) != code_version()


def test_a_module_more_or_by_another_name_makes_another_version(copy: Path) -> None:
    (copy / "law" / "more.py").write_text("")
    found = {code_version(), code_version(copy)}
    (copy / "law" / "more.py").rename(copy / "law" / "other.py")
    code_version.cache_clear()
    assert len(found | {code_version(copy)}) == 3


def test_what_computes_and_words_nothing_makes_no_other_version(copy: Path) -> None:
    for name in ("README.md", "law/README.md", "server.py", "settings.py"):
        (copy / name).write_text((copy / name).read_text("utf-8") + "# More.\n", "utf-8")
    (copy / "law" / "__pycache__").mkdir()
    (copy / "law" / "__pycache__" / "scale.cpython-311.pyc").write_bytes(b"compiled")
    assert code_version(copy) == code_version()


def test_a_service_names_what_its_own_files_say(copy: Path) -> None:
    here = (versions.versions_of(BOOK).rules, BOOK.figures_version)
    assert re.fullmatch("r[0-9a-f]{12} f[0-9a-f]{12}", " ".join(here))
    assert named_by(copy) == here
    changed(copy / "law" / "income_tax.py", '"""', '"""Changed. ')
    rules, figures = named_by(copy)
    assert rules != here[0]
    assert figures == here[1]


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("2019-20.toml", "value = 12500", "value = 12501"),
        ("tables/state_pension_age.toml", "age_years = 66 },", "age_years = 65 },"),
        ("tables/law_as_of.toml", "day = 2026-05-18", "day = 2026-05-19"),
    ],
)
def test_one_figure_makes_other_versions_of_figures_and_rules(copy: Path, file: str, old: str, new: str) -> None:
    changed(copy / "figures" / file, old, new)
    rules, figures = named_by(copy)
    assert rules != versions.versions_of(BOOK).rules
    assert figures != BOOK.figures_version


@pytest.mark.parametrize("name", ["SOFTWARE_VERSION", "SOLVER"])
def test_another_release_makes_another_version(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    before = versions.versions_of(BOOK).rules
    monkeypatch.setattr(versions, name, "99.0.0")
    assert versions.versions_of(BOOK).rules != before


def test_code_without_its_sources_has_no_version(copy: Path) -> None:
    (copy / "law" / "income_tax.py").unlink()
    with pytest.raises(SourcesMissingError, match=r"law/income_tax\.py"):
        code_version(copy)


def test_no_package_of_the_service_is_left_out() -> None:
    # The console and a record print answers and make none.
    assert {path.parent.name for path in FOLDER.glob("*/__init__.py")} == {*LAYERS, "console", "record"}
