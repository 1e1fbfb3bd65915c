"""The costliest requests that the search for them has found (``tests.costliest``), each measured alone."""

from __future__ import annotations

import json
from collections import defaultdict
from pathlib import Path
from typing import Any

from tests.asking import Asked, Asker
from tests.benchmarks.processes import MeasurementError
from tests.benchmarks.report import Goal, Part, table
from tests.benchmarks.sizes import Sizes

FOLDER = Path(__file__).parent / "costly"
"""Each file is a find: {operation, query, request}."""
LIGHT = 0.05
LIMITS = {
    "withdrawal-tax": LIGHT,
    "warnings": LIGHT,
    "lump-sum-timing": 3.0,
    "allowance-schedule, quick": 0.25,
    "allowance-schedule, standard": 1.0,
    "allowance-schedule, thorough": 10.0,
}
"""Seconds of processor time, by operation and effort: what is light is admitted at any time, and the others count their work."""
_ENDED = 60.0


def measure(sizes: Sizes) -> Part:
    """Processor time of each find, in a process of its own that is ended after a minute of it."""
    worst: defaultdict[str, float] = defaultdict(float)
    rows = []
    with Asker(_ENDED) as asker:
        for path in sorted(FOLDER.glob("*.json"))[: sizes.costly]:
            find = json.loads(path.read_text("utf-8"))
            kind = kind_of(find)
            cost = asker.ask(f"/v1/{find['operation']}{find['query']}", find["request"])
            if cost.status not in (200, None):
                raise MeasurementError(f"{path.name} was answered {cost.status}")
            worst[kind] = max(worst[kind], cost.seconds)
            rows.append((path.stem, kind, _milliseconds(cost), f"{1_000 * LIMITS[kind]:,.0f}", f"{cost.bytes:,}"))
    goals = [Goal(f"costliest request, {kind}", 1_000 * worst[kind], 1_000 * LIMITS[kind], " ms") for kind in worst]
    heads = ("find", "operation", "milliseconds of a processor", "goal: at most", "bytes of the answer")
    return Part("The costliest requests that were found\n\n" + table(heads, rows, left=2), tuple(goals))


def kind_of(find: dict[str, Any]) -> str:
    """The operation of a find, with the effort of a plan."""
    if find["operation"] != "allowance-schedule":
        return str(find["operation"])
    return f"allowance-schedule, {find['request'].get('search', {}).get('effort', 'standard')}"


def _milliseconds(cost: Asked) -> str:
    return "ended" if cost.status is None else f"{1_000 * cost.seconds:,.1f}"
