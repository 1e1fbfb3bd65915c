"""Requests under a proposed law: all operations, singly and in bulk; what an answer says of it; and what it changes, by hand.

The sets are written here, but for those of the examples.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from service import calculator, create_app
from service.figures.loader import FiguresError
from service.schemas.compared_law_words import sentences
from service.settings import Settings
from tests.figures.test_proposals import ALLOWANCE, THRESHOLD, entry, write

EXAMPLES = Path(__file__).parents[1] / "examples"
REQUESTS = EXAMPLES / "requests"
OPERATIONS = {
    "withdrawal-tax": "first-ufpls",
    "allowance-schedule": "plan-couple-most-after-tax",
    "lump-sum-timing": "timing-couple",
    "warnings": "warnings-saves-and-withdraws",
}
SAID = "It uses a proposal in place of the law as known: a change. It may change, or never become law."
FROM = "2026-27"


def bands(rate: float = 0.2, limit: int = 37700) -> str:
    """All bands that share the limits of England, with its basic rate and its limit."""
    rates = {
        "bands_england": (("basic_rate", rate), ("higher_rate", 0.4), ("additional_rate", 0.45)),
        "bands_northern_ireland": (("basic_rate", rate), ("higher_rate", 0.4), ("additional_rate", 0.45)),
        "bands_wales": (("basic_rate", rate), ("higher_rate", 0.4), ("additional_rate", 0.45)),
        "savings_bands": (("savings_basic_rate", 0.2), ("savings_higher_rate", 0.4), ("savings_additional_rate", 0.45)),
        "dividend_bands": (
            ("dividend_ordinary_rate", 0.1075),
            ("dividend_upper_rate", 0.3575),
            ("dividend_additional_rate", 0.3935),
        ),
    }
    limits = (f", up_to = {limit}", ", up_to = 125140", "")
    return "".join(
        entry(
            f"income_tax.{name}",
            "["
            + ", ".join(
                f'{{ name = "{band}", rate = {of}{up_to} }}' for (band, of), up_to in zip(three, limits, strict=True)
            )
            + "]",
        )
        for name, three in rates.items()
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Sets of one change each; nought repeats the law as known."""
    made = tmp_path_factory.mktemp("laws")
    write(made, name="nought", y2026_27=entry(ALLOWANCE, 12570) + entry(THRESHOLD, 60000))
    write(made, name="allowance", y2026_27=entry(ALLOWANCE, 13570))
    write(made, name="threshold", y2026_27=entry(THRESHOLD, 61000))
    write(made, name="isa", y2026_27=entry("isa.subscription_limit", 10000))
    write(made, name="no-residence-band", y2026_27=entry("inheritance_tax.residence_nil_rate_band", 0))
    return made


@pytest.fixture(scope="module")
def client(folder: Path) -> FlaskClient:
    return create_app(replace(Settings.for_tests(), figures=folder)).test_client()


@pytest.fixture(scope="module")
def plain() -> FlaskClient:
    return create_app(Settings.for_tests()).test_client()


def request_of(operation: str) -> dict[str, Any]:
    body: dict[str, Any] = json.loads((REQUESTS / f"{OPERATIONS[operation]}.json").read_bytes())
    return body


def under(law: str, body: dict[str, Any]) -> dict[str, Any]:
    return {**copy.deepcopy(body), "law": law}


each_operation = pytest.mark.parametrize("operation", OPERATIONS)


@each_operation
def test_sets_beside_it_leave_the_law_as_known_alone(client: FlaskClient, plain: FlaskClient, operation: str) -> None:
    path, body = f"/v1/{operation}", request_of(operation)
    expected = plain.post(path, json=body)
    assert expected.status_code == 200
    for asked in (body, under("known", body)):
        for service in (client, plain):
            reply = service.post(path, json=asked)
            assert reply.data == expected.data
            assert reply.headers["Rules-Version"] == expected.headers["Rules-Version"]


def without_what_is_said(document: Any) -> Any:
    """An answer without what says how firm its figures are."""
    left_out = ("rules", "notice", "standing", "caveats")
    if isinstance(document, dict):
        return {
            key: without_what_is_said(value)
            for key, value in document.items()
            if key not in left_out and not (key == "events" and isinstance(value, list))
        }
    return [without_what_is_said(each) for each in document] if isinstance(document, list) else document


@each_operation
def test_a_set_that_repeats_the_law_changes_nothing_but_what_is_said_of_it(client: FlaskClient, operation: str) -> None:
    path, body = f"/v1/{operation}", request_of(operation)
    known, other = client.post(path, json=body), client.post(path, json=under("nought", body))
    first, second = known.get_json(), other.get_json()
    assert without_what_is_said(first) == without_what_is_said(second)
    assert second["rules"]["law"] == {
        "name": "nought",
        "title": "a change",
        "source": "invented",
        "from": "2026-04-06",
    }
    assert "law" not in first["rules"]
    assert first["rules"]["version"] != second["rules"]["version"] == other.headers["Rules-Version"]
    assert known.headers["Rules-Version"] == first["rules"]["version"]
    assert second["rules"]["standing"] == "proposed"
    assert SAID in second["notice"]
    assert SAID not in first["notice"]
    told = {each["figure"]: each["caveat"] for each in second["rules"]["caveats"]}
    if operation != "warnings":
        assert "this is a proposal and not law: a change." in told[ALLOWANCE]


@each_operation
def test_a_law_that_is_not_held(client: FlaskClient, plain: FlaskClient, operation: str) -> None:
    body = under("allowanse", request_of(operation))
    reply = client.post(f"/v1/{operation}", json=body)
    (fault,) = reply.get_json()["errors"]
    assert (reply.status_code, fault["pointer"], fault["code"]) == (422, "#/law", "unknown-law")
    assert fault["detail"] == (
        "No law of this name is held. Must be one of: known, allowance, isa, no-residence-band, nought, threshold. Did you mean "
        '"allowance"?'
    )
    (fault,) = plain.post(f"/v1/{operation}", json=body).get_json()["errors"]
    assert (
        fault["detail"] == 'This service holds no proposed law. Leave `law` out, or send "known", for the law as known.'
    )


@each_operation
def test_a_law_that_is_not_held_is_told_with_all_other_faults(
    client: FlaskClient, plain: FlaskClient, operation: str
) -> None:
    body = under("allowanse", request_of(operation))
    body["household"]["people"][0] |= {"tax_residence": "englnd", "colour": "red"}
    for service in (client, plain):
        errors = service.post(f"/v1/{operation}", json=body).get_json()["errors"]
        assert {(fault["pointer"], fault["code"]) for fault in errors} == {
            ("#/law", "unknown-law"),
            ("#/household/people/0/tax_residence", "invalid-value"),
            ("#/household/people/0/colour", "unknown-field"),
        }


@pytest.mark.parametrize("name", ["Allowance", "", "a b", "a" * 41, 1])
def test_what_cannot_be_the_name_of_a_law(client: FlaskClient, name: object) -> None:
    reply = client.post("/v1/withdrawal-tax", json={**request_of("withdrawal-tax"), "law": name})
    (fault,) = reply.get_json()["errors"]
    assert (fault["pointer"], fault["code"]) == ("#/law", "invalid-value")
    assert fault["detail"].startswith('Must be the name of a law, such as "known"')


@each_operation
def test_bulk_answers_each_record_by_its_own_law(client: FlaskClient, folder: Path, operation: str) -> None:
    body = request_of(operation)
    asked = [body, under("nought", body), under("none", body), under("allowance", body), body]
    lines = b"\n".join(json.dumps({"id": str(k), "request": one}).encode() for k, one in enumerate(asked))
    reply = client.post(f"/v1/bulk/{operation}", data=lines, content_type="application/x-ndjson")
    *answers, last = [json.loads(line) for line in reply.data.splitlines()]
    for answer, one in zip(answers, asked, strict=True):
        single = client.post(f"/v1/{operation}", json=one)
        assert answer["status"] == single.status_code
        key = "result" if single.status_code == 200 else "problem"
        assert answer[key] == single.get_json()
    assert (last["succeeded"], last["failed"]) == (4, 1)
    assert last["rules_version"] == answers[0]["result"]["rules"]["version"] == reply.headers["Rules-Version"]
    # Programs without a server take the same folder.
    made = calculator(operation, figures=folder)
    assert [json.loads(line) for line in made.answers(lines)] == [*answers, last]


def comparing(name: str, body: dict[str, Any], law: str = "known") -> dict[str, Any]:
    return {**under(law, body), "compare_law": name}


@each_operation
def test_compared_with_another_law_the_answer_stays_and_what_differs_is_what_the_other_says(
    client: FlaskClient, operation: str
) -> None:
    path, body = f"/v1/{operation}", request_of(operation)
    for law, other in (("known", "allowance"), ("isa", "known"), ("known", "nought")):
        first, second = (client.post(path, json=under(name, body)).get_json() for name in (law, other))
        reply = client.post(path, json=comparing(other, body, law))
        found = reply.get_json()
        compared = found.pop("compared_law")
        assert found == first
        assert reply.headers["Rules-Version"] == first["rules"]["version"]
        assert (compared["name"], compared["outcome"]) == (other, "found")
        assert (compared["rules"], compared["notice"]) == (second["rules"], second["notice"])
        for each in compared["differences"]:
            assert each["difference"] == pytest.approx(each["compared"] - each["value"])
            if "/warnings/" in each["pointer"]:  # the same warning may have another place in the other answer
                assert at(first, each["pointer"]) == each["value"] != each["compared"]
                continue
            one, beside = (at(document, each["pointer"]) for document in (first, second))
            assert (each["value"], each["compared"]) == (one, beside)
            assert one != beside
        if operation != "warnings":
            told = {each["pointer"] for each in compared["differences"]}
            main = {
                "withdrawal-tax": "#/net_after_tax",
                "allowance-schedule": "#/totals/wealth_after_tax",
                "lump-sum-timing": "#/options/0/totals/wealth_after_tax",
            }[operation]
            assert (main in told) == (at(first, main) != at(second, main))
        codes = [[warning["code"] for warning in document["warnings"]] for document in (first, second)]
        for code in compared["warnings_come"]:
            assert codes[1].count(code) > codes[0].count(code)
        for code in compared["warnings_go"]:
            assert codes[0].count(code) > codes[1].count(code)
        if other == "nought":
            assert (compared["differences"], compared["warnings_come"], compared["warnings_go"]) == ([], [], [])


def at(document: Any, pointer: str) -> Any:
    for part in pointer[2:].split("/"):
        document = document[int(part) if isinstance(document, list) else part]
    return document


def test_the_main_amounts_and_the_tax_years_under_both_laws(client: FlaskClient) -> None:
    for operation in ("allowance-schedule", "lump-sum-timing"):
        path, body = f"/v1/{operation}", request_of(operation)
        first, second = (client.post(path, json=under(name, body)).get_json() for name in ("known", "allowance"))
        compared = client.post(path, json=comparing("allowance", body)).get_json()["compared_law"]
        told = [(compared, first, second)]
        if operation == "lump-sum-timing":
            told = list(zip(compared["options"], first["options"], second["options"], strict=True))
        for found, one, other in told:
            assert [year["tax_year"] for year in found["years"]] == [year["tax_year"] for year in one["years"]]
            for year, known, proposed in zip(found["years"], one["years"], other["years"], strict=True):
                for key in year.keys() - {"tax_year"}:
                    amounts = known["household"][key], proposed["household"][key]
                    assert (year[key]["value"], year[key]["compared"]) == amounts
                    assert year[key]["difference"] == pytest.approx(amounts[1] - amounts[0])
            assert any(year["income_tax"]["difference"] for year in found["years"])


def test_what_differs_in_sentences(client: FlaskClient) -> None:
    """By hand, as below: the tax that the withdrawal adds is 200 less, 7,746, and 32,254 are kept."""
    body = request_of("withdrawal-tax")
    said = client.post("/v1/withdrawal-tax", json=comparing("allowance", body)).get_json()["compared_law"]["summary"]
    assert said[:3] == [
        "The proposal is: a change. It is not law.",
        "Under the proposal, the tax that the withdrawal adds to the year would be £7,746, £200 less.",
        "What is kept after the year's tax would be £32,254, £200 more.",
    ]
    back = client.post("/v1/withdrawal-tax", json=comparing("known", body, "allowance")).get_json()["compared_law"]
    assert back["summary"][0] == (
        "Under the law as known, the tax that the withdrawal adds to the year is £7,946, £200 more."
    )
    same = client.post("/v1/warnings", json=comparing("nought", request_of("warnings"))).get_json()["compared_law"]
    assert same["summary"][1] == "Under the proposal, the points to check would be the same."


@pytest.mark.parametrize(
    ("ranked", "said"),
    [
        (((0, 900.0), (0, 950.0)), "the first option would still leave the most after tax, £950, £50 more."),
        (((0, 900.0), (1, 950.0)), "the second option would leave the most after tax, £950, and not the first option."),
    ],
)
def test_which_option_leaves_the_most_in_sentences(ranked: Any, said: str) -> None:
    documents = [
        {"ranking": {"wealth_after_tax": [{"option": option, "amount": amount}]}, "warnings": []}
        for option, amount in ranked
    ]
    assert sentences(*documents, "a change")[1:] == [f"Under the proposal, {said}"]


def test_an_amount_that_differs_by_hand(client: FlaskClient) -> None:
    # As below: other income has an allowance of 1,000 more, which saves 200 there; of the withdrawal 1,000 more is taxed at 20%
    # and not at 40%.
    reply = client.post("/v1/withdrawal-tax", json=comparing("allowance", request_of("withdrawal-tax")))
    found = {each["pointer"]: each["difference"] for each in reply.get_json()["compared_law"]["differences"]}
    assert found["#/net_after_tax"] == 200
    assert found["#/income_tax/on_other_income"] == -200
    assert found["#/income_tax/total"] == -400


def test_a_warning_that_goes_and_the_amount_of_one_that_stays(client: FlaskClient) -> None:
    """A charge of 50% of 2,000 at 70,000, over 61,000 of 45% (Income Tax (Earnings and Pensions) Act 2003 s.681C). At 60,500 it
    is 2%, and over 61,000 none."""
    found = {}
    for taken in (10000, 500):
        person = {
            "date_of_birth": "1960-05-14", "tax_residence": "england", "child_benefit": 2000,
            "income": [{"kind": "employment", "amount": 60000}], "pensions": [{"uncrystallised": 0, "drawdown": 500000}],
        }  # fmt: skip
        body = {
            "household": {"people": [person]},
            "tax_year": FROM,
            "withdrawal": {"method": "drawdown", "amount": taken},
        }
        found[taken] = client.post("/v1/withdrawal-tax", json=comparing("threshold", body)).get_json()
    code = "child_benefit_charge"
    assert found[500]["compared_law"]["warnings_go"] == [code]
    [place] = [i for i, warning in enumerate(found[10000]["warnings"]) if warning["code"] == code]
    amounts = {each["pointer"]: each["difference"] for each in found[10000]["compared_law"]["differences"]}
    assert amounts[f"#/warnings/{place}/amount"] == -100


def test_what_the_other_law_does_not_allow(tmp_path: Path) -> None:
    write(tmp_path, name="smaller-pots", y2026_27=entry("pension.small_pot_limit", 5000))
    service = create_app(replace(Settings.for_tests(), figures=tmp_path)).test_client()
    person = {"date_of_birth": "1960-05-14", "tax_residence": "england", "pensions": [{"uncrystallised": 9000}]}
    body = {"household": {"people": [person]}, "tax_year": FROM, "withdrawal": {"method": "small_pot", "amount": 9000}}
    found = service.post("/v1/withdrawal-tax", json=comparing("smaller-pots", body)).get_json()["compared_law"]
    assert (found["name"], found["outcome"]) == ("smaller-pots", "impossible")
    assert "5,000" in found["reason"]
    # The other way round there is no answer by the law that is asked for.
    refused = service.post("/v1/withdrawal-tax", json=comparing("known", body, "smaller-pots"))
    assert (refused.status_code, refused.get_json()["code"]) == (422, "rule-violation")


def test_a_law_compared_with_itself_or_with_none_that_is_held(client: FlaskClient, plain: FlaskClient) -> None:
    body = request_of("withdrawal-tax")
    for service, asked, told in (
        (client, comparing("known", body), [("#/compare_law", "same-law")]),
        (client, comparing("isa", body, "isa"), [("#/compare_law", "same-law")]),
        (client, comparing("none", body, "nil"), [("#/law", "unknown-law"), ("#/compare_law", "unknown-law")]),
        (plain, comparing("isa", body), [("#/compare_law", "unknown-law")]),
        (plain, comparing("known", body), [("#/compare_law", "same-law")]),
    ):
        reply = service.post("/v1/withdrawal-tax", json=asked)
        assert reply.status_code == 422
        assert [(fault["pointer"], fault["code"]) for fault in reply.get_json()["errors"]] == told


@each_operation
def test_two_laws_in_bulk(client: FlaskClient, operation: str) -> None:
    body = request_of(operation)
    asked = [body, comparing("allowance", body), comparing("known", body, "isa")]
    lines = b"\n".join(json.dumps({"id": str(k), "request": one}).encode() for k, one in enumerate(asked))
    reply = client.post(f"/v1/bulk/{operation}", data=lines, content_type="application/x-ndjson")
    *answers, _ = [json.loads(line) for line in reply.data.splitlines()]
    for answer, one in zip(answers, asked, strict=True):
        assert answer["result"] == client.post(f"/v1/{operation}", json=one).get_json()
    # Of the fields asked for, what differs is the same.
    fields = "compared_law.differences,warnings.code"
    reply = client.post(f"/v1/bulk/{operation}?fields={fields}", data=lines, content_type="application/x-ndjson")
    few = [json.loads(line)["result"] for line in reply.data.splitlines()[:-1]]
    for one, whole in zip(few, answers, strict=True):
        expected = whole["result"].get("compared_law")
        assert one.get("compared_law") == (None if expected is None else {"differences": expected["differences"]})


def test_fields_of_a_record_under_another_law(client: FlaskClient) -> None:
    body = request_of("withdrawal-tax")
    lines = b"\n".join(json.dumps({"id": law, "request": under(law, body)}).encode() for law in ("known", "allowance"))
    reply = client.post(
        "/v1/bulk/withdrawal-tax?fields=net_after_tax,rules.law.name", data=lines, content_type="application/x-ndjson"
    )
    known, other, _ = [json.loads(line) for line in reply.data.splitlines()]
    assert "law" not in known["result"]["rules"]
    assert other["result"]["rules"]["law"] == {"name": "allowance"}
    # 10,000 of 40,000 is tax free; 30,000 on top of pay of 30,000 is taxed to 60,000 either way. Other income has the larger
    # allowance: 1,000 less of it is taxed at 20%, and 1,000 more of the withdrawal in the basic rate band at 20%, not 40%.
    assert other["result"]["net_after_tax"] - known["result"]["net_after_tax"] == 200


def quote(client: FlaskClient, law: str, pay: float, taken: float, **more: Any) -> dict[str, Any]:
    person = {
        "date_of_birth": "1960-05-14",
        "tax_residence": "england",
        "income": [{"kind": "employment", "amount": pay}],
        "pensions": [{"uncrystallised": 0, "drawdown": 500000}],
        **more,
    }
    reply = client.post(
        "/v1/withdrawal-tax",
        json={
            "household": {"people": [person]},
            "tax_year": FROM,
            "withdrawal": {"method": "drawdown", "amount": taken},
            "law": law,
        },
    )
    assert reply.status_code == 200, reply.text
    answer: dict[str, Any] = reply.get_json()
    return answer


@pytest.mark.parametrize(
    ("pay", "taken", "saved"),
    [
        # 1,000 more of allowance: nothing where there was no tax, 20% of 1,000 in the basic rate band.
        (5000, 5000, 0),
        (20000, 10000, 200),
        # The basic rate band is as wide as it was, and begins 1,000 later: of the same income 1,000 less bears 40%.
        (50000, 20000, 400),
        # From 100,000 it tapers away by 1 for each 2: at 125,140 the known one is gone, and of the other 1,000 is left.
        (100000, 25140, 400),
        (140000, 20000, 0),
    ],
)
def test_an_allowance_of_1000_more(client: FlaskClient, pay: float, taken: float, saved: float) -> None:
    known, other = (quote(client, law, pay, taken)["income_tax"]["total"] for law in ("known", "allowance"))
    assert round(known - other, 2) == saved


def test_a_threshold_of_1000_more(client: FlaskClient) -> None:
    # Benefit of 2,000, income of 70,000: one per cent for each 200 over 60,000 is 50%, 1,000; over 61,000 it is 45%, 900
    # (Income Tax (Earnings and Pensions) Act 2003 s.681C).
    known, other = (quote(client, law, 60000, 10000, child_benefit=2000) for law in ("known", "threshold"))
    assert known["income_tax"]["total"] - other["income_tax"]["total"] == 100
    # Nothing else has changed.
    assert known["payroll"]["tax_deducted"] == other["payroll"]["tax_deducted"]
    assert known["allowances_remaining"] == other["allowances_remaining"]


def charge(client: FlaskClient, law: str, income: float, benefit: float = 100) -> float:
    """The charge for an adjusted net income in 2023-24: the tax that the benefit adds."""

    def total(**more: Any) -> float:
        person = {
            "date_of_birth": "1960-05-14",
            "tax_residence": "england",
            "income": [{"kind": "employment", "amount": income - 10}],
            "pensions": [{"uncrystallised": 0, "drawdown": 50000}],
            **more,
        }
        body = {
            "household": {"people": [person]},
            "tax_year": "2023-24",
            "withdrawal": {"method": "drawdown", "amount": 10},
            "law": law,
        }
        found: float = client.post("/v1/withdrawal-tax", json=body).get_json()["income_tax"]["total"]
        return found

    return round(total(child_benefit=benefit) - total(), 2)


@pytest.fixture(scope="module")
def examples() -> FlaskClient:
    return create_app(replace(Settings.for_tests(), figures=EXAMPLES / "laws")).test_client()


@pytest.mark.parametrize(
    ("income", "known", "replayed"),
    [
        # The published percentages of both sides of the change: GOV.UK's own source, github.com/alphagov/smart-answers commit
        # 6fb9aab, test/unit/calculators/child_benefit_tax_calculator_test.rb. A benefit of 100 makes the charge the percentage.
        (50099, 0, 0),
        (50199, 1, 0),
        (50200, 2, 0),
        (54089, 40, 0),
        (60000, 100, 0),
        (60099, 100, 0),
        (60399, 100, 1),
        (60400, 100, 2),
        (80000, 100, 100),
        (80001, 100, 100),
    ],
)
def test_the_change_of_2024_replayed(examples: FlaskClient, income: int, known: int, replayed: int) -> None:
    assert charge(examples, "known", income) == known
    assert charge(examples, "child-benefit-2024", income) == replayed


def test_a_household_of_the_change_of_2024(examples: FlaskClient) -> None:
    # From memory, not read again: the Spring Budget 2024 described families with two children on either side of 60,000. The
    # benefit is that published for two children in 2024-25, 2,212.60 (the same source), of which 2,212 can be charged.
    for income, before, after in ((55000, 1106, 0), (60000, 2212, 0), (70000, 2212, 1106), (80000, 2212, 2212)):
        assert charge(examples, "known", income, 2212.60) == before
        assert charge(examples, "child-benefit-2024", income, 2212.60) == after


def test_the_invented_example_has_those_who_gain_and_those_who_lose(examples: FlaskClient) -> None:
    # 22% over 13,570 and 20% over 12,570 are the same at 23,570: 2,200.
    def total(law: str, income: float) -> float:
        person = {
            "date_of_birth": "1958-05-14",
            "tax_residence": "wales",
            "income": [{"kind": "annuity", "amount": income - 1000}],
            "pensions": [{"uncrystallised": 0, "drawdown": 50000}],
        }
        body = {
            "household": {"people": [person]},
            "tax_year": "2027-28",
            "withdrawal": {"method": "drawdown", "amount": 1000},
            "law": law,
        }
        found: float = examples.post("/v1/withdrawal-tax", json=body).get_json()["income_tax"]["total"]
        return found

    for income, before, after in ((20000, 1486, 1414.6), (23570, 2200, 2200), (40000, 5486, 5814.6)):
        assert (total("known", income), total("invented-basic-rate-22", income)) == (before, after)


def test_a_plan_keeps_to_the_proposed_limit(client: FlaskClient) -> None:
    body = json.loads((REQUESTS / "plan-personal-allowance.json").read_bytes())

    def paid(law: str) -> list[float]:
        years = client.post("/v1/allowance-schedule", json=under(law, body)).get_json()["years"]
        return [person["isa_subscription"] for year in years for person in year["people"]]

    assert max(paid("isa")) == 10000 < max(paid("known"))


def test_a_band_that_is_abolished(client: FlaskClient) -> None:
    """Nothing divides by a band of nought."""
    body = json.loads((REQUESTS / "timing-couple.json").read_bytes())
    known, other = (client.post("/v1/lump-sum-timing", json=under(law, body)) for law in ("known", "no-residence-band"))
    assert (known.status_code, other.status_code) == (200, 200)
    estate = body["household"].setdefault("estate", {})
    estate.update({"home": 400000, "home_to_descendants": True})

    def received(law: str) -> list[float]:
        answer = client.post("/v1/lump-sum-timing", json=under(law, body)).get_json()
        return [death["beneficiaries_receive"] for option in answer["options"] for death in option["deaths"]]

    assert all(more >= less for more, less in zip(received("known"), received("no-residence-band"), strict=True))


def differences(client: FlaskClient, law: str) -> Iterator[tuple[str, str, Any, Any]]:
    for found in client.get(f"/v1/tax-years?law={law}").get_json()["differences"]:
        yield found["tax_year"], found["name"], found["known"], found["proposed"]


def test_the_list_of_tax_years_shows_what_a_law_changes(client: FlaskClient, plain: FlaskClient) -> None:
    years = ["2026-27", "2027-28", "2028-29", "2029-30", "2030-31"]
    assert list(differences(client, "threshold")) == [(year, THRESHOLD, 60000, 61000) for year in years]
    assert list(differences(client, "nought")) == []
    listing = client.get("/v1/tax-years").get_json()
    assert [law["name"] for law in listing["laws"]] == ["allowance", "isa", "no-residence-band", "nought", "threshold"]
    assert plain.get("/v1/tax-years").get_json() == {**listing, "laws": []}
    other = client.get("/v1/tax-years?law=threshold").get_json()
    assert other["law"]["name"] == "threshold"
    for known, changed in zip(listing["tax_years"], other["tax_years"], strict=True):
        assert (known["figures_version"] == changed["figures_version"]) == (known["tax_year"] < FROM)
        year = client.get(changed["href"]).get_json()
        assert year["figures_version"] == changed["figures_version"]
        (threshold,) = (figure["value"] for figure in year["figures"] if figure["name"] == THRESHOLD)
        assert (threshold == 61000) == (known["tax_year"] >= FROM)


def test_the_tag_of_a_list_is_that_of_its_law(client: FlaskClient, plain: FlaskClient) -> None:
    paths = ("/v1/tax-years", "/v1/tax-years?law=threshold", "/v1/tax-years?law=nought")
    years = ("/v1/tax-years/2026-27", "/v1/tax-years/2026-27?law=threshold", "/v1/tax-years/2026-27?law=nought")
    tags = [client.get(path).headers["ETag"] for path in (*paths, *years)]
    assert len(set(tags)) == len(tags)
    assert plain.get("/v1/tax-years").headers["ETag"] not in tags
    assert client.get("/v1/tax-years?law=known").headers["ETag"] == tags[0]


@pytest.mark.parametrize(
    ("query", "detail"),
    [
        ("law=none", "law does not take &#34;none&#34;"),
        ("law=nought&law=isa", "law is given more than once."),
        ("year=1", "There is no query parameter"),
        ("law=", "law does not take"),
        ("&", "The query is empty."),
    ],
)
def test_a_query_that_names_no_law(client: FlaskClient, query: str, detail: str) -> None:
    for path in ("/v1/tax-years", "/v1/tax-years/2026-27"):
        reply = client.get(f"{path}?{query}")
        assert reply.status_code == 422
        assert detail.replace("&#34;", '"') in reply.get_json()["detail"]


def test_a_fault_in_a_set_stops_the_start(tmp_path: Path) -> None:
    write(tmp_path, y2027_28=entry("inheritance_tax.rate", 1.5))
    with pytest.raises(FiguresError, match=r"^a-set/2027-28\.toml: inheritance_tax\.rate: a rate is a fraction"):
        create_app(replace(Settings.for_tests(), figures=tmp_path))
