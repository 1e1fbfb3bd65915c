"""The program that prints a quote: what the page says, and one clear line where there is none."""

from __future__ import annotations

import json
import runpy
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from tests.examples.conftest import TOP, Service

PROGRAM = TOP / "examples" / "quote.py"
REQUEST = TOP / "examples" / "requests" / "whole-pot-with-child-benefit.json"
NAMES = runpy.run_path(str(PROGRAM))
main: Callable[[list[str]], int] = NAMES["main"]


def page_of(client: FlaskClient, request: dict[str, Any]) -> str:
    answer = client.post("/v1/withdrawal-tax", json=request)
    assert answer.status_code == 200, answer.text
    return str(NAMES["printed"](answer.get_json()))


def request_with(**parts: Any) -> dict[str, Any]:
    request = json.loads(REQUEST.read_text(encoding="utf-8"))
    return {**request, **parts}


def household(**person: Any) -> dict[str, Any]:
    return {"people": [{"tax_residence": "england", **person}]}


def test_rates_and_stairs(client: FlaskClient) -> None:
    """38,000 with child benefit: 13,104 of 38,000, and 40 and the next jump of 22 on another 100 (ITEPA 2003 s.681C)."""
    page = page_of(client, request_with())
    for line in (
        "  tax this withdrawal adds to the year                £13,104.00",
        "  effective rate                                          34.48%",
        "  The next £100 of taxable withdrawal would cost £62.00 of tax (marginal rate 62.00%).",
        "       £11,000.00 to    £28,500.00   51.19%    £8,958.00  higher rate, child benefit charge",
    ):
        assert line in page.splitlines()
    assert "about £22.00 more at every £200.00" in page
    assert len(page.splitlines()) < 40


def test_a_step_and_a_form(client: FlaskClient) -> None:
    income = [{"kind": "employment", "amount": 40_000}, {"kind": "savings_interest", "amount": 1_000}]
    page = page_of(
        client,
        request_with(
            tax_year="2026-27",
            household=household(
                date_of_birth="1960-06-01", income=income, pensions=[{"uncrystallised": 0, "drawdown": 50_000}]
            ),
            withdrawal={"method": "drawdown", "amount": 20_000},
        ),
    )
    assert "£9,270.00 to     £9,270.00     step      £100.00  personal savings allowance" in page
    assert "comes back (form P55)" in page


def test_a_lifetime_allowance_charge(client: FlaskClient) -> None:
    page = page_of(
        client,
        request_with(
            tax_year="2022-23",
            household=household(date_of_birth="1960-06-01", pensions=[{"uncrystallised": 1_173_100}]),
            withdrawal={"method": "ufpls", "amount": 1_173_100},
        ),
    )
    assert "  lifetime allowance charge                           £55,000.00" in page.splitlines()


def test_an_allowance_that_comes_back() -> None:
    assert NAMES["marginal_rate_sentence"](-0.05) == (
        "The next £100 of taxable withdrawal would lower the year's tax by £5.00."
    )


def test_it_prints_what_a_running_service_answers(service: Service) -> None:
    ran = subprocess.run(
        [sys.executable, str(PROGRAM), str(REQUEST), f"{service.url}/"], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("Withdrawal in 2025-26 (ufpls)\n")


def test_a_problem_is_told_with_its_faults(
    service: Service, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = tmp_path / "much.json"
    asked.write_text(json.dumps(request_with(withdrawal={"method": "ufpls", "amount": 38_000.01})), encoding="utf-8")
    assert main([str(asked), service.url]) == 1
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 2
    assert said[1].startswith("  #/withdrawal/amount: ")


def closed_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "Usage: python examples/quote.py REQUEST.json [ADDRESS]. "),
        (["a", "b", "c"], "Usage: python examples/quote.py REQUEST.json [ADDRESS]. "),
        (["nowhere.json"], "nowhere.json cannot be read: No such file or directory."),
        ([str(TOP)], f"{TOP} cannot be read: Is a directory."),
        ([str(PROGRAM)], f"{PROGRAM} does not hold JSON."),
        ([str(REQUEST), "127.0.0.1:8000"], "An address begins with http://, such as http://127.0.0.1:8000; "),
        ([str(REQUEST), f"http://127.0.0.1:{closed_port()}"], "No service answers at http://127.0.0.1:"),
        ([str(REQUEST), "http://[::1"], "http://[::1 is not an address of this service."),
    ],
    ids=["nothing", "too much", "no file", "a folder", "no JSON", "no http", "no service", "no address"],
)
def test_what_cannot_be_printed_is_told_in_one_line(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 1
    output, error = capsys.readouterr()
    assert output == ""
    assert error.startswith(said)
    assert error.count("\n") == 1


def test_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == 0
    assert main(["-h"]) == 0
    output = capsys.readouterr().out.splitlines()
    assert len(output) == 2
    assert all(line.startswith("Usage: python examples/quote.py REQUEST.json [ADDRESS]. ") for line in output)
