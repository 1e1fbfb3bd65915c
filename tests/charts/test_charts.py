"""Charts: what they show is what the answer says, every description can be drawn, and their sentences are for clients.

Asked of the published requests, and of invented ones, among which are the odd cases: steps in the tax, allowances that come
back, plans that run out, options that cannot be carried out.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from itertools import combinations
from pathlib import Path
from random import Random
from typing import Any
from xml.etree import ElementTree

import pytest
import vl_convert
from flask.testing import FlaskClient

from service import create_app
from service.charts import look
from service.charts.schedule import schedule_charts
from service.charts.timing import timing_charts
from service.settings import Settings
from tests import invented_requests
from tests.planning.warnings.test_words import MOST_WORDS, sentences

TOP = Path(__file__).parents[2]
REQUESTS = sorted((TOP / "examples" / "requests").glob("*.json")) + sorted(
    (TOP / "openapi" / "examples" / "requests").glob("*.json")
)
OPERATIONS = {"withdrawal": "withdrawal-tax", "options": "lump-sum-timing", "aim": "allowance-schedule"}
INVENTED = {"withdrawal-tax": 150, "allowance-schedule": 12, "lump-sum-timing": 8}
PHONE, DESK = 374, 640  # pixels; a telephone's screen has 390
DRAWN_AS = "6.4"
SVG = "{http://www.w3.org/2000/svg}"


@cache
def service() -> FlaskClient:
    """The service, for answers that are kept."""
    return create_app(Settings.for_tests()).test_client()


def asked(operation: str, request: Any) -> dict[str, Any] | None:
    """The answer with charts; None where there is none."""
    reply = service().post(f"/v1/{operation}?include=charts", json=request)
    return dict(reply.get_json()) if reply.status_code == 200 else None


@cache
def published() -> tuple[tuple[str, str, Any, dict[str, Any]], ...]:
    """Of every published request that is answered: its file, its operation, itself and the answer."""
    found = []
    for file in REQUESTS:
        request = json.loads(file.read_text("utf-8"))
        keys = [key for key in OPERATIONS if isinstance(request, dict) and key in request]
        answer = asked(OPERATIONS[keys[0]], request) if keys else None
        if answer is not None:
            found.append((file.stem, OPERATIONS[keys[0]], request, answer))
    return tuple(found)


SENSITIVE = (
    ("allowance-schedule", "plan-personal-allowance.json", {}),
    ("allowance-schedule", "plan-couple-most-after-tax.json", {"growth": 0.005, "length_of_life": 1}),
    ("lump-sum-timing", "timing-before-and-after-april-2027.json", {"length_of_life": 2}),
    ("lump-sum-timing", "timing-couple-many-markets.json", {}),
)
"""Published requests with an assumption at a time changed."""


@cache
def sensitive() -> tuple[tuple[str, dict[str, Any]], ...]:
    """The operations and the answers of these."""
    found = []
    for operation, name, steps in SENSITIVE:
        request = json.loads((TOP / "examples" / "requests" / name).read_text("utf-8"))
        answer = asked(operation, {**request, "sensitivity": steps})
        assert answer is not None
        found.append((operation, answer))
    return tuple(found)


@cache
def invented() -> tuple[dict[str, Any], ...]:
    """The answers to invented requests."""
    makers = {
        "withdrawal-tax": invented_requests.withdrawal,
        "allowance-schedule": invented_requests.plan,
        "lump-sum-timing": invented_requests.timing,
    }
    random = Random(18)
    answers = [asked(name, makers[name](random)) for name, count in INVENTED.items() for _ in range(count)]
    return tuple(answer for answer in answers if answer is not None)


def every_chart() -> list[dict[str, Any]]:
    """All charts of all answers."""
    answers = (*(each[-1] for each in published()), *(answer for _, answer in sensitive()), *invented())
    return [chart for answer in answers for chart in answer["charts"]]


def in_bulk(client: FlaskClient, path: str, request: Any) -> Any:
    """The result of one record."""
    line = json.dumps({"id": "1", "request": request})
    reply = client.post(f"/v1/bulk/{path}", data=line, content_type="application/x-ndjson")
    return json.loads(reply.data.splitlines()[0])["result"]


def the(answer: dict[str, Any], name: str) -> dict[str, Any]:
    """A chart of an answer."""
    [found] = [chart for chart in answer["charts"] if chart["name"] == name]
    return dict(found)


def inside(node: Any, key: str) -> Iterator[Any]:
    """Whatever stands under a key, at every depth."""
    if isinstance(node, dict):
        yield from (value for name, value in node.items() if name == key)
    for value in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from inside(value, key)


def values_with(chart: dict[str, Any], *keys: str) -> list[dict[str, Any]]:
    """The rows of a chart's data that have these keys."""
    rows = (row for values in inside(chart["spec"], "values") for row in values if isinstance(row, dict))
    return [row for row in rows if set(keys) <= set(row)]


def drawn(spec: dict[str, Any], width: int) -> ElementTree.Element:
    """A chart as SVG."""
    return ElementTree.fromstring(vl_convert.vegalite_to_svg(spec | {"width": width}, vl_version=DRAWN_AS))


def test_there_is_something_to_look_at() -> None:
    assert {name for _, name, _, _ in published()} == set(OPERATIONS.values())
    assert len(invented()) > sum(INVENTED.values()) / 2
    assert {chart["name"] for chart in every_chart()} == {
        "money",
        "tax_curve",
        "holdings",
        "draws_and_tax",
        "left_after_tax",
        "held_on_many_courses",
        "options_on_many_courses",
        "sensitivity",
        "over_the_years",
        "growth_break_evens",
        "beneficiaries",
    }


def test_charts_add_nothing_to_an_answer_that_does_not_ask_for_them(client: FlaskClient) -> None:
    for _, operation, request, answer in published():
        plain = client.post(f"/v1/{operation}", json=request).get_json()
        assert plain == {key: value for key, value in answer.items() if key != "charts"}
        assert list(answer)[-2:] == ["charts", "notice"]


def test_charts_are_made_from_the_document_alone() -> None:
    for _, operation, request, answer in published():
        again = json.loads(json.dumps({key: value for key, value in answer.items() if key != "charts"}))
        if operation == "allowance-schedule":
            assert schedule_charts(again) == answer["charts"]
        elif operation == "lump-sum-timing":
            names = [person.get("name") for person in request["household"]["people"]]
            assert timing_charts(again, names) == answer["charts"]


def test_in_bulk_they_come_only_where_they_are_asked_for(client: FlaskClient) -> None:
    for _, operation, request, answer in published():
        whole, charts, text = (
            in_bulk(client, f"{operation}{query}", request)
            for query in ("", "?fields=charts", "?fields=charts.text,notice")
        )
        assert "charts" not in whole
        assert charts == {"rules": {"version": answer["rules"]["version"]}, "charts": answer["charts"]}
        assert [set(chart) for chart in text["charts"]] == [{"text"}] * len(answer["charts"])


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_every_chart_is_drawn_within_its_width(width: int) -> None:
    for chart in every_chart():
        picture = drawn(chart["spec"], width)
        assert float(picture.attrib["width"]) <= width + 16, chart["title"]
        written = " ".join("".join(text.itertext()) for text in picture.iter(f"{SVG}text"))
        # A title of two lines is two texts.
        assert all(word in written for word in chart["title"].split())
        assert look.CAUTION.split()[-1] in written
        for label in ("undefined", "NaN", "null", "…"):
            assert label not in written, (chart["title"], written)


def test_charts_stand_alone_and_say_what_they_show() -> None:
    for chart in every_chart():
        assert chart["spec"]["description"] == " ".join([f"{chart['title']}.", *chart["text"], look.CAUTION])
        assert not list(inside(chart["spec"], "url"))
        assert json.dumps(chart["spec"]).count("http") == 1


def test_sentences_are_for_clients() -> None:
    for chart in every_chart():
        assert 1 <= len(chart["text"]) <= 3
        for text in (chart["title"], *chart["text"]):
            assert all(len(sentence.split()) <= MOST_WORDS for sentence in sentences(text)), text
            assert not re.search(r"\d{4}-\d\d-\d\d|_|undefined|None|[a-z]\(", text), text
            # An amount of money has its sign; only ages, years, numbers of options and percentages have none.
            assert not re.search(r"(?<![£\d,.])\d{1,3},\d{3}", text), text
        assert all((text[0].isupper() or text[0] == "£") and text.endswith(".") for text in chart["text"]), chart[
            "text"
        ]


def test_money_goes_where_the_quote_says() -> None:
    for answer in (*(each[-1] for each in published()), *invented()):
        if "withdrawal" not in answer or not answer["charts"]:
            continue
        rows = {row["words"][0]: row for row in values_with(the(answer, "money"), "words", "start", "end")}
        assert rows["Leaves the pension"]["end"] == answer["withdrawal"]["gross"]
        assert rows["Arrives in the bank"]["end"] == answer["payroll"]["paid_out"]
        assert rows["Kept after the year's tax"]["end"] == answer["net_after_tax"]
        over, under = (answer["payroll"][key] for key in ("over_deducted", "under_deducted"))
        back, due = (
            rows.get(words) for words in ("Comes back once the year's tax is settled", "Still to be paid for the year")
        )
        # Of the year's other pay nothing is said here, so these are there only where the answer says the same.
        if back is not None:
            assert round(back["end"] - back["start"], 2) == over
        if due is not None:
            assert round(due["end"] - due["start"], 2) == under
        deducted = rows.get("Tax deducted by the provider", {"start": 0, "end": 0})
        assert round(deducted["end"] - deducted["start"], 2) == max(answer["payroll"]["tax_deducted"], 0)


def test_the_curve_goes_through_the_quote(client: FlaskClient) -> None:
    for _, operation, request, answer in published():
        if operation != "withdrawal-tax" or not any(chart["name"] == "tax_curve" for chart in answer["charts"]):
            continue
        points = values_with(the(answer, "tax_curve"), "gross", "tax")
        here = {"gross": answer["withdrawal"]["gross"], "tax": answer["income_tax"]["on_withdrawal"]}
        assert any(here.items() <= point.items() for point in points)
        curve = client.post(f"/v1/{operation}?include=curve", json=request).get_json()["curve"]["points"]
        line = [point for point in points if "label" not in point]
        assert line[:-1] == [{"gross": p["gross"], "tax": p["tax"]} for p in curve[: len(line) - 1]]
        # Where the picture ends there need not be a point: a quote of that amount says the same.
        last = line[-1]
        if "amount" in request["withdrawal"]:
            other = {**request, "withdrawal": {**request["withdrawal"], "amount": last["gross"]}}
            quoted = client.post(f"/v1/{operation}", json=other).get_json()
            assert quoted["income_tax"]["on_withdrawal"] == pytest.approx(last["tax"], abs=1.01)


def test_a_plan_shows_what_it_holds() -> None:
    for answer in (*(each[-1] for each in published()), *invented()):
        if "compared_with" not in answer:
            continue
        held: dict[str, float] = {}
        for row in values_with(the(answer, "holdings"), "held", "amount"):
            held[row["tax_year"]] = held.get(row["tax_year"], 0) + row["amount"]
        for year in answer["years"]:
            assert held[year["tax_year"]] == pytest.approx(year["household"]["wealth_before_tax"], abs=0.005)
        flows = values_with(the(answer, "draws_and_tax"), "withdrawn", "tax")
        assert sum(row["withdrawn"] for row in flows) == pytest.approx(answer["totals"]["withdrawn"], abs=0.02)
        assert sum(row["tax"] for row in flows) == pytest.approx(answer["totals"]["income_tax"], abs=0.02)
        left = [row["end"] for row in values_with(the(answer, "left_after_tax"), "words", "end")]
        by, own = "wealth_after_tax", answer["totals"]
        if answer["aim"]["goal"] == "most_to_beneficiaries":
            by, own = "beneficiaries_receive", answer["estate_at_the_end"]
        assert left == [own[by], *(other.get(by, 0.0) for other in answer["compared_with"])]


def test_lines_are_the_differences_of_the_options() -> None:
    seen = 0
    for answer in (*(each[-1] for each in published()), *invented()):
        if "break_evens" not in answer or not any(chart["name"] == "over_the_years" for chart in answer["charts"]):
            continue
        found = [option for option in answer["options"] if option["outcome"] == "found"]
        rows = values_with(the(answer, "over_the_years"), "day", "amount", "option")
        for option in found:
            line = [row["amount"] for row in rows if row["option"].startswith(f"Option {option['option'] + 1}:")]
            expected = [
                year["household"]["wealth_after_tax"] - base["household"]["wealth_after_tax"]
                for year, base in zip(option["years"], found[0]["years"], strict=True)
            ]
            assert line == pytest.approx(expected, abs=0.005)
            seen += 1
    assert seen > 5


def test_beneficiaries_receive_what_the_answer_says() -> None:
    for _, operation, _, answer in published():
        if operation != "lump-sum-timing" or not any(chart["name"] == "beneficiaries" for chart in answer["charts"]):
            continue
        bars = [row["end"] for row in values_with(the(answer, "beneficiaries"), "words", "end") if row["amount"]]
        found = [option["deaths"] for option in answer["options"] if option["outcome"] == "found"]
        assert sorted(bars) == sorted(
            death["beneficiaries_receive"] for deaths in found for death in deaths if death["outcome"] == "found"
        )


def lightness(colour: str) -> float:
    """How light a colour is, from 0 to 1: the relative luminance of WCAG 2.2, as a printer without colours shows it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """The contrast of two colours (WCAG 2.2, "contrast ratio")."""
    low, high = sorted((lightness(one), lightness(other)))
    return (high + 0.05) / (low + 0.05)


def test_what_lies_together_differs_in_grey() -> None:
    for name in ("holdings", "draws_and_tax"):
        chart = next(chart for chart in every_chart() if chart["name"] == name)
        scale = next(scale for scale in inside(chart["spec"], "scale") if scale and "range" in scale)
        for one, other in zip(scale["range"], scale["range"][1:], strict=False):
            assert contrast(one, other) > 1.35, name


def test_no_two_lines_look_alike() -> None:
    chart = next(chart for chart in every_chart() if chart["name"] == "over_the_years")
    ranges = [scale["range"] for scale in inside(chart["spec"], "scale") if scale and "range" in scale]
    styles = list(zip(*ranges, strict=True))
    assert all(one != other for one, other in combinations(styles, 2))


def test_of_many_options_few_lines_have_to_be_told_apart() -> None:
    aims = ("personal_allowance", "basic_rate_band", "spending_only")
    request = json.loads((TOP / "examples" / "requests" / "timing-couple.json").read_text("utf-8"))
    request["options"] = [
        {"lump_sums": when, "aim": {"goal": goal}}
        for when in ("all_now", "never", "with_each_withdrawal")
        for goal in aims
    ]
    answer = asked("lump-sum-timing", request)
    assert answer is not None
    chart = the(answer, "over_the_years")
    domain, *_ = (scale["domain"] for scale in inside(chart["spec"], "scale") if scale and "range" in scale)
    assert domain[0].startswith("Option 1:")
    assert 2 <= len(domain) <= 5
    found = [option for option in answer["options"] if option["outcome"] == "found"]
    assert len(found) > 5
    years = list(
        zip(*([year["household"]["wealth_after_tax"] for year in option["years"]] for option in found), strict=True)
    )
    leads = [sum(year[i] == max(year) for year in years) for i in range(len(found))]
    most = max(range(len(found)), key=lambda i: leads[i])
    assert any(words.startswith(f"Option {found[most]['option'] + 1}:") for words in domain)
    assert {row["option"] for row in values_with(chart, "day", "option")} > set(domain)


_STAGE_ASKED_FOR = re.compile(r"in stages of £[\d,.]+ a year")


def test_what_is_forecast_has_no_pence() -> None:
    for chart in every_chart():
        if chart["name"] not in ("money", "tax_curve"):
            for words in (*chart["text"], *(row["amount"] for row in values_with(chart, "amount", "words"))):
                forecast = _STAGE_ASKED_FOR.sub("", words)
                assert not re.search(r"£[\d,]+\.\d", forecast), words


def test_tax_that_comes_back_has_not_the_colour_of_tax() -> None:
    rows = [row for chart in every_chart() if chart["name"] == "money" for row in values_with(chart, "words", "colour")]
    taken = {row["colour"] for row in rows if row["words"][0].startswith(("Tax deducted", "Still to be paid"))}
    back = {row["colour"] for row in rows if row["words"][0].startswith(("Tax paid back", "Comes back"))}
    assert len(taken) == len(back) == 1
    assert taken.isdisjoint(back)


def test_words_on_bars_can_be_read() -> None:
    for chart in every_chart():
        for row in values_with(chart, "on", "colour", "place"):
            assert row["place"] != "inside" or contrast(row["on"], row["colour"]) >= 4.5


@pytest.mark.parametrize("places", [[], [5.0], [1.0, 1.0, 1.0], [9.0, 0.0, 1.5], [3.0, 2.9, 100.0]])
def test_labels_keep_their_distance_and_order(places: list[float]) -> None:
    found = look.apart(places, 2.0)
    assert all(abs(one - other) >= 1.999 for one, other in combinations(found, 2))
    order = sorted(range(len(places)), key=lambda i: places[i])
    assert [found[i] for i in order] == sorted(found)


def test_bars_of_sensitivity_are_what_the_answer_says_of_each_case() -> None:
    for operation, answer in sensitive():
        cases = [case for case in answer["sensitivity"]["cases"] if case["by"]]
        base = answer["sensitivity"]["as_assumed"]
        rows = values_with(the(answer, "sensitivity"), "words", "start", "end")
        assert len(rows) == len(cases)
        for row, case in zip(rows, cases, strict=True):
            if case["outcome"] != "found":
                assert " ".join(row["words"]).endswith("not possible")
                continue
            if operation == "allowance-schedule":
                key = "wealth_after_tax_in_prices_of_start"
                expected = case[key] - base[key]
            else:
                leader = base["wealth_after_tax"][0]
                [amount] = [one["amount"] for one in case["wealth_after_tax"] if one["option"] == leader["option"]]
                expected = amount - leader["amount"]
                assert ("then leaves the most" in " ".join(row["words"])) == case["leader_changes"]
            assert row["end"] - row["start"] == pytest.approx(expected)
            assert row["amount"].endswith("more" if expected > 0 else "less" if expected < 0 else "the same")
            dark = case["first_year_changes"] or case.get("leader_changes", False)
            assert row["colour"] == (look.BLUE if dark else look.SKY)


def test_bars_of_options_on_many_courses_hold_nine_in_ten_of_them() -> None:
    [answer] = [answer for name, _, _, answer in published() if name == "timing-couple-many-markets"]
    rows = values_with(the(answer, "options_on_many_courses"), "words", "start", "end")
    for row, option in zip(rows, answer["markets"]["options"], strict=True):
        reach = option["outcome_in_prices_of_start"]
        assert (row["start"], row["end"]) == (reach["p5"], reach["p95"])
        assert row["amount"] == f"£{round(reach['p50']):,}"
        assert f"Best on {option['best_in']['paths']} of 50" in " ".join(row["words"])
