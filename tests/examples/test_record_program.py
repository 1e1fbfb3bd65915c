"""The program that makes and checks records, against a service that runs."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from service.record import document_in

from .conftest import TOP, Service, running_service

EXAMPLES = TOP / "examples"


def run(*arguments: str | Path) -> tuple[int, str]:
    """The program's exit status, and what it prints."""
    done = subprocess.run(
        [sys.executable, str(EXAMPLES / "record.py"), *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(TOP)},
    )
    return done.returncode, (done.stdout + done.stderr).strip()


@pytest.mark.parametrize("name", ["first-ufpls", "plan-personal-allowance", "warnings-saves-and-withdraws"])
def test_a_record_is_made_and_checked(service: Service, tmp_path: Path, name: str) -> None:
    out = tmp_path / "record.html"
    assert run(EXAMPLES / "requests" / f"{name}.json", out, service.url) == (0, "")
    assert run("--check", out, service.url) == (0, "The record is sound.")
    assert run("--check", out) == (0, "The record is sound.")
    out.write_text(out.read_text("utf-8").replace("advice", "a promise"), "utf-8")
    status, said = run("--check", out)
    assert status == 1
    assert "The page is not what" in said


def test_it_says_what_is_wrong(service: Service, tmp_path: Path) -> None:
    out, broken = tmp_path / "record.html", tmp_path / "broken.json"
    broken.write_text("{", "utf-8")
    assert run(tmp_path / "none.json", out, service.url) == (1, f"{tmp_path / 'none.json'}: No such file or directory.")
    assert run(broken, out, service.url) == (1, f"{broken} is not JSON.")
    status, said = run(EXAMPLES / "requests" / "plan-spending-too-high.json", out, service.url)
    assert status == 1
    assert "#/" in said
    assert not out.exists()
    nobody = "No service answers at http://127.0.0.1:1. Start it first; README.md says how."
    assert run(EXAMPLES / "requests" / "first-ufpls.json", out, "http://127.0.0.1:1") == (1, nobody)


def test_a_record_under_a_proposed_law_has_its_figures(tmp_path: Path) -> None:
    request, out = tmp_path / "request.json", tmp_path / "record.html"
    asked = json.loads((EXAMPLES / "requests" / "first-ufpls.json").read_bytes())
    del asked["withdrawal"]["date"]
    asked |= {"tax_year": "2027-28", "law": "invented-basic-rate-22"}
    request.write_text(json.dumps(asked), "utf-8")
    with running_service(SERVICE_FIGURES=str(EXAMPLES / "laws")) as service:
        assert run(request, out, service.url) == (0, "")
        assert run("--check", out, service.url) == (0, "The record is sound.")
    html = out.read_text("utf-8")
    assert "an invented basic rate of 22%" in html
    figures = {figure["name"]: figure for figure in document_in(html)["figures"]["figures"]}
    assert figures["income_tax.personal_allowance"]["value"] == 13570
    assert figures["income_tax.personal_allowance"]["standing"] == "proposed"
