"""The pages for people: every link, path, module and name of code in them exists."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

TOP = Path(__file__).parents[1]
FOLDERS = ("docker", "examples", "openapi", "service", "tests")
PAGES = sorted([*TOP.glob("*.md"), *(page for folder in FOLDERS for page in (TOP / folder).rglob("*.md"))])
CODE = re.compile(r"`([^`\n]+)`")
LINK = re.compile(r"\]\(([^)\s]+)\)")
PATH = re.compile(r"[\w./-]+/[\w./-]*|[\w-]+\.(?:ndjson|json|lock|md|py|toml|txt|yaml|conf|html)|\.ci/run")
"""What is written like a path of the project: with a slash, or a file's name with an ending that the project uses."""
MODULE = re.compile(r"\b(?:service|tests)(?:\.\w+)+")
NOT_OURS = {"OUT/parts", "summary.json", "__slots__"}
"""What the pages name and the project has not: files that are made, and what Python has."""
ALGEBRA = "service/planning/optimiser/README.md"
"""The page whose names are those of a formula, too."""
CHANGES = "openapi/CHANGELOG.md"
"""The page that tells of names that are no more."""


def prose(page: Path) -> str:
    """A page without its blocks of code."""
    text = re.sub(r"^ *```.*?^ *```", "", page.read_text("utf-8"), flags=re.M | re.S)
    return "\n".join(line for line in text.splitlines() if not line.startswith("    "))


def exists(name: str, page: Path) -> bool:
    """Whether there is such a path, seen from the page's folder, from the top, from the service or from the tests. A file's
    name alone may stand for one in any folder."""
    if "/" not in name and name in file_names():
        return True
    return any((folder / name).exists() for folder in (page.parent, TOP, TOP / "service", TOP / "tests"))


def is_a_file_of_ours(code: str) -> bool:
    """Whether code is written like a path of the project: no route of the service, no NAME to be put in."""
    return PATH.fullmatch(code) is not None and not code.startswith("/") and "NAME" not in code


@cache
def file_names() -> frozenset[str]:
    """The names of all files."""
    return frozenset(file.name for folder in FOLDERS for file in (TOP / folder).rglob("*") if file.suffix != ".pyc")


@cache
def words() -> frozenset[str]:
    """Every word of the project's code, data and agreement."""
    found: set[str] = set()
    for folder in (*FOLDERS, ".ci"):
        for file in (TOP / folder).rglob("*"):
            if file.is_file() and file.suffix not in (".md", ".pyc") and file.name != "test_pages.py":
                found.update(re.findall(r"\w+", file.read_text("utf-8", "replace")))
    found.update(re.findall(r"\w+", (TOP / "pyproject.toml").read_text("utf-8")))
    return frozenset(found)


def names_in(module: Path) -> set[str]:
    """What a module defines or imports at its top."""
    found: set[str] = set()
    for node in ast.parse(module.read_text("utf-8")).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found.add(node.name)
        found.update(name.id for name in ast.walk(node) if isinstance(name, ast.Name))
    return found


def is_there(dotted: str) -> bool:
    """Whether a dotted name is a module or a package, or a name inside one."""
    parts = dotted.split(".")
    for path in (TOP.joinpath(*parts), TOP.joinpath(*parts[:-1])):
        for module in (path.with_suffix(".py"), path / "__init__.py"):
            if module.is_file():
                return path.name == parts[-1] or parts[-1] in names_in(module)
    return TOP.joinpath(*parts).is_dir()


def missing(page: Path) -> Iterator[str]:
    """What a page names and the project has not."""
    text = prose(page)
    for link in LINK.findall(text):
        target = link.partition("#")[0]
        if "://" not in link and target and not (page.parent / target).exists():
            yield f"link {link}"
    named = page not in (TOP / ALGEBRA, TOP / CHANGES)
    for code in set(CODE.findall(text)) - NOT_OURS:
        if is_a_file_of_ours(code) and not exists(code, page):
            yield f"path {code}"
        if named and re.fullmatch(r"[A-Za-z_]\w*", code) and code not in words():
            yield f"name {code}"
    for dotted in MODULE.findall(page.read_text("utf-8")):
        if not exists(dotted, page) and not is_there(dotted):
            yield f"module {dotted}"


def test_there_is_a_page_for_every_part() -> None:
    names = {page.relative_to(TOP).as_posix() for page in PAGES}
    layers = {f"service/{layer}/README.md" for layer in ("figures", "law", "planning", "schemas", "charts", "http")}
    assert {"README.md", "DEVELOPERS.md", "service/GLOSSARY.md", *layers} < names


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(TOP).as_posix())
def test_what_a_page_names_exists(page: Path) -> None:
    assert list(missing(page)) == []


def test_every_page_can_be_reached_from_the_map() -> None:
    reached, waiting = set[Path](), [TOP / "DEVELOPERS.md", TOP / "README.md"]
    while waiting:
        page = waiting.pop()
        if page not in reached:
            reached.add(page)
            targets = (
                (page.parent / link.partition("#")[0]).resolve() for link in LINK.findall(page.read_text("utf-8"))
            )
            waiting += [target for target in targets if target.suffix == ".md" and target.exists()]
    assert [page for page in PAGES if page not in reached] == []


@pytest.mark.parametrize(
    "line",
    [
        "See [law](law/NOTHING.md).",
        "In `law/nothing.py`.",
        "In `nothing.toml`.",
        "It is `nothing_of_that_name`.",
        "By `service.law.nothing` it is.",
        "By service.law.scale.nothing it is.",
        "    python -m tests.nothing",
    ],
)
def test_what_does_not_exist_would_be_noticed(line: str, tmp_path: Path) -> None:
    page = tmp_path / "README.md"
    page.write_text(f"# A page\n\n{line}\n", "utf-8")
    assert len(list(missing(page))) == 1


@pytest.mark.parametrize(
    "line",
    [
        "In `law/scale.py`, `.ci/run` and `service/law/`; not `/v1/warnings`.",
        "It is `most_after_tax`, from service.planning.optimiser.branch_and_bound.most_after_tax.",
        "    python -m tests.same_answers OLD NEW > law/nothing.py",
    ],
)
def test_what_exists_is_found(line: str, tmp_path: Path) -> None:
    page = tmp_path / "README.md"
    page.write_text(f"# A page\n\n{line}\n", "utf-8")
    assert list(missing(page)) == []
