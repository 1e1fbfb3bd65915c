"""Make a record for the file, of a request and its answer by a running service; or check one.

    python examples/record.py examples/requests/first-ufpls.json record.html [http://127.0.0.1:8000]
    python examples/record.py --check record.html [http://127.0.0.1:8000]

A name that ends in .pdf makes PDF. A record is checked by itself, and asked of the service again where the service still
has the same rules. It needs the packages of the extra "record". Exit status: 0 when the record was made or is sound, else 1.
"""

from __future__ import annotations

import argparse
import json
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import requests

from service.record import document_in, faults_of, operation_of, path_of, pdf, record, tax_year_of

SECONDS = 60


def asked(base: str, path: str, request: Any = None) -> dict[str, Any]:
    """What the service says. SystemExit, with what went wrong, where it gives no answer."""
    try:
        if request is None:
            response = requests.get(f"{base}{path}", timeout=SECONDS)
        else:
            response = requests.post(f"{base}{path}", json=request, timeout=SECONDS)
        answer: dict[str, Any] = response.json()
    except requests.RequestException:
        raise SystemExit(f"No service answers at {base}. Start it first; README.md says how.") from None
    if response.status_code != 200:
        faults = [f"  {fault['pointer']}: {fault['detail']}" for fault in answer.get("errors", ())]
        raise SystemExit("\n".join([f"{answer['title']}: {answer['detail']}", *faults]))
    return answer


def answer_to(base: str, operation: str, request: Any) -> dict[str, Any]:
    """The answer with all that a record prints."""
    return asked(base, path_of(operation), request)


def made(base: str, request: Any) -> str:
    """The record of a request, as HTML."""
    operation = operation_of(request)
    answer = answer_to(base, operation, request)
    law = answer["rules"].get("law")
    under = f"?law={law['name']}" if law else ""
    figures = asked(base, f"/v1/tax-years/{tax_year_of(operation, answer)}{under}")
    return record(operation, request, answer, figures, datetime.now().astimezone().date())


def checked(base: str | None, html: str) -> list[str]:
    """What is wrong with a record, in sentences."""
    faults = faults_of(html)
    if faults or base is None:
        return faults
    document = document_in(html)
    again = answer_to(base, document["operation"], document["request"])
    if again["rules"]["version"] != document["answer"]["rules"]["version"]:
        print("The service has other rules now, so its answer is not compared.")
        return []
    return faults_of(html, answer=again)


def main(arguments: list[str]) -> int:
    """Make or check a record."""
    parser = argparse.ArgumentParser(description="Make a record for the file, or check one.")
    parser.add_argument("--check", action="store_true", help="check a record")
    parser.add_argument("file", type=Path, help="a request as JSON; with --check, a record as HTML")
    parser.add_argument("rest", nargs="*", help="the record to write, and the address of the service")
    given = parser.parse_args(arguments)
    try:
        text = given.file.read_text(encoding="utf-8")
        if given.check:
            faults = checked(given.rest[0].rstrip("/") if given.rest else None, text)
            print("\n".join(faults) or "The record is sound.")
            return 1 if faults else 0
        if not given.rest:
            parser.error("say which file to write")
        base = (given.rest[1] if len(given.rest) > 1 else "http://127.0.0.1:8000").rstrip("/")
        html, out = made(base, json.loads(text)), Path(given.rest[0])
        out.write_bytes(pdf(html) if out.suffix == ".pdf" else html.encode("utf-8"))
    except OSError as error:
        raise SystemExit(f"{error.filename}: {error.strerror}.") from None
    except json.JSONDecodeError:
        raise SystemExit(f"{given.file} is not JSON.") from None
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
