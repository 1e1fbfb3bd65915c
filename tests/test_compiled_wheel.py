"""The compiled wheel: built, installed, and asked the same as the source it is made of."""

from __future__ import annotations

import json
import re
import runpy
import shlex
import shutil
import subprocess
import sys
import sysconfig
import tomllib
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tests.benchmarks import books
from tests.contract.full_bodies import QUESTIONS
from tests.invented_requests import plan, timing, warnings, withdrawal

TOP = Path(__file__).parents[1]
PROGRAM = TOP / "docker" / "compiled_wheel.py"
REQUESTS = sorted((TOP / "examples" / "requests").glob("*.json"))
OPERATIONS = ("withdrawal-tax", "allowance-schedule", "lump-sum-timing", "warnings")
COMPILER = shlex.split(sysconfig.get_config_var("CC") or "cc")[0]
INVENTED = ((withdrawal, 200), (plan, 8), (timing, 15), (warnings, 100))
"""What makes requests of ``QUESTIONS``, and how many of each."""
CAN_COMPILE = shutil.which(COMPILER) is not None and Path(sysconfig.get_path("include"), "Python.h").is_file()

ASK = """
import sys, service
from pathlib import Path
from service.law import set_off
from service.planning.warnings import registry
from service.settings import Settings

folder = Path(sys.argv[1])
for body in sorted(folder.glob("*.ndjson")):
    print(body.name)
    for part in service.calculator(body.stem.partition(".")[0]).answers(body.read_bytes()):
        sys.stdout.buffer.write(part)
client = service.create_app(Settings.for_tests()).test_client()
for line in (folder / "withdrawal-tax.good.ndjson").read_bytes().splitlines()[:100]:
    request = line.partition(b'"request":')[2][:-1]
    sys.stdout.buffer.write(client.post(
        "/v1/withdrawal-tax?include=working,curve", data=request, content_type="application/json").data)
sys.stdout.flush()
for module in (service, set_off, registry):
    print(module.__file__, file=sys.stderr)
assert service.is_compiled() == (not set_off.__file__.endswith(".py"))
"""
"""Answers every body in a folder, named for its operation, then some records singly with all that can be included."""


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the compiled wheel installed in it. Not optimised, so that it is built sooner."""
    if not CAN_COMPILE:
        pytest.skip(f"the compiled wheel needs a C compiler ({COMPILER}) and the headers of Python")
    folder = tmp_path_factory.mktemp("compiled")
    subprocess.run([sys.executable, PROGRAM, "--no-isolation", "--level", "0", folder], check=True)
    (wheel,) = folder.glob("pension_to_isa-*-cp3*.whl")
    options = ["--quiet", "--no-deps", "--no-index", "--no-compile", "--target", folder / "installed"]
    subprocess.run([sys.executable, "-m", "pip", "install", *options, wheel], check=True)
    return folder / "installed"


def answers(code: Path, bodies: Path) -> tuple[bytes, list[Path]]:
    """All that the service in the folder ``code`` answers, and the files that three of its modules were loaded from."""
    told = subprocess.run(
        [sys.executable, "-P", "-c", ASK, bodies],
        cwd=bodies,
        env={"PYTHONPATH": str(code), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        check=True,
    )
    return told.stdout, [Path(line) for line in told.stderr.decode().splitlines()]


def test_it_answers_byte_for_byte_as_the_source_does(installed: Path, tmp_path: Path) -> None:
    (tmp_path / "withdrawal-tax.good.ndjson").write_bytes(books.lines(1_000, seed=3))
    (tmp_path / "withdrawal-tax.bad.ndjson").write_bytes(books.bad_lines(200))
    # Every example is asked of every operation, so that each also refuses some.
    lines = [json.dumps({"id": path.stem, "request": json.loads(path.read_bytes())}).encode() for path in REQUESTS]
    for operation in OPERATIONS:
        (tmp_path / f"{operation}.examples.ndjson").write_bytes(b"\n".join(lines))
    # Records with all that can be said, and invented ones: several pensions, dated incomes, charges.
    for question, (invented, count) in zip(QUESTIONS, INVENTED, strict=True):
        bodies = [question.full, *(invented(Random(seed)) for seed in range(count))]
        asked = [json.dumps({"id": k, "request": body}).encode() for k, body in enumerate(bodies)]
        (tmp_path / f"{question.url.rpartition('/')[2]}.invented.ndjson").write_bytes(b"\n".join(asked))
    expected, from_source = answers(TOP, tmp_path)
    found, from_wheel = answers(installed, tmp_path)
    assert [path.suffix for path in from_source] == [".py", ".py", ".py"]
    assert [path.suffix for path in from_wheel] == [".py", ".so", ".so"]
    assert all(path.is_relative_to(installed) for path in from_wheel)
    assert expected.count(b'"status":200') > 1_000
    # The same bytes name the same version of the rules, wherever the code comes from.
    assert re.findall(rb'"rules":{"version":"(r[0-9a-f]{12})"', found)
    assert found == expected


def test_its_sources_are_those_of_the_checkout(installed: Path) -> None:
    """The version of the rules follows from them; those that are compiled otherwise stand in the wheel as they are written."""
    sources = [path.relative_to(TOP) for path in (TOP / "service").rglob("*.py")]
    assert [name for name in sources if (installed / name).read_bytes() != (TOP / name).read_bytes()] == []


def test_its_command_starts_the_compiled_code_from_the_checkout_too(installed: Path) -> None:
    process = subprocess.Popen(
        [installed / "bin" / "pension-to-isa"],
        cwd=TOP,
        env={"PYTHONPATH": str(installed), "SERVICE_BIND": "127.0.0.1:0", "SERVICE_WORKERS": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        assert process.stdout is not None
        assert process.stdout.readline().endswith("code: compiled.\n")
    finally:
        process.terminate()
        process.communicate(timeout=20)


def test_every_module_of_the_inner_layers_is_compiled_but_those_named(installed: Path) -> None:
    compiled = {
        path.relative_to(installed).as_posix().partition(".")[0] + ".py" for path in installed.glob("service/**/*.so")
    }
    modules = {
        path.relative_to(TOP).as_posix()
        for layer in ("figures", "law", "planning")
        for path in (TOP / "service" / layer).rglob("*.py")
        if path.name != "__init__.py"
    }
    assert modules - compiled == {
        "service/figures/__main__.py",
        "service/law/value.py",
        "service/planning/optimiser/lp.py",
    }
    assert compiled - modules == {
        "service/schemas/quick.py",
        "service/schemas/warnings.py",
        "service/schemas/quote/answer.py",
        "service/schemas/units.py",
    }


A_MODULE = """
from __future__ import annotations
from service.law.value import Value
NONE = 0
class Point(Value, frozen=True):
    \"\"\"A place.\"\"\"

    across: int
    up: int = NONE
    names: tuple[str, ...] = ("here", "there")

    @property
    def both(self) -> int:
        return self.across + self.up

class Free:
    size: int = 1
"""


def test_a_plain_value_is_made_copied_compared_and_hashed_like_the_one_it_stands_for() -> None:
    made = {}
    for text in (A_MODULE, runpy.run_path(str(PROGRAM))["with_plain_values"](A_MODULE)):
        namespace: dict[str, Any] = {}
        exec(compile(text, "a module", "exec"), namespace)
        Point = namespace["Point"]
        point = Point(3, up=4)
        assert point == Point(across=3, up=4) != Point(3, 5)
        assert point != (3, 4, ("here", "there"))
        assert hash(point) == hash(Point(3, 4))
        with pytest.raises(TypeError):
            point._replace(down=1)
        with pytest.raises(TypeError):
            Point(up=1)
        copy = point._replace(across=5)
        made[text] = (
            point.both,
            point.names,
            copy.across,
            copy.up,
            copy.names,
            Point.__doc__,
            namespace["Free"]().size,
        )
    first, second = made.values()
    assert first == second == (7, ("here", "there"), 5, 4, ("here", "there"), "A place.", 1)
    assert "Value" not in list(made)[1]


def test_values_cannot_be_changed(installed: Path) -> None:
    """Neither as they stand in the source nor compiled."""
    change = (
        "from service.law.lump_sums import Payment\n"
        "payment = Payment(1, 0, 1)\n"
        "try:\n    payment.gross = 2\nexcept AttributeError:\n    print(payment.gross)"
    )
    for code in (TOP, installed):
        told = subprocess.run([sys.executable, "-P", "-c", change], env={"PYTHONPATH": str(code)}, capture_output=True)
        assert told.stdout == b"1\n", told.stderr


def test_the_checks_and_the_compiled_wheel_use_the_same_mypy() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))
    assert set(project["dependency-groups"]["compile"]) <= set(project["project"]["optional-dependencies"]["test"])
