"""Answers prepared requests with the service of the folder it is run in, and notes the answers byte for byte.

    PYTHONPATH=CHECKOUT python answer_requests.py REQUESTS ANSWERS

It stands alone: it asks of a checkout no more than ``service.create_app`` and ``Settings.for_tests``, so it runs in any.
REQUESTS has one JSON object a line, {method, path, query, body, media_type}. ANSWERS gets first the checkout's own versions of
the rules, which follow from the bytes of its files, and then for each request {status, headers, body, seconds}: the body with
each byte as the character of that number.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import service
from service import create_app
from service.settings import Settings


def main(requests: Path, answers: Path, checkout: Path) -> None:
    """Answer them one after the other."""
    found = Path(service.__file__).resolve().parents[1]
    if found != checkout.resolve():
        raise SystemExit(f"The service was found in {found}, not in {checkout}.")
    client = create_app(Settings.for_tests()).test_client()
    years: Any = client.get("/v1/tax-years").json
    catalogue: Any = client.get("/v1/warning-codes").json
    versions = sorted({years["version"], catalogue["version"], *(year["version"] for year in years["tax_years"])})
    with requests.open(encoding="utf-8") as lines, answers.open("w", encoding="utf-8") as out:
        out.write(json.dumps(versions) + "\n")
        for line in lines:
            out.write(json.dumps(_answer(client, json.loads(line))) + "\n")


def _answer(client: Any, asked: dict[str, str]) -> dict[str, Any]:
    begun = time.process_time()
    response = client.open(
        asked["path"],
        method=asked["method"],
        query_string=asked["query"],
        data=asked["body"].encode(),
        content_type=asked["media_type"],
    )
    body = response.get_data()
    seconds = time.process_time() - begun
    headers = sorted(f"{name}: {value}" for name, value in response.headers if name not in ("Date", "Content-Length"))
    response.close()
    return {"status": response.status_code, "headers": headers, "body": body.decode("latin-1"), "seconds": seconds}


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), Path.cwd())
