"""What is kept from one request to the next: bounded, and forgotten when it is told to."""

from __future__ import annotations

import ast
from fractions import Fraction
from pathlib import Path

import service
from service.figures.loader import load_tax_years
from service.law.kept import forget, kept
from service.law.rulebook import rule_book


def test_it_is_asked_once_until_it_is_forgotten() -> None:
    asked: list[int] = []

    @kept(2)
    def double(number: int) -> int:
        asked.append(number)
        return 2 * number

    assert [double(1), double(1), double(2), double(3), double(1)] == [2, 2, 4, 6, 2]
    assert asked == [1, 2, 3, 1]
    forget()
    assert double(1) == 2
    assert asked == [1, 2, 3, 1, 1]


def test_the_rules_of_a_later_year_are_kept_and_forgotten() -> None:
    book = rule_book(load_tax_years())
    rise = Fraction(102, 100)
    first = book.later("2040-41", rise)
    assert book.later("2040-41", rise) is first
    forget()
    again = book.later("2040-41", rise)
    assert again is not first
    assert again == first


def test_no_other_cache_grows_with_what_is_asked() -> None:
    """Those of functools itself are used where the program alone says what can be asked of them."""
    found = {}
    for path in Path(service.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module == "functools":
                names = sorted({each.name for each in node.names} & {"cache", "lru_cache"})
                if names:
                    found[path.relative_to(Path(service.__file__).parent).as_posix()] = names
    assert found == {
        "http/meta.py": ["cache"],  # files of the page of documentation
        "law/kept.py": ["lru_cache"],
        "law/rulebook.py": ["lru_cache"],  # the tax years that a plan can reach
        "logs.py": ["cache"],
        "planning/warnings/topic.py": ["cache"],  # the figures' names
        "schemas/belonging.py": ["lru_cache"],  # the schemas
        "versions.py": ["cache"],
    }
