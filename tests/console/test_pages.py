"""The printed pages: what they say of money, that they fit 80 columns, and that nothing a client must see is missing."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from service.console import figures, quote, timing
from service.console.command import CHECK, QUOTE, SCHEDULE, TIMING, Question
from service.console.layout import WIDTH
from service.console.writing import writable

REQUESTS = Path(__file__).parents[2] / "examples" / "requests"
QUESTIONS = {"plan": SCHEDULE, "timing": TIMING, "warnings": CHECK}
"""The question of a file of examples/requests, by the first word of its name. The others are quotes."""
ASKED = [
    (path, QUESTIONS.get(path.stem.partition("-")[0], QUOTE))
    for path in sorted(REQUESTS.glob("*.json"))
    if path.stem != "plan-spending-too-high"
]


def request_of(name: str, **parts: Any) -> dict[str, Any]:
    return {**json.loads((REQUESTS / f"{name}.json").read_text("utf-8")), **parts}


def page_of(client: FlaskClient, request: dict[str, Any]) -> list[str]:
    answer = client.post(QUOTE.path, json=request)
    assert answer.status_code == 200, answer.text
    return quote.page(answer.get_json())


def joined(lines: list[str]) -> str:
    """A page as running text."""
    return " ".join(" ".join(lines).split())


@pytest.mark.parametrize(("path", "question"), ASKED, ids=lambda each: each.stem if isinstance(each, Path) else "")
def test_a_page_fits_and_holds_warnings_and_notice(client: FlaskClient, path: Path, question: Question) -> None:
    answer = client.post(question.path, json=json.loads(path.read_bytes())).get_json()
    page = question.page(answer)
    assert max(map(len, page)) <= WIDTH
    assert all(line == line.rstrip() for line in page)
    text = joined(page)
    places = []
    for warning in answer["warnings"]:
        places.append(text.index(" ".join(f"* {warning['title']}".split())))
        for said in (warning["detail"], *warning.get("caveats", ())):
            assert " ".join(said.split()) in text
    assert text.index(answer["notice"]) > max(places, default=0)
    assert page[-1].startswith(
        f"Version {answer['rules']['software_version']}, rules {answer['rules']['version']}, law as"
    )
    assert not any(f"-{number:02}-" in text for number in range(1, 13)), "a day is written for programs"


def test_money_goes_from_the_pension_to_the_bank(client: FlaskClient) -> None:
    """Code 1257L on month 1, PAYE tables for 2026-27: 11,878.20 of 40,000; the year's tax on it is 7,946."""
    page = page_of(client, request_of("first-ufpls"))
    amounts = {" ".join(line.split()[:-1]): line.split()[-1] for line in page[4:11]}
    assert amounts == {
        "leaves the pension": "£40,000.00",
        "of it tax free": "£10,000.00",
        "of it taxable": "£30,000.00",
        "payroll takes (code 1257L, month 1)": "-£11,878.20",
        "arrives in the bank": "£28,121.80",
        "can be reclaimed (form P55)": "£3,932.20",
        "kept in the end": "£32,054.00",
    }
    assert len({len(line) for line in page[4:11]}) == 1


def test_rates_and_jumps(client: FlaskClient) -> None:
    """38,000 with child benefit: 13,104 of 38,000, and 40 and the next jump of 22 on another 100 (ITEPA 2003 s.681C)."""
    text = joined(page_of(client, request_of("whole-pot-with-child-benefit")))
    for said in (
        "tax that it adds to the year £13,104.00",
        "as a share of the withdrawal 34.48%",
        "The next £100 of taxable withdrawal would cost £62.00 of tax.",
        "£11,000.00 £28,500.00 51.19% £8,958.00 higher rate, child benefit charge about £22.00 more at every £200.00",
    ):
        assert said in text


def test_a_step_of_the_tax(client: FlaskClient) -> None:
    """The personal savings allowance falls from 1,000 to 500 with the first pound of higher rate income (ITA 2007 s.12B)."""
    person = {
        "date_of_birth": "1960-06-01",
        "tax_residence": "england",
        "income": [{"kind": "employment", "amount": 40_000}, {"kind": "savings_interest", "amount": 1_000}],
        "pensions": [{"uncrystallised": 0, "drawdown": 50_000}],
    }
    request = {
        "tax_year": "2026-27",
        "household": {"people": [person]},
        "withdrawal": {"method": "drawdown", "amount": 20_000},
    }
    text = joined(page_of(client, request))
    assert "£9,270.00 £9,270.00 at once £100.00 personal savings allowance" in text
    assert "can be reclaimed (form P55)" in text


def test_a_lifetime_allowance_charge(client: FlaskClient) -> None:
    """55% of what a lump sum takes above 1,073,100 (Finance Act 2004 s.215, for 2022-23)."""
    person = {"date_of_birth": "1960-06-01", "tax_residence": "england", "pensions": [{"uncrystallised": 1_173_100}]}
    request = {
        "tax_year": "2022-23",
        "household": {"people": [person]},
        "withdrawal": {"method": "ufpls", "amount": 1_173_100},
    }
    assert "lifetime allowance charge -£55,000.00" in joined(page_of(client, request))


def test_an_allowance_that_comes_back() -> None:
    assert (
        quote.marginal_rate_sentence(-0.05)
        == "The next £100 of taxable withdrawal would lower the year's tax by £5.00."
    )


def test_options_stand_in_even_groups() -> None:
    def widths(count: int) -> list[int]:
        return [len(some) for some in timing.columns({place: {} for place in range(count)})]

    assert [widths(count) for count in (1, 4, 5, 8, 9)] == [[1], [4], [3, 2], [4, 4], [3, 3, 3]]


def test_figures_show_value_source_and_standing(client: FlaskClient) -> None:
    """The ISA limit, SI 1998/1870 reg.4ZA: 20,000."""
    year = client.get("/v1/tax-years/2026-27").get_json()
    page = figures.page(year, {"isa.subscription_limit": "money"}, "isa.subscription")
    assert page[3:] == [
        "ISA",
        "  subscription limit                                    £20,000.00",
        "      SI 1998/1870 reg.4ZA(1); SI 2017/186 (law)",
    ]
    assert figures.page(year, {}, "nothing of that name") == []
    assert max(map(len, figures.page(year, {}))) <= WIDTH


@pytest.mark.parametrize(
    ("encoding", "written"),
    [
        ("utf-8", "  tax         £5.00\n£1 \N{EN DASH} £2\n"),
        ("latin-1", "  tax         £5.00\n£1 - £2\n"),
        ("ascii", "  tax      GBP 5.00\nGBP 1 - GBP 2\n"),
    ],
)
def test_signs_that_cannot_be_written_leave_columns_in_line(encoding: str, written: str) -> None:
    assert writable("  tax         £5.00\n£1 \N{EN DASH} £2\n", encoding) == written
