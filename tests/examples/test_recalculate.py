"""The script that recalculates a book, run as its users run it, against the real service: nothing lost, nothing twice."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import time
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

import invent
from book import layout
from tests.examples.conftest import CLIENTS, TOP, Expected, Service, command, run, running_service
from tests.test_access import SECRETS, entry, file_of

PATIENCE = 60
SAVED = {"lock", "parts", "run.json"}


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def saved(out: Path) -> list[Path]:
    """The chunks that a run has saved so far."""
    return [path for path in (out / "parts").glob("*") if path.name.isdigit()]


def until(condition: object, process: subprocess.Popen[bytes]) -> None:
    """Wait until something is so, while a process runs."""
    assert callable(condition)
    end = time.monotonic() + PATIENCE
    while not condition():
        assert process.poll() is None, "the script ended before it was interrupted"
        assert time.monotonic() < end
        time.sleep(0.005)


def begin(*arguments: str | Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        command("recalculate.py", *arguments), cwd=TOP, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


def test_every_line_of_the_results_is_the_services_own(
    folder: Path, tmp_path: Path, service: Service, expected: Expected
) -> None:
    out = tmp_path / "out"
    ran = run("recalculate.py", folder / "book.ndjson", "--out", out, "--service", service.url, "--chunk", "100")
    assert ran.returncode == 3, ran.stderr
    assert (out / "results.ndjson").read_bytes() == b"".join(expected.results)
    failures = [json.loads(line) for line in (out / "failures.ndjson").read_bytes().splitlines()]
    theirs = [json.loads(line) for line in expected.failures]
    assert len(theirs) > 10
    assert [(failure["id"], failure["status"], failure["problem"]) for failure in failures] == [
        (answer["id"], answer["status"], answer["problem"]) for answer in theirs
    ]
    assert [failure["record"] for failure in failures] == [int(failure["id"][1:]) for failure in failures]
    assert names(out) == {"lock", "run.json", "summary.json", "results.ndjson", "failures.ndjson"}
    summary = json.loads((out / "summary.json").read_bytes())
    assert summary["records"] == CLIENTS
    assert summary["answers"][0]["succeeded"] == len(expected.results)
    assert f"{CLIENTS:,} records, all accounted for" in ran.stdout
    assert "100%" in ran.stderr
    assert "records/s" in ran.stderr


def at(document: Any, path: tuple[str, ...]) -> Any:
    for step in path:
        document = document.get(step, {})
    return document


def written(value: Any, kind: str) -> str:
    """A value as it should stand in a CSV file."""
    if value == {}:
        return ""
    if kind == "money":
        assert round(value * 100) == pytest.approx(value * 100, abs=1e-6)
        return f"{round(value * 100) // 100}.{round(value * 100) % 100:02}"
    return {True: "true", False: "false"}[value] if kind == "truth" else str(value)


def rows_of(path: Path) -> list[dict[str, str]]:
    """The rows of a CSV file, which begins with a byte order mark."""
    assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


OWN_ROWS = """\
id;tax_year;date_of_birth;tax_residence;state_pension;employment;dividends;uncrystallised;method;amount;payroll_code;payroll_basis
=1+1;2026-27;14/05/1966;england;;£30,000.00;;£400,000;ufpls;40,000;;
@B;2026-27;14/05/1966;england;11,000;-3;;£400,000;ufpls;£40,000.00;;
-C;2026-27;31/02/1966;england;11,000;;lots;£400,000;ufpls;£500,000.00;;
D;2026-27;14/05/1966;england;;;;£400,000;ufpls;£500,000.00;;
E;2026-27;14/05/1966;england
F;2026-27;14/05/1966;england;;;;£400,000;ufpls;£4,000.00;1257L;
G;2026-27;14/05/1966;england;;;;£400,000;ufpls;;;
"""


def test_a_book_from_a_spreadsheet_and_a_table_for_one(tmp_path: Path, service: Service) -> None:
    book, out = tmp_path / "book.csv", tmp_path / "out"
    arguments = (book, "--out", out, "--service", service.url, "--uk-dates")
    book.write_text(OWN_ROWS, "windows-1252", newline="")
    ran = run("recalculate.py", *arguments, "--encoding", "windows-1252")
    assert ran.returncode == 3, ran.stderr
    (row,) = rows_of(out / "results.csv")
    assert (row["record"], row["id"], row["gross"], row["taxable"]) == ("1", "'=1+1", "40000.00", "30000.00")
    failures = rows_of(out / "failures.csv")
    assert [(failure["record"], failure["id"], failure["code"], failure["columns"]) for failure in failures] == [
        ("2", "'@B", "invalid-request", "employment"),
        ("3", "'-C", "invalid-request", "date_of_birth dividends"),
        ("4", "D", "rule-violation", "amount"),
        ("5", "E", "unreadable-row", ""),
        ("6", "F", "invalid-request", "payroll_basis"),
        ("7", "G", "invalid-request", "method amount net_wanted date"),
    ]
    assert failures[0]["detail"].startswith("employment: ")
    assert failures[1]["detail"] == (
        "date_of_birth: '31/02/1966' is not a day in the calendar; "
        "dividends: 'lots' is not an amount in pounds, such as 1234.50 or £1,234.50"
    )
    assert failures[2]["detail"].startswith("amount: ")
    assert "£" in failures[2]["detail"]
    assert failures[3]["detail"] == "The row has 4 cells; the header names 12 columns."
    assert not any("#/" in failure["detail"] for failure in failures)

    # With the service's whole answers, a fault keeps its place in the request.
    lines = ["--encoding", "windows-1252", "--results-as", "ndjson", "--start-over"]
    again = run("recalculate.py", *arguments, *lines)
    assert again.returncode == 3, again.stderr
    first = json.loads((out / "failures.ndjson").read_bytes().splitlines()[0])
    assert first["id"] == "@B"
    assert [fault["pointer"] for fault in first["problem"]["errors"]] == ["#/household/people/0/income/1/amount"]


def test_a_book_of_which_nothing_can_be_sent_needs_no_service(tmp_path: Path) -> None:
    book, out = tmp_path / "book.csv", tmp_path / "out"
    book.write_text("id,method\nA,café\nB,£\n", "windows-1252")
    ran = run("recalculate.py", book, "--out", out, "--service", "http://127.0.0.1:9")
    assert ran.returncode == 3, ran.stderr
    assert "2 records, all accounted for; none could be sent" in ran.stdout
    assert [failure["id"] for failure in rows_of(out / "failures.csv")] == ["A", "B"]


def test_places_stay_where_the_book_has_no_columns(tmp_path: Path, service: Service) -> None:
    book, out = tmp_path / "book.jsonl", tmp_path / "out"
    book.write_text('{"id": "A", "request": {"tax_year": "never"}}\n')
    ran = run("recalculate.py", book, "--out", out, "--service", service.url, "--results-as", "csv")
    assert ran.returncode == 3, ran.stderr
    (failure,) = rows_of(out / "failures.csv")
    assert failure["columns"] == ""
    assert "#/tax_year " in failure["detail"]


def test_columns_in_columns_out(folder: Path, tmp_path: Path, service: Service, expected: Expected) -> None:
    for kind in ("csv", "parquet"):
        ran = run("recalculate.py", folder / f"book.{kind}", "--out", tmp_path / kind, "--service", service.url)
        assert ran.returncode == 3, ran.stderr
    answers = [json.loads(line) for line in expected.results]
    rows = rows_of(tmp_path / "csv" / "results.csv")
    assert [(int(row["record"]), row["id"]) for row in rows] == [
        (int(answer["id"][1:]), answer["id"]) for answer in answers
    ]
    for row, answer in zip(rows, answers, strict=True):
        for column in layout.RESULTS:
            assert row[column.name] == written(at(answer["result"], column.path), column.kind), column.name
        assert row["warnings"].split() == [warning["code"] for warning in answer["result"]["warnings"]]

    table = pq.read_table(tmp_path / "parquet" / "results.parquet")
    assert table.column_names == list(rows[0])
    assert table["id"].to_pylist() == [answer["id"] for answer in answers]
    for name, path in (("gross", "withdrawal"), ("net_after_tax", None)):
        wanted = [answer["result"][path][name] if path else answer["result"][name] for answer in answers]
        assert [float(amount) for amount in table[name].to_pylist()] == wanted
    failures = rows_of(tmp_path / "csv" / "failures.csv")
    assert [failure["id"] for failure in failures] == [json.loads(line)["id"] for line in expected.failures]
    assert pq.read_table(tmp_path / "parquet" / "failures.parquet")["detail"].to_pylist() == [
        failure["detail"] for failure in failures
    ]


def test_a_run_killed_outright_resumes(folder: Path, tmp_path: Path, service: Service, expected: Expected) -> None:
    out = tmp_path / "out"
    arguments = (folder / "book.ndjson", "--out", out, "--service", service.url, "--chunk", "20")
    process = begin(*arguments)
    until(lambda: len(saved(out)) >= 10, process)
    process.kill()
    assert process.wait() == -signal.SIGKILL
    there = saved(out)
    assert 10 <= len(there) < CLIENTS / 20
    assert names(out) == {*SAVED, "unfinished"}
    # A mark in what was saved: it would be gone if those records were calculated again.
    for part in there:
        with (part / "results.ndjson").open("ab") as file:
            file.write(b"saved before\n")
    ran = run("recalculate.py", *arguments)
    assert ran.returncode == 3, ran.stderr
    lines = (out / "results.ndjson").read_bytes().splitlines(True)
    assert lines.count(b"saved before\n") == len(there)
    assert [line for line in lines if line != b"saved before\n"] == expected.results


def test_a_run_told_to_stop_saves_what_is_under_way(folder: Path, tmp_path: Path, service: Service) -> None:
    out = tmp_path / "out"
    arguments = (folder / "book.csv", "--out", out, "--service", service.url, "--chunk", "20")
    process = begin(*arguments)
    until(lambda: len(saved(out)) >= 3, process)
    process.send_signal(signal.SIGTERM)
    assert process.wait(PATIENCE) == 130
    assert names(out) - {"unfinished"} == SAVED
    assert names(out / "parts") == {part.name for part in saved(out)}


def test_workers_killed_outright_during_a_run_lose_nothing(folder: Path, tmp_path: Path, expected: Expected) -> None:
    out = tmp_path / "out"
    with running_service() as running:
        process = begin(folder / "book.ndjson", "--out", out, "--service", running.url, "--chunk", "50")
        for reached in (4, 8):
            until(lambda reached=reached: len(saved(out)) >= reached, process)
            for worker in running.workers():
                os.kill(worker, signal.SIGKILL)
        assert process.wait(PATIENCE) == 3
    assert (out / "results.ndjson").read_bytes() == b"".join(expected.results)


def test_two_tax_years_side_by_side(folder: Path, tmp_path: Path, service: Service) -> None:
    out = tmp_path / "out"
    years = ("2025-26", "2026-27")
    ran = run(
        "recalculate.py", folder / "book.csv", "--out", out, "--service", service.url, "--compare-tax-years", *years,
        "--largest", "5",
    )  # fmt: skip
    assert ran.returncode == 3, ran.stderr
    results = {}
    for year in years:
        results[year] = {row["id"]: row for row in rows_of(out / f"results-{year}.csv")}
        assert {row["tax_year"] for row in results[year].values()} == {year}
    before, after = results.values()
    changes = rows_of(out / "changes.csv")
    assert [change["id"] for change in changes] == [key for key in before if key in after]

    def pence(text: str) -> int:
        return int(text.replace(".", ""))

    for change in changes:
        first, second = before[change["id"]], after[change["id"]]
        cost = [pence(row["gross"]) - pence(row["net_after_tax"]) for row in (first, second)]
        assert [pence(change[f"tax_{year.replace('-', '_')}"]) for year in years] == cost
        assert pence(change["change_in_tax"]) == cost[1] - cost[0]
    summary = json.loads((out / "summary.json").read_bytes())["changes"]
    by_size = sorted(changes, key=lambda change: (-abs(pence(change["change_in_tax"])), int(change["record"])))
    assert pence(by_size[0]["change_in_tax"]) != 0
    assert [change["id"] for change in summary["largest"]] == [change["id"] for change in by_size[:5]]
    assert summary["change_in_tax"] == sum(pence(change["change_in_tax"]) for change in changes) / 100
    assert summary["changed"] == sum(pence(change["change_in_tax"]) != 0 for change in changes)
    assert all(change["id"] in ran.stdout for change in by_size[:5])


def test_a_finished_run_answers_from_what_is_there(folder: Path, tmp_path: Path, service: Service) -> None:
    out, book = tmp_path / "out", tmp_path / "book.csv"
    book.write_bytes(b"".join((folder / "book.csv").read_bytes().splitlines(True)[:11]))
    arguments = (book, "--out", out, "--service")
    first = run("recalculate.py", *arguments, service.url)
    again = run("recalculate.py", *arguments, "http://127.0.0.1:9")
    assert (first.returncode, again.returncode) == (0, 0), first.stderr + again.stderr
    assert again.stdout.splitlines()[:-1] == first.stdout.splitlines()[:-1]


def test_another_book_is_not_mixed_in(folder: Path, tmp_path: Path, service: Service) -> None:
    out, book = tmp_path / "out", tmp_path / "book.csv"
    lines = (folder / "book.csv").read_bytes().splitlines(True)
    arguments = (book, "--out", out, "--service", service.url)
    book.write_bytes(b"".join(lines[:6]))
    assert run("recalculate.py", *arguments).returncode == 0
    book.write_bytes(b"".join(lines[:9]))
    refused = run("recalculate.py", *arguments)
    assert refused.returncode == 2
    assert "differs in book" in refused.stderr
    begun = run("recalculate.py", *arguments, "--start-over")
    assert begun.returncode == 0, begun.stderr
    assert len((out / "results.csv").read_bytes().splitlines()) == 9


def test_a_folder_with_other_things_in_it_is_left_alone(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "results.csv").write_text("somebody's own")
    for more in ((), ("--start-over",)):
        refused = run("recalculate.py", folder / "book.csv", "--out", tmp_path, *more)
        assert refused.returncode == 2
        assert "holds other files" in refused.stderr
    assert (tmp_path / "results.csv").read_text() == "somebody's own"


def test_results_of_two_versions_of_the_rules_are_not_mixed(folder: Path, tmp_path: Path, service: Service) -> None:
    out = tmp_path / "out"
    arguments = (folder / "book.csv", "--out", out, "--service", service.url, "--chunk", "20")
    process = begin(*arguments)
    until(lambda: len(saved(out)) >= 2, process)
    process.kill()
    process.wait()
    for part in saved(out):
        counts = json.loads((part / "part.json").read_bytes())
        (part / "part.json").write_text(json.dumps({**counts, "rules_version": "of yesterday"}))
    stopped = run("recalculate.py", *arguments)
    assert stopped.returncode == 1
    assert "the rules changed during the run, from version of yesterday to" in stopped.stderr


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["nowhere.csv"], "nowhere.csv: No such file"),
        (["pyproject.toml"], "must end in one of"),
        (["book.csv", "--compare-tax-years", "2025-26", "2026-28"], "is not a tax year"),
        (["book.csv", "--key-file", "nowhere"], "--key-file nowhere cannot be read"),
        (["book.csv", "--key-file", "README.md"], "must hold the key and nothing else"),
        (["book.csv", "--chunk", "0"], "not a whole number from 1"),
        (["book.csv", "--service", "127.0.0.1:8000"], "--service 127.0.0.1:8000: begin it with http:// or https://."),
        (["book.csv", "--operation", "allowance-schedule", "--results-as", "csv"], "for withdrawal-tax only"),
    ],
)
def test_a_run_that_cannot_begin_says_why(tmp_path: Path, arguments: list[str], told: str) -> None:
    refused = run("recalculate.py", *arguments, "--out", tmp_path / "out")
    assert refused.returncode == 2
    assert told in refused.stderr
    assert "Traceback" not in refused.stderr


def test_a_service_that_is_not_there_is_told_and_the_run_can_be_resumed(folder: Path, tmp_path: Path) -> None:
    stopped = run(
        "recalculate.py", folder / "book.csv", "--out", tmp_path / "out", "--service", "http://127.0.0.1:9",
        "--patience", "0.1",
    )  # fmt: skip
    assert stopped.returncode == 1
    assert "The same command resumes it." in stopped.stderr
    assert "Traceback" not in stopped.stderr


def test_a_book_is_recalculated_with_a_key_and_not_without(tmp_path: Path) -> None:
    keys = file_of(tmp_path, entry("office"))
    book, key = tmp_path / "book.csv", tmp_path / "key"
    invent.write(book, invent.rows(20, 0, "2026-27", 7))
    key.write_text(f"{SECRETS['office']}\n", "utf-8")
    with running_service(SERVICE_KEYS_FILE=str(keys)) as running:
        to = ("--service", running.url)
        refused = run("recalculate.py", book, "--out", tmp_path / "without", *to)
        ran = run("recalculate.py", book, "--out", tmp_path / "with", *to, "--key-file", key)
    assert refused.returncode == 1
    assert "A key is needed" in refused.stderr
    assert ran.returncode == 0, ran.stderr


def test_plans_are_recalculated_too(tmp_path: Path, service: Service) -> None:
    request = json.loads((TOP / "examples" / "requests" / "plan-personal-allowance.json").read_bytes())
    book = tmp_path / "book.ndjson"
    book.write_text("".join(json.dumps({"id": number, "request": request}) + "\n" for number in range(3)))
    ran = run(
        "recalculate.py", book, "--out", tmp_path / "out", "--service", service.url, "--operation", "allowance-schedule"
    )
    assert ran.returncode == 0, ran.stderr
    answers = [json.loads(line) for line in (tmp_path / "out" / "results.ndjson").read_bytes().splitlines()]
    assert [answer["id"] for answer in answers] == [0, 1, 2]
    assert all(answer["result"]["years"] for answer in answers)


def test_a_record_that_kills_its_worker_is_named_and_the_others_have_their_results(tmp_path: Path) -> None:
    out, book = tmp_path / "out", tmp_path / "book.ndjson"
    requests = [{"milliseconds": 1, "dies": number == 37} for number in range(100)]
    book.write_text("".join(json.dumps({"id": n, "request": each}) + "\n" for n, each in enumerate(requests)))
    with running_service("tests.slow_service", str(tmp_path)) as running:
        ran = run("recalculate.py", book, "--out", out, "--service", running.url, "--operation", "waiting")
    assert ran.returncode == 3, ran.stderr
    (failure,) = (json.loads(line) for line in (out / "failures.ndjson").read_bytes().splitlines())
    assert (failure["id"], failure["status"], failure["problem"]["code"]) == (37, 500, "no-answer")
    results = [json.loads(line) for line in (out / "results.ndjson").read_bytes().splitlines()]
    assert [(result["id"], result["result"]) for result in results] == [
        (n, {"milliseconds": 1}) for n in range(100) if n != 37
    ]


def test_a_busy_service_is_nothing_to_tell_of(tmp_path: Path) -> None:
    book = tmp_path / "book.ndjson"
    book.write_text("".join(json.dumps({"id": n, "request": {"milliseconds": 20}}) + "\n" for n in range(200)))
    with running_service("tests.slow_service", str(tmp_path), SERVICE_WORKERS="2") as running:
        ran = run(
            "recalculate.py", book, "--out", tmp_path / "out", "--service", running.url, "--operation", "waiting",
            "--chunk", "10",
        )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert "503" not in ran.stderr
    assert "trying again" not in ran.stderr
