"""Make calls with a client that openapi-generator made for Python.

    python pydantic_client.py FOLDER PACKAGE URL < calls.json > answers.json

A call is {operation, path, query, body}; an answer is {status, answer}, the answer as the client understood it.
"""

from __future__ import annotations

import importlib
import inspect
import json
import re
import sys
from pathlib import Path
from typing import Any


def main(folder: str, package: str, url: str) -> None:
    """Make every call, in order."""
    sys.path.insert(0, folder)
    whole = importlib.import_module(package)
    client = whole.ApiClient(whole.Configuration(host=url))
    answers = []
    for call in json.load(sys.stdin):
        name = re.sub(r"(?<!^)(?=[A-Z])", "_", call["operation"]).lower()
        method = getattr(api_with(name, folder, package)(client), f"{name}_with_http_info")
        asked: dict[str, Any] = {**call["path"], **call["query"]}
        if call["body"] is not None:
            [parameter] = [found for found in inspect.signature(method).parameters if found.endswith("_request")]
            kind = inspect.signature(method, eval_str=True).parameters[parameter].annotation.__origin__
            asked[parameter] = kind.from_dict(call["body"])
        try:
            response = method(**asked, _request_timeout=60.0)
            status, data = response.status_code, response.data
        except whole.ApiException as refused:
            status, data = refused.status, refused.data
        answers.append({"status": status, "answer": json.loads(data.to_json())})
    json.dump(answers, sys.stdout)


def api_with(name: str, folder: str, package: str) -> Any:
    """Return the class of the client that has an operation."""
    for file in Path(folder, package, "api").glob("*_api.py"):
        module = importlib.import_module(f"{package}.api.{file.stem}")
        [found] = [value for key, value in vars(module).items() if key.lower() == file.stem.replace("_", "")]
        if hasattr(found, name):
            return found
    raise LookupError(name)


if __name__ == "__main__":
    main(*sys.argv[1:])
