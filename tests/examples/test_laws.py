"""A book under two laws: who gains and who loses adds up, and is what the service's own functions say of each client."""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path
from typing import Any

import msgspec
import pytest

import invent
from book.laws import EDGES, GROUPS, Effect, Laws, group_of, words_of
from book.pictures import charts_of
from book.sending import StopError
from service import calculator
from tests.examples.conftest import TOP, run, running_service
from tests.examples.test_recalculate import rows_of

SETS = TOP / "examples" / "laws"
LAW = "invented-basic-rate-22"
CLIENTS, YEAR = 300, "2027-28"


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Clients of an earlier tax year than that of the proposal, in both forms."""
    folder = tmp_path_factory.mktemp("laws")
    for kind in ("csv", "ndjson"):
        invent.write(folder / f"book.{kind}", invent.rows(CLIENTS, 0.02, "2026-27", 11))
    return folder


def answers_of(book: Path, law: str) -> dict[str, dict[str, Any]]:
    """The results by the service's own functions, by id."""
    lines = []
    for line in (book / "book.ndjson").read_bytes().splitlines():
        record = json.loads(line)
        request = {**record["request"], "tax_year": YEAR, "law": law}
        withdrawal = dict(request.get("withdrawal", {}))
        if isinstance(withdrawal.get("date"), str):
            first, rest = withdrawal["date"].split("-", 1)
            withdrawal["date"] = f"{int(first) + 1}-{rest}"
            request["withdrawal"] = withdrawal
        lines.append(json.dumps({**record, "request": request}).encode())
    *found, _ = map(json.loads, calculator("withdrawal-tax", figures=SETS).answers(b"\n".join(lines)))
    return {line["id"]: line["result"] for line in found if line["status"] == 200}


def pence(amount: float | str) -> int:
    return round(float(amount) * 100)


def test_a_book_under_two_laws(book: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    with running_service(SERVICE_FIGURES=str(SETS)) as service:
        ran = run(
            "recalculate.py", book / "book.csv", "--out", out, "--service", service.url, "--compare-laws", "known", LAW,
            "--in-tax-year", YEAR, "--largest", "5",
        )  # fmt: skip
        unknown = run(
            "recalculate.py", book / "book.csv", "--out", tmp_path / "no", "--service", service.url,
            "--compare-laws", "known", "no-such-law",
        )  # fmt: skip
    assert ran.returncode == 3, ran.stderr
    assert unknown.returncode == 1
    assert "the service does not know the law" in unknown.stderr
    assert "known, child-benefit-2024, invented-basic-rate-22" in unknown.stderr
    known, other = (answers_of(book, law) for law in ("known", LAW))
    changes = rows_of(out / "changes.csv")
    assert [change["id"] for change in changes] == [key for key in known if key in other]
    assert len(changes) > CLIENTS * 0.9
    came, gone = Counter[str](), Counter[str]()
    for change in changes:
        answers = [answer[change["id"]] for answer in (known, other)]
        taxes = [pence(answer["withdrawal"]["gross"]) - pence(answer["net_after_tax"]) for answer in answers]
        assert [pence(change["amount_known"]), pence(change["amount_invented_basic_rate_22"])] == taxes
        assert pence(change["gain"]) == taxes[0] - taxes[1]
        codes = [Counter(warning["code"] for warning in answer["warnings"]) for answer in answers]
        assert change["warnings_come"].split() == sorted((codes[1] - codes[0]).elements())
        assert change["warnings_go"].split() == sorted((codes[0] - codes[1]).elements())
        came, gone = came + (codes[1] - codes[0]), gone + (codes[0] - codes[1])
    summary = json.loads((out / "summary.json").read_bytes())["changes"]
    (of,) = summary["measures"]
    gains = [pence(change["gain"]) for change in changes]
    # The parts add up: groups to clients, and what is gained less what is lost to the difference of both laws' taxes.
    assert sum(group["clients"] for group in of["groups"]) == of["compared"] == len(changes)
    assert of["gain"] + of["lose"] + of["unchanged"] == len(changes)
    assert of["gain"] == sum(gain >= 100 for gain in gains) > 0
    assert of["lose"] == sum(gain <= -100 for gain in gains) > 0
    assert pence(of["gained"]) - pence(of["lost"]) == sum(gains)
    assert (summary["warnings_come"], summary["warnings_go"]) == (dict(came), dict(gone))
    by_size = sorted(changes, key=lambda change: (-abs(pence(change["gain"])), int(change["record"])))
    assert [each["id"] for each in summary["largest"]] == [change["id"] for change in by_size[:5]]
    assert summary["rules_versions"] == [
        answer["rules"]["version"] for answer in (next(iter(known.values())), other[changes[0]["id"]])
    ]
    charts = json.loads((out / "charts.json").read_bytes())
    assert [chart["name"] for chart in charts] == ["gain_or_lose", "largest_changes", "warnings"]
    for chart in charts:
        assert (out / f"chart-{chart['name']}.svg").read_text("utf-8").startswith("<svg")
        assert "A proposal is not law" in " ".join(chart["spec"]["title"]["subtitle"])


def test_the_same_on_a_cluster_and_a_law_beside_itself(book: Path, tmp_path: Path) -> None:
    arguments = ("--figures", SETS, "--workers", "1", "--in-tax-year", YEAR)
    ran = run("on_dask.py", book / "book.csv", "--out", tmp_path / "a", "--compare-laws", "known", LAW, *arguments)
    assert ran.returncode == 3, ran.stderr
    known, other = (answers_of(book, law) for law in ("known", LAW))
    expected = [
        pence(known[key]["withdrawal"]["gross"])
        - pence(known[key]["net_after_tax"])
        - pence(other[key]["withdrawal"]["gross"])
        + pence(other[key]["net_after_tax"])
        for key in known
        if key in other
    ]
    assert [pence(change["gain"]) for change in rows_of(tmp_path / "a" / "changes.csv")] == expected
    # In the year of the book, before the proposal begins, nothing changes.
    ran = run("on_dask.py", book / "book.csv", "--out", tmp_path / "b", "--compare-laws", "known", LAW, *arguments[:4])
    assert ran.returncode == 3, ran.stderr
    summary = json.loads((tmp_path / "b" / "summary.json").read_bytes())["changes"]
    assert summary["measures"][0]["unchanged"] == summary["compared"] > 0
    assert (summary["largest"], summary["warnings_come"], summary["warnings_go"]) == ([], {}, {})


@pytest.mark.parametrize(
    ("gain", "words"),
    [
        (0, "less than £1 either way"),
        (99, "less than £1 either way"),
        (-99, "less than £1 either way"),
        (100, "gain £1 to less than £100"),
        (-100, "lose £1 to less than £100"),
        (99_999, "gain £500 to less than £1,000"),
        (-100_000, "lose £1,000 to less than £5,000"),
        (500_000, "gain £5,000 or more"),
        (-(10**9), "lose £5,000 or more"),
    ],
)
def test_groups(gain: int, words: str) -> None:
    assert words_of(group_of(gain)) == words


def test_groups_run_from_the_largest_loss_to_the_largest_gain() -> None:
    ends = [-(10**9), *(-edge for edge in reversed(EDGES)), 0, *EDGES, 10**9]
    assert sorted({group_of(gain) for gain in ends}) == list(range(GROUPS))


def raw(**answer: Any) -> msgspec.Raw:
    return msgspec.Raw(msgspec.json.encode({"rules": {"version": "r1"}, "warnings": [], **answer}))


def test_what_other_operations_are_measured_by() -> None:
    plan = [raw(totals={"wealth_after_tax": amount}) for amount in (1000.5, 900.25)]
    income = [
        raw(totals={"wealth_after_tax": 0.0}, steady_income={"amount": amount, "bound": 0, "gap": 0})
        for amount in (20000, 20100)
    ]
    timing = [raw(ranking={"wealth_after_tax": order}) for order in ([{"option": 1, "amount": 5.0}], [])]
    warned = [raw(warnings=[{"code": code} for code in codes]) for codes in (("a", "a", "b"), ("a", "c"))]
    found = [
        Laws("known", "x", 3, operation).change(7, "C", *answers)
        for operation, answers in (
            ("allowance-schedule", plan),
            ("allowance-schedule", income),
            ("lump-sum-timing", timing),
            ("warnings", warned),
        )
    ]
    assert [(effect.measure, effect.gain) for effect in found] == [
        ("wealth after tax at the end", -10_025),
        ("steady income a year", 10_000),
        ("", 0),
        ("", 0),
    ]
    assert (found[3].came, found[3].gone) == (("c",), ("a", "b"))
    laws = Laws("known", "x", 3, "allowance-schedule")
    summed = laws.summed(
        [json.loads(json.dumps(laws.counted(found[:2]))), json.loads(json.dumps(laws.counted(found[2:])))]
    )
    assert [of["measure"] for of in summed["measures"]] == ["steady income a year", "wealth after tax at the end"]
    assert (summed["warnings_come"], summed["warnings_go"]) == ({"c": 1}, {"a": 1, "b": 1})
    assert len(charts_of(summed)) == 3
    assert len(charts_of({**summed, "measures": [], "warnings_come": {}, "warnings_go": {}})) == 1


def test_a_law_that_changed_during_the_run_is_not_mixed() -> None:
    laws = Laws("known", "x", 3, "warnings")
    effects = [Effect(1, "C", "", 0, 0, (), (), ("r1", version)) for version in ("r2", "r3")]
    with pytest.raises(StopError, match="from version r2 to"):
        laws.summed([laws.counted([effect]) for effect in effects])


@pytest.mark.parametrize(
    ("script", "arguments", "told"),
    [
        ("recalculate.py", ["--in-tax-year", YEAR], "--in-tax-year is for --compare-laws"),
        ("recalculate.py", ["--compare-laws", "known", "known"], "needs two laws"),
        (
            "recalculate.py",
            ["--compare-laws", "known", LAW, "--compare-tax-years", "2025-26", "2026-27"],
            "not allowed with",
        ),
        ("on_dask.py", ["--compare-laws", "known", LAW], "--compare-laws needs --figures"),
    ],
)
def test_options_that_do_not_go_together(tmp_path: Path, script: str, arguments: list[str], told: str) -> None:
    ran = run(script, "book.csv", "--out", tmp_path / "out", *arguments)
    assert ran.returncode == 2
    assert told in ran.stderr
