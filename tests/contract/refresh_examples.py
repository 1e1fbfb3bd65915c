"""Write the answers that the service gives now into the examples of the agreement, the printed examples and README.md's picture.

Run it from the top of the repository after a change that is meant to change answers:

    python -m tests.contract.refresh_examples

Then read the difference, and work the numbers out by hand before keeping it: an example is a promise.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from vl_convert import vegalite_to_svg

from service import create_app
from service.console.command import SCHEDULE, TIMING
from service.settings import Settings

from . import bundle
from .agreement import NDJSON, operations
from .replay import as_shown, replay

ANSWERS = bundle.FOLDER / "examples" / "answers"
EXAMPLE_VERSION = "r0123456789ab"
EXAMPLE_FILES = bundle.FOLDER.parent / "examples"
# The printed examples: by the name of the page's file, the request and the question.
PRINTED = {
    "plan": ("plan-couple-most-after-tax", SCHEDULE),
    "timing": ("timing-couple", TIMING),
}


PICTURE = ("first-ufpls", "/v1/withdrawal-tax", "money")
PICTURE_FILE = EXAMPLE_FILES / "first-ufpls.svg"


def answers(client: FlaskClient) -> dict[Path, str]:
    """Return the file of every response example and what it should hold: what the service answers now, with a version of
    the rules that stands for any, so that a line of code changes no example."""
    found = {}
    version = client.get("/health/ready").get_json()["rules_version"]
    for operation in operations():
        for _, name, example in operation.response_examples():
            reply = replay(client, operation, name)
            if reply.content_type == NDJSON:
                found[ANSWERS / f"{name}.ndjson"] = reply.text.replace(version, EXAMPLE_VERSION)
            else:
                shown = as_shown(reply.get_json(), example)
                text = json.dumps(shown, indent=2, ensure_ascii=False) + "\n"
                found[ANSWERS / f"{name}.json"] = text.replace(version, EXAMPLE_VERSION)
    return found


def request_file(name: str) -> Any:
    """Return a request of the folder `examples`."""
    return json.loads((EXAMPLE_FILES / "requests" / f"{name}.json").read_text(encoding="utf-8"))


def printed_page(client: FlaskClient, name: str) -> str:
    """Return the page that the command prints now for an example, with a version of the rules that stands for any."""
    file, question = PRINTED[name]
    answer = client.post(question.path, json=request_file(file)).get_json()
    answer["rules"]["version"] = EXAMPLE_VERSION
    return "".join(f"{line}\n" for line in question.page(answer))


def picture(client: FlaskClient) -> str:
    """Return README.md's picture as it is drawn now: a chart of the answer to an example, as SVG."""
    request, path, name = PICTURE
    answer = client.post(f"{path}?include=charts", json=request_file(request)).get_json()
    [chart] = [chart for chart in answer["charts"] if chart["name"] == name]
    return f"{vegalite_to_svg(chart['spec'], vl_version='6.4')}\n"


def refresh() -> None:
    """Write the answers, the printed pages, the picture and then the agreement."""
    client = create_app(Settings.for_tests()).test_client()
    pages = {EXAMPLE_FILES / f"{page}.txt": printed_page(client, page) for page in PRINTED}
    for path, text in {**answers(client), **pages, PICTURE_FILE: picture(client)}.items():
        path.write_text(text, encoding="utf-8")
    bundle.write()


if __name__ == "__main__":
    refresh()
