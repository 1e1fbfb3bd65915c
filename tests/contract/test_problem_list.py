"""The list at the top of ``service.http.problems`` names every problem and every fault, and the modules they come from."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import service
from service.http import problems
from service.http.problems import KINDS
from service.schemas import problems as messages

ROOT = Path(service.__file__).parent
PROBLEM = re.compile(r"([a-z-]+) (\d{3}): \S")
FAULT = re.compile(r" {12}([a-z-]+): \S")
MODULE = re.compile(r"\b(?:http|schemas|planning)/[a-z_/]+\.py")


def listed() -> tuple[dict[str, int], set[tuple[str, str]], set[tuple[str, str]]]:
    """What the list says: problems with their status; problems with their modules; faults with their module."""
    assert problems.__doc__ is not None
    statuses: dict[str, int] = {}
    raised: set[tuple[str, str]] = set()
    found: set[tuple[str, str]] = set()
    problem = module = ""
    for line in problems.__doc__.split("\n\n", 2)[2].splitlines():
        if match := PROBLEM.match(line):
            problem = match[1]
            assert problem not in statuses
            statuses[problem] = int(match[2])
        elif match := FAULT.match(line):
            assert (match[1], module) not in found
            found.add((match[1], module))
        elif line.startswith(" " * 8):
            module = line.strip()
            assert MODULE.fullmatch(module), line
        else:
            modules = MODULE.findall(line)
            assert modules, line
            raised |= {(problem, each) for each in modules}
    return statuses, raised, found


def calls(name: str) -> Iterator[tuple[str, ast.Call]]:
    """Every call of something by that name in the service, with its module."""
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == name:
                yield path.relative_to(ROOT).as_posix(), node


def constant(node: ast.expr) -> str:
    assert isinstance(node, ast.Constant)
    assert isinstance(node.value, str)
    return node.value


def test_problems_and_statuses_are_those_there_are() -> None:
    assert listed()[0] == {code: kind.status for code, kind in KINDS.items()}


def test_problems_come_from_the_modules_that_raise_them() -> None:
    raised = {(constant(call.args[0]), module) for module, call in calls("ProblemError")}
    raised |= {
        ("rule-violation", "http/bulk.py") for module, _ in calls("violation_document") if module == "http/bulk.py"
    }
    raised |= {
        ("internal-error", "http/bulk.py") for module, _ in calls("failure_document") if module == "http/bulk.py"
    }
    assert {pair for pair in listed()[1] if pair[1] != "http/problems.py"} == raised


def test_faults_come_from_the_modules_that_find_them() -> None:
    in_schemas = "schemas/problems.py"
    found = {(constant(call.args[1]), module) for module, call in calls("Fault") if module != in_schemas}
    found |= {(code, in_schemas) for code in (*messages._CODES.values(), messages._code("anything else"))}
    assert listed()[2] == found
