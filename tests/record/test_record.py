"""A record says what the answer says, is made again byte for byte, and a changed one is found out."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from service import create_app
from service.record import document_in, faults_of, operation_of, path_of, pdf, record, tax_year_of, words
from service.record.files import canonical
from service.record.page import page
from service.settings import Settings
from tests.contract.agreement import component

TOP = Path(__file__).parents[2]
FILES = [
    *sorted((TOP / "examples" / "requests").glob("*.json")),
    *sorted((TOP / "openapi" / "examples" / "requests").glob("*.json")),
]
FEWEST, MOST = 2, 6
"""Pages of a record."""


def made(request: Any, on: date | None = date(2026, 11, 27)) -> tuple[str, dict[str, Any]] | None:
    """A record, and the answer it is of; None of a request that is not answered."""
    client = create_app(Settings.for_tests()).test_client()
    operation = operation_of(request)
    reply = client.post(path_of(operation), json=request)
    if reply.status_code != 200:
        return None
    answer = reply.get_json()
    figures = client.get(f"/v1/tax-years/{tax_year_of(operation, answer)}").get_json()
    return record(operation, request, answer, figures, on), answer


@cache
def records() -> dict[str, tuple[str, dict[str, Any]]]:
    """The records of all published requests that are answered."""
    requests = {file.stem: json.loads(file.read_text("utf-8")) for file in FILES}
    asked = {
        name: made(request)
        for name, request in requests.items()
        if isinstance(request, dict) and "household" in request
    }
    return {name: each for name, each in asked.items() if each is not None}


class Text(HTMLParser):
    """What a page shows, without code and pictures."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.shown: list[str] = []
        self.hidden = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self.hidden += tag in ("script", "style", "code", "svg", "head")

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in ("script", "style", "code", "svg", "head")

    def handle_data(self, data: str) -> None:
        if not self.hidden:
            self.shown.append(data)


def shown(html: str) -> str:
    """The words of a page."""
    return " ".join(Text(html).shown)


def test_all_four_questions_have_records() -> None:
    operations = {document_in(html)["operation"] for html, _ in records().values()}
    assert operations == {"withdrawal-tax", "allowance-schedule", "lump-sum-timing", "warnings"}
    assert len(records()) > 10


def test_a_record_says_what_is_otherwise_under_another_law() -> None:
    client = create_app(replace(Settings.for_tests(), figures=TOP / "examples" / "laws")).test_client()
    asked = json.loads((TOP / "examples" / "requests" / "plan-couple-most-after-tax.json").read_text("utf-8"))
    answer = client.post(
        path_of("allowance-schedule"), json={**asked, "compare_law": "invented-basic-rate-22"}
    ).get_json()
    figures = client.get("/v1/tax-years/2026-27").get_json()
    html = record("allowance-schedule", asked, answer, figures, None)
    other, text = answer["compared_law"], shown(html)
    assert faults_of(html, answer=answer) == []
    assert "Under another law" in text
    assert all(sentence in text for sentence in (*other["summary"], other["notice"]))
    assert all(words.money(year["income_tax"]["compared"]) in text for year in other["years"])


def test_a_record_is_sound_and_made_again_byte_for_byte() -> None:
    for html, answer in records().values():
        assert faults_of(html, answer=answer) == []
        assert page(document_in(html), canonical) == html


def test_a_record_names_the_growth_of_each_pension_where_they_differ() -> None:
    """3% less a charge of 0.4% is 1.03 x 0.996, and 5.5% less 0.5% is 1.055 x 0.995. A pension put together with another is told
    with it."""
    html, _ = records()["sage_has_two_pensions_that_open_at_different_ages"]
    told = "the first person's pension 1 2.588% and the first person's pension 2 4.9725%"
    assert f"growth by pension {told}" in " ".join(shown(html).split())
    request = json.loads((TOP / "examples" / "requests" / "plan-personal-allowance.json").read_text("utf-8"))
    first = request["household"]["people"][0]["pensions"][0]
    request["household"]["people"][0]["pensions"] = [first, first | {"growth": 0.01}, first]
    planned = made(request)
    assert planned is not None
    assert "the first person's pensions 1 and 3 " in " ".join(shown(planned[0]).split())


def test_a_record_says_what_the_answer_says() -> None:
    for html, answer in records().values():
        text = " ".join(shown(html).split())
        assert answer["notice"] in text
        for warning in answer["warnings"]:
            for part in (warning["title"], warning["detail"], *warning["sources"], *warning.get("caveats", [])):
                assert " ".join(part.split()) in text
        for caveat in answer["rules"]["caveats"]:
            assert caveat["caveat"] in text
        for chart in answer.get("charts", []):
            assert " ".join(chart["text"]) in text
        for step in answer.get("working", []):
            assert step["title"] in text
            assert step["section"] in text
        assert answer["rules"]["version"] in html
        kept = [answer.get("net_after_tax"), answer.get("totals", {}).get("wealth_after_tax")]
        kept += [option["totals"]["wealth_after_tax"] for option in answer.get("options", []) if "totals" in option]
        assert all(f"{words.money(amount)} " in f"{text} " for amount in kept if amount is not None)


def test_words_are_for_people() -> None:
    for name, (html, _) in records().items():
        text = shown(html)
        assert not re.search(r"\d{4}-\d\d-\d\d|\w_\w|\bNone\b|\bnan\b|[{}]", text), (
            name,
            re.findall(r".{30}\w_\w.{20}", text),
        )


def test_a_record_loads_nothing_and_names_nothing_twice() -> None:
    for html, _ in records().values():
        before, _, _ = html.partition('<script type="application/json"')
        assert not re.search(r"(src|href|xlink:href)=|@import|url\((?!#)", before)
        names = re.findall(r'\bid="([^"]+)"', before)
        assert len(names) == len(set(names))
        assert html.count("<script") == 1


@pytest.fixture(scope="module")
def weasyprint() -> ModuleType:
    """The library that lays out pages. It needs Pango, which is no Python package: without it the tests are skipped."""
    return pytest.importorskip("weasyprint", reason="Pango is not installed; .ci/run installs it", exc_type=OSError)


def test_it_has_a_few_pages(weasyprint: ModuleType) -> None:
    for name, (html, _) in records().items():
        assert FEWEST <= len(weasyprint.HTML(string=html).render().pages) <= MOST, name


def ten_options() -> Any:
    """A comparison as long as they come: a couple, ten options, to the age of 88, with two deaths."""
    request = json.loads((TOP / "examples" / "requests" / "timing-couple.json").read_text("utf-8"))
    ways: list[dict[str, Any]] = [
        {"lump_sums": "all_now"},
        {"lump_sums": "phased"},
        {"lump_sums": "with_each_withdrawal"},
        {"lump_sums": "never"},
        {"lump_sums": "at_age", "age": 67},
        {"lump_sums": "at_age", "age": 70},
    ]
    filled = {"aim": {"goal": "basic_rate_band"}}
    return {**request, "options": [*ways, *(way | filled for way in ways if way["lump_sums"] != "never")][:10]}


def test_ten_options_have_a_few_pages_too(weasyprint: ModuleType) -> None:
    found = made(ten_options())
    assert found is not None
    html, answer = found
    assert len(answer["options"]) == 10
    assert len(weasyprint.HTML(string=html).render().pages) <= MOST


def test_points_say_which_options_they_are_about() -> None:
    found = made(ten_options())
    assert found is not None
    html, answer = found
    text = " ".join(shown(html).split())
    several = [warning for warning in answer["warnings"] if len(warning.get("options", ())) > 1]
    assert several
    for warning in answer["warnings"]:
        places = [str(place + 1) for place in warning.get("options", [])]
        which = " and ".join([", ".join(places[:-1]), places[-1]] if len(places) > 1 else places)
        named = f"Option{'s' if len(places) > 1 else ''} {which}: " if places else ""
        assert f"{named}{warning['detail']}" in text
    kinds = {(warning["effect"], warning["title"]) for warning in answer["warnings"]}
    assert html.count('<div class="point">') == len(kinds) < len(answer["warnings"])


@pytest.mark.usefixtures("weasyprint")
def test_it_can_be_had_as_pdf() -> None:
    html, _ = records()["first-ufpls"]
    assert pdf(html).startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("£32,054<", "£33,054<", "The page is not what"),
        ('"net_after_tax":32054.0', '"net_after_tax":33054.0', "The digest of the answer"),
        ('"amount":30000', '"amount":31000', "The digest of the request"),
        ('id="record"', 'id="other"', "This page holds no record."),
        ('"operation":"withdrawal-tax"', '"operation":"withdrawals"', "The page is not what"),
        ('{"operation"', '{"operation', "What this page holds is not JSON."),
    ],
)
def test_a_change_is_found(old: str, new: str, fault: str) -> None:
    html, _ = records()["first-ufpls"]
    assert old in html
    assert any(found.startswith(fault) for found in faults_of(html.replace(old, new, 1)))


def test_a_record_of_another_answer_is_found() -> None:
    html, answer = records()["first-ufpls"]
    assert faults_of(html, answer={**answer, "net_after_tax": 1}) == ["The answer inside is not the one given."]
    assert faults_of(html, request={}) == ["The request inside is not the one given."]
    # The same numbers written in another way are the same answer.
    assert faults_of(html, answer=json.loads(json.dumps(answer).replace(".0,", ","))) == []


def test_words_of_callers_stay_words() -> None:
    request = json.loads((TOP / "examples" / "requests" / "first-ufpls.json").read_text("utf-8"))
    request["household"]["people"][0]["name"] = "</script><script>alert(1)</script> & <b>"
    found = made(request)
    assert found is not None
    html, answer = found
    assert html.count("<script") == 1
    assert "<b>" not in html
    assert faults_of(html, request, answer) == []


def kinds_of(schema: dict[str, Any], name: str = "", seen: frozenset[str] = frozenset()) -> set[tuple[str, str]]:
    """The numbers of a request as the agreement has them: the key of each, and the schema it keeps to."""
    if "$ref" in schema:
        kind = schema["$ref"].rsplit("/", 1)[-1]
        found = component(kind)
        if found.get("type") in ("number", "integer"):
            return {(name, kind)}
        return set() if f"{kind} {name}" in seen else kinds_of(found, name, seen | {f"{kind} {name}"})
    found_here = {(name, "")} if schema.get("type") in ("number", "integer") else set()
    for key, inner in schema.get("properties", {}).items():
        found_here |= kinds_of(inner, key, seen)
    for inner in (*schema.get("oneOf", ()), *schema.get("anyOf", ()), *schema.get("allOf", ())):
        found_here |= kinds_of(inner, name, seen)
    for inner in (schema.get("items"), schema.get("additionalProperties")):
        if isinstance(inner, dict):
            found_here |= kinds_of(inner, name, seen)
    return found_here


def test_every_number_of_a_request_is_told_in_its_unit() -> None:
    requests = ("WithdrawalTaxRequest", "AllowanceScheduleRequest", "LumpSumTimingRequest", "WarningsRequest")
    kinds = {kind for name in requests for kind in kinds_of(component(name))}
    money = {name for name, kind in kinds if kind == "Money"}
    assert len(money) > 25
    assert money.isdisjoint(words.SHARES | words.COUNTS | set(words.PLACES))
    shares = {name for name, kind in kinds if kind in ("Share", "GrowthRate", "YearlyRate", "YearlyInterest")}
    assert shares | {"share_of_full_rate"} == words.SHARES
    assert {name for name, kind in kinds if kind in ("PersonPlace", "PensionPlace")} == set(words.PLACES)
    rest = {name for name, _ in kinds} - money - words.SHARES - set(words.PLACES)
    assert rest == words.COUNTS


def test_the_tax_year_of_a_day() -> None:
    assert tax_year_of("warnings", {"date": "2027-04-05"}) == "2026-27"
    assert tax_year_of("lump-sum-timing", {"from": "2027-04-06"}) == "2027-28"
    assert tax_year_of("warnings", {"date": "2099-12-31"}) == "2099-00"
