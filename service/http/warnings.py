"""POST /v1/warnings, and GET /v1/warning-codes: the catalogue of all warnings."""

from __future__ import annotations

from hashlib import sha256
from typing import Any

from flask import Blueprint, Response, request

from service.http.body import loaded, read_json_body
from service.http.negotiation import refuse_query, require_json_accepted
from service.http.provider import encode, json_response
from service.law.rulebook import RuleBook
from service.planning.notice import case_assumptions, case_status, warnings_notice
from service.planning.warnings.catalogue import CATALOGUE
from service.planning.warnings.request import WarningsQuestion, warnings_asked
from service.schemas import warnings as schemas
from service.schemas.quick import quick_reader

_VERSION_LENGTH = 12


def blueprint(book: RuleBook, max_body_bytes: int) -> Blueprint:
    """The resources, for the tax years of a rule book and bodies of a bounded size."""
    routes = Blueprint("warnings", __name__)
    schema = schemas.WarningsSchema()
    quick = quick_reader(schema)
    headers = {"Cache-Control": "no-store", "Rules-Version": book.version}
    entries = tuple(CATALOGUE.values())
    version = sha256(encode(schemas.catalogue_document(entries, ""))).hexdigest()[:_VERSION_LENGTH]
    catalogue = schemas.catalogue_document(entries, version)

    def answer(question: WarningsQuestion) -> dict[str, Any]:
        case, found = warnings_asked(question, book)
        return schemas.answer(
            found, question.today, book.version, case_status(case), case_assumptions(case), warnings_notice(case)
        )

    @routes.post("/v1/warnings")
    def warnings() -> Response:
        require_json_accepted()
        refuse_query()
        question = loaded(read_json_body(max_body_bytes), schema, quick, schemas.question)
        return Response(encode(answer(question)), 200, headers, content_type="application/json")

    @routes.get("/v1/warning-codes")
    def warning_codes() -> Response:
        require_json_accepted()
        refuse_query()
        response = json_response(catalogue)
        response.set_etag(version)
        response.headers["Cache-Control"] = "public, max-age=3600"
        response.make_conditional(request)
        return response

    return routes
