"""The dashboard and the alert rules for Prometheus ask for numbers that the service keeps."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

TOP = Path(__file__).parents[1]
WATCHING = TOP / "docker" / "watching"
KEPT = """
import os, tempfile
os.environ["PROMETHEUS_MULTIPROC_DIR"] = tempfile.mkdtemp()
from service.http.metrics import Metrics
kept = Metrics("1", "r", "f", heavy_places=2)
kept.request("withdrawal-tax", 200, 0.01)
kept.records("withdrawal-tax", 1, 1)
kept.answer({"proof": {"stopped_by": "search_complete", "gap": 1.0}})
kept.heavy_begins()
print(kept.page().decode())
"""


def expressions() -> Iterator[str]:
    """Every expression of the two files."""
    for group in yaml.safe_load((WATCHING / "alerts.yaml").read_text("utf-8"))["groups"]:
        yield from (rule["expr"] for rule in group["rules"])
    for panel in json.loads((WATCHING / "dashboard.json").read_text("utf-8"))["panels"]:
        yield from (target["expr"] for target in panel["targets"])


@pytest.fixture(scope="module")
def kept() -> dict[str, set[str]]:
    """Each number that is kept, with its labels."""
    page = subprocess.run([sys.executable, "-c", KEPT], cwd=TOP, capture_output=True, text=True, check=True).stdout
    found: dict[str, set[str]] = {}
    for name, labels in re.findall(r"^([a-z_]+)(?:\{(.*?)\})? ", page, re.MULTILINE):
        found.setdefault(name, set()).update(re.findall(r"(\w+)=", labels))
    return found


@pytest.mark.parametrize("expression", sorted(set(expressions())))
def test_what_is_asked_for_is_kept(kept: dict[str, set[str]], expression: str) -> None:
    names = re.findall(r"service_[a-z_]+", expression)
    assert names
    labels = set[str]().union(*(kept[name] for name in names))
    for asked in re.findall(r"by \(([^)]*)\)", expression):
        assert {label.strip() for label in asked.split(",")} <= labels
    assert set(re.findall(r"(\w+)=~?\"", expression)) <= labels


def test_words_that_alerts_look_for_are_those_that_answers_have() -> None:
    agreement: Any = yaml.safe_load((TOP / "openapi" / "openapi.yaml").read_text("utf-8"))
    known = str(agreement["components"]["schemas"]["PlanProof"])
    for word in re.findall(r'stopped_by="(\w+)"', " ".join(expressions())):
        assert word in known


def test_every_alert_says_what_it_means() -> None:
    for group in yaml.safe_load((WATCHING / "alerts.yaml").read_text("utf-8"))["groups"]:
        for rule in group["rules"]:
            assert set(rule["annotations"]) == {"summary", "description"}
            assert rule["labels"]["severity"] in ("page", "ticket")
