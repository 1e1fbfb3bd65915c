"""The comparison of two checkouts notices what differs, and nothing else."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.same_answers import Answer, Asked, Found, answers, compared, documents, has_all, questions

TOP = Path(__file__).parents[1]
NDJSON = "application/x-ndjson"


@pytest.fixture(scope="module")
def asked() -> list[Asked]:
    """Some of all that is asked; each set has something of it."""
    every = list(questions(TOP, small=True))
    seen: Counter[str] = Counter()
    few = []
    for each in every:
        seen[each.group] += 1
        if seen[each.group] <= 4:
            few.append(each)
    assert len(seen) == 9
    return few


@pytest.fixture
def changed(tmp_path: Path) -> Callable[[str, str, str], Path]:
    """Makes a copy of the service in which one text of one file is another."""

    def make(file: str, old: str, new: str) -> Path:
        for folder in ("service", "openapi"):
            shutil.copytree(TOP / folder, tmp_path / folder, ignore=shutil.ignore_patterns("__pycache__"))
        place = tmp_path / file
        text = place.read_text(encoding="utf-8")
        assert text.count(old) == 1
        place.write_text(text.replace(old, new), encoding="utf-8")
        return tmp_path

    return make


def found_in(asked: list[Asked], other: Path, folder: Path) -> dict[str, Found]:
    """What became of each set, with this checkout as the old one."""
    folder.mkdir()
    return compared(asked, *answers((TOP, other), asked, folder))


PERSONAL_ALLOWANCE = "[income_tax.personal_allowance]\n"
SENTENCE = "Check with the pension scheme"
FIGURES = "service/figures/2026-27.toml"


def test_other_bytes_of_a_file_are_no_difference(
    asked: list[Asked], changed: Callable[[str, str, str], Path], tmp_path: Path
) -> None:
    other = changed(FIGURES, PERSONAL_ALLOWANCE, f"# A remark.\n{PERSONAL_ALLOWANCE}")
    sets = found_in(asked, other, tmp_path / "answers")
    assert {name: found.different for name, found in sets.items()} == dict.fromkeys(sets, 0)
    assert sum(found.requests for found in sets.values()) > 1_000
    for name in ("bulk withdrawals", "bulk warnings"):
        assert 0.85 < sets[name].answered <= 1
    assert sets["bulk withdrawals"].answered < 1


def test_a_word_that_differs_is_found(
    asked: list[Asked], changed: Callable[[str, str, str], Path], tmp_path: Path
) -> None:
    """A word of the sentence that every answer carries."""
    files = [path for path in (TOP / "service" / "planning").rglob("*.py") if SENTENCE in path.read_text("utf-8")]
    [file] = [path.relative_to(TOP).as_posix() for path in files]
    other = changed(file, SENTENCE, SENTENCE.upper())
    sets = found_in(asked, other, tmp_path / "answers")
    for name, found in sets.items():
        answered = found.statuses[200]
        assert found.different == answered > 0, name
        assert SENTENCE in found.first
        assert SENTENCE.upper() in found.first


def answer(body: str, status: int = 200, *headers: str) -> Answer:
    return Answer(status, headers, body, 0.0)


@pytest.mark.parametrize("other", [answer("{}", 201), answer("{} "), answer("{}", 200, "ETag: 1")])
def test_status_headers_and_body_count(other: Answer) -> None:
    question = Asked("quotes", "/v1/withdrawal-tax", "{}")
    assert compared([question], [answer("{}")], [answer("{}")])["quotes"].different == 0
    found = compared([question], [answer("{}")], [other])["quotes"]
    assert (found.requests, found.different) == (1, 1)
    assert "POST /v1/withdrawal-tax" in found.first


def test_the_lines_of_a_bulk_answer_count_one_by_one() -> None:
    lines = ['{"id":1,"status":200}\n', '{"id":2,"status":422}\n', '{"end":true}\n']
    question = Asked("bulk", "/v1/bulk/warnings", "first\nsecond\n", media_type=NDJSON)
    old = answer("".join(lines))
    found = compared([question], [old], [answer("".join([lines[0], lines[1].replace("2,", "3,"), lines[2]]))])["bulk"]
    assert (found.requests, found.different, found.statuses) == (2, 1, {200: 1, 422: 1})
    assert "second" in found.first
    assert "first" not in found.first.split("\n")[1]
    for broken in (lines[:2], lines[1:], [*lines[:2], '{"end":false}\n']):
        assert compared([question], [old], [answer("".join(broken))])["bulk"].different == 1


def test_a_document_may_grow_but_not_change() -> None:
    old = {"figures": [{"name": "a", "value": 1}, {"name": "b", "value": 2}]}
    more = {
        "figures": [{"name": "a", "value": 1}, {"name": "z", "value": 0}, {"name": "b", "value": 2, "note": "x"}],
        "n": 1,
    }
    assert has_all(old, more)
    assert not has_all(more, old)
    assert not has_all(old, {"figures": [{"name": "b", "value": 2}, {"name": "a", "value": 1}]})
    assert not has_all(old, {"figures": [{"name": "a", "value": 1}, {"name": "b", "value": 2.0}]})
    assert not has_all({"open": True}, {"open": 1})


def test_the_documents_are_there(tmp_path: Path) -> None:
    asked = list(documents(TOP))
    old, new = answers((TOP, TOP), asked, tmp_path)
    assert [one.same_as(other) for one, other in zip(old, new, strict=True)] == [True] * len(asked)
    assert Counter(one.status for one in old) == {200: len(asked) - 2, 404: 2}


def test_a_folder_without_a_service_ends_it(
    asked: list[Asked], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        answers((TOP, tmp_path), asked[:1], tmp_path)
    assert ended.value.code == 2
    assert f"{tmp_path} could not answer" in capsys.readouterr().err
