"""Make calls with a client that openapi-python-client made.

    python attrs_client.py FOLDER PACKAGE URL < calls.json > answers.json

A call is {operation, path, query, body}; an answer is {status, answer}, the answer as the client understood it.
"""

from __future__ import annotations

import importlib
import inspect
import json
import re
import sys
import typing
from pathlib import Path
from typing import Any


def main(folder: str, package: str, url: str) -> None:
    """Make every call, in order."""
    sys.path.insert(0, folder)
    client = importlib.import_module(package).Client(base_url=url, timeout=60)
    answers = []
    for call in json.load(sys.stdin):
        name = re.sub(r"(?<!^)(?=[A-Z])", "_", call["operation"]).lower()
        [file] = Path(folder, package, "api").glob(f"*/{name}.py")
        function = importlib.import_module(f"{package}.api.{file.parent.name}.{name}").sync_detailed
        kinds = inspect.signature(function).parameters
        asked: dict[str, Any] = dict(call["path"])
        for word, values in call["query"].items():
            # list[Word] | Unset
            [listed, _] = typing.get_args(kinds[word].annotation)
            [kind] = typing.get_args(listed)
            asked[word] = [kind(value) for value in values]
        if call["body"] is not None:
            asked["body"] = kinds["body"].annotation.from_dict(call["body"])
        response = function(client=client, **asked)
        answers.append({"status": int(response.status_code), "answer": response.parsed.to_dict()})
    json.dump(answers, sys.stdout)


if __name__ == "__main__":
    main(*sys.argv[1:])
