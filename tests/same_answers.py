"""Two checkouts of the service asked the same questions: are the answers the same, byte for byte?

    python -m tests.same_answers OLD_CHECKOUT NEW_CHECKOUT [--small]

Run it from the top of a checkout, with the service's and the tests' dependencies installed. Both checkouts are asked, each in
a process of its own, everything in examples/requests and in the request examples of the agreement of OLD_CHECKOUT, and invented
requests of every calculation, singly and in bulk (see ``invented_requests``), some of them with faults. Status, headers and
body are compared byte for byte, the lines of a bulk answer one by one. The versions of the rules alone are masked, since they
follow from the bytes of files.

The documents that list figures may grow: there it is told whether the new one differs, has only more, or is the same. The
agreement and its page are not compared.

``--small`` asks a twentieth of the invented requests; the examples are all asked. Exit status: 0 when all answers are the
same and nothing that was told in a document is missing; 1 for any difference; 2 when nothing can be said.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import yaml

from tests import invented_requests as invented

JSON, NDJSON = "application/json", "application/x-ndjson"
WITHDRAWAL, PLAN = "/v1/withdrawal-tax", "/v1/allowance-schedule"
TIMING, WARNINGS = "/v1/lump-sum-timing", "/v1/warnings"
LEAST_ANSWERED = 0.85
_SEED = "the same answers"
_SMALL = 20
_DRIVER = Path(__file__).with_name("answer_requests.py")
_PREFIXES = {"plan-": PLAN, "timing-": TIMING, "warnings-": WARNINGS}
_GIVEN = ("examples", "agreement")  # sets with faults that are meant to be there
_TOLD = 300  # characters of each side of a difference


@dataclass(frozen=True, slots=True)
class Asked:
    """One request. ``group`` is the set it is counted in."""

    group: str
    path: str
    body: str = ""
    query: str = ""
    method: str = "POST"
    media_type: str = JSON

    def told(self) -> dict[str, str]:
        """The request as the program that answers it takes it."""
        return {name: getattr(self, name) for name in ("method", "path", "query", "body", "media_type")}


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer with the versions masked, and the processor seconds it took."""

    status: int
    headers: tuple[str, ...]
    body: str
    seconds: float

    def same_as(self, other: Answer) -> bool:
        return (self.status, self.headers, self.body) == (other.status, other.headers, other.body)


@dataclass(slots=True)
class Found:
    """What became of a set; each line of a bulk request counts."""

    requests: int = 0
    different: int = 0
    statuses: Counter[int] = field(default_factory=Counter)
    old_seconds: float = 0.0
    new_seconds: float = 0.0
    first: str = ""

    @property
    def answered(self) -> float:
        """The share of requests that were not refused."""
        return self.statuses[200] / max(1, self.requests)


# What is asked


def questions(old: Path, small: bool) -> Iterator[Asked]:
    """Everything that is asked of both but the documents, in an order that never changes."""
    yield from _examples(old)
    yield from _agreement(old)
    share = _SMALL if small else 1
    yield from _singly("quotes", WITHDRAWAL, invented.withdrawal, 2_000 // share, query="include=working,curve")
    yield from _singly("plans", PLAN, invented.plan, 300 // min(share, 10))
    yield from _singly("lump sum timing", TIMING, invented.timing, max(5, 50 // share))
    yield from _singly("warnings", WARNINGS, invented.warnings, 2_000 // share)
    chunk = 5_000 // share
    for number in range(4):
        query = "include=working,curve" if number == 3 else ""
        yield _bulk("bulk withdrawals", WITHDRAWAL, invented.withdrawal, chunk, query=query, part=number)
    yield _bulk("bulk warnings", WARNINGS, invented.warnings, 1_000 // share)
    yield _bulk("bulk plans", PLAN, invented.plan, 20)  # of fewer, one refused too many is chance


def documents(old: Path) -> Iterator[Asked]:
    """The documents that tell figures and warnings."""
    paths = [
        "/v1/warning-codes",
        "/v1/tax-years",
        "/health/live",
        "/health/ready",
        "/v1/tax-years/1999-00",
        "/v1/nothing",
    ]
    paths += [f"/v1/tax-years/{file.stem}" for file in sorted((old / "service" / "figures").glob("????-??.toml"))]
    for path in paths:
        yield Asked("documents", path, method="GET", media_type="")


def _examples(old: Path) -> Iterator[Asked]:
    for file in sorted((old / "examples" / "requests").iterdir()):
        body = file.read_text(encoding="utf-8")
        if file.suffix == ".ndjson":
            yield Asked("examples", f"/v1/bulk{WITHDRAWAL[3:]}", body, media_type=NDJSON)
            continue
        path = next((path for prefix, path in _PREFIXES.items() if file.name.startswith(prefix)), WITHDRAWAL)
        yield Asked("examples", path, body)
        if path == WITHDRAWAL:
            yield Asked("examples", path, body, "include=working,curve")


def _agreement(old: Path) -> Iterator[Asked]:
    """Every request example of the agreement."""
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    with (old / "openapi" / "openapi.yaml").open("rb") as text:
        agreement = yaml.load(text, loader)
    for template, item in agreement["paths"].items():
        content = item.get("post", {}).get("requestBody", {}).get("content", {})
        for media_type, media in content.items():
            for example in media.get("examples", {}).values():
                value = example["value"]
                body = value if isinstance(value, str) else json.dumps(value)
                path = template.replace("{operation}", "withdrawal-tax")
                yield Asked("agreement", path, body, media_type=media_type)


def _singly(
    group: str, path: str, make: Callable[[Random], invented.JsonObject], count: int, query: str = ""
) -> Iterator[Asked]:
    random = Random(f"{_SEED}: {group}")
    for _ in range(count):
        yield Asked(group, path, _text(random, make), query)


def _bulk(
    group: str, path: str, make: Callable[[Random], invented.JsonObject], count: int, query: str = "", part: int = 0
) -> Asked:
    """One bulk request of so many records, some of which cannot even be read as records."""
    random = Random(f"{_SEED}: {group} {part}")
    lines = []
    for number in range(count):
        line = f'{{"id": "client-{part}-{number:05d}", "request": {_text(random, make) or "null"}}}'
        lines.append(random.choice((line[:40], line.replace("request", "question"), "[]")) if _seldom(random) else line)
    return Asked(group, f"/v1/bulk{path[3:]}", "\n".join(lines) + "\n", query, media_type=NDJSON)


def _text(random: Random, make: Callable[[Random], invented.JsonObject]) -> str:
    """An invented request as text, one in twenty-five with a fault."""
    request = make(random)
    return invented.spoiled(random, request) if random.random() < 0.04 else json.dumps(request)


def _seldom(random: Random) -> bool:
    return random.random() < 0.01


# How they are answered


def answers(checkouts: tuple[Path, Path], asked: list[Asked], folder: Path) -> tuple[list[Answer], list[Answer]]:
    """What the two checkouts answer, both at work at the same time."""
    requests = folder / "requests.ndjson"
    requests.write_text("".join(json.dumps(each.told()) + "\n" for each in asked), encoding="utf-8")
    running = [
        started(checkout, "answers", requests, folder / f"answers-{number}.ndjson", stdout=subprocess.DEVNULL)
        for number, checkout in enumerate(checkouts)
    ]
    said = [process.communicate()[1] for process in running]
    for checkout, process, errors in zip(checkouts, running, said, strict=True):
        if process.returncode != 0:
            sys.stderr.write(f"{checkout} could not answer:\n{errors[-3_000:]}\n")
            raise SystemExit(2)
    old, new = (_read(folder / f"answers-{number}.ndjson") for number in (0, 1))
    return old, new


def started(checkout: Path, *arguments: str | Path, stdout: int) -> subprocess.Popen[str]:
    """The program that answers requests, under way with the service of a checkout."""
    return subprocess.Popen(
        [sys.executable, "-P", str(_DRIVER), *map(str, arguments)],
        cwd=checkout,
        env={**os.environ, "PYTHONPATH": str(checkout), "PYTHONDONTWRITEBYTECODE": "1"},
        stdin=subprocess.PIPE,
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
    )


def _read(file: Path) -> list[Answer]:
    """The answers of a checkout, with its versions masked."""
    found = []
    with file.open(encoding="utf-8") as lines:
        versions = json.loads(next(lines))

        def masked(text: str) -> str:
            for version in versions:
                text = text.replace(version, "(version)")
            return text

        for line in lines:
            one = json.loads(line)
            # Each answer has an id of its own.
            headers = tuple(masked(header) for header in one["headers"] if not header.startswith("X-Request-ID"))
            found.append(Answer(one["status"], headers, masked(one["body"]), one["seconds"]))
    return found


# What is compared


def compared(asked: list[Asked], old: list[Answer], new: list[Answer]) -> dict[str, Found]:
    """What became of each set."""
    sets: dict[str, Found] = {}
    for each, before, after in zip(asked, old, new, strict=True):
        found = sets.setdefault(each.group, Found())
        found.old_seconds += before.seconds
        found.new_seconds += after.seconds
        for request, one, other in _pairs(each, before, after):
            found.requests += 1
            found.statuses[one.status] += 1
            if not one.same_as(other):
                found.different += 1
                found.first = found.first or _difference(request, one, other)
    return sets


def _pairs(asked: Asked, old: Answer, new: Answer) -> Iterator[tuple[Asked, Answer, Answer]]:
    """Request and answers; those of a bulk line by line where they have as many lines as were sent and one more."""
    sent, before, after = asked.body.splitlines(), old.body.splitlines(), new.body.splitlines()
    frame = (old.status, old.headers, before[-1:]) == (new.status, new.headers, after[-1:])
    if asked.media_type != NDJSON or not frame or not len(sent) + 1 == len(before) == len(after):
        yield asked, old, new
        return
    for request, *pair in zip(sent, before, after, strict=False):
        one, other = (Answer(json.loads(line)["status"], (), line, 0.0) for line in pair)
        yield Asked(asked.group, asked.path, request, asked.query, media_type=NDJSON), one, other


def _difference(asked: Asked, old: Answer, new: Answer) -> str:
    """The request, and both sides from a little before the place where they part."""
    query = f"?{asked.query}" if asked.query else ""
    told = [f"    {asked.method} {asked.path}{query}", f"    {asked.body.strip()}"]
    if (old.status, old.headers) != (new.status, new.headers):
        told += [f"    old: {old.status} {old.headers}", f"    new: {new.status} {new.headers}"]
    if old.body != new.body:
        both = zip(old.body, new.body, strict=False)
        place = next((k for k, (a, b) in enumerate(both) if a != b), min(len(old.body), len(new.body)))
        begin = max(0, place - _TOLD // 3)
        told.append(f"    bodies part at byte {place}")
        for name, text in (("old", old.body), ("new", new.body)):
            part = text[begin : begin + _TOLD].encode("latin-1").decode(errors="replace")
            told.append(f"    {name}: {part}")
    return "\n".join(told)


def has_all(old: Any, new: Any) -> bool:
    """Whether everything in an old document is in a new one as it was, which may have more keys and more entries."""
    if isinstance(old, dict) and isinstance(new, dict):
        return all(key in new and has_all(value, new[key]) for key, value in old.items())
    if isinstance(old, list) and isinstance(new, list):
        left = iter(new)  # in the same order, with others between
        return all(any(has_all(value, other) for other in left) for value in old)
    return type(old) is type(new) and bool(old == new)


def main() -> int:
    """Ask both, compare, print; returns the exit status."""
    parser = argparse.ArgumentParser(prog="python -m tests.same_answers", description="Compare two checkouts' answers.")
    parser.add_argument("old", type=Path)
    parser.add_argument("new", type=Path)
    parser.add_argument("--small", action="store_true", help="a twentieth of the invented requests")
    arguments = parser.parse_args()
    checkouts = (arguments.old.resolve(), arguments.new.resolve())
    asked = list(questions(checkouts[0], arguments.small))
    apart = list(documents(checkouts[0]))
    with tempfile.TemporaryDirectory() as folder:
        old, new = answers(checkouts, [*asked, *apart], Path(folder))
    sets = compared(asked, old[: len(asked)], new[: len(asked)])
    alike = [_say(name, found) for name, found in sets.items()]
    sys.stdout.write("\nDocuments\n")
    alike += [_say_document(*three) for three in zip(apart, old[len(asked) :], new[len(asked) :], strict=True)]
    too_few = [name for name, found in sets.items() if name not in _GIVEN and found.answered < LEAST_ANSWERED]
    if too_few:
        sys.stdout.write(f"\nFewer than {LEAST_ANSWERED:.0%} are answered with 200: {', '.join(too_few)}.\n")
        return 2
    sys.stdout.write("\nThe answers are the same.\n" if all(alike) else "\nTHE ANSWERS DIFFER.\n")
    return 0 if all(alike) else 1


def _say(name: str, found: Found) -> bool:
    statuses = ", ".join(f"{status}: {count:,}" for status, count in sorted(found.statuses.items()))
    sys.stdout.write(
        f"{name:<17} requests {found.requests:>6,}  identical {found.requests - found.different:>6,}  "
        f"different {found.different:>5,}  ({statuses}; {found.old_seconds:.1f} s and {found.new_seconds:.1f} s)\n"
    )
    if found.first:
        sys.stdout.write(f"  The first difference:\n{found.first}\n")
    return not found.different


def _say_document(asked: Asked, old: Answer, new: Answer) -> bool:
    if old.same_as(new):
        verdict, alike = "identical", True
    elif (old.status, new.status) == (200, 200) and has_all(json.loads(old.body), json.loads(new.body)):
        verdict, alike = "has more than before, and all of that", True
    else:
        verdict, alike = f"DIFFERENT\n{_difference(asked, old, new)}", False
    sys.stdout.write(f"GET {asked.path:<24} {verdict}\n")
    return alike


if __name__ == "__main__":
    sys.exit(main())
