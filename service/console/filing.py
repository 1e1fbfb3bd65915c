"""Making a record for the file, and checking one, without a server."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

from service.console.asking import Answer, Service
from service.record import document_in, faults_of, path_of, pdf, record, tax_year_of


def asked_for_the_file(service: Service, operation: str, content: bytes) -> Answer:
    """The answer with all that a record prints."""
    return service.post(path_of(operation), content)


def write_record(service: Service, operation: str, content: bytes, answer: Answer, out: Path, made_on: date) -> None:
    """Write the record of a request and its answer: as PDF where the file's name ends so, otherwise as HTML."""
    law = answer.document["rules"].get("law")
    under = f"?law={law['name']}" if law else ""
    figures = service.get(f"/v1/tax-years/{tax_year_of(operation, answer.document)}{under}").document
    html = record(operation, json.loads(content), answer.document, figures, made_on)
    out.write_bytes(pdf(html) if out.suffix.lower() == ".pdf" else html.encode())


def faults_of_record(service: Service, html: str) -> list[str]:
    """What is wrong with a record, in sentences. It is asked again where the rules are still the same."""
    faults = faults_of(html)
    if faults:
        return faults
    document = document_in(html)
    again = asked_for_the_file(service, document["operation"], json.dumps(document["request"]).encode())
    if again.is_problem or again.document["rules"]["version"] != document["answer"]["rules"]["version"]:
        return []
    return faults_of(html, answer=again.document)
