"""The list of ``service.http.problems`` names every problem and every fault, and the modules they come from. The agreement has
the same table, and each problem's type leads to a page that is made from the list."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

import service
from service.http import problems
from service.http.problems import KINDS
from service.planning.faults import OF_THE_REQUEST

from .agreement import DOCUMENT, component

ROOT = Path(service.__file__).parent


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


def listed(*kinds: str) -> set[tuple[str, str]]:
    """Every fault of some problems, or of all, with the module that finds it."""
    return {(code, module) for kind in kinds or KINDS for module, codes in KINDS[kind].faults.items() for code in codes}


def test_problems_come_from_the_modules_that_raise_them() -> None:
    raised = {
        (constant(call.args[0]), module)
        for name in ("ProblemError", "with_faults")
        for module, call in calls(name)
        if isinstance(call.args[0], ast.Constant)
    }
    raised |= {("rule-violation", module) for module, _ in calls("violation_document")}
    raised |= {("internal-error", module) for module, _ in calls("failure_document")}
    inside = "http/problems.py"
    assert {(code, module) for code, kind in KINDS.items() for module in kind.raised_in if module != inside} == {
        pair for pair in raised if pair[1] != inside
    }
    by_status = {problems.document_of_status(kind.status)["code"] for kind in KINDS.values()}
    by_rule = {"invalid-request", "rule-violation"}
    assert {code for code, kind in KINDS.items() if inside in kind.raised_in} == by_status | by_rule


def test_faults_come_from_the_modules_that_find_them() -> None:
    found = {
        (constant(call.args[1]), module)
        for module, call in calls("Fault")
        if not any(isinstance(each, ast.Starred) for each in call.args)
    }
    found |= {(constant(call.args[0]), module) for module, call in calls("Said")}
    assert listed() == found


def test_what_lies_in_the_request_is_an_invalid_request_and_all_else_a_rule_violation() -> None:
    planning = {pair for pair in listed() if pair[1].startswith("planning/")}
    of_the_request = {pair for pair in planning if pair[0] in OF_THE_REQUEST}
    assert {code for code, _ in of_the_request} == OF_THE_REQUEST
    assert {pair for pair in listed("invalid-request") if pair in planning} == of_the_request
    assert listed("rule-violation") == planning - of_the_request


def test_the_table_of_the_agreement_says_the_same() -> None:
    rows = re.findall(r"^\| [45]\d\d \|.*$", DOCUMENT["info"]["description"], re.MULTILINE)
    said = [f"| {kind.status} | `{code}` | {kind.meaning} |" for code, kind in KINDS.items()]
    assert sorted(rows) == sorted(said)
    assert component("ProblemCode")["enum"] == list(KINDS)


@pytest.mark.parametrize("code", KINDS)
def test_the_type_of_a_problem_leads_to_its_page(client: FlaskClient, code: str) -> None:
    path = problems.document(code, "What went wrong.")["type"]
    reply = client.get(path)
    assert (reply.status_code, reply.content_type) == (200, "text/plain; charset=utf-8")
    kind = KINDS[code]
    for text in (kind.title, f"Code {code}, HTTP status {kind.status}.", kind.meaning, kind.example, kind.remedy):
        assert text in reply.text
    assert all(f"  {name}: " in reply.text for codes in kind.faults.values() for name in codes)


def test_no_other_problem_has_a_page(client: FlaskClient) -> None:
    reply = client.get("/problems/rule-violatoin")
    assert reply.status_code == 404
    assert reply.get_json()["detail"].endswith("Did you mean rule-violation?")
