"""The command `pension-to-isa` as people use it: files of every kind, pipes, faults in one line, and exit statuses."""

from __future__ import annotations

import json
import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from service.console.command import ANSWERED, NOT_ANSWERED, NOT_ASKED, STOPPED, main
from service.console.waiting import bar
from service.versions import SOFTWARE_VERSION

TOP = Path(__file__).parents[2]
REQUESTS = TOP / "examples" / "requests"
QUOTE, PLAN = REQUESTS / "first-ufpls.json", REQUESTS / "plan-couple-most-after-tax.json"
COMMAND = [sys.executable, "-m", "service"]


def run(*arguments: str | Path, sent: bytes | None = None, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """The command run to its end, with the standard input closed where nothing is sent."""
    given = {"stdin": subprocess.DEVNULL} if sent is None else {}
    return subprocess.run(
        [*COMMAND, *map(str, arguments)],
        cwd=TOP,
        env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
        input=sent,
        capture_output=True,
        timeout=120,
        check=False,
        **given,
    )


def refused(*arguments: str | Path, sent: bytes | None = None) -> tuple[int, str]:
    """The exit status and what is said of a command that prints nothing; all of it is in one line."""
    done = run(*arguments, sent=sent)
    assert done.stdout == b""
    (line,) = done.stderr.decode().splitlines()
    return done.returncode, line


@pytest.fixture(scope="module")
def page() -> bytes:
    """The page of a quote."""
    done = run("quote", QUOTE)
    assert (done.returncode, done.stderr) == (ANSWERED, b"")
    assert b"\xc2\xa328,121.80" in done.stdout
    return done.stdout


TEXT = QUOTE.read_text("utf-8")


@pytest.mark.parametrize(
    "sent",
    [
        TEXT.encode(),
        TEXT.replace("\n", "\r\n").encode(),
        TEXT.encode("utf-8-sig"),
        TEXT.encode("utf-16"),
    ],
    ids=["plain", "Windows' line ends", "byte order mark", "UTF-16"],
)
def test_standard_input_in_every_form_gives_the_same_page(page: bytes, sent: bytes) -> None:
    assert run("quote", sent=sent).stdout == page
    assert run("quote", "-", sent=sent).stdout == page


def test_json_is_what_the_service_answers(client: FlaskClient) -> None:
    for name, path, file in (
        ("quote", "/v1/withdrawal-tax?include=working", QUOTE),
        ("schedule", "/v1/allowance-schedule", PLAN),
    ):
        include = ["--include", "working"] if "include" in path else []
        done = run(name, "--json", *include, file)
        assert (done.returncode, done.stderr) == (ANSWERED, b"")
        assert done.stdout == client.post(path, data=file.read_bytes(), content_type="application/json").data + b"\n"


def test_a_problem_is_json_as_well_where_json_is_asked_for() -> None:
    done = run("schedule", "--json", REQUESTS / "plan-spending-too-high.json")
    assert (done.returncode, done.stderr) == (NOT_ANSWERED, b"")
    assert json.loads(done.stdout)["code"] == "rule-violation"


def test_each_fault_is_a_line_with_its_place_and_what_to_send(tmp_path: Path) -> None:
    file = tmp_path / "faulty.json"
    request = json.loads(TEXT)
    request["household"]["people"][0]["tax_residence"] = "englnd"
    request["withdrawal"]["amount"] = "40,000"
    file.write_text(json.dumps(request), "utf-8")
    done = run("quote", file)
    lines = done.stderr.decode().splitlines()
    assert (done.returncode, done.stdout, len(lines)) == (NOT_ANSWERED, b"", 2)
    assert lines[0].startswith(f"{file}: #/household/people/0/tax_residence: Must be one of: ")
    assert 'Did you mean "england"?' in lines[0]
    assert lines[1].startswith(f"{file}: #/withdrawal/amount: ")


def test_what_is_no_request_is_told_in_one_line(tmp_path: Path) -> None:
    empty, broken, endless = tmp_path / "empty.json", tmp_path / "broken.json", Path("/dev/zero")
    empty.write_bytes(b" \r\n")
    broken.write_text('{\n  "tax_year": "2026-27",\n}', "utf-8")
    status, said = refused("quote", empty)
    assert (status, said) == (
        NOT_ASKED,
        f"{empty} is empty. It must hold a request, such as those in examples/requests.",
    )
    assert refused("quote", tmp_path) == (NOT_ASKED, f"{tmp_path} cannot be read: Is a directory.")
    missing = tmp_path / "missing.json"
    assert refused("quote", missing) == (NOT_ASKED, f"{missing} cannot be read: No such file or directory.")
    assert refused("quote")[1].startswith("Standard input is empty. ")
    status, said = refused("quote", broken)
    assert status == NOT_ANSWERED
    assert said.startswith(f"{broken}: ")
    assert "line 3" in said
    assert refused("quote", endless)[0] == NOT_ANSWERED
    assert refused("quote", sent=b"\x89PNG\r\n\x1a\n\xff")[0] == NOT_ANSWERED


def test_a_file_without_rights_is_named(tmp_path: Path) -> None:
    file = tmp_path / "secret.json"
    file.write_text(TEXT, "utf-8")
    file.chmod(0)
    if os.access(file, os.R_OK):  # nothing is hidden from root: the words are those of any error of the system
        file.unlink()
    assert refused("quote", file)[0] == NOT_ASKED


def test_a_wrong_command_line_is_told_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (
        ["qoute"],
        ["quote", "--jsn"],
        ["quote", "one", "two"],
        ["quote", "--include", "working"],
        ["figures", "2026-27", "--find", "horoscope"],
        ["record", str(QUOTE)],
    ):
        assert main(arguments) == NOT_ASKED
        said = capsys.readouterr().err
        assert said.endswith("--help shows how.\n")
        assert said.count("\n") == 1
    main(["qoute"])
    assert "Did you mean 'quote'?" in capsys.readouterr().err
    assert main(["figures", "1999-00"]) == NOT_ANSWERED


def test_help_and_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--help"]) == ANSWERED
    said = capsys.readouterr().out
    for name in ("serve", "quote", "schedule", "timing", "check", "figures", "record"):
        assert f"\n  {name} " in said
        assert main([name, "--help"]) == ANSWERED
        assert "Usage: " in capsys.readouterr().out
    assert main(["--version"]) == ANSWERED
    assert capsys.readouterr().out.split()[-1] == SOFTWARE_VERSION


def test_output_that_is_not_unicode() -> None:
    done = run("quote", QUOTE, PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (ANSWERED, b"")
    assert b" GBP 28,121.80" in done.stdout
    done.stdout.decode("ascii")


def test_a_pipe_that_is_closed_brings_no_traceback() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as closed:
        done = subprocess.run(
            [*COMMAND, "quote", str(QUOTE)], cwd=TOP, stdout=closed, stderr=subprocess.PIPE, timeout=60, check=False
        )
    assert done.returncode == NOT_ANSWERED
    assert done.stderr == b""


def test_a_full_disk_is_told_in_one_line() -> None:
    with Path("/dev/full").open("wb") as full:
        command = [*COMMAND, "quote", str(QUOTE)]
        done = subprocess.run(command, cwd=TOP, stdout=full, stderr=subprocess.PIPE, timeout=60, check=False)
    assert done.returncode == NOT_ANSWERED
    assert done.stderr == b"What was made cannot be written: No space left on device.\n"


def test_ctrl_c_stops_it() -> None:
    process = subprocess.Popen(
        [*COMMAND, "quote"],
        cwd=TOP,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        # Where the tests run in the background, the signal is ignored, and so it would be here.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    asleep = 0
    while asleep < 10:  # for a second on end: it waits for its standard input
        time.sleep(0.1)
        asleep = asleep + 1 if Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()[0] == "S" else 0
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=30)
    assert process.returncode == STOPPED
    assert said.split() == [b"Stopped."]


WAITING = """
import time
from service.console.waiting import waiting
with waiting("Looking for the plan"):
    time.sleep(1)
"""
"""Work that takes long on any machine; no plan is sure to."""


def test_a_terminal_sees_that_work_goes_on_and_a_file_does_not() -> None:
    command = [sys.executable, "-c", WAITING]
    assert subprocess.run(command, cwd=TOP, stderr=subprocess.PIPE, timeout=60, check=True).stderr == b""
    terminal, other_end = pty.openpty()
    with os.fdopen(terminal, "rb", buffering=0) as seen:
        process = subprocess.Popen(command, cwd=TOP, stderr=other_end)
        os.close(other_end)
        said = b""
        try:
            while some := seen.read(1_024):
                said += some
        except OSError:  # a terminal whose other end is closed
            pass
        assert process.wait(timeout=60) == 0
    assert b"\rLooking for the plan [=" in said
    assert said.endswith(b" \r")


def test_the_mark_moves_to_and_fro() -> None:
    assert [bar(step).index("=") for step in range(13)] == [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 10]


@pytest.mark.parametrize("name", ["first-ufpls", "plan-personal-allowance", "warnings-saves-and-withdraws"])
def test_a_record_is_made_and_checked_without_a_server(tmp_path: Path, name: str) -> None:
    out = tmp_path / "record.html"
    done = run("record", REQUESTS / f"{name}.json", out)
    assert (done.returncode, done.stdout, done.stderr) == (ANSWERED, b"", b"")
    assert run("record", "--check", out).stdout == b"The record is sound.\n"
    out.write_text(out.read_text("utf-8").replace("advice", "a promise"), "utf-8")
    changed = run("record", "--check", out)
    assert (changed.returncode, changed.stdout) == (NOT_ANSWERED, b"")
    assert f"{out}: The page is not what its request and answer make" in changed.stderr.decode()
    assert refused("record", REQUESTS / "plan-spending-too-high.json", tmp_path / "none.html")[0] == NOT_ANSWERED
    assert not (tmp_path / "none.html").exists()


def test_a_request_of_another_question_is_told_its_command() -> None:
    plan = REQUESTS / "plan-personal-allowance.json"
    said = f"{plan} asks another question: pension-to-isa schedule answers it."
    assert refused("quote", plan) == (NOT_ANSWERED, said)
    assert refused("check", plan) == (NOT_ANSWERED, said)
    # A request for warnings has no key of its own: what is missing for a quote is said.
    done = run("quote", REQUESTS / "warnings-saves-and-withdraws.json")
    assert done.returncode == NOT_ANSWERED
    assert b"#/withdrawal: This field is required" in done.stderr


def test_where_the_packages_for_records_are_missing_it_says_so(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    out = tmp_path / "record.html"
    monkeypatch.setitem(sys.modules, "vl_convert", None)
    assert main(["record", str(QUOTE), str(out)]) == NOT_ANSWERED
    assert capsys.readouterr().err == (
        "The packages for records are missing. Install them with pip install '.[record]'.\n"
    )
    assert not out.exists()


def test_what_cannot_be_written_is_said_with_its_place(tmp_path: Path) -> None:
    out = tmp_path / "none" / "record.html"
    said = f"What was made cannot be written to {out}: No such file or directory."
    assert refused("record", REQUESTS / "first-ufpls.json", out) == (NOT_ANSWERED, said)


# Proposed law

LAWS = {"SERVICE_FIGURES": str(TOP / "examples" / "laws")}


def test_a_question_by_a_proposed_law(tmp_path: Path) -> None:
    """Both ways of naming it have the same answer; without the folder it is refused as the service refuses it."""
    request = tmp_path / "request.json"
    year = {"tax_year": "2027-28", "withdrawal": {"method": "ufpls", "amount": 40000}}
    request.write_text(json.dumps({**json.loads(TEXT), **year}), "utf-8")
    named = tmp_path / "named.json"
    named.write_text(json.dumps({**json.loads(request.read_text("utf-8")), "law": "invented-basic-rate-22"}), "utf-8")
    done = run("quote", request, "--law", "invented-basic-rate-22", "--json", **LAWS)
    assert done.returncode == ANSWERED, done.stderr
    assert done.stdout == run("quote", named, "--json", **LAWS).stdout
    assert json.loads(done.stdout)["rules"]["law"]["name"] == "invented-basic-rate-22"
    status, said = refused("quote", request, "--law", "invented-basic-rate-22")
    assert (status, "This service holds no proposed law" in said) == (NOT_ANSWERED, True)


def test_a_request_that_names_a_law_already_is_told_so(tmp_path: Path) -> None:
    named = tmp_path / "named.json"
    named.write_text(json.dumps({**json.loads(TEXT), "law": "known"}), "utf-8")
    status, said = refused("quote", named, "--law", "known")
    assert (status, "law" in said, "twice" in said) == (NOT_ANSWERED, True, True), said


def test_a_page_beside_another_law(tmp_path: Path) -> None:
    request = tmp_path / "request.json"
    asked = {**json.loads(TEXT), "tax_year": "2027-28", "withdrawal": {"method": "ufpls", "amount": 40000}}
    request.write_text(json.dumps({**asked, "compare_law": "invented-basic-rate-22"}), "utf-8")
    done = run("quote", request, **LAWS)
    assert done.returncode == ANSWERED, done.stderr
    page = done.stdout.decode()
    assert "Compared with another law: an invented basic rate of 22%" in page
    # Other income of 30,420.50, of which 420.50 is interest within the savings allowance: 22% over 13,570, not 20% over 12,570.
    assert "3,486.0 -> 3,614.6" in page


def test_figures_of_a_proposed_law() -> None:
    done = run("figures", "2027-28", "--find", "personal_allowance", "--law", "invented-basic-rate-22", **LAWS)
    assert done.returncode == ANSWERED, done.stderr
    assert "13,570" in done.stdout.decode()
    assert "13,570" not in run("figures", "2027-28", "--find", "personal_allowance", **LAWS).stdout.decode()


def test_a_folder_of_proposed_law_that_cannot_be_used(tmp_path: Path) -> None:
    for folder in (tmp_path / "nowhere", tmp_path):
        done = run("quote", QUOTE, SERVICE_FIGURES=str(folder))
        assert (done.returncode, done.stdout) == (NOT_ASKED, b"")
        (line,) = done.stderr.decode().splitlines()
        assert str(folder) in line
