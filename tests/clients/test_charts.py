"""Every chart's description keeps to the schema of Vega-Lite, as its makers publish it with the library."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

import pytest
from jsonschema_rs import Draft7Validator

from tests.charts.test_charts import every_chart

from . import tools


def _as_uri(key: str, value: Any) -> Any:
    """References hold signs such as < that no URI may have as they are."""
    return f"#{quote(value[1:])}" if key == "$ref" else value


@pytest.fixture(scope="module")
def judge() -> Draft7Validator:
    """The schema that comes with the library."""
    text = tools.npm_file("vega-lite", "build", "vega-lite-schema.json").read_text("utf-8")
    return Draft7Validator(
        json.loads(text, object_pairs_hook=lambda pairs: {key: _as_uri(key, value) for key, value in pairs})
    )


def test_descriptions_keep_to_the_schema(judge: Draft7Validator) -> None:
    for chart in every_chart():
        assert [error.message[:200] for error in judge.iter_errors(chart["spec"])] == [], chart["name"]


def test_a_description_that_does_not_would_be_noticed(judge: Draft7Validator) -> None:
    spec = every_chart()[0]["spec"]
    assert not judge.is_valid({**spec, "layer": [{"mark": "stripes"}]})
