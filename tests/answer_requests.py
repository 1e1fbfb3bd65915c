"""Answers prepared requests with the service of the folder it is run in.

    PYTHONPATH=CHECKOUT python answer_requests.py answers REQUESTS ANSWERS
    PYTHONPATH=CHECKOUT python answer_requests.py times TASKS

It stands alone: of a checkout it asks no more than ``create_app``, ``calculator`` and ``Settings.for_tests``, so it runs in any.

answers   REQUESTS has one JSON object a line, {method, path, query, body, media_type}. ANSWERS gets first the checkout's own
          versions of figures and rules, which follow from its files, and of the software, and then for each request {status,
          headers, body, seconds}: the body with each byte as the character of that number.
times     TASKS is a JSON object of tasks by name: {requests, repeat}, or {book, operation} for the body of a bulk request. Each
          line on standard input names one, and is answered by the seconds of processor time that it took, as a line.
"""

from __future__ import annotations

import gc
import io
import json
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from werkzeug.test import EnvironBuilder

import service
from service import calculator, create_app
from service.settings import Settings


def answers(requests: Path, noted: Path) -> None:
    """Answer requests one after the other and note the answers byte for byte."""
    client = create_app(Settings.for_tests()).test_client()
    told: list[Any] = [client.get(path).json for path in ("/v1/tax-years", "/v1/warning-codes", "/health/ready")]
    keys = ("version", "figures_version", "rules_version", "software_version")
    versions = sorted({one[key] for one in [*told, *told[0]["tax_years"]] for key in keys if key in one})
    with requests.open(encoding="utf-8") as lines, noted.open("w", encoding="utf-8") as out:
        out.write(json.dumps(versions) + "\n")
        for line in lines:
            out.write(json.dumps(_answer(client, json.loads(line))) + "\n")


def _answer(client: Any, asked: dict[str, str]) -> dict[str, Any]:
    begun = time.process_time()
    response = client.open(**_as_sent(asked))
    body = response.get_data()
    seconds = time.process_time() - begun
    headers = sorted(f"{name}: {value}" for name, value in response.headers if name not in ("Date", "Content-Length"))
    response.close()
    return {"status": response.status_code, "headers": headers, "body": body.decode("latin-1"), "seconds": seconds}


def _as_sent(asked: dict[str, str]) -> dict[str, Any]:
    return {
        "path": asked["path"],
        "method": asked["method"],
        "query_string": asked["query"],
        "data": asked["body"].encode(),
        "content_type": asked["media_type"],
    }


def times(tasks: Path) -> None:
    """Run tasks as they are named, and tell the processor time of each."""
    # What the solver says about itself goes nowhere; the times go where standard output was.
    with os.fdopen(os.dup(1), "w") as out:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        ready = {name: _ready(task) for name, task in json.loads(tasks.read_text(encoding="utf-8")).items()}
        for line in sys.stdin:
            run = ready[line.strip()]
            gc.collect()
            begun = time.process_time()
            run()
            out.write(f"{time.process_time() - begun}\n")
            out.flush()


def _ready(task: dict[str, Any]) -> Callable[[], None]:
    """A task with all that can be made beforehand: what is timed is the application and nothing that asks it."""
    if "book" in task:
        answers_of, book = calculator(task["operation"]).answers, task["book"].encode()

        def run_book() -> None:
            for _ in answers_of(book):
                pass

        return run_book
    app = create_app(Settings.for_tests())
    sent = [(EnvironBuilder(**_as_sent(asked)).get_environ(), asked["body"].encode()) for asked in task["requests"]]

    def run_requests() -> None:
        for _ in range(task["repeat"]):
            for environ, body in sent:
                for _ in app({**environ, "wsgi.input": io.BytesIO(body)}, _ignored):
                    pass

    return run_requests


def _ignored(*_: object) -> Callable[[bytes], object]:
    """The server's side of an answer's status and headers."""
    return lambda _: None


if __name__ == "__main__":
    found = Path(service.__file__).resolve().parents[1]
    if found != Path.cwd().resolve():
        raise SystemExit(f"The service was found in {found}, not in {Path.cwd()}.")
    kind, *files = sys.argv[1:]
    if kind == "times":
        times(*map(Path, files))
    else:
        answers(*map(Path, files))
