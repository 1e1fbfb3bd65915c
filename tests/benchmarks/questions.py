"""Requests read as the service reads them, for what is measured inside the process."""

from __future__ import annotations

import json
from typing import Any

import service
from service.figures.loader import load_tax_years
from service.http.body import slowly_loaded
from service.http.calculation import Calculation
from service.law.rulebook import rule_book
from service.versions import versions_of

BOOK = rule_book(load_tax_years())
VERSIONS = versions_of(BOOK)
CALCULATIONS: dict[str, Calculation[Any]] = {
    each.name: each for each in (make(BOOK, VERSIONS) for make in service.CALCULATIONS)
}


def question(name: str, request: dict[str, Any]) -> Any:
    """The question of a request of that calculation. ProblemError where it describes none."""
    calculation = CALCULATIONS[name]
    return slowly_loaded(json.dumps(request).encode(), calculation.schema, calculation.build)
