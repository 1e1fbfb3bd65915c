"""Every text that can leave the service: no sentence over 25 words, and nothing of how a figure is known.

Once as it stands in the code, whether any request brings it or not; and once as answers tell it, of many clients and requests,
with everything that can be included. Warnings, figures and notices have tests of their own besides (`warnings/test_words.py`).
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pytest

import service
from service import create_app
from service.settings import Settings
from tests import invented_requests as invented
from tests.planning.warnings.test_words import (
    HIGHEST_GRADE_ON_AVERAGE,
    MOST_WORDS,
    MOST_WORDS_ON_AVERAGE,
    OURS,
    grade,
    sentences,
    wrong_with,
)
from tests.what_clients_hear import ASKED, clients
from tests.what_plans_say import clients as plans

SERVICE = Path(service.__file__).parent

FOR_THE_LOG = ("connections.py", "logs.py", "server.py", "start.py")
"""Files whose texts are for whoever runs the service."""

LEAST_WORDS = 4
"""So many words, at least, make a text of what is otherwise a name or a label."""


def in_the_code(path: Path) -> Iterator[str]:
    """The texts of a file, an X for what is filled in; docstrings are not among them."""
    tree = ast.parse(path.read_text("utf-8"))
    inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in ast.walk(node)}
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            # What is filled in right behind the end of a sentence is a sentence of its own, or nothing.
            whole = "".join(str(part.value) if isinstance(part, ast.Constant) else "X" for part in node.values)
            yield re.sub(r"\.X+", ".", whole)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inside:
            yield node.value


def docstrings(path: Path) -> set[str]:
    """The texts that stand by themselves as statements."""
    return {
        node.value.value
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and isinstance(node.value.value, str)
    }


def wrong_in_the_code(text: str) -> list[str]:
    """What no text may have in it, wherever it stands."""
    found = [words for words in OURS if words in text.lower()]
    return found + [one for one in sentences(text) if len(one.split()) > MOST_WORDS]


@pytest.mark.parametrize(
    "path",
    [path for path in sorted(SERVICE.rglob("*.py")) if path.name not in FOR_THE_LOG],
    ids=lambda path: str(path.relative_to(SERVICE)),
)
def test_no_text_in_the_code_is_long_or_says_how_it_is_known(path: Path) -> None:
    of_its_own = docstrings(path)
    texts = [text for text in in_the_code(path) if text not in of_its_own and len(text.split()) >= LEAST_WORDS]
    # A style sheet is no text.
    assert [(text, wrong) for text in texts if "{" not in text and (wrong := wrong_in_the_code(text))] == []


NOT_FOR_READING = ("pointer", "sources", "source", "section", "name", "$schema", "values", "type", "rule")
"""Keys of an answer under which no sentence stands."""


def texts_of(node: Any) -> Iterator[str]:
    """The sentences of an answer."""
    if isinstance(node, dict):
        for key, value in node.items():
            if key not in NOT_FOR_READING:
                yield from texts_of(value)
    elif isinstance(node, list):
        for value in node:
            yield from texts_of(value)
    elif isinstance(node, str) and node.endswith(".") and len(node.split()) >= LEAST_WORDS:
        yield node


EACH = 12
"""So many invented requests of each operation."""

EXAMPLES = SERVICE.parent / "examples" / "requests"


def requests() -> Iterator[tuple[str, dict[str, Any]]]:
    """The invented clients, some plans, the examples, and requests made at random, with everything that can be included."""
    quote, plan = "/v1/withdrawal-tax?include=working,charts", "/v1/allowance-schedule?include=steps,charts"
    timing = "/v1/lump-sum-timing?include=charts"
    for one in clients():
        for name, path in ASKED.items():
            if name in one:
                yield quote if name == "withdrawal_tax" else path, {"household": one["household"], **one[name]}
    for one in plans()[::6]:
        yield plan, {key: value for key, value in one.items() if key != "who"}
    for example in sorted(EXAMPLES.glob("*.json")):
        body = json.loads(example.read_text("utf-8"))
        of = {"end_date": plan, "to_age": timing, "withdrawals": "/v1/warnings", "withdrawal": quote}
        yield next(path for key, path in of.items() if key in body), body
    random = Random(20_261_127)
    for _ in range(EACH):
        yield quote, invented.withdrawal(random)
        yield "/v1/warnings", invented.warnings(random)
        yield plan, invented.plan(random) | {"aim": {"goal": random.choice(invented.PLAIN_AIMS)}}
    for _ in range(EACH // 2):
        yield timing, invented.timing(random)


@cache
def answered() -> tuple[str, ...]:
    """Every text of the answers."""
    client = create_app(Settings.for_tests()).test_client()
    told: set[str] = set()
    for path, body in requests():
        reply = client.post(path, json=body)
        if reply.status_code == 200:
            told.update(texts_of(reply.get_json()))
    return tuple(sorted(text for text in told if "`" not in text))


def test_what_answers_say_can_be_read() -> None:
    """A text with a name of the interface between back ticks is for whoever wrote the request."""
    texts = answered()
    assert len(texts) > 1_000
    assert [(text, wrong) for text in texts if (wrong := wrong_with(text))] == []


def test_the_usual_sentence_of_an_answer_is_short_and_easy() -> None:
    lengths = [len(sentence.split()) for text in answered() for sentence in sentences(text)]
    assert sum(lengths) / len(lengths) < MOST_WORDS_ON_AVERAGE
    grades = [grade(text) for text in answered()]
    assert sum(grades) / len(grades) < HIGHEST_GRADE_ON_AVERAGE


def test_every_operation_is_read() -> None:
    """Texts that only one part of the service makes are among those read: the words they begin with are that part's own."""
    texts = answered()
    for begins in ("Income less allowances.", "With this withdrawal,", "In 2026-27, you draw"):
        assert any(text.startswith(begins) for text in texts), begins


@pytest.mark.parametrize("text", ["This is from memory.", "One word and " * 9 + "the end."])
def test_a_text_that_must_not_stand_in_the_code_is_found(text: str) -> None:
    assert wrong_in_the_code(text)
