"""README.md: every command is run, every request is answered, and every answer shown is the service's. The examples of
openapi/CHANGELOG.md are held to the same."""

from __future__ import annotations

import ast
import http.client
import json
import os
import re
import shlex
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple
from urllib.parse import urlsplit

import pytest
from urllib3 import Retry

from tests.test_server import running_service

TOP = Path(__file__).parents[1]
ADDRESS = "http://127.0.0.1:8000"
"""Where the commands of the page take the service to be."""
LEFT_OUT = "..."
"""What stands for what is not shown: other keys, other items, or the rest of a text."""
TESTED_ELSEWHERE = {
    ".venv/bin/pension-to-isa": "test_packaging.py and try_installs.py install and start it",
    ".venv/bin/python -m pytest": "these tests",
    ".venv/bin/pip install --force-reinstall --no-deps dist/*-cp3*.whl": "test_compiled_wheel.py installs the wheel",
}
"""The last parts of the commands that install the project or run all tests, and where they are run."""


class Block(NamedTuple):
    """A block of code of the page: its language, its text, and the line on which it stands."""

    language: str
    text: str
    line: int


def blocks(page: str = "README.md") -> list[Block]:
    """All blocks of code of a page, in order."""
    text = (TOP / page).read_text("utf-8")
    fence = re.compile(r"^( *)```(\w+)\n(.*?)^\1```$", re.M | re.S)
    return [Block(found[2], found[3], text[: found.start()].count("\n") + 1) for found in fence.finditer(text)]


PAGE = (TOP / "README.md").read_text("utf-8")


def of(language: str) -> list[Block]:
    """The blocks in a language."""
    return [block for block in blocks() if block.language == language]


TOKEN = re.compile(r'"(?:[^"\\]|\\.)*"|\.\.\.|[{}\[\],:]|[^"{}\[\],:.]+|\.')


def read(text: str) -> Any:
    """The JSON of a block. ``...`` inside an object is read as a key, inside a list as an item."""
    written, inside = "", [""]
    for token in TOKEN.findall(text):
        if token in ("{", "["):
            inside.append(token)
        elif token in ("}", "]"):
            inside.pop()
        elif token == LEFT_OUT:
            token = f'"{LEFT_OUT}": 0' if inside[-1] == "{" else f'"{LEFT_OUT}"'
        written += token
    return json.loads(written)


def differences(shown: Any, real: Any, place: str = "#") -> Iterator[str]:
    """Where what is shown is not what is: equal, or a part of it where something is left out."""
    if isinstance(shown, dict) and isinstance(real, dict):
        named = [key for key in shown if key != LEFT_OUT]
        for key in named:
            if key in real:
                yield from differences(shown[key], real[key], f"{place}/{key}")
            else:
                yield f"{place} has no {key}"
        if LEFT_OUT not in shown and set(real) != set(named):
            yield f"{place} has more keys: {sorted(set(real) - set(named))}"
    elif isinstance(shown, list) and isinstance(real, list):
        items = [item for item in shown if item != LEFT_OUT]
        if len(items) > len(real) or (LEFT_OUT not in shown and len(items) != len(real)):
            yield f"{place} has {len(real)} items"
        for number, (one, other) in enumerate(zip(items, real, strict=False)):
            yield from differences(one, other, f"{place}/{number}")
    elif isinstance(shown, str) and shown.endswith(LEFT_OUT) and isinstance(real, str):
        if not real.startswith(shown.removesuffix(LEFT_OUT)):
            yield f"{place} is {real!r}"
    elif shown != real or isinstance(shown, bool) != isinstance(real, bool):
        yield f"{place} is {real!r}, not {shown!r}"


class Answer(NamedTuple):
    """What the service answers a command."""

    status: int
    text: str


def commands(block: Block) -> list[list[str]]:
    """The words of each command of a block, one for each line or, where a quotation goes over lines, for several."""
    found, text = [], ""
    for line in block.text.splitlines():
        text += line + "\n"
        try:
            found.append(shlex.split(text))
        except ValueError:
            continue
        text = ""
    assert text == "", f"the command of line {block.line} does not end"
    return [words for words in found if words]


def sent(words: list[str], port: int) -> Answer:
    """What the service answers a command of curl. A word that is not known here fails."""
    assert words[:2] == ["curl", "-s"]
    target, headers, body = urlsplit(words[2]), {}, None
    assert f"{target.scheme}://{target.netloc}" == ADDRESS
    options = iter(words[3:])
    for option in options:
        value = next(options)
        if option == "-H":
            name, _, rest = value.partition(": ")
            headers[name] = rest
        else:
            assert option in ("-d", "--data-binary"), option
            body = (TOP / value[1:]).read_bytes() if value.startswith("@") else value.encode()
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        path = f"{target.path}?{target.query}" if target.query else target.path
        connection.request("GET" if body is None else "POST", path, body, headers)
        response = connection.getresponse()
        return Answer(response.status, response.read().decode())
    finally:
        connection.close()


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    """The port of a running service."""
    with running_service() as (_, _, number):
        yield number


CALLS = [block for block in of("sh") if block.text.startswith("curl")]
OTHERS = [block for block in of("sh") if not block.text.startswith("curl")]


def by_line(block: Block) -> str:
    return f"line {block.line}"


def answer_shown(call: Block) -> Block:
    """The block that shows the answer to a command: the next one."""
    found = blocks()
    return found[found.index(call) + 1]


@pytest.mark.parametrize("call", CALLS, ids=by_line)
def test_an_answer_shown_is_what_the_service_answers(call: Block, port: int) -> None:
    ((words,), shown) = commands(call), answer_shown(call)
    answer = sent(words, port)
    assert shown.language in ("json", "ndjson")
    if shown.language == "ndjson":
        assert answer.status == 200
        lines, real = shown.text.splitlines(), answer.text.splitlines()
        assert len(lines) == len(real)
        pairs = [(read(line), json.loads(one)) for line, one in zip(lines, real, strict=True)]
    else:
        whole = json.loads(answer.text)
        assert answer.status == whole.get("status", 200)
        pairs = [(read(shown.text), whole)]
    assert [found for line, one in pairs for found in differences(line, one)] == []


def requests_shown() -> list[tuple[Block, str]]:
    """The requests that are shown, each with the file that the next command sends."""
    found = blocks()
    shown = [block for block in of("json") if "household" in read(block.text)]
    following = [next(call for call in found[found.index(block) :] if call in CALLS) for block in shown]
    return [(block, re.findall(r"@(\S+)", call.text)[0]) for block, call in zip(shown, following, strict=True)]


@pytest.mark.parametrize(
    ("block", "name"), requests_shown(), ids=lambda each: each if isinstance(each, str) else by_line(each)
)
def test_a_request_shown_is_the_one_that_is_sent(block: Block, name: str) -> None:
    assert list(differences(read(block.text), json.loads((TOP / name).read_text("utf-8")))) == []


def test_the_changes_show_how_version_1_asks_and_answers(port: int) -> None:
    old_request, request, old_answer, answer = [read(block.text) for block in blocks("openapi/CHANGELOG.md")]
    asked, given = (
        sent(["curl", "-s", f"{ADDRESS}/v1/withdrawal-tax", "-H", "Content-Type: application/json", "-d", body], port)
        for body in (json.dumps(old_request), json.dumps(request))
    )
    assert (asked.status, given.status) == (422, 200)
    assert list(differences(answer, json.loads(given.text))) == []
    assert list(differences(old_answer, json.loads(given.text))) != []


def test_every_block_of_json_is_a_request_or_an_answer() -> None:
    shown = [block for block, _ in requests_shown()] + [answer_shown(call) for call in CALLS]
    assert [block.line for block in (*of("json"), *of("ndjson")) if block not in shown] == []


def test_every_block_is_of_a_language_that_is_tested_here() -> None:
    assert {block.language for block in blocks()} == {"sh", "json", "ndjson", "python"}


def test_the_commands_show_every_operation() -> None:
    asked = {urlsplit(words[2]).path for call in CALLS for words in commands(call)}
    operations = ("withdrawal-tax", "allowance-schedule", "lump-sum-timing", "warnings", "bulk/withdrawal-tax")
    assert {f"/v1/{name}" for name in operations} == asked


PROGRAMS: dict[str, tuple[list[str], int, str]] = {
    "examples/bulk/invent.py": ([], 0, ""),
    "examples/bulk/recalculate.py": (["--service"], 3, "1,000 records, all accounted for"),
}
"""The programs that commands run: what stands before the service's address, which the last two take; the exit status; and what
they print. An invented book has faulty records, so its status is 3."""
PAGES = {"quote": "£28,121.80", "schedule": "leave the most after tax", "record": ""}
"""What the project's own command prints, by the word after it."""


@pytest.mark.parametrize("block", OTHERS, ids=by_line)
def test_other_commands_can_be_run(block: Block, port: int, tmp_path: Path) -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["project"]
    for line in block.text.splitlines():
        for command in line.split(" && "):
            extra = re.fullmatch(r"\.venv/bin/pip install '?\.(?:\[([\w,]+)\])?'?", command)
            words = shlex.split(command)
            if command == "python3 -m venv .venv" or command in TESTED_ELSEWHERE:
                continue
            if extra:
                assert set((extra[1] or "book").split(",")) <= set(project["optional-dependencies"]), command
            elif words[0] == "python3":
                assert (TOP / words[1]).is_file(), command  # test_compiled_wheel.py builds it
            else:
                if words[0] == ".venv/bin/pension-to-isa":
                    words, status, said, address = ["", "-m", "service", *words[1:]], 0, PAGES[words[1]], []
                else:
                    assert words[0] == ".venv/bin/python", command
                    option, status, said = PROGRAMS[words[1]]
                    address = [] if words[1].endswith("invent.py") else [*option, f"http://127.0.0.1:{port}"]
                done = subprocess.run(
                    [
                        sys.executable,
                        *(str(TOP / word) if (TOP / word).is_file() else word for word in words[1:]),
                        *address,
                    ],
                    cwd=tmp_path,
                    env={**os.environ, "PYTHONIOENCODING": "utf-8", "PYTHONPATH": str(TOP)},
                    capture_output=True,
                    text=True,
                    encoding="utf-8",
                    timeout=60,
                    check=False,
                )
                assert done.returncode == status, done.stderr
                assert said in done.stdout


SHOWN = re.findall(r"^\| ([^|]+) \| ([^|]+) \| `(\w+) (examples/requests/[\w-]+\.json)` \|$", PAGE, re.M)
SAID = {
    "first-ufpls": ("£3,932.20", "P55"),
    "sixty-percent-slice": ("60.00%", "More tax will be due later"),
    "plan-couple-most-after-tax": ("the second person draws", "into ISA"),
    "timing-before-and-after-april-2027": ("inheritance tax", "6 April 2027"),
    "warnings-saves-and-withdraws": ("Not permitted", "Has a cost", "To check"),
}
"""What the page of each household of the first table says, by its file."""


@pytest.mark.parametrize(("household", "shows", "command", "file"), SHOWN, ids=lambda each: str(each)[-30:])
def test_a_household_shows_what_is_special(household: str, shows: str, command: str, file: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "service", command, file],
        cwd=TOP,
        env={**os.environ, "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    text = " ".join(done.stdout.split())
    assert [words for words in SAID[Path(file).stem] if words not in text] == []


def test_the_first_table_has_a_household_of_each_kind() -> None:
    assert {Path(file).stem for *_, file in SHOWN} == set(SAID)


def test_the_advice_on_retries_repeats_a_post() -> None:
    (block,) = of("python")
    call = ast.parse(block.text, mode="eval").body
    assert isinstance(call, ast.Call)
    assert ast.unparse(call.func) == "Retry"
    retry = Retry(**{str(given.arg): ast.literal_eval(given.value) for given in call.keywords})
    assert retry.is_retry("POST", 503, has_retry_after=True)
    assert not Retry(total=5, status_forcelist=[502, 504]).is_retry("POST", 502)
    assert retry.is_retry("POST", 502)
    assert not retry.is_retry("POST", 422)


@pytest.mark.parametrize(
    ("shown", "real"),
    [
        ('{"a": 1}', {"a": 1, "b": 2}),
        ('{"a": 1, ...}', {"a": 2, "b": 2}),
        ('{"a": 1, ...}', {"b": 2}),
        ('{"a": [1]}', {"a": [1, 2]}),
        ('{"a": [1, ...]}', {"a": [2, 1]}),
        ('{"a": "one ..."}', {"a": "two three"}),
        ('{"a": 1}', {"a": True}),
        ('{"a": {"b": 1, ...}, ...}', {"a": {"b": 2}, "c": 1}),
    ],
)
def test_a_difference_would_be_noticed(shown: str, real: Any) -> None:
    assert list(differences(read(shown), real)) != []


@pytest.mark.parametrize(
    ("shown", "real"),
    [
        ('{"a": 1, ...}', {"a": 1, "b": 2}),
        ('{"a": {...}, "b": [...], ...}', {"a": {"x": 1}, "b": [1, 2], "c": 3}),
        ('{"a": [{"b": 1, ...}, ...]}', {"a": [{"b": 1, "c": 2}, {"d": 4}]}),
        ('{"a": "one ..."}', {"a": "one two"}),
        ('{"a": "...", ...}', {"a": "anything", "b": "{"}),
    ],
)
def test_what_is_left_out_is_no_difference(shown: str, real: Any) -> None:
    assert list(differences(read(shown), real)) == []
