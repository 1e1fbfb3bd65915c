"""The service answers exactly the operations of the agreement, no more and no fewer."""

from __future__ import annotations

import re

from flask import Flask

from .agreement import operations

# Flask adds these two to routes of its own accord; the agreement does not list them.
ADDED_BY_FLASK = {"HEAD", "OPTIONS"}


def test_routes_of_the_service_are_the_operations_of_the_agreement(app: Flask) -> None:
    served = {
        (method, re.sub(r"<(?:[^:<>]+:)?([^<>]+)>", r"{\1}", rule.rule))
        for rule in app.url_map.iter_rules()
        for method in (rule.methods or set()) - ADDED_BY_FLASK
    }
    agreed = {(operation.method, operation.path) for operation in operations()}
    assert served == agreed
