"""The portal page in Chromium and in Firefox: filled in as a person would, on a telephone's screen and a wide one, in both colour
schemes."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.test_access import SECRETS, entry, file_of
from tests.test_server import running_service

from . import tools
from .serving import ask

PORTAL = tools.TOP / "examples" / "portal"
VENDOR = PORTAL / "page" / "vendor"
DRIVER = Path(__file__).with_name("drivers") / "portal.py"
SECRET = SECRETS["portal"]
ONE = {
    "person-0-born": "1966-05-14",
    "person-0-pension": "400,000",
    "person-0-pay": "£30,000",
    "person-0-interest": "420.50",
    "person-0-isa": "12000",
}
ONE_ASKED = {
    "date_of_birth": "1966-05-14",
    "tax_residence": "england",
    "income": [{"kind": "employment", "amount": 30000}, {"kind": "savings_interest", "amount": 420.5}],
    "pensions": [{"uncrystallised": 400000}],
    "isa": {"value": 12000},
}
TWO = {
    "person-0-born": "1964-04-23",
    "person-0-pension": "540000",
    "person-0-state": "100",
    "person-1-name": "Bryony",
    "person-1-born": "1967-11-09",
    "person-1-nation": "scotland",
    "person-1-pension": "86000",
    "person-1-state": "90%",
    "spending": "33000",
}
TWO_ASKED = [
    {
        "date_of_birth": "1964-04-23",
        "tax_residence": "england",
        "income": [{"kind": "state_pension", "share_of_full_rate": 1}],
        "pensions": [{"uncrystallised": 540000}],
    },
    {
        "name": "Bryony",
        "date_of_birth": "1967-11-09",
        "tax_residence": "scotland",
        "income": [{"kind": "state_pension", "share_of_full_rate": 0.9}],
        "pensions": [{"uncrystallised": 86000}],
    },
]
GROWTH = {"ask-pension-growth": "4.5", "ask-isa-growth": "4", "ask-inflation": "2"}
ASSUMED = {"pension_growth": 0.045, "isa_growth": 0.04, "price_inflation": 0.02}
STAGES = {"lump_sums": "phased", "yearly": "isa_allowance"}
VISITS: list[dict[str, Any]] = [
    {
        "screen": 390,
        "scheme": "light",
        "question": "withdrawal-tax",
        "fill": {**ONE, "ask-date": "2026-12-01", "ask-amount": "40,000"},
        "asked": {
            "household": {"people": [ONE_ASKED]},
            "tax_year": "2026-27",
            "withdrawal": {"method": "ufpls", "amount": 40000, "date": "2026-12-01"},
        },
    },
    {
        "screen": 1280,
        "scheme": "dark",
        "question": "allowance-schedule",
        "fill": {**ONE, "ask-start": "2026-10-01", "ask-end": "2033-04-05", "ask-goal": "basic_rate_band", **GROWTH},
        "asked": {
            "household": {"people": [ONE_ASKED]},
            "start_date": "2026-10-01",
            "end_date": "2033-04-05",
            "aim": {"goal": "basic_rate_band"},
            "assumptions": ASSUMED,
        },
    },
    {
        "screen": 390,
        "scheme": "dark",
        "question": "lump-sum-timing",
        "couple": True,
        "fill": {
            **TWO,
            "ask-start": "2026-10-01",
            "ask-to-age": "80",
            "ask-at-age": "67",
            "ask-death": "75",
            **GROWTH,
        },
        "asked": {
            "household": {"people": TWO_ASKED, "spending": [{"amount": 33000}]},
            "start_date": "2026-10-01",
            "to_age": 80,
            "options": [
                {"lump_sums": "all_now"},
                STAGES,
                {"lump_sums": "with_each_withdrawal"},
                {"lump_sums": "at_age", "age": 67},
            ],
            "deaths": [{"person": 0, "age": 75}],
            "assumptions": ASSUMED,
        },
    },
    {
        "screen": 1280,
        "scheme": "light",
        "question": "warnings",
        "fill": {
            **ONE,
            "ask-date": "2026-06-01",
            "ask-planned-date": "2026-07-01",
            "ask-planned-method": "pcls_and_drawdown",
            "ask-planned-amount": "9000",
        },
        "asked": {
            "household": {"people": [ONE_ASKED]},
            "date": "2026-06-01",
            "withdrawals": [{"date": "2026-07-01", "method": "pcls_and_drawdown", "amount": 9000}],
        },
    },
]
WRONG: list[dict[str, Any]] = [
    {
        "screen": 390,
        "scheme": "light",
        "question": "withdrawal-tax",
        "fill": {"person-0-pension": "lots", "ask-date": "2026-12-01", "ask-amount": "5000.001"},
        "faults": {
            "person-0-born": "Please fill this in.",
            "person-0-pension": "Enter an amount in pounds, such as 12,000.",
            "ask-amount": "Give at most two decimals.",
        },
    },
    {
        "screen": 1280,
        "scheme": "dark",
        "question": "withdrawal-tax",
        "fill": {**ONE, "ask-date": "2026-12-01", "ask-amount": "500000"},
        "faults": {"ask-amount": None},
    },
]


@contextmanager
def portal(service: str, key: str | None) -> Iterator[str]:
    """The page, served as it is meant to be: its URL."""
    kept = {name: value for name, value in os.environ.items() if name != "SERVICE_KEY"}
    process = subprocess.Popen(
        [sys.executable, str(PORTAL / "serve.py"), "--service", service, "--port", "0"],
        env={**kept, **({"SERVICE_KEY": key} if key else {})},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        yield process.stdout.readline().split()[-1]
    finally:
        process.terminate()
        process.communicate(timeout=20)


@pytest.fixture(scope="module", params=[tools.chromium, tools.firefox], ids=["chromium", "firefox"])
def seen(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[str, dict[str, Any]]]:
    """The service's URL, and what was seen in a browser of the page, which asks it with a key."""
    browser, python = request.param(), tools.pip_program("python")
    axe = tools.npm_file("axe-core", "axe.min.js")
    folder = tmp_path_factory.mktemp("portal")
    with (
        running_service(SERVICE_KEYS_FILE=str(file_of(folder, entry("portal")))) as (_, _, port),
        portal(f"http://127.0.0.1:{port}", SECRET) as url,
    ):
        done = subprocess.run(
            [python, str(DRIVER), browser, url, str(axe), str(folder)],
            input=json.dumps([*VISITS, *WRONG]),
            capture_output=True,
            text=True,
            timeout=300,
            check=False,
        )
        assert done.returncode == 0, done.stderr[-4000:]
        found = json.loads(done.stdout)
        found["url"] = url
        yield f"http://127.0.0.1:{port}", found


def answer_of(service: str, visit: dict[str, Any]) -> dict[str, Any]:
    """What the service itself says to what the person meant."""
    path = f"/v1/{visit['question']}" + ("" if visit["question"] == "warnings" else "?include=charts")
    headers = {"Content-Type": "application/json", "Authorization": f"Bearer {SECRET}"}
    reply = ask(service + path, "POST", json.dumps(visit["asked"]).encode(), headers)
    assert reply.status == 200, reply.body
    return dict(json.loads(reply.body))


def pounds(amount: float) -> str:
    """An amount as the page shows it."""
    return f"£{amount:,.0f}" if amount == int(amount) else f"£{amount:,.2f}"


def test_the_figures_shown_are_those_of_the_service(seen: tuple[str, dict[str, Any]]) -> None:
    service, found = seen
    for visit, shown in zip(VISITS, found["visits"], strict=False):
        answer = answer_of(service, visit)
        assert shown["figures"], visit["question"]
        for path, text in shown["figures"].items():
            here: Any = answer
            for key in path.split("/"):
                here = here[int(key)] if isinstance(here, list) else here[key]
            assert text == (str(here) if visit["question"] == "warnings" else pounds(here)), path
        assert [chart.strip() for chart in shown["charts"]] == [
            " ".join(chart["text"]) for chart in answer.get("charts", [])
        ]
        assert shown["pictures"] == len(shown["charts"])
        assert shown["notice"] == answer["notice"]
        titles = [re.sub(r"\s+(not permitted|has a cost|to check)$", "", title) for title in shown["points"]]
        assert titles == [warning["title"] for warning in answer["warnings"]]
        for warning, detail in zip(answer["warnings"], shown["details"], strict=True):
            places = [str(place + 1) for place in warning.get("options", [])]
            assert detail.endswith(warning["detail"])
            assert re.findall(r"\d+", detail.removesuffix(warning["detail"])) == places


def test_the_notice_is_always_in_sight(seen: tuple[str, dict[str, Any]]) -> None:
    for shown in seen[1]["visits"]:
        assert shown["in_sight"] == [True] * 3
        assert "advi" in shown["notice"]


def test_the_page_is_no_wider_than_its_screen(seen: tuple[str, dict[str, Any]]) -> None:
    for visit, shown in zip([*VISITS, *WRONG], seen[1]["visits"], strict=True):
        # Firefox takes what a scroll bar takes from the width.
        assert all(visit["screen"] - 16 < width <= visit["screen"] for width in shown["widths"])


def test_axe_finds_nothing_serious(seen: tuple[str, dict[str, Any]]) -> None:
    assert [shown["serious"] for shown in seen[1]["visits"]] == [[[], []]] * len([*VISITS, *WRONG])


def test_a_fault_stands_beside_its_field(seen: tuple[str, dict[str, Any]]) -> None:
    for visit, shown in zip(WRONG, seen[1]["visits"][len(VISITS) :], strict=True):
        faults = dict(shown["faults"])
        assert list(faults) == list(visit["faults"])
        for field, words in visit["faults"].items():
            assert words is None or faults[field] == words
            assert not re.search(r"JSON|\d{4}-\d\d-\d\d", faults[field])
        assert len(shown["listed"]) == len(faults)
        assert shown["figures"] == {}


def test_the_keyboard_is_enough_and_the_focus_goes_to_what_is_new(seen: tuple[str, dict[str, Any]]) -> None:
    places = [shown["focus"] for shown in seen[1]["visits"]]
    assert places == ["answer"] * len(VISITS) + ["faults"] * len(WRONG)


def test_nothing_comes_from_elsewhere_and_nothing_is_refused_by_the_policy(seen: tuple[str, dict[str, Any]]) -> None:
    found = seen[1]
    for shown in (*found["visits"], found["saved"]):
        assert all(request.startswith(f"{found['url']}/") for request in shown["requests"])
        # What the service does not answer is a line of the browser's own.
        assert [said for said in shown["complaints"] if "422" not in said] == []


def test_the_key_is_not_in_the_page(seen: tuple[str, dict[str, Any]]) -> None:
    assert SECRET not in json.dumps(seen[1])
    assert all(SECRET not in path.read_text("utf-8") for path in (PORTAL / "page").rglob("*.*"))


def test_a_household_is_saved_and_opened(seen: tuple[str, dict[str, Any]]) -> None:
    saved = seen[1]["saved"]
    assert saved["file"] == {"household": {"people": [ONE_ASKED]}}
    assert saved["said"] == "The household was opened."
    filled = {
        name: value.replace(",", "").replace("£", "").rstrip("0").rstrip(".") for name, value in saved["fields"].items()
    }
    expected = {name: value.replace(",", "").replace("£", "").rstrip("0").rstrip(".") for name, value in ONE.items()}
    assert expected.items() <= filled.items()
    assert {name for name, value in filled.items() if value} == {*ONE, "person-0-nation"}


def test_the_server_answers_nothing_else() -> None:
    with portal("http://127.0.0.1:1", None) as url:
        page = ask(url)
        assert page.status == 200
        policy = page.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        for path in ("/serve.py", "/../serve.py", "/page/../../serve.py", "/vendor/", "/v1/tax-years"):
            assert ask(url + path).status == 404
        sent = {"Content-Type": "application/json"}
        for path, headers in (
            ("/ask/bulk", sent),
            ("/ask/warnings", {"Content-Type": "text/plain"}),
            ("/ask/warnings", {**sent, "Origin": "http://elsewhere.example"}),
        ):
            assert ask(url + path, "POST", b"{}", headers).status == 404
        assert ask(f"{url}/ask/warnings", "POST", b" " * 100_001, sent).status == 413
        gone = ask(f"{url}/ask/warnings", "POST", b"{}", sent)
        assert (gone.status, json.loads(gone.body)["title"]) == (502, "No answer")


@pytest.mark.parametrize("name", ["vega", "vega-lite", "vega-embed", "vega-interpreter"])
def test_what_is_shipped_is_what_was_published(name: str) -> None:
    """Byte for byte but for two lines: where a map of the sources would be, and from where the interpreter imports."""
    kind = ".js" if name == "vega-interpreter" else ".min.js"
    published = tools.npm_file(name, "build", f"{name}{kind}").read_text("utf-8")
    published = re.sub(r"^//# sourceMappingURL=.*\n?", "", published, flags=re.M)
    published = published.replace("from 'vega-util'", "from '../vega-util.js'")
    assert (VENDOR / f"{name}{kind}").read_text("utf-8").rstrip("\n") == published.rstrip("\n")
    licence = tools.npm_file(name, "LICENSE").read_text("utf-8").strip()
    assert f"== {name} {tools.PINS['npm'][name]}\n{licence}" in (VENDOR / "LICENCES.txt").read_text("utf-8")
