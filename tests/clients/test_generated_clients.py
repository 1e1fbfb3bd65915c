"""Clients that are generated from the agreement: they make every call, lose nothing of an answer, and read later answers."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from . import tools
from .calls import AGREEMENT, CALLS, JSON, Call
from .serving import LATER_KEY, LATER_PROBLEM, LATER_WARNING, LATER_YEAR, Reply, later

DRIVERS = Path(__file__).with_name("drivers")
PACKAGE = "made_client"
NOT_MADE = {"POST /v1/bulk/{operation}", "GET /openapi.yaml", "GET /docs/{asset}"}
"""What openapi-python-client leaves out, or the answer of it: it knows JSON, text and forms only."""

Client = Callable[[str], list[dict[str, Any]]]
"""Makes all calls at a URL; each answer is {status, answer}."""


@pytest.fixture(scope="module", params=["openapi-python-client", "openapi-generator", "openapi-fetch"])
def client(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Client:
    """A client of each sort."""
    folder = tmp_path_factory.mktemp(request.param)
    made = {
        "openapi-python-client": attrs_client,
        "openapi-generator": pydantic_client,
        "openapi-fetch": typescript_client,
    }
    found: Client = made[request.param](folder)
    return found


def attrs_client(folder: Path) -> Client:
    """A client in Python, with attrs and httpx."""
    settings = folder / "settings.yaml"
    settings.write_text("post_hooks: []\n", "utf-8")
    said = run(
        tools.pip_program("openapi-python-client"),
        *("generate", "--path", str(AGREEMENT), "--meta", "none"),
        *("--output-path", str(folder / PACKAGE), "--config", str(settings)),
    )
    assert set(re.findall(r"WARNING parsing (.+) within", said.stdout + said.stderr)) == NOT_MADE
    return python_client(folder, "attrs_client.py")


def pydantic_client(folder: Path) -> Client:
    """A client in Python, with pydantic and urllib3."""
    run(
        tools.pip_program("openapi-generator-cli"),
        *("generate", "-g", "python", "-i", str(AGREEMENT), "-o", str(folder), "--package-name", PACKAGE),
    )
    return python_client(folder, "pydantic_client.py")


def python_client(folder: Path, driver: str) -> Client:
    """What a driver does with a package that was made."""
    asked = json.dumps([call.as_json() for call in CALLS])
    program = [tools.pip_program("python"), str(DRIVERS / driver), str(folder), PACKAGE]
    return lambda url: json.loads(run(*program, url, given=asked).stdout)


def typescript_client(folder: Path) -> Client:
    """A client in TypeScript: the types of the agreement, and fetch. The calls are compiled as they would be written."""
    compiler, node = tools.npm_program("tsc"), "node"
    (folder / "node_modules").symlink_to(tools.NPM / "node_modules")
    (folder / "package.json").write_text('{"type": "module"}', "utf-8")
    run(tools.npm_program("openapi-typescript"), str(AGREEMENT), "--output", str(folder / "agreement.ts"))
    written = [
        'import createClient from "openapi-fetch";',
        'import type { paths } from "./agreement.js";',
        "declare const process: { argv: string[] };",
        "const client = createClient<paths>({ baseUrl: process.argv[2]! });",
        "const answers: unknown[] = [];",
        *(typescript_call(call) for call in CALLS),
        "console.log(JSON.stringify(answers));",
    ]
    (folder / "calls.ts").write_text("\n".join(written), "utf-8")
    run(compiler, *TYPESCRIPT, "--outDir", str(folder), str(folder / "calls.ts"))
    return lambda url: json.loads(run(node, str(folder / "calls.js"), url).stdout)


TYPESCRIPT = (
    *("--strict", "--noUncheckedIndexedAccess", "--skipLibCheck"),
    *("--target", "es2022", "--module", "nodenext"),
)


def typescript_call(call: Call) -> str:
    """A call as a block of TypeScript, its body as a literal."""
    parameters = {"path": call.in_path, "query": call.query}
    given = {"params": {place: names for place, names in parameters.items() if names}, "body": call.body}
    written = json.dumps({key: value for key, value in given.items() if value}, ensure_ascii=False)
    return (
        f"{{ const {{ data, error, response }} = await client.{call.method.upper()}({json.dumps(call.path)}, {written});"
        " answers.push({ status: response.status, answer: data ?? error }); }"
    )


def run(*command: str, given: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run a program to its end; fail with all that it printed if it fails."""
    done = subprocess.run(
        command, input=given, capture_output=True, text=True, timeout=240, check=False, env=tools.environment()
    )
    assert done.returncode == 0, f"{command[0]}:\n{(done.stdout + done.stderr)[-6000:]}"
    return done


def known(document: Any) -> Any:
    """A document without what a client need not hold: keys added later, and nulls, which some write for what is not there."""
    if isinstance(document, dict):
        return {key: known(value) for key, value in document.items() if value is not None and key != LATER_KEY}
    return [known(item) for item in document] if isinstance(document, list) else document


def test_every_call_is_answered_and_nothing_of_the_answer_is_lost(
    client: Client, url: str, answers: list[Reply]
) -> None:
    assert {200, 404, 422} == {reply.status for reply in answers}
    got = client(url)
    assert [one["status"] for one in got] == [reply.status for reply in answers]
    for call, one, reply in zip(CALLS, got, answers, strict=True):
        assert known(one["answer"]) == known(json.loads(reply.body)), call.name


def test_answers_of_a_later_version_are_read(client: Client, later_url: str, answers: list[Reply]) -> None:
    got = client(later_url)
    assert [one["status"] for one in got] == [reply.status for reply in answers]
    for call, one, reply in zip(CALLS, got, answers, strict=True):
        assert known(one["answer"]) == known(later(json.loads(reply.body))), call.name
    text = json.dumps([one["answer"] for one in got])
    assert all(word in text for word in (LATER_YEAR, LATER_WARNING, LATER_PROBLEM))


LATER_WORDS = [
    ["/v1/tax-years", "get", "responses", "200", "content", JSON, "tax_years", 0, "tax_year"],
    ["/v1/warnings", "post", "responses", "200", "content", JSON, "warnings", 0, "code"],
    ["/v1/warnings", "post", "responses", "422", "content", "application/problem+json", "code"],
]
"""Where a later version may have words that no type of now knows."""


def test_types_of_typescript_fit_the_answers_and_later_words(tmp_path: Path, answers: list[Reply]) -> None:
    """Each answer is compiled as a literal of its type, which finds keys that the agreement does not name, too."""
    compiler = tools.npm_program("tsc")
    run(tools.npm_program("openapi-typescript"), str(AGREEMENT), "--output", str(tmp_path / "agreement.ts"))
    values: list[tuple[list[Any], str]] = [
        (
            [call.path, call.method, "responses", str(reply.status), "content", reply.headers["Content-Type"]],
            reply.body.decode(),
        )
        for call, reply in zip(CALLS, answers, strict=True)
    ]
    values += [(place, '"a_word_that_comes_later"') for place in LATER_WORDS]
    written = ['import type { paths } from "./agreement.js";']
    for number, (place, value) in enumerate(values):
        kind = "paths" + "".join(f"[{json.dumps(part)}]" for part in place)
        written.append(f"export const value{number}: {kind} = {value};")
    (tmp_path / "values.ts").write_text("\n".join(written), "utf-8")
    run(compiler, *TYPESCRIPT, "--noEmit", str(tmp_path / "values.ts"))
